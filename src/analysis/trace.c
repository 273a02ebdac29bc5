#include "trace.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_file.h"
#include "registry.h"
#include "text.h"

enum { NUMBER_LENGTH = 64, FILE_LIMIT = 1 << 28 };

struct reading {
  struct trace *trace;
  const char *at;
  const char *end;
  char separator;
  int line;
  int capacity;
  struct error *error;
};

static bool fail(const struct reading *reading, int column, const char *found, size_t length, const char *expected) {
  char text[48];
  (void)snprintf(text, sizeof text, "%.*s", (int)(length < 40 ? length : 40), found);
  return error_at(reading->error, reading->trace->file, reading->line, column, "found '%s', expected %s", text,
                  expected);
}

/* The next line that says something. */
static bool next_line(struct reading *reading, const char **line, const char **stop) {
  while (reading->at < reading->end) {
    const char *start = reading->at;
    const char *newline = memchr(start, '\n', (size_t)(reading->end - start));
    reading->at = newline != NULL ? newline + 1 : reading->end;
    *stop = newline != NULL ? newline : reading->end;
    reading->line++;
    if (*stop > start && (*stop)[-1] == '\r') {
      (*stop)--;
    }
    const char *first = start;
    while (first < *stop && (*first == ' ' || *first == '\t')) {
      first++;
    }
    if (first < *stop && *first != '#') {
      *line = start;
      return true;
    }
  }
  return false;
}

/* The next cell of a line without the blanks and quotes around it; `*at` moves behind its separator, past `stop` at the
 * end. */
static void next_cell(const struct reading *reading, const char **at, const char *stop, const char **cell,
                      size_t *length) {
  const char *start = *at;
  const char *last = memchr(start, reading->separator, (size_t)(stop - start));
  *at = last != NULL ? last + 1 : stop + 1;
  last = last != NULL ? last : stop;
  while (start < last && (*start == ' ' || *start == '"')) {
    start++;
  }
  while (last > start && (last[-1] == ' ' || last[-1] == '"')) {
    last--;
  }
  *cell = start;
  *length = (size_t)(last - start);
}

static void copy_name(char *to, const char *from, size_t length) {
  length = length < TRACE_NAME - 1 ? length : TRACE_NAME - 1;
  memcpy(to, from, length);
  to[length] = '\0';
}

/* "p_A [bar]" into name and unit. */
static void read_heading(struct trace *trace, const char *cell, size_t length) {
  const char *open = memchr(cell, '[', length);
  size_t name = open != NULL ? (size_t)(open - cell) : length;
  char *unit = trace->units[trace->column_count];
  unit[0] = '\0';
  if (open != NULL) {
    const char *close = memchr(open, ']', length - name);
    copy_name(unit, open + 1, close != NULL ? (size_t)(close - open) - 1 : length - name - 1);
  }
  while (name > 0 && cell[name - 1] == ' ') {
    name--;
  }
  copy_name(trace->names[trace->column_count++], cell, name);
}

static char separator_of(const char *line, const char *stop) {
  size_t length = (size_t)(stop - line);
  return memchr(line, ';', length) != NULL ? ';' : memchr(line, '\t', length) != NULL ? '\t' : ',';
}

static bool read_headings(struct reading *reading) {
  struct trace *trace = reading->trace;
  const char *line;
  const char *stop;
  if (reading->end - reading->at >= 3 && memcmp(reading->at, "\xEF\xBB\xBF", 3) == 0) {
    reading->at += 3; /* a byte-order mark */
  }
  if (!next_line(reading, &line, &stop)) {
    return error_at(reading->error, trace->file, 1, 1, "the trace is empty");
  }
  reading->separator = separator_of(line, stop);
  for (const char *at = line; at <= stop;) {
    const char *cell;
    size_t length;
    next_cell(reading, &at, stop, &cell, &length);
    if (trace->column_count == TRACE_COLUMNS) {
      return error_at(reading->error, trace->file, reading->line, (int)(cell - line) + 1,
                      "a trace has at most %d columns", TRACE_COLUMNS);
    }
    read_heading(trace, cell, length);
  }
  return true;
}

static bool grow(struct reading *reading) {
  if (reading->trace->count < reading->capacity) {
    return true;
  }
  reading->capacity = reading->capacity > 0 ? 2 * reading->capacity : 1024;
  for (int c = 0; c < reading->trace->column_count; c++) {
    double *larger = realloc(reading->trace->values[c], (size_t)reading->capacity * sizeof *larger);
    if (larger == NULL) {
      return error_set(reading->error, ERROR_MEMORY, "no memory for %s", reading->trace->file);
    }
    reading->trace->values[c] = larger;
  }
  return true;
}

static bool read_number(const struct reading *reading, const char *cell, size_t length, double *value) {
  char text[NUMBER_LENGTH];
  if (length == 0) {
    *value = NAN;
    return true;
  }
  if (length >= sizeof text) {
    return false;
  }
  memcpy(text, cell, length);
  text[length] = '\0';
  char *comma = reading->separator != ',' ? strchr(text, ',') : NULL;
  if (comma != NULL) {
    *comma = '.';
  }
  return text_number_length(text) == length && text_number(text, length, value);
}

static bool read_rows(struct reading *reading) {
  struct trace *trace = reading->trace;
  const char *line;
  const char *stop;
  while (next_line(reading, &line, &stop)) {
    if (!grow(reading)) {
      return false;
    }
    const char *at = line;
    for (int c = 0; c < trace->column_count; c++) {
      const char *cell = stop;
      size_t length = 0;
      if (at <= stop) {
        next_cell(reading, &at, stop, &cell, &length);
      } else if (c < trace->column_count) {
        return error_at(reading->error, trace->file, reading->line, (int)(stop - line) + 1,
                        "the line has %d cells, the first line %d", c, trace->column_count);
      }
      if (!read_number(reading, cell, length, &trace->values[c][trace->count])) {
        return fail(reading, (int)(cell - line) + 1, cell, length, "a number");
      }
    }
    if (at <= stop) {
      return error_at(reading->error, trace->file, reading->line, (int)(at - line) + 1,
                      "the line has more cells than the first line, %d", trace->column_count);
    }
    trace->count++;
  }
  return trace->count >= 2 || error_at(reading->error, trace->file, reading->line, 1,
                                       "found %d lines of numbers, expected two at least", trace->count);
}

bool trace_read_text(const char *name, const char *text, size_t length, struct trace *trace, struct error *error) {
  memset(trace, 0, sizeof *trace);
  (void)snprintf(trace->file, sizeof trace->file, "%s", name);
  struct reading reading = {trace, text, text + length, ',', 0, 0, error};
  if (read_headings(&reading) && read_rows(&reading)) {
    return true;
  }
  trace_free(trace);
  return false;
}

bool trace_read(const char *path, struct trace *trace, struct error *error) {
  const char *why = "";
  size_t length = 0;
  char *text = input_read(path, FILE_LIMIT, &length, NULL, &why);
  bool good = text != NULL || error_at(error, path, 0, 0, "cannot be read: %s", why);
  good = good && (length <= FILE_LIMIT || error_at(error, path, 0, 0, "larger than 256 MiB"));
  good = good && trace_read_text(path, text, length, trace, error);
  free(text);
  return good;
}

void trace_free(struct trace *trace) {
  for (int c = 0; c < trace->column_count; c++) {
    free(trace->values[c]);
    trace->values[c] = NULL;
  }
  trace->column_count = 0;
}

static const char *name_at(const void *context, int index) {
  return ((const struct trace *)context)->names[index];
}

int trace_column(const struct trace *trace, const char *name, struct error *error) {
  for (int c = 0; c < trace->column_count; c++) {
    if (strcmp(trace->names[c], name) == 0) {
      return c;
    }
  }
  const char *near = registry_nearest(name, trace->column_count, name_at, trace);
  error_set(error, ERROR_INPUT, "%s has no column '%s'%s%s%s", trace->file, name,
            near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
  return -1;
}
