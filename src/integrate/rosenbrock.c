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
#define EVALUATE_AHEAD(method, t, state, absolute) evaluate_ahead(method, t, state, absolute)
#define EVALUATE(method, k, t, state, rates) look(method, k, t, state, rates)
#define VECTORS

static void evaluate_ahead(struct rosenbrock_plain *method, double t, const double *state, const double *absolute);

static void look(const struct rosenbrock_plain *method, int k, double t, const double *state, double *rates) {
  if (method->rates_of_lanes != NULL) {
    size_t n = (size_t)method->sparsity->size;
    memcpy(rates, method->ahead + (size_t)k * n, n * sizeof *rates);
  } else {
    method->rates_of(method->context, t, state, rates);
  }
}

#include "rosenbrock_text.h"

/* All looks of the differences, LANES at a time; places that are left over look at the state itself. */
static void evaluate_ahead(struct rosenbrock_plain *method, double t, const double *state, const double *absolute) {
  if (method->rates_of_lanes == NULL) {
    return;
  }
  const struct sparsity *s = method->sparsity;
  int n = s->size;
  int before = method->time_dependent ? 2 : 1; /* the groups */
  int count = s->group_count + before;
  for (int from = 0; from < count; from += LANES) {
    lanes times = t + (lanes){0.0};
    for (int i = 0; i < n; i++) {
      method->lane_states[i] = state[i] + (lanes){0.0};
    }
    for (int k = 0; k < LANES && from + k < count; k++) {
      int g = from + k - before;
      if (g == -1 && method->time_dependent) {
        times[k] = LATER(t);
      }
      if (g >= 0) {
        rosenbrock_plain_shift(method, g, state, method->work[0], absolute);
        for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
          method->lane_states[s->group_columns[c]][k] = method->work[0][s->group_columns[c]];
        }
      }
    }
    method->rates_of_lanes(method->context, &times, method->lane_states, method->lane_rates);
    for (int k = 0; k < LANES && from + k < count; k++) {
      double *rates = method->ahead + (size_t)(from + k) * (size_t)n;
      for (int i = 0; i < n; i++) {
        rates[i] = method->lane_rates[i][k];
      }
    }
  }
}

static lanes *lane_rows(size_t count) {
  return aligned_alloc(64, count * sizeof(lanes));
}

bool rosenbrock_plain_open(struct rosenbrock_plain *method) {
  if (!rosenbrock_plain_open_memory(method)) {
    return false;
  }
  size_t n = (size_t)method->sparsity->size;
  method->ahead = calloc(((size_t)method->sparsity->group_count + 2) * n + 1, sizeof *method->ahead);
  method->lane_states = lane_rows(n + 1);
  method->lane_rates = lane_rows(n + 1);
  if (method->ahead == NULL || method->lane_states == NULL || method->lane_rates == NULL) {
    rosenbrock_plain_close(method);
    return false;
  }
  return true;
}

void rosenbrock_plain_close(struct rosenbrock_plain *method) {
  free(method->ahead);
  free(method->lane_states);
  free(method->lane_rates);
  method->ahead = NULL;
  method->lane_states = NULL;
  method->lane_rates = NULL;
  rosenbrock_plain_close_memory(method);
}

int rosenbrock_jacobian_evaluations(const struct sparsity *sparsity, bool time_dependent) {
  return sparsity->group_count + (time_dependent ? 1 : 0);
}

int rosenbrock_evaluations(const struct sparsity *sparsity, bool time_dependent) {
  return rosenbrock_jacobian_evaluations(sparsity, time_dependent) + RODAS4_STAGES;
}
