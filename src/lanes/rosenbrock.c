#include "rosenbrock.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rodas4.h"

/* A pivot that has lost so many of its digits to cancellation spoils the attempt. */
#define LEAST_PIVOT 1e-9

static double larger_of(double a, double b) {
  return a > b ? a : b;
}

#define NUMBER double
#define METHOD rosenbrock_plain
#define GIVEN double
#define TAKE(x) (x)
#define HAND(x) (x)
#define LARGER(a, b) larger_of(a, b)
#define SIZE(a) fabs(a)
#define TAKE_ROOT(a) ((a) = sqrt(a))
#define SPOILT(pivot, diagonal) (fabs(pivot) < LEAST_PIVOT * fabs(diagonal) ? HUGE_VAL : 0.0)
#define RATES(method, t, state, rates) (method)->rates_of((method)->context, t, state, rates)
#define VECTORS
#include "rosenbrock_text.h"

int rosenbrock_jacobian_looks(const struct sparsity *sparsity, bool driven) {
  return sparsity->group_count + (driven ? 1 : 0);
}

int rosenbrock_looks(const struct sparsity *sparsity, bool driven) {
  return rosenbrock_jacobian_looks(sparsity, driven) + RODAS4_STAGES;
}
