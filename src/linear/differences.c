#include "differences.h"

#include <stdlib.h>
#include <string.h>

#include "aligned.h"
#include "plain_number.h"

#define EVALUATE_AHEAD(differences, t, later, state) evaluate_ahead(differences, t, later, state)
#define EVALUATE(differences, k, t, state, rates) evaluate(differences, k, t, state, rates)

static void evaluate_ahead(struct differences_plain *differences, double t, double later, const double *state);

static void evaluate(const struct differences_plain *differences, int k, double t, const double *state, double *rates) {
  if (differences->rates_of_lanes != NULL) {
    size_t n = (size_t)differences->sparsity->size;
    memcpy(rates, differences->ahead + (size_t)k * n, n * sizeof *rates);
  } else {
    differences->rates_of(differences->context, t, state, rates);
  }
}

#include "differences_text.h"

/* Put group g, shifted, into one lane. */
static void shift_in_lane(const struct differences_plain *differences, int g, const double *state, int lane) {
  const struct sparsity *s = differences->sparsity;
  differences_plain_shift(differences, g, state, differences->shifted);
  for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
    int j = s->group_columns[c];
    differences->lane_states[j][lane] = differences->shifted[j];
  }
}

/* All evaluations, LANES at a time; lanes that are left over evaluate at the state itself. */
static void evaluate_ahead(struct differences_plain *differences, double t, double later, const double *state) {
  if (differences->rates_of_lanes == NULL) {
    return;
  }
  int n = differences->sparsity->size;
  int before = (differences->rates_known ? 0 : 1) + (differences->time_dependent ? 1 : 0); /* the groups */
  int count = differences->sparsity->group_count + before;
  for (int from = 0; from < count; from += LANES) {
    lanes times = t + (lanes){0.0};
    for (int i = 0; i < n; i++) {
      differences->lane_states[i] = state[i] + (lanes){0.0};
    }
    for (int lane = 0; lane < LANES && from + lane < count; lane++) {
      int g = from + lane - before;
      if (g >= 0) {
        shift_in_lane(differences, g, state, lane);
      } else if (g == -1 && differences->time_dependent) {
        times[lane] = later;
      }
    }
    differences->rates_of_lanes(differences->context, &times, differences->lane_states, differences->lane_rates);
    for (int lane = 0; lane < LANES && from + lane < count; lane++) {
      double *rates = differences->ahead + (size_t)(from + lane) * (size_t)n;
      for (int i = 0; i < n; i++) {
        rates[i] = differences->lane_rates[i][lane];
      }
    }
  }
}

bool differences_plain_open(struct differences_plain *differences) {
  size_t n = (size_t)differences->sparsity->size;
  size_t evaluations = (size_t)differences->sparsity->group_count + 2;
  differences->ahead = calloc(evaluations * n, sizeof *differences->ahead);
  differences->lane_states = aligned_zeros(n * sizeof(lanes));
  differences->lane_rates = aligned_zeros(n * sizeof(lanes));
  if (differences_plain_open_memory(differences) && differences->ahead != NULL && differences->lane_states != NULL &&
      differences->lane_rates != NULL) {
    return true;
  }
  differences_plain_close(differences);
  return false;
}

void differences_plain_close(struct differences_plain *differences) {
  free(differences->ahead);
  free(differences->lane_states);
  free(differences->lane_rates);
  differences->ahead = NULL;
  differences->lane_states = NULL;
  differences->lane_rates = NULL;
  differences_plain_close_memory(differences);
}

int differences_evaluations(const struct sparsity *sparsity, bool time_dependent) {
  return sparsity->group_count + (time_dependent ? 1 : 0);
}
