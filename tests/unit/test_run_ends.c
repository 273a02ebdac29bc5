/* How a run can end: stopped, failed, interrupted; and that it never hangs. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "toy.h"

static void run_ok(const struct case_data *data, const struct recorder *recorder, const struct watcher *watcher,
                   struct outcome *outcome) {
  struct error error = {0};
  if (!run_case(data, recorder, watcher, outcome, &error)) {
    fail_msg("%s", error.text);
  }
}

static void clock_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  rates[0] = 1.0;
}

static double one_and_a_bit_to_go(const double *y) {
  return 1.2345 - y[0];
}

static double always_fallen(const double *y) {
  (void)y;
  return -1.0;
}

static enum plant_verdict ends(double *y, const char **message) {
  (void)y;
  *message = "that is the end";
  return PLANT_ENDS_RUN;
}

static bool last_sample(void *context, int count, const double *time, const double *const *values,
                        struct error *error) {
  double *last = context;
  (void)values;
  (void)error;
  for (int i = 0; i < count; i++) {
    assert_true(time[i] > *last);
    *last = time[i];
  }
  return true;
}

static void a_plant_can_end_the_run(void **state) {
  (void)state;
  struct toy stopping = {.rates = clock_rates, .falls = one_and_a_bit_to_go, .change = ends, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &stopping, 5.0);
  struct outcome outcome;
  double last = -1.0;
  struct recorder recorder = {&last, last_sample};
  run_ok(&data, &recorder, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_STOPPED);
  CHECK_NEAR(outcome.end_time, 1.2345, 1e-9);
  CHECK_NEAR(last, outcome.end_time, 0.0); /* the last sample is the end, off the grid */
  assert_int_equal(outcome.event_count, 1);
  assert_string_equal(outcome.events[0].message, "that is the end");
  assert_string_equal(outcome.stop_words, "that is the end");
  CHECK_NEAR(outcome.measures[MEASURE_vehicle_distance_end], 0.0, 0.0);
  outcome_free(&outcome);
}

static void a_flickering_mode_fails_and_does_not_hang(void **state) {
  (void)state;
  struct toy flickering = {.rates = clock_rates, .falls = always_fallen, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &flickering, 5.0);
  struct outcome outcome;
  run_ok(&data, NULL, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_string_equal(outcome.error.text, "at t = 0 s the mode changes without end");
  assert_int_equal(outcome.error.code, ERROR_RUN);
  outcome_free(&outcome);
}

static void a_stuck_clock_fails_and_does_not_hang(void **state) {
  (void)state;
  static const real times[] = {1.0, 2.0};
  static const real values[] = {0.0, 1.0};
  struct toy stuck = {.rates = clock_rates, .lever = {2, times, values}, .stuck = true, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &stuck, 5.0);
  struct outcome outcome;
  run_ok(&data, NULL, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_string_equal(outcome.error.text, "at t = 1 s the clock of a table does not move on");
  CHECK_NEAR(outcome.end_time, 1.0, 0.0);
  outcome_free(&outcome);
}

static void root_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[0] = -1.0;
  rates[1] = sqrt(y[0]); /* no number once the first is below zero, at t = 1 */
}

static void a_state_that_leaves_the_numbers_is_named(void **state) {
  (void)state;
  struct toy rooted = {.start = {1.0, 0.0, 0.0, 0.0}, .rates = root_rates, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &rooted, 5.0);
  struct outcome outcome;
  double last = -1.0;
  struct recorder recorder = {&last, last_sample};
  run_ok(&data, &recorder, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_non_null(strstr(outcome.error.text, "the derivative of second is not a finite number"));
  CHECK_NEAR(outcome.end_time, 1.0, 1e-3);
  CHECK_NEAR(last, outcome.end_time, 0.0); /* what was computed is kept */
  assert_true(isfinite(outcome.measures[MEASURE_peak_line_a_pressure]));
  outcome_free(&outcome);
}

static void blow_up_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  rates[2] = y[2] * y[2]; /* 1/(1 - t) */
}

static void a_blow_up_ends_the_run(void **state) {
  (void)state;
  struct toy growing = {.start = {0.0, 0.0, 1.0, 0.0}, .rates = blow_up_rates, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &growing, 5.0);
  struct outcome outcome;
  run_ok(&data, NULL, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_int_equal(outcome.error.code, ERROR_RUN);
  CHECK_NEAR(outcome.end_time, 1.0, 1e-3);
  outcome_free(&outcome);
}

static int broken_state;

static void nan_start_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  rates[broken_state] = NAN;
}

/* Whichever it is, and by whichever method. */
static void a_bad_start_is_named(void **state) {
  (void)state;
  struct toy bad = {.rates = nan_start_rates, .release = NAN};
  const struct toy *ref;
  for (int method = 0; method < 2; method++) {
    for (broken_state = 0; broken_state < TOY_STATES; broken_state++) {
      struct case_data data = toy_case(&ref, &bad, 5.0);
      struct outcome outcome;
      char expected[128];
      data.simulation.method = method;
      run_ok(&data, NULL, NULL, &outcome);
      (void)snprintf(expected, sizeof expected, "at t = 0 s the derivative of %s is not",
                     toy_states[broken_state].name);
      assert_int_equal(outcome.status, RUN_FAILED);
      if (strstr(outcome.error.text, expected) == NULL) {
        fail_msg("'%s' does not tell '%s'", outcome.error.text, expected);
      }
      outcome_free(&outcome);
    }
  }
}

static bool no_more_room(void *context, int count, const double *time, const double *const *values,
                         struct error *error) {
  (void)context;
  (void)count;
  (void)time;
  (void)values;
  return error_set(error, ERROR_OUTPUT, "no room");
}

static void a_failing_recorder_ends_the_run(void **state) {
  (void)state;
  struct toy plain = {.rates = clock_rates, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &plain, 500.0);
  data.simulation.output_step = 1e-3;
  data.simulation.largest_step = 1.0;
  struct outcome outcome;
  struct recorder recorder = {NULL, no_more_room};
  run_ok(&data, &recorder, NULL, &outcome);
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_int_equal(outcome.error.code, ERROR_OUTPUT);
  assert_true(outcome.end_time < 10.0);
  outcome_free(&outcome);
}

static bool stop_it(void *context, double time, double end_time) {
  (void)context;
  (void)time;
  CHECK_NEAR(end_time, 1e7, 0.0);
  return false;
}

static void a_watcher_interrupts(void **state) {
  (void)state;
  struct toy plain = {.rates = clock_rates, .release = NAN};
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &plain, 1e7);
  struct outcome outcome;
  struct watcher watcher = {NULL, stop_it, 0.0};
  run_ok(&data, NULL, &watcher, &outcome);
  assert_int_equal(outcome.status, RUN_INTERRUPTED);
  assert_true(outcome.end_time > 0.0 && outcome.end_time < 1e7);
  CHECK_CLOSE(outcome.measures[MEASURE_peak_line_a_pressure], outcome.end_time, 1e-9);
  outcome_free(&outcome);
}

/* A run that crawls gives up, keeps what it has and says where it is. */
static void a_crawling_run_gives_up(void **state) {
  (void)state;
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  const char *sets[] = {"simulation.largest_step=1e-7 s", "simulation.work_limit=5000"};
  assert_true(case_load(SWASHLOOP_SOURCE "/cases/valve/step.yaml", sets, 2, &data, &error));
  assert_true(run_case(&data, NULL, NULL, &outcome, &error));
  assert_int_equal(outcome.status, RUN_FAILED);
  assert_non_null(strstr(outcome.error.text, "simulation.work_limit"));
  assert_true(outcome.end_time > 1e-4 && outcome.end_time < 1e-3);
  outcome_free(&outcome);
  case_free(&data);
}

/* A valve with more flow than its lift lets through says when it meets its stop, and when it leaves it. */
static void an_overloaded_valve_says_so(void **state) {
  (void)state;
  struct error error = {0};
  struct case_data data;
  struct outcome outcome;
  for (int overloaded = 0; overloaded < 2; overloaded++) {
    const char *sets[] = {overloaded ? "rig.feed_flow=2000 L/min" : "rig.feed_flow=60 L/min"};
    int told = 0;
    assert_true(case_load(SWASHLOOP_SOURCE "/cases/valve/step.yaml", sets, 1, &data, &error));
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    for (int i = 0; i < outcome.event_count; i++) {
      told += strcmp(outcome.events[i].name, "relief_a_stop") == 0;
    }
    assert_int_equal(told, overloaded ? 2 : 0);
    outcome_free(&outcome);
    case_free(&data);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_crawling_run_gives_up),
      cmocka_unit_test(an_overloaded_valve_says_so),
      cmocka_unit_test(a_plant_can_end_the_run),
      cmocka_unit_test(a_flickering_mode_fails_and_does_not_hang),
      cmocka_unit_test(a_stuck_clock_fails_and_does_not_hang),
      cmocka_unit_test(a_state_that_leaves_the_numbers_is_named),
      cmocka_unit_test(a_blow_up_ends_the_run),
      cmocka_unit_test(a_bad_start_is_named),
      cmocka_unit_test(a_failing_recorder_ends_the_run),
      cmocka_unit_test(a_watcher_interrupts),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
