#include "review_page.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "h5_read.h"
#include "json.h"
#include "quantity.h"
#include "run_page.h"
#include "sha256.h"

enum { CELLS_MOST = 2000, LIMITS_MOST = 10000, PATH_LIMIT = 4096 };

struct review_data {
  struct h5_reading reading;
  struct h5_names cases;
  struct h5_names conditions;
  struct h5_names verdicts;
  struct h5_names limits; /* the worst of each cell */
  struct h5_names states;
  struct h5_names messages;
  struct h5_names files;
  double *margins;
  long cells;
};

bool review_page_fits(const char *path) {
  struct error ignored = {0};
  struct h5_reading reading;
  bool fits = false;
  if (h5_reading_open(&reading, path, &ignored)) {
    char *answer = h5_reading_attribute(&reading, reading.file, "answer");
    fits = answer != NULL && strcmp(answer, "review") == 0;
    free(answer);
  }
  h5_reading_close(&reading);
  return fits;
}

/* A column of texts, `count` long unless that is 0. */
static struct h5_names texts_of(struct h5_reading *reading, const char *name, long count) {
  struct h5_names texts = {NULL, 0};
  long length = 0;
  hid_t dataset = h5_reading_dataset(reading, reading->file, name);
  if (dataset < 0 || h5_reading_kind(reading, dataset, &length) != H5_KIND_TEXT || length < 1 || length > CELLS_MOST ||
      (count > 0 && length != count)) {
    h5_reading_fail(reading, "it is no review that a page can show; expected what 'swashloop review' wrote");
  } else {
    texts = h5_reading_texts(reading, dataset, length);
  }
  h5_reading_shut(dataset);
  return texts;
}

/* The numbers of a column of a group or the file, one a cell, to be freed. */
static double *numbers_of(struct h5_reading *reading, hid_t group, const char *name, long count) {
  double *numbers = NULL;
  long length = 0;
  hid_t dataset = h5_reading_dataset(reading, group, name);
  if (dataset < 0 || h5_reading_kind(reading, dataset, &length) != H5_KIND_NUMBER || length != count) {
    h5_reading_fail(reading, "it is no review that a page can show; expected what 'swashloop review' wrote");
  } else {
    numbers = h5_reading_numbers(reading, dataset, length);
  }
  h5_reading_shut(dataset);
  return numbers;
}

static void read_review(struct review_data *data) {
  struct h5_reading *reading = &data->reading;
  data->cases = texts_of(reading, "case_name", 0);
  data->conditions = texts_of(reading, "condition_name", 0);
  data->cells = (long)data->cases.count * data->conditions.count;
  data->verdicts = texts_of(reading, "verdict", data->cells);
  data->limits = texts_of(reading, "worst_limit", data->cells);
  data->states = texts_of(reading, "status", data->cells);
  data->messages = texts_of(reading, "message", data->cells);
  data->files = texts_of(reading, "run_file", data->cells);
  data->margins = numbers_of(reading, reading->file, "margin", data->cells);
}

/* The history of a cell; false: there is none. Its name must be that of a file in the folder, and nothing else. */
static bool run_of(const struct review_data *data, long cell, char *path) {
  const char *name = data->files.items[cell];
  return name[0] != '\0' && name[0] != '.' && strchr(name, '/') == NULL &&
         snprintf(path, PATH_LIMIT, "%s.runs/%s", data->reading.path, name) < PATH_LIMIT && access(path, R_OK) == 0;
}

static void write_texts(struct json *json, const char *key, const struct h5_names *texts) {
  json_begin_list(json, key);
  for (int i = 0; i < texts->count; i++) {
    json_text(json, NULL, texts->items[i]);
  }
  json_end_list(json);
}

/* Returns how many cells have a history. */
static long write_cells(struct json *json, struct review_data *data, const double *vouched) {
  long runs = 0;
  char path[PATH_LIMIT];
  json_begin_list(json, "cells");
  for (long c = 0; c < data->cells; c++) {
    bool has_run = run_of(data, c, path);
    json_begin_object(json, NULL);
    json_text(json, "verdict", data->verdicts.items[c]);
    json_number(json, "margin", data->margins[c]);
    json_bool(json, "endless", isinf(data->margins[c]));
    json_text(json, "limit", data->limits.items[c]);
    json_text(json, "status", data->states.items[c]);
    json_text(json, "message", data->messages.items[c]);
    json_bool(json, "vouched", vouched[c] != 0.0);
    json_bool(json, "run", has_run);
    json_end_object(json);
    runs += has_run;
  }
  json_end_list(json);
  return runs;
}

static void write_limit(struct json *json, struct review_data *data, long index) {
  struct h5_reading *reading = &data->reading;
  char name[32];
  (void)snprintf(name, sizeof name, "limit_%ld", index + 1);
  hid_t group = h5_reading_group(reading, reading->file, name);
  double *margins = numbers_of(reading, group, "margin", data->cells);
  double *worst = numbers_of(reading, group, "worst", data->cells);
  char *sentence = h5_reading_attribute(reading, group, "sentence");
  hid_t level = h5_reading_dataset(reading, group, "level");
  char *unit = h5_reading_attribute(reading, level, "units");
  char *trade = h5_reading_attribute(reading, level, "trade_units");
  if (margins != NULL && worst != NULL && !reading->failed) {
    long place = -1;
    long broken = 0;
    for (long c = 0; c < data->cells; c++) {
      place = !isnan(margins[c]) && (place < 0 || margins[c] < margins[place]) ? c : place;
      broken += margins[c] < 0.0;
    }
    json_begin_object(json, NULL);
    json_text(json, "sentence", sentence);
    json_text(json, "unit", unit);
    json_text(json, "trade", trade);
    json_integer(json, "broken", broken);
    json_integer(json, "cell", place);
    json_number(json, "margin", place >= 0 ? margins[place] : (double)NAN);
    json_bool(json, "endless", place >= 0 && isinf(margins[place]));
    json_number(json, "worst", place >= 0 ? worst[place] : (double)NAN);
    json_end_object(json);
  }
  free(margins);
  free(worst);
  free(sentence);
  free(unit);
  free(trade);
  h5_reading_shut(level);
  h5_reading_shut(group);
}

static void write_review(FILE *out, struct review_data *data) {
  struct h5_reading *reading = &data->reading;
  struct json json = {.out = out, .for_page = true};
  char hash[65] = "";
  const char *slash = strrchr(reading->path, '/');
  char *title = h5_reading_attribute(reading, reading->file, "title");
  double limits = h5_reading_attribute_number(reading, reading->file, "limit_count");
  hid_t measures = h5_reading_group(reading, reading->file, "measures");
  double *vouched = numbers_of(reading, measures, "vouched", data->cells);
  h5_reading_shut(measures);
  if (!(limits >= 0.0 && limits <= LIMITS_MOST) || !sha256_of_file(reading->path, hash)) {
    h5_reading_fail(reading, "it is no review that a page can show; expected what 'swashloop review' wrote");
  }
  (void)fputs("<script type=\"application/json\" id=\"review-data\">", out);
  json_begin_object(&json, NULL);
  json_text(&json, "title", title);
  json_text(&json, "file", slash != NULL ? slash + 1 : reading->path);
  json_text(&json, "file_hash", hash);
  write_texts(&json, "cases", &data->cases);
  write_texts(&json, "conditions", &data->conditions);
  if (!reading->failed && write_cells(&json, data, vouched) == 0) {
    h5_reading_fail(reading, "no history of its runs is in the folder beside it that is called as it, with .runs; "
                             "a page needs them: 'swashloop review' without --no-runs writes them");
  }
  json_begin_list(&json, "limits");
  for (long i = 0; !reading->failed && i < (long)limits; i++) {
    write_limit(&json, data, i);
  }
  json_end_list(&json);
  json_end_object(&json);
  (void)fputs("</script>\n", out);
  free(vouched);
  free(title);
}

bool review_page_write(FILE *out, const char *path, long point_limit, struct error *error) {
  struct review_data data = {0};
  char run[PATH_LIMIT];
  if (h5_reading_open(&data.reading, path, error)) {
    read_review(&data);
    if (!data.reading.failed) {
      write_review(out, &data);
    }
  }
  bool good = !data.reading.failed;
  for (long c = 0; good && c < data.cells; c++) {
    good = !run_of(&data, c, run) || run_page_write(out, (int)c, run, point_limit / data.cells, error);
  }
  h5_reading_close(&data.reading);
  struct h5_names *names[] = {&data.cases,  &data.conditions, &data.verdicts, &data.limits,
                              &data.states, &data.messages,   &data.files};
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    h5_names_free(names[i]);
  }
  free(data.margins);
  return good;
}
