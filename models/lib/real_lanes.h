/* `real` as a vector of REAL_LANES doubles: what real.h is for kernels compiled for lanes. REAL_LANES is the width of
 * the processor's vectors (2, 4 or 8), so that every operation is one instruction.
 *
 * Operators work lane by lane, with a plain double on either side as well. Square root and absolute value are vector
 * instructions. */
#ifndef SWASHLOOP_MODELS_REAL_LANES_H
#define SWASHLOOP_MODELS_REAL_LANES_H

#include <math.h>
#include <stdint.h>

typedef double real __attribute__((vector_size(8 * REAL_LANES)));
typedef int64_t mask __attribute__((vector_size(8 * REAL_LANES)));
typedef int32_t whole_number __attribute__((vector_size(4 * REAL_LANES)));

/* x in every lane, whether x is a double or a real. (x - 0 is x, -0 too.) */
#define broadcast(x) ((x) - (real){0.0})

/* `yes` in the lanes where the mask holds, `no` in the others. */
static inline real select_lanes(mask where, real yes, real no) {
  return (real)((where & (mask)yes) | (~where & (mask)no));
}
#define select_where(where, yes, no) select_lanes(where, broadcast(yes), broadcast(no))
#define select_where_rare(where, yes, no) (mask_none(where) ? broadcast(no) : select_where(where, yes, no))

/* Where the mask does not hold. */
static inline mask mask_not(mask where) {
  return ~where;
}

/* Does the mask hold in no lane? */
static inline bool mask_none(mask where) {
#if defined(__AVX512DQ__)
  return __builtin_ia32_cvtq2mask512((long long __attribute__((vector_size(64))))where) == 0;
#elif defined(__AVX__)
  return __builtin_ia32_movmskpd256((real)where) == 0;
#elif defined(__SSE2__)
  return __builtin_ia32_movmskpd((real)where) == 0;
#else
  int64_t any = 0;
  for (int i = 0; i < REAL_LANES; i++) {
    any |= where[i];
  }
  return any == 0;
#endif
}

/* One lane's number. */
static inline double lane_get(real x, int lane) {
  return x[lane];
}

/* Sets one lane's number. */
static inline void lane_set(real *x, int lane, double value) {
  (*x)[lane] = value;
}

/* The part of x before the point; what no int holds, a NaN too, gives a negative number. */
static inline whole_number real_whole(real x) {
  return __builtin_convertvector(x, whole_number);
}

/* The same numbers as reals. */
static inline real whole_real(whole_number n) {
  return __builtin_convertvector(n, real);
}

/* The same numbers with as many bits as an address has. */
static inline mask whole_wide(whole_number n) {
  return __builtin_convertvector(n, mask);
}

/* n, or `most` where it is above or below zero. */
static inline whole_number whole_up_to(whole_number n, int most) {
  whole_number out = (n > most) | (n < 0);
  return (n & ~out) | (most & out);
}

/* Points one lane at `place`. */
static inline void lane_point(mask *address, int lane, const void *place) {
  (*address)[lane] = (int64_t)(intptr_t)place;
}

/* Instructions that read from as many addresses as a register holds; one by one costs a sweep 6 to 10 % more. */
#if defined(__AVX512F__) && __has_builtin(__builtin_ia32_gatherdiv8df) && __has_builtin(__builtin_ia32_gatherdiv16si)
#define LANES_GATHER 8
#elif defined(__AVX2__) && __has_builtin(__builtin_ia32_gatherdiv4df) && __has_builtin(__builtin_ia32_gatherdiv4si256)
#define LANES_GATHER 4
#else
#define LANES_GATHER 0
#endif
typedef long long lanes_places __attribute__((vector_size(8 * REAL_LANES)));

/* The doubles at these addresses. */
static inline real lanes_read(mask address) {
  real result = {0.0};
#if LANES_GATHER == 8
  result = __builtin_ia32_gatherdiv8df(result, NULL, (lanes_places)address, (char)-1, 1);
#elif LANES_GATHER == 4
  const real all = (real)(result == result);
  result = __builtin_ia32_gatherdiv4df(result, NULL, (lanes_places)address, all, 1);
#else
  for (int i = 0; i < REAL_LANES; i++) {
    result[i] = *(const double *)(intptr_t)address[i];
  }
#endif
  return result;
}

/* The ints at these addresses. */
static inline whole_number lanes_read_whole(mask address) {
  whole_number result = {0};
#if LANES_GATHER == 8
  result = __builtin_ia32_gatherdiv16si(result, NULL, (lanes_places)address, (char)-1, 1);
#elif LANES_GATHER == 4
  result = __builtin_ia32_gatherdiv4si256(result, NULL, (lanes_places)address, ~result, 1);
#else
  for (int i = 0; i < REAL_LANES; i++) {
    result[i] = *(const int *)(intptr_t)address[i];
  }
#endif
  return result;
}

#define PER_LANE [REAL_LANES]
#define EACH(member) (member)

/* The size, lane by lane. This and the root stand for the functions of <math.h>: to the last bit what the plain ones
 * give. */
static inline real lanes_abs(real x) {
  return (real)((mask)x & INT64_MAX);
}

/* The root, lane by lane. */
static inline real lanes_sqrt(real x) {
  real root = x;
  for (int i = 0; i < REAL_LANES; i++) {
    root[i] = sqrt(x[i]);
  }
  return root;
}

/* x times 2^n, where the last bits of `shifted` are the whole number n. */
static inline real real_times_power_of_two(real x, real shifted) {
  typedef uint64_t bits __attribute__((vector_size(8 * REAL_LANES)));
  return (real)((bits)x + ((bits)shifted << 52));
}

/* The exponent of 2 of a normal number above zero, for a mantissa from 1/2 to 1. */
static inline real real_binary_exponent(real x, real *mantissa) {
  typedef uint64_t bits __attribute__((vector_size(8 * REAL_LANES)));
  *mantissa = (real)(((bits)x & UINT64_C(0xFFFFFFFFFFFFF)) | UINT64_C(0x3FE0000000000000));
  /* The biased exponent beneath the bits of 2^52, whose last place is 1. */
  return (real)(((bits)x >> 52) | UINT64_C(0x4330000000000000)) - (4503599627370496.0 + 1022.0);
}

#define fabs(x) _Generic((x), real : lanes_abs, default : fabs)(x)
#define sqrt(x) _Generic((x), real : lanes_sqrt, default : sqrt)(x)

#endif
