/* What loads the engine beside the drive, and what keeps it from its torque: implement, turbocharger, smoke limit. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "implement.h"
#include "sample.h"
#include "turbocharger.h"

static void an_implement_only_takes(void **state) {
  (void)state;
  DEFAULTS(implement, implement);
  struct sampler sampler = {81u};
  for (int i = 0; i < 5000; i++) {
    double speed = sample_between(&sampler, -100.0, 300.0);
    double power = sample_between(&sampler, 0.0, 2e5);
    double flow = sample_between(&sampler, 0.0, 5e-3);
    double pressure = sample_between(&sampler, 0.0, 3e7);
    double shaft = implement_shaft_torque(&implement, power, speed);
    double pump = implement_pump_torque(&implement, flow, pressure, speed, 1.0);
    assert_true(shaft * speed >= 0.0 && pump * speed >= 0.0);
    assert_true(shaft * speed <= power * (1.0 + 1e-12));
    /* what arrives in the oil is at most what the shaft gives, less the pump's losses */
    if (speed > 20.0) {
      CHECK_CLOSE(implement_flow(&implement, flow, speed) * pressure, implement.efficiency * pump * speed, 1e-9);
    }
  }
  for (int way = -1; way <= 0; way++) { /* a stopped engine gives nothing, nor one that is turned backwards */
    assert_true(implement_shaft_torque(&implement, 5e4, way * 50.0) == 0.0);
    assert_true(implement_pump_torque(&implement, 1e-3, 2e7, way * 50.0, 1.0) == 0.0);
  }
  double half = 0.5 * implement.full_power_speed;
  CHECK_CLOSE(implement_shaft_torque(&implement, 5e4, half) * half, 0.25 * 5e4, 1e-12);
}

static void boost_follows_the_fuel(void **state) {
  (void)state;
  DEFAULTS(turbocharger, turbocharger);
  turbocharger.natural_share = 0.6;
  turbocharger.lag = 0.6;
  CHECK_CLOSE(turbocharger_smoke_limit(&turbocharger, 0.0), 0.6, 1e-15);
  CHECK_CLOSE(turbocharger_smoke_limit(&turbocharger, 1.0), 1.0, 1e-15);
  for (int i = 0; i <= 20; i++) {
    double fuel = 0.05 * i;
    assert_true(turbocharger_boost_rate(&turbocharger, fuel, fuel, 200.0, 200.0) == 0.0);
    assert_true(turbocharger_smoke_limit(&turbocharger, fuel) >= fuel); /* in balance it never binds */
  }
  CHECK_CLOSE(turbocharger_boost_rate(&turbocharger, 0.2, 0.8, 200.0, 200.0), 1.0, 1e-12);
  CHECK_CLOSE(turbocharger_boost_rate(&turbocharger, 0.2, 0.8, 100.0, 200.0), 0.5, 1e-12); /* slower at lower speed */
  CHECK_CLOSE(turbocharger_boost_rate(&turbocharger, 0.2, 0.8, 0.0, 200.0), 0.2, 1e-12);
}

static const char loaded[] = "turbocharger: {fitted: %s, natural_share: 40 %%}\nimplement: {law: power}\n"
                             "operator: {implement_power: [[0 s, 0 kW], [1 s, 0 kW], [1.1 s, %d kW]]}\n"
                             "engine: {stall: %s}\nsimulation: {end_time: 4 s, output_step: 1 s}\n";

static int told(const struct outcome *outcome, const char *words) {
  int count = 0;
  for (int i = 0; i < outcome->event_count; i++) {
    count += strstr(outcome->events[i].message, words) != NULL;
  }
  return count;
}

/* The dip under a load is deeper with a turbocharger; what is told begins and ends. */
static void a_turbocharged_engine_dips_deeper(void **state) {
  (void)state;
  struct outcome outcomes[2];
  char text[1024];
  for (int k = 0; k < 2; k++) {
    (void)snprintf(text, sizeof text, loaded, k == 0 ? "no" : "yes", 80, "held");
    assert_true(bench_whole_run(text, &outcomes[k]));
  }
  assert_true(outcomes[1].measures[MEASURE_engine_speed_min] < outcomes[0].measures[MEASURE_engine_speed_min] - 20.0);
  assert_int_equal(told(&outcomes[0], "the smoke limit holds"), 0);
  assert_int_equal(told(&outcomes[1], "the smoke limit holds"), 1);
  assert_int_equal(told(&outcomes[1], "gives full fuel"), 1);
  assert_int_equal(told(&outcomes[1], "no longer lugs under"), 1);
  for (int k = 0; k < 2; k++) {
    assert_true(outcomes[k].measures[MEASURE_energy_residual] < 1e-6);
    outcome_free(&outcomes[k]);
  }
}

/* More than the engine has: it dies, and the dead engine carries nothing. */
static void an_implement_can_kill_the_engine(void **state) {
  (void)state;
  char text[1024];
  struct outcome outcome;
  (void)snprintf(text, sizeof text, loaded, "yes", 300, "held");
  assert_true(bench_whole_run(text, &outcome));
  assert_int_equal(told(&outcome, "the engine stalls"), 1);
  assert_int_equal(told(&outcome, "comes to rest"), 1);
  assert_true(outcome.measures[MEASURE_engine_speed_min] > -1.0); /* not driven backwards */
  assert_true(outcome.measures[MEASURE_energy_residual] < 1e-5);  /* of the little that a second put in */
  outcome_free(&outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(an_implement_only_takes),
      cmocka_unit_test(boost_follows_the_fuel),
      cmocka_unit_test(a_turbocharged_engine_dips_deeper),
      cmocka_unit_test(an_implement_can_kill_the_engine),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
