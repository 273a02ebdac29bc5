#include "regions.h"

#include <math.h>
#include <string.h>

#include "share_interval.h"

/* Width of the weights, in steps, and how far they reach. */
#define SMOOTHING_WIDTH 0.7
enum { SMOOTHING_REACH = 2 };

/* ---- steps ---- */

/* The different values in order, as long as they are no more than steps have room for; else REGION_STEP_LIMIT + 1. */
static int different_values(const double *values, long rows, double *found) {
  int count = 0;
  for (long i = 0; i < rows; i++) {
    if (isnan(values[i])) {
      continue;
    }
    int at = 0;
    while (at < count && found[at] < values[i]) {
      at++;
    }
    if (at < count && found[at] == values[i]) {
      continue;
    }
    if (count == REGION_STEP_LIMIT) {
      return REGION_STEP_LIMIT + 1;
    }
    memmove(found + at + 1, found + at, (size_t)(count - at) * sizeof *found);
    found[at] = values[i];
    count++;
  }
  return count;
}

static double onto_scale(const struct region_steps *steps, double value) {
  return steps->logarithmic ? log(value) : value;
}

static double from_scale(const struct region_steps *steps, double place) {
  return steps->logarithmic ? exp(place) : place;
}

/* Edges midway between neighbours; the outer ones as far away as the inner ones. */
static void edges_around(struct region_steps *steps) {
  int last = steps->count - 1;
  steps->values = true;
  if (last == 0) {
    double half = fmax(0.05 * fabs(steps->centres[0]), 0.5);
    steps->logarithmic = false;
    steps->edges[0] = steps->centres[0] - half;
    steps->edges[1] = steps->centres[0] + half;
    return;
  }
  for (int i = 1; i <= last; i++) {
    double below = onto_scale(steps, steps->centres[i - 1]);
    double above = onto_scale(steps, steps->centres[i]);
    steps->edges[i] = from_scale(steps, 0.5 * (below + above));
    if (i == 1) {
      steps->edges[0] = from_scale(steps, below - 0.5 * (above - below));
    }
    if (i == last) {
      steps->edges[last + 1] = from_scale(steps, above + 0.5 * (above - below));
    }
  }
}

static void equal_intervals(struct region_steps *steps, double low, double high, long rows) {
  int wanted = (int)fmin(sqrt((double)rows / 12.0), REGION_INTERVAL_LIMIT);
  steps->count = wanted < REGION_INTERVAL_LEAST ? REGION_INTERVAL_LEAST : wanted;
  double from = onto_scale(steps, low);
  double width = (onto_scale(steps, high) - from) / steps->count;
  for (int i = 0; i < steps->count; i++) {
    steps->edges[i] = i == 0 ? low : from_scale(steps, from + width * i);
    steps->centres[i] = from_scale(steps, from + width * (i + 0.5));
  }
  steps->edges[steps->count] = high;
}

void region_steps_of(const double *values, long rows, bool logarithmic, struct region_steps *steps) {
  double low = INFINITY;
  double high = -INFINITY;
  for (long i = 0; i < rows; i++) {
    low = fmin(low, values[i]);
    high = fmax(high, values[i]);
  }
  *steps = (struct region_steps){.logarithmic = logarithmic && low > 0.0};
  if (!(isfinite(low) && isfinite(high))) {
    return;
  }
  int count = different_values(values, rows, steps->centres);
  if (count <= REGION_STEP_LIMIT) {
    steps->count = count;
    edges_around(steps);
  } else {
    equal_intervals(steps, low, high, rows);
  }
}

int region_place(const struct region_steps *steps, double value) {
  if (isnan(value) || steps->count == 0) {
    return -1;
  }
  int place = 0;
  while (place + 1 < steps->count && value >= steps->edges[place + 1]) {
    place++;
  }
  return place;
}

/* ---- odds ---- */

long region_cases(const struct region_counts *counts) {
  long sum = 0;
  for (int i = 0; i < REGION_FATES; i++) {
    sum += counts->of[i];
  }
  return sum;
}

static double judged(const struct region_counts *counts) {
  return (double)(counts->of[REGION_BROKEN] + counts->of[REGION_KEPT]);
}

struct region_odds region_odds_of(const struct region_counts *counts) {
  struct region_odds odds = {NAN, NAN, NAN, NAN};
  double cases = (double)region_cases(counts);
  if (cases > 0.0) {
    odds.share = judged(counts) > 0.0 ? (double)counts->of[REGION_BROKEN] / judged(counts) : NAN;
    odds.low = share_interval_low((double)counts->of[REGION_BROKEN], cases);
    odds.high = share_interval_high(cases - (double)counts->of[REGION_KEPT], cases);
  }
  return odds;
}

static double smoothed_at(const struct region_counts *cells, int columns, int rows, const int reach[2], int x, int y) {
  double broken = 0.0;
  double all = 0.0;
  for (int j = y - reach[1]; j <= y + reach[1]; j++) {
    for (int i = x - reach[0]; i <= x + reach[0]; i++) {
      if (i < 0 || i >= columns || j < 0 || j >= rows) {
        continue;
      }
      const struct region_counts *cell = &cells[j * columns + i];
      double away = (double)((i - x) * (i - x) + (j - y) * (j - y)) / (SMOOTHING_WIDTH * SMOOTHING_WIDTH);
      double weight = exp(-0.5 * away);
      broken += weight * (double)cell->of[REGION_BROKEN];
      all += weight * judged(cell);
    }
  }
  return all > 0.0 ? broken / all : NAN;
}

void region_smooth(const struct region_counts *cells, int columns, int rows, bool along_x, bool along_y,
                   struct region_odds *odds) {
  const int reach[2] = {along_x ? SMOOTHING_REACH : 0, along_y ? SMOOTHING_REACH : 0};
  for (int y = 0; y < rows; y++) {
    for (int x = 0; x < columns; x++) {
      int at = y * columns + x;
      odds[at].smoothed = judged(&cells[at]) > 0.0 ? smoothed_at(cells, columns, rows, reach, x, y) : NAN;
    }
  }
}
