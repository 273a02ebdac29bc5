/* A piecewise linear table: pairs of an argument (time, distance, speed) and a value, in SI.
 *
 * Arguments never fall; two equal arguments make a step. Before the first and after the last point the value is held.
 * The points belong to whoever read the case; models only read.
 *
 * A smooth table is for measured traces: a hundred points a second would be a hundred kinks. It is laid through its
 * points by cubics whose slopes are the weighted harmonic means of the secants (F. N. Fritsch and J. Butland, SIAM J.
 * Sci. Stat. Comput. 5 (1984), from memory): continuous in slope, never beyond the points, flat at both ends, so that
 * it has no kink anywhere. Its arguments rise strictly. */
#ifndef SWASHLOOP_MODELS_PROFILE_H
#define SWASHLOOP_MODELS_PROFILE_H

#include <stdbool.h>
#include <stddef.h>

#include "real.h"

struct profile {
  int count;              /* points; 0 means the table is empty and reads as zero */
  const double *argument; /* SI, never falling */
  const double *value;    /* SI */
  bool smooth;
};

/* A straight piece of a profile. Between kinks the right-hand side sees only this piece, extended past both ends, so
 * that the integrator never meets a kink inside a step. */
struct piece {
  int index;  /* number of points at or left of the piece: 0 before the first, count after the last */
  real start; /* argument at which `value` holds */
  real value;
  real slope;                            /* of the value over the argument */
  real low;                              /* the piece is valid from here ... */
  real high;                             /* ... to here */
  const struct profile *smooth PER_LANE; /* the whole of a smooth table is one piece; NULL: a straight one */
};

/* Times no farther apart than this are one instant, s: a rounding error lies between them (0.2 s after 2.346 s, and
 * 2.546 s), which no solver can step over and which must not decide what comes first. */
static inline double clock_apart(double t) {
  return 1e-12 + 4e-15 * fabs(t);
}

/* Number of points at or left of `argument`: the piece that starts there, so that at a kink the later piece rules. */
static inline int profile_index(const struct profile *profile, double argument) {
  int low = 0;
  int high = profile->count;
  while (low < high) {
    int middle = (low + high) / 2;
    if (profile->argument[middle] <= argument) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

/* Number of points left of `argument`: the piece that ends there. */
static inline int profile_index_before(const struct profile *profile, double argument) {
  int low = 0;
  int high = profile->count;
  while (low < high) {
    int middle = (low + high) / 2;
    if (profile->argument[middle] < argument) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

/* Slope of a smooth table at its point k. */
static inline double profile_smooth_slope(const struct profile *profile, int k) {
  if (k <= 0 || k >= profile->count - 1) {
    return 0.0;
  }
  double before = profile->argument[k] - profile->argument[k - 1];
  double after = profile->argument[k + 1] - profile->argument[k];
  double rise = (profile->value[k] - profile->value[k - 1]) / before;
  double next = (profile->value[k + 1] - profile->value[k]) / after;
  if (rise * next <= 0.0) {
    return 0.0;
  }
  double first = 2.0 * after + before;
  double second = after + 2.0 * before;
  return (first + second) / (first / rise + second / next);
}

/* The value of a smooth table. */
static inline double profile_smooth_at(const struct profile *profile, double argument) {
  int right = profile_index(profile, argument);
  if (right == 0) {
    return profile->value[0];
  }
  if (right == profile->count) {
    return profile->value[right - 1];
  }
  int left = right - 1;
  double width = profile->argument[right] - profile->argument[left];
  double x = (argument - profile->argument[left]) / width;
  double rise = profile->value[right] - profile->value[left];
  double start = width * profile_smooth_slope(profile, left);
  double end = width * profile_smooth_slope(profile, right);
  return profile->value[left] + x * (start + x * (3.0 * rise - 2.0 * start - end + x * (start + end - 2.0 * rise)));
}

/* Slope of the straight line with `index` points at or left of it; 0 outside and across a step. */
static inline double profile_slope(const struct profile *profile, int index) {
  if (index <= 0 || index >= profile->count || profile->argument[index] <= profile->argument[index - 1]) {
    return 0.0;
  }
  return (profile->value[index] - profile->value[index - 1]) /
         (profile->argument[index] - profile->argument[index - 1]);
}

/* Does the line go on unbroken through point `index` (0 to count - 1)? */
static inline bool profile_straight_at(const struct profile *profile, int index) {
  if (index < 0 || index >= profile->count) {
    return true; /* outside the value is held */
  }
  bool step = (index > 0 && profile->argument[index] <= profile->argument[index - 1]) ||
              (index + 1 < profile->count && profile->argument[index + 1] <= profile->argument[index]);
  return !step && profile_slope(profile, index) == profile_slope(profile, index + 1);
}

/* The value at any argument, without a remembered piece. */
static inline double profile_at(const struct profile *profile, double argument) {
  if (profile->count == 0) {
    return 0.0;
  }
  if (profile->smooth) {
    return profile_smooth_at(profile, argument);
  }
  int index = profile_index(profile, argument);
  int left = index > 0 ? index - 1 : 0;
  return profile->value[left] + profile_slope(profile, index) * (argument - profile->argument[left]);
}

/* The value of each lane's own table: `tables` is EACH of a PER_LANE profile. */
static inline real profiles_at(const struct profile *tables, real argument) {
  real value = broadcast(0.0);
  for (int i = 0; i < REAL_LANES; i++) {
    lane_set(&value, i, profile_at(&tables[i], lane_get(argument, i)));
  }
  return value;
}

/* Is the piece straight in all lanes? */
static inline bool piece_is_straight(const struct piece *piece) {
  bool straight = true;
  for (int i = 0; i < REAL_LANES; i++) {
    straight &= EACH(piece->smooth)[i] == NULL;
  }
  return straight;
}

/* The value of a piece, also beyond its ends, where the piece goes on as it is. */
static inline real piece_at(const struct piece *piece, real argument) {
  if (piece_is_straight(piece)) {
    return piece->value + piece->slope * (argument - piece->start);
  }
  real value = piece->value + piece->slope * (argument - piece->start);
  for (int i = 0; i < REAL_LANES; i++) {
    if (EACH(piece->smooth)[i] != NULL) {
      lane_set(&value, i, profile_smooth_at(EACH(piece->smooth)[i], lane_get(argument, i)));
    }
  }
  return value;
}

#if REAL_LANES == 1 /* modes change in plain kernels only */

/* The piece with `index` points at or left of it, as far as its line goes on both ways: a point on a straight line is
 * no kink. */
static inline struct piece profile_piece(const struct profile *profile, int index) {
  struct piece piece = {index, 0.0, 0.0, 0.0, -HUGE_VAL, HUGE_VAL, NULL};
  if (profile->count == 0) {
    return piece;
  }
  if (profile->smooth) {
    piece.slope = 1.0; /* any but zero: the piece is not constant */
    piece.smooth = profile;
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

/* Places no farther apart than this are one, m: a machine is over the piece between them before any solver has looked.
 */
#define PLACES_APART 1e-9

/* The piece that is met next beyond `argument`, ahead or behind, whose points are places: what is too narrow is passed
 * over. Its index; the piece reaches back to `argument`. */
static inline int profile_next_index(const struct profile *profile, double argument, bool ahead) {
  int index = ahead ? profile_index(profile, argument) : profile_index_before(profile, argument);
  while (index > 0 && index < profile->count) {
    double low = profile->argument[index - 1];
    double high = profile->argument[index];
    if (high - low >= PLACES_APART) {
      break;
    }
    index = ahead ? profile_index(profile, high) : profile_index_before(profile, low);
  }
  return index;
}

/* The piece is valid as far as `argument` as well. */
static inline void piece_reach(struct piece *piece, double argument) {
  piece->low = smaller(piece->low, argument);
  piece->high = larger(piece->high, argument);
}

/* The piece of profile_next_index, reaching back to `argument`: no guard falls for what was passed over. */
static inline struct piece profile_next_piece(const struct profile *profile, double argument, bool ahead) {
  struct piece piece = profile_piece(profile, profile_next_index(profile, argument, ahead));
  piece_reach(&piece, argument);
  return piece;
}

/* A piece that takes over at `t`: in a straight line from the present value to `target` within `duration` (no
 * longer than an instant: at once). */
static inline struct piece piece_move(const struct piece *present, real t, real target, real duration) {
  struct piece piece = {0, t, target, 0.0, t, HUGE_VAL, NULL};
  if (duration > clock_apart(t)) {
    /* Held at its end, so that it ends exactly at the target: a pedal let go is at zero, not at a rounding error. */
    piece.slope = (target - piece_at(present, t)) / duration;
    piece.start = t + duration;
    piece.high = t + duration;
  }
  return piece;
}

/* The piece after such a move: at rest at its end value. */
static inline struct piece piece_rest(const struct piece *moved, real t) {
  struct piece piece = {0, t, piece_at(moved, moved->high), 0.0, t, HUGE_VAL, NULL};
  return piece;
}

#endif

#endif
