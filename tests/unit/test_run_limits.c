/* Limits on a signal: broken between the evaluated points, and where the signal is no number. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>

#include "check.h"
#include "limits.h"
#include "toy.h"

/* The first signal is a wave of one second, by a state that is a clock. */
static void clock_rates(double t, double lever, const double *y, double *rates) {
  (void)t;
  (void)lever;
  (void)y;
  rates[0] = 1.0;
}

static void wave_signals(double t, double lever, const double *y, double *signals) {
  (void)t;
  (void)lever;
  signals[0] = sin(6.28318530717958648 * y[0]);
}

static const struct toy wave = {.rates = clock_rates, .signals = wave_signals, .release = NAN};

static struct limit limit_on_first(bool above, double level) {
  struct limit limit;
  memset(&limit, 0, sizeof limit);
  limit.keep.above = above;
  limit.keep.level = level;
  return limit;
}

/* A limit that only a peak between the evaluated points breaks is broken there. */
static void a_limit_may_be_broken_by_a_peak_alone(void **state) {
  (void)state;
  for (int above = 0; above <= 1; above++) {
    struct limit limit = limit_on_first(above, above ? -1.0 + 1e-7 : 1.0 - 1e-7);
    const struct toy *ref;
    struct case_data data = toy_case(&ref, &wave, 0.9);
    data.limits = &limit;
    data.limit_count = 1;
    struct outcome outcome;
    struct error error = {0};
    assert_true(run_case(&data, NULL, NULL, &outcome, &error));
    assert_int_equal(outcome.limits[0].verdict, LIMIT_BROKEN);
    CHECK_NEAR(outcome.limits[0].first, above ? 0.75 : 0.25, 1e-4);
    CHECK_NEAR(outcome.limits[0].worst, above ? -1.0 : 1.0, 1e-11);
    outcome_free(&outcome);
  }
}

/* A signal that is no number at one point of a step, its start, its middle or its end, is not judged. */
static void a_signal_that_is_no_number_is_not_judged(void **state) {
  (void)state;
  struct limit limit = limit_on_first(false, 1.0);
  const struct toy *ref;
  struct case_data data = toy_case(&ref, &wave, 1.0);
  struct toy_mode mode = {.taken = false};
  struct view view = {.data = &data, .plant = &toy_plant, .model = &ref, .mode = &mode, .state_count = TOY_STATES};
  data.limits = &limit;
  data.limit_count = 1;
  for (int k = 0; k <= 3; k++) {
    struct sample samples[3];
    struct limits limits = {.each = NULL};
    struct outcome outcome;
    struct error error = {0};
    memset(samples, 0, sizeof samples);
    memset(&outcome, 0, sizeof outcome);
    samples[1].time = 0.5;
    samples[2].time = 1.0;
    assert_true(limits_begin(&limits, &view, &samples[0], NAN, &error));
    if (k < 3) {
      samples[k].signals[0] = NAN;
    }
    const struct step step = {&samples[0], &samples[1], &samples[2]};
    limits_observe(&limits, &view, &step);
    assert_true(limits_end(&limits, &view, NULL, &samples[2], &outcome, &error));
    assert_int_equal(outcome.limits[0].verdict, k < 3 ? LIMIT_NOT_JUDGED : LIMIT_KEPT);
    free(limits.each);
    outcome_free(&outcome);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_limit_may_be_broken_by_a_peak_alone),
      cmocka_unit_test(a_signal_that_is_no_number_is_not_judged),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
