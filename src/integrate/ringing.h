/* Detects steps that follow nothing but an oscillation of the integration formula itself. Formulas of order 3 to 5 are
 * not stable for lightly damped modes: where the plant itself has come to rest they keep such a mode ringing some
 * hundred tolerances high, step after step, and the run is slow and shows an oscillation that is not there. Order 2 is
 * stable for every damped mode (Dahlquist's second barrier: no multistep formula of higher order is).
 *
 * What is watched: over a window of steps, how far the state strays from a straight line, in tolerances. A mode of the
 * plant decays from window to window; ringing stays. */
#ifndef SWASHLOOP_INTEGRATE_RINGING_H
#define SWASHLOOP_INTEGRATE_RINGING_H

#include <stdbool.h>

enum { RINGING_STEPS = 32, RINGING_CHECKS = 4 }; /* steps a window, checks in it */

struct ringing {
  int size;
  int steps;     /* of the present window */
  int windows;   /* in a row that strayed little and no less than the one before */
  double before; /* what the last window strayed; below zero: none */
  double times[RINGING_CHECKS + 1];
  double *rows; /* [RINGING_CHECKS + 1][size] */
};

enum ringing_verdict {
  RINGING_UNKNOWN, /* the window is not full */
  RINGING_NOT,     /* as it should be */
  RINGING_IS,      /* the steps follow ringing */
  RINGING_MOVES    /* the plant moves by far more than ringing ever does */
};

/* False when memory is out. */
bool ringing_make(struct ringing *ringing, int size);
void ringing_free(struct ringing *ringing);
/* A new start: nothing is known. */
void ringing_begin(struct ringing *ringing);
/* A step has come to `state` at t; `absolute` and `relative` tolerances of each state. */
enum ringing_verdict ringing_note(struct ringing *ringing, double t, const double *state, const double *absolute,
                                  const double *relative);

#endif
