/* Particles and dirt over a duty: published codes and efficiencies, closed forms, an independent integration, and whole
 * runs. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "case.h"
#include "check.h"
#include "component.h"
#include "contamination.h"
#include "run.h"

#define L_MIN (1e-3 / 60.0)
#define PER_ML 1e6
#define HOUR 3600.0

/* P8.11: ISO 16889. */
static void test_efficiency(void **state) {
  (void)state;
  CHECK_CLOSE(contamination_efficiency(2.0), 0.5, 1e-15);
  CHECK_CLOSE(contamination_efficiency(10.0), 0.9, 1e-15);
  CHECK_NEAR(contamination_efficiency(75.0), 0.9867, 5e-5);
  CHECK_CLOSE(contamination_efficiency(200.0), 0.995, 1e-15);
  CHECK_NEAR(contamination_efficiency(1.0), 0.0, 0.0);
}

/* P8.12: ISO 4406, up to and including the bound. */
static void test_codes(void **state) {
  (void)state;
  static const double rows[][2] = {{10, 10},   {14, 160},    {17, 1300},   {18, 2500},
                                   {19, 5000}, {24, 160000}, {28, 2500000}};
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    int code = (int)rows[i][0];
    assert_int_equal(contamination_code(rows[i][1] * PER_ML), code);
    assert_int_equal(contamination_code(1.001 * rows[i][1] * PER_ML), code + 1);
    CHECK_CLOSE(contamination_bound(code), rows[i][1] * PER_ML, 1e-15);
  }
  assert_int_equal(contamination_code(0.0), 0);
  for (int code = 1; code < CONTAMINATION_CODES; code++) { /* each code doubles, as rounded in the standard */
    double ratio = contamination_bound(code) / contamination_bound(code - 1);
    assert_true(ratio > 1.9 && ratio < 2.1);
  }
}

/* P8.14: 100 L, 40 L/min, beta 75, no ingress. */
static void test_clean_up(void **state) {
  (void)state;
  double clearing = 40.0 * L_MIN * contamination_efficiency(75.0);
  CHECK_CLOSE(0.1 / clearing, 152.027, 1e-5);
  CHECK_CLOSE(contamination_time_to(8.0, 1.0, 0.0, clearing, 0.1), 316.13, 1e-5);
  CHECK_CLOSE(contamination_count(8.0, 0.0, clearing, 0.1, 152.02702702702703), 8.0 * exp(-1.0), 1e-12);
  assert_true(contamination_time_to(8.0, 1.0, 0.0, 0.0, 0.1) == HUGE_VAL);
  CHECK_NEAR(contamination_time_to(1.0, 1.0, 0.0, clearing, 0.1), 0.0, 0.0);
}

/* P8.15: the same with 1e5 particles/min coming in. */
static void test_equilibrium(void **state) {
  (void)state;
  double clearing = 40.0 * L_MIN * contamination_efficiency(75.0);
  double ingress = 1e5 / 60.0;
  double settled = contamination_count(0.0, ingress, clearing, 0.1, 1e5);
  CHECK_CLOSE(settled / PER_ML, 2.53378, 1e-5);
  CHECK_CLOSE(contamination_count(5e9, ingress, clearing, 0.1, 1e5), settled, 1e-12);
  assert_true(contamination_time_to(5e9, 0.99 * settled, ingress, clearing, 0.1) == HUGE_VAL);
  double when = contamination_time_to(5e9, 1.01 * settled, ingress, clearing, 0.1);
  CHECK_CLOSE(contamination_count(5e9, ingress, clearing, 0.1, when), 1.01 * settled, 1e-12);
  /* nothing filtered: what comes in stays */
  CHECK_CLOSE(contamination_count(7.0, 3.0, 0.0, 0.5, 10.0), 67.0, 1e-15);
}

/* P8.16: drop in proportion to viscosity and flow; the bypass opens at its cracking drop; what goes by is not filtered.
 */
static void test_element(void **state) {
  (void)state;
  DEFAULTS(filter, filter);
  filter.clean_drop = 0.4e5;
  double resistance = filter_resistance(&filter, 870.0, 0.0);
  double drop = filter_drop(&filter, resistance, 0.02, 30.0 * L_MIN);
  CHECK_CLOSE(filter_drop(&filter, resistance, 0.04, 60.0 * L_MIN), 4.0 * drop, 1e-14);
  DEFAULTS(contamination, dirt);
  struct contamination_cycle cycle = {60.0 * L_MIN, 60.0 * L_MIN, 0.4e5 / (60.0 * L_MIN), 0.1};
  double opening = contamination_opening_dirt(&dirt, &filter, &cycle);
  double loaded = cycle.clean_resistance * (1.0 + contamination_loading(&dirt, opening));
  CHECK_CLOSE(loaded * cycle.flow, filter.bypass_crack, 1e-12);
  CHECK_NEAR(contamination_bypass(&dirt, &filter, &cycle, 0.999 * opening), 0.0, 0.0);
  assert_true(contamination_bypass(&dirt, &filter, &cycle, 1.2 * opening) > 0.05);
  CHECK_CLOSE(contamination_loading(&dirt, dirt.dirt_capacity), 1.0, 1e-15);
  CHECK_NEAR(contamination_loading(&dirt, 0.0), 0.0, 0.0);
  cycle.clean_resistance = 1.1 * filter.bypass_crack / cycle.flow;
  CHECK_NEAR(contamination_opening_dirt(&dirt, &filter, &cycle), 0.0, 0.0);
  cycle.clean_resistance = 0.0;
  assert_true(contamination_opening_dirt(&dirt, &filter, &cycle) == HUGE_VAL);
}

/* A dirty duty: the element fills and lets oil by. Against plain small steps of the equations as they stand. */
static void test_against_small_steps(void **state) {
  (void)state;
  DEFAULTS(filter, filter);
  filter.clean_drop = 0.4e5;
  filter.bypass_gradient = 10.0 * L_MIN / 1e5;
  DEFAULTS(contamination, dirt);
  dirt.dirt_capacity = 0.01;
  struct contamination_cycle cycle = {60.0 * L_MIN, 54.0 * L_MIN, 0.4e5 / (60.0 * L_MIN), 0.1};
  struct contamination_result result = contamination_duty(&dirt, &filter, &cycle);
  struct contamination_state now = contamination_begin(&dirt);
  const double ingress[3] = {dirt.ingress_4, dirt.ingress_6, dirt.ingress_14};
  const double beta[3] = {dirt.beta_4, dirt.beta_6, dirt.beta_14};
  double opened = NAN;
  double step = 1.0;
  for (double t = 0.0; t < dirt.duty_time - 0.5 * step; t += step) {
    double share = contamination_bypass(&dirt, &filter, &cycle, now.dirt);
    double through = cycle.filtered * (1.0 - share);
    double caught[3];
    for (int i = 0; i < 3; i++) {
      double clearing = through * (1.0 - 1.0 / beta[i]);
      double middle = now.count[i] + 0.5 * step * (ingress[i] - clearing * now.count[i]) / cycle.volume;
      caught[i] = step * clearing * middle;
      now.count[i] += step * (ingress[i] - clearing * middle) / cycle.volume;
    }
    now.dirt += contamination_mass(&dirt, caught);
    if (isnan(opened) && share > 0.0) {
      opened = t;
    }
  }
  CHECK_CLOSE(result.dirt, now.dirt, 1e-5);
  /* The element is inspected every 15 min; with a time constant of 5 min the oil still feels a little of the last
   * inspection.
   */
  for (int i = 0; i < 3; i++) {
    CHECK_CLOSE(result.count[i], now.count[i], 1e-4);
  }
  CHECK_NEAR(result.bypass_time, opened, 3.0);
  assert_true(result.bypass_time > 100.0 * HOUR && result.bypass_time < 450.0 * HOUR);
  assert_true(contamination_bypass(&dirt, &filter, &cycle, result.dirt) > 0.1);
}

/* The oil is clean when the last of its classes is: whichever that is. */
static void test_clean_when_all_are(void **state) {
  (void)state;
  DEFAULTS(filter, filter);
  DEFAULTS(contamination, dirt);
  const double targets[3] = {dirt.target_code_4, dirt.target_code_6, dirt.target_code_14};
  real *members[3] = {&dirt.target_code_4, &dirt.target_code_6, &dirt.target_code_14};
  struct contamination_cycle cycle = {40.0 * L_MIN, 40.0 * L_MIN, 0.0, 0.1};
  double last = 0.0;
  for (int hard = 0; hard < 4; hard++) {
    for (int i = 0; i < 3; i++) {
      *members[i] = hard == i || hard == 3 ? targets[i] : 28.0; /* as dirty as the standard knows */
    }
    double time = contamination_duty(&dirt, &filter, &cycle).cleaning_time;
    assert_true(time > 0.0);
    if (hard < 3) {
      last = fmax(last, time);
    } else {
      CHECK_CLOSE(time, last, 1e-12);
    }
  }
}

/* No ingress: what left the oil is in the element, and the time to clean is the closed form's. */
static void test_nothing_is_lost(void **state) {
  (void)state;
  DEFAULTS(filter, filter);
  DEFAULTS(contamination, dirt);
  dirt.ingress_4 = 0.0;
  dirt.ingress_6 = 0.0;
  dirt.ingress_14 = 0.0;
  dirt.start_by = CONTAMINATION_BY_COUNTS;
  struct contamination_cycle cycle = {40.0 * L_MIN, 40.0 * L_MIN, 0.0, 0.1};
  struct contamination_result result = contamination_duty(&dirt, &filter, &cycle);
  double start[3] = {dirt.start_count_4 * 0.1, dirt.start_count_6 * 0.1, dirt.start_count_14 * 0.1};
  CHECK_CLOSE(result.dirt, contamination_mass(&dirt, start), 1e-12);
  double longest = 0.0;
  const double starts[3] = {dirt.start_count_4, dirt.start_count_6, dirt.start_count_14};
  const double codes[3] = {dirt.target_code_4, dirt.target_code_6, dirt.target_code_14};
  const double beta[3] = {dirt.beta_4, dirt.beta_6, dirt.beta_14};
  for (int i = 0; i < 3; i++) {
    double clearing = 40.0 * L_MIN * contamination_efficiency(beta[i]);
    longest = fmax(longest, 0.1 / clearing * log(starts[i] / contamination_bound(codes[i])));
  }
  CHECK_CLOSE(result.cleaning_time, longest, 1e-12);
  assert_true(isnan(result.bypass_time));
  /* no flow: nothing changes */
  cycle.flow = 0.0;
  cycle.filtered = 0.0;
  result = contamination_duty(&dirt, &filter, &cycle);
  CHECK_CLOSE(result.count[0], dirt.start_count_4, 1e-12);
  assert_true(isnan(result.cleaning_time));
  /* an element that is blocked from the start */
  dirt.start_dirt = 1.0;
  cycle.flow = 40.0 * L_MIN;
  cycle.clean_resistance = 0.4e5 / cycle.flow;
  result = contamination_duty(&dirt, &filter, &cycle);
  CHECK_NEAR(result.bypass_time, 0.0, 0.0);
}

/* ---- whole runs ---- */

static struct outcome run(const char *text, const char *const *sets, int count) {
  struct case_data data;
  struct error error = {0};
  if (!case_load_text("c.yaml", text, sets, count, &data, &error)) {
    print_error("%d:%d: %s\n", error.line, error.column, error.text);
    fail();
  }
  struct outcome outcome;
  assert_true(run_case(&data, NULL, NULL, &outcome, &error));
  case_free(&data);
  return outcome;
}

#define DUTY                                                                                                           \
  "filter: {clean_drop: 0.4 bar}\ncontamination: {fitted: yes}\nsimulation: {end_time: 5 s}\n"                         \
  "operator: {forward_pedal: [[0 s, 0 %], [1 s, 50 %]]}\n"

/* The counts settle where ingress and clearing balance; the flow behind them is the charge pump's. */
static void test_run_settles(void **state) {
  (void)state;
  const char *sets[] = {"contamination.dirt_capacity=5000 g"};
  struct outcome outcome = run(DUTY, sets, 1);
  assert_int_equal(outcome.status, RUN_COMPLETE);
  double flow_4 = 2e6 / 60.0 / (outcome.measures[MEASURE_particles_4] * 0.8);
  double flow_14 = 6e4 / 60.0 / (outcome.measures[MEASURE_particles_14] * 0.995);
  CHECK_CLOSE(flow_4, flow_14, 1e-9);
  assert_true(flow_4 > 50.0 * L_MIN && flow_4 < 70.0 * L_MIN); /* 28 cm3/rev at 2100 to 2200 rpm */
  CHECK_NEAR(outcome.measures[MEASURE_iso_code_4], contamination_code(outcome.measures[MEASURE_particles_4]), 0.0);
  assert_true(outcome.measures[MEASURE_cleaning_time] > 60.0);
  assert_true(isnan(outcome.measures[MEASURE_bypass_opening_time]));
  assert_non_null(strstr(outcome.absent[MEASURE_bypass_opening_time], "stays shut"));
  outcome_free(&outcome);
}

/* A case without a duty has no such measures and is not touched by one. */
static void test_run_is_not_touched(void **state) {
  (void)state;
  struct outcome with = run(DUTY, NULL, 0);
  const char *sets[] = {"contamination.fitted=no"};
  struct outcome without = run(DUTY, sets, 1);
  assert_true(isnan(without.measures[MEASURE_particles_4]));
  assert_non_null(strstr(without.absent[MEASURE_particles_4], "no duty"));
  CHECK_NEAR(with.measures[MEASURE_vehicle_distance_end], without.measures[MEASURE_vehicle_distance_end], 0.0);
  CHECK_NEAR(with.measures[MEASURE_peak_line_a_pressure], without.measures[MEASURE_peak_line_a_pressure], 0.0);
  outcome_free(&with);
  outcome_free(&without);
  /* dirt at the start is felt by the run */
  const char *dirty[] = {"contamination.start_dirt=60 g"};
  struct outcome loaded = run(DUTY, dirty, 1);
  assert_true(loaded.measures[MEASURE_bypass_opening_time] == 0.0);
  assert_true(loaded.measures[MEASURE_element_dirt] > 0.060);
  outcome_free(&loaded);
}

static void test_refusal(void **state) {
  (void)state;
  struct case_data data;
  struct error error = {0};
  assert_false(case_load_text("c.yaml", "contamination:\n  fitted: yes\n", NULL, 0, &data, &error));
  assert_non_null(strstr(error.text, "needs a filter"));
  assert_int_equal(error.line, 2);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_efficiency),
      cmocka_unit_test(test_codes),
      cmocka_unit_test(test_clean_up),
      cmocka_unit_test(test_equilibrium),
      cmocka_unit_test(test_element),
      cmocka_unit_test(test_against_small_steps),
      cmocka_unit_test(test_clean_when_all_are),
      cmocka_unit_test(test_nothing_is_lost),
      cmocka_unit_test(test_run_settles),
      cmocka_unit_test(test_run_is_not_touched),
      cmocka_unit_test(test_refusal),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
