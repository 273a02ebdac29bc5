#include "lines.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "text.h"

enum { NUMBER_LENGTH = 64, QUOTED_LINES = 4 };

/* ---- lines ---- */

/* The end of the line that begins at `at`; `*after` is where the next one begins. */
static const char *line_end(const char *at, const char *end, const char **after) {
  while (at < end && *at != '\n' && *at != '\r') {
    at++;
  }
  *after = at < end ? at + 1 : end;
  if (at + 1 < end && at[0] == '\r' && at[1] == '\n') {
    *after = at + 2;
  }
  return at;
}

/* Is a quote open at the end of this piece? Only a quote at the start of a cell opens one. */
static bool leaves_quote_open(const char *start, const char *stop, bool open) {
  for (const char *at = start; at < stop; at++) {
    if (*at != '"') {
      continue;
    }
    if (open) {
      open = false;
    } else {
      const char *before = at;
      while (before > start && before[-1] == ' ') {
        before--;
      }
      open = before == start || before[-1] == ',' || before[-1] == ';' || before[-1] == '\t' || before[-1] == '"' ||
             before < at;
    }
  }
  return open;
}

bool lines_next(struct lines *lines, struct line *line) {
  if (lines->at >= lines->end) {
    return false;
  }
  const char *after;
  const char *stop = line_end(lines->at, lines->end, &after);
  int taken = 1;
  if (leaves_quote_open(lines->at, stop, false)) {
    /* A quoted cell over several lines; one that is never closed is an ordinary letter. */
    const char *further = after;
    bool open = true;
    for (int i = 1; open && i < QUOTED_LINES && further < lines->end; i++) {
      const char *next;
      const char *last = line_end(further, lines->end, &next);
      open = leaves_quote_open(further, last, true);
      if (!open) {
        stop = last;
        after = next;
        taken = i + 1;
      }
      further = next;
    }
  }
  *line = (struct line){lines->at, (size_t)(stop - lines->at), lines->number, stop < lines->end};
  lines->at = after;
  lines->number += taken;
  return true;
}

static const char *skip_blanks(const char *at, const char *stop) {
  while (at < stop && (*at == ' ' || *at == '\t')) {
    at++;
  }
  return at;
}

bool line_is_empty(const struct line *line) {
  const char *stop = line->start + line->length;
  return skip_blanks(line->start, stop) == stop;
}

bool line_is_remark(const struct line *line) {
  const char *stop = line->start + line->length;
  const char *at = skip_blanks(line->start, stop);
  size_t left = (size_t)(stop - at);
  bool gap = left >= 4 && (strncasecmp(at, "#N/A", 4) == 0 || strncasecmp(at, "#DIV", 4) == 0);
  return left > 0 && !gap && (at[0] == '#' || at[0] == '%' || (left > 1 && at[0] == '/' && at[1] == '/'));
}

int line_column(const struct line *line, const char *letter) {
  int count = 1;
  for (const char *at = line->start; at < letter; at++) {
    count += ((unsigned char)*at & 0xC0U) != 0x80U;
  }
  return count;
}

/* ---- cells ---- */

static bool parts(char letter, char separator) {
  return letter == separator || (separator == ' ' && letter == '\t');
}

static bool is_blank(char letter) {
  return letter == ' ' || letter == '\t' || letter == '\n' || letter == '\r';
}

/* Behind the closing quote of the cell that opens at `at`; `at` itself if it is never closed. */
static const char *behind_quotes(const char *at, const char *stop) {
  for (const char *letter = at + 1; letter < stop; letter++) {
    if (*letter == '"' && letter + 1 < stop && letter[1] == '"') {
      letter++;
    } else if (*letter == '"') {
      return letter + 1;
    }
  }
  return at;
}

/* Without blanks and quotes around it. */
static struct cell trim(const char *from, const char *to) {
  while (from < to && is_blank(*from)) {
    from++;
  }
  while (to > from && is_blank(to[-1])) {
    to--;
  }
  bool quoted = to - from >= 2 && from[0] == '"' && to[-1] == '"';
  if (quoted) {
    from++;
    to--;
  }
  return (struct cell){from, (size_t)(to - from), quoted};
}

int line_cut(const struct line *line, char separator, struct cell *cells, int room) {
  const char *stop = line->start + line->length;
  const char *at = separator == ' ' ? skip_blanks(line->start, stop) : line->start;
  int count = 0;
  for (bool more = true; more; count++) {
    const char *from = at;
    const char *first = skip_blanks(from, stop);
    if (first < stop && *first == '"' && (separator != '\t' || first == from)) {
      at = behind_quotes(first, stop);
    }
    while (at < stop && !parts(*at, separator)) {
      at++;
    }
    if (count < room) {
      cells[count] = trim(from, at);
    }
    more = at < stop;
    at++;
    if (separator == ' ') {
      at = at < stop ? skip_blanks(at, stop) : stop;
      more = at < stop;
    }
  }
  return count;
}

bool cell_copy(const struct cell *cell, char *text, size_t size) {
  size_t used = 0;
  for (size_t i = 0; i < cell->length; i++) {
    char letter = cell->text[i];
    if (cell->quoted && letter == '"' && i + 1 < cell->length && cell->text[i + 1] == '"') {
      i++;
    }
    if (used + 1 >= size) {
      text[used] = '\0';
      return false;
    }
    text[used++] = letter == '\n' || letter == '\r' || letter == '\t' ? ' ' : letter;
  }
  text[used] = '\0';
  return true;
}

/* ---- numbers ---- */

/* Words for "no value", as loggers and spreadsheets write them. */
static bool is_gap_word(const char *text) {
  static const char *const words[] = {"nan",     "-nan",     "+nan",      "na",     "n/a",     "n.a.",
                                      "#n/a",    "#nv",      "null",      "none",   "inf",     "-inf",
                                      "+inf",    "infinity", "-infinity", "1.#inf", "-1.#inf", "1.#qnan",
                                      "-1.#ind", "#div/0!",  "#value!",   "#wert!", "ol",      "invalid"};
  for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
    if (strcasecmp(text, words[i]) == 0) {
      return true;
    }
  }
  size_t dashes = strspn(text, "-");
  return text[dashes] == '\0' || strcmp(text, "\xE2\x80\x93") == 0 || strcmp(text, "\xE2\x80\x94") == 0;
}

enum decimal cell_decimal(const struct cell *cell) {
  return memchr(cell->text, '.', cell->length) != NULL   ? DECIMAL_POINT
         : memchr(cell->text, ',', cell->length) != NULL ? DECIMAL_COMMA
                                                         : DECIMAL_UNKNOWN;
}

enum cell_kind cell_read(const struct cell *cell, enum decimal decimal, double *value) {
  char text[NUMBER_LENGTH];
  *value = NAN;
  if (cell->length >= sizeof text) {
    return CELL_TEXT;
  }
  memcpy(text, cell->text, cell->length);
  text[cell->length] = '\0';
  if (strlen(text) < cell->length) {
    return CELL_TEXT; /* a zero byte within */
  }
  if (is_gap_word(text)) {
    return CELL_GAP;
  }
  /* The minus of typesetters. */
  char *number = text;
  if (strncmp(text, "\xE2\x88\x92", 3) == 0) {
    number = text + 2;
    *number = '-';
  }
  char *comma = strchr(number, ',');
  if (comma != NULL && decimal != DECIMAL_POINT && strchr(number, '.') == NULL) {
    *comma = '.';
  } else if (decimal == DECIMAL_COMMA && strchr(number, '.') != NULL) {
    return CELL_TEXT;
  }
  size_t length = strlen(number);
  if (text_number_length(number) != length) {
    return CELL_TEXT;
  }
  if (!text_number(number, length, value)) {
    *value = NAN; /* larger than any double: what stands for no value */
    return CELL_GAP;
  }
  return CELL_NUMBER;
}
