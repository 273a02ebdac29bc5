/* Engine, driveline, the machine's weight, temperatures. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "driveline.h"
#include "engine.h"
#include "heat.h"
#include "sample.h"
#include "vehicle.h"

static void torque_is_a_parabola(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  CHECK_CLOSE(engine_full_torque(&engine, engine.peak_torque_speed), 720.0, 1e-14);
  CHECK_CLOSE(engine_full_torque(&engine, engine.peak_torque_speed + 0.5 * engine.torque_half_width), 540.0, 1e-12);
  assert_true(engine_full_torque(&engine, engine.peak_torque_speed + 1.1 * engine.torque_half_width) == 0.0);
  assert_true(engine_full_torque(&engine, engine.peak_torque_speed - 1.1 * engine.torque_half_width) == 0.0);
}

/* Friction and exhaust brake oppose rotation either way, for every coefficient in bounds. */
static void friction_opposes_rotation(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  struct sampler sampler = {61u};
  for (int i = 0; i < 5000; i++) {
    engine.friction_constant = sample_between(&sampler, 0.0, 100.0);
    engine.friction_linear = sample_between(&sampler, 0.0, 0.5);
    engine.friction_quadratic = sample_between(&sampler, 0.0, 2e-3);
    engine.exhaust_brake_torque = sample_between(&sampler, 0.0, 500.0);
    engine.speed_width = sample_decades(&sampler, 0.1, 10.0);
    double speed = sample_between(&sampler, 0.0, 400.0);
    assert_true(engine_friction(&engine, speed) * speed >= 0.0);
    assert_true(engine_exhaust_brake(&engine, speed, sample_unit(&sampler)) * speed >= 0.0);
    assert_true(engine_exhaust_brake(&engine, -speed, 1.0) * -speed >= 0.0);
    assert_true(engine_auxiliaries(&engine, speed) >= 0.0);
  }
  DEFAULTS(engine, plain);
  CHECK_CLOSE(engine_friction(&plain, 200.0), 40.0 + 0.2 * 200.0 + 9e-4 * 200.0 * 200.0, 1e-12);
  CHECK_CLOSE(engine_auxiliaries(&plain, 200.0), 7.5e-4 * 4e4, 1e-12);
}

static void a_motored_engine_makes_what_fuel_gives(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  double full = engine_full_torque(&engine, 200.0);
  double friction = engine_friction(&engine, 200.0);
  assert_true(engine_combustion(0.0, full, friction) == 0.0);
  CHECK_CLOSE(engine_combustion(1.0, full, friction) - friction, full, 1e-12);
}

static void governor_droops(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  double set = engine.set_speed;
  CHECK_NEAR(engine_fuel_rate(&engine, 1.0, set, 1.0, true), 0.0, 1e-9);
  CHECK_NEAR(engine_fuel_rate(&engine, 1.0, 0.5 * set, 1.0, true), 0.0, 1e-9);
  CHECK_NEAR(engine_fuel_rate(&engine, 0.5, set * (1.0 + 0.5 * engine.droop), 1.0, true), 0.0, 1e-9);
  CHECK_NEAR(engine_fuel_rate(&engine, 0.0, set * (1.0 + engine.droop), 1.0, true), 0.0, 1e-9);
  CHECK_NEAR(engine_fuel_rate(&engine, 0.0, 2.0 * set, 1.0, true), 0.0, 1e-12);
  CHECK_CLOSE(engine_fuel_rate(&engine, 0.25, 0.5 * set, 1.0, true), 0.75 / engine.fuel_lag, 1e-12);
  /* throttle scales the set speed; a dead engine asks for nothing */
  CHECK_NEAR(engine_fuel_rate(&engine, 0.5, 0.6 * set * (1.0 + 0.5 * engine.droop), 0.6, true), 0.0, 1e-9);
  CHECK_CLOSE(engine_fuel_rate(&engine, 0.5, 0.5 * set, 1.0, false), -0.5 / engine.fuel_lag, 1e-12);
}

static void gear_loses_both_ways(void **state) {
  (void)state;
  DEFAULTS(driveline, driveline);
  struct sampler sampler = {62u};
  for (int i = 0; i < 5000; i++) {
    driveline.efficiency = sample_between(&sampler, 0.1, 1.0);
    driveline.drag_torque = sample_between(&sampler, 0.0, 1000.0);
    driveline.torque_width = sample_decades(&sampler, 1e-3, 1e3);
    double torque = sample_between(&sampler, -5e4, 5e4);
    double speed = sample_between(&sampler, -50.0, 50.0);
    double loss = driveline_loss(&driveline, torque, speed);
    assert_true(loss * speed >= 0.0);
    CHECK_NEAR(driveline_loss(&driveline, torque, -speed), -loss, 0.0);
    CHECK_NEAR(driveline_loss(&driveline, -torque, speed), loss, 0.0);
    /* never more than the torque itself, drag apart */
    assert_true(fabs(loss) <= fabs(torque) * (1.0 - driveline.efficiency) + driveline.drag_torque);
  }
  DEFAULTS(driveline, plain);
  CHECK_CLOSE(driveline_loss(&plain, 2e4, 5.0), 0.06 * 2e4, 2e-3);
  plain.efficiency = 1.0;
  plain.drag_torque = 250.0;
  CHECK_CLOSE(driveline_loss(&plain, 2e4, 5.0), 250.0, 1e-12);
}

static void weight_splits_on_a_slope(void **state) {
  (void)state;
  DEFAULTS(vehicle, vehicle);
  struct sampler sampler = {63u};
  for (int i = 0; i < 500; i++) {
    double grade = sample_between(&sampler, -1.5, 1.5);
    struct vehicle_weight weight = vehicle_weight_on(&vehicle, grade);
    CHECK_CLOSE(hypot(weight.load, weight.slope), vehicle.mass * vehicle.gravity, 1e-13);
    CHECK_CLOSE(weight.slope / weight.load, grade, 1e-13);
    assert_true(weight.load > 0.0);
  }
}

static void temperatures_balance(void **state) {
  (void)state;
  DEFAULTS(heat, heat);
  /* nothing happens when all is at ambient temperature */
  CHECK_NEAR(heat_loop_rate(&heat, 0.0, 100.0, heat.ambient, heat.ambient), 0.0, 1e-15);
  CHECK_NEAR(heat_tank_rate(&heat, 0.0, 100.0, heat.ambient, heat.ambient), 0.0, 1e-15);
  CHECK_CLOSE(heat_loop_rate(&heat, 6e4, 0.0, heat.ambient, heat.ambient), 1.0, 1e-12);
  CHECK_CLOSE(heat_tank_rate(&heat, 165e3, 0.0, heat.ambient, heat.ambient), 1.0, 1e-12);
  /* exchange by flow: what one node loses the other gains */
  double loop = heat_loop_rate(&heat, 0.0, 500.0, 350.0, 320.0) * heat.loop_capacity +
                heat.loop_to_ambient * (350.0 - heat.ambient);
  double tank = heat_tank_rate(&heat, 0.0, 500.0, 350.0, 320.0) * heat.tank_capacity +
                heat.tank_to_ambient * (320.0 - heat.ambient);
  CHECK_CLOSE(tank, -loop, 1e-12);
  /* thermostat: shut, half, open */
  double cold = heat_tank_rate(&heat, 0.0, 0.0, 320.0, heat.thermostat_begin);
  CHECK_CLOSE(cold * heat.tank_capacity, -heat.tank_to_ambient * (heat.thermostat_begin - heat.ambient), 1e-12);
  double half = 0.5 * (heat.thermostat_begin + heat.thermostat_open);
  CHECK_CLOSE(heat_tank_rate(&heat, 0.0, 0.0, 320.0, half) * heat.tank_capacity,
              -(heat.tank_to_ambient + 0.5 * heat.cooler) * (half - heat.ambient), 1e-12);
  CHECK_CLOSE(heat_tank_rate(&heat, 0.0, 0.0, 320.0, 370.0) * heat.tank_capacity,
              -(heat.tank_to_ambient + heat.cooler) * (370.0 - heat.ambient), 1e-12);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(torque_is_a_parabola),
      cmocka_unit_test(friction_opposes_rotation),
      cmocka_unit_test(a_motored_engine_makes_what_fuel_gives),
      cmocka_unit_test(governor_droops),
      cmocka_unit_test(gear_loses_both_ways),
      cmocka_unit_test(weight_splits_on_a_slope),
      cmocka_unit_test(temperatures_balance),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
