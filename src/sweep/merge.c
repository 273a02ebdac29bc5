/* Tables of shards into one. A table describes itself, so nothing of the study is needed here. */
#include "table.h"

#include <hdf5_hl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "h5_columns.h"
#include "part_file.h"
#include "provenance.h"

enum { SLAB_ROWS = 16384, NAME_LIMIT = 256, COLUMN_LIMIT = 512 };

/* ---- reading attributes ---- */

/* A text attribute, to be freed; NULL if there is none. */
static char *read_text(hid_t object, const char *name, const struct h5_log *log) {
  if (H5Aexists(object, name) <= 0) {
    return NULL;
  }
  hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
  char *text = NULL;
  char *copy = NULL;
  if (attribute >= 0 && H5Aread(attribute, log->text_type, &text) >= 0 && text) {
    copy = strdup(text);
    (void)H5free_memory(text);
  }
  if (attribute >= 0) {
    (void)H5Aclose(attribute);
  }
  return copy;
}

static bool read_integer(hid_t object, const char *name, int64_t *value) {
  if (H5Aexists(object, name) <= 0) {
    return false;
  }
  hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
  bool good = attribute >= 0 && H5Aread(attribute, H5T_NATIVE_INT64, value) >= 0;
  if (attribute >= 0) {
    (void)H5Aclose(attribute);
  }
  return good;
}

static uint64_t read_fingerprint(hid_t file, const char *name, const struct h5_log *log) {
  char *text = read_text(file, name, log);
  uint64_t value = text ? strtoull(text, NULL, 16) : 0;
  free(text);
  return value;
}

static bool read_facts(hid_t file, struct table_facts *facts, const struct h5_log *log) {
  char *program = read_text(file, "source", log);
  *facts = (struct table_facts){.study = read_fingerprint(file, "study_fingerprint", log)};
  (void)snprintf(facts->program, sizeof facts->program, "%s", program ? program : "");
  bool good = program && read_integer(file, "shard", &facts->shard) && read_integer(file, "shards", &facts->shards) &&
              read_integer(file, "failed_cases", &facts->failed) && facts->shards > 0;
  free(program);
  return good;
}

bool table_facts(const char *path, struct table_facts *facts) {
  struct h5_log log;
  h5_start(&log);
  hid_t file = H5Fopen(path, H5F_ACC_RDONLY, H5P_DEFAULT);
  bool good = file >= 0 && read_facts(file, facts, &log);
  if (file >= 0) {
    (void)H5Fclose(file);
  }
  h5_stop(&log);
  return good;
}

/* ---- the parts ---- */

struct part {
  const char *path;
  hid_t file;
  struct table_facts facts;
  uint64_t arithmetic;
  int64_t case_count;
  int64_t rows;
};

struct column {
  char name[NAME_LIMIT];
  enum h5_kind kind;
};

struct merger {
  struct part_file table;
  struct part *parts; /* in the order of their shards */
  int part_count;
  struct column columns[COLUMN_LIMIT];
  int column_count;
  bool mixed_arithmetic;
};

static bool open_part(struct merger *merger, const char *path, struct part *part, struct error *error) {
  const struct h5_log *log = &merger->table.log;
  *part = (struct part){.path = path, .file = H5Fopen(path, H5F_ACC_RDONLY, H5P_DEFAULT)};
  if (part->file < 0) {
    return error_set(error, ERROR_INPUT, "%s cannot be read as HDF5", path);
  }
  char *status = read_text(part->file, "status", log);
  bool whole = status && strcmp(status, "complete") == 0;
  free(status);
  if (!read_facts(part->file, &part->facts, log) || !whole ||
      !read_integer(part->file, "case_count", &part->case_count) || part->case_count < 1 || part->facts.shard < 0 ||
      H5Lexists(part->file, "case", H5P_DEFAULT) <= 0) {
    return error_set(error, ERROR_INPUT, "%s is no whole table of a sweep", path);
  }
  part->arithmetic = read_fingerprint(part->file, "arithmetic_fingerprint", log);
  hid_t cases = H5Dopen2(part->file, "case", H5P_DEFAULT);
  hid_t space = H5Dget_space(cases);
  part->rows = (int64_t)H5Sget_simple_extent_npoints(space);
  (void)H5Sclose(space);
  (void)H5Dclose(cases);
  return true;
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

static herr_t note_column(hid_t file, const char *name, const H5L_info_t *info, void *context) {
  struct merger *merger = context;
  (void)info;
  hid_t dataset = H5Dopen2(file, name, H5P_DEFAULT);
  if (dataset < 0) {
    return 0;
  }
  hid_t type = H5Dget_type(dataset);
  if (merger->column_count < COLUMN_LIMIT && strlen(name) < NAME_LIMIT) {
    struct column *column = &merger->columns[merger->column_count++];
    (void)snprintf(column->name, sizeof column->name, "%s", name);
    column->kind = H5Tget_class(type) == H5T_FLOAT    ? H5_KIND_REAL
                   : H5Tget_class(type) == H5T_STRING ? H5_KIND_TEXT
                   : H5Tget_size(type) == 1           ? H5_KIND_BYTE
                                                      : H5_KIND_INTEGER;
  }
  (void)H5Tclose(type);
  (void)H5Dclose(dataset);
  return 0;
}

/* An attribute of any type, byte by byte; those of a dimension scale are made by the file library itself. */
struct attribute_copy {
  hid_t target;
  struct h5_log *log;
  const char *const *skip;
};

static const char *const scale_attributes[] = {"CLASS", "NAME", "REFERENCE_LIST", "DIMENSION_LIST", NULL};
static const char *const own_attributes[] = {"history", "shard", "shards", "failed_cases", NULL};

static herr_t copy_attribute(hid_t source, const char *name, const H5A_info_t *info, void *context) {
  const struct attribute_copy *copy = context;
  (void)info;
  for (const char *const *skip = copy->skip; *skip; skip++) {
    if (strcmp(*skip, name) == 0) {
      return 0;
    }
  }
  hid_t from = H5Aopen(source, name, H5P_DEFAULT);
  hid_t type = H5Aget_type(from);
  hid_t space = H5Aget_space(from);
  hssize_t count = H5Sget_simple_extent_npoints(space);
  void *bytes = count >= 0 ? calloc((size_t)count + 1, H5Tget_size(type)) : NULL;
  hid_t to = H5Acreate2(copy->target, name, type, space, H5P_DEFAULT, H5P_DEFAULT);
  if (bytes && h5_note(copy->log, to)) {
    h5_note(copy->log, H5Aread(from, type, bytes));
    h5_note(copy->log, H5Awrite(to, type, bytes));
    if (H5Tis_variable_str(type) > 0) {
      (void)H5Dvlen_reclaim(type, space, H5P_DEFAULT, bytes);
    }
    h5_note(copy->log, H5Aclose(to));
  }
  free(bytes);
  (void)H5Sclose(space);
  (void)H5Tclose(type);
  (void)H5Aclose(from);
  return 0;
}

static void copy_attributes(hid_t source, hid_t target, const char *const *skip, struct h5_log *log) {
  struct attribute_copy copy = {target, log, skip};
  h5_note(log, H5Aiterate2(source, H5_INDEX_CRT_ORDER, H5_ITER_INC, NULL, copy_attribute, &copy));
}

static size_t size_of(enum h5_kind kind) {
  switch (kind) {
  case H5_KIND_REAL:
    return sizeof(double);
  case H5_KIND_INTEGER:
    return sizeof(int64_t);
  case H5_KIND_BYTE:
    return 1;
  default:
    return sizeof(char *);
  }
}

/* First position of a shard whose case is not below `k`. */
static int64_t position_from(int64_t k, int64_t shard, int64_t shards) {
  return k <= shard ? 0 : (k - shard + shards - 1) / shards;
}

/* Rows of cases k to k + count - 1 of one column, from all parts, into place. */
static void gather(struct merger *merger, const hid_t *sources, enum h5_kind kind, int64_t k, int count, char *rows,
                   char *piece) {
  size_t size = size_of(kind);
  int64_t shards = merger->part_count;
  for (int64_t p = 0; p < shards; p++) {
    int64_t first = position_from(k, p, shards);
    int64_t past = position_from(k + count, p, shards);
    if (past <= first) {
      continue;
    }
    h5_column_get(sources[p], kind, first, (int)(past - first), piece, &merger->table.log);
    for (int64_t i = first; i < past; i++) {
      memcpy(rows + (size_t)(p + i * shards - k) * size, piece + (size_t)(i - first) * size, size);
    }
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

static bool merge_column(struct merger *merger, const struct column *column, hid_t scale, hid_t *sources, char *rows,
                         char *piece, struct error *error) {
  struct h5_log *log = &merger->table.log;
  int64_t cases = merger->parts[0].case_count;
  bool is_scale = strcmp(column->name, "case") == 0;
  bool good = true;
  for (int p = 0; p < merger->part_count; p++) {
    sources[p] = H5Dopen2(merger->parts[p].file, column->name, H5P_DEFAULT);
    if (!h5_note(log, sources[p])) {
      return false;
    }
  }
  hid_t target = is_scale ? scale : h5_column(merger->table.file, column->name, column->kind, cases, scale, log);
  copy_attributes(sources[0], target, scale_attributes, log);
  for (int64_t k = 0; good && k < cases && !log->failed; k += SLAB_ROWS) {
    int count = (int)(cases - k < SLAB_ROWS ? cases - k : SLAB_ROWS);
    gather(merger, sources, column->kind, k, count, rows, piece);
    if (is_scale && !in_order((const int64_t *)(void *)rows, k, count)) {
      good = error_set(error, ERROR_INPUT, "a table does not hold the cases of its shard");
    }
    h5_column_put(target, column->kind, k, count, rows, log);
    if (column->kind == H5_KIND_TEXT) {
      h5_column_release(count, (char **)(void *)rows, log);
    }
  }
  for (int p = 0; p < merger->part_count; p++) {
    h5_note(log, H5Dclose(sources[p]));
  }
  if (!is_scale) {
    h5_close_dataset(target, log);
  }
  return good && !log->failed;
}

static bool merge_columns(struct merger *merger, struct error *error) {
  struct h5_log *log = &merger->table.log;
  hid_t first = merger->parts[0].file;
  h5_note(log, H5Literate(first, H5_INDEX_CRT_ORDER, H5_ITER_INC, NULL, note_column, merger));
  hid_t *sources = calloc((size_t)merger->part_count, sizeof *sources);
  /* As wide as the widest kind: numbers and pointers to texts alike. */
  double *rows = calloc(SLAB_ROWS, sizeof *rows);
  double *piece = calloc(SLAB_ROWS, sizeof *piece);
  bool good = sources && rows && piece;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the table");
  } else {
    hid_t scale =
        h5_column(merger->table.file, "case", H5_KIND_INTEGER, merger->parts[0].case_count, H5I_INVALID_HID, log);
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

static bool merge_into(struct merger *merger, const char *command, int64_t *failed, struct error *error) {
  struct h5_log *log = &merger->table.log;
  hid_t file = merger->table.file;
  *failed = 0;
  for (int p = 0; p < merger->part_count; p++) {
    *failed += merger->parts[p].facts.failed;
  }
  copy_attributes(merger->parts[0].file, file, own_attributes, log);
  char *earlier = read_text(merger->parts[0].file, "history", log);
  provenance_history(file, command, earlier, log);
  free(earlier);
  h5_integer_attribute(file, "shard", 0, log);
  h5_integer_attribute(file, "shards", 1, log);
  h5_integer_attribute(file, "merged_shards", merger->part_count, log);
  if (merger->mixed_arithmetic) {
    h5_text_attribute(file, "arithmetic",
                      "mixed: the shards ran on machines whose mathematics libraries round differently", log);
  }
  bool good = part_good(&merger->table, error) && merge_columns(merger, error);
  h5_integer_attribute(file, "failed_cases", *failed, log);
  return part_good(&merger->table, error) && good;
}

bool table_merge(const char *path, const char *const *parts, int part_count, const char *command,
                 struct merge_report *report, struct error *error) {
  struct merger *merger = calloc(1, sizeof *merger);
  struct part *opened = calloc((size_t)part_count, sizeof *opened);
  bool good = merger && opened;
  if (!good) {
    error_set(error, ERROR_MEMORY, "no memory for the tables");
  }
  for (int i = 0; good && i < part_count; i++) {
    if (strcmp(parts[i], path) == 0) {
      good = error_set(error, ERROR_USAGE, "%s would be overwritten while it is read", path);
    }
  }
  good = good && part_open(&merger->table, path, error);
  if (good) {
    merger->parts = opened;
    while (good && merger->part_count < part_count) {
      good = open_part(merger, parts[merger->part_count], &opened[merger->part_count], error);
      merger->part_count++;
    }
    good = good && check_parts(merger, error) && merge_into(merger, command, &report->failed, error);
    report->cases = opened[0].case_count;
    report->mixed_arithmetic = merger->mixed_arithmetic;
    for (int p = 0; p < merger->part_count; p++) {
      if (opened[p].file >= 0) {
        (void)H5Fclose(opened[p].file);
      }
    }
    good = part_close(&merger->table, good, error);
  }
  free(opened);
  free(merger);
  return good;
}
