#include "text.h"

#include <locale.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NUMBER_LIMIT = 128 };

static bool continues(char byte) {
  return ((unsigned char)byte & 0xC0U) == 0x80U;
}

struct excerpt text_excerpt(const char *text) {
  struct excerpt excerpt;
  size_t room = sizeof excerpt.text - 1;
  size_t length = strlen(text);
  if (length <= room) {
    memcpy(excerpt.text, text, length + 1);
    return excerpt;
  }
  size_t keep = room - 3;
  while (keep > 0 && continues(text[keep])) {
    keep--;
  }
  memcpy(excerpt.text, text, keep);
  memcpy(excerpt.text + keep, "...", 4);
  return excerpt;
}

static size_t count_digits(const char *text) {
  size_t count = 0;
  while (text[count] >= '0' && text[count] <= '9') {
    count++;
  }
  return count;
}

size_t text_number_length(const char *text) {
  size_t at = (text[0] == '+' || text[0] == '-') ? 1 : 0;
  size_t whole = count_digits(text + at);
  at += whole;
  size_t decimals = 0;
  if (text[at] == '.') {
    decimals = count_digits(text + at + 1);
    at += decimals + 1;
  }
  if (whole + decimals == 0) {
    return 0;
  }
  if (text[at] == 'e' || text[at] == 'E') {
    size_t sign = (text[at + 1] == '+' || text[at + 1] == '-') ? 1 : 0;
    size_t exponent = count_digits(text + at + 1 + sign);
    if (exponent > 0) {
      at += 1 + sign + exponent;
    }
  }
  return at;
}

/* The decimal sign of strtod and snprintf follows the locale of the thread; files must not. */
static locale_t enter_plain_locale(locale_t *plain) {
  *plain = newlocale(LC_NUMERIC_MASK, "C", (locale_t)0);
  return *plain ? uselocale(*plain) : (locale_t)0;
}

static void leave_plain_locale(locale_t plain, locale_t before) {
  if (plain) {
    (void)uselocale(before);
    freelocale(plain);
  }
}

bool text_number(const char *text, size_t length, double *value) {
  char number[NUMBER_LIMIT];
  if (length == 0 || length >= sizeof number) {
    return false;
  }
  /* Copied, so that strtod cannot read on: "0x10" is the number 0 with the unit "x10". */
  memcpy(number, text, length);
  number[length] = '\0';
  locale_t plain;
  locale_t before = enter_plain_locale(&plain);
  *value = strtod(number, NULL);
  leave_plain_locale(plain, before);
  return isfinite(*value);
}

const char *text_format(double value, int digits, char *buffer, int size) {
  locale_t plain;
  locale_t before = enter_plain_locale(&plain);
  (void)snprintf(buffer, (size_t)size, "%.*g", digits, value);
  leave_plain_locale(plain, before);
  return buffer;
}

size_t text_decode(const char *text, size_t length, unsigned long *code) {
  if (length == 0) {
    return 0;
  }
  unsigned char first = (unsigned char)text[0];
  size_t bytes = first < 0x80U              ? 1
                 : (first & 0xE0U) == 0xC0U ? 2
                 : (first & 0xF0U) == 0xE0U ? 3
                 : (first & 0xF8U) == 0xF0U ? 4
                                            : 0;
  if (bytes == 0 || bytes > length) {
    return 0;
  }
  static const unsigned char mask[] = {0, 0x7F, 0x1F, 0x0F, 0x07};
  unsigned long value = first & mask[bytes];
  for (size_t i = 1; i < bytes; i++) {
    if (!continues(text[i])) {
      return 0;
    }
    value = (value << 6U) | ((unsigned char)text[i] & 0x3FU);
  }
  /* Overlong forms, halves of pairs and beyond the last plane. */
  static const unsigned long smallest[] = {0, 0, 0x80, 0x800, 0x10000};
  if (value < smallest[bytes] || (value >= 0xD800 && value <= 0xDFFF) || value > 0x10FFFF) {
    return 0;
  }
  *code = value;
  return bytes;
}

bool text_printable(unsigned long code) {
  return (code >= 0x20 && code < 0x7F) ||
         (code >= 0xA0 && code != 0x2028 && code != 0x2029 && code != 0xFEFF && code != 0xFFFE && code != 0xFFFF);
}

bool text_turns(unsigned long code) {
  return code == 0x061C || code == 0x200E || code == 0x200F || (code >= 0x202A && code <= 0x202E) ||
         (code >= 0x2066 && code <= 0x2069);
}

const char *text_shown(const char *text, char *buffer, size_t size) {
  size_t used = 0;
  size_t length = strlen(text);
  for (size_t at = 0; at < length;) {
    unsigned long code = 0;
    size_t bytes = text_decode(text + at, length - at, &code);
    char piece[16];
    int wrote = 0;
    if (bytes == 0) {
      bytes = 1;
      wrote = snprintf(piece, sizeof piece, "\\x%02x", (unsigned)(unsigned char)text[at]);
    } else if (text_printable(code) && !text_turns(code)) {
      wrote = snprintf(piece, sizeof piece, "%.*s", (int)bytes, text + at);
    } else {
      wrote = snprintf(piece, sizeof piece, code < 0x80 ? "\\x%02lx" : "\\u%04lx", code);
    }
    if (used + (size_t)wrote >= size) {
      break;
    }
    memcpy(buffer + used, piece, (size_t)wrote);
    used += (size_t)wrote;
    at += bytes;
  }
  buffer[used] = '\0';
  return buffer;
}

struct shown shown(const char *text) {
  struct shown result;
  (void)text_shown(text, result.text, sizeof result.text);
  return result;
}
