#include "jacobian.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "integrator_body.h"
#include "aligned.h"

struct jacobian {
  int size;
  int groups;
  int *first;        /* [groups + 1] in columns */
  int *columns;      /* by groups */
  uint64_t *rows_of; /* [column] which rows depend on it; NULL: all, and each column is a group */
  lanes *state;      /* NULL: no lanes are asked for */
  lanes *rates;
};

void jacobian_free(struct jacobian *jacobian) {
  if (jacobian != NULL) {
    free(jacobian->first);
    free(jacobian->columns);
    free(jacobian->rows_of);
    free(jacobian->state);
    free(jacobian->rates);
    free(jacobian);
  }
}

static struct jacobian *new_jacobian(int n) {
  struct jacobian *jacobian = calloc(1, sizeof *jacobian);
  if (jacobian == NULL) {
    return NULL;
  }
  jacobian->size = n;
  jacobian->first = calloc((size_t)n + 1, sizeof *jacobian->first);
  jacobian->columns = calloc((size_t)n + 1, sizeof *jacobian->columns);
  jacobian->rows_of = calloc((size_t)n + 1, sizeof *jacobian->rows_of);
  jacobian->state = aligned_zeros((size_t)(n + 1) * sizeof(lanes));
  jacobian->rates = aligned_zeros((size_t)(n + 1) * sizeof(lanes));
  if (!jacobian->first || !jacobian->columns || !jacobian->rows_of || !jacobian->state || !jacobian->rates) {
    jacobian_free(jacobian);
    return NULL;
  }
  return jacobian;
}

bool jacobian_fit(struct jacobian **jacobian, const struct integrator_problem *problem) {
  int n = problem->state_count;
  if (*jacobian != NULL && (*jacobian)->size != n) {
    jacobian_free(*jacobian);
    *jacobian = NULL;
  }
  if (*jacobian == NULL) {
    *jacobian = new_jacobian(n);
  }
  struct jacobian *own = *jacobian;
  if (own == NULL) {
    return false;
  }
  bool known = problem->sparsity_pattern != NULL && n <= SPARSITY_LIMIT;
  int group[SPARSITY_LIMIT];
  for (int j = 0; j < n; j++) {
    own->rows_of[j] = known ? 0 : ~UINT64_C(0);
    for (int i = 0; known && i < n; i++) {
      own->rows_of[j] |= (problem->sparsity_pattern[i] >> j & 1) << i;
    }
  }
  for (int j = 0; known && j < n; j++) {
    group[j] = -1; /* a column that nothing depends on is in no group */
  }
  own->groups = known ? sparsity_groups(n, problem->sparsity_pattern, group) : n;
  int columns = 0;
  for (int g = 0; g < own->groups; g++) {
    own->first[g] = columns;
    for (int j = 0; j < n; j++) {
      if (known ? group[j] == g : j == g) {
        own->columns[columns++] = j;
      }
    }
  }
  own->first[own->groups] = columns;
  return true;
}

/* What the rates where a group's columns are shifted say of those columns. */
static void take_group(const struct jacobian *own, int g, const double *shifted, const double *rates,
                       const double *increments, SUNMatrix matrix) {
  for (int c = own->first[g]; c < own->first[g + 1]; c++) {
    int j = own->columns[c];
    double *column = SM_COLUMN_D(matrix, j);
    double over = 1.0 / increments[j];
    for (int i = 0; i < own->size; i++) {
      bool sparsity_pattern = i >= SPARSITY_LIMIT || (own->rows_of[j] >> i & 1) != 0;
      column[i] = sparsity_pattern ? (shifted[i] - rates[i]) * over : 0.0;
    }
  }
}

static int one_by_one(struct integrator *integrator, double t, double *y, const double *rates, double *shifted,
                      const double *increments, SUNMatrix matrix) {
  const struct integrator_problem *problem = &integrator->problem;
  const struct jacobian *own = integrator->jacobian;
  for (int g = 0; g < own->groups; g++) {
    double kept[SPARSITY_LIMIT];
    int count = own->first[g + 1] - own->first[g];
    const int *columns = own->columns + own->first[g];
    for (int c = 0; c < count; c++) {
      kept[c] = y[columns[c]];
      y[columns[c]] = kept[c] + increments[columns[c]];
    }
    problem->rates(problem->context, t, y, shifted);
    integrator->jacobian_calls++;
    for (int c = 0; c < count; c++) {
      y[columns[c]] = kept[c];
    }
    if (!integrator_finite(shifted, own->size)) {
      integrator_note_bad(integrator, t, shifted);
      return 1;
    }
    take_group(own, g, shifted, rates, increments, matrix);
  }
  return 0;
}

/* Groups [from, from + LANES) at once; lanes that are left over look where nothing is shifted. */
static int in_lanes(struct integrator *integrator, double t, const double *y, const double *rates, double *shifted,
                    const double *increments, SUNMatrix matrix) {
  const struct integrator_problem *problem = &integrator->problem;
  const struct jacobian *own = integrator->jacobian;
  lanes time = t + (lanes){0.0};
  for (int from = 0; from < own->groups; from += LANES) {
    int count = own->groups - from < LANES ? own->groups - from : LANES;
    for (int i = 0; i < own->size; i++) {
      own->state[i] = y[i] + (lanes){0.0};
    }
    for (int c = own->first[from], k = 0; k < count; k++) {
      for (; c < own->first[from + k + 1]; c++) {
        int j = own->columns[c];
        own->state[j][k] = y[j] + increments[j];
      }
    }
    problem->rates_in_lanes(problem->context, &time, own->state, own->rates);
    integrator->jacobian_calls += count;
    for (int k = 0; k < count; k++) {
      for (int i = 0; i < own->size; i++) {
        shifted[i] = own->rates[i][k];
      }
      if (!integrator_finite(shifted, own->size)) {
        integrator_note_bad(integrator, t, shifted);
        return 1;
      }
      take_group(own, from + k, shifted, rates, increments, matrix);
    }
  }
  return 0;
}

/* Increments as in the library's own routine: the larger of the square root of the rounding unit times the state, and
 * the rounding of the rates over the error weight. */
int jacobian_find(struct integrator *integrator, double t, N_Vector state, N_Vector rates, SUNMatrix matrix,
                  N_Vector work1, N_Vector work2) {
  int n = integrator->problem.state_count;
  double *y = NV_DATA_S(state);
  const double *f = NV_DATA_S(rates);
  double *weights = NV_DATA_S(work2);
  double step;
  if (CVodeGetCurrentStep(integrator->solver, &step) != CV_SUCCESS ||
      CVodeGetErrWeights(integrator->solver, work2) != CV_SUCCESS) {
    return -1;
  }
  double norm = 0.0;
  for (int i = 0; i < n; i++) {
    norm += f[i] * weights[i] * f[i] * weights[i];
  }
  norm = sqrt(norm / n);
  double rounding = SUN_UNIT_ROUNDOFF;
  double least = norm > 0.0 ? 1000.0 * fabs(step) * rounding * n * norm : 1.0;
  double *increments = weights;
  for (int j = 0; j < n; j++) {
    increments[j] = fmax(sqrt(rounding) * fabs(y[j]), least / weights[j]);
    if (integrator->jacobian->rows_of[j] == 0) { /* in no group */
      memset(SM_COLUMN_D(matrix, j), 0, (size_t)n * sizeof(double));
    }
  }
  double *shifted = NV_DATA_S(work1);
  return integrator->problem.rates_in_lanes != NULL ? in_lanes(integrator, t, y, f, shifted, increments, matrix)
                                                    : one_by_one(integrator, t, y, f, shifted, increments, matrix);
}
