#include "units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "registry.h"
#include "text.h"
#include "unit_entries.h"
#include "unit_factors.h"

#define SMALLEST_SHOWN 1e-15 /* in the unit of the trade */

enum { NEIGHBOURS = 4, PLAIN_DIGITS = 7 };

/* SI value = number * scale + offset. */
struct conversion {
  double scale; /* 0: not known */
  double offset;
};

/* Found when the program was built; scale 0: not there. */
static struct conversion factor_of(enum quantity quantity, const char *meaning) {
  for (int i = 0; i < unit_factor_count; i++) {
    const struct unit_factor *factor = &unit_factors[i];
    if (factor->quantity == (int)quantity && strcmp(factor->meaning, meaning) == 0) {
      return (struct conversion){factor->scale, factor->offset};
    }
  }
  return (struct conversion){0.0, 0.0};
}

/* The trade unit converts by its row, so that a default and the same value typed are the same number; the SI unit
 * converts by nothing. */
static struct conversion conversion_of(enum quantity quantity, const struct entries *entries, int index) {
  const struct quantity_row *row = &quantity_rows[quantity];
  const struct entry *entry = &entries->at[index];
  struct conversion conversion = {0.0, 0.0};
  if (strcmp(entry->name, row->trade_unit) == 0) {
    conversion = (struct conversion){row->scale, row->offset};
  } else if (strcmp(entry->name, row->si_unit) == 0) {
    conversion.scale = 1.0;
  } else if (entry->meaning[0] == '*') {
    (void)text_number(entry->meaning + 1, strlen(entry->meaning + 1), &conversion.scale);
  } else {
    conversion = factor_of(quantity, entry->meaning);
  }
  return conversion;
}

/* --- Reading ------------------------------------------------------------------------------------------------------ */

static bool blank(char letter) {
  return letter == ' ';
}

/* The text behind the number: no blanks at the ends, single ones inside. False if it is longer than any unit. */
static bool tidy_unit(const char *text, char *unit, size_t size) {
  size_t length = 0;
  for (; *text; text++) {
    if (blank(*text) && (length == 0 || blank(unit[length - 1]))) {
      continue;
    }
    if (length + 1 >= size) {
      return false;
    }
    unit[length++] = *text;
  }
  while (length > 0 && blank(unit[length - 1])) {
    length--;
  }
  unit[length] = '\0';
  return true;
}

static const char *entry_name(const void *context, int index) {
  return ((const struct entries *)context)->at[index].name;
}

static int find_entry(const struct entries *entries, const char *unit) {
  for (int i = 0; i < entries->count; i++) {
    if (strcmp(entries->at[i].name, unit) == 0) {
      return i;
    }
  }
  return -1;
}

/* "Pa, bar or psi" */
static const char *list_entries(const struct entries *entries, char *buffer, size_t size) {
  size_t used = 0;
  buffer[0] = '\0';
  for (int i = 0; i < entries->count; i++) {
    const char *between = i == 0 ? "" : i == entries->count - 1 ? " or " : ", ";
    int wrote = snprintf(buffer + used, size - used, "%s%s", between, entries->at[i].name);
    used += wrote > 0 ? (size_t)wrote : 0;
    if (used >= size) {
      break;
    }
  }
  return buffer;
}

/* "pressure rate" */
static const char *quantity_words(enum quantity quantity, char *buffer, size_t size) {
  (void)snprintf(buffer, size, "%s", quantity_rows[quantity].name);
  for (char *letter = buffer; *letter; letter++) {
    if (*letter == '_') {
      *letter = ' ';
    } else if (*letter >= 'A' && *letter <= 'Z') {
      *letter = (char)(*letter - 'A' + 'a');
    }
  }
  return buffer;
}

/* The fault lies `column` characters into the text, counted from 1. */
static bool fail(struct error *error, size_t column) {
  if (error) {
    error->column = (int)column;
  }
  return false;
}

static bool unit_error(enum quantity quantity, const struct entries *entries, const char *found, struct error *error) {
  char known[256];
  char words[48];
  list_entries(entries, known, sizeof known);
  quantity_words(quantity, words, sizeof words);
  if (found[0] == ',') {
    return error_set(error, ERROR_INPUT, "'%s' is no unit of %s; decimals are written with a point",
                     text_excerpt(found).text, words);
  }
  const char *near = registry_nearest(found, entries->count, entry_name, entries);
  return error_set(error, ERROR_INPUT, "'%s' is no unit of %s; expected %s%s%s%s", text_excerpt(found).text, words,
                   known, near ? "; did you mean '" : "", near ? near : "", near ? "'?" : "");
}

bool units_read(enum quantity quantity, const char *text, double *si, struct error *error) {
  const struct quantity_row *row = &quantity_rows[quantity];
  struct entries entries = entries_of(quantity);
  char known[256];
  size_t start = strspn(text, " ");
  size_t length = text_number_length(text + start);
  if (length == 0) {
    error_set(error, ERROR_INPUT, "'%s' is no number; expected a number with a unit, %s", text_excerpt(text).text,
              list_entries(&entries, known, sizeof known));
    return fail(error, start + 1);
  }
  double number = 0.0;
  if (!text_number(text + start, length, &number)) {
    error_set(error, ERROR_INPUT, "the number '%s' is too large or too long", text_excerpt(text + start).text);
    return fail(error, start + 1);
  }
  const char *rest = text + start + length;
  char unit[UNIT_NAME_LIMIT];
  bool fits = tidy_unit(rest, unit, sizeof unit);
  if (fits && unit[0] == '\0') {
    if (quantity != QUANTITY_NUMBER) {
      error_set(error, ERROR_INPUT, "'%s' has no unit; expected %s", text_excerpt(text + start).text,
                list_entries(&entries, known, sizeof known));
      return fail(error, start + 1);
    }
    (void)snprintf(unit, sizeof unit, "%s", row->trade_unit);
  }
  size_t place = start + length + strspn(rest, " ") + 1;
  int index = fits ? find_entry(&entries, unit) : -1;
  if (index < 0) {
    unit_error(quantity, &entries, rest + strspn(rest, " "), error);
    return fail(error, place);
  }
  struct conversion conversion = conversion_of(quantity, &entries, index);
  if (!(conversion.scale > 0.0)) {
    error_set(error, ERROR_INPUT, "'%s' cannot be converted by this build", unit);
    return fail(error, place);
  }
  double value = number * conversion.scale + conversion.offset;
  if (!isfinite(value)) {
    error_set(error, ERROR_INPUT, "'%s' is too large", text_excerpt(text + start).text);
    return fail(error, start + 1);
  }
  *si = value;
  return true;
}

/* --- Writing ------------------------------------------------------------------------------------------------------ */

static bool reads_back(const char *text, struct conversion conversion, double si) {
  double number = 0.0;
  return text_number(text, strlen(text), &number) && number * conversion.scale + conversion.offset == si;
}

/* A number of few digits without the exponent that they alone would give it: 420, not 4.2e+02. */
static void write_out(int digits, char *number, int size) {
  double value = 0.0;
  if (text_number(number, strlen(number), &value)) {
    text_format(value, digits < PLAIN_DIGITS ? PLAIN_DIGITS : digits, number, size);
  }
}

/* The shortest number that converts to exactly `si`. The unit's steps can be coarser than those of SI, so that no
 * number fits: false. */
static bool shortest_number(double si, struct conversion conversion, char *number, int size) {
  double value = (si - conversion.offset) / conversion.scale;
  for (int digits = 1; digits <= 17; digits++) {
    if (reads_back(text_format(value, digits, number, size), conversion, si)) {
      write_out(digits, number, size);
      return true;
    }
  }
  /* The division rounded: the neighbours. */
  double above = value;
  double below = value;
  for (int i = 0; i < NEIGHBOURS; i++) {
    above = nextafter(above, HUGE_VAL);
    below = nextafter(below, -HUGE_VAL);
    if (reads_back(text_format(above, 17, number, size), conversion, si) ||
        reads_back(text_format(below, 17, number, size), conversion, si)) {
      return true;
    }
  }
  return false;
}

const char *units_write(enum quantity quantity, double si, char *buffer, int size) {
  const struct quantity_row *row = &quantity_rows[quantity];
  char number[48];
  const char *unit = row->trade_unit;
  if (!shortest_number(si, (struct conversion){row->scale, row->offset}, number, sizeof number)) {
    /* In SI any double has a text of its own. */
    unit = row->si_unit;
    (void)shortest_number(si, (struct conversion){1.0, 0.0}, number, sizeof number);
  }
  bool plain = quantity == QUANTITY_NUMBER;
  (void)snprintf(buffer, (size_t)size, "%s%s%s", number, plain ? "" : " ", plain ? "" : unit);
  return buffer;
}

const char *units_show(enum quantity quantity, double si, char *buffer, int size) {
  double value = quantity_to_trade(quantity, si);
  double magnitude = fabs(value);
  char number[48];
  /* What is left of something that has died away says nothing but nothing. */
  if (magnitude < SMALLEST_SHOWN && quantity != QUANTITY_NUMBER) {
    value = 0.0;
  }
  /* Four figures, and all before the point, without an exponent where a person would write none. */
  if (magnitude >= 1000.0 && magnitude < 1e9) {
    (void)snprintf(number, sizeof number, "%.0f", value);
  } else {
    text_format(value == 0.0 ? 0.0 : value, 4, number, sizeof number);
  }
  bool plain = quantity == QUANTITY_NUMBER || !isfinite(value);
  (void)snprintf(buffer, (size_t)size, "%s%s%s", number, plain ? "" : " ",
                 plain ? "" : quantity_rows[quantity].trade_unit);
  return buffer;
}
