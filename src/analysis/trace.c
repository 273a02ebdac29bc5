#include "trace.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "columns.h"
#include "input_file.h"
#include "registry.h"
#include "text.h"

enum { FILE_LIMIT = 1 << 28, FIRST_ROOM = 1024 };

/* ---- columns of text ---- */

static bool take_headings(const struct columns *columns, struct trace *trace) {
  trace->columns = calloc((size_t)columns->count, sizeof *trace->columns);
  if (trace->columns == NULL) {
    return false;
  }
  trace->column_count = columns->count;
  trace->heading_line = columns->heading_line;
  for (int c = 0; c < columns->count; c++) {
    struct trace_column *column = &trace->columns[c];
    const struct heading *heading = &columns->headings[c];
    (void)snprintf(column->name, sizeof column->name, "%s", heading->name);
    (void)snprintf(column->unit, sizeof column->unit, "%s", heading->unit);
    (void)snprintf(column->whole, sizeof column->whole, "%s", heading->whole);
    column->place = heading->column;
  }
  return true;
}

static bool grow(void **list, int room, size_t size) {
  void *larger = realloc(*list, (size_t)room * size);
  if (larger == NULL) {
    return false;
  }
  *list = larger;
  return true;
}

/* Room for more rows in every column that keeps them. */
static bool make_room(struct trace *trace, int *room) {
  if (trace->count < *room) {
    return true;
  }
  *room = *room > 0 ? 2 * *room : FIRST_ROOM;
  bool good = grow((void **)&trace->lines, *room, sizeof *trace->lines);
  for (int c = 0; good && c < trace->column_count; c++) {
    struct trace_column *column = &trace->columns[c];
    good = grow((void **)&column->values, *room, sizeof *column->values) &&
           (column->dates == NULL || grow((void **)&column->dates, *room, sizeof *column->dates));
  }
  return good;
}

/* The first cell of a column that is no gap says what the column holds. */
static bool find_kind(struct trace_column *column, enum trace_kind kind, int room) {
  if (column->kind != TRACE_GAPS || kind == TRACE_GAPS) {
    return true;
  }
  column->kind = kind;
  if (kind == TRACE_INSTANTS) {
    column->dates = calloc((size_t)room + 1, sizeof *column->dates);
    return column->dates != NULL;
  }
  return true;
}

static void note_fault(struct columns *columns, struct trace_column *column, const struct cell *cell) {
  if (column->fault.line > 0) {
    return;
  }
  column->fault.line = columns->line.number;
  column->fault.column = line_column(&columns->line, cell->text);
  struct cell shown = *cell;
  shown.length = cell->length < sizeof column->fault.found - 8 ? cell->length : sizeof column->fault.found - 8;
  (void)cell_copy(&shown, column->fault.found, sizeof column->fault.found);
}

/* One cell into its column. */
static bool take_cell(struct columns *columns, struct trace *trace, int c, int room) {
  struct trace_column *column = &trace->columns[c];
  const struct cell *cell = &columns->cells[c];
  struct instant instant = {0};
  double value;
  enum trace_kind kind = TRACE_WORDS;
  enum cell_kind read = cell_read(cell, columns->decimal, &value);
  if (read == CELL_NUMBER && columns->decimal == DECIMAL_UNKNOWN) {
    columns->decimal = cell_decimal(cell);
  }
  if (read != CELL_TEXT) {
    kind = read == CELL_NUMBER ? TRACE_NUMBERS : TRACE_GAPS;
  } else if (instant_read(cell->text, cell->length, &instant)) {
    kind = TRACE_INSTANTS;
    value = instant.seconds;
  }
  if (!find_kind(column, kind, room)) {
    return false;
  }
  bool fits = kind == column->kind || kind == TRACE_GAPS;
  if (!fits || kind == TRACE_WORDS) {
    note_fault(columns, column, cell);
  }
  column->values[trace->count] = fits ? value : NAN;
  if (column->dates != NULL) {
    column->dates[trace->count] = instant.date;
  }
  return true;
}

static bool take_rows(struct columns *columns, struct trace *trace) {
  int room = 0;
  enum columns_step step;
  while ((step = columns_next(columns)) == COLUMNS_ROW) {
    bool good = make_room(trace, &room);
    for (int c = 0; good && c < trace->column_count; c++) {
      good = take_cell(columns, trace, c, room);
    }
    if (!good) {
      return error_set(columns->error, ERROR_MEMORY, "no memory for %s", trace->file);
    }
    trace->lines[trace->count++] = columns->line.number;
  }
  int last = columns->line.number > 0 ? columns->line.number : 1;
  return step == COLUMNS_END &&
         (trace->count >= 2 || error_at(columns->error, trace->file, last, 1,
                                        "found %d lines of numbers, expected two at least", trace->count));
}

bool trace_read_text(const char *name, const char *text, size_t length, struct trace *trace, struct error *error) {
  struct columns columns;
  memset(trace, 0, sizeof *trace);
  trace->time_column = -1;
  (void)snprintf(trace->file, sizeof trace->file, "%s", name);
  bool good = columns_open(&columns, COLUMNS_OF_A_LOGGER, trace->file, text, length, error);
  if (good && !take_headings(&columns, trace)) {
    good = error_set(error, ERROR_MEMORY, "no memory for %s", name);
  }
  good = good && take_rows(&columns, trace);
  trace->told = columns.told;
  columns_close(&columns);
  if (!good) {
    trace_free(trace);
  }
  return good;
}

/* Where an HDF5 file may begin: at its start, or behind a block of somebody else's (HDF5 file format, superblock). */
static bool is_hdf5(const char *bytes, size_t length) {
  static const char signature[] = "\x89HDF\r\n\x1a\n";
  enum { SIGNATURE = (int)sizeof signature - 1, FIRST = 512, LAST = 4096 };
  for (size_t at = 0; at <= LAST && at + SIGNATURE <= length; at = at == 0 ? FIRST : 2 * at) {
    if (memcmp(bytes + at, signature, SIGNATURE) == 0) {
      return true;
    }
  }
  return false;
}

/* Files that are no text, by how they begin, and what to do with them. */
static const char *advice_on(const char *bytes, size_t length) {
  static const struct {
    const char *start;
    size_t size;
    const char *advice;
  } kinds[] = {
      {"CDF\x01", 4, "a classic netCDF file; 'nccopy -k nc4 IN OUT' makes one of netCDF-4, which is read"},
      {"CDF\x02", 4, "a classic netCDF file; 'nccopy -k nc4 IN OUT' makes one of netCDF-4, which is read"},
      {"CDF\x05", 4, "a classic netCDF file; 'nccopy -k nc4 IN OUT' makes one of netCDF-4, which is read"},
      {"MDF ", 4, "an MDF file; export it to CSV or HDF5, which are read (docs/compare.md)"},
      {"UnFinMF ", 8, "an MDF file that was not finished; export it to CSV or HDF5, which are read (docs/compare.md)"},
      {"PK\x03\x04", 4, "a zip archive, such as a spreadsheet; save it as CSV"},
      {"\xD0\xCF\x11\xE0", 4, "a spreadsheet or document in binary form; save it as CSV"},
      {"\x1F\x8B", 2, "compressed by gzip; unpack it first"},
  };
  for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
    if (length >= kinds[i].size && memcmp(bytes, kinds[i].start, kinds[i].size) == 0) {
      return kinds[i].advice;
    }
  }
  return NULL;
}

bool trace_read(const char *path, const struct trace_wish *wish, struct trace *trace, struct error *error) {
  const char *why = "";
  size_t length = 0;
  memset(trace, 0, sizeof *trace);
  char *text = input_read(path, FILE_LIMIT, &length, NULL, &why);
  if (text == NULL) {
    return error_at(error, path, 0, 0, "cannot be read: %s", why);
  }
  if (is_hdf5(text, length)) {
    free(text);
    return trace_read_h5(path, wish, trace, error);
  }
  const char *advice = advice_on(text, length);
  bool good = advice == NULL || error_at(error, path, 0, 0, "found %s", advice);
  good = good && (length <= FILE_LIMIT || error_at(error, path, 0, 0, "larger than 256 MiB"));
  good = good && trace_read_text(path, text, length, trace, error);
  free(text);
  return good;
}

void trace_free(struct trace *trace) {
  for (int c = 0; c < trace->column_count; c++) {
    free(trace->columns[c].values);
    free(trace->columns[c].dates);
  }
  free(trace->columns);
  free(trace->lines);
  trace->columns = NULL;
  trace->lines = NULL;
  trace->column_count = 0;
}

/* ---- asking ---- */

static const char *name_at(const void *context, int index) {
  return ((const struct trace *)context)->columns[index].name;
}

static const char *bare_name_at(const void *context, int index) {
  return ((const struct trace *)context)->columns[index].whole;
}

int trace_column(const struct trace *trace, const char *name, struct error *error) {
  for (int c = 0; c < trace->column_count; c++) {
    if (strcmp(trace->columns[c].name, name) == 0) {
      return c;
    }
  }
  int found = -1;
  for (int c = 0; c < trace->column_count; c++) {
    if (strcmp(trace->columns[c].whole, name) != 0) {
      continue;
    }
    if (found >= 0 && trace->lines == NULL) {
      error_set(error, ERROR_INPUT, "%s has '%s' in several places, such as '%s' and '%s'; which?", trace->file, name,
                trace->columns[found].name, trace->columns[c].name);
      return -1;
    }
    found = found >= 0 ? found : c;
  }
  if (found >= 0) {
    return found;
  }
  const char *near = registry_nearest(name, trace->column_count, name_at, trace);
  near = near != NULL ? near : registry_nearest(name, trace->column_count, bare_name_at, trace);
  error_set(error, ERROR_INPUT, "%s has no column '%s'%s%s%s", trace->file, name,
            near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
  return -1;
}

bool trace_check(const struct trace *trace, int column, enum trace_kind kind, struct error *error) {
  const struct trace_column *own = &trace->columns[column];
  if (own->other_count != 0) {
    return error_at(error, trace->file, 0, 0, "'%s' has %ld samples, the others have %d: they go by different clocks",
                    own->name, own->other_count, trace->count);
  }
  if (own->fault.line > 0) {
    return error_at(error, trace->file, own->fault.line, own->fault.column, "found '%s', expected %s", own->fault.found,
                    own->kind == TRACE_INSTANTS ? "a date or a time of day" : "a number");
  }
  if (kind == TRACE_NUMBERS && own->kind == TRACE_INSTANTS) {
    return error_at(error, trace->file, trace->heading_line, own->place,
                    "column '%s' holds dates or times of day, expected numbers", own->name);
  }
  return true;
}
