#include "table_page.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base64.h"
#include "h5_read.h"
#include "json.h"
#include "run_groups.h"
#include "sha256.h"
#include "table_views_page.h"

/* Cells on a page: with at most 4 bytes each, in base64, it stays below 5 MB. */
enum { CELL_LIMIT = 850000, COLUMN_LIMIT = 400 };
/* Different texts of one column, and all their letters; further ones are only in the table. */
enum { CHOICE_LIMIT = 4000, CHOICE_LETTERS = 200000 };

enum column_kind { COLUMN_CASE, COLUMN_NUMBER, COLUMN_FLAGS, COLUMN_TEXT };

struct column {
  char *name;
  char *role;
  enum column_kind kind;
};

struct table {
  struct h5_reading reading;
  long rows;
  double *cases;
  struct column columns[COLUMN_LIMIT];
  int column_count;
  unsigned char *kept; /* [row]: goes on the page */
  long kept_count;
};

/* ---- what is there ---- */

static bool open_cases(struct h5_reading *reading, hid_t *cases, long *rows) {
  *cases = h5_reading_dataset(reading, reading->file, "case");
  return *cases >= 0 && h5_reading_kind(reading, *cases, rows) == H5_KIND_NUMBER && *rows >= 0;
}

bool table_page_fits(const char *path) {
  struct error ignored = {0};
  struct h5_reading reading;
  hid_t cases = H5I_INVALID_HID;
  long rows = 0;
  bool fits = h5_reading_open(&reading, path, &ignored) && open_cases(&reading, &cases, &rows);
  if (fits) {
    hid_t time = h5_reading_dataset(&reading, reading.file, "time");
    fits = time < 0 && !reading.failed;
    h5_reading_shut(time);
  }
  h5_reading_shut(cases);
  h5_reading_close(&reading);
  return fits;
}

static void read_cases(struct table *table) {
  hid_t cases = H5I_INVALID_HID;
  if (!open_cases(&table->reading, &cases, &table->rows) || table->rows < 1) {
    h5_reading_fail(&table->reading, "its table has no cases");
  } else {
    table->cases = h5_reading_numbers(&table->reading, cases, table->rows);
  }
  h5_reading_shut(cases);
  for (long i = 0; table->cases != NULL && i < table->rows; i++) {
    if (!(table->cases[i] >= 0.0 && table->cases[i] < 4294967296.0)) {
      h5_reading_fail(&table->reading, "a case in it has no number");
    }
  }
}

static bool is_flags(const char *role) {
  return strcmp(role, "limit") == 0 || strcmp(role, "all_limits") == 0;
}

static void find_column(struct table *table, const char *name) {
  struct h5_reading *reading = &table->reading;
  hid_t dataset = h5_reading_dataset(reading, reading->file, name);
  long count = 0;
  enum h5_kind kind = dataset >= 0 ? h5_reading_kind(reading, dataset, &count) : H5_KIND_OTHER;
  char *role = h5_reading_attribute(reading, dataset, "role");
  bool is_case = strcmp(name, "case") == 0;
  bool is_column = role != NULL && (role[0] != '\0' || is_case) && kind != H5_KIND_OTHER;
  h5_reading_shut(dataset);
  if (is_column && count != table->rows) {
    h5_reading_fail(reading, "its columns are not equally long");
  } else if (is_column && table->column_count == COLUMN_LIMIT) {
    h5_reading_fail(reading, "it has more columns than a page can show");
  } else if (is_column && (is_flags(role) && kind != H5_KIND_NUMBER)) {
    h5_reading_fail(reading, "a limit in it is neither kept, broken nor not judged");
  } else if (is_column) {
    size_t size = strlen(name) + 1;
    char *copy = h5_reading_memory(reading, size, 1);
    if (copy != NULL) {
      (void)snprintf(copy, size, "%s", name);
      table->columns[table->column_count++] = (struct column){copy, role,
                                                              is_case                ? COLUMN_CASE
                                                              : is_flags(role)       ? COLUMN_FLAGS
                                                              : kind == H5_KIND_TEXT ? COLUMN_TEXT
                                                                                     : COLUMN_NUMBER};
      return;
    }
  }
  free(role);
}

static void find_columns(struct table *table) {
  struct h5_names names;
  h5_reading_names(&table->reading, table->reading.file, &names);
  for (int i = 0; i < names.count && !table->reading.failed; i++) {
    find_column(table, names.items[i]);
  }
  h5_names_free(&names);
}

/* ---- which cases go on the page ---- */

/* A number that looks drawn by lot, the same for the same case whatever else is in the table (splitmix64). */
static uint64_t lot_of(double number) {
  uint64_t z = ((uint64_t)number + 1) * UINT64_C(0x9e3779b97f4a7c15);
  z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
  z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
  return z ^ z >> 31;
}

static void choose_rows(struct table *table) {
  long limit = CELL_LIMIT / table->column_count;
  double share = (double)limit / (double)table->rows;
  table->kept = h5_reading_memory(&table->reading, (size_t)table->rows, 1);
  for (long i = 0; table->kept != NULL && i < table->rows; i++) {
    table->kept[i] = share >= 1.0 || (double)(lot_of(table->cases[i]) >> 11) < share * 9007199254740992.0;
    table->kept_count += table->kept[i];
  }
}

/* ---- cells ---- */

static unsigned char *put_word(unsigned char *at, uint32_t word, int bytes) {
  for (int i = 0; i < bytes; i++) {
    *at++ = (unsigned char)(word >> (8 * i) & 255);
  }
  return at;
}

static uint32_t bits_of(double value) {
  float single = (float)value;
  uint32_t bits = 0;
  memcpy(&bits, &single, sizeof bits);
  return bits;
}

/* Lowest and highest of all rows, and whose they are. False if no row has a number. */
static bool write_extrema(const struct table *table, const double *values, struct json *json) {
  long low = -1;
  long high = -1;
  for (long i = 0; i < table->rows; i++) {
    if (isfinite(values[i])) {
      low = low < 0 || values[i] < values[low] ? i : low;
      high = high < 0 || values[i] > values[high] ? i : high;
    }
  }
  json_number(json, "low", low >= 0 ? values[low] : (double)NAN);
  json_number(json, "high", high >= 0 ? values[high] : (double)NAN);
  json_number(json, "low_case", low >= 0 ? table->cases[low] : (double)NAN);
  json_number(json, "high_case", high >= 0 ? table->cases[high] : (double)NAN);
  return low >= 0;
}

/* In the order of the flags: broken, kept, not judged. */
static void write_counts(const struct table *table, const double *values, struct json *json) {
  long counts[3] = {0, 0, 0};
  for (long i = 0; i < table->rows; i++) {
    counts[values[i] == 0.0 ? 0 : values[i] == 1.0 ? 1 : 2]++;
  }
  json_integer(json, "broken", counts[0]);
  json_integer(json, "kept", counts[1]);
  json_integer(json, "unjudged", counts[2]);
}

static size_t put_numbers(struct table *table, const struct column *column, hid_t dataset, struct json *json,
                          unsigned char *cells) {
  double *values = h5_reading_numbers(&table->reading, dataset, table->rows);
  unsigned char *at = cells;
  for (long i = 0; values != NULL && i < table->rows; i++) {
    if (!table->kept[i]) {
      continue;
    }
    if (column->kind == COLUMN_FLAGS) {
      at = put_word(at, values[i] == 0.0 ? 0 : values[i] == 1.0 ? 1 : 2, 1);
    } else {
      at = put_word(at, column->kind == COLUMN_CASE ? (uint32_t)values[i] : bits_of(values[i]), 4);
    }
  }
  if (values != NULL && column->kind == COLUMN_FLAGS) {
    write_counts(table, values, json);
  } else if (values != NULL && column->kind == COLUMN_NUMBER && !write_extrema(table, values, json)) {
    at = cells; /* a column without a number needs no cells */
  }
  free(values);
  return (size_t)(at - cells);
}

struct choices {
  const char *items[CHOICE_LIMIT];
  long counts[CHOICE_LIMIT];
  int count;
  size_t letters;
};

/* The place of a text among the different ones; CHOICE_LIMIT when there is no room for it. */
static int choice_of(struct choices *choices, const char *text, int guess) {
  if (guess < choices->count && strcmp(choices->items[guess], text) == 0) {
    return guess;
  }
  for (int c = 0; c < choices->count; c++) {
    if (strcmp(choices->items[c], text) == 0) {
      return c;
    }
  }
  if (choices->count == CHOICE_LIMIT || choices->letters + strlen(text) > CHOICE_LETTERS) {
    return CHOICE_LIMIT;
  }
  choices->letters += strlen(text);
  choices->items[choices->count] = text;
  return choices->count++;
}

static size_t put_texts(struct table *table, hid_t dataset, struct json *json, unsigned char *cells) {
  struct h5_names texts = h5_reading_texts(&table->reading, dataset, table->rows);
  struct choices *choices = h5_reading_memory(&table->reading, 1, sizeof *choices);
  unsigned char *at = cells;
  int guess = 0;
  for (long i = 0; choices != NULL && i < texts.count && i < table->rows; i++) {
    guess = choice_of(choices, texts.items[i], guess);
    if (guess < CHOICE_LIMIT) {
      choices->counts[guess]++;
    }
    at = table->kept[i] ? put_word(at, (uint32_t)guess, 2) : at;
  }
  json_begin_list(json, "choices");
  for (int c = 0; choices != NULL && c < choices->count; c++) {
    json_begin_object(json, NULL);
    json_text(json, "text", choices->items[c]);
    json_integer(json, "count", choices->counts[c]);
    json_end_object(json);
  }
  json_end_list(json);
  free(choices);
  h5_names_free(&texts);
  return (size_t)(at - cells);
}

/* ---- the script elements ---- */

static void write_limit(struct h5_reading *reading, hid_t dataset, struct json *json) {
  char *level = h5_reading_attribute(reading, dataset, "level");
  char *side = h5_reading_attribute(reading, dataset, "side");
  if (level != NULL && level[0] != '\0') {
    json_number(json, "level", strtod(level, NULL));
    json_text(json, "side", side);
  }
  free(level);
  free(side);
}

/* Paths that a varied one takes along. */
static void write_observers(struct h5_reading *reading, hid_t dataset, struct json *json) {
  json_begin_list(json, "also_sets");
  for (int i = 1; i < 64; i++) {
    char name[32];
    (void)snprintf(name, sizeof name, "also_sets_%d", i);
    char *path = h5_reading_attribute(reading, dataset, name);
    bool more = path != NULL && path[0] != '\0';
    if (more) {
      json_text(json, NULL, path);
    }
    free(path);
    if (!more) {
      break;
    }
  }
  json_end_list(json);
}

static void write_column(FILE *out, struct table *table, int index, unsigned char *cells) {
  static const char *const kinds[] = {"case", "number", "flags", "text"};
  struct h5_reading *reading = &table->reading;
  const struct column *column = &table->columns[index];
  struct json json = {.out = out, .for_page = true};
  hid_t dataset = h5_reading_dataset(reading, reading->file, column->name);
  (void)fprintf(out, "<script type=\"application/json\" id=\"column-%d\">", index);
  json_begin_object(&json, NULL);
  json_text(&json, "name", column->name);
  json_text(&json, "role", column->role);
  json_text(&json, "kind", kinds[column->kind]);
  run_group_describe(reading, dataset, &json);
  char *label = h5_reading_attribute(reading, dataset, "label");
  if (label != NULL && label[0] != '\0') {
    json_text(&json, "label", label);
  }
  free(label);
  write_limit(reading, dataset, &json);
  write_observers(reading, dataset, &json);
  size_t size = column->kind == COLUMN_TEXT ? put_texts(table, dataset, &json, cells)
                                            : put_numbers(table, column, dataset, &json, cells);
  json_end_object(&json);
  (void)fprintf(out, "</script>\n<script type=\"text/plain\" id=\"cells-%d\">", index);
  base64_write(out, cells, size);
  (void)fputs("</script>\n", out);
  h5_reading_shut(dataset);
}

static void write_whole(FILE *out, struct table *table) {
  static const char *const names[] = {
      "title",  "history",    "source", "swashloop_version", "swashloop_build",       "plant",
      "status", "study_file", "study",  "study_fingerprint", "arithmetic_fingerprint"};
  static const char *const numbers[] = {"case_count", "failed_cases", "shard", "shards"};
  struct h5_reading *reading = &table->reading;
  struct json json = {.out = out, .for_page = true};
  char hash[65] = "";
  const char *slash = strrchr(reading->path, '/');
  (void)fputs("<script type=\"application/json\" id=\"table\">", out);
  json_begin_object(&json, NULL);
  json_text(&json, "file", slash != NULL ? slash + 1 : reading->path);
  if (!sha256_of_file(reading->path, hash)) {
    h5_reading_fail(reading, "its bytes could not all be read");
  }
  json_text(&json, "file_hash", hash);
  for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
    char *text = h5_reading_attribute(reading, reading->file, names[i]);
    json_text(&json, names[i], text);
    if (text != NULL && strcmp(names[i], "study") == 0) {
      sha256_of_text(text, hash);
      json_text(&json, "study_hash", hash);
    }
    free(text);
  }
  for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
    json_number(&json, numbers[i], h5_reading_attribute_number(reading, reading->file, numbers[i]));
  }
  char *resolved = h5_reading_attribute(reading, reading->file, "case");
  sha256_of_text(resolved != NULL ? resolved : "", hash);
  json_text(&json, "case", resolved);
  json_text(&json, "case_hash", hash);
  free(resolved);
  json_integer(&json, "rows", table->rows);
  json_integer(&json, "shown_rows", table->kept_count);
  json_integer(&json, "columns", table->column_count);
  json_end_object(&json);
  (void)fputs("</script>\n", out);
}

/* Has anything varied that is a number somewhere? */
static bool varies(const struct table *table) {
  for (int c = 0; c < table->column_count; c++) {
    if (strcmp(table->columns[c].role, "varied") == 0) {
      return true;
    }
  }
  return false;
}

bool table_page_write(FILE *out, const char *path, struct error *error) {
  struct table *table = calloc(1, sizeof *table);
  if (table == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the table");
  }
  struct h5_reading *reading = &table->reading;
  unsigned char *cells = NULL;
  if (h5_reading_open(reading, path, error)) {
    read_cases(table);
    find_columns(table);
  }
  if (!reading->failed) {
    choose_rows(table);
    cells = h5_reading_memory(reading, (size_t)table->kept_count, 4);
  }
  if (cells != NULL) {
    write_whole(out, table);
    table_views_page_write(out, reading, varies(table));
    for (int c = 0; c < table->column_count && !reading->failed; c++) {
      write_column(out, table, c, cells);
    }
  }
  bool good = !reading->failed;
  h5_reading_close(reading);
  for (int c = 0; c < table->column_count; c++) {
    free(table->columns[c].name);
    free(table->columns[c].role);
  }
  free(cells);
  free(table->cases);
  free(table->kept);
  free(table);
  return good;
}
