#include "error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "text.h"

static const struct {
  int status;
  const char *word;
} error_rows[] = {
#define ERROR_ROW(id, status, word) {status, word},
    ERROR_LIST(ERROR_ROW)
#undef ERROR_ROW
};

/* An error is one line, whatever was quoted in it: breaks become blanks, and what would steer a terminal is spelt out.
 */
static void make_one_line(const char *text, char *line, size_t size) {
  char plain[1024];
  (void)snprintf(plain, sizeof plain, "%s", text);
  for (char *letter = plain; *letter; letter++) {
    if (*letter == '\n' || *letter == '\r' || *letter == '\t') {
      *letter = ' ';
    }
  }
  (void)text_shown(plain, line, size);
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
  char place[sizeof error->file];
  (void)snprintf(place, sizeof place, "%s", file); /* it may be the file of this very error */
  make_one_line(place, error->file, sizeof error->file);
  make_one_line(text, error->text, sizeof error->text);
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
