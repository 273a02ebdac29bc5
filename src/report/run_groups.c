#include "run_groups.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "run_events.h"

#include "registry.h"
#include "simulation.h"

void known_points_free(struct known_points *known) {
  free(known->items);
  *known = (struct known_points){0};
}

/* Out of memory only costs the exact point. */
static void know(struct known_points *known, const char *signal, size_t length, double time, double value) {
  if (!isfinite(time) || !isfinite(value) || length == 0 || length >= sizeof known->items[0].signal) {
    return;
  }
  if (known->count == known->room) {
    int room = 2 * known->room + 32;
    void *items = realloc(known->items, (size_t)room * sizeof known->items[0]);
    if (items == NULL) {
      return;
    }
    known->items = items;
    known->room = room;
  }
  memcpy(known->items[known->count].signal, signal, length);
  known->items[known->count].signal[length] = '\0';
  known->items[known->count].point = (struct curve_point){time, value};
  known->count++;
}

static void attribute(struct h5_reading *reading, hid_t object, const char *name, struct json *json, const char *key) {
  char *text = h5_reading_attribute(reading, object, name);
  if (text != NULL && text[0] != '\0') {
    json_text(json, key, text);
  }
  free(text);
}

void run_group_describe(struct h5_reading *reading, hid_t dataset, struct json *json) {
  attribute(reading, dataset, "long_name", json, "text");
  attribute(reading, dataset, "units", json, "si");
  attribute(reading, dataset, "trade_units", json, "trade");
  attribute(reading, dataset, "pressure_reference", json, "reference");
}

/* A scalar number of a group as an open object with name, description and value; the caller adds and closes. */
static bool begin_scalar(struct h5_reading *reading, hid_t dataset, const char *name, struct json *json,
                         double *value) {
  long count = 0;
  if (dataset < 0 || h5_reading_kind(reading, dataset, &count) != H5_KIND_NUMBER || count != -1) {
    return false;
  }
  *value = h5_reading_number(reading, dataset);
  json_begin_object(json, NULL);
  json_text(json, "name", name);
  run_group_describe(reading, dataset, json);
  json_number(json, "value", *value);
  return true;
}

static bool ends_with(const char *text, size_t length, const char *end) {
  size_t size = strlen(end);
  return length > size && memcmp(text + length - size, end, size) == 0;
}

/* The extreme `name` of a signal and when it was: NAME is peak_SIGNAL, lowest_SIGNAL, SIGNAL_max or SIGNAL_min. */
static void know_extremum(struct known_points *known, const char *name, double value, double time) {
  size_t length = strlen(name);
  if (strncmp(name, "peak_", 5) == 0) {
    know(known, name + 5, length - 5, time, value);
  } else if (strncmp(name, "lowest_", 7) == 0) {
    know(known, name + 7, length - 7, time, value);
  } else if (ends_with(name, length, "_max") || ends_with(name, length, "_min")) {
    know(known, name, length - 4, time, value);
  }
}

void run_group_measures(struct h5_reading *reading, struct json *json, struct known_points *known) {
  hid_t group = h5_reading_group(reading, reading->file, "measures");
  struct h5_names names;
  h5_reading_names(reading, group, &names);
  json_begin_list(json, "measures");
  for (int i = 0; i < names.count && !reading->failed; i++) {
    double value = 0.0;
    hid_t dataset = h5_reading_dataset(reading, group, names.items[i]);
    if (begin_scalar(reading, dataset, names.items[i], json, &value)) {
      attribute(reading, dataset, "reason", json, "reason");
      json_end_object(json);
      char when[160];
      (void)snprintf(when, sizeof when, "%.100s_time", names.items[i]);
      hid_t time = h5_reading_dataset(reading, group, when);
      if (time >= 0) {
        know_extremum(known, names.items[i], value, h5_reading_number(reading, time));
      }
      h5_reading_shut(time);
    }
    h5_reading_shut(dataset);
  }
  json_end_list(json);
  h5_names_free(&names);
  h5_reading_shut(group);
}

/* --- Tables: parallel columns on one dimension -----------------------------------------------------------------------
 */

enum { COLUMN_LIMIT = 10 };

struct table {
  long rows; /* -1: there is none */
  int column_count;
  const char *names[COLUMN_LIMIT];
  double *numbers[COLUMN_LIMIT];       /* of a column of numbers */
  struct h5_names texts[COLUMN_LIMIT]; /* of a column of texts */
};

static void read_column(struct h5_reading *reading, hid_t group, const char *name, enum h5_kind wanted,
                        struct table *table) {
  int column = table->column_count++;
  long count = 0;
  table->names[column] = name;
  hid_t dataset = h5_reading_dataset(reading, group, name);
  if (dataset < 0 || h5_reading_kind(reading, dataset, &count) != wanted || count < 0 ||
      (table->rows >= 0 && count != table->rows)) {
    h5_reading_fail(reading, "a table in it is not whole; expected a run file that 'swashloop run' wrote");
  } else if (wanted == H5_KIND_NUMBER) {
    table->numbers[column] = h5_reading_numbers(reading, dataset, count);
  } else {
    table->texts[column] = h5_reading_texts(reading, dataset, count);
  }
  table->rows = count;
  h5_reading_shut(dataset);
}

/* Columns of texts first, then of numbers; NULL ends each list. */
static struct table read_table(struct h5_reading *reading, hid_t group, const char *const *texts,
                               const char *const *numbers) {
  struct table table = {.rows = -1};
  for (int i = 0; texts[i] != NULL && !reading->failed; i++) {
    read_column(reading, group, texts[i], H5_KIND_TEXT, &table);
  }
  for (int i = 0; numbers[i] != NULL && !reading->failed; i++) {
    read_column(reading, group, numbers[i], H5_KIND_NUMBER, &table);
  }
  return table;
}

static void write_row(const struct table *table, long row, struct json *json) {
  for (int c = 0; c < table->column_count; c++) {
    if (table->numbers[c] != NULL) {
      json_number(json, table->names[c], table->numbers[c][row]);
    } else if (table->texts[c].items != NULL) {
      json_text(json, table->names[c], table->texts[c].items[row]);
    }
  }
}

static void free_table(struct table *table) {
  for (int c = 0; c < table->column_count; c++) {
    free(table->numbers[c]);
    h5_names_free(&table->texts[c]);
  }
}

/* +1 if the plant's words for rising begin the message, -1 for falling, 0 if it is another event. */
static int direction_of(const struct plant *plant, const char *name, const char *message) {
  for (int i = 0; plant != NULL && i < plant->event_count; i++) {
    const struct event_row *row = &plant->events[i];
    if (strcmp(row->name, name) == 0) {
      bool rising = row->rising[0] != '\0' && strncmp(message, row->rising, strlen(row->rising)) == 0;
      bool falling = row->falling[0] != '\0' && strncmp(message, row->falling, strlen(row->falling)) == 0;
      return rising ? 1 : falling ? -1 : 0;
    }
  }
  for (int i = 0; i < MOTION_NEWS_COUNT; i++) {
    const struct motion_words *row = &motion_words[i];
    if (strcmp(row->name, name) == 0 && strncmp(message, row->words, strlen(row->words)) == 0) {
      return row->direction;
    }
  }
  return 0;
}

void run_group_events(struct h5_reading *reading, const struct plant *plant, struct json *json,
                      struct known_points *known) {
  static const char *const texts[] = {"name", "message", "signal", "unit", NULL};
  static const char *const numbers[] = {"time", "value", NULL};
  hid_t group = h5_reading_group(reading, reading->file, "events");
  json_begin_list(json, "events");
  double left_out = 0.0;
  if (group >= 0) {
    struct table table = read_table(reading, group, texts, numbers);
    for (long i = 0; i < table.rows && !reading->failed; i++) {
      const char *signal = table.texts[2].items[i];
      json_begin_object(json, NULL);
      write_row(&table, i, json);
      json_integer(json, "direction", direction_of(plant, table.texts[0].items[i], table.texts[1].items[i]));
      json_end_object(json);
      know(known, signal, strlen(signal), table.numbers[4][i], table.numbers[5][i]);
    }
    free_table(&table);
    hid_t dataset = h5_reading_dataset(reading, group, "left_out");
    left_out = dataset >= 0 ? h5_reading_number(reading, dataset) : 0.0;
    h5_reading_shut(dataset);
  }
  json_end_list(json);
  json_number(json, "events_left_out", left_out);
  h5_reading_shut(group);
}

void run_group_limits(struct h5_reading *reading, struct json *json, struct known_points *known) {
  const char *texts[] = {"sentence", "result", "name", "unit", "reason", NULL};
  static const char *const numbers[] = {"level", "worst", "worst_time", "first_time", NULL};
  hid_t group = h5_reading_group(reading, reading->file, "limits");
  json_begin_list(json, "limits");
  if (group >= 0) {
    hid_t reason = h5_reading_dataset(reading, group, texts[4]);
    texts[4] = reason >= 0 ? texts[4] : NULL; /* files of earlier versions have none */
    h5_reading_shut(reason);
    int level = reason >= 0 ? 5 : 4;
    struct table table = read_table(reading, group, texts, numbers);
    for (long i = 0; i < table.rows && !reading->failed; i++) {
      const char *name = table.texts[2].items[i];
      json_begin_object(json, NULL);
      write_row(&table, i, json);
      json_end_object(json);
      know(known, name, strlen(name), table.numbers[level + 2][i], table.numbers[level + 1][i]);
    }
    free_table(&table);
  }
  json_end_list(json);
  h5_reading_shut(group);
}

void run_group_ledger(struct h5_reading *reading, struct json *json) {
  hid_t group = h5_reading_group(reading, reading->file, "ledger");
  hid_t braking = h5_reading_group(reading, group, "from_release");
  struct h5_names names;
  h5_reading_names(reading, group, &names);
  json_begin_list(json, "ledger");
  for (int i = 0; i < names.count && !reading->failed; i++) {
    double value = 0.0;
    hid_t dataset = h5_reading_dataset(reading, group, names.items[i]);
    if (begin_scalar(reading, dataset, names.items[i], json, &value)) {
      attribute(reading, dataset, "kind", json, "kind");
      hid_t part = h5_reading_dataset(reading, braking, names.items[i]);
      if (part >= 0) {
        json_number(json, "braking", h5_reading_number(reading, part));
      }
      h5_reading_shut(part);
      json_end_object(json);
    }
    h5_reading_shut(dataset);
  }
  json_end_list(json);
  h5_names_free(&names);
  h5_reading_shut(braking);
  h5_reading_shut(group);
}

/* The row of the registry behind "group.field", NULL if this program does not know it. */
static const struct field *field_of(const struct plant *plant, const char *path) {
  char group[64];
  const char *dot = strchr(path, '.');
  if (plant == NULL || dot == NULL || (size_t)(dot - path) >= sizeof group) {
    return NULL;
  }
  memcpy(group, path, (size_t)(dot - path));
  group[dot - path] = '\0';
  if (strcmp(group, simulation_group.name) == 0) {
    return registry_field(&simulation_group, dot + 1);
  }
  const struct group *section = registry_group(plant->groups, plant->group_count, group);
  return section != NULL ? registry_field(section, dot + 1) : NULL;
}

static void write_choice(struct h5_reading *reading, hid_t dataset, const struct field *field, struct json *json) {
  struct h5_names texts = h5_reading_texts(reading, dataset, 1);
  if (texts.count == 1) {
    json_text(json, "choice", texts.items[0]);
  }
  attribute(reading, dataset, "choices", json, "choices");
  if (field != NULL && field->kind == FIELD_CHOICE) {
    char usual[96];
    json_text(json, "usual", registry_choice_name(field->choices, (int)field->initial, usual, sizeof usual));
  }
  h5_names_free(&texts);
}

static void write_list(struct json *json, const char *key, const double *values, long count) {
  json_begin_list(json, key);
  for (long i = 0; values != NULL && i < count; i++) {
    json_number(json, NULL, values[i]);
  }
  json_end_list(json);
}

static void write_profile(struct h5_reading *reading, hid_t group, const char *name, hid_t dataset, long count,
                          struct json *json) {
  char argument_name[160];
  long argument_count = 0;
  (void)snprintf(argument_name, sizeof argument_name, "%.100s.argument", name);
  hid_t argument = h5_reading_dataset(reading, group, argument_name);
  if (argument >= 0 && h5_reading_kind(reading, argument, &argument_count) == H5_KIND_NUMBER &&
      argument_count == count) {
    double *values = h5_reading_numbers(reading, argument, count);
    write_list(json, "argument", values, count);
    attribute(reading, argument, "units", json, "argument_si");
    attribute(reading, argument, "trade_units", json, "argument_trade");
    free(values);
  }
  h5_reading_shut(argument);
  double *values = h5_reading_numbers(reading, dataset, count);
  write_list(json, "table", values, count);
  free(values);
}

static void write_parameter(struct h5_reading *reading, hid_t group, const char *name, const struct plant *plant,
                            struct json *json) {
  long count = 0;
  hid_t dataset = h5_reading_dataset(reading, group, name);
  enum h5_kind kind = dataset >= 0 ? h5_reading_kind(reading, dataset, &count) : H5_KIND_OTHER;
  const struct field *field = field_of(plant, name);
  if (kind == H5_KIND_OTHER || count < -1 || count > 100000 || ends_with(name, strlen(name), ".argument")) {
    h5_reading_shut(dataset);
    return;
  }
  json_begin_object(json, NULL);
  json_text(json, "name", name);
  run_group_describe(reading, dataset, json);
  if (kind == H5_KIND_TEXT && count == -1) {
    write_choice(reading, dataset, field, json);
  } else if (kind == H5_KIND_NUMBER && count == -1) {
    json_number(json, "value", h5_reading_number(reading, dataset));
    if (field != NULL && field->kind == FIELD_REAL) {
      json_number(json, "usual", quantity_from_trade(field->quantity, field->initial));
    }
  } else if (kind == H5_KIND_NUMBER) {
    write_profile(reading, group, name, dataset, count, json);
  }
  json_end_object(json);
  h5_reading_shut(dataset);
}

void run_group_parameters(struct h5_reading *reading, const struct plant *plant, struct json *json) {
  hid_t group = h5_reading_group(reading, reading->file, "parameters");
  struct h5_names names;
  h5_reading_names(reading, group, &names);
  json_begin_list(json, "parameters");
  for (int i = 0; i < names.count && !reading->failed; i++) {
    write_parameter(reading, group, names.items[i], plant, json);
  }
  json_end_list(json);
  h5_names_free(&names);
  h5_reading_shut(group);
}

void run_group_solver(struct h5_reading *reading, struct json *json) {
  static const char *const texts[] = {"state_name", "state_unit", NULL};
  static const char *const numbers[] = {"absolute_tolerance", NULL};
  hid_t group = h5_reading_group(reading, reading->file, "solver");
  struct h5_names names;
  h5_reading_names(reading, group, &names);
  json_begin_list(json, "solver");
  for (int i = 0; i < names.count && !reading->failed; i++) {
    double value = 0.0;
    hid_t dataset = h5_reading_dataset(reading, group, names.items[i]);
    if (begin_scalar(reading, dataset, names.items[i], json, &value)) {
      json_end_object(json);
    }
    h5_reading_shut(dataset);
  }
  json_end_list(json);
  json_begin_list(json, "states");
  if (group >= 0) {
    struct table table = read_table(reading, group, texts, numbers);
    for (long i = 0; i < table.rows && !reading->failed; i++) {
      json_begin_object(json, NULL);
      write_row(&table, i, json);
      json_end_object(json);
    }
    free_table(&table);
  }
  json_end_list(json);
  h5_names_free(&names);
  h5_reading_shut(group);
}
