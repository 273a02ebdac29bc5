#include "ringing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* In tolerances. Ringing has been seen from 10 to 700 high; a plant that moves strays by 1e4 to 1e7. */
#define RINGS_BELOW 3e3
#define MOVES_ABOVE 3e4

/* A mode with 2 % of critical damping loses half in a window of steps that follow it; ringing loses nothing. */
#define NO_LESS 0.7

enum { WINDOWS_IN_A_ROW = 2 };

bool ringing_make(struct ringing *ringing, int size) {
  ringing->size = size;
  ringing->rows = calloc((size_t)(RINGING_CHECKS + 1) * (size_t)(size > 0 ? size : 1), sizeof *ringing->rows);
  ringing_begin(ringing);
  return ringing->rows != NULL;
}

void ringing_free(struct ringing *ringing) {
  free(ringing->rows);
  ringing->rows = NULL;
}

void ringing_begin(struct ringing *ringing) {
  ringing->steps = -1;
  ringing->windows = 0;
  ringing->before = -1.0;
}

/* How far the states between the first and the last lie from the straight line between those, at most. */
static double strays(const struct ringing *ringing, const double *absolute, const double *relative) {
  int n = ringing->size;
  const double *first = ringing->rows;
  const double *last = ringing->rows + (size_t)(RINGING_CHECKS * n);
  double most = 0.0;
  for (int k = 1; k < RINGING_CHECKS; k++) {
    const double *row = ringing->rows + (size_t)(k * n);
    double share = (ringing->times[k] - ringing->times[0]) / (ringing->times[RINGING_CHECKS] - ringing->times[0]);
    for (int i = 0; i < n; i++) {
      double off = fabs(row[i] - (first[i] + share * (last[i] - first[i])));
      most = fmax(most, off / (absolute[i] + relative[i] * fabs(row[i])));
    }
  }
  return most;
}

enum ringing_verdict ringing_note(struct ringing *ringing, double t, const double *state, const double *absolute,
                                  const double *relative) {
  size_t size = (size_t)ringing->size * sizeof *state;
  ringing->steps++;
  if (ringing->steps % (RINGING_STEPS / RINGING_CHECKS) != 0) {
    return RINGING_UNKNOWN;
  }
  int check = ringing->steps / (RINGING_STEPS / RINGING_CHECKS);
  ringing->times[check] = t;
  memcpy(ringing->rows + (size_t)(check * ringing->size), state, size);
  if (check < RINGING_CHECKS) {
    return RINGING_UNKNOWN;
  }
  double now = strays(ringing, absolute, relative);
  ringing->times[0] = t; /* the next window begins where this one ends */
  memcpy(ringing->rows, state, size);
  ringing->steps = 0;
  bool stays = now < RINGS_BELOW && ringing->before >= 0.0 && now > NO_LESS * ringing->before;
  ringing->windows = stays ? ringing->windows + 1 : 0;
  ringing->before = now;
  if (now > MOVES_ABOVE) {
    return RINGING_MOVES;
  }
  return ringing->windows >= WINDOWS_IN_A_ROW ? RINGING_IS : RINGING_NOT;
}
