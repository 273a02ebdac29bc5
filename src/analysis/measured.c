#include "measured.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sentinels.h"
#include "stamps.h"
#include "unit_words.h"
#include "units.h"

#define DAY 86400.0

/* ---- units ---- */

/* SI = slope times number plus zero, for a column read as a quantity. */
static bool unit_line(const struct trace *trace, const struct trace_column *column, enum quantity quantity,
                      const char *unit, double *slope, double *zero, struct told *told, struct error *error) {
  char why[512];
  *zero = 0.0;
  *slope = 1.0;
  if (unit[0] == '\0' && quantity == QUANTITY_NUMBER) {
    return true;
  }
  if (unit[0] == '\0') {
    return error_at(error, trace->file, trace->heading_line, column->place,
                    "the unit of column '%s' is neither in its heading, as in '%s [%s]', nor in the mapping",
                    column->name, column->name, quantity_rows[quantity].trade_unit);
  }
  struct unit_word word = unit_word_of(quantity, unit);
  if (!unit_word_line(quantity, &word, slope, zero, why, sizeof why)) {
    return error_at(error, trace->file, trace->heading_line, column->place, "column '%s': %s", column->name, why);
  }
  if (word.remark != NULL && told != NULL) {
    told_add(told, "%s: %s", column->name, word.remark);
  }
  return true;
}

/* ---- the clock ---- */

static bool memory_out(const struct trace *trace, struct error *error) {
  return error_set(error, ERROR_MEMORY, "no memory for %s", trace->file);
}

/* Which number is the day: as the mapping says, as one date of the column says, or else the day first. */
static enum date_order find_order(const struct mapping *mapping, const struct trace *trace,
                                  const struct trace_column *column, struct told *told) {
  if (mapping->date_order != ORDER_FREE) {
    return mapping->date_order;
  }
  for (int k = 0; k < trace->count; k++) {
    enum date_order order = isnan(column->values[k]) ? ORDER_FREE : instant_order(column->dates[k]);
    if (order != ORDER_FREE) {
      return order;
    }
  }
  told_add(told, "dates read as day/month/year, which they do not say (time: {order: month/day/year} is the other)");
  return ORDER_DAY_MONTH_YEAR;
}

/* Dates and times of day to seconds from the first. */
static void from_instants(const struct mapping *mapping, const struct trace *trace, const struct trace_column *column,
                          double *time, struct told *told) {
  int first = 0;
  while (first < trace->count && isnan(column->values[first])) {
    first++;
  }
  bool dated = first < trace->count && column->dates[first].parts[0] + column->dates[first].parts[1] > 0;
  enum date_order order = dated ? find_order(mapping, trace, column, told) : ORDER_FREE;
  double start = 0.0;
  double nights = 0.0;
  for (int k = first; k < trace->count; k++) {
    double now = column->values[k];
    if (isnan(now)) {
      time[k] = NAN;
      continue;
    }
    double days = dated ? instant_days(column->dates[k], order) : nights;
    if (k == first) {
      start = days;
    }
    double t = (days - start) * DAY + (now - column->values[first]);
    if (!dated && k > first && !isnan(time[k - 1]) && t < time[k - 1] - 0.5 * DAY) {
      nights += 1.0;
      t += DAY;
      told_add(told, "the time of day passes midnight");
    }
    time[k] = t;
  }
  if (first < trace->count) {
    int minutes = (int)floor(column->values[first] / 60.0);
    told_add(told, "time counted from the first line's %02d:%02d:%06.3f", minutes / 60, minutes % 60,
             column->values[first] - 60.0 * minutes);
  }
  for (int k = 0; k < first; k++) {
    time[k] = NAN;
  }
}

/* A counter of 16 or 32 bits that has begun anew goes on. */
static void unwrap(double *time, int count, struct told *told) {
  static const double ends[] = {65536.0, 4294967296.0};
  double added = 0.0;
  double before = NAN;
  int times = 0;
  for (int k = 0; k < count; k++) {
    double now = time[k];
    for (int i = 0; i < 2; i++) {
      double fall = before - now;
      if (fall > 0.9 * ends[i] && fall < ends[i] && now == floor(now) && before == floor(before)) {
        added += ends[i];
        times++;
      }
    }
    before = isnan(now) ? before : now;
    time[k] = now + added;
  }
  if (times > 0) {
    told_add(told, "the time's counter begins anew %d times and is read on", times);
  }
}

/* Seconds of every row; NaN where a row has no time. */
static bool read_clock(const struct mapping *mapping, const struct trace *trace, double *time, struct told *told,
                       struct error *error) {
  struct error inner = {0};
  if (mapping->time_column[0] == '\0' && mapping->time_rate > 0.0) {
    for (int k = 0; k < trace->count; k++) {
      time[k] = k / mapping->time_rate;
    }
    return true;
  }
  int index = mapping->time_column[0] != '\0' ? trace_column(trace, mapping->time_column, &inner) : trace->time_column;
  if (index < 0 && mapping->time_column[0] == '\0') {
    return error_at(error, mapping->file, 1, 1,
                    "'time' is missing, and %s does not say either which column is the time", trace->file);
  }
  if (index < 0) {
    return error_at(error, mapping->file, 0, 0, "time: %s", inner.text);
  }
  const struct trace_column *column = &trace->columns[index];
  if (!trace_check(trace, index, column->kind, error)) {
    return false;
  }
  if (column->kind == TRACE_INSTANTS) {
    from_instants(mapping, trace, column, time, told);
    return true;
  }
  double slope = 0.0;
  double zero;
  if (mapping->time_rate > 0.0) {
    slope = 1.0 / mapping->time_rate;
  } else if (!unit_line(trace, column, QUANTITY_TIME, mapping->time_unit[0] != '\0' ? mapping->time_unit : column->unit,
                        &slope, &zero, told, error)) {
    return false;
  }
  memcpy(time, column->values, (size_t)trace->count * sizeof *time);
  sentinels_clear(&mapping->gaps, time, trace->count, column->name, told);
  unwrap(time, trace->count, told);
  for (int k = 0; k < trace->count; k++) {
    /* A rate divides, so that whole counts give the times that are meant. */
    time[k] = mapping->time_rate > 0.0 ? time[k] / mapping->time_rate : slope * time[k];
  }
  return true;
}

static bool falls(const struct mapping *mapping, const struct trace *trace, const struct stamps *stamps,
                  struct error *error) {
  int k = stamps->fault;
  int line = trace->lines != NULL ? trace->lines[stamps->rows[k]] : 0;
  return error_at(error, trace->file, line, line > 0 ? 1 : 0,
                  "the time does not rise: %s%.9g s comes after %.9g s; does the file hold more than one recording?",
                  mapping->time_column[0] != '\0' ? "" : "row ", stamps->time[k], stamps->time[k - 1]);
}

/* Times that rise, and to which of them each row belongs. */
static bool make_time(const struct mapping *mapping, const struct trace *trace, struct stamps *stamps,
                      struct measured *measured, struct error *error) {
  double *time = measured->time;
  if (!read_clock(mapping, trace, time, &measured->told, error)) {
    return false;
  }
  stamps->time = time;
  int without = 0;
  for (int k = 0; k < trace->count; k++) {
    if (isnan(time[k])) {
      without++;
      continue;
    }
    stamps->rows[stamps->count] = k;
    time[stamps->count++] = time[k];
  }
  if (without > 0) {
    told_add(&measured->told, "%d lines without a time left out", without);
  }
  if (stamps->count >= 1 && !stamps_settle(stamps, &measured->told)) {
    return falls(mapping, trace, stamps, error);
  }
  measured->count = stamps->instants;
  return measured->count >= 2 || error_at(error, trace->file, trace->heading_line, 0,
                                          "column '%s' holds less than two times", mapping->time_column);
}

/* ---- the signals ---- */

/* The mean of the rows of each instant. */
static void take_values(const struct stamps *stamps, const double *raw, double slope, double zero,
                        struct measured *measured, int place, int *counts) {
  double *values = measured->values[place];
  for (int i = 0; i < measured->count; i++) {
    values[i] = 0.0;
    counts[i] = 0;
  }
  for (int k = 0; k < stamps->count; k++) {
    double value = raw[stamps->rows[k]];
    if (!isnan(value)) {
      values[stamps->places[k]] += value;
      counts[stamps->places[k]]++;
    }
  }
  for (int i = 0; i < measured->count; i++) {
    double mean = counts[i] > 1 ? values[i] / counts[i] : values[i];
    values[i] = counts[i] > 0 ? slope * mean + zero : NAN;
  }
}

static bool make_signal(const struct mapping *mapping, const struct mapped *mapped, const struct trace *trace,
                        const struct stamps *stamps, struct measured *measured, int place, double *raw, int *counts,
                        struct error *error) {
  struct error inner = {0};
  int index = trace_column(trace, mapped->column, &inner);
  if (index < 0) {
    return error_at(error, mapping->file, mapped->line, 0, "%s", inner.text);
  }
  const struct trace_column *column = &trace->columns[index];
  double slope;
  double zero;
  if (!trace_check(trace, index, TRACE_NUMBERS, error) ||
      !unit_line(trace, column, mapped->row.quantity, mapped->unit[0] != '\0' ? mapped->unit : column->unit, &slope,
                 &zero, &measured->told, error)) {
    return false;
  }
  memcpy(raw, column->values, (size_t)trace->count * sizeof *raw);
  sentinels_clear(&mapping->gaps, raw, trace->count, column->name, &measured->told);
  take_values(stamps, raw, slope * mapped->factor, zero + mapped->offset, measured, place, counts);
  return true;
}

bool measured_make(const struct mapping *mapping, const struct trace *trace, struct measured *measured,
                   struct error *error) {
  memset(measured, 0, sizeof *measured);
  measured->told = trace->told;
  size_t room = (size_t)trace->count + 1;
  struct stamps stamps = {0};
  stamps.rows = calloc(room, sizeof *stamps.rows);
  stamps.places = calloc(room, sizeof *stamps.places);
  int *counts = calloc(room, sizeof *counts);
  double *raw = calloc(room, sizeof *raw);
  measured->time = calloc(room, sizeof(double));
  bool good = stamps.rows != NULL && stamps.places != NULL && counts != NULL && raw != NULL && measured->time != NULL;
  for (int i = 0; i < mapping->count; i++) {
    measured->values[i] = calloc(room, sizeof(double));
    good = good && measured->values[i] != NULL;
  }
  if (!good) {
    (void)memory_out(trace, error);
  }
  good = good && make_time(mapping, trace, &stamps, measured, error);
  for (int i = 0; good && i < mapping->count; i++) {
    good = make_signal(mapping, &mapping->signals[i], trace, &stamps, measured, i, raw, counts, error);
  }
  free(stamps.rows);
  free(stamps.places);
  free(counts);
  free(raw);
  if (!good) {
    measured_free(measured);
  }
  return good;
}

bool measured_read(const struct mapping *mapping, const char *path, struct measured *measured, struct error *error) {
  struct trace trace;
  memset(measured, 0, sizeof *measured);
  struct trace_wish wish = {.timed = mapping->time_column[0] != '\0' || mapping->time_rate > 0.0};
  if (mapping->time_column[0] != '\0') {
    wish.names[wish.count++] = mapping->time_column;
  }
  for (int i = 0; i < mapping->count; i++) {
    wish.names[wish.count++] = mapping->signals[i].column;
  }
  if (!trace_read(path, &wish, &trace, error)) {
    return false;
  }
  bool good = measured_make(mapping, &trace, measured, error);
  trace_free(&trace);
  return good;
}

void measured_free(struct measured *measured) {
  free(measured->time);
  for (int i = 0; i < MAPPING_SIGNALS; i++) {
    free(measured->values[i]);
  }
  memset(measured, 0, sizeof *measured);
}
