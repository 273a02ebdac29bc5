/* Numbers with units: what is accepted, what is refused and how, and that what is written reads back. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <float.h>
#include <locale.h>
#include <math.h>
#include <pthread.h>
#include <string.h>
#include <udunits2.h>

#include "check.h"
#include "text.h"
#include "units.h"

static double read_ok(enum quantity quantity, const char *text) {
  struct error error = {0};
  double si = NAN;
  if (!units_read(quantity, text, &si, &error)) {
    fail_msg("'%s': %s", text, error.text);
  }
  return si;
}

static void read_bad(enum quantity quantity, const char *text, int column, const char *message) {
  struct error error = {0};
  double si = 42.0;
  assert_false(units_read(quantity, text, &si, &error));
  assert_true(si == 42.0);
  assert_string_equal(error.text, message);
  assert_int_equal(error.column, column);
  assert_int_equal(error.code, ERROR_INPUT);
}

static void values_that_traps_get_wrong(void **state) {
  (void)state;
  CHECK_NEAR(read_ok(QUANTITY_TEMPERATURE, "80 degC"), 353.15, 1e-12);
  CHECK_NEAR(read_ok(QUANTITY_TEMPERATURE, "-40 degF"), 233.15, 1e-12);
  CHECK_NEAR(read_ok(QUANTITY_TEMPERATURE, "32 degF"), 273.15, 1e-12);
  CHECK_CLOSE(read_ok(QUANTITY_ANGULAR_SPEED, "2100 rpm"), 2100.0 * TWO_PI / 60.0, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_ANGULAR_SPEED, "35 rev/s"), 35.0 * TWO_PI, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_DISPLACEMENT, "125 cm3/rev"), 125e-6 / (TWO_PI), 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_DISPLACEMENT, "7.628 in3/rev"), 7.628 * 16.387064e-6 / (TWO_PI), 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_TORQUE, "0.72 kNm"), 720.0, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "6000 psi"), 6000.0 * 6894.757293168361, 1e-13);
  CHECK_CLOSE(read_ok(QUANTITY_SPEED, "10 mph"), 4.4704, 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_KINEMATIC_VISCOSITY, "46 cSt"), 46e-6, 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_VISCOUS_TORQUE, "1 N.m/rpm"), 60.0 / (TWO_PI), 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_ENERGY, "1 kWh"), 3.6e6, 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_FLOW_PER_ROOT_PRESSURE, "1 L/min/bar^0.5"), 1e-3 / 60.0 / sqrt(1e5), 1e-14);
  CHECK_CLOSE(read_ok(QUANTITY_MASS, "14 t"), 14000.0, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_FRACTION, "25 %"), 0.25, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_FRACTION, "0.25 1"), 0.25, 0.0);
}

static void forms_of_a_number(void **state) {
  (void)state;
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "420bar"), 42e6, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "  +4.2e2   bar  "), 42e6, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "-.5 bar"), -5e4, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "5. bar"), 5e5, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_TORQUE, "5 N   m"), 5.0, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_NUMBER, "0.75"), 0.75, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_NUMBER, "0.75 1"), 0.75, 0.0);
  CHECK_CLOSE(read_ok(QUANTITY_LENGTH, "1e3m"), 1000.0, 0.0);
}

static void refusals(void **state) {
  (void)state;
  const char *pressures = "Pa, kPa, MPa, GPa, bar, mbar or psi";
  char text[256];
  (void)snprintf(text, sizeof text, "'420' has no unit; expected %s", pressures);
  read_bad(QUANTITY_PRESSURE, "420", 1, text);
  (void)snprintf(text, sizeof text, "'barg' is no unit of pressure; expected %s; did you mean 'bar'?", pressures);
  read_bad(QUANTITY_PRESSURE, "420 barg", 5, text);
  (void)snprintf(text, sizeof text, "'fast' is no number; expected a number with a unit, %s", pressures);
  read_bad(QUANTITY_PRESSURE, "fast", 1, text);
  (void)snprintf(text, sizeof text, "'' is no number; expected a number with a unit, %s", pressures);
  read_bad(QUANTITY_PRESSURE, "", 1, text);
  read_bad(QUANTITY_PRESSURE, "1,5 bar", 2, "',5 bar' is no unit of pressure; decimals are written with a point");
  read_bad(QUANTITY_PRESSURE, "1e999 bar", 1, "the number '1e999 bar' is too large or too long");
  read_bad(QUANTITY_PRESSURE, "1e305 bar", 1, "'1e305 bar' is too large");
  read_bad(QUANTITY_ANGULAR_SPEED, "35 Hz", 4,
           "'Hz' is no unit of angular speed; expected rad/s, rpm, rev/min or rev/s");
  read_bad(QUANTITY_TIME, "5 1/s", 3, "'1/s' is no unit of time; expected s, ms, us, ns, min, h or d");
  read_bad(QUANTITY_RATE, "5 s", 3, "'s' is no unit of rate; expected 1/s or %/s");
  read_bad(QUANTITY_POWER, "90 PS", 4, "'PS' is no unit of power; expected W or kW");
  read_bad(QUANTITY_SPEED, "18 kph", 4,
           "'kph' is no unit of speed; expected m/s, km/h, mm/s, m/min, mph or ft/s; did you "
           "mean 'mph'?");
  read_bad(QUANTITY_FLOW, "40 RPM", 4,
           "'RPM' is no unit of flow; expected m3/s, L/min, L/s, m3/h, cm3/s, mL/min or US gal/min");
  read_bad(QUANTITY_FLOW, "40 l/min", 4,
           "'l/min' is no unit of flow; expected m3/s, L/min, L/s, m3/h, cm3/s, mL/min or US "
           "gal/min; did you mean 'L/min'?");
}

static void never_a_number_or_unit(void **state) {
  (void)state;
  static const struct {
    enum quantity quantity;
    const char *text;
  } bad[] = {
      {QUANTITY_VOLUME, "5 gal"},
      {QUANTITY_MASS, "14 ton"},
      {QUANTITY_MASS, "14 tonne"},
      {QUANTITY_POWER, "90 hp"},
      {QUANTITY_PRESSURE, "420 bar bar"},
      {QUANTITY_PRESSURE, "420 bar @ 1"},
      {QUANTITY_PRESSURE, "nan bar"},
      {QUANTITY_PRESSURE, "inf bar"},
      {QUANTITY_PRESSURE, "0x10 bar"},
      {QUANTITY_PRESSURE, "infinity"},
      {QUANTITY_PRESSURE, "1 000 bar"},
      {QUANTITY_PRESSURE, "- 5 bar"},
      {QUANTITY_PRESSURE, "5 Bar"},
      {QUANTITY_PRESSURE, "5 e3 bar"},
      {QUANTITY_TEMPERATURE, "80"},
      {QUANTITY_TEMPERATURE, "80 deg"},
      {QUANTITY_TEMPERATURE, "80 C"},
      {QUANTITY_DISPLACEMENT, "125 cm3"},
      {QUANTITY_FRACTION, "0.25"},
      {QUANTITY_FRACTION, "25 deg"},
      {QUANTITY_NUMBER, "25 %"},
      {QUANTITY_LENGTH, "3 m2"},
      {QUANTITY_AREA, "3 a"},
      {QUANTITY_TEMPERATURE_DIFFERENCE, "5 degC"},
      {QUANTITY_TIME, "1:30 min"},
      {QUANTITY_PRESSURE, "."},
      {QUANTITY_PRESSURE, "+ bar"},
      {QUANTITY_PRESSURE, "e5 bar"},
      {QUANTITY_PRESSURE, "5\tbar"},
      {QUANTITY_PRESSURE, "5 bar\n"},
      {QUANTITY_TORQUE, "5 N  . m"},
      {QUANTITY_PRESSURE, "5 bar|Pa"},
      {QUANTITY_DISPLACEMENT, "5 cm3/rev=cm3/turn"},
  };
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
    struct error error = {0};
    double si = 0.0;
    if (units_read(bad[i].quantity, bad[i].text, &si, &error)) {
      fail_msg("'%s' was accepted as %g", bad[i].text, si);
    }
    assert_int_equal(error.code, ERROR_INPUT);
    assert_true(error.column >= 1);
  }
  char many[400];
  memset(many, '9', sizeof many - 1);
  many[sizeof many - 1] = '\0';
  struct error error = {0};
  double si = 0.0;
  assert_false(units_read(QUANTITY_NUMBER, many, &si, &error));
  (void)memcpy(many, "1 ", 2);
  assert_false(units_read(QUANTITY_NUMBER, many, &si, &error));
}

/* --- Every row of quantity.h against the unit library, asked here on its own ----------------------------------------
 */

static ut_unit *library_unit(ut_system *units, const char *text) {
  ut_unit *unit = ut_parse(units, text, UT_UTF8);
  if (!unit) {
    fail_msg("the unit library does not know '%s'", text);
  }
  return unit;
}

static void rows_agree_with_the_library(void **state) {
  (void)state;
  ut_set_error_message_handler(ut_ignore);
  ut_system *units = ut_read_xml(NULL);
  assert_non_null(units);
  int asked = 0;
  for (int quantity = 0; quantity < QUANTITY_COUNT; quantity++) {
    const struct quantity_row *row = &quantity_rows[quantity];
    char list[256];
    (void)snprintf(list, sizeof list, "%s", row->accepted);
    bool trade_found = false;
    bool si_found = false;
    char *rest = list;
    for (char *entry = strtok_r(list, "|", &rest); entry; entry = strtok_r(NULL, "|", &rest)) {
      char *meaning = strchr(entry, '=');
      if (meaning) {
        *meaning++ = '\0';
      } else {
        meaning = entry;
      }
      trade_found = trade_found || strcmp(entry, row->trade_unit) == 0;
      si_found = si_found || strcmp(entry, row->si_unit) == 0;
      char text[64];
      (void)snprintf(text, sizeof text, "12.5 %s", entry);
      double read = read_ok((enum quantity)quantity, text);
      if (meaning[0] == '*') {
        continue; /* no unit with a root is known there; values_that_traps_get_wrong has a closed form */
      }
      ut_unit *si = library_unit(units, row->si_unit);
      ut_unit *unit = library_unit(units, meaning);
      /* Same dimension, not its reciprocal. */
      ut_unit *ratio = ut_divide(unit, si);
      assert_true(ut_is_dimensionless(ratio));
      cv_converter *converter = ut_get_converter(unit, si);
      assert_non_null(converter);
      CHECK_CLOSE(read, cv_convert_double(converter, 12.5), 1e-14);
      if (strcmp(entry, row->trade_unit) == 0) {
        CHECK_CLOSE(row->scale * 12.5 + row->offset, cv_convert_double(converter, 12.5), 1e-14);
        CHECK_NEAR(row->offset, cv_convert_double(converter, 0.0), 1e-12);
      }
      cv_free(converter);
      ut_free(ratio);
      ut_free(unit);
      ut_free(si);
      asked++;
    }
    if (!trade_found || !si_found) {
      fail_msg("%s: the trade unit or the SI unit is not among the accepted ones", row->name);
    }
  }
  assert_true(asked > 90);
  ut_free_system(units);
}

static void rates_of_radians_are_not_revolutions(void **state) {
  (void)state;
  /* The library holds rpm and Hz, m3/rad and m3 convertible: the values must still be per radian. */
  CHECK_CLOSE(read_ok(QUANTITY_ANGULAR_SPEED, "60 rpm"), TWO_PI, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_ANGULAR_SPEED, "60 rev/min"), TWO_PI, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_DISPLACEMENT, "1 L/rev"), 1e-3 / (TWO_PI), 1e-15);
}

/* --- Writing --------------------------------------------------------------------------------------------------------
 */

static void check_round_trip(enum quantity quantity, double si) {
  char text[96];
  units_write(quantity, si, text, sizeof text);
  double back = read_ok(quantity, text);
  if (back != si) {
    fail_msg("%s: %.17g was written as '%s', which reads as %.17g", quantity_rows[quantity].name, si, text, back);
  }
}

static uint64_t next_random(uint64_t *state) {
  *state ^= *state << 13U;
  *state ^= *state >> 7U;
  *state ^= *state << 17U;
  return *state;
}

static void written_values_read_back(void **state) {
  (void)state;
  uint64_t seed = 88172645463325252U;
  for (int i = 0; i < QUANTITY_COUNT; i++) {
    enum quantity quantity = (enum quantity)i;
    for (int k = 0; k < 3000; k++) {
      /* Any bit pattern that is a number, and numbers of everyday size, both signs. */
      uint64_t bits = next_random(&seed);
      double any = 0.0;
      memcpy(&any, &bits, sizeof any);
      if (isfinite(any)) {
        check_round_trip(quantity, any);
      }
      double share = (double)(next_random(&seed) >> 11U) * 0x1p-53;
      double sign = (bits & 1U) ? 1.0 : -1.0;
      check_round_trip(quantity, sign * share * pow(10.0, (double)(bits % 12U) - 3.0) * quantity_rows[quantity].scale);
    }
    static const double edges[] = {0.0, DBL_MIN, 5e-324, DBL_MAX, DBL_EPSILON, 1.0, 0.1, 1.0 / 3.0, 273.15, 1e22, 1e-7};
    for (size_t k = 0; k < sizeof edges / sizeof edges[0]; k++) {
      check_round_trip(quantity, edges[k]);
      check_round_trip(quantity, -edges[k]);
    }
  }
}

static void writes(enum quantity quantity, double si, const char *expected) {
  char text[96];
  assert_string_equal(units_write(quantity, si, text, sizeof text), expected);
}

static void written_texts_are_short(void **state) {
  (void)state;
  writes(QUANTITY_PRESSURE, 42e6, "420 bar");
  writes(QUANTITY_TEMPERATURE, 353.15, "80 degC");
  writes(QUANTITY_FRACTION, 0.25, "25 %");
  writes(QUANTITY_NUMBER, 0.75, "0.75");
  writes(QUANTITY_NUMBER, 100000.0, "100000");
  writes(QUANTITY_NUMBER, 2.5e-9, "2.5e-09");
  writes(QUANTITY_DISPLACEMENT, quantity_from_trade(QUANTITY_DISPLACEMENT, 125.0), "125 cm3/rev");
  writes(QUANTITY_SPEED, quantity_from_trade(QUANTITY_SPEED, 18.0), "18 km/h");
}

static void shows(enum quantity quantity, double si, const char *expected) {
  char text[96];
  assert_string_equal(units_show(quantity, si, text, sizeof text), expected);
}

static void shown_texts_have_four_figures(void **state) {
  (void)state;
  shows(QUANTITY_PRESSURE, 452.6789e5, "452.7 bar");
  shows(QUANTITY_PRESSURE, 15500e5, "15500 bar");
  shows(QUANTITY_MASS, 14000.0, "14000 kg");
  shows(QUANTITY_SPEED, 5.0, "18 km/h");
  shows(QUANTITY_FRACTION, -0.00012345, "-0.01234 %");
  shows(QUANTITY_NUMBER, 3.0, "3");
  shows(QUANTITY_PRESSURE, -0.0, "0 bar");
  shows(QUANTITY_PRESSURE, 2.5e-7, "2.5e-12 bar");
  shows(QUANTITY_TIME, 999.96, "1000 s");
  shows(QUANTITY_TIME, (double)NAN, "nan");
}

/* --- Surroundings ---------------------------------------------------------------------------------------------------
 */

static void the_locale_does_not_matter(void **state) {
  (void)state;
  static const char *const commas[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "de_DE", "fr_FR", "nl_NL.UTF-8"};
  const char *found = NULL;
  for (size_t i = 0; i < sizeof commas / sizeof commas[0] && !found; i++) {
    found = setlocale(LC_NUMERIC, commas[i]);
  }
  if (!found) {
    skip(); /* no locale with a decimal comma on this machine */
  }
  CHECK_CLOSE(read_ok(QUANTITY_PRESSURE, "1.5 bar"), 1.5e5, 0.0);
  writes(QUANTITY_NUMBER, 0.75, "0.75");
  shows(QUANTITY_PRESSURE, 452.6789e5, "452.7 bar");
  (void)setlocale(LC_NUMERIC, "C");
}

static void *read_often(void *result) {
  bool good = true;
  for (int i = 0; i < 2000; i++) {
    double si = 0.0;
    good = good && units_read(QUANTITY_PRESSURE, "3 psi", &si, NULL) && si > 20684.0 && si < 20685.0;
    good = good && units_read(QUANTITY_SPEED, "3 mph", &si, NULL) && si > 1.34 && si < 1.35;
    good = good && !units_read(QUANTITY_SPEED, "3 kph", &si, NULL);
  }
  *(bool *)result = good;
  return NULL;
}

static void threads_share_the_library(void **state) {
  (void)state;
  pthread_t threads[4];
  bool good[4] = {false};
  for (int i = 0; i < 4; i++) {
    assert_int_equal(pthread_create(&threads[i], NULL, read_often, &good[i]), 0);
  }
  for (int i = 0; i < 4; i++) {
    assert_int_equal(pthread_join(threads[i], NULL), 0);
    assert_true(good[i]);
  }
}

static void a_closed_library_opens_again(void **state) {
  (void)state;
  CHECK_CLOSE(read_ok(QUANTITY_LENGTH, "1 ft"), 0.3048, 1e-15);
  CHECK_CLOSE(read_ok(QUANTITY_LENGTH, "1 ft"), 0.3048, 1e-15);
}

static int close_units(void **state) {
  (void)state;
  return 0;
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(values_that_traps_get_wrong),
      cmocka_unit_test(forms_of_a_number),
      cmocka_unit_test(refusals),
      cmocka_unit_test(never_a_number_or_unit),
      cmocka_unit_test(rows_agree_with_the_library),
      cmocka_unit_test(rates_of_radians_are_not_revolutions),
      cmocka_unit_test(written_values_read_back),
      cmocka_unit_test(written_texts_are_short),
      cmocka_unit_test(shown_texts_have_four_figures),
      cmocka_unit_test(the_locale_does_not_matter),
      cmocka_unit_test(threads_share_the_library),
      cmocka_unit_test(a_closed_library_opens_again),
  };
  return cmocka_run_group_tests(tests, NULL, close_units);
}
