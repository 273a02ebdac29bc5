#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rodas4.h"
#include "rosenbrock.h"

/* As for the plain one. */
#define LEAST_PIVOT 1e-9

typedef int64_t where __attribute__((vector_size(8 * LANES)));

/* Compiled once for each width of vectors that processors have; the right one is taken when the program starts. */
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && defined(__gnu_linux__)
#define VECTORS __attribute__((target_clones("default", "avx2", "avx512f")))
#else
#define VECTORS
#endif

static inline void take_root(lanes *square) {
  for (int i = 0; i < LANES; i++) {
    (*square)[i] = sqrt((*square)[i]);
  }
}

#define NUMBER lanes
#define METHOD rosenbrock_lanes
#define GIVEN const lanes *
#define TAKE(x) (*(x))
#define HAND(x) (&(x))
#define CHOOSE(condition, yes, no) ((lanes)(((condition) & (where)(yes)) | (~(condition) & (where)(no))))
#define LARGER(a, b) CHOOSE((a) > (b), a, b)
#define SIZE(a) ((lanes)((where)(a)&INT64_MAX))
#define TAKE_ROOT(a) take_root(&(a))
#define SPOILT(pivot, diagonal)                                                                                        \
  CHOOSE(SIZE(pivot) < LEAST_PIVOT * SIZE(diagonal), 0.0 * (pivot) + HUGE_VAL, 0.0 * (pivot))
#define RATES(method, t, state, rates) (method)->rates_of((method)->context, t, state, rates)
#define EVALUATE_AHEAD(method, t, state, absolute) (void)0
#define EVALUATE(method, k, t, state, rates) RATES(method, t, state, rates)
#include "rosenbrock_text.h"

bool rosenbrock_lanes_open(struct rosenbrock_lanes *method) {
  return rosenbrock_lanes_open_memory(method);
}

void rosenbrock_lanes_close(struct rosenbrock_lanes *method) {
  rosenbrock_lanes_close_memory(method);
}
