#include "comparison.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "answer_file.h"
#include "h5_read.h"
#include "history.h"
#include "text.h"
#include "units.h"

#define LEAST_COMMON 0.5 /* of the trace, or of the run if that is shorter, that a shift must leave in common */

enum { GRID_HALF = 2000, SHARPEN = 60, SAMPLES_LIMIT = 4000, WIDE_GRID = 16000, WIDE_SAMPLES = 500, LEAST_SAMPLES = 8 };

/* ---- one signal at one shift ---- */

struct sums {
  long count;
  double x, y, xx, yy, xy;
};

static double correlation_of(const struct sums *sums) {
  double n = (double)sums->count;
  double xx = sums->xx - sums->x * sums->x / n;
  double yy = sums->yy - sums->y * sums->y / n;
  double xy = sums->xy - sums->x * sums->y / n;
  return xx > 0.0 && yy > 0.0 ? xy / sqrt(xx * yy) : NAN;
}

/* Every `stride`-th instant of the trace. */
static struct sums sums_at(const struct measured *measured, int signal, const struct curve *curve, double shift,
                           int stride) {
  struct sums sums = {0};
  for (int k = 0; k < measured->count; k += stride) {
    double t = measured->time[k] + shift;
    double x = measured->values[signal][k];
    if (isnan(x) || t < curve->time[0] || t > curve->time[curve->count - 1]) {
      continue;
    }
    double y = history_at(curve->time, curve->values, curve->count, t);
    sums.count++;
    sums.x += x;
    sums.y += y;
    sums.xx += x * x;
    sums.yy += y * y;
    sums.xy += x * y;
  }
  return sums;
}

/* Mean of the correlations of all signals; -2 when too little is in common. */
static double correlation_at(const struct measured *measured, const struct curve *curves, int count, double shift,
                             int stride) {
  double sum = 0.0;
  int seen = 0;
  double trace = measured->time[measured->count - 1] - measured->time[0];
  double run = curves[0].time[curves[0].count - 1] - curves[0].time[0];
  double wanted = LEAST_COMMON * fmin(1.0, run / trace) * measured->count / stride;
  for (int i = 0; i < count; i++) {
    struct sums sums = sums_at(measured, i, &curves[i], shift, stride);
    double correlation = (double)sums.count >= wanted ? correlation_of(&sums) : NAN;
    if (isfinite(correlation)) {
      sum += correlation;
      seen++;
    }
  }
  return seen > 0 ? sum / seen : -2.0;
}

/* The best shift of an even grid. */
static double best_of_grid(const struct measured *measured, const struct curve *curves, int count, double low,
                           double high, int steps, int stride, double *best) {
  double shift = 0.5 * (low + high);
  *best = -2.0;
  for (int i = 0; i <= steps; i++) {
    double here = steps > 0 ? low + (high - low) * i / steps : shift;
    double now = correlation_at(measured, curves, count, here, stride);
    if (now > *best) {
      *best = now;
      shift = here;
    }
  }
  return shift;
}

/* Between the points of a grid: golden section. */
static double sharpen(const struct measured *measured, const struct curve *curves, int count, double low, double high,
                      double enough, int stride) {
  const double ratio = 0.6180339887498949;
  for (int i = 0; i < SHARPEN && high - low > enough; i++) {
    double left = high - ratio * (high - low);
    double right = low + ratio * (high - low);
    if (correlation_at(measured, curves, count, left, stride) >
        correlation_at(measured, curves, count, right, stride)) {
      high = right;
    } else {
      low = left;
    }
  }
  return 0.5 * (low + high);
}

static double sample_of(const struct measured *measured) {
  return (measured->time[measured->count - 1] - measured->time[0]) / (measured->count - 1);
}

bool comparison_shift(const struct measured *measured, const struct curve *curves, int count, double largest,
                      double *shift, double *correlation) {
  int stride = measured->count / SAMPLES_LIMIT + 1;
  double sample = sample_of(measured);
  int half = (int)fmin(ceil(largest / sample), GRID_HALF);
  double grid = half > 0 ? largest / half : 0.0;
  double best;
  *shift = best_of_grid(measured, curves, count, -largest, largest, 2 * half, stride, &best);
  if (half > 0) {
    *shift = sharpen(measured, curves, count, fmax(*shift - grid, -largest), fmin(*shift + grid, largest),
                     1e-3 * fmin(sample, grid), stride);
  }
  *correlation = correlation_at(measured, curves, count, *shift, 1);
  return best > -2.0;
}

bool comparison_offset(const struct measured *measured, const struct curve *curves, int count, double *offset) {
  const double *run = curves[0].time;
  double middle = 0.5 * (measured->time[0] + measured->time[measured->count - 1]);
  double trace = measured->time[measured->count - 1] - measured->time[0];
  double length = run[curves[0].count - 1] - run[0];
  /* Half of the trace, or all of the run, in common at either end. */
  double reach = 0.5 * fmax(length, trace);
  double low = 0.5 * (run[0] + run[curves[0].count - 1]) - reach - middle;
  double high = low + 2.0 * reach;
  double sample = sample_of(measured);
  int stride = measured->count / WIDE_SAMPLES + 1;
  int steps = (int)fmin(ceil((high - low) / sample), WIDE_GRID);
  double common = fmin(length, trace) / sample;
  double best;
  if (common < LEAST_SAMPLES) {
    return false;
  }
  *offset = best_of_grid(measured, curves, count, low, high, steps, stride, &best);
  double grid = (high - low) / steps;
  *offset = sharpen(measured, curves, count, *offset - grid, *offset + grid, 1e-3 * fmin(sample, grid),
                    measured->count / SAMPLES_LIMIT + 1);
  return best > -2.0;
}

/* Does any instant of the trace lie within the run? */
static bool touches(const struct measured *measured, const struct curve *curve) {
  return measured->time[measured->count - 1] >= curve->time[0] && measured->time[0] <= curve->time[curve->count - 1];
}

bool comparison_clock(const struct mapping *mapping, struct measured *measured, const struct curve *curves,
                      double *shift, double *correlation) {
  bool sought = mapping->largest_shift > 0.0;
  *shift = 0.0;
  *correlation = correlation_at(measured, curves, mapping->count, 0.0, 1);
  if (sought && comparison_shift(measured, curves, mapping->count, mapping->largest_shift, shift, correlation)) {
    return true;
  }
  if (mapping->clocks_are_one || (!sought && touches(measured, &curves[0]))) {
    return !sought;
  }
  if (!comparison_offset(measured, curves, mapping->count, shift)) {
    *shift = 0.0;
    return !sought;
  }
  *correlation = correlation_at(measured, curves, mapping->count, *shift, 1);
  told_add(&measured->told, "the trace lies beside the run, its clock is taken to be %.9g s %s", fabs(*shift),
           *shift < 0.0 ? "ahead" : "behind");
  return true;
}

struct deviation comparison_deviation(const struct measured *measured, int signal, const struct curve *curve,
                                      double shift, double from, double to) {
  struct deviation found = {0};
  struct sums sums = {0};
  double squares = 0.0;
  double doubts = 0.0;
  for (int k = 0; k < measured->count; k++) {
    double t = measured->time[k] + shift;
    double x = measured->values[signal][k];
    if (isnan(x) || t < from || t > to || t < curve->time[0] || t > curve->time[curve->count - 1]) {
      continue;
    }
    double y = history_at(curve->time, curve->values, curve->count, t);
    double off = y - x;
    found.count++;
    found.mean += off;
    squares += off * off;
    double doubt = history_doubt(curve->time, curve->values, curve->count, t, curve->straight);
    doubts += doubt * doubt;
    found.doubt = fmax(found.doubt, doubt);
    found.least = fmax(found.least, fabs(off) - doubt);
    found.most = fmax(found.most, fabs(off) + doubt);
    if (fabs(off) >= found.largest) {
      found.largest = fabs(off);
      found.largest_time = t;
    }
    sums.count++;
    sums.x += x;
    sums.y += y;
    sums.xx += x * x;
    sums.yy += y * y;
    sums.xy += x * y;
  }
  double n = (double)found.count;
  if (found.count == 0) {
    found.mean = found.rms = found.largest = found.largest_time = found.correlation = found.explained = NAN;
    found.doubt = found.doubt_rms = found.least = found.most = NAN;
    return found;
  }
  found.mean /= n;
  found.rms = sqrt(squares / n);
  found.doubt_rms = sqrt(doubts / n);
  found.correlation = correlation_of(&sums);
  double about_mean = sums.xx - sums.x * sums.x / n;
  found.explained = about_mean > 0.0 ? 1.0 - squares / about_mean : NAN;
  return found;
}

/* ---- the whole ---- */

const char *const verdict_names[] = {"not asked", "kept", "not judged", "broken"};

/* A measure of the deviation: what was found, and what it is at least and at most. */
struct found {
  double value;
  double least;
  double most;
  const char *what;
};

static void judge_one(struct compared *compared, struct found found, double allowed, enum quantity quantity) {
  if (isnan(allowed)) {
    return;
  }
  enum verdict verdict = found.most <= allowed   ? VERDICT_KEPT
                         : found.least > allowed ? VERDICT_BROKEN
                                                 : VERDICT_NOT_JUDGED; /* or no number at all */
  compared->verdict = verdict > compared->verdict ? verdict : compared->verdict;
  if (verdict == VERDICT_KEPT) {
    return;
  }
  char value[64];
  char apart[64];
  char wanted[64];
  char between[128] = "";
  enum quantity plain = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
  if (isnan(found.value)) {
    size_t used = strlen(compared->why);
    (void)snprintf(compared->why + used, sizeof compared->why - used, "%s%s unknown", used > 0 ? "; " : "", found.what);
    return;
  }
  if (verdict == VERDICT_NOT_JUDGED) {
    (void)snprintf(between, sizeof between, " known to %s only",
                   units_show(plain, fmax(found.most - found.value, found.value - found.least), apart, sizeof apart));
  }
  size_t used = strlen(compared->why);
  (void)snprintf(compared->why + used, sizeof compared->why - used, "%s%s %s%s, %s allowed", used > 0 ? "; " : "",
                 found.what, units_show(plain, found.value, value, sizeof value), between,
                 units_show(plain, allowed, wanted, sizeof wanted));
}

static void judge(const struct mapped *mapped, struct compared *compared) {
  enum quantity quantity = mapped->row.quantity;
  const struct deviation *deviation = &compared->deviation;
  double mean = fabs(deviation->mean);
  double doubt = deviation->doubt_rms;
  judge_one(compared, (struct found){deviation->largest, deviation->least, deviation->most, "largest deviation"},
            mapped->band, quantity);
  judge_one(compared, (struct found){deviation->rms, deviation->rms - doubt, deviation->rms + doubt, "rms deviation"},
            mapped->rms, quantity);
  judge_one(compared, (struct found){mean, mean - doubt, mean + doubt, "mean deviation"}, mapped->mean, quantity);
}

static double *read_signal(struct h5_reading *reading, const char *name, int expected, int *count) {
  long found = 0;
  hid_t dataset = h5_reading_dataset(reading, reading->file, name);
  if (dataset < 0) {
    char words[160];
    (void)snprintf(words, sizeof words, "it has no signal '%s'", name);
    h5_reading_fail(reading, words);
    return NULL;
  }
  double *values = NULL;
  if (h5_reading_kind(reading, dataset, &found) != H5_KIND_NUMBER || found < 4 || (expected > 0 && found != expected)) {
    h5_reading_fail(reading, "a signal is no list of numbers as long as the time");
  } else {
    values = h5_reading_numbers(reading, dataset, found);
    *count = (int)found;
  }
  h5_reading_shut(dataset);
  return values;
}

static bool read_run(const char *path, struct comparison *comparison, struct error *error) {
  struct h5_reading reading;
  if (!h5_reading_open(&reading, path, error)) {
    return false;
  }
  comparison->run_time = read_signal(&reading, "time", 0, &comparison->run_count);
  for (int i = 0; i < comparison->mapping.count && !reading.failed; i++) {
    int count;
    comparison->run_values[i] =
        read_signal(&reading, comparison->mapping.signals[i].row.name, comparison->run_count, &count);
  }
  char *title = h5_reading_attribute(&reading, reading.file, "title");
  (void)text_shown(title != NULL ? title : "", comparison->title, sizeof comparison->title);
  free(title);
  comparison->straight_share = h5_reading_attribute_number(&reading, reading.file, ANSWER_STRAIGHT_LINES);
  bool good = !reading.failed;
  h5_reading_close(&reading);
  return good;
}

static double range_of(const double *values, int count) {
  double low = INFINITY;
  double high = -INFINITY;
  for (int i = 0; i < count; i++) {
    low = fmin(low, values[i]);
    high = fmax(high, values[i]);
  }
  return high - low;
}

static void compare(struct comparison *comparison, const struct curve *curves) {
  for (int i = 0; i < comparison->mapping.count; i++) {
    const struct mapped *mapped = &comparison->mapping.signals[i];
    struct compared *compared = &comparison->compared[i];
    compared->deviation = comparison_deviation(&comparison->measured, i, &curves[i], comparison->shift,
                                               comparison->mapping.from, comparison->mapping.to);
    judge(mapped, compared);
    comparison->broken += compared->verdict == VERDICT_BROKEN;
    comparison->unjudged += compared->verdict == VERDICT_NOT_JUDGED;
  }
}

bool comparison_find(const char *run_file, const char *trace_file, const char *mapping_file,
                     struct comparison *comparison, struct error *error) {
  memset(comparison, 0, sizeof *comparison);
  if (!mapping_read(mapping_file, &comparison->mapping, error) ||
      !measured_read(&comparison->mapping, trace_file, &comparison->measured, error) ||
      !read_run(run_file, comparison, error)) {
    return false;
  }
  struct curve curves[MAPPING_SIGNALS];
  for (int i = 0; i < comparison->mapping.count; i++) {
    const double *values = comparison->run_values[i];
    double straight = comparison->straight_share * range_of(values, comparison->run_count);
    curves[i] = (struct curve){comparison->run_count, comparison->run_time, values, straight};
  }
  int count = comparison->mapping.count;
  if (count < 1) {
    return error_set(error, ERROR_INPUT, "%s names no signal to compare", mapping_file);
  }
  comparison->correlation_at_zero = correlation_at(&comparison->measured, curves, count, 0.0, 1);
  if (!comparison_clock(&comparison->mapping, &comparison->measured, curves, &comparison->shift,
                        &comparison->correlation)) {
    return error_set(error, ERROR_INPUT, "%s and %s have less than half of the trace in common at every shift",
                     run_file, trace_file);
  }
  if (!comparison_sensors(comparison, error)) {
    return false;
  }
  compare(comparison, curves);
  long compared = 0;
  for (int i = 0; i < count; i++) {
    compared += comparison->compared[i].deviation.count;
  }
  return compared > 0 || error_set(error, ERROR_INPUT, "%s and %s have no instant in common", run_file, trace_file);
}

void comparison_free(struct comparison *comparison) {
  measured_free(&comparison->measured);
  free(comparison->run_time);
  for (int i = 0; i < MAPPING_SIGNALS; i++) {
    free(comparison->run_values[i]);
  }
}

/* ---- the file ---- */

static void write_numbers(const struct comparison *comparison, struct answer_file *file) {
  int count = comparison->mapping.count;
  enum { NUMBERS = 7 };
  double numbers[NUMBERS][MAPPING_SIGNALS];
  const char *names[MAPPING_SIGNALS];
  const char *judged[MAPPING_SIGNALS];
  const char *why[MAPPING_SIGNALS];
  for (int i = 0; i < count; i++) {
    const struct deviation *deviation = &comparison->compared[i].deviation;
    double row[] = {deviation->mean,        deviation->rms,       deviation->largest, deviation->largest_time,
                    deviation->correlation, deviation->explained, deviation->doubt};
    for (int c = 0; c < NUMBERS; c++) {
      numbers[c][i] = row[c];
    }
    names[i] = comparison->mapping.signals[i].row.name;
    judged[i] = verdict_names[comparison->compared[i].verdict];
    why[i] = comparison->compared[i].why;
  }
  struct answer_meaning axis = {{"row", QUANTITY_NUMBER, REFERENCE_NONE, "a signal each"}, NULL};
  struct answer_meaning columns[] = {
      {{"mean", QUANTITY_NUMBER, REFERENCE_NONE, "mean of run less trace, SI"}, "1"},
      {{"rms", QUANTITY_NUMBER, REFERENCE_NONE, "root of the mean square of run less trace, SI"}, "1"},
      {{"largest", QUANTITY_NUMBER, REFERENCE_NONE, "largest deviation either way, SI"}, "1"},
      {{"largest_time", QUANTITY_TIME, REFERENCE_NONE, "when, in the time of the run"}, NULL},
      {{"correlation", QUANTITY_NUMBER, REFERENCE_NONE, "of run and trace"}, NULL},
      {{"explained", QUANTITY_NUMBER, REFERENCE_NONE, "share of the trace's movement that the run has"}, NULL},
      {{"doubt", QUANTITY_NUMBER, REFERENCE_NONE, "what the run, read between its samples, may be off by, SI"}, "1"},
  };
  answer_group(file, "deviations", "how far run and trace are apart");
  answer_axis(file, &axis, count, NULL);
  answer_texts(file, "signal", "name of the signal", "row", count, names);
  answer_texts(file, "verdict", "whether its bands were kept, not judged: the run's samples are too far apart", "row",
               count, judged);
  answer_texts(file, "why", "what broke or could not be judged", "row", count, why);
  for (int c = 0; c < NUMBERS; c++) {
    answer_column(file, &columns[c], "row", count, numbers[c]);
  }
}

bool comparison_write(const struct comparison *comparison, const char *path, const char *command, struct error *error) {
  struct answer_file *file = answer_open(path, "comparison", comparison->title, NULL, command, error);
  if (file == NULL) {
    return false;
  }
  answer_words(file, "guessed", comparison->measured.told.text);
  int count = comparison->measured.count;
  double *buffer = calloc((size_t)count + 1, sizeof *buffer);
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "in the time of the run, trace shifted"}, NULL};
  for (int k = 0; buffer != NULL && k < count; k++) {
    buffer[k] = comparison->measured.time[k] + comparison->shift;
  }
  if (buffer != NULL) {
    answer_axis(file, &time, count, buffer);
    for (int i = 0; i < comparison->mapping.count; i++) {
      struct answer_meaning measured = {comparison->mapping.signals[i].row, NULL};
      answer_column(file, &measured, "time", count, comparison->measured.values[i]);
    }
    answer_group(file, "run", "the signals of the run at the instants of the trace; NaN outside the run");
    for (int i = 0; i < comparison->mapping.count; i++) {
      struct answer_meaning own = {comparison->mapping.signals[i].row, NULL};
      for (int k = 0; k < count; k++) {
        double t = comparison->measured.time[k] + comparison->shift;
        bool inside = t >= comparison->run_time[0] && t <= comparison->run_time[comparison->run_count - 1];
        buffer[k] =
            inside ? history_at(comparison->run_time, comparison->run_values[i], comparison->run_count, t) : NAN;
      }
      answer_column(file, &own, "time", count, buffer);
    }
  }
  free(buffer);
  answer_group(file, "bands", "largest deviation allowed");
  for (int i = 0; i < comparison->mapping.count; i++) {
    struct answer_meaning band = {comparison->mapping.signals[i].row, NULL};
    band.row.reference = REFERENCE_NONE;
    band.row.quantity = band.row.quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : band.row.quantity;
    answer_value(file, &band, comparison->mapping.signals[i].band, "no band asked for");
  }
  write_numbers(comparison, file);
  answer_group(file, "clocks", "the shift of the trace");
  struct answer_meaning shift = {{"shift", QUANTITY_TIME, REFERENCE_NONE, "run time less trace time"}, NULL};
  struct answer_meaning like = {{"correlation", QUANTITY_NUMBER, REFERENCE_NONE, "mean of the signals, at the shift"},
                                NULL};
  struct answer_meaning zero = {{"correlation_at_zero", QUANTITY_NUMBER, REFERENCE_NONE, "without a shift"}, NULL};
  answer_value(file, &shift, comparison->shift, NULL);
  answer_value(file, &like, comparison->correlation, NULL);
  answer_value(file, &zero, comparison->correlation_at_zero, NULL);
  return answer_close(file, error);
}
