/* The gearbox: what it gives at its output, what a shift costs, when it is refused; energy closes through it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "gearbox.h"
#include "transmission.h"

static void gears_by_their_numbers(void **state) {
  (void)state;
  DEFAULTS(gearbox, box);
  CHECK_CLOSE(gearbox_ratio(&box, 1), 3.0, 1e-15);
  CHECK_CLOSE(gearbox_ratio(&box, 2), 1.0, 1e-15);
  for (int gear = -1; gear < 7; gear++) {
    assert_true((gearbox_ratio(&box, gear) > 0.0) == (gear == 1 || gear == 2));
    assert_true(gearbox_efficiency(&box, gear) > 0.0 && gearbox_efficiency(&box, gear) <= 1.0);
  }
  box.shift_time = 0.4;
  box.overlap = 0.75;
  box.law = GEARBOX_UNDER_LOAD;
  CHECK_CLOSE(gearbox_closing_delay(&box), 0.1, 1e-12);
  box.law = GEARBOX_STANDSTILL;
  CHECK_CLOSE(gearbox_closing_delay(&box), 0.4, 1e-12);
  for (int way = -1; way <= 1; way += 2) { /* a mesh never gives power, whichever way it goes */
    assert_true(gearbox_mesh_loss(0.97, way * 500.0, 1.0, 50.0, 1.0) * 50.0 > 0.0);
    assert_true(gearbox_mesh_loss(0.97, 500.0, 1.0, way * 50.0, 1.0) * way > 0.0);
  }
  CHECK_CLOSE(gearbox_mesh_loss(0.97, 500.0, 1e-6, 50.0, 1.0), 15.0, 1e-6);
}

/* In gear the wheels get the motor's torque times ratio and efficiency. */
static void torque_by_the_gear(void **state) {
  (void)state;
  struct bench *bench =
      bench_open("vehicle: {axles: two, mass: 1000 t}\ngearbox: {law: under_load, ratio_1: 2.5, efficiency_1: 90 %, "
                 "clutch_torque: 5000 N m}\ntyre: {grip: 2, rolling_resistance: 0}\ndriveline: {efficiency: 100 %, "
                 "torque_width: 1e-6 N m, "
                 "speed_width: 1e-4 rpm, "
                 "drag_torque: 0 N m}\nengine: {stall: none}\noperator: {forward_pedal: 15 %}\n");
  bench_run(bench, 1.2);
  double motor = bench_signal(bench, "motor_torque");
  double ratio = *bench_parameter(bench, "driveline", "ratio");
  assert_true(motor > 50.0 && bench_signal(bench, "wheel_speed") > 0.01);
  CHECK_CLOSE(bench_signal(bench, "rear_wheel_torque"), motor * 2.5 * 0.9 * ratio, 1e-2); /* some speeds the motor up */
  CHECK_CLOSE(bench_signal(bench, "motor_speed"), 2.5 * ratio * bench_signal(bench, "wheel_speed"), 1e-3);
  CHECK_NEAR(bench_signal(bench, "gear"), 1.0, 0.0);
  bench_close(bench);
}

/* A machine that drives off and is asked for gear 2 at 3 s, for `back` at 6 s. */
static void drive(const char *law, int asked, int back, struct outcome *outcome) {
  char text[2048];
  (void)snprintf(
      text, sizeof text,
      "engine: {stall: none}\ngearbox: {law: %s}\nsimulation: {end_time: 9 s, output_step: 1 s}\n"
      "driveline: {ratio: 25}\noperator: {forward_pedal: [[0 s, 0 %%], [2 s, 50 %%], [5 s, 50 %%], [5.5 s, 0 %%]]}\n"
      "actions:\n  - {when: time > 3 s, move: gear, to: %d}\n"
      "  - {when: time > 7.5 s, move: gear, to: %d}\n",
      law, asked, back);
  assert_true(bench_whole_run(text, outcome));
}

static int told(const struct outcome *outcome, const char *words) {
  int count = 0;
  for (int i = 0; i < outcome->event_count; i++) {
    count += strstr(outcome->events[i].message, words) != NULL;
  }
  return count;
}

static void shifts_close_or_are_refused(void **state) {
  (void)state;
  struct outcome shifted;
  struct outcome refused;
  struct outcome absent;
  drive("under_load", 2, 1, &shifted);
  assert_int_equal(told(&shifted, "begins to shift to gear 2"), 1);
  assert_int_equal(told(&shifted, "gear 2 is engaged"), 1);
  assert_int_equal(told(&shifted, "gear 1 is engaged"), 1);
  drive("standstill", 2, 1, &refused);
  assert_int_equal(told(&refused, "shifts at standstill only"), 1);
  assert_int_equal(told(&refused, "is engaged"), 0); /* back to the gear that was never left: nothing to do */
  drive("under_load", 4, 3, &absent);
  assert_int_equal(told(&absent, "no such gear"), 2);
  assert_true(shifted.measures[MEASURE_vehicle_speed_max] > 1.3 * refused.measures[MEASURE_vehicle_speed_max]);
  struct outcome *all[] = {&shifted, &refused, &absent};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    assert_true(all[i]->measures[MEASURE_energy_residual] < 2e-6);
    assert_true(all[i]->measures[MEASURE_heat_residual] < 1e-6);
    outcome_free(all[i]);
  }
}

/* At rest it shifts, through neutral, and drives off in the gear that was asked for. */
static void at_rest_it_shifts(void **state) {
  (void)state;
  struct outcome outcome;
  assert_true(bench_whole_run(
      "engine: {stall: none}\ngearbox: {law: standstill}\nsimulation: {end_time: 6 s, output_step: 1 s}\n"
      "operator: {forward_pedal: [[0 s, 0 %], [2 s, 0 %], [3 s, 30 %]],"
      " gear: [[0 s, 1], [0.5 s, 1], [0.5 s, 2]]}\n",
      &outcome));
  assert_int_equal(told(&outcome, "gear 2 is engaged"), 1);
  assert_true(outcome.measures[MEASURE_vehicle_distance_end] > 1.0);
  assert_true(outcome.measures[MEASURE_energy_residual] < 1e-6);
  outcome_free(&outcome);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(gears_by_their_numbers),
      cmocka_unit_test(torque_by_the_gear),
      cmocka_unit_test(shifts_close_or_are_refused),
      cmocka_unit_test(at_rest_it_shifts),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
