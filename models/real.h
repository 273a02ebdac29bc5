/* The number type and every smoothing helper: kernels use only these and <math.h>.
 *
 * Kernels are compiled twice. Plainly `real` is a double. For vector lanes (REAL_LANES above 1, real_lanes.h) it is
 * that many doubles, one of each of as many cases or instants; so no kernel branches on a real. What depends on one is
 * a `mask` (a comparison of reals; & joins two, | takes either), and `pick` takes the place of ?: and if. Laws, counts
 * and whether a table is there are the same in all lanes and stay ordinary ifs. Tables, and all that is asked at
 * preparation only, are plain double.
 *
 * Each helper is pure and returns a finite value for finite input. */
#ifndef SWASHLOOP_MODELS_REAL_H
#define SWASHLOOP_MODELS_REAL_H

#include <math.h>
#include <stdbool.h>

#ifndef REAL_LANES
#define REAL_LANES 1
#endif

#if REAL_LANES > 1
#include "real_lanes.h"
#else

typedef double real;
typedef bool mask;

/* The same in every lane: what a constant needs where a real is expected. */
#define every(x) (x)
/* `yes` where the mask holds, `no` elsewhere. In lanes both are computed, plainly only one. */
#define pick(where, yes, no) ((where) ? (yes) : (no))
/* Where the mask does not hold. */
#define flip(where) (!(where))
/* Does the mask hold in no lane? Lets kernels leave out what would be picked nowhere. */
#define nowhere(where) (!(where))

/* One lane's number. */
static inline double lane_get(real x, int lane) {
  (void)lane;
  return x;
}

static inline void lane_set(real *x, int lane, double value) {
  (void)lane;
  *x = value;
}

/* A member of which each lane has its own though it is no real: declared with PER_LANE, read as EACH(member)[lane]. */
#define PER_LANE
#define EACH(member) (&(member))

#endif

#define REAL_PI 3.14159265358979323846

/* max(0, x): a hard kink. The integrator copes with value-evaluated kinks (docs/numerics.md). */
static inline real max0(real x) {
  return pick(x > 0.0, x, every(0.0));
}

static inline real larger(real a, real b) {
  return pick(a > b, a, b);
}

static inline real smaller(real a, real b) {
  return pick(a < b, a, b);
}

static inline real clamp(real x, real low, real high) {
  return pick(x < low, low, pick(x > high, high, x));
}

/* From 0 at `low` to 1 at `high` in a straight line, and held outside; divides only within. */
static inline real ramp01(real x, real low, real high) {
  return pick(x <= low, every(0.0), pick(x >= high, every(1.0), (x - low) / (high - low)));
}

/* Sign of x, rounded over `width`: x / sqrt(x^2 + width^2). */
static inline real soft_sign(real x, real width) {
  return x / sqrt(x * x + width * width);
}

/* |x|, rounded over `width`, zero at zero: sqrt(x^2 + width^2) - width. */
static inline real soft_abs(real x, real width) {
  return sqrt(x * x + width * width) - width;
}

/* Sign of x by hyperbolic tangent over `width`; past 20 widths it is 1 to the last bit. */
static inline real tanh_sign(real x, real width) {
  return pick(x > 20.0 * width, every(1.0), pick(x < -20.0 * width, every(-1.0), tanh(x / width)));
}

/* Linear blend from a (share 0) to b (share 1). */
static inline real blend(real a, real b, real share) {
  return a + (b - a) * share;
}

/* Constants may stand where these ask for reals. */
#if REAL_LANES > 1
#define larger(a, b) larger(every(a), every(b))
#define smaller(a, b) smaller(every(a), every(b))
#define clamp(x, low, high) clamp(x, every(low), every(high))
#define ramp01(x, low, high) ramp01(x, every(low), every(high))
#define soft_sign(x, width) soft_sign(x, every(width))
#define tanh_sign(x, width) tanh_sign(x, every(width))
#define blend(a, b, share) blend(every(a), every(b), share)
#endif

/* Clamp to [0, 1]. */
static inline real clamp01(real x) {
  return clamp(x, 0.0, 1.0);
}

/* Clamp to [-limit, limit]. */
static inline real saturate(real x, real limit) {
  return clamp(x, -limit, limit);
}

#if REAL_LANES > 1
#define saturate(x, limit) saturate(x, every(limit))
#endif

#endif
