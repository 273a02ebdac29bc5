#include "quadrature_memory.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "wide.h"

struct source {
  quadrature_powers *powers;
  void *context;
};

struct quadrature *quadrature_new(int count) {
  struct quadrature *quadrature = calloc(1, sizeof *quadrature);
  size_t n = count > 0 ? (size_t)count : 1;
  double *next = calloc(n * (POINTS + KEPT + 2 * DEEPEST), sizeof *next);
  if (quadrature == NULL || next == NULL) {
    free(quadrature);
    free(next);
    return NULL;
  }
  quadrature->count = count;
  quadrature->memory = next;
  double **places[POINTS + KEPT] = {
      &quadrature->rows[0],  &quadrature->rows[1], &quadrature->rows[2],  &quadrature->rows[3],  &quadrature->rows[4],
      &quadrature->at_start, &quadrature->at_end,  &quadrature->aside[0], &quadrature->aside[1], &quadrature->at_part};
  for (int i = 0; i < POINTS + KEPT; i++, next += n) {
    *places[i] = next;
  }
  quadrature->quarters = next;
  return quadrature;
}

void quadrature_free(struct quadrature *quadrature) {
  if (quadrature != NULL) {
    free(quadrature->memory);
    free(quadrature);
  }
}

void quadrature_settle(struct quadrature *quadrature, double relative, double absolute) {
  quadrature->relative = relative;
  quadrature->absolute = absolute;
}

void quadrature_start(struct quadrature *quadrature, double t, const double *integrals) {
  quadrature->start = t;
  quadrature->end = t;
  quadrature->finished = true;
  quadrature->start_known = false;
  quadrature->before_known = false;
  if (quadrature->count > 0) {
    memcpy(quadrature->at_end, integrals, (size_t)quadrature->count * sizeof *integrals);
  }
}

void quadrature_step(struct quadrature *quadrature, double t) {
  double **rows = quadrature->rows;
  if (quadrature->end > quadrature->start) { /* the last step is now the step before */
    double *spare[2] = {rows[0], rows[1]};
    quadrature->before_start = quadrature->start;
    rows[0] = rows[2];
    rows[1] = rows[3];
    rows[2] = rows[4];
    rows[3] = spare[0];
    rows[4] = spare[1];
    quadrature->before_known = true;
    quadrature->start_known = true;
  }
  double *integrals = quadrature->at_start;
  quadrature->at_start = quadrature->at_end;
  quadrature->at_end = integrals;
  quadrature->start = quadrature->end;
  quadrature->end = t;
  quadrature->finished = false;
  quadrature->part_end = NAN;
}

static double allowed(const struct quadrature *quadrature, int i) {
  return quadrature->absolute + quadrature->relative * fabs(quadrature->at_start[i]);
}

/* Add to `sums` the integral over a piece whose powers at start, middle and end are known, halved until the rule on the
 * halves and the rule on the whole agree. A NaN counts as agreement: the run tells of it elsewhere. */
static void add_piece(const struct quadrature *quadrature, const struct source *source, int depth, double t,
                      double width, const double *const *known, double *sums) {
  int n = quadrature->count;
  double *left = quadrature->quarters + (size_t)(2 * depth) * (size_t)n;
  double *right = left + n;
  source->powers(source->context, t + 0.25 * width, left);
  source->powers(source->context, t + 0.75 * width, right);
  const double *start = known[0];
  const double *middle = known[1];
  const double *end = known[2];
  bool agree = true;
  for (int i = 0; i < n && depth + 1 < DEEPEST; i++) {
    double whole = width / 6.0 * (start[i] + 4.0 * middle[i] + end[i]);
    double halves = width / 12.0 * (start[i] + 4.0 * left[i] + 2.0 * middle[i] + 4.0 * right[i] + end[i]);
    agree = agree && !(fabs(halves - whole) > 15.0 * allowed(quadrature, i));
  }
  if (!agree) {
    const double *first[3] = {start, left, middle};
    const double *second[3] = {middle, right, end};
    add_piece(quadrature, source, depth + 1, t, 0.5 * width, first, sums);
    add_piece(quadrature, source, depth + 1, t + 0.5 * width, 0.5 * width, second, sums);
    return;
  }
  for (int i = 0; i < n; i++) { /* Boole's rule: the halves, less the error that the difference shows */
    sums[i] += width / 90.0 * (7.0 * (start[i] + end[i]) + 32.0 * (left[i] + right[i]) + 12.0 * middle[i]);
  }
}

/* Simpson's rule over the step, less the error that the fourth difference over five points shows. Returns false, and
 * adds nothing, if that error is not within its tolerance. */
WIDE static bool add_step(struct quadrature *quadrature) {
  double width = quadrature->end - quadrature->start;
  const double times[POINTS] = {quadrature->before_start, 0.5 * (quadrature->before_start + quadrature->start),
                                quadrature->start, quadrature->start + 0.5 * width, quadrature->end};
  double weights[POINTS]; /* of the error */
  double width_to_fifth = width * width * width * width * width;
  for (int j = 0; j < POINTS; j++) {
    double product = 1.0;
    for (int k = 0; k < POINTS; k++) {
      product *= k == j ? 1.0 : times[j] - times[k];
    }
    weights[j] = -width_to_fifth / 120.0 / product;
  }
  const double *const *rows = (const double *const *)quadrature->rows;
  const double *r0 = rows[0];
  const double *r1 = rows[1];
  const double *r2 = rows[2];
  const double *r3 = rows[3];
  const double *r4 = rows[4];
  const double *before = quadrature->at_start;
  double *errors = quadrature->quarters; /* not in use */
  double *sums = quadrature->at_end;
  double w0 = weights[0];
  double w1 = weights[1];
  double w2 = weights[2];
  double w3 = weights[3];
  double w4 = weights[4];
  double sixth = width / 6.0;
  int n = quadrature->count;
#pragma GCC ivdep
  for (int i = 0; i < n; i++) {
    errors[i] = w0 * r0[i] + w1 * r1[i] + w2 * r2[i] + w3 * r3[i] + w4 * r4[i];
    sums[i] = before[i] + sixth * (r2[i] + 4.0 * r3[i] + r4[i]) + errors[i];
  }
  bool good = true;
  for (int i = 0; i < n; i++) {
    good = good && !(fabs(errors[i]) > allowed(quadrature, i));
  }
  return good;
}

static void make_start_known(struct quadrature *quadrature, const struct source *source) {
  if (!quadrature->start_known) {
    source->powers(source->context, quadrature->start, quadrature->rows[2]);
    quadrature->start_known = true;
  }
}

void quadrature_finish(struct quadrature *quadrature, quadrature_powers *powers, void *context) {
  if (quadrature->finished) {
    return;
  }
  struct source source = {powers, context};
  double width = quadrature->end - quadrature->start;
  quadrature->finished = true;
  make_start_known(quadrature, &source);
  powers(context, quadrature->start + 0.5 * width, quadrature->rows[3]);
  powers(context, quadrature->end, quadrature->rows[4]);
  if (quadrature->before_known && add_step(quadrature)) {
    return;
  }
  const double *known[3] = {quadrature->rows[2], quadrature->rows[3], quadrature->rows[4]};
  memcpy(quadrature->at_end, quadrature->at_start, (size_t)quadrature->count * sizeof *quadrature->at_end);
  add_piece(quadrature, &source, 0, quadrature->start, width, known, quadrature->at_end);
}

void quadrature_at(struct quadrature *quadrature, double t, quadrature_powers *powers, void *context,
                   double *integrals) {
  size_t size = (size_t)quadrature->count * sizeof *integrals;
  if (t >= quadrature->end) {
    quadrature_finish(quadrature, powers, context);
    memcpy(integrals, quadrature->at_end, size);
    return;
  }
  if (t == quadrature->part_end) {
    memcpy(integrals, quadrature->at_part, size);
    return;
  }
  memcpy(integrals, quadrature->at_start, size);
  double width = t - quadrature->start;
  if (width > 0.0) {
    struct source source = {powers, context};
    make_start_known(quadrature, &source);
    powers(context, quadrature->start + 0.5 * width, quadrature->aside[0]);
    powers(context, t, quadrature->aside[1]);
    const double *known[3] = {quadrature->rows[2], quadrature->aside[0], quadrature->aside[1]};
    add_piece(quadrature, &source, 0, quadrature->start, width, known, integrals);
  }
  quadrature->part_end = t;
  memcpy(quadrature->at_part, integrals, size);
}
