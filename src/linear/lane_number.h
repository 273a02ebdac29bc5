/* As plain_number.h, for LANES doubles at once, one of each of as many systems. Every operation works lane by lane and
 * is the plain one there, to the last bit. Vectors are passed by address, because how they are passed by value depends
 * on the instruction set compiled for. */
#ifndef SWASHLOOP_LINEAR_LANE_NUMBER_H
#define SWASHLOOP_LINEAR_LANE_NUMBER_H

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "plant_lanes.h"

typedef int64_t where __attribute__((vector_size(8 * LANES)));

/* The root in place. */
static inline void take_root(lanes *square) {
  for (int i = 0; i < LANES; i++) {
    (*square)[i] = sqrt((*square)[i]);
  }
}

#define CHOOSE(condition, yes, no) ((lanes)(((condition) & (where)(yes)) | (~(condition) & (where)(no))))

/* The others' numbers in the lanes of which all bits are set; in those of which none is, they stay. */
static inline __attribute__((always_inline)) void take_lanes(lanes *own, const lanes *others, const int64_t *set) {
  where in;
  memcpy(&in, set, sizeof in);
  *own = CHOOSE(in, *others, *own);
}

#define NUMBER lanes
#define OF_KIND(room, name) room##_lanes##name
#define GIVEN const lanes *
#define TAKE(x) (*(x))
#define HAND(x) (&(x))
#define LARGER(a, b) CHOOSE((a) > (b), a, b)
#define SIZE(a) ((lanes)((where)(a)&INT64_MAX))
#define TAKE_ROOT(a) take_root(&(a))
#define WHERE_ABOVE(a, b, yes) CHOOSE((a) > (b), (yes) + 0.0 * (a), 0.0 * (a))

/* Compiled once for each width of vectors that processors have; the right one is taken when the program starts. */
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && defined(__gnu_linux__) &&                       \
    !defined(__SANITIZE_THREAD__) /* it is ready only after the program has chosen by processor */
#define VECTORS __attribute__((target_clones("default", "avx2", "avx512f")))
#else
#define VECTORS
#endif

#endif
