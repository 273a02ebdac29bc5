/* Small text helpers, independent of the locale. */
#ifndef SWASHLOOP_CORE_TEXT_H
#define SWASHLOOP_CORE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* A text cut to a length that fits into a message; a cut is shown by "...". Made to stand in an argument list:
 * text_excerpt(name).text */
struct excerpt {
  char text[64];
};
/* The beginning of a text, for a message. */
struct excerpt text_excerpt(const char *text);

/* Bytes of the decimal number that `text` starts with, 0 if it starts with none: sign, digits with a point, exponent.
 * No hexadecimal, no infinity, no grouping. */
size_t text_number_length(const char *text);
/* Its value. Fails if it has more characters than a number ever needs, or is too large for a double. */
bool text_number(const char *text, size_t length, double *value);
/* `value` with `digits` significant figures, a point as decimal sign whatever the locale. */
const char *text_format(double value, int digits, char *buffer, int size);

/* Is it one of the marks that turn the direction of writing, so that a text reads other than it is (Unicode annex 9)?
 */
bool text_turns(unsigned long code);
/* `text` as it may stand on a terminal: what would steer it (control characters, also of the second set), break the
 * line or turn the direction of writing is spelt out, as \\x1b or \\u202e, and so are bytes that are no UTF-8. At most
 * `size` - 1 bytes and a zero; a cut is at a character. Returns `buffer`. */
const char *text_shown(const char *text, char *buffer, size_t size);
struct shown {
  char text[1024];
};
/* The same, to stand in an argument list: shown(title).text. */
struct shown shown(const char *text);

/* One character of valid UTF-8: returns its bytes (1 to 4) and its code point, or 0 if `text` starts with none. */
size_t text_decode(const char *text, size_t length, unsigned long *code);
/* True if the character may stand in a one-line text: no control character, no line break, no byte-order mark. */
bool text_printable(unsigned long code);

#endif
