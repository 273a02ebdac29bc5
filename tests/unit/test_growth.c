/* A mode that grows or hunts, of a plant so small that its answer is known: what a method damps or pumps up below its
 * tolerances is not vouched for, and what it follows is right. The order watch of the multistep method (ringing.h)
 * takes small swings that do not decay for its formula's own: it must hide nothing. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdlib.h>

#include "check.h"
#include "registry.h"
#include "toy.h"

enum { METHODS = 2 }; /* of simulation.method */

#define FREQUENCY 120.0 /* rad/s */

/* The mode, with its signals in bar: x' = w y, y' = 2 s y (1 - x^2/a^2) - w x. Small swings grow by s; from the left of
 * Van der Pol's equation with s << w a swing ends at 2 a. */
struct mode {
  double growth; /* 1/s */
  double bound;  /* a; 0: none */
};

static struct mode present;

static void rates_of_mode(double t, double lever, const double *y, double *rates) {
  double less = present.bound > 0.0 ? 1.0 - y[0] * y[0] / (present.bound * present.bound) : 1.0;
  (void)t;
  (void)lever;
  rates[0] = FREQUENCY * y[1];
  rates[1] = 2.0 * present.growth * less * y[1] - FREQUENCY * y[0];
}

static void signals_of_mode(double t, double lever, const double *y, double *signals) {
  (void)t;
  (void)lever;
  signals[TOY_STATES] = 1e5 * y[0];
}

static const struct state_row states[TOY_STATES] = {
    {"first", "bar", 1e-4, ""}, {"second", "bar", 1e-4, ""}, {"third", "1", 1e-4, ""}, {"fourth", "1", 1e-4, ""}};

static void run_mode(struct mode mode, double start, int method, double end, struct outcome *outcome) {
  struct signal signals[TOY_STATES + 1];
  const char *lacks[sizeof toy_lacks / sizeof toy_lacks[0]];
  struct plant plant = toy_plant;
  struct toy toy = {.start = {start}, .rates = rates_of_mode, .signals = signals_of_mode, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &toy, end);
  struct error error = {0};
  memcpy(signals, toy_signal_rows, sizeof toy_signal_rows);
  signals[TOY_STATES] = (struct signal){"line_pressure_difference", QUANTITY_PRESSURE, REFERENCE_NONE, "the swing"};
  plant.signals = signals;
  plant.signal_count = TOY_STATES + 1;
  plant.states = states;
  plant.lacks = lacks;
  plant.lack_count = 0;
  for (size_t i = 0; i < sizeof toy_lacks / sizeof toy_lacks[0]; i++) {
    if (strcmp(toy_lacks[i], "line_pressure_difference") != 0) {
      lacks[plant.lack_count++] = toy_lacks[i];
    }
  }
  present = mode;
  data.plant = &plant;
  registry_defaults(&simulation_group, 1, &data.simulation);
  data.simulation.end_time = end;
  data.simulation.method = method;
  *outcome = (struct outcome){0};
  if (!run_case(&data, NULL, NULL, outcome, &error)) {
    fail_msg("%s", error.text);
  }
  assert_int_equal(outcome->status, RUN_COMPLETE);
}

static void growth_is_never_vouched_for(void **state) {
  (void)state;
  static const double growths[] = {0.05, 0.1, 0.5, 2.0};
  static const double starts[] = {0.0, 1e-3, 3e-3, 3e-2, 0.3};
  for (int method = 0; method < METHODS; method++) {
    for (size_t g = 0; g < sizeof growths / sizeof growths[0]; g++) {
      for (size_t s = 0; s < sizeof starts / sizeof starts[0]; s++) {
        struct outcome outcome;
        run_mode((struct mode){growths[g], 0.0}, starts[s], method, 6.0 / growths[g], &outcome);
        if (outcome.measures[MEASURE_vouched] != 0.0) {
          fail_msg("growth of %g 1/s from %g bar by method %d is vouched for", growths[g], starts[s], method);
        }
        outcome_free(&outcome);
      }
    }
  }
}

static void decay_is_vouched_for(void **state) {
  (void)state;
  static const double starts[] = {0.0, 1e-3, 3e-2, 0.3, 5.0};
  for (int method = 0; method < METHODS; method++) {
    for (size_t s = 0; s < sizeof starts / sizeof starts[0]; s++) {
      struct outcome outcome;
      run_mode((struct mode){-1.0, 0.0}, starts[s], method, 20.0, &outcome);
      assert_string_equal(outcome.doubt, "");
      assert_true(outcome.measures[MEASURE_vouched] == 1.0);
      outcome_free(&outcome);
    }
  }
}

static void a_swing_that_stays_is_as_large_as_it_is(void **state) {
  (void)state;
  static const double starts[] = {3e-2, 1.0, 8.0};
  static const double bounds[] = {0.5, 2.0, 20.0};
  for (int method = 0; method < METHODS; method++) {
    for (size_t b = 0; b < sizeof bounds / sizeof bounds[0]; b++) {
      for (size_t s = 0; s < sizeof starts / sizeof starts[0]; s++) {
        struct outcome outcome;
        run_mode((struct mode){1.0, bounds[b]}, starts[s], method, 15.0, &outcome);
        assert_true(outcome.measures[MEASURE_hunts] == 1.0);
        assert_true(outcome.measures[MEASURE_vouched] == 0.0);
        CHECK_CLOSE(outcome.measures[MEASURE_hunting_frequency], FREQUENCY / 6.283185307, 0.01);
        if (starts[s] < 2.0 * bounds[b]) {
          CHECK_CLOSE(outcome.measures[MEASURE_hunting_amplitude], 2e5 * bounds[b], 0.02);
        }
        outcome_free(&outcome);
      }
    }
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(growth_is_never_vouched_for),
      cmocka_unit_test(decay_is_vouched_for),
      cmocka_unit_test(a_swing_that_stays_is_as_large_as_it_is),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
