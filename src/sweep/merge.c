/* Tables of shards into one. A table describes itself, so nothing of the study is needed here. */
#include "table.h"

#include <hdf5_hl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "h5_columns.h"
#include "h5_read.h"
#include "histories.h"
#include "part_file.h"
#include "provenance.h"
#include "seal.h"
#include "table_views.h"

enum { SLAB_ROWS = 16384, NAME_LIMIT = 256, COLUMN_LIMIT = 512, ATTRIBUTE_LIMIT = 1 << 24 };

/* ---- what a table says of itself ---- */

/* A whole number that must be there. */
static int64_t read_integer(struct h5_reading *reading, const char *name) {
  double number = h5_reading_attribute_number(reading, reading->file, name);
  if (!reading->failed && !(number >= 0.0 && number < 9007199254740992.0)) {
    char words[96];
    (void)snprintf(words, sizeof words, "it is no table of a sweep (it has no '%s')", name);
    h5_reading_fail(reading, words);
  }
  return reading->failed ? 0 : (int64_t)number;
}

/* Sixteen hexadecimal digits. */
static uint64_t read_fingerprint(struct h5_reading *reading, const char *name) {
  char *text = h5_reading_attribute(reading, reading->file, name);
  char *end = NULL;
  uint64_t value = text != NULL ? strtoull(text, &end, 16) : 0;
  if (!reading->failed && (text == NULL || strlen(text) != 16 || *end != '\0')) {
    char words[96];
    (void)snprintf(words, sizeof words, "it is no table of a sweep (it has no '%s')", name);
    h5_reading_fail(reading, words);
  }
  free(text);
  return value;
}

/* Tables that are older do not say it. */
static int64_t read_side_by_side(struct h5_reading *reading) {
  double number = h5_reading_attribute_number(reading, reading->file, "side_by_side_cases");
  return number >= 0.0 && number < 9007199254740992.0 ? (int64_t)number : -1;
}

static void read_facts(struct h5_reading *reading, struct table_facts *facts) {
  *facts = (struct table_facts){.study = read_fingerprint(reading, "study_fingerprint"),
                                .shard = read_integer(reading, "shard"),
                                .shards = read_integer(reading, "shards"),
                                .failed = read_integer(reading, "failed_cases"),
                                .side_by_side = read_side_by_side(reading)};
  char *program = h5_reading_attribute(reading, reading->file, "source");
  (void)snprintf(facts->program, sizeof facts->program, "%s", program != NULL ? program : "");
  free(program);
  if (facts->program[0] == '\0' || facts->shard >= facts->shards) {
    h5_reading_fail(reading, "it is no table of a sweep");
  }
}

bool table_facts(const char *path, struct table_facts *facts, struct error *error) {
  struct h5_reading reading;
  if (h5_reading_open_sealed(&reading, path, error)) {
    read_facts(&reading, facts);
  }
  h5_reading_close(&reading);
  return !reading.failed;
}

/* ---- the parts ---- */

struct part {
  const char *path;
  struct h5_reading reading;
  struct table_facts facts;
  uint64_t arithmetic;
  int64_t case_count;
  int64_t rows;
};

struct column {
  char name[NAME_LIMIT];
  enum h5_column_kind kind;
};

struct merger {
  struct part_file table;
  struct part *parts; /* in the order of their shards */
  int part_count;
  struct column *columns;
  int column_count;
  bool mixed_arithmetic;
};

static void read_part(struct part *part) {
  struct h5_reading *reading = &part->reading;
  long rows = 0;
  char *status = h5_reading_attribute(reading, reading->file, "status");
  if (status == NULL || strcmp(status, "complete") != 0) {
    h5_reading_fail(reading, "it is no whole table of a sweep");
  }
  free(status);
  read_facts(reading, &part->facts);
  part->case_count = read_integer(reading, "case_count");
  part->arithmetic = read_fingerprint(reading, "arithmetic_fingerprint");
  hid_t cases = h5_reading_dataset(reading, reading->file, "case");
  if (cases < 0 || h5_reading_kind(reading, cases, &rows) != H5_KIND_NUMBER || rows < 1 || part->case_count < 1) {
    h5_reading_fail(reading, "it is no table of a sweep (it has no cases)");
  }
  h5_reading_shut(cases);
  part->rows = rows;
}

static bool open_part(const char *path, struct part *part, struct error *error) {
  *part = (struct part){.path = path};
  if (h5_reading_open_sealed(&part->reading, path, error)) {
    read_part(part);
  }
  return !part->reading.failed;
}

static int compare_parts(const void *a, const void *b) {
  int64_t first = ((const struct part *)a)->facts.shard;
  int64_t second = ((const struct part *)b)->facts.shard;
  return (first > second) - (first < second);
}

/* One study, one program, every shard once. */
static bool check_parts(struct merger *merger, struct error *error) {
  const struct part *first = &merger->parts[0];
  for (int i = 1; i < merger->part_count; i++) {
    const struct part *part = &merger->parts[i];
    if (strcmp(part->facts.program, first->facts.program) != 0) {
      return error_set(error, ERROR_INPUT, "%s was written by %s and %s by %s: mixed versions make no table",
                       first->path, first->facts.program, part->path, part->facts.program);
    }
    if (part->facts.study != first->facts.study || part->case_count != first->case_count) {
      return error_set(error, ERROR_INPUT, "%s and %s are of different studies", first->path, part->path);
    }
    if (part->facts.shards != first->facts.shards) {
      return error_set(error, ERROR_INPUT, "%s is one of %" PRId64 " shards, %s one of %" PRId64, first->path,
                       first->facts.shards, part->path, part->facts.shards);
    }
    merger->mixed_arithmetic = merger->mixed_arithmetic || part->arithmetic != first->arithmetic;
  }
  qsort(merger->parts, (size_t)merger->part_count, sizeof *merger->parts, compare_parts);
  for (int i = 0; i < merger->part_count; i++) {
    if (i > 0 && merger->parts[i].facts.shard == merger->parts[i - 1].facts.shard) {
      return error_set(error, ERROR_INPUT, "%s and %s are both shard %" PRId64, merger->parts[i - 1].path,
                       merger->parts[i].path, merger->parts[i].facts.shard);
    }
    if (merger->parts[i].facts.shard != i) {
      return error_set(error, ERROR_INPUT, "shard %d of %" PRId64 " is missing", i, merger->parts[0].facts.shards);
    }
  }
  if (merger->part_count != merger->parts[0].facts.shards) {
    return error_set(error, ERROR_INPUT, "shard %d of %" PRId64 " is missing", merger->part_count,
                     merger->parts[0].facts.shards);
  }
  for (int i = 0; i < merger->part_count; i++) {
    const struct part *part = &merger->parts[i];
    if (part->rows != (part->case_count - i - 1) / part->facts.shards + 1) {
      return error_set(error, ERROR_INPUT, "%s has %" PRId64 " rows, not those of its shard", part->path, part->rows);
    }
  }
  return true;
}

/* ---- columns ---- */

static enum h5_column_kind kind_of(struct h5_reading *reading, hid_t dataset) {
  hid_t type = H5Dget_type(dataset);
  H5T_class_t class = type >= 0 ? H5Tget_class(type) : H5T_NO_CLASS;
  size_t size = type >= 0 ? H5Tget_size(type) : 0;
  bool text = class == H5T_STRING && H5Tis_variable_str(type) > 0;
  if (!text && !(class == H5T_FLOAT && size == 8) && !(class == H5T_INTEGER && (size == 1 || size == 8))) {
    h5_reading_fail(reading, "a column in it is of no kind that a table has");
  }
  (void)H5Tclose(type);
  return text                 ? COLUMN_OF_TEXTS
         : class == H5T_FLOAT ? COLUMN_OF_REALS
         : size == 1          ? COLUMN_OF_BYTES
                              : COLUMN_OF_INTEGERS;
}

/* The columns of one shard, in their order. */
static void read_columns(struct part *part, struct column *columns, int *count) {
  struct h5_reading *reading = &part->reading;
  struct h5_names names;
  h5_reading_names(reading, reading->file, &names);
  *count = 0;
  for (int i = 0; i < names.count && !reading->failed; i++) {
    long rows = 0;
    hid_t dataset = h5_reading_dataset(reading, reading->file, names.items[i]);
    if (dataset < 0 && table_views_group(names.items[i])) {
      continue; /* made anew of all rows */
    }
    if (dataset < 0 || *count == COLUMN_LIMIT || strlen(names.items[i]) >= NAME_LIMIT) {
      h5_reading_fail(reading, "it holds more or other things than columns of a table");
    } else if (h5_reading_kind(reading, dataset, &rows) == H5_KIND_OTHER || rows != part->rows) {
      h5_reading_fail(reading, "its columns are not equally long");
    } else {
      struct column *column = &columns[(*count)++];
      (void)snprintf(column->name, sizeof column->name, "%s", names.items[i]);
      column->kind = kind_of(reading, dataset);
    }
    h5_reading_shut(dataset);
  }
  h5_names_free(&names);
}

static bool same_columns(const struct part *part, const struct column *columns, int count, const struct part *first,
                         const struct column *wanted, int wanted_count, struct error *error) {
  for (int i = 0; i < count || i < wanted_count; i++) {
    const char *found = i < count ? columns[i].name : "nothing";
    const char *expected = i < wanted_count ? wanted[i].name : "nothing";
    if (i >= count || i >= wanted_count || strcmp(found, expected) != 0 || columns[i].kind != wanted[i].kind) {
      return error_set(error, ERROR_INPUT, "%s and %s have not the same columns: '%.100s' against '%.100s'", part->path,
                       first->path, found, expected);
    }
  }
  return true;
}

/* The same columns in every shard. */
static bool check_columns(struct merger *merger, struct error *error) {
  struct column *others = calloc(COLUMN_LIMIT, sizeof *others);
  if (others == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the tables");
  }
  bool good = true;
  for (int p = 0; good && p < merger->part_count; p++) {
    struct part *part = &merger->parts[p];
    int count = 0;
    read_columns(part, p == 0 ? merger->columns : others, &count);
    merger->column_count = p == 0 ? count : merger->column_count;
    good = !part->reading.failed;
    good = good && (p == 0 ||
                    same_columns(part, others, count, &merger->parts[0], merger->columns, merger->column_count, error));
  }
  free(others);
  return good;
}

/* An attribute of any type, byte by byte; those of a dimension scale are made by the file library itself. */
struct attribute_copy {
  struct h5_reading *reading;
  hid_t target;
  struct h5_log *log;
  const char *const *skip;
};

static const char *const scale_attributes[] = {"CLASS", "NAME", "REFERENCE_LIST", "DIMENSION_LIST", NULL};
static const char *const own_attributes[] = {"history",      "shard", "shards", "failed_cases", "side_by_side_cases",
                                             SEAL_ATTRIBUTE, NULL};

static bool copy_value(const struct attribute_copy *copy, const char *name, hid_t from, hid_t type, hid_t space) {
  size_t size = type >= 0 ? H5Tget_size(type) : 0;
  hssize_t count = space >= 0 ? H5Sget_simple_extent_npoints(space) : -1;
  if (size == 0 || count < 0 || (size_t)count > ATTRIBUTE_LIMIT / size) {
    h5_reading_fail(copy->reading, "an attribute in it cannot be read");
    return false;
  }
  void *bytes = h5_reading_memory(copy->reading, (size_t)count + 1, size);
  hid_t to = H5I_INVALID_HID;
  bool good = bytes != NULL;
  if (good && H5Aread(from, type, bytes) < 0) {
    h5_reading_fail(copy->reading, "an attribute in it cannot be read");
    good = false;
  }
  if (good) {
    good = h5_note(copy->log, to = H5Acreate2(copy->target, name, type, space, H5P_DEFAULT, H5P_DEFAULT)) &&
           h5_note(copy->log, H5Awrite(to, type, bytes)) && h5_note(copy->log, H5Aclose(to));
    if (H5Tis_variable_str(type) > 0) {
      (void)H5Dvlen_reclaim(type, space, H5P_DEFAULT, bytes);
    }
  }
  free(bytes);
  return good;
}

static herr_t copy_attribute(hid_t source, const char *name, const H5A_info_t *info, void *context) {
  const struct attribute_copy *copy = context;
  (void)info;
  for (const char *const *skip = copy->skip; *skip; skip++) {
    if (strcmp(*skip, name) == 0) {
      return 0;
    }
  }
  hid_t from = H5Aopen(source, name, H5P_DEFAULT);
  hid_t type = from >= 0 ? H5Aget_type(from) : H5I_INVALID_HID;
  hid_t space = from >= 0 ? H5Aget_space(from) : H5I_INVALID_HID;
  bool good = !copy->log->failed && copy_value(copy, name, from, type, space);
  (void)H5Sclose(space);
  (void)H5Tclose(type);
  (void)H5Aclose(from);
  return good ? 0 : -1;
}

static void copy_attributes(struct h5_reading *reading, hid_t source, hid_t target, const char *const *skip,
                            struct h5_log *log) {
  struct attribute_copy copy = {reading, target, log, skip};
  if (!reading->failed && !log->failed &&
      H5Aiterate2(source, H5_INDEX_CRT_ORDER, H5_ITER_INC, NULL, copy_attribute, &copy) < 0 && !log->failed) {
    h5_reading_fail(reading, "its attributes cannot be read");
  }
}

static size_t size_of(enum h5_column_kind kind) {
  switch (kind) {
  case COLUMN_OF_REALS:
    return sizeof(double);
  case COLUMN_OF_INTEGERS:
    return sizeof(int64_t);
  case COLUMN_OF_BYTES:
    return 1;
  default:
    return sizeof(char *);
  }
}

static hid_t type_of(enum h5_column_kind kind, const struct h5_log *log) {
  switch (kind) {
  case COLUMN_OF_REALS:
    return H5T_NATIVE_DOUBLE;
  case COLUMN_OF_INTEGERS:
    return H5T_NATIVE_INT64;
  case COLUMN_OF_BYTES:
    return H5T_NATIVE_SCHAR;
  default:
    return log->text_type;
  }
}

/* First position of a shard whose case is not below `k`. */
static int64_t position_from(int64_t k, int64_t shard, int64_t shards) {
  return k <= shard ? 0 : (k - shard + shards - 1) / shards;
}

/* Rows of cases k to k + count - 1 of one column, from all parts, into place. */
static bool gather(struct merger *merger, const hid_t *sources, enum h5_column_kind kind, int64_t k, int count,
                   char *rows, char *piece) {
  size_t size = size_of(kind);
  int64_t shards = merger->part_count;
  for (int64_t p = 0; p < shards; p++) {
    int64_t first = position_from(k, p, shards);
    int64_t past = position_from(k + count, p, shards);
    if (past <= first) {
      continue;
    }
    if (!h5_reading_slab(&merger->parts[p].reading, sources[p], type_of(kind, &merger->table.log), first,
                         (int)(past - first), piece)) {
      return false;
    }
    for (int64_t i = first; i < past; i++) {
      memcpy(rows + (size_t)(p + i * shards - k) * size, piece + (size_t)(i - first) * size, size);
    }
  }
  return true;
}

static void release_texts(char **texts, int count) {
  for (int i = 0; i < count; i++) {
    (void)H5free_memory(texts[i]);
  }
}

/* The case numbers must be those of their places. */
static bool in_order(const int64_t *cases, int64_t k, int count) {
  for (int i = 0; i < count; i++) {
    if (cases[i] != k + i) {
      return false;
    }
  }
  return true;
}

static bool merge_rows(struct merger *merger, const struct column *column, const hid_t *sources, hid_t target,
                       char *rows, char *piece, struct error *error) {
  struct h5_log *log = &merger->table.log;
  int64_t cases = merger->parts[0].case_count;
  bool is_scale = strcmp(column->name, "case") == 0;
  for (int64_t k = 0; k < cases && !log->failed; k += SLAB_ROWS) {
    int count = (int)(cases - k < SLAB_ROWS ? cases - k : SLAB_ROWS);
    if (!gather(merger, sources, column->kind, k, count, rows, piece)) {
      return false;
    }
    if (is_scale && !in_order((const int64_t *)(void *)rows, k, count)) {
      return error_set(error, ERROR_INPUT, "a table does not hold the cases of its shard");
    }
    h5_column_put(target, column->kind, k, count, rows, log);
    if (column->kind == COLUMN_OF_TEXTS && !log->failed) {
      release_texts((char **)(void *)rows, count);
    }
  }
  return !log->failed;
}

static bool merge_column(struct merger *merger, const struct column *column, hid_t scale, hid_t *sources, char *rows,
                         char *piece, struct error *error) {
  struct h5_log *log = &merger->table.log;
  bool is_scale = strcmp(column->name, "case") == 0;
  bool good = true;
  int opened = 0;
  for (; good && opened < merger->part_count; opened++) {
    struct h5_reading *reading = &merger->parts[opened].reading;
    sources[opened] = h5_reading_dataset(reading, reading->file, column->name);
    if (sources[opened] < 0) {
      h5_reading_fail(reading, "a column is gone");
    }
    good = !reading->failed;
  }
  if (good) {
    hid_t target =
        is_scale ? scale
                 : h5_column(merger->table.file, column->name, column->kind, merger->parts[0].case_count, scale, log);
    copy_attributes(&merger->parts[0].reading, sources[0], target, scale_attributes, log);
    good = !merger->parts[0].reading.failed && merge_rows(merger, column, sources, target, rows, piece, error);
    if (!is_scale) {
      h5_close_dataset(target, log);
    }
  }
  for (int p = 0; p < opened; p++) {
    h5_reading_shut(sources[p]);
  }
  return good && !log->failed;
}

static bool merge_columns(struct merger *merger, struct error *error) {
  struct h5_log *log = &merger->table.log;
  hid_t *sources = calloc((size_t)merger->part_count, sizeof *sources);
  /* As wide as the widest kind: numbers and pointers to texts alike. */
  double *rows = calloc(SLAB_ROWS, sizeof *rows);
  double *piece = calloc(SLAB_ROWS, sizeof *piece);
  bool good = sources && rows && piece;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the table");
  } else {
    hid_t scale =
        h5_column(merger->table.file, "case", COLUMN_OF_INTEGERS, merger->parts[0].case_count, H5I_INVALID_HID, log);
    for (int i = 0; good && i < merger->column_count; i++) {
      good = merge_column(merger, &merger->columns[i], scale, sources, (char *)rows, (char *)piece, error);
    }
    h5_close_dataset(scale, log);
  }
  free(sources);
  free(rows);
  free(piece);
  return good;
}

static bool merge_into(struct merger *merger, const char *path, const char *command, int64_t *failed,
                       struct error *error) {
  struct h5_log *log = &merger->table.log;
  hid_t file = merger->table.file;
  int64_t side_by_side = 0;
  *failed = 0;
  for (int p = 0; p < merger->part_count; p++) {
    *failed += merger->parts[p].facts.failed;
    int64_t more = merger->parts[p].facts.side_by_side;
    side_by_side = side_by_side < 0 || more < 0 ? -1 : side_by_side + more;
  }
  struct h5_reading *first = &merger->parts[0].reading;
  copy_attributes(first, first->file, file, own_attributes, log);
  char *earlier = h5_reading_attribute(first, first->file, "history");
  provenance_history(file, command, earlier, log);
  free(earlier);
  h5_integer_attribute(file, "shard", 0, log);
  h5_integer_attribute(file, "shards", 1, log);
  h5_integer_attribute(file, "merged_shards", merger->part_count, log);
  if (merger->mixed_arithmetic) {
    h5_text_attribute(file, "arithmetic",
                      "mixed: the shards ran on machines whose mathematics libraries round differently", log);
  }
  h5_flush_file(file, log);
  bool good = !first->failed && part_good(&merger->table, error) && merge_columns(merger, error);
  h5_integer_attribute(file, "failed_cases", *failed, log);
  if (side_by_side >= 0) {
    h5_integer_attribute(file, "side_by_side_cases", side_by_side, log);
  }
  good = good && table_views_write(file, path, merger->parts[0].case_count, log, error);
  return part_good(&merger->table, error) && good;
}

/* The shards first: nothing is made of what cannot be read. */
static bool open_parts(struct merger *merger, const char *const *paths, int count, struct error *error) {
  for (int i = 0; i < count; i++) {
    merger->part_count++;
    if (!open_part(paths[i], &merger->parts[i], error)) {
      return false;
    }
  }
  return check_parts(merger, error) && check_columns(merger, error);
}

/* What the shards kept of time histories: each has those of its own cases. */
static bool merge_histories(const struct merger *merger, const char *path, int64_t *count, struct error *error) {
  char to[HISTORIES_PATH];
  *count = 0;
  bool good = histories_folder(path, to, error);
  for (int p = 0; good && p < merger->part_count; p++) {
    const struct part *part = &merger->parts[p];
    char from[HISTORIES_PATH];
    good = histories_folder(part->path, from, error) &&
           histories_gather(from, to, part->facts.shard, part->facts.shards, part->case_count, count, error);
  }
  return good;
}

bool table_merge(const char *path, const char *const *parts, int part_count, const char *command,
                 struct merge_report *report, struct error *error) {
  struct merger merger = {.parts = calloc((size_t)part_count, sizeof *merger.parts),
                          .columns = calloc(COLUMN_LIMIT, sizeof *merger.columns)};
  bool good = merger.parts != NULL && merger.columns != NULL;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the tables");
  }
  if (good && open_parts(&merger, parts, part_count, error) && part_open(&merger.table, path, error)) {
    good = merge_into(&merger, path, command, &report->failed, error) &&
           merge_histories(&merger, path, &report->histories, error);
    report->cases = merger.parts[0].case_count;
    report->mixed_arithmetic = merger.mixed_arithmetic;
    good = part_close(&merger.table, good ? DRAFT_NAME : DRAFT_REMOVE, error);
  } else {
    good = false;
  }
  for (int p = 0; p < merger.part_count; p++) {
    h5_reading_close(&merger.parts[p].reading);
  }
  free(merger.parts);
  free(merger.columns);
  return good;
}
