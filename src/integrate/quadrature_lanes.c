#include "quadrature_lanes.h"

#include <math.h>
#include <string.h>

#include "lane_number.h"
#include "quadrature_memory.h"

static void put(lanes *rows, int count, int lane, const double *values) {
  for (int i = 0; i < count; i++) {
    rows[i][lane] = values[i];
  }
}

static void get(const lanes *rows, int count, int lane, double *values) {
  for (int i = 0; i < count; i++) {
    values[i] = rows[i][lane];
  }
}

void quadrature_lanes_take(struct quadrature_lanes *all, int lane, const struct quadrature *quadrature) {
  int n = quadrature->count;
  all->count = n;
  all->known[lane] = quadrature->finished && quadrature->end > quadrature->start ? -1 : 0;
  all->before_start[lane] = quadrature->start;
  all->start[lane] = quadrature->end;
  all->relative[lane] = quadrature->relative;
  all->absolute[lane] = quadrature->absolute;
  put(all->before[0], n, lane, quadrature->rows[2]);
  put(all->before[1], n, lane, quadrature->rows[3]);
  put(all->at_start, n, lane, quadrature->rows[4]);
  put(all->integrals, n, lane, quadrature->at_end);
}

void quadrature_lanes_give(const struct quadrature_lanes *all, int lane, struct quadrature *quadrature) {
  int n = quadrature->count;
  quadrature->start = all->before_start[lane];
  quadrature->end = all->start[lane];
  quadrature->finished = true;
  quadrature->start_known = true;
  quadrature->part_end = NAN;
  get(all->before[0], n, lane, quadrature->rows[2]);
  get(all->before[1], n, lane, quadrature->rows[3]);
  get(all->at_start, n, lane, quadrature->rows[4]);
  get(all->integrals, n, lane, quadrature->at_end);
}

/* The sums of add_step (quadrature.c), in the same order. */
VECTORS void quadrature_lanes_try(struct quadrature_lanes *all, const lanes *end, const lanes *middle,
                                  const lanes *at_end, int64_t *good) {
  lanes width = *end - all->start;
  const lanes times[POINTS] = {all->before_start, 0.5 * (all->before_start + all->start), all->start,
                               all->start + 0.5 * width, *end};
  lanes weights[POINTS];
  lanes width_to_fifth = width * width * width * width * width;
  for (int j = 0; j < POINTS; j++) {
    lanes product = 1.0 + 0.0 * width;
    for (int k = 0; k < POINTS; k++) {
      product = k == j ? product : product * (times[j] - times[k]);
    }
    weights[j] = -width_to_fifth / 120.0 / product;
  }
  lanes sixth = width / 6.0;
  int64_t bad[LANES] = {0};
  for (int i = 0; i < all->count; i++) {
    lanes start = all->at_start[i];
    lanes so_far = all->integrals[i];
    lanes error = weights[0] * all->before[0][i] + weights[1] * all->before[1][i] + weights[2] * start +
                  weights[3] * middle[i] + weights[4] * at_end[i];
    all->found[i] = so_far + sixth * (start + 4.0 * middle[i] + at_end[i]) + error;
    lanes over = SIZE(error) - (all->absolute + all->relative * SIZE(so_far));
    for (int l = 0; l < LANES; l++) {
      bad[l] |= ((const double *)&over)[l] > 0.0 ? -1 : 0;
    }
  }
  for (int l = 0; l < LANES; l++) {
    good[l] &= all->known[l] & ~bad[l];
  }
}

VECTORS void quadrature_lanes_accept(struct quadrature_lanes *all, const int64_t *which, const lanes *end,
                                     const lanes *middle, const lanes *at_end) {
  for (int i = 0; i < all->count; i++) {
    take_lanes(&all->before[0][i], &all->at_start[i], which);
    take_lanes(&all->before[1][i], &middle[i], which);
    take_lanes(&all->at_start[i], &at_end[i], which);
    take_lanes(&all->integrals[i], &all->found[i], which);
  }
  take_lanes(&all->before_start, &all->start, which);
  take_lanes(&all->start, end, which);
}
