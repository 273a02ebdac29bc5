/* A row of an outside check: something that the program computes, held against a number from elsewhere. Each program of
 * this folder is one table of rows; run plainly it is a cmocka program of one test a row, with --rows it prints what
 * docs/validation.md is made of (tools/make-validation). */
#ifndef SWASHLOOP_TESTS_OUTSIDE_ROWS_H
#define SWASHLOOP_TESTS_OUTSIDE_ROWS_H

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum row_kind {
  RELATIVE, /* |value - expected| <= tolerance |expected| */
  ABSOLUTE, /* |value - expected| <= tolerance */
  BETWEEN,  /* expected <= value <= tolerance */
  AT_LEAST  /* value >= expected */
};

#define PUBLISHED "published"
#define CLOSED_FORM "closed form"
#define FROM_MEMORY "from memory"
#define PRACTICE "common practice"

struct row {
  const char *id;   /* of the list of checks; several rows may share one */
  const char *law;  /* heading of docs/validation.md that it stands under */
  const char *what; /* what is computed, from which data */
  const char *unit;
  double expected;
  double tolerance;
  enum row_kind kind;
  const char *source;
  const char *status; /* PUBLISHED, CLOSED_FORM, FROM_MEMORY, PRACTICE */
  double (*value)(double argument);
  double argument; /* what one function needs to make several rows */
  const char *why; /* a row that is not met, investigated: why; the test then expects that it is not */
};

static inline bool row_holds(const struct row *row, double value) {
  switch (row->kind) {
  case RELATIVE:
    return fabs(value - row->expected) <= row->tolerance * fabs(row->expected);
  case ABSOLUTE:
    return fabs(value - row->expected) <= row->tolerance;
  case BETWEEN:
    return value >= row->expected && value <= row->tolerance;
  case AT_LEAST:
    return value >= row->expected;
  }
  return false;
}

/* The value with as many digits as the tolerance asks for and no more, so that it reads the same on every machine. */
static inline void row_show(const struct row *row, double value, char *text, size_t size) {
  double allowed = row->kind == RELATIVE   ? row->tolerance * fabs(row->expected)
                   : row->kind == ABSOLUTE ? row->tolerance
                                           : 1e-3 * fabs(value);
  double step = fmax(allowed, 1e-6 * fabs(value));
  int decimals = step > 0.0 ? (int)ceil(-log10(step)) : 0;
  decimals = decimals < 0 ? 0 : decimals;
  if (decimals > 6 && fabs(value) >= 1e-3) {
    decimals = 7;
  }
  if (row->kind == ABSOLUTE && fabs(value) < 0.5 * pow(10.0, -decimals)) {
    (void)snprintf(text, size, "0");
  } else if (decimals > 7) {
    int digits = (int)ceil(log10(fabs(value) / step));
    (void)snprintf(text, size, "%.*e", digits < 0 ? 0 : digits, value);
  } else {
    (void)snprintf(text, size, "%.*f", decimals, value);
  }
}

static inline void row_print(const struct row *row) {
  char shown[64];
  char wanted[96];
  double value = row->value(row->argument);
  row_show(row, value, shown, sizeof shown);
  switch (row->kind) {
  case RELATIVE:
    (void)snprintf(wanted, sizeof wanted, "%.10g\t%.3g %%", row->expected, 100.0 * row->tolerance);
    break;
  case ABSOLUTE:
    (void)snprintf(wanted, sizeof wanted, "%.10g\t%.3g", row->expected, row->tolerance);
    break;
  case BETWEEN:
    (void)snprintf(wanted, sizeof wanted, "%.6g to %.6g\t", row->expected, row->tolerance);
    break;
  case AT_LEAST:
    (void)snprintf(wanted, sizeof wanted, "at least %.6g\t", row->expected);
    break;
  }
  (void)printf("%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", row->law, row->id, row->what, row->unit, wanted, shown,
               row_holds(row, value) ? "yes" : "no", row->source, row->status, row->why != NULL ? row->why : "");
}

static inline void row_test(void **state) {
  const struct row *row = *state;
  double value = row->value(row->argument);
  if (row->why != NULL && row_holds(row, value)) {
    print_error("%s %s: got %.12g %s, met by now: take its reason away\n", row->id, row->what, value, row->unit);
    fail();
  }
  if (row->why == NULL && !row_holds(row, value)) {
    print_error("%s %s: got %.12g %s, expected %.12g (tolerance %.3g)\n", row->id, row->what, value, row->unit,
                row->expected, row->tolerance);
    fail();
  }
}

static inline int rows_main(int argument_count, char **arguments, const struct row *rows, size_t count) {
  if (argument_count > 1 && strcmp(arguments[1], "--rows") == 0) {
    for (size_t i = 0; i < count; i++) {
      row_print(&rows[i]);
    }
    return 0;
  }
  struct CMUnitTest *tests = calloc(count, sizeof *tests);
  char(*names)[128] = calloc(count, sizeof *names);
  if (tests == NULL || names == NULL) {
    free(tests);
    free(names);
    return 1;
  }
  for (size_t i = 0; i < count; i++) {
    (void)snprintf(names[i], sizeof names[i], "%s %.100s", rows[i].id, rows[i].what);
    tests[i].name = names[i];
    tests[i].test_func = row_test;
    tests[i].initial_state = (void *)(uintptr_t)&rows[i];
  }
  int failed = _cmocka_run_group_tests("rows", tests, count, NULL, NULL);
  free(tests);
  free(names);
  return failed;
}

#define ROWS_MAIN(rows)                                                                                                \
  int main(int argument_count, char **arguments) {                                                                     \
    return rows_main(argument_count, arguments, rows, sizeof(rows) / sizeof((rows)[0]));                               \
  }

/* Units of the sources. */
#define PSI 6894.757293168
#define INCH 0.0254
#define FOOT 0.3048
#define GALLON 3.785411784e-3
#define POUND 0.45359237
#define POUND_FORCE 4.4482216152605
#define HORSEPOWER 745.6998715822702
#define RPM (2.0 * 3.14159265358979323846 / 60.0)
#define PER_REVOLUTION (1.0 / (2.0 * 3.14159265358979323846))
#define BAR 1e5
#define LITRE_PER_MINUTE (1e-3 / 60.0)
#define GRAVITY 9.80665
#define KMH (1.0 / 3.6)

#endif
