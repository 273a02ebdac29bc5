/* Asks UDUNITS for the factor of every accepted unit, when the program is built: writes unit_factors.c to standard
 * output. The program itself then needs neither the library nor its database, which end the process when memory is out
 * or a file of theirs cannot be read. */
#include <stdio.h>
#include <string.h>
#include <udunits2.h>

#include "unit_entries.h"

/* SI value = number * scale + offset. */
static int print_factor(ut_system *units, enum quantity quantity, const struct entry *entry) {
  ut_unit *to = ut_parse(units, quantity_rows[quantity].si_unit, UT_UTF8);
  ut_unit *from = ut_parse(units, entry->meaning, UT_UTF8);
  cv_converter *converter = to != NULL && from != NULL ? ut_get_converter(from, to) : NULL;
  if (converter != NULL) {
    /* A long lever, so that the difference loses nothing; a pure factor comes out exact. */
    const double lever = 1073741824.0;
    double offset = cv_convert_double(converter, 0.0);
    double scale = (cv_convert_double(converter, lever) - offset) / lever;
    (void)printf("    {%d, \"%s\", %a, %a},\n", (int)quantity, entry->meaning, scale, offset);
  } else {
    (void)fprintf(stderr, "UDUNITS cannot convert '%s' to '%s'\n", entry->meaning, quantity_rows[quantity].si_unit);
  }
  int failures = converter == NULL;
  cv_free(converter);
  ut_free(from);
  ut_free(to);
  return failures;
}

int main(void) {
  ut_set_error_message_handler(ut_ignore);
  ut_system *units = ut_read_xml(NULL);
  int failures = units == NULL;
  if (units == NULL) {
    (void)fprintf(stderr, "the database of UDUNITS (libudunits2-data) cannot be read\n");
  }
  (void)printf("/* Made by src/schema/factors/make.c. */\n#include \"unit_factors.h\"\n\n"
               "const struct unit_factor unit_factors[] = {\n");
  for (int q = 0; units != NULL && q < QUANTITY_COUNT; q++) {
    struct entries entries = entries_of((enum quantity)q);
    for (int i = 0; i < entries.count; i++) {
      if (entry_asks_library((enum quantity)q, &entries.at[i])) {
        failures += print_factor(units, (enum quantity)q, &entries.at[i]);
      }
    }
  }
  (void)printf("};\nconst int unit_factor_count = (int)(sizeof unit_factors / sizeof unit_factors[0]);\n");
  ut_free_system(units);
  return failures > 0 || fflush(stdout) != 0;
}
