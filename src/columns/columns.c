#include "columns.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "unit_words.h"

bool columns_open(struct columns *columns, enum columns_kind kind, const char *file, const char *bytes, size_t length,
                  struct error *error) {
  *columns = (struct columns){.file = file, .kind = kind, .separator = ',', .error = error};
  if (!decode_text(bytes, length, &columns->decoded)) {
    return error_set(error, ERROR_MEMORY, "no memory for %s", file);
  }
  if (!dialect_find(columns)) {
    return false;
  }
  return columns->count > 0 ||
         error_at(error, file, 1, 1,
                  "nothing is written here; expected a line 'NAME [UNIT], NAME [UNIT]' and numbers below it");
}

void columns_close(struct columns *columns) {
  free(columns->decoded.own);
  free(columns->headings);
  free(columns->cells);
  columns->decoded.own = NULL;
  columns->headings = NULL;
  columns->cells = NULL;
}

bool columns_fail_at(struct columns *columns, const char *letter, const char *format, ...) {
  char words[512];
  va_list arguments;
  va_start(arguments, format);
  (void)vsnprintf(words, sizeof words, format, arguments);
  va_end(arguments);
  return error_at(columns->error, columns->file, columns->line.number, line_column(&columns->line, letter), "%s",
                  words);
}

bool columns_fail_at_heading(struct columns *columns, int index, const char *format, ...) {
  char words[512];
  va_list arguments;
  va_start(arguments, format);
  (void)vsnprintf(words, sizeof words, format, arguments);
  va_end(arguments);
  return error_at(columns->error, columns->file, columns->heading_line > 0 ? columns->heading_line : 1,
                  columns->headings[index].column, "%s", words);
}

int columns_find(const struct columns *columns, const char *name) {
  for (int c = 0; c < columns->count; c++) {
    if (strcmp(columns->headings[c].name, name) == 0) {
      return c;
    }
  }
  for (int c = 0; c < columns->count; c++) {
    if (strcmp(columns->headings[c].whole, name) == 0) {
      return c;
    }
  }
  return -1;
}

/* A last line without an end that lacks cells, or whose last number stops short, was cut off. */
static bool is_cut(const struct columns *columns, int count) {
  if (columns->line.ended || columns->kind == COLUMNS_OF_A_CASE) {
    return false;
  }
  if (count < columns->count) {
    return true;
  }
  const struct cell *last = &columns->cells[columns->count - 1];
  double value;
  return last->length > 0 && cell_read(last, columns->decimal, &value) == CELL_TEXT &&
         strspn(last->text, "+-.,0123456789eE") >= last->length;
}

/* The row has as many cells as there are columns, but for empty ones behind. */
static bool check_count(struct columns *columns, int *count) {
  int kept = *count < COLUMNS_LIMIT ? *count : COLUMNS_LIMIT;
  while (kept > columns->count && columns->cells[kept - 1].length == 0) {
    kept--;
  }
  const char *hint = columns->separator == ',' && kept > columns->count
                         ? "; decimals with a comma need columns parted by semicolons or tabs"
                         : "";
  if (kept > columns->count) {
    return columns_fail_at(columns, columns->cells[columns->count].text,
                           "the line has %d cells, more than the heading's %d%s", *count, columns->count, hint);
  }
  if (kept < columns->count) {
    return columns_fail_at(columns, columns->line.start + columns->line.length, "the line has %d cells, the heading %d",
                           kept, columns->count);
  }
  *count = kept;
  return true;
}

enum columns_step columns_next(struct columns *columns) {
  while (lines_next(&columns->lines, &columns->line)) {
    if (line_is_empty(&columns->line) || line_is_remark(&columns->line)) {
      continue;
    }
    int count = line_cut(&columns->line, columns->separator, columns->cells, COLUMNS_LIMIT);
    if (is_cut(columns, count)) {
      told_add(&columns->told, "the last line, %d, is cut off and left out", columns->line.number);
      return COLUMNS_END;
    }
    return check_count(columns, &count) ? COLUMNS_ROW : COLUMNS_FAILED;
  }
  return COLUMNS_END;
}

void columns_amount(const struct columns *columns, const struct cell *cell, const char *unit, char *text, size_t size) {
  double value;
  (void)cell_copy(cell, text, size);
  char *comma = strchr(text, ',');
  if (comma != NULL && cell_read(cell, columns->decimal, &value) == CELL_NUMBER) {
    *comma = '.';
  }
  size_t used = strlen(text);
  if (unit[0] != '\0' && used < size) {
    (void)snprintf(text + used, size - used, " %s", unit);
  }
}
