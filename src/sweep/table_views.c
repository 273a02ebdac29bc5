#include "table_views.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "h5_columns.h"
#include "indices.h"
#include "regions.h"
#include "row.h"
#include "share_interval.h"

enum { AXIS_LIMIT = 256 };

/* One thing varied: where each row lies in its steps. */
struct axis_view {
  char *name;
  char *choices[REGION_STEP_LIMIT]; /* names of the steps, of a column of texts */
  bool is_text;
  struct region_steps steps;
  signed char *place; /* [row]; -1: nowhere */
};

struct views {
  struct h5_reading reading;
  struct h5_log *log;
  hid_t file;
  long rows;
  struct h5_names names;
  struct axis_view axes[AXIS_LIMIT];
  int axis_count;
  unsigned char *status; /* [row]: enum region_fate of a row that failed or is unfinished, else REGION_KEPT */
  unsigned char *fate;   /* [limit][row]: enum region_fate; limit 0: all together */
  int limit_count;       /* with that one */
};

/* ---- reading back ---- */

static double *numbers_of(struct views *views, const char *name) {
  hid_t dataset = h5_reading_dataset(&views->reading, views->file, name);
  double *numbers = dataset >= 0 ? h5_reading_numbers(&views->reading, dataset, views->rows) : NULL;
  h5_reading_shut(dataset);
  return numbers;
}

static char *attribute_of(struct views *views, const char *name, const char *attribute) {
  hid_t dataset = h5_reading_dataset(&views->reading, views->file, name);
  char *text = h5_reading_attribute(&views->reading, dataset, attribute);
  h5_reading_shut(dataset);
  return text;
}

static bool has(struct views *views, const char *name, const char *attribute, const char *value) {
  char *text = attribute_of(views, name, attribute);
  bool same = text != NULL && strcmp(text, value) == 0;
  free(text);
  return same;
}

/* Is `text` one of "first|second|..."? Its place, else -1. */
static int place_among(const char *choices, const char *text) {
  size_t length = strlen(text);
  int place = 0;
  for (const char *at = choices; *at != '\0'; place++) {
    size_t wide = strcspn(at, "|");
    if (wide == length && strncmp(at, text, wide) == 0) {
      return place;
    }
    at += wide + (at[wide] == '|');
  }
  return -1;
}

/* The places of a column of texts in the order of its choices, those that come; without choices in order of
 * appearance. The names go into the axis. */
static double *places_of_texts(struct views *views, const char *name, hid_t dataset, struct axis_view *axis) {
  struct h5_names texts = h5_reading_texts(&views->reading, dataset, views->rows);
  double *places = h5_reading_memory(&views->reading, (size_t)views->rows, sizeof *places);
  char *choices = attribute_of(views, name, "choices");
  int count = 0;
  for (long i = 0; places != NULL && choices != NULL && i < texts.count; i++) {
    int place = choices[0] != '\0' ? place_among(choices, texts.items[i]) : -1;
    for (int s = 0; choices[0] == '\0' && s < count && place < 0; s++) {
      place = axis->choices[s] != NULL && strcmp(axis->choices[s], texts.items[i]) == 0 ? s : -1;
    }
    if (choices[0] == '\0' && place < 0 && count < REGION_STEP_LIMIT) {
      place = count++;
    }
    if (place >= 0 && place < REGION_STEP_LIMIT && axis->choices[place] == NULL) {
      size_t size = strlen(texts.items[i]) + 1;
      axis->choices[place] = h5_reading_memory(&views->reading, size, 1);
      if (axis->choices[place] != NULL) {
        memcpy(axis->choices[place], texts.items[i], size);
      }
    }
    places[i] = place >= 0 && place < REGION_STEP_LIMIT ? place : (double)NAN;
  }
  free(choices);
  h5_names_free(&texts);
  return places;
}

static const char *name_of_step(const struct axis_view *axis, int step) {
  int place = (int)axis->steps.centres[step];
  return axis->choices[place] != NULL ? axis->choices[place] : "";
}

static void take_axis(struct views *views, const char *name) {
  struct axis_view *axis = &views->axes[views->axis_count];
  hid_t dataset = h5_reading_dataset(&views->reading, views->file, name);
  long count = 0;
  axis->is_text = dataset >= 0 && h5_reading_kind(&views->reading, dataset, &count) == H5_KIND_TEXT;
  double *values = axis->is_text ? places_of_texts(views, name, dataset, axis) : numbers_of(views, name);
  h5_reading_shut(dataset);
  size_t size = strlen(name) + 1;
  axis->name = h5_reading_memory(&views->reading, size, 1);
  axis->place = h5_reading_memory(&views->reading, (size_t)views->rows, 1);
  if (values != NULL && axis->name != NULL && axis->place != NULL) {
    memcpy(axis->name, name, size);
    region_steps_of(values, views->rows, has(views, name, "spacing", "logarithmic"), &axis->steps);
    for (long i = 0; i < views->rows; i++) {
      axis->place[i] = (signed char)region_place(&axis->steps, values[i]);
    }
    views->axis_count++;
  }
  free(values);
}

static void take_status(struct views *views) {
  hid_t dataset = h5_reading_dataset(&views->reading, views->file, "status");
  struct h5_names texts = h5_reading_texts(&views->reading, dataset, views->rows);
  h5_reading_shut(dataset);
  views->status = h5_reading_memory(&views->reading, (size_t)views->rows, 1);
  for (long i = 0; views->status != NULL && i < texts.count; i++) {
    views->status[i] = strcmp(texts.items[i], "failed") == 0       ? REGION_FAILED
                       : strcmp(texts.items[i], "unfinished") == 0 ? REGION_UNFINISHED
                                                                   : REGION_KEPT;
  }
  h5_names_free(&texts);
}

/* What broke a limit before it failed has broken it. */
static void take_limit(struct views *views, const char *name, int limit) {
  double *flags = numbers_of(views, name);
  unsigned char *fate = views->fate + (size_t)limit * (size_t)views->rows;
  for (long i = 0; flags != NULL && i < views->rows; i++) {
    fate[i] = flags[i] == ROW_BROKEN            ? REGION_BROKEN
              : views->status[i] != REGION_KEPT ? views->status[i]
              : flags[i] == (double)ROW_KEPT    ? REGION_KEPT
                                                : REGION_NOT_JUDGED;
  }
  free(flags);
}

static void read_table(struct views *views) {
  struct h5_reading *reading = &views->reading;
  h5_reading_names(reading, views->file, &views->names);
  take_status(views);
  int limits = 0;
  for (int i = 0; i < views->names.count && !reading->failed; i++) {
    const char *name = views->names.items[i];
    char *role = attribute_of(views, name, "role");
    if (role != NULL && (strcmp(role, "varied") == 0 || strcmp(role, "setting") == 0) &&
        views->axis_count < AXIS_LIMIT) {
      take_axis(views, name);
    }
    limits += role != NULL && strcmp(role, "limit") == 0;
    free(role);
  }
  views->limit_count = limits > 0 ? limits + 1 : 0;
  views->fate = h5_reading_memory(reading, (size_t)views->limit_count * (size_t)views->rows, 1);
  for (int i = 0, limit = 1; i < views->names.count && !reading->failed; i++) {
    const char *name = views->names.items[i];
    if (has(views, name, "role", "limit")) {
      take_limit(views, name, limit++);
    } else if (has(views, name, "role", "all_limits")) {
      take_limit(views, name, 0);
    }
  }
}

/* ---- steps ---- */

struct out {
  hid_t group;
  hid_t scale;
  int64_t count;
  bool shares; /* its real numbers are shares */
  struct h5_log *log;
};

static struct out begin(struct views *views, const char *group, const char *text, const char *axis, int64_t count) {
  struct out out = {.log = views->log, .count = count, .shares = strcmp(group, "steps") != 0};
  out.group = h5_group(views->file, group, text, views->log);
  out.scale = h5_column(out.group, axis, COLUMN_OF_INTEGERS, count, H5I_INVALID_HID, views->log);
  int64_t *numbers = calloc((size_t)count + 1, sizeof *numbers);
  if (numbers == NULL) {
    (void)h5_out_of_memory(views->log);
    return out;
  }
  for (int64_t i = 0; i < count; i++) {
    numbers[i] = i;
  }
  h5_column_put(out.scale, COLUMN_OF_INTEGERS, 0, (int)count, numbers, views->log);
  free(numbers);
  return out;
}

static void put(const struct out *out, const char *name, enum h5_column_kind kind, const char *text,
                const void *values) {
  hid_t column = h5_column(out->group, name, kind, out->count, out->scale, out->log);
  h5_text_attribute(column, "long_name", text, out->log);
  if (kind == COLUMN_OF_REALS && out->shares) {
    h5_text_attribute(column, "units", "1", out->log);
    h5_text_attribute(column, "trade_units", "%", out->log);
  }
  h5_column_put(column, kind, 0, (int)out->count, values, out->log);
  h5_close_dataset(column, out->log);
}

static void end(const struct out *out) {
  h5_close_dataset(out->scale, out->log);
  h5_close_group(out->group, out->log);
}

static void write_steps(struct views *views) {
  long count = 0;
  for (int a = 0; a < views->axis_count; a++) {
    count += views->axes[a].steps.count;
  }
  double *numbers = h5_reading_memory(&views->reading, (size_t)count * 3, sizeof *numbers);
  int64_t *whole = h5_reading_memory(&views->reading, (size_t)count * 4, sizeof *whole);
  const char **names = h5_reading_memory(&views->reading, (size_t)count * 2, sizeof *names);
  if (numbers != NULL && whole != NULL && names != NULL && count > 0) {
    long at = 0;
    for (int a = 0; a < views->axis_count; a++) {
      const struct region_steps *steps = &views->axes[a].steps;
      for (int i = 0; i < steps->count; i++, at++) {
        names[at] = views->axes[a].name;
        names[count + at] = views->axes[a].is_text ? name_of_step(&views->axes[a], i) : "";
        whole[at] = a;
        whole[count + at] = i;
        whole[2 * count + at] = steps->logarithmic;
        whole[3 * count + at] = steps->values;
        numbers[at] = steps->edges[i];
        numbers[count + at] = steps->edges[i + 1];
        numbers[2 * count + at] = steps->centres[i];
      }
    }
    struct out out =
        begin(views, "steps", "what is varied, cut into steps: picture and page both use these", "step", count);
    put(&out, "name", COLUMN_OF_TEXTS, "of a step that is a name; else empty", names + count);
    put(&out, "varied", COLUMN_OF_TEXTS, "column that is cut", names);
    put(&out, "axis", COLUMN_OF_INTEGERS, "number of the column among those varied, from 0", whole);
    put(&out, "place", COLUMN_OF_INTEGERS, "number of the step in its axis, from 0", whole + count);
    put(&out, "logarithmic", COLUMN_OF_INTEGERS, "1: edges lie evenly in the logarithm", whole + 2 * count);
    put(&out, "one_value", COLUMN_OF_INTEGERS, "1: a step a value; 0: equal intervals", whole + 3 * count);
    put(&out, "low", COLUMN_OF_REALS, "lower edge, in the column's unit; of names half a place below", numbers);
    put(&out, "high", COLUMN_OF_REALS, "upper edge", numbers + count);
    put(&out, "centre", COLUMN_OF_REALS, "the value, or the middle", numbers + 2 * count);
    end(&out);
  }
  free(numbers);
  free(whole);
  free((void *)names);
}

/* ---- regions ---- */

enum { KEYS = 5 }; /* limit, x, place in x, y, place in y */

struct region_rows {
  int64_t count;
  int64_t *keys; /* [key][region] */
  struct region_counts *counts;
  struct region_odds *odds;
};

/* A map of every pair for all limits together; a row along every axis and one place overall for each limit, too. */
static int64_t count_regions(const struct views *views) {
  int64_t count = 0;
  for (int a = 0; a < views->axis_count; a++) {
    count += (int64_t)views->axes[a].steps.count * views->limit_count;
    for (int b = a + 1; b < views->axis_count; b++) {
      count += (int64_t)views->axes[a].steps.count * views->axes[b].steps.count;
    }
  }
  return count + views->limit_count;
}

/* The cells of axis x by axis y for a limit; -1: the axis is not there, one place. */
static void fill_regions(const struct views *views, struct region_rows *regions, int limit, int x, int y) {
  const struct axis_view *along = x >= 0 ? &views->axes[x] : NULL;
  const struct axis_view *across = y >= 0 ? &views->axes[y] : NULL;
  int columns = along ? along->steps.count : 1;
  int rows = across ? across->steps.count : 1;
  struct region_counts *counts = regions->counts + regions->count;
  const unsigned char *fate = views->fate + (size_t)limit * (size_t)views->rows;
  for (long i = 0; i < views->rows; i++) {
    int column = along ? along->place[i] : 0;
    int row = across ? across->place[i] : 0;
    if (column >= 0 && row >= 0) {
      counts[row * columns + column].of[fate[i]]++;
    }
  }
  for (int i = 0; i < columns * rows; i++) {
    const int64_t keys[KEYS] = {limit, x, along ? i % columns : -1, y, across ? i / columns : -1};
    for (int k = 0; k < KEYS; k++) {
      regions->keys[i + regions->count + (int64_t)k * count_regions(views)] = keys[k];
    }
    regions->odds[regions->count + i] = region_odds_of(&counts[i]);
  }
  if (along) {
    region_smooth(counts, columns, rows, !along->is_text, across && !across->is_text, regions->odds + regions->count);
  }
  regions->count += (int64_t)columns * rows;
}

static void fill_all(const struct views *views, struct region_rows *regions) {
  for (int limit = 0; limit < views->limit_count; limit++) {
    fill_regions(views, regions, limit, -1, -1);
  }
  for (int limit = 0; limit < views->limit_count; limit++) {
    for (int a = 0; a < views->axis_count; a++) {
      fill_regions(views, regions, limit, a, -1);
    }
  }
  for (int a = 0; a < views->axis_count; a++) {
    for (int b = a + 1; b < views->axis_count; b++) {
      fill_regions(views, regions, 0, a, b);
    }
  }
}

static void put_counts(struct views *views, const struct out *out, const struct region_rows *regions) {
  static const char *const fates[REGION_FATES][2] = {
      [REGION_BROKEN] = {"broken", "cases that break the limit"},
      [REGION_KEPT] = {"kept", "cases that keep it"},
      [REGION_NOT_JUDGED] = {"not_judged", "cases that ran to their end without evidence for or against it"},
      [REGION_FAILED] = {"failed", "cases that failed before"},
      [REGION_UNFINISHED] = {"unfinished", "cases whose budget was spent before"}};
  int64_t *column = h5_reading_memory(&views->reading, (size_t)regions->count, sizeof *column);
  for (int f = 0; column != NULL && f < REGION_FATES; f++) {
    for (int64_t i = 0; i < regions->count; i++) {
      column[i] = regions->counts[i].of[f];
    }
    put(out, fates[f][0], COLUMN_OF_INTEGERS, fates[f][1], column);
  }
  free(column);
}

static void put_odds(struct views *views, const struct out *out, const struct region_rows *regions) {
  double *columns = h5_reading_memory(&views->reading, (size_t)regions->count * 4, sizeof *columns);
  for (int64_t i = 0; columns != NULL && i < regions->count; i++) {
    columns[i] = regions->odds[i].share;
    columns[regions->count + i] = regions->odds[i].low;
    columns[2 * regions->count + i] = regions->odds[i].high;
    columns[3 * regions->count + i] = regions->odds[i].smoothed;
  }
  if (columns != NULL) {
    put(out, "probability", COLUMN_OF_REALS, "share of the judged cases that break the limit", columns);
    put(out, "probability_low", COLUMN_OF_REALS,
        "lower end of 95 % (Wilson), were all cases without a verdict to keep the limit", columns + regions->count);
    put(out, "probability_high", COLUMN_OF_REALS,
        "upper end of 95 % (Wilson), were all cases without a verdict to break it", columns + 2 * regions->count);
    put(out, "smoothed", COLUMN_OF_REALS,
        "probability, smoothed over neighbouring regions; NaN: no case is judged here", columns + 3 * regions->count);
  }
  free(columns);
}

static void write_regions(struct views *views) {
  int64_t count = count_regions(views);
  struct h5_reading *reading = &views->reading;
  if (views->limit_count == 0) {
    return;
  }
  struct region_rows regions = {0, h5_reading_memory(reading, (size_t)count * KEYS, sizeof *regions.keys),
                                h5_reading_memory(reading, (size_t)count, sizeof *regions.counts),
                                h5_reading_memory(reading, (size_t)count, sizeof *regions.odds)};
  if (regions.keys != NULL && regions.counts != NULL && regions.odds != NULL) {
    static const char *const keys[KEYS][2] = {{"limit", "0: any of the limits; else the number of the limit"},
                                              {"x", "axis of the region (steps/axis); -1: all cases"},
                                              {"x_place", "step on it"},
                                              {"y", "second axis of the region; -1: none"},
                                              {"y_place", "step on it"}};
    fill_all(views, &regions);
    struct out out =
        begin(views, "regions", "how often limits break, overall, along each thing varied and for each pair", "region",
              count);
    for (int k = 0; k < KEYS; k++) {
      put(&out, keys[k][0], COLUMN_OF_INTEGERS, keys[k][1], regions.keys + k * count);
    }
    put_counts(views, &out, &regions);
    put_odds(views, &out, &regions);
    end(&out);
  }
  free(regions.keys);
  free(regions.counts);
  free(regions.odds);
}

/* ---- Sobol's indices ---- */

struct index_rows {
  const char **of;
  const char **input;
  double *numbers; /* [6][row] */
  int64_t *used;
  int64_t count;
  int64_t room;
};

/* A limit as 1 where it breaks, 0 where it is kept. */
static bool ready_for_indices(struct views *views, const char *name, double *values) {
  char *role = attribute_of(views, name, "role");
  bool flags = role != NULL && (strcmp(role, "limit") == 0 || strcmp(role, "all_limits") == 0);
  bool wanted = flags || (role != NULL && (strcmp(role, "measure") == 0 || strcmp(role, "worst") == 0));
  for (long i = 0; wanted && flags && i < views->rows; i++) {
    values[i] = values[i] == ROW_BROKEN ? 1.0 : values[i] == (double)ROW_KEPT ? 0.0 : (double)NAN;
  }
  free(role);
  return wanted;
}

static void add_indices(struct views *views, struct index_rows *rows, const char *name, const double *values) {
  int inputs = views->axis_count;
  for (int a = 0; a < inputs; a++) {
    struct index_estimate estimate = indices_estimate(values, views->rows / (inputs + 2), inputs, a);
    int64_t at = rows->count++;
    double first = SHARE_DEVIATIONS * estimate.first_error;
    double total = SHARE_DEVIATIONS * estimate.total_error;
    const double numbers[6] = {estimate.first, estimate.first - first, estimate.first + first,
                               estimate.total, estimate.total - total, estimate.total + total};
    for (int n = 0; n < 6; n++) {
      rows->numbers[n * rows->room + at] = numbers[n];
    }
    rows->of[at] = name;
    rows->input[at] = views->axes[a].name;
    rows->used[at] = estimate.used;
  }
}

static void put_indices(struct views *views, const struct index_rows *rows) {
  static const char *const columns[6][2] = {
      {"first", "first-order index: share of the variance that goes when this input alone is known"},
      {"first_low", "lower end of 95 % (delta method)"},
      {"first_high", "upper end of 95 %"},
      {"total", "total index: share of the variance that is left when all other inputs are known"},
      {"total_low", "lower end of 95 % (delta method)"},
      {"total_high", "upper end of 95 %"}};
  struct out out = begin(views, "indices",
                         "Sobol's indices from a Saltelli design; of a limit: of breaking it (1) or keeping it (0)",
                         "index", rows->count);
  put(&out, "of", COLUMN_OF_TEXTS, "column whose variance is shared out", rows->of);
  put(&out, "input", COLUMN_OF_TEXTS, "thing varied", rows->input);
  for (int n = 0; n < 6; n++) {
    put(&out, columns[n][0], COLUMN_OF_REALS, columns[n][1], rows->numbers + n * rows->room);
  }
  put(&out, "groups", COLUMN_OF_INTEGERS, "groups of the design without a gap", rows->used);
  end(&out);
}

static void write_indices(struct views *views) {
  struct h5_reading *reading = &views->reading;
  char *arrangement = h5_reading_attribute(reading, views->file, "arrangement");
  bool saltelli = arrangement != NULL && strcmp(arrangement, "saltelli") == 0 &&
                  h5_reading_attribute_number(reading, views->file, "shards") == 1.0;
  free(arrangement);
  if (!saltelli || views->axis_count == 0) {
    return;
  }
  int64_t room = (int64_t)views->names.count * views->axis_count;
  struct index_rows rows = {.of = h5_reading_memory(reading, (size_t)room, sizeof *rows.of),
                            .input = h5_reading_memory(reading, (size_t)room, sizeof *rows.input),
                            .numbers = h5_reading_memory(reading, (size_t)room * 6, sizeof *rows.numbers),
                            .used = h5_reading_memory(reading, (size_t)room, sizeof *rows.used),
                            .room = room};
  for (int i = 0; i < views->names.count && !reading->failed; i++) {
    const char *name = views->names.items[i];
    hid_t dataset = h5_reading_dataset(reading, views->file, name);
    long count = 0;
    bool numbers = dataset >= 0 && h5_reading_kind(reading, dataset, &count) == H5_KIND_NUMBER;
    h5_reading_shut(dataset);
    double *values = numbers ? numbers_of(views, name) : NULL;
    if (values != NULL && ready_for_indices(views, name, values)) {
      add_indices(views, &rows, name, values);
    }
    free(values);
  }
  if (!reading->failed && rows.count > 0) {
    put_indices(views, &rows);
  }
  free((void *)rows.of);
  free((void *)rows.input);
  free(rows.numbers);
  free(rows.used);
}

bool table_views_group(const char *name) {
  return strcmp(name, "steps") == 0 || strcmp(name, "regions") == 0 || strcmp(name, "indices") == 0;
}

bool table_views_write(hid_t file, const char *path, int64_t rows, struct h5_log *log, struct error *error) {
  if (rows < 1 || log->failed) {
    return true;
  }
  struct views *views = calloc(1, sizeof *views);
  if (views == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the table");
  }
  *views = (struct views){
      .reading = {.path = path, .file = file, .error = error}, .log = log, .file = file, .rows = (long)rows};
  read_table(views);
  if (!views->reading.failed) {
    write_steps(views);
    write_regions(views);
    write_indices(views);
  }
  bool good = !views->reading.failed;
  for (int a = 0; a < views->axis_count; a++) {
    free(views->axes[a].name);
    for (int c = 0; c < REGION_STEP_LIMIT; c++) {
      free(views->axes[a].choices[c]);
    }
    free(views->axes[a].place);
  }
  h5_names_free(&views->names);
  free(views->status);
  free(views->fate);
  free(views);
  return good;
}
