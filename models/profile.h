/* A piecewise linear table: pairs of an argument (time, distance, speed) and a value, in SI.
 *
 * Arguments never fall; two equal arguments make a step. Before the first and after the last point the value is held.
 * The points belong to whoever read the case; models only look. */
#ifndef SWASHLOOP_MODELS_PROFILE_H
#define SWASHLOOP_MODELS_PROFILE_H

#include <stdbool.h>

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

static inline real profile_slope(const struct profile *profile, int index) {
  if (index <= 0 || index >= profile->count || profile->argument[index] <= profile->argument[index - 1]) {
    return 0.0;
  }
  return (profile->value[index] - profile->value[index - 1]) /
         (profile->argument[index] - profile->argument[index - 1]);
}

/* Does the line go on unbroken through point `index` (0 to count - 1)? */
static inline bool profile_straight_at(const struct profile *profile, int index) {
  bool step = (index > 0 && profile->argument[index] <= profile->argument[index - 1]) ||
              (index + 1 < profile->count && profile->argument[index + 1] <= profile->argument[index]);
  return !step && profile_slope(profile, index) == profile_slope(profile, index + 1);
}

/* The piece with `index` points at or left of it, as far as its line goes on both ways: a point on a straight line is
 * no kink. */
static inline struct piece profile_piece(const struct profile *profile, int index) {
  struct piece piece = {index, 0.0, 0.0, 0.0, -HUGE_VAL, HUGE_VAL};
  if (profile->count == 0) {
    return piece;
  }
  int left = index > 0 ? index - 1 : 0;
  piece.start = profile->argument[left];
  piece.value = profile->value[left];
  piece.slope = profile_slope(profile, index);
  int low = index - 1;
  while (low >= 0 && profile_straight_at(profile, low)) {
    low--;
  }
  if (low >= 0) {
    piece.low = profile->argument[low];
  }
  int high = index;
  while (high < profile->count && profile_straight_at(profile, high)) {
    high++;
  }
  if (high < profile->count) {
    piece.high = profile->argument[high];
  }
  return piece;
}

/* Number of points at or left of `argument`: the piece that starts there, so that at a kink the later piece rules. */
static inline int profile_index(const struct profile *profile, real argument) {
  int low = 0;
  int high = profile->count;
  while (low < high) {
    int middle = low + (high - low) / 2;
    if (profile->argument[middle] <= argument) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

/* Number of points left of `argument`: the piece that ends there. */
static inline int profile_index_before(const struct profile *profile, real argument) {
  int low = 0;
  int high = profile->count;
  while (low < high) {
    int middle = low + (high - low) / 2;
    if (profile->argument[middle] < argument) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

/* The value at any argument, without a remembered piece. */
static inline real profile_at(const struct profile *profile, real argument) {
  if (profile->count == 0) {
    return 0.0;
  }
  int index = profile_index(profile, argument);
  int left = index > 0 ? index - 1 : 0;
  return profile->value[left] + profile_slope(profile, index) * (argument - profile->argument[left]);
}

/* A piece that takes over at `t`: in a straight line from the present value to `target` within `duration` (0: at once).
 */
static inline struct piece piece_move(const struct piece *present, real t, real target, real duration) {
  struct piece piece = {0, t, target, 0.0, t, HUGE_VAL};
  if (duration > 0.0) {
    /* Held at its end, so that it ends exactly at the target: a pedal let go is at zero, not at a rounding error. */
    piece.slope = (target - piece_at(present, t)) / duration;
    piece.start = t + duration;
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
