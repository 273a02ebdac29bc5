/* A column's heading to its name and its unit. */
#include "columns.h"

#include <stdio.h>
#include <string.h>

#include "unit_words.h"

/* Length without blanks at the end. */
static size_t without_blanks(const char *text, size_t length) {
  while (length > 0 && text[length - 1] == ' ') {
    length--;
  }
  return length;
}

/* The text cut at `name` bytes, and what stands from `from` to `to` as the unit. */
static void split(struct heading *heading, size_t name, size_t from, size_t to) {
  const char *text = heading->whole;
  (void)snprintf(heading->unit, sizeof heading->unit, "%.*s", (int)(to - from), text + from);
  (void)snprintf(heading->name, sizeof heading->name, "%.*s", (int)without_blanks(text, name), text);
}

/* Where the bracket opens that closes at the end; brackets within are of the unit: "[bar (g)]", "(bar(g))". */
static size_t opening(const char *text, size_t length, char open, char shut) {
  int depth = 0;
  for (size_t at = length; at > 0; at--) {
    depth += text[at - 1] == shut;
    depth -= text[at - 1] == open;
    if (depth == 0) {
      return at - 1;
    }
  }
  return length;
}

static bool only_digits(const char *text, size_t length) {
  return length > 0 && strspn(text, "0123456789") >= length;
}

/* "p [bar]": whatever stands in square brackets at the end; but "grade[1]" is an index. */
static bool in_square_brackets(struct heading *heading, size_t length) {
  const char *text = heading->whole;
  if (length < 3 || text[length - 1] != ']') {
    return false;
  }
  size_t open = opening(text, length, '[', ']');
  if (open >= length || open == 0 || (text[open - 1] != ' ' && only_digits(text + open + 1, length - open - 2))) {
    return false;
  }
  split(heading, open, open + 1, length - 1);
  return true;
}

static bool is_unit(const char *text, size_t length) {
  char unit[COLUMNS_NAME];
  (void)snprintf(unit, sizeof unit, "%.*s", (int)length, text);
  return strcmp(unit, "-") != 0 && unit_word_known(unit);
}

/* "p (bar)", but "pressure (line A)" is a name. */
static bool in_round_brackets(struct heading *heading, size_t length) {
  const char *text = heading->whole;
  if (length < 3 || text[length - 1] != ')') {
    return false;
  }
  size_t open = opening(text, length, '(', ')');
  if (open >= length || open == 0 || !is_unit(text + open + 1, length - open - 2)) {
    return false;
  }
  split(heading, open, open + 1, length - 1);
  return true;
}

/* "Speed / rpm" and "n in 1/min": the sign, then a unit up to the end. The first that fits, for units have strokes. */
static bool behind_sign(struct heading *heading, size_t length, const char *sign) {
  const char *text = heading->whole;
  for (const char *at = strstr(text, sign); at != NULL; at = strstr(at + 1, sign)) {
    size_t from = (size_t)(at - text) + strlen(sign);
    from += strspn(text + from, " ");
    if (at > text && from < length && is_unit(text + from, length - from)) {
      split(heading, (size_t)(at - text), from, length);
      return true;
    }
  }
  return false;
}

void heading_read(const char *text, struct heading *heading) {
  (void)snprintf(heading->whole, sizeof heading->whole, "%s", text);
  (void)snprintf(heading->name, sizeof heading->name, "%s", text);
  heading->unit[0] = '\0';
  size_t length = strlen(heading->whole);
  (void)(in_square_brackets(heading, length) || in_round_brackets(heading, length) ||
         behind_sign(heading, length, " in ") || behind_sign(heading, length, "/"));
}
