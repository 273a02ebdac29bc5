/* A piecewise linear table: pairs of an argument (time, distance, speed) and a value, in SI.
 *
 * Arguments never fall; two equal arguments make a step. Before the first and after the last point the value is held.
 * The points belong to whoever read the case; models only look. */
#ifndef SWASHLOOP_MODELS_PROFILE_H
#define SWASHLOOP_MODELS_PROFILE_H

#include "real.h"

struct profile {
  int count; /* points; 0 means the table is empty and reads as zero */
  const real *argument;
  const real *value;
};

/* A straight piece of a profile. Between kinks the right-hand side sees only this piece, extended past both ends, so
 * that the integrator never meets a kink inside a step. */
struct piece {
  int index;  /* number of points at or left of the piece: 0 before the first, count after the last */
  real start; /* argument at which `value` holds */
  real value;
  real slope;
  real low;  /* the piece is valid from here ... */
  real high; /* ... to here */
};

static inline real piece_at(const struct piece *piece, real argument) {
  return piece->value + piece->slope * (argument - piece->start);
}

/* The piece with `index` points at or left of it. */
static inline struct piece profile_piece(const struct profile *profile, int index) {
  struct piece piece = {index, 0.0, 0.0, 0.0, -HUGE_VAL, HUGE_VAL};
  if (profile->count == 0) {
    return piece;
  }
  int last = profile->count - 1;
  int left = index > 0 ? index - 1 : 0;
  piece.start = profile->argument[left];
  piece.value = profile->value[left];
  if (index > 0) {
    piece.low = profile->argument[left];
  }
  if (index <= last) {
    piece.high = profile->argument[index];
  }
  if (index > 0 && index <= last && piece.high > piece.low) {
    piece.slope = (profile->value[index] - profile->value[left]) / (profile->argument[index] - profile->argument[left]);
  }
  return piece;
}

/* Number of points at or left of `argument`: the piece that starts there, so that at a kink the later piece rules. */
static inline int profile_index(const struct profile *profile, real argument) {
  int index = 0;
  while (index < profile->count && profile->argument[index] <= argument) {
    index++;
  }
  return index;
}

/* The neighbouring piece of some width, ahead (step 1) or behind (step -1). */
static inline int profile_neighbour(const struct profile *profile, int index, int step) {
  index += step;
  while (index > 0 && index < profile->count && profile->argument[index] <= profile->argument[index - 1]) {
    index += step;
  }
  return index;
}

/* The value at any argument, without a remembered piece. */
static inline real profile_at(const struct profile *profile, real argument) {
  struct piece piece = profile_piece(profile, profile_index(profile, argument));
  return piece_at(&piece, argument);
}

/* A piece that takes over at `t`: in a straight line from the present value to `target` within `duration` (0: at once). */
static inline struct piece piece_move(const struct piece *present, real t, real target, real duration) {
  struct piece piece = {0, t, target, 0.0, t, HUGE_VAL};
  if (duration > 0.0) {
    piece.value = piece_at(present, t);
    piece.slope = (target - piece.value) / duration;
    piece.high = t + duration;
  }
  return piece;
}

/* The piece after such a move: at rest at its end value. */
static inline struct piece piece_rest(const struct piece *moved, real t) {
  struct piece piece = {0, t, piece_at(moved, moved->high), 0.0, t, HUGE_VAL};
  return piece;
}

#endif
