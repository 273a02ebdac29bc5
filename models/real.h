/* The number type and every smoothing helper: kernels use only these and <math.h>.
 *
 * Each helper is pure, has no branch on state beyond what the C operators compile to selects,
 * and returns a finite value for finite input, so that it can be compiled for vector lanes later. */
#ifndef SWASHLOOP_MODELS_REAL_H
#define SWASHLOOP_MODELS_REAL_H

#include <math.h>

typedef double real;

#define REAL_PI 3.14159265358979323846

/* max(0, x): a hard kink. The integrator copes with value-evaluated kinks (docs/numerics.md). */
static inline real max0(real x) {
  return x > 0.0 ? x : 0.0;
}

static inline real larger(real a, real b) {
  return a > b ? a : b;
}

static inline real smaller(real a, real b) {
  return a < b ? a : b;
}

static inline real clamp(real x, real low, real high) {
  return x < low ? low : (x > high ? high : x);
}

/* Clamp to [0, 1]. */
static inline real clamp01(real x) {
  return clamp(x, 0.0, 1.0);
}

/* From 0 at `low` to 1 at `high` in a straight line, and held outside; divides only within. */
static inline real ramp01(real x, real low, real high) {
  return x <= low ? 0.0 : (x >= high ? 1.0 : (x - low) / (high - low));
}

/* Clamp to [-limit, limit]. */
static inline real saturate(real x, real limit) {
  return clamp(x, -limit, limit);
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
  if (x > 20.0 * width) {
    return 1.0;
  }
  if (x < -20.0 * width) {
    return -1.0;
  }
  return tanh(x / width);
}

/* Linear blend from a (share 0) to b (share 1). */
static inline real blend(real a, real b, real share) {
  return a + (b - a) * share;
}

#endif
