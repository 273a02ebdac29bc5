#include "stamps.h"

#include <math.h>
#include <stdlib.h>

#define DISORDER 0.01                     /* of the rows, that may lie behind a later stamp */
#define FEW 0.1                           /* of the rows, that may stand twice and be averaged */
#define COARSE 0.01                       /* of a step: rounding below does no harm */
#define RASTER_SLACK 0.05                 /* of the rounding, that a fitted line may be off beyond */
enum { RASTER_ROWS = 8, RASTER_ODD = 3 }; /* fewer rows, or fewer steps of the rarer size, tell no raster */

/* ---- order ---- */

struct stamped {
  double time;
  int row;
  int index;
};

static int by_time(const void *a_, const void *b_) {
  const struct stamped *a = a_;
  const struct stamped *b = b_;
  return a->time != b->time ? (a->time < b->time ? -1 : 1) : a->index - b->index;
}

/* Rows that lie behind a later stamp; the deepest fall is the fault. */
static int count_disorder(struct stamps *stamps) {
  int count = 0;
  double latest = stamps->time[0];
  double deepest = 0.0;
  for (int k = 1; k < stamps->count; k++) {
    double fall = stamps->time[k - 1] - stamps->time[k];
    if (fall > deepest) {
      deepest = fall;
      stamps->fault = k;
    }
    count += stamps->time[k] < latest;
    latest = fmax(latest, stamps->time[k]);
  }
  return count;
}

static bool sort(struct stamps *stamps) {
  struct stamped *list = malloc((size_t)stamps->count * sizeof *list);
  if (list == NULL) {
    return false;
  }
  for (int k = 0; k < stamps->count; k++) {
    list[k] = (struct stamped){stamps->time[k], stamps->rows[k], k};
  }
  qsort(list, (size_t)stamps->count, sizeof *list, by_time);
  for (int k = 0; k < stamps->count; k++) {
    stamps->time[k] = list[k].time;
    stamps->rows[k] = list[k].row;
  }
  free(list);
  return true;
}

/* ---- an even raster, rounded ---- */

struct raster {
  double start;
  double step;
  double rounding; /* s */
};

/* Least squares through the stamps over their count. */
static struct raster fit_line(const struct stamps *stamps) {
  double n = stamps->count;
  double middle = 0.5 * (n - 1.0);
  double sum = 0.0;
  double moment = 0.0;
  for (int k = 0; k < stamps->count; k++) {
    double t = stamps->time[k] - stamps->time[0];
    sum += t;
    moment += (k - middle) * t;
  }
  double step = moment / (n * (n * n - 1.0) / 12.0);
  return (struct raster){stamps->time[0] + sum / n - step * middle, step, 0.0};
}

/* How far the stamps scatter about a raster of this step, and where its best start is. */
static double scatter(const struct stamps *stamps, double step, double *start) {
  double low = HUGE_VAL;
  double high = -HUGE_VAL;
  for (int k = 0; k < stamps->count; k++) {
    double off = stamps->time[k] - step * k;
    low = fmin(low, off);
    high = fmax(high, off);
  }
  *start = 0.5 * (low + high);
  return high - low;
}

static double rounded(double value, int digits) {
  double unit = pow(10.0, floor(log10(value)) + 1.0 - digits);
  return unit >= 1.0 ? floor(value / unit + 0.5) * unit : floor(value / unit + 0.5) / floor(1.0 / unit + 0.5);
}

/* Many steps explain the stamps; loggers have round ones, or round rates. */
static void make_round(const struct stamps *stamps, struct raster *raster) {
  for (int digits = 1; digits <= 5; digits++) {
    double candidates[2] = {rounded(raster->step, digits), 1.0 / rounded(1.0 / raster->step, digits)};
    for (int i = 0; i < 2; i++) {
      double start;
      if (scatter(stamps, candidates[i], &start) <= 1.001 * raster->rounding) {
        raster->step = candidates[i];
        raster->start = start;
        return;
      }
    }
  }
}

/* Are the stamps an even raster but for rounding? Then their steps are of two sizes, which differ by the rounding, and
 * none lies further from the raster than that. Of the rarer size there are several: one or two odd steps are a line
 * that stands twice or is lost. */
static bool find_raster(const struct stamps *stamps, struct raster *raster) {
  if (stamps->count < RASTER_ROWS) {
    return false;
  }
  double least = HUGE_VAL;
  double most = -HUGE_VAL;
  for (int k = 1; k < stamps->count; k++) {
    double step = stamps->time[k] - stamps->time[k - 1];
    least = fmin(least, step);
    most = fmax(most, step);
  }
  *raster = fit_line(stamps);
  raster->rounding = most - least;
  if (!(raster->step > 0.0) || !(raster->rounding > COARSE * raster->step)) {
    return false; /* even as it is, or as good as */
  }
  double tiny = 1e-3 * raster->rounding;
  int short_ones = 0;
  int long_ones = 0;
  for (int k = 1; k < stamps->count; k++) {
    double step = stamps->time[k] - stamps->time[k - 1];
    if (step > least + tiny && step < most - tiny) {
      return false;
    }
    short_ones += step <= least + tiny;
    long_ones += step >= most - tiny;
  }
  if (short_ones < RASTER_ODD || long_ones < RASTER_ODD) {
    return false;
  }
  double start;
  if (scatter(stamps, raster->step, &start) > (1.0 + RASTER_SLACK) * raster->rounding) {
    return false;
  }
  make_round(stamps, raster);
  return true;
}

/* ---- stamps that stand twice ---- */

static int count_twins(const struct stamps *stamps) {
  int count = 0;
  for (int k = 1; k < stamps->count; k++) {
    count += stamps->time[k] == stamps->time[k - 1];
  }
  return count;
}

/* The rows of one stamp share it out up to the next; those of the last take the spacing before. */
static void space_out(struct stamps *stamps) {
  double spacing = 0.0;
  for (int first = 0; first < stamps->count;) {
    int next = first + 1;
    while (next < stamps->count && stamps->time[next] == stamps->time[first]) {
      next++;
    }
    if (next < stamps->count) {
      spacing = (stamps->time[next] - stamps->time[first]) / (next - first);
    }
    for (int k = first + 1; k < next; k++) {
      stamps->time[k] = stamps->time[first] + spacing * (k - first);
    }
    first = next;
  }
}

/* One instant for the rows of one stamp. */
static void join(struct stamps *stamps) {
  stamps->instants = 0;
  for (int k = 0; k < stamps->count; k++) {
    double now = stamps->time[k];
    if (stamps->instants == 0 || now != stamps->time[stamps->instants - 1]) {
      stamps->time[stamps->instants++] = now;
    }
    stamps->places[k] = stamps->instants - 1;
  }
}

bool stamps_settle(struct stamps *stamps, struct told *told) {
  struct raster raster;
  int disorder = stamps->count > 0 ? count_disorder(stamps) : 0;
  if (disorder > 0) {
    if (disorder > DISORDER * stamps->count || !sort(stamps)) {
      return false;
    }
    told_add(told, "%d of %d lines out of order sorted by their time", disorder, stamps->count);
  }
  int twins = count_twins(stamps);
  if (find_raster(stamps, &raster)) {
    for (int k = 0; k < stamps->count; k++) {
      stamps->time[k] = raster.start + raster.step * k;
    }
    told_add(told, "times rounded to %.3g s are laid on an even raster of %.6g s", raster.rounding, raster.step);
  } else if (twins > FEW * stamps->count && twins < stamps->count - 1) {
    space_out(stamps);
    told_add(told, "%d of %d times stand twice or more, these lines are spaced evenly up to the next time", twins,
             stamps->count);
  } else if (twins > 0) {
    told_add(told, "%d of %d times stand twice or more, these lines are averaged", twins, stamps->count);
  }
  join(stamps);
  return true;
}
