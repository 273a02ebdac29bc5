#include "estimate.h"

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_DAMPING 1e-3
#define LEAST_DAMPING 1e-9
#define STALLED 1e6      /* damping at which the Jacobian and the model do not agree at all */
#define POOR 0.25        /* of the promised fall: a step below it asks for a new Jacobian */
#define RELATIVE 1e-14   /* of the sum: less is rounding */
#define NEAR_ENOUGH 0.02 /* of the rise's root: the end of a profile */
#define FELL 0.1         /* below the minimum: it was none */

enum { STEPS = 200, PROFILE_STEPS = 24 };

bool estimate_point_new(const struct estimate_model *model, struct estimate_point *point) {
  memset(point, 0, sizeof *point);
  size_t count = (size_t)(model->count > 0 ? model->count : 1);
  size_t unknowns = (size_t)(model->unknowns > 0 ? model->unknowns : 1);
  point->residuals = calloc(count, sizeof(double));
  point->jacobian = calloc(count * unknowns, sizeof(double));
  return point->residuals != NULL && point->jacobian != NULL;
}

void estimate_point_copy(const struct estimate_model *model, const struct estimate_point *from,
                         struct estimate_point *to) {
  double *residuals = to->residuals;
  double *jacobian = to->jacobian;
  *to = *from;
  to->residuals = residuals;
  to->jacobian = jacobian;
  memcpy(residuals, from->residuals, (size_t)model->count * sizeof(double));
  memcpy(jacobian, from->jacobian, (size_t)model->count * (size_t)model->unknowns * sizeof(double));
}

void estimate_point_free(struct estimate_point *point) {
  free(point->residuals);
  free(point->jacobian);
  point->residuals = point->jacobian = NULL;
}

static double squares(const double *values, long count) {
  double sum = 0.0;
  for (long k = 0; k < count; k++) {
    sum += values[k] * values[k];
  }
  return sum;
}

static double product(const double *one, const double *other, long count) {
  double sum = 0.0;
  for (long k = 0; k < count; k++) {
    sum += one[k] * other[k];
  }
  return sum;
}

static const double *column(const struct estimate_model *model, const struct estimate_point *point, int i) {
  return point->jacobian + (size_t)i * (size_t)model->count;
}

/* The normal equations of a point. */
struct normal {
  double matrix[ESTIMATE_UNKNOWNS * ESTIMATE_UNKNOWNS];
  double slope[ESTIMATE_UNKNOWNS]; /* half the gradient */
};

static void normal_equations(const struct estimate_model *model, const struct estimate_point *point,
                             struct normal *normal) {
  int n = model->unknowns;
  for (int i = 0; i < n; i++) {
    normal->slope[i] = product(column(model, point, i), point->residuals, model->count);
    for (int k = 0; k <= i; k++) {
      double sum = product(column(model, point, i), column(model, point, k), model->count);
      normal->matrix[i * n + k] = normal->matrix[k * n + i] = sum;
    }
  }
}

/* A damped step, in units of the sizes, of the unknowns that may move; returns the fall of the sum that it promises. */
static double damped_step(const struct estimate_model *model, const struct estimate_point *point,
                          const struct normal *normal, const bool *held, double damping, double *step) {
  int n = model->unknowns;
  int free_count = 0;
  int places[ESTIMATE_UNKNOWNS];
  double matrix[ESTIMATE_UNKNOWNS * ESTIMATE_UNKNOWNS];
  double right[ESTIMATE_UNKNOWNS];
  for (int i = 0; i < n; i++) {
    step[i] = 0.0;
    bool outwards = (point->values[i] <= model->low[i] && normal->slope[i] > 0.0) ||
                    (point->values[i] >= model->high[i] && normal->slope[i] < 0.0);
    if (!held[i] && !outwards) {
      places[free_count++] = i;
    }
  }
  double largest = 0.0;
  for (int a = 0; a < free_count; a++) {
    largest = fmax(largest, normal->matrix[places[a] * n + places[a]]);
  }
  for (int a = 0; a < free_count; a++) {
    for (int b = 0; b < free_count; b++) {
      matrix[a * free_count + b] = normal->matrix[places[a] * n + places[b]];
    }
    matrix[a * free_count + a] += damping * fmax(matrix[a * free_count + a], 1e-12 * largest) + 1e-300;
    right[a] = -normal->slope[places[a]];
  }
  if (free_count == 0 || LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', free_count, 1, matrix, free_count, right, 1) != 0) {
    return 0.0;
  }
  for (int a = 0; a < free_count; a++) {
    int i = places[a];
    double to = fmin(fmax(point->values[i] + right[a] * model->size[i], model->low[i]), model->high[i]);
    step[i] = (to - point->values[i]) / model->size[i];
  }
  double promised = 0.0;
  for (int i = 0; i < n; i++) {
    promised -= 2.0 * step[i] * normal->slope[i];
    for (int k = 0; k < n; k++) {
      promised -= step[i] * step[k] * normal->matrix[i * n + k];
    }
  }
  return promised;
}

/* Broyden: the least change of the Jacobian that explains what the step did. */
static void correct(const struct estimate_model *model, double *jacobian, const double *before, const double *after,
                    const double *step) {
  int n = model->unknowns;
  double length = squares(step, n);
  for (long k = 0; k < model->count && length > 0.0; k++) {
    double missed = after[k] - before[k];
    for (int i = 0; i < n; i++) {
      missed -= jacobian[(size_t)i * (size_t)model->count + (size_t)k] * step[i];
    }
    for (int i = 0; i < n; i++) {
      jacobian[(size_t)i * (size_t)model->count + (size_t)k] += missed * step[i] / length;
    }
  }
}

static bool take_jacobian(const struct estimate_model *model, struct estimate_point *point, const bool *held) {
  point->fresh = model->jacobian(model->context, point->values, held, point->jacobian);
  return point->fresh;
}

bool estimate_descend(const struct estimate_model *model, struct estimate_point *point, const bool *held, bool known,
                      double worth) {
  static const bool none[ESTIMATE_UNKNOWNS] = {false};
  held = held != NULL ? held : none;
  point->ended = false;
  if (!known) {
    if (!model->residuals(model->context, point->values, point->residuals) || !take_jacobian(model, point, held)) {
      return false;
    }
    point->sum = squares(point->residuals, model->count);
  }
  struct normal *normal = malloc(sizeof *normal);
  double *next = malloc((size_t)(model->count + 1) * sizeof *next);
  double damping = FIRST_DAMPING;
  double growth = 2.0;
  bool good = normal != NULL && next != NULL;
  bool again = true; /* the normal equations are to be made */
  for (int i = 0; good && i < STEPS && !point->ended && !model->stopped(model->context); i++) {
    double step[ESTIMATE_UNKNOWNS];
    double values[ESTIMATE_UNKNOWNS];
    if (again) {
      normal_equations(model, point, normal);
      again = false;
    }
    double promised = damped_step(model, point, normal, held, damping, step);
    double enough = fmax(worth, RELATIVE * point->sum);
    if (!(promised > enough)) {
      if (point->fresh) {
        point->ended = damping < STALLED;
        break;
      }
      good = take_jacobian(model, point, held);
      again = true;
      continue;
    }
    for (int k = 0; k < model->unknowns; k++) {
      values[k] = point->values[k] + step[k] * model->size[k];
    }
    bool there = model->residuals(model->context, values, next);
    double sum = there ? squares(next, model->count) : INFINITY;
    double share = (point->sum - sum) / promised;
    if (sum < point->sum) {
      correct(model, point->jacobian, point->residuals, next, step);
      memcpy(point->values, values, sizeof(double) * (size_t)model->unknowns);
      memcpy(point->residuals, next, (size_t)model->count * sizeof *next);
      point->sum = sum;
      bool was_fresh = point->fresh;
      point->fresh = false;
      damping = fmax(damping * fmax(1.0 / 3.0, 1.0 - pow(2.0 * share - 1.0, 3.0)), LEAST_DAMPING);
      growth = 2.0;
      if (share < POOR && !was_fresh) {
        good = take_jacobian(model, point, held);
      }
      again = true;
    } else if (!point->fresh) {
      good = take_jacobian(model, point, held);
      again = true;
    } else {
      damping *= growth;
      growth *= 2.0;
    }
  }
  if (good && !point->fresh) {
    good = take_jacobian(model, point, held);
  }
  free(normal);
  free(next);
  return good;
}

/* The least sum with unknown `i` at `value`; `point` begins where the one before ended. */
static bool least_at(const struct estimate_model *model, struct estimate_point *point, const bool *held, int i,
                     double value, const double *moves) {
  double apart = (value - point->values[i]) / model->size[i];
  for (int k = 0; k < model->unknowns; k++) {
    double to = point->values[k] + moves[k] * apart * model->size[k];
    point->values[k] = k == i ? value : fmin(fmax(to, model->low[k]), model->high[k]);
  }
  if (!model->residuals(model->context, point->values, point->residuals)) {
    return false;
  }
  point->sum = squares(point->residuals, model->count);
  point->fresh = false;
  return estimate_descend(model, point, held, true, 0.02);
}

bool estimate_profile_find(const struct estimate_model *model, const struct estimate_point *best, int i, int side,
                           double rise, double deviation, const double *moves, struct estimate_profile *profile) {
  struct estimate_point point;
  bool held[ESTIMATE_UNKNOWNS] = {false};
  memset(profile, 0, sizeof *profile);
  if (!estimate_point_new(model, &point)) {
    estimate_point_free(&point);
    return false;
  }
  held[i] = true;
  double bound = side < 0 ? model->low[i] : model->high[i];
  double wanted = sqrt(rise);
  double inner = best->values[i]; /* the root of the rise is below what is wanted here ... */
  double inner_root = 0.0;
  double outer = NAN; /* ... and above it here */
  double outer_root = NAN;
  double reach = fmin(wanted * deviation, fabs(bound - inner));
  double value = inner + side * fmax(reach, 1e-9 * model->size[i]);
  bool good = true;
  estimate_point_copy(model, best, &point);
  for (int step = 0; step < PROFILE_STEPS && !model->stopped(model->context); step++) {
    value = side < 0 ? fmax(value, bound) : fmin(value, bound);
    if (!least_at(model, &point, held, i, value, moves)) {
      estimate_point_copy(model, best, &point); /* no model there: as good as infinitely far */
      outer = value;
      outer_root = INFINITY;
    } else if (point.sum < best->sum - FELL) {
      profile->lower = true;
      memcpy(profile->lower_values, point.values, sizeof profile->lower_values);
      break;
    } else {
      double root = sqrt(fmax(point.sum - best->sum, 0.0));
      if (fabs(root - wanted) < NEAR_ENOUGH * wanted) {
        profile->end = value;
        break;
      }
      if (root < wanted) {
        inner = value;
        inner_root = root;
      } else {
        outer = value;
        outer_root = root;
      }
    }
    profile->end = isnan(outer) ? inner : outer; /* what is known so far, on the safe side */
    if (isnan(outer)) {
      if (inner == bound) {
        profile->open = true;
        profile->end = bound;
        break;
      }
      double farther = inner_root > 0.2 * wanted ? 1.1 * wanted / inner_root : 3.0;
      value = best->values[i] + fmin(farther, 3.0) * (inner - best->values[i]);
      continue;
    }
    if (fabs(outer - inner) < 2e-3 * fabs(outer - best->values[i])) {
      break;
    }
    double share = isfinite(outer_root) ? (wanted - inner_root) / (outer_root - inner_root) : 0.5;
    value = inner + fmin(fmax(share, 0.1), 0.9) * (outer - inner);
  }
  estimate_point_free(&point);
  return good;
}
