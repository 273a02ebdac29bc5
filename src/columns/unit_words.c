#include "unit_words.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "unit_entries.h"
#include "units.h"

/* From vacuum to gauge: the standard atmosphere of ISO 2533. */
#define STANDARD_ATMOSPHERE 101325.0

static const char us_gallon[] = "gpm read as US gallons a minute, 3.785 L/min each";
static const char from_vacuum[] = "an absolute pressure, 1.01325 bar (ISO 2533) taken off for the gauge";

/* Words in small letters without blanks; a degree sign is "deg", a small raised number its digit, micro is u. */
static const struct {
  enum quantity quantity;
  const char *word;
  const char *name; /* of an accepted unit */
  bool absolute;
  const char *remark;
} words[] = {
    {QUANTITY_TIME, "sec", "s", false, NULL},
    {QUANTITY_TIME, "second", "s", false, NULL},
    {QUANTITY_TIME, "seconds", "s", false, NULL},
    {QUANTITY_TIME, "sek", "s", false, NULL},
    {QUANTITY_TIME, "msec", "ms", false, NULL},
    {QUANTITY_TIME, "milliseconds", "ms", false, NULL},
    {QUANTITY_TIME, "usec", "us", false, NULL},
    {QUANTITY_TIME, "microseconds", "us", false, NULL},
    {QUANTITY_TIME, "millisecond", "ms", false, NULL},
    {QUANTITY_TIME, "microsecond", "us", false, NULL},
    {QUANTITY_TIME, "nsec", "ns", false, NULL},
    {QUANTITY_TIME, "nanosecond", "ns", false, NULL},
    {QUANTITY_TIME, "nanoseconds", "ns", false, NULL},
    {QUANTITY_TIME, "minute", "min", false, NULL},
    {QUANTITY_TIME, "minutes", "min", false, NULL},
    {QUANTITY_TIME, "hour", "h", false, NULL},
    {QUANTITY_TIME, "hours", "h", false, NULL},
    {QUANTITY_TIME, "day", "d", false, NULL},
    {QUANTITY_TIME, "days", "d", false, NULL},
    {QUANTITY_FRACTION, "percent", "%", false, NULL},
    {QUANTITY_FRACTION, "pct", "%", false, NULL},
    {QUANTITY_FRACTION, "-", "1", false, NULL},
    {QUANTITY_NUMBER, "-", "1", false, NULL},
    {QUANTITY_SPEED, "kph", "km/h", false, NULL},
    {QUANTITY_SPEED, "kmh", "km/h", false, NULL},
    {QUANTITY_SPEED, "km/hr", "km/h", false, NULL},
    {QUANTITY_SPEED, "ms-1", "m/s", false, NULL},
    {QUANTITY_SPEED, "ms^-1", "m/s", false, NULL},
    {QUANTITY_SPEED, "kmh-1", "km/h", false, NULL},
    {QUANTITY_SPEED, "mi/h", "mph", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "1/min", "rpm", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "min-1", "rpm", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "min^-1", "rpm", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "u/min", "rpm", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "r/min", "rpm", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "1/s", "rev/s", false, "1/s of a speed read as revolutions a second"},
    {QUANTITY_ANGULAR_SPEED, "rads-1", "rad/s", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "radian/s", "rad/s", false, NULL},
    {QUANTITY_ANGULAR_SPEED, "revolutions/minute", "rpm", false, NULL},
    {QUANTITY_PRESSURE, "pascal", "Pa", false, NULL},
    {QUANTITY_PRESSURE, "pascals", "Pa", false, NULL},
    {QUANTITY_PRESSURE, "barg", "bar", false, NULL},
    {QUANTITY_PRESSURE, "bar(g)", "bar", false, NULL},
    {QUANTITY_PRESSURE, "psig", "psi", false, NULL},
    {QUANTITY_PRESSURE, "psi(g)", "psi", false, NULL},
    {QUANTITY_PRESSURE, "lbf/in2", "psi", false, NULL},
    {QUANTITY_PRESSURE, "kpag", "kPa", false, NULL},
    {QUANTITY_PRESSURE, "kpa(g)", "kPa", false, NULL},
    {QUANTITY_PRESSURE, "n/mm2", "MPa", false, NULL},
    {QUANTITY_PRESSURE, "bara", "bar", true, from_vacuum},
    {QUANTITY_PRESSURE, "bar(a)", "bar", true, from_vacuum},
    {QUANTITY_PRESSURE, "barabs", "bar", true, from_vacuum},
    {QUANTITY_PRESSURE, "bar(abs)", "bar", true, from_vacuum},
    {QUANTITY_PRESSURE, "psia", "psi", true, from_vacuum},
    {QUANTITY_PRESSURE, "psi(a)", "psi", true, from_vacuum},
    {QUANTITY_PRESSURE, "kpa(a)", "kPa", true, from_vacuum},
    {QUANTITY_PRESSURE, "kpaa", "kPa", true, from_vacuum},
    {QUANTITY_FLOW, "lpm", "L/min", false, NULL},
    {QUANTITY_FLOW, "ltr/min", "L/min", false, NULL},
    {QUANTITY_FLOW, "liter/min", "L/min", false, NULL},
    {QUANTITY_FLOW, "litre/min", "L/min", false, NULL},
    {QUANTITY_FLOW, "dm3/min", "L/min", false, NULL},
    {QUANTITY_FLOW, "cc/s", "cm3/s", false, NULL},
    {QUANTITY_FLOW, "m3s-1", "m3/s", false, NULL},
    {QUANTITY_FLOW, "lmin-1", "L/min", false, NULL},
    {QUANTITY_FLOW, "l.min-1", "L/min", false, NULL},
    {QUANTITY_FLOW, "ls-1", "L/s", false, NULL},
    {QUANTITY_FLOW, "m^3/s", "m3/s", false, NULL},
    {QUANTITY_FLOW, "m^3/h", "m3/h", false, NULL},
    {QUANTITY_FLOW, "gpm", "US gal/min", false, us_gallon},
    {QUANTITY_FLOW, "usgpm", "US gal/min", false, NULL},
    {QUANTITY_FLOW, "gpm(us)", "US gal/min", false, NULL},
    {QUANTITY_FLOW, "gal/min", "US gal/min", false, us_gallon},
    {QUANTITY_TEMPERATURE, "c", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "f", "degF", false, NULL},
    {QUANTITY_TEMPERATURE, "kelvin", "K", false, NULL},
    {QUANTITY_TEMPERATURE, "degree_celsius", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "degrees_celsius", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "degree_c", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "degrees_c", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "celsius", "degC", false, NULL},
    {QUANTITY_TEMPERATURE, "fahrenheit", "degF", false, NULL},
    {QUANTITY_TORQUE, "nm", "N m", false, NULL},
    {QUANTITY_TORQUE, "n*m", "N m", false, NULL},
    {QUANTITY_VOLUME, "cc", "cm3", false, NULL},
    {QUANTITY_VOLUME, "m^3", "m3", false, NULL},
    {QUANTITY_ACCELERATION, "m/s^2", "m/s2", false, NULL},
    {QUANTITY_ACCELERATION, "ms-2", "m/s2", false, NULL},
};
enum { WORDS = (int)(sizeof words / sizeof words[0]) };

/* Special letters that units are written with. */
static const struct {
  const char *letter; /* UTF-8 */
  const char *plain;
} letters[] = {
    {"\xC2\xB0", "deg"},
    {"\xC2\xBA", "deg"},
    {"\xC2\xB2", "2"},
    {"\xC2\xB3", "3"},
    {"\xC2\xB5", "u"},
    {"\xCE\xBC", "u"},
    {"\xC2\xB7", "."},
    {"\xE2\x8B\x85", "."},
    {"\xE2\x84\x83", "degC"},
    {"\xE2\x84\x89", "degF"},
    {"\xE2\x81\xBB\xC2\xB9", "-1"},
    {"\xC2\xA0", " "},
};

/* With plain letters, without brackets around it. */
static void make_plain(const char *word, char *plain, size_t size) {
  size_t used = 0;
  size_t length = strlen(word);
  while (length > 0 && (*word == ' ' || *word == '[')) {
    word++;
    length--;
  }
  if (length > 1 && word[0] == '(' && word[length - 1] == ')' && memchr(word + 1, '(', length - 1) == NULL) {
    word++;
    length -= 2;
  }
  while (length > 0 && (word[length - 1] == ' ' || word[length - 1] == ']')) {
    length--;
  }
  for (size_t at = 0; at < length;) {
    const char *piece = NULL;
    size_t taken = 1;
    for (size_t i = 0; i < sizeof letters / sizeof letters[0] && piece == NULL; i++) {
      size_t bytes = strlen(letters[i].letter);
      if (at + bytes <= length && memcmp(word + at, letters[i].letter, bytes) == 0) {
        piece = letters[i].plain;
        taken = bytes;
      }
    }
    char own[2] = {word[at], '\0'};
    piece = piece != NULL ? piece : own;
    if (used + strlen(piece) >= size) {
      break;
    }
    memcpy(plain + used, piece, strlen(piece));
    used += strlen(piece);
    at += taken;
  }
  plain[used] = '\0';
}

static bool is_accepted(enum quantity quantity, const char *word) {
  struct entries entries = entries_of(quantity);
  for (int i = 0; i < entries.count; i++) {
    if (strcmp(entries.at[i].name, word) == 0) {
      return true;
    }
  }
  return false;
}

/* Small letters, no blanks: how the words above are written. */
static void make_small(const char *word, char *small, size_t size) {
  size_t used = 0;
  for (; *word != '\0' && used + 1 < size; word++) {
    if (*word != ' ') {
      small[used++] = (char)tolower((unsigned char)*word);
    }
  }
  small[used] = '\0';
}

/* An accepted unit that is written so but for small and large letters; only where the letters alone tell it: mPa is
 * none, and is no MPa. */
static bool accepted_by_letters(enum quantity quantity, const char *small, char *name, size_t size) {
  static const char *const safe[] = {"bar",  "kpa",  "psi", "rpm", "l/min", "km/h", "m/s", "l/s", "ml/min",
                                     "degc", "degf", "mph", "s",   "min",   "h",    "kw",  "kn"};
  struct entries entries = entries_of(quantity);
  bool listed = false;
  for (size_t i = 0; i < sizeof safe / sizeof safe[0]; i++) {
    listed = listed || strcmp(safe[i], small) == 0;
  }
  for (int i = 0; listed && i < entries.count; i++) {
    char own[UNIT_NAME_LIMIT];
    make_small(entries.at[i].name, own, sizeof own);
    if (strcmp(own, small) == 0) {
      (void)snprintf(name, size, "%s", entries.at[i].name);
      return true;
    }
  }
  return false;
}

struct unit_word unit_word_of(enum quantity quantity, const char *word) {
  struct unit_word found = {"", false, NULL};
  char small[sizeof found.name];
  make_plain(word, found.name, sizeof found.name);
  if (is_accepted(quantity, found.name)) {
    return found;
  }
  make_small(found.name, small, sizeof small);
  for (int i = 0; i < WORDS; i++) {
    if (words[i].quantity == quantity && strcmp(words[i].word, small) == 0) {
      (void)snprintf(found.name, sizeof found.name, "%s", words[i].name);
      found.absolute = words[i].absolute;
      found.remark = words[i].remark;
      return found;
    }
  }
  (void)accepted_by_letters(quantity, small, found.name, sizeof found.name);
  return found;
}

bool unit_word_known(const char *word) {
  char plain[48];
  make_plain(word, plain, sizeof plain);
  if (strcmp(plain, "-") == 0) {
    return true;
  }
  for (int q = 0; q < QUANTITY_COUNT; q++) {
    struct unit_word found = unit_word_of((enum quantity)q, word);
    if (is_accepted((enum quantity)q, found.name)) {
      return true;
    }
  }
  return false;
}

bool unit_word_line(enum quantity quantity, const struct unit_word *word, double *slope, double *zero, char *why,
                    size_t size) {
  char text[64];
  struct error inner = {0};
  double one;
  *slope = 1.0;
  *zero = 0.0;
  (void)snprintf(text, sizeof text, "0 %s", word->name);
  bool good = units_read(quantity, text, zero, &inner);
  (void)snprintf(text, sizeof text, "1 %s", word->name);
  good = good && units_read(quantity, text, &one, &inner);
  if (!good) {
    (void)snprintf(why, size, "%s", inner.text);
    return false;
  }
  *slope = one - *zero;
  *zero -= word->absolute ? STANDARD_ATMOSPHERE : 0.0;
  return true;
}
