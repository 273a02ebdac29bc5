/* Measures of a valve's response against curves whose answers are known in closed form. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "check.h"
#include "history.h"
#include "response.h"

enum { SAMPLES = 20001 };

static double time_of[SAMPLES];
static double pressure[SAMPLES];
static double drop[SAMPLES];
static double flow[SAMPLES];
static double opening[SAMPLES];
static double limiter[SAMPLES];

/* A step response in pressure from `start` to `settled`, ringing at `natural` rad/s with `damping`, begun at `begin`.
 */
static void ring(double begin, double start, double settled, double natural, double damping) {
  double damped = natural * sqrt(1.0 - damping * damping);
  for (int k = 0; k < SAMPLES; k++) {
    double t = time_of[k] = k * 1e-5;
    double after = fmax(0.0, t - begin);
    pressure[k] = settled - (settled - start) * exp(-damping * natural * after) *
                                (cos(damped * after) + damping * natural / damped * sin(damped * after));
    drop[k] = pressure[k];
    flow[k] = 1e-8 * fmax(0.0, pressure[k] - 100e5);
    opening[k] = fmax(0.0, pressure[k] - 100e5);
  }
}

/* The valve's static curve: what ring() and the others make of the drop, backwards. */
static double still(const void *valve, double through) {
  (void)valve;
  return 100e5 + through / 1e-8;
}

static struct response find_in(struct response_history history, double band) {
  struct response_settings settings = {100e5, HUGE_VAL, band, 0.0, HUGE_VAL, still, NULL};
  struct response response;
  struct error error = {0};
  assert_true(response_find(&history, &settings, &response, &error));
  return response;
}

static struct response find(const double *limiter_or_null) {
  struct response_history history = {SAMPLES, time_of, pressure, drop, flow, opening, NULL, limiter_or_null};
  return find_in(history, 0.1);
}

static void a_ringing_step_is_measured(void **state) {
  (void)state;
  const double natural = 400.0;
  const double damping = 0.2;
  ring(0.01, 80e5, 120e5, natural, damping);
  struct response r = find(NULL);
  double damped = natural * sqrt(1.0 - damping * damping);
  double decrement = 2.0 * 3.14159265358979 * damping / sqrt(1.0 - damping * damping);
  CHECK_CLOSE(r.values[RESPONSE_peak_pressure], 120e5 + 40e5 * exp(-0.5 * decrement), 1e-6);
  CHECK_CLOSE(r.values[RESPONSE_peak_time], 0.01 + 3.14159265358979 / damped, 1e-5);
  CHECK_CLOSE(r.values[RESPONSE_first_peak_drop], 120e5 + 40e5 * exp(-0.5 * decrement), 1e-6);
  CHECK_CLOSE(r.values[RESPONSE_settled_drop], 120e5, 1e-6);
  /* This flow keeps to the static curve: no overshoot over it, and no answer of the valve's own. */
  CHECK_NEAR(r.values[RESPONSE_overshoot], 0.0, 1.0);
  assert_true(isnan(r.values[RESPONSE_response_time]));
  assert_non_null(strstr(r.absent[RESPONSE_response_time], "keeps to its static curve"));
  CHECK_CLOSE(r.values[RESPONSE_frequency], damped / (2.0 * 3.14159265358979), 1e-4);
  CHECK_CLOSE(r.values[RESPONSE_decrement], decrement, 1e-3);
  CHECK_CLOSE(r.values[RESPONSE_damping_ratio], damping, 1e-3);
  CHECK_NEAR(r.values[RESPONSE_cracking_pressure], 100e5, 1.0);
  CHECK_CLOSE(r.values[RESPONSE_settled_flow], 0.02, 1e-4);
  CHECK_NEAR(r.values[RESPONSE_openings], 1.0, 0.0);
  /* A tenth of the override of 20 bar is 2 bar. The envelope leaves the band last before this time, and the pressure is
   * outside shortly before it. */
  double envelope = log(40.0 / 2.0 / sqrt(1.0 - damping * damping)) / (damping * natural);
  assert_true(r.values[RESPONSE_settling_time] < envelope);
  double settled = r.values[RESPONSE_cracking_time] + r.values[RESPONSE_settling_time];
  CHECK_NEAR(fabs(history_at(time_of, pressure, SAMPLES, settled) - 120e5), 2e5, 10.0);
}

static void a_creeping_pressure_has_no_response_time(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    time_of[k] = k * 1e-5;
    pressure[k] = 120e5 - 40e5 * exp(-time_of[k] / 0.01);
    drop[k] = pressure[k];
    flow[k] = 1e-8 * fmax(0.0, pressure[k] - 100e5);
    opening[k] = fmax(0.0, pressure[k] - 100e5);
  }
  struct response r = find(NULL);
  assert_true(isnan(r.values[RESPONSE_response_time]));
  assert_non_null(strstr(r.absent[RESPONSE_response_time], "creeps"));
  assert_true(isnan(r.values[RESPONSE_overshoot]));
  assert_non_null(strstr(r.absent[RESPONSE_overshoot], "no peak"));
  /* 80 + 40 (1 - e^-x): at 100 bar when x = ln 2; 90 % of the flow when 18 of 20 bar are reached. */
  CHECK_CLOSE(r.values[RESPONSE_cracking_time], 0.01 * log(2.0), 1e-6);
  CHECK_CLOSE(r.values[RESPONSE_opening_time], 0.01 * log(20.0) - 0.01 * log(2.0), 1e-3);
  CHECK_CLOSE(r.values[RESPONSE_settling_time], 0.01 * (log(40.0 / 2.0) - log(2.0)), 1e-3);
}

static void a_valve_that_stays_shut_says_how_near_it_came(void **state) {
  (void)state;
  ring(0.01, 10e5, 50e5, 400.0, 0.5);
  struct response r = find(NULL);
  for (int i = 0; i < RESPONSE_COUNT; i++) {
    assert_true(isnan(r.values[i]));
  }
  assert_non_null(strstr(r.absent[RESPONSE_peak_pressure], "never cracks"));
  assert_non_null(strstr(r.absent[RESPONSE_peak_pressure], "of 100.0 bar"));
}

/* Opens and shuts ten times; a triangle of pressure around the setting. */
static void repeated_opening_is_counted(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    time_of[k] = k * 1e-5;
    double phase = fmod(time_of[k] / 0.02, 1.0);
    pressure[k] = 90e5 + 20e5 * (phase < 0.5 ? 2.0 * phase : 2.0 - 2.0 * phase);
    drop[k] = pressure[k];
    flow[k] = 1e-8 * fmax(0.0, pressure[k] - 100e5);
    opening[k] = fmax(0.0, pressure[k] - 100e5);
  }
  struct response r = find(NULL);
  CHECK_NEAR(r.values[RESPONSE_openings], 10.0, 0.0);
  /* Open from 100.01 to 110 bar and back: 9.99/20 of each period's 0.02 s */
  CHECK_CLOSE(r.values[RESPONSE_open_time], 10.0 * 0.02 * 9.99 / 20.0, 1e-3);
  CHECK_NEAR(r.values[RESPONSE_hysteresis], 0.0, 100.0);
  CHECK_NEAR(r.values[RESPONSE_reseat_drop], 100.01e5, 200.0); /* interpolation over the kink */
  /* Each opening has its row; the reseat above is that of the first. */
  assert_int_equal(r.each_count, 10);
  for (int i = 0; i < 10; i++) {
    CHECK_NEAR(r.each[i].values[OPENING_cracking_time], 0.005 + 0.02 * i, 1e-6);
    CHECK_NEAR(r.each[i].values[OPENING_peak_time], 0.01 + 0.02 * i, 1e-5);
    CHECK_NEAR(r.each[i].values[OPENING_peak_drop], 110e5, 1e3);
    CHECK_NEAR(r.each[i].values[OPENING_reseat_time], 0.01 + 0.02 * (i + 0.5 * 9.99 / 20.0), 2e-6);
    assert_true(isnan(r.each[i].values[OPENING_settling_time]));
    assert_non_null(strstr(r.each[i].absent[OPENING_settling_time], "shut again"));
  }
  CHECK_CLOSE(r.values[RESPONSE_reseat_time], r.each[0].values[OPENING_reseat_time], 0.0);
  CHECK_CLOSE(r.values[RESPONSE_last_reseat_time], r.each[9].values[OPENING_reseat_time], 0.0);
  assert_true(isnan(r.values[RESPONSE_settled_drop]));
}

/* Three peaks, the second the highest; the other line rises meanwhile. All is read off the first and off the drop. */
static void the_first_peak_counts_and_the_drop(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    double t = time_of[k] = k * 1e-5;
    double phase = fmod(t / 0.05, 1.0);
    double height = t < 0.05 ? 20e5 : t < 0.1 ? 50e5 : 9e5;
    drop[k] = 95e5 + height * (phase < 0.5 ? 2.0 * phase : 2.0 - 2.0 * phase);
    pressure[k] = drop[k] + 3e5 + 200e5 * t;
    /* The valve passes what 4 bar less would make of it. */
    flow[k] = 1e-8 * fmax(0.0, drop[k] - 104e5);
  }
  struct response_history history = {SAMPLES, time_of, pressure, drop, flow, NULL, NULL, NULL};
  struct response r = find_in(history, 0.05);
  CHECK_NEAR(r.values[RESPONSE_first_peak_time], 0.025, 1e-5);
  CHECK_NEAR(r.values[RESPONSE_first_peak_drop], 115e5, 1e3);
  CHECK_NEAR(r.values[RESPONSE_response_time], 0.025 - 0.00625, 1e-5);
  CHECK_NEAR(r.values[RESPONSE_overshoot], 4e5, 1e3);
  CHECK_NEAR(r.values[RESPONSE_static_drop], 111e5, 1e3);
  CHECK_NEAR(r.values[RESPONSE_peak_time], 0.075, 1e-5);
  CHECK_NEAR(r.values[RESPONSE_peak_drop], 145e5, 3e3);
  /* By the drop it shuts where it opened, by the line 3.8 bar above. */
  CHECK_NEAR(r.values[RESPONSE_hysteresis], 0.0, 200.0);
  assert_true(r.values[RESPONSE_reseat_pressure] > r.values[RESPONSE_opening_pressure] + 3e5);
  CHECK_NEAR(r.values[RESPONSE_openings], 2.0, 0.0); /* the others come to 104 bar: nothing passes */
}

static void a_valve_that_passes_nothing_says_so(void **state) {
  (void)state;
  ring(0.01, 80e5, 120e5, 400.0, 0.2);
  static double none[SAMPLES];
  struct response_history history = {SAMPLES, time_of, pressure, drop, none, NULL, NULL, NULL};
  struct response r = find_in(history, 0.05);
  for (int i = 0; i < RESPONSE_COUNT; i++) {
    assert_true(isnan(r.values[i]));
    assert_non_null(strstr(r.absent[i], "0.6 L/min"));
  }
  assert_int_equal(r.each_count, 0);
}

static void a_poppet_that_stands_still_sticks(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    double t = time_of[k] = k * 1e-5;
    pressure[k] = 90e5 + 100e5 * t;
    drop[k] = pressure[k];
    /* The poppet follows, but rests from 0.13 to 0.16 s while the pressure rises by 3 bar. */
    double followed = t < 0.13 ? t : (t < 0.16 ? 0.13 : t);
    opening[k] = fmax(0.0, 90e5 + 100e5 * followed - 100e5);
    flow[k] = 1e-8 * opening[k];
  }
  struct response r = find(NULL);
  CHECK_NEAR(r.values[RESPONSE_stickings], 1.0, 0.0);
  CHECK_CLOSE(r.values[RESPONSE_longest_sticking], 0.03, 0.01);
}

static void the_limiter_takes_over(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    double t = time_of[k] = k * 1e-5;
    pressure[k] = 90e5 + 20e5 * sin(3.14159265358979 * t / 0.2);
    drop[k] = pressure[k];
    flow[k] = 1e-8 * fmax(0.0, pressure[k] - 100e5);
    opening[k] = fmax(0.0, pressure[k] - 100e5);
    limiter[k] = fmax(0.0, t - 0.05);
  }
  struct response r = find(limiter);
  double crack = 0.2 * asin(0.5) / 3.14159265358979;
  CHECK_CLOSE(r.values[RESPONSE_cracking_time], crack, 1e-6);
  CHECK_CLOSE(r.values[RESPONSE_limiter_begin], 0.06 - crack, 1e-4);
  CHECK_CLOSE(r.values[RESPONSE_handover_time], 0.2 - 2.0 * crack, 1e-3);
  assert_non_null(strstr(r.absent[RESPONSE_settled_pressure], "shut again"));
  struct response without = find(NULL);
  assert_true(isnan(without.values[RESPONSE_handover_time]));
}

static void energy_is_flow_times_drop(void **state) {
  (void)state;
  for (int k = 0; k < SAMPLES; k++) {
    time_of[k] = k * 1e-5;
    pressure[k] = 110e5;
    drop[k] = 110e5;
    flow[k] = 1e-3;
    opening[k] = 1.0;
  }
  struct response r = find(NULL);
  CHECK_CLOSE(r.values[RESPONSE_energy], 110e5 * 1e-3 * 0.2, 1e-9);
  CHECK_CLOSE(r.values[RESPONSE_peak_power], 11e3, 1e-12);
  CHECK_CLOSE(r.values[RESPONSE_open_time], 0.2, 1e-12);
}

static void a_window_without_samples_is_refused(void **state) {
  (void)state;
  ring(0.01, 80e5, 120e5, 400.0, 0.2);
  struct response_history history = {SAMPLES, time_of, pressure, drop, flow, NULL, NULL, NULL};
  struct response_settings settings = {100e5, HUGE_VAL, 0.02, 0.5, 0.6, still, NULL};
  struct response response;
  struct error error = {0};
  assert_false(response_find(&history, &settings, &response, &error));
  assert_int_equal(error.code, ERROR_USAGE);
}

static void thinning_keeps_curves(void **state) {
  (void)state;
  ring(0.01, 80e5, 120e5, 400.0, 0.2);
  static int kept[SAMPLES];
  const double *columns[] = {pressure, flow};
  int count = history_thin(time_of, columns, 2, SAMPLES, 1e-3, kept);
  assert_true(count < SAMPLES / 20);
  assert_int_equal(kept[0], 0);
  assert_int_equal(kept[count - 1], SAMPLES - 1);
  double worst = 0.0;
  for (int i = 1; i < count; i++) {
    assert_true(kept[i] > kept[i - 1]);
    for (int k = kept[i - 1]; k <= kept[i]; k++) {
      double share = (double)(k - kept[i - 1]) / (kept[i] - kept[i - 1]);
      double line = pressure[kept[i - 1]] + share * (pressure[kept[i]] - pressure[kept[i - 1]]);
      worst = fmax(worst, fabs(line - pressure[k]));
    }
  }
  /* range about 61 bar; a line is within twice the tolerance */
  assert_true(worst <= 2.0 * 1e-3 * 62e5);
}

static void a_cubic_between_samples(void **state) {
  (void)state;
  double t[] = {0.0, 1.25, 2.5, 3.75, 5.0};
  double v[5];
  for (int i = 0; i < 5; i++) {
    v[i] = 1.0 + t[i] * (2.0 - t[i] * (0.5 - 0.25 * t[i]));
  }
  for (double x = 0.0; x <= 5.0; x += 0.1) {
    CHECK_NEAR(history_at(t, v, 5, x), 1.0 + x * (2.0 - x * (0.5 - 0.25 * x)), 1e-12);
  }
  CHECK_NEAR(history_at(t, v, 5, -1.0), v[0], 0.0);
  CHECK_NEAR(history_at(t, v, 5, 9.0), v[4], 0.0);
  /* Between uneven samples, as thinning leaves them, a straight line. */
  double uneven[] = {0.0, 1.0, 1.1, 1.2, 5.0};
  double steps[] = {0.0, 0.0, 100.0, 100.0, 100.0};
  CHECK_NEAR(history_at(uneven, steps, 5, 3.0), 100.0, 1e-12);
  CHECK_NEAR(history_at(uneven, steps, 5, 0.5), 0.0, 1e-12);
  CHECK_NEAR(history_at(t, v, 2, 0.625), 0.5 * (v[0] + v[1]), 1e-12);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_ringing_step_is_measured),
      cmocka_unit_test(a_creeping_pressure_has_no_response_time),
      cmocka_unit_test(a_valve_that_stays_shut_says_how_near_it_came),
      cmocka_unit_test(repeated_opening_is_counted),
      cmocka_unit_test(the_first_peak_counts_and_the_drop),
      cmocka_unit_test(a_valve_that_passes_nothing_says_so),
      cmocka_unit_test(a_poppet_that_stands_still_sticks),
      cmocka_unit_test(the_limiter_takes_over),
      cmocka_unit_test(energy_is_flow_times_drop),
      cmocka_unit_test(a_window_without_samples_is_refused),
      cmocka_unit_test(thinning_keeps_curves),
      cmocka_unit_test(a_cubic_between_samples),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
