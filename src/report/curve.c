#include "curve.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void curve_free(struct curve *curve) {
  free(curve->time);
  free(curve->value);
  free(curve->fixed);
  *curve = (struct curve){0};
}

static int by_time(const void *left, const void *right) {
  double a = ((const struct curve_point *)left)->time;
  double b = ((const struct curve_point *)right)->time;
  return (a > b) - (a < b);
}

static void append(struct curve *curve, double time, double value, bool fixed) {
  curve->time[curve->count] = time;
  curve->value[curve->count] = value;
  curve->fixed[curve->count] = fixed;
  curve->count++;
}

/* First and last sample, smallest and largest. */
static void fix_extrema(struct curve *curve) {
  long lowest = -1;
  long highest = -1;
  for (long i = 0; i < curve->count; i++) {
    if (!isfinite(curve->value[i])) {
      continue;
    }
    lowest = lowest < 0 || curve->value[i] < curve->value[lowest] ? i : lowest;
    highest = highest < 0 || curve->value[i] > curve->value[highest] ? i : highest;
  }
  curve->low = lowest >= 0 ? curve->value[lowest] : (double)NAN;
  curve->high = highest >= 0 ? curve->value[highest] : (double)NAN;
  if (lowest >= 0) {
    curve->fixed[lowest] = 1;
    curve->fixed[highest] = 1;
  }
  if (curve->count > 0) {
    curve->fixed[0] = 1;
    curve->fixed[curve->count - 1] = 1;
  }
}

static void merge(struct curve *curve, long count, const double *time, const double *value, int known_count,
                  const struct curve_point *known) {
  int next = 0;
  for (long i = 0; i < count; i++) {
    while (next < known_count && known[next].time < time[i]) {
      append(curve, known[next].time, known[next].value, true);
      next++;
    }
    if (next < known_count && known[next].time == time[i]) {
      continue; /* the known point takes the sample's place in the next turn, or behind the loop */
    }
    append(curve, time[i], value[i], false);
  }
  for (; next < known_count; next++) {
    append(curve, known[next].time, known[next].value, true);
  }
}

bool curve_make(struct curve *curve, long count, const double *time, const double *value, int known_count,
                const struct curve_point *known) {
  size_t room = (size_t)count + (size_t)known_count + 1;
  struct curve_point *sorted = malloc(((size_t)known_count + 1) * sizeof *sorted);
  *curve = (struct curve){.samples = count,
                          .time = malloc(room * sizeof(double)),
                          .value = malloc(room * sizeof(double)),
                          .fixed = malloc(room)};
  if (sorted == NULL || curve->time == NULL || curve->value == NULL || curve->fixed == NULL) {
    free(sorted);
    curve_free(curve);
    return false;
  }
  if (known_count > 0) {
    memcpy(sorted, known, (size_t)known_count * sizeof *sorted);
    qsort(sorted, (size_t)known_count, sizeof *sorted, by_time);
  }
  merge(curve, count, time, value, known_count, sorted);
  free(sorted);
  fix_extrema(curve);
  return true;
}

/* Drop every point that is neither fixed nor marked. */
static void keep_marked(struct curve *curve, const unsigned char *marked) {
  long kept = 0;
  for (long i = 0; i < curve->count; i++) {
    if (marked[i] || curve->fixed[i]) {
      curve->time[kept] = curve->time[i];
      curve->value[kept] = curve->value[i];
      curve->fixed[kept] = curve->fixed[i];
      kept++;
    }
  }
  curve->count = kept;
}

/* From an anchor, the slopes of all lines that pass every point so far within the tolerance. */
struct cone {
  long anchor;
  double low;
  double high;
};

static void cone_start(struct cone *cone, long anchor) {
  *cone = (struct cone){anchor, -(double)INFINITY, (double)INFINITY};
}

static void mark_needed(const struct curve *curve, double tolerance, unsigned char *marked) {
  struct cone cone;
  cone_start(&cone, 0);
  for (long i = 1; i < curve->count; i++) {
    double span = curve->time[i] - curve->time[cone.anchor];
    double rise = curve->value[i] - curve->value[cone.anchor];
    bool odd = !(span > 0.0) || !isfinite(rise);
    if (odd || rise < cone.low * span || rise > cone.high * span) {
      marked[i - 1] = 1;
      cone_start(&cone, i - 1);
      span = curve->time[i] - curve->time[i - 1];
      rise = curve->value[i] - curve->value[i - 1];
      odd = !(span > 0.0) || !isfinite(rise);
    }
    if (odd || curve->fixed[i]) {
      marked[i] = 1;
      cone_start(&cone, i);
      continue;
    }
    cone.low = fmax(cone.low, (rise - tolerance) / span);
    cone.high = fmin(cone.high, (rise + tolerance) / span);
  }
}

void curve_thin(struct curve *curve, double share) {
  unsigned char *marked = calloc((size_t)curve->count + 1, 1);
  if (marked == NULL || curve->count < 3) {
    free(marked);
    return; /* larger than it need be, but right */
  }
  double range = curve->high - curve->low;
  double tolerance = range > 0.0 ? share * range : 0.0;
  mark_needed(curve, tolerance, marked);
  keep_marked(curve, marked);
  curve->tolerance += tolerance;
  free(marked);
}

static void mark_extrema(const struct curve *curve, long start, long end, unsigned char *marked) {
  long lowest = start;
  long highest = start;
  for (long i = start; i < end; i++) {
    if (!isfinite(curve->value[i])) {
      marked[i] = 1;
      continue;
    }
    lowest = !(curve->value[i] >= curve->value[lowest]) ? i : lowest;
    highest = !(curve->value[i] <= curve->value[highest]) ? i : highest;
  }
  marked[lowest] = 1;
  marked[highest] = 1;
}

void curve_cut(struct curve *curve, long limit) {
  unsigned char *marked = calloc((size_t)curve->count + 1, 1);
  long pieces = limit / 2 > 1 ? limit / 2 : 1;
  if (marked == NULL || curve->count <= limit) {
    free(marked);
    return;
  }
  for (long p = 0; p < pieces; p++) {
    long start = (long)((double)curve->count * (double)p / (double)pieces);
    long end = (long)((double)curve->count * (double)(p + 1) / (double)pieces);
    if (start < end) {
      mark_extrema(curve, start, end, marked);
    }
  }
  keep_marked(curve, marked);
  curve->pieces = pieces;
  free(marked);
}

static long count_all(const struct curve *curves, int curve_count) {
  long total = 0;
  for (int c = 0; c < curve_count; c++) {
    total += curves[c].count;
  }
  return total;
}

void curves_fit(struct curve *curves, int curve_count, long limit) {
  long fair = curve_count > 0 ? limit / curve_count : limit;
  for (int bits = 16; bits >= 11 && count_all(curves, curve_count) > limit; bits--) {
    for (int c = 0; c < curve_count; c++) {
      if (curves[c].count > fair) {
        curve_thin(&curves[c], ldexp(1.0, -bits));
      }
    }
  }
  if (count_all(curves, curve_count) <= limit) {
    return;
  }
  for (int c = 0; c < curve_count; c++) {
    curve_cut(&curves[c], fair);
  }
}
