/* The number type and every smoothing helper: kernels use only these and <math.h>.
 *
 * Kernels are compiled twice. Plainly `real` is a double. For vector lanes (REAL_LANES above 1, real_lanes.h) it is
 * that many doubles, one of each of as many cases or instants; so no kernel branches on a real. What depends on one is
 * a `mask` (a comparison of reals; & joins two, | takes either), and `select_where` takes the place of ?: and if. Laws,
 * counts and whether a table is there are the same in all lanes and stay ordinary ifs. Tables, and all that is asked at
 * preparation only, are plain double.
 *
 * Each helper is pure and returns a finite value for finite input. */
#ifndef SWASHLOOP_MODELS_REAL_H
#define SWASHLOOP_MODELS_REAL_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#ifndef REAL_LANES
#define REAL_LANES 1
#endif

#if REAL_LANES > 1
#include "real_lanes.h"
#else

typedef double real;
typedef bool mask;

/* The same in every lane: what a constant needs where a real is expected. */
#define broadcast(x) (x)
/* `yes` where the mask holds, `no` elsewhere. In lanes both are computed, plainly only one. */
#define select_where(where, yes, no) ((where) ? (yes) : (no))
/* The same for a `yes` that is expensive and rarely needed: lanes skip it, too, where the mask holds in none. */
#define select_where_rare(where, yes, no) ((where) ? (yes) : (no))
/* Where the mask does not hold. */
#define mask_not(where) (!(where))
/* Does the mask hold in no lane? Lets kernels leave out what no lane would select. */
#define mask_none(where) (!(where))

/* One lane's number. */
static inline double lane_get(real x, int lane) {
  (void)lane;
  return x;
}

/* Sets one lane's number. */
static inline void lane_set(real *x, int lane, double value) {
  (void)lane;
  *x = value;
}

/* x times 2^n, where the last bits of `shifted` are the whole number n. */
static inline double real_times_power_of_two(double x, double shifted) {
  uint64_t bits;
  uint64_t exponent;
  memcpy(&bits, &x, sizeof bits);
  memcpy(&exponent, &shifted, sizeof exponent);
  bits += exponent << 52;
  memcpy(&x, &bits, sizeof bits);
  return x;
}

/* The exponent of 2 of a normal number above zero, for a mantissa from 1/2 to 1. */
static inline double real_binary_exponent(double x, double *mantissa) {
  uint64_t bits;
  memcpy(&bits, &x, sizeof bits);
  uint64_t fraction = (bits & UINT64_C(0xFFFFFFFFFFFFF)) | UINT64_C(0x3FE0000000000000);
  memcpy(mantissa, &fraction, sizeof fraction);
  return (double)(bits >> 52) - 1022.0;
}

/* A whole number. */
typedef int whole_number;

/* The part of x before the point. What no int holds, a NaN too, gives a negative number. */
static inline whole_number real_whole(real x) {
  return x < 2147483648.0 && x > -2147483648.0 ? (int)x : INT32_MIN;
}

/* The same number as a real. */
static inline real whole_real(whole_number n) {
  return (double)n;
}

/* n, or `most` where it is above or below zero. */
static inline whole_number whole_up_to(whole_number n, int most) {
  return (unsigned)n > (unsigned)most ? most : n;
}

/* A member of which each lane has its own though it is no real: declared with PER_LANE, read as EACH(member)[lane]. */
#define PER_LANE
#define EACH(member) (&(member))

#endif

#define REAL_PI 3.14159265358979323846

/* Before a function of a law that not all cases choose: it stays a call, so that what all cases run through stays
 * small, and inlined. */
#define APART __attribute__((noinline, unused)) static

#include "functions.h"

/* max(0, x): a hard kink. The integrator copes with value-evaluated kinks (docs/numerics.md). */
static inline real max0(real x) {
  return select_where(x > 0.0, x, broadcast(0.0));
}

/* The larger of two. */
static inline real larger(real a, real b) {
  return select_where(a > b, a, b);
}

/* The smaller of two. */
static inline real smaller(real a, real b) {
  return select_where(a < b, a, b);
}

/* x, held between two bounds. */
static inline real clamp(real x, real low, real high) {
  return select_where(x < low, low, select_where(x > high, high, x));
}

/* From 0 at `low` to 1 at `high` in a straight line, and held outside; divides only within. */
static inline real ramp01(real x, real low, real high) {
  return select_where_rare(mask_not((x <= low) | (x >= high)), (x - low) / (high - low),
                           select_where(x >= high, broadcast(1.0), broadcast(0.0)));
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
  return select_where_rare(mask_not((x > 20.0 * width) | (x < -20.0 * width)), real_tanh(x / width),
                           select_where(x > 0.0, broadcast(1.0), broadcast(-1.0)));
}

/* Linear blend from a (share 0) to b (share 1). */
static inline real blend(real a, real b, real share) {
  return a + (b - a) * share;
}

/* Constants may stand where these ask for reals. */
#if REAL_LANES > 1
#define larger(a, b) larger(broadcast(a), broadcast(b))
#define smaller(a, b) smaller(broadcast(a), broadcast(b))
#define clamp(x, low, high) clamp(x, broadcast(low), broadcast(high))
#define ramp01(x, low, high) ramp01(x, broadcast(low), broadcast(high))
#define soft_sign(x, width) soft_sign(x, broadcast(width))
#define tanh_sign(x, width) tanh_sign(x, broadcast(width))
#define blend(a, b, share) blend(broadcast(a), broadcast(b), share)
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
#define saturate(x, limit) saturate(x, broadcast(limit))
#endif

#endif
