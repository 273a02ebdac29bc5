#include "error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const struct {
  int status;
  const char *word;
} error_rows[] = {
#define ERROR_ROW(id, status, word) {status, word},
    ERROR_LIST(ERROR_ROW)
#undef ERROR_ROW
};

/* An error is one line, whatever was quoted in it. */
static void make_one_line(char *text) {
  for (; *text; text++) {
    if ((unsigned char)*text < 0x20U || *text == 0x7F) {
      *text = ' ';
    }
  }
}

static void fill(struct error *error, enum error_code code, const char *file, int line, int column, const char *format,
                 va_list arguments) {
  if (!error) {
    return;
  }
  /* Formatted aside first: an argument may be the text of this very error. */
  char text[sizeof error->text];
  (void)vsnprintf(text, sizeof text, format, arguments);
  error->code = code;
  error->line = line;
  error->column = column;
  (void)snprintf(error->file, sizeof error->file, "%s", file);
  memcpy(error->text, text, sizeof text);
  make_one_line(error->text);
  make_one_line(error->file);
}

bool error_set(struct error *error, enum error_code code, const char *format, ...) {
  va_list arguments;
  va_start(arguments, format);
  fill(error, code, "", 0, 0, format, arguments);
  va_end(arguments);
  return false;
}

bool error_at(struct error *error, const char *file, int line, int column, const char *format, ...) {
  va_list arguments;
  va_start(arguments, format);
  fill(error, ERROR_INPUT, file, line, column, format, arguments);
  va_end(arguments);
  return false;
}

const char *error_text(const struct error *error, char *buffer, int size) {
  const char *text = error->text[0] ? error->text : error_rows[error->code].word;
  char place[sizeof error->file + 48] = "";
  if (error->file[0] && error->line > 0 && error->column > 0) {
    (void)snprintf(place, sizeof place, "%s:%d:%d: ", error->file, error->line, error->column);
  } else if (error->file[0] && error->line > 0) {
    (void)snprintf(place, sizeof place, "%s:%d: ", error->file, error->line);
  } else if (error->file[0] && error->column > 0) {
    (void)snprintf(place, sizeof place, "%s, column %d: ", error->file, error->column);
  } else if (error->file[0]) {
    (void)snprintf(place, sizeof place, "%s: ", error->file);
  }
  (void)snprintf(buffer, (size_t)size, "%serror: %s", place, text);
  return buffer;
}

int error_exit_status(enum error_code code) {
  return error_rows[code].status;
}
