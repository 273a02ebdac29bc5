/* Pump, motor and the losses that they share. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "motor.h"
#include "pump.h"
#include "sample.h"

static struct rotary_losses random_losses(struct sampler *sampler) {
  struct rotary_losses losses = {
      .displacement = sample_decades(sampler, 1e-6, 1e-3),
      .slip = sample_decades(sampler, 1e-10, 1e-7),
      .case_leak = sample_decades(sampler, 1e-10, 1e-7),
      .viscous = sample_decades(sampler, 1e3, 1e6),
      .coulomb = sample_between(sampler, 0.0, 0.1),
      .constant = sample_between(sampler, 0.0, 50.0),
      .speed_width = sample_decades(sampler, 1e-2, 10.0),
      .pressure_width = sample_decades(sampler, 10.0, 1e6),
  };
  return losses;
}

/* The same in oil, with the terms by stroke and speed; every now and then one of them is none. */
static struct rotary_losses random_losses_by_stroke(struct sampler *sampler) {
  struct rotary_losses losses = random_losses(sampler);
  bool some = sample_unit(sampler) < 0.8;
  losses.friction_idle = sample_between(sampler, 0.0, 1.0);
  losses.churning = some ? sample_decades(sampler, 1.0, 1e3) : 0.0;
  losses.churning_idle = sample_between(sampler, 0.0, 1.0);
  losses.compressed_idle = sample_between(sampler, 0.0, 5.0);
  losses.compressed_full = sample_between(sampler, 0.0, 5.0);
  rotary_losses_in_oil(&losses, 870.0, 1.55e9, 9.0);
  return losses;
}

/* Second law: what the shaft gives beyond what the oil takes is never negative, in any quadrant. Torque loss times
 * speed and leakage times drop, each for itself. */
static void losses_never_give_power(void **state) {
  (void)state;
  struct sampler sampler = {31u};
  for (int i = 0; i < 20000; i++) {
    struct rotary_losses losses = random_losses(&sampler);
    double mu = sample_decades(&sampler, 3e-3, 3.0);
    double speed = sample_between(&sampler, -600.0, 600.0);
    double a = sample_between(&sampler, 0.0, 5e7);
    double b = sample_between(&sampler, 0.0, 5e7);
    double over_case = sample_between(&sampler, -2e5, 5e7);
    assert_true(rotary_torque_loss(&losses, a - b, speed, mu) * speed >= 0.0);
    assert_true(rotary_slip_flow(&losses, a - b, mu) * (a - b) >= 0.0);
    assert_true(rotary_case_flow(&losses, over_case, mu) * over_case >= 0.0);
  }
}

/* The same with the terms by stroke and speed, and mirrored as the machine is. */
static void losses_by_stroke_never_give_power(void **state) {
  (void)state;
  struct sampler sampler = {34u};
  for (int i = 0; i < 20000; i++) {
    struct rotary_losses losses = random_losses_by_stroke(&sampler);
    double mu = sample_decades(&sampler, 3e-3, 3.0);
    double speed = sample_between(&sampler, -600.0, 600.0) * (i % 5 == 0 ? 1e-3 : 1.0);
    double stroke = sample_between(&sampler, -1.0, 1.0);
    double a = sample_between(&sampler, -2e5, 5e7);
    double b = sample_between(&sampler, -2e5, 5e7);
    struct rotary_leaks leaks = rotary_leaks_of(&losses, a - b, a, b, stroke, speed, mu);
    double torque = rotary_torque_of(&losses, a - b, stroke, speed, mu);
    assert_true(torque * speed >= 0.0);
    assert_true(leaks.slip * (a - b) >= 0.0);
    struct rotary_leaks mirror = rotary_leaks_of(&losses, b - a, b, a, -stroke, speed, mu);
    CHECK_NEAR(mirror.slip, -leaks.slip, 0.0);
    CHECK_NEAR(rotary_torque_of(&losses, b - a, -stroke, -speed, mu), -torque, 0.0);
    /* at full stroke, or where a term does not ask for the stroke, nothing is less than without the terms */
    assert_true(fabs(leaks.slip) >= fabs(rotary_slip_flow(&losses, a - b, mu)) * (1.0 - 1e-15));
    assert_true(fabs(rotary_torque_of(&losses, a - b, 1.0, speed, mu)) >=
                fabs(rotary_torque_loss(&losses, a - b, speed, mu)) * (1.0 - 1e-12));
  }
}

/* None of them gives the old law to the last bit, by either path. */
static void terms_of_nothing_change_no_bit(void **state) {
  (void)state;
  struct sampler sampler = {35u};
  for (int i = 0; i < 2000; i++) {
    struct rotary_losses losses = random_losses(&sampler);
    losses.friction_idle = 1.0;
    rotary_losses_in_oil(&losses, 870.0, 1.55e9, 9.0);
    assert_false(losses.by_stroke);
    double speed = sample_between(&sampler, -600.0, 600.0);
    double stroke = sample_between(&sampler, -1.0, 1.0);
    double a = sample_between(&sampler, 0.0, 5e7);
    double b = sample_between(&sampler, 0.0, 5e7);
    struct rotary_leaks plain = rotary_leaks_of(&losses, a - b, a, b, stroke, speed, 0.02);
    double torque = rotary_torque_of(&losses, a - b, stroke, speed, 0.02);
    losses.by_stroke = true; /* as when another lane has such a term */
    struct rotary_leaks leaks = rotary_leaks_of(&losses, a - b, a, b, stroke, speed, 0.02);
    assert_memory_equal(&leaks, &plain, sizeof leaks);
    CHECK_NEAR(rotary_torque_of(&losses, a - b, stroke, speed, 0.02), torque, 0.0);
  }
}

/* Each term by hand: 100 cm3/rad, 200 rad/s, 300 bar over 20 bar. */
static void terms_by_stroke_and_speed(void **state) {
  (void)state;
  struct rotary_losses losses = {.displacement = 1e-4,
                                 .coulomb = 0.03,
                                 .churning = 50.0,
                                 .churning_idle = 0.25,
                                 .friction_idle = 0.6,
                                 .compressed_idle = 0.8,
                                 .compressed_full = 1.2,
                                 .speed_width = 1.0,
                                 .pressure_width = 1e-3};
  rotary_losses_in_oil(&losses, 900.0, 1.5e9, 10.0);
  assert_true(losses.by_stroke);
  double size = pow(1e-4, 5.0 / 3.0);
  double churning = 0.5 * 50.0 * 900.0 * size * 200.0 * 200.0;
  CHECK_CLOSE(rotary_torque_of(&losses, 0.0, 0.0, 200.0, 0.02), 0.25 * churning, 1e-12);
  CHECK_CLOSE(rotary_torque_of(&losses, 0.0, -0.5, 200.0, 0.02), 0.625 * churning, 1e-12);
  CHECK_CLOSE(rotary_torque_of(&losses, 0.0, 1.0, -400.0, 0.02), -4.0 * churning, 1e-12);
  double friction = 0.03 * 1e-4 * 2.8e7;
  CHECK_CLOSE(rotary_torque_of(&losses, 2.8e7, 0.5, 200.0, 0.02), 0.8 * friction + 0.625 * churning, 1e-9);
  struct rotary_leaks leaks = rotary_leaks_of(&losses, 2.8e7, 3e7, 2e6, -0.5, 200.0, 0.02);
  CHECK_CLOSE(leaks.slip, 200.0 * 1e-4 * 1.0 * 2.8e7 / (1.5e9 + 10.0 * 1.6e7), 1e-12);
  assert_true(leaks.case_a == 0.0 && leaks.case_b == 0.0);
  leaks = rotary_leaks_of(&losses, 2.8e7, 3e7, 2e6, 0.5, 0.0, 0.02); /* at rest nothing is compressed */
  assert_true(leaks.slip == 0.0);
}

static void losses_are_odd(void **state) {
  (void)state;
  struct sampler sampler = {32u};
  for (int i = 0; i < 1000; i++) {
    struct rotary_losses losses = random_losses(&sampler);
    double mu = sample_decades(&sampler, 3e-3, 3.0);
    double speed = sample_between(&sampler, 0.0, 600.0);
    double drop = sample_between(&sampler, 0.0, 5e7);
    CHECK_NEAR(rotary_slip_flow(&losses, -drop, mu), -rotary_slip_flow(&losses, drop, mu), 0.0);
    CHECK_NEAR(rotary_torque_loss(&losses, drop, -speed, mu), -rotary_torque_loss(&losses, drop, speed, mu), 0.0);
    CHECK_NEAR(rotary_torque_loss(&losses, -drop, speed, mu), rotary_torque_loss(&losses, drop, speed, mu), 0.0);
  }
}

static void nothing_is_lost_without_coefficients(void **state) {
  (void)state;
  struct rotary_losses losses = {.displacement = 1e-5, .speed_width = 1.0, .pressure_width = 1e5};
  assert_true(rotary_torque_loss(&losses, 3e7, 200.0, 0.02) == 0.0);
  assert_true(rotary_slip_flow(&losses, 3e7, 0.02) == 0.0);
  assert_true(rotary_case_flow(&losses, 3e7, 0.02) == 0.0);
}

static void viscous_torque_follows_the_film(void **state) {
  (void)state;
  struct rotary_losses losses = {.displacement = 2e-5, .viscous = 1e5, .speed_width = 1.0, .pressure_width = 1e5};
  CHECK_CLOSE(rotary_torque_loss(&losses, 0.0, 200.0, 0.04), 1e5 * 2e-5 * 0.04 * 200.0, 1e-14);
}

static void parameters_reach_the_losses(void **state) {
  (void)state;
  DEFAULTS(pump, pump);
  DEFAULTS(motor, motor);
  struct rotary_losses of_pump = pump_losses(&pump, 1.5);
  struct rotary_losses of_motor = motor_losses(&motor, 2e5);
  CHECK_CLOSE(of_pump.displacement, 125e-6 / (2.0 * REAL_PI), 1e-14);
  CHECK_NEAR(of_pump.slip, pump.slip_coefficient, 0.0);
  CHECK_NEAR(of_pump.case_leak, pump.case_leak_coefficient, 0.0);
  CHECK_NEAR(of_pump.viscous, pump.viscous_coefficient, 0.0);
  CHECK_NEAR(of_pump.coulomb, pump.friction_coefficient, 0.0);
  CHECK_NEAR(of_pump.constant, pump.constant_torque, 0.0);
  CHECK_NEAR(of_pump.friction_idle, 1.0, 0.0);
  CHECK_NEAR(of_pump.churning, 0.0, 0.0);
  CHECK_NEAR(of_pump.compressed_full, 0.0, 0.0);
  CHECK_NEAR(of_pump.speed_width, 1.5, 0.0);
  CHECK_NEAR(of_pump.pressure_width, 1e5, 1e-9);
  CHECK_CLOSE(of_motor.displacement, 160e-6 / (2.0 * REAL_PI), 1e-14);
  CHECK_NEAR(of_motor.slip, motor.slip_coefficient, 0.0);
  CHECK_NEAR(of_motor.case_leak, motor.case_leak_coefficient, 0.0);
  CHECK_NEAR(of_motor.viscous, motor.viscous_coefficient, 0.0);
  CHECK_NEAR(of_motor.coulomb, motor.friction_coefficient, 0.0);
  CHECK_NEAR(of_motor.constant, motor.constant_torque, 0.0);
  CHECK_CLOSE(of_motor.speed_width, 2.0, 1e-12);
  CHECK_NEAR(of_motor.pressure_width, 2e5, 0.0);
}

/* Ideal machine: power of the shaft = power of the oil, in all four quadrants. */
static void ideal_power_is_kept(void **state) {
  (void)state;
  struct sampler sampler = {33u};
  for (int i = 0; i < 1000; i++) {
    double d = sample_decades(&sampler, 1e-6, 1e-3);
    double x = sample_between(&sampler, -1.0, 1.0);
    double w = sample_between(&sampler, -500.0, 500.0);
    double drop = sample_between(&sampler, -5e7, 5e7);
    double oil = pump_displaced_flow(d, x, w) * drop;
    CHECK_WITHIN_(pump_pressure_torque(d, x, drop) * w, oil, 1e-12 * fabs(oil), "pump power");
    oil = motor_displaced_flow(d, fabs(x), w) * drop;
    CHECK_WITHIN_(motor_pressure_torque(d, fabs(x), drop) * w, oil, 1e-12 * fabs(oil), "motor power");
  }
  /* signs: forward stroke pumps into A against a higher A and loads the engine */
  assert_true(pump_displaced_flow(2e-5, 0.5, 200.0) > 0.0);
  assert_true(pump_pressure_torque(2e-5, 0.5, 1e7) > 0.0);
  assert_true(pump_pressure_torque(2e-5, 0.5, -1e7) < 0.0); /* overrun: B drives the engine */
  assert_true(motor_pressure_torque(2e-5, 1.0, 1e7) > 0.0);
}

static void override_sees_the_right_line(void **state) {
  (void)state;
  DEFAULTS(motor, motor);
  motor.override_line = OVERRIDE_DRIVE_SIDE;
  CHECK_CLOSE(motor_override_pressure(&motor, 0.5, 3e7, 2e6), 3e7, 1e-12);
  CHECK_CLOSE(motor_override_pressure(&motor, -0.5, 3e7, 2e6), 2e6, 1e-9);
  CHECK_CLOSE(motor_override_pressure(&motor, 0.0, 3e7, 2e6), 1.6e7, 1e-12);
  motor.override_line = OVERRIDE_HIGHER_LINE;
  CHECK_CLOSE(motor_override_pressure(&motor, -0.5, 3e7, 2e6), 3e7, 1e-12);
  CHECK_CLOSE(motor_override_pressure(&motor, 0.5, 2e6, 3e7), 3e7, 1e-12);
}

static void override_opens_over_its_band(void **state) {
  (void)state;
  DEFAULTS(motor, motor);
  double lag = motor.override_lag;
  assert_true(motor_override_rate(&motor, 0.0, motor.override_begin) == 0.0);
  CHECK_CLOSE(motor_override_rate(&motor, 0.0, motor.override_begin + 0.5 * motor.override_band), 0.5 / lag, 1e-12);
  CHECK_CLOSE(motor_override_rate(&motor, 0.0, 1e9), 1.0 / lag, 1e-12);
  CHECK_CLOSE(motor_override_rate(&motor, 1.0, 0.0), -1.0 / lag, 1e-12);
  motor.override_line = OVERRIDE_OFF;
  assert_true(motor_override_rate(&motor, 0.0, 1e9) == 0.0);
}

static void pedal_commands_displacement(void **state) {
  (void)state;
  DEFAULTS(motor, motor);
  motor.control = MOTOR_PROPORTIONAL;
  CHECK_CLOSE(motor_command(&motor, 0.0), 1.0, 1e-15);
  CHECK_CLOSE(motor_command(&motor, 1.0), motor.smallest, 1e-15);
  CHECK_CLOSE(motor_command(&motor, 0.5), 0.5 * (1.0 + motor.smallest), 1e-15);
  motor.control = MOTOR_TWO_POSITION;
  motor.switch_pedal = 0.5;
  assert_true(motor_command(&motor, 0.48) == 1.0);
  CHECK_CLOSE(motor_command(&motor, 0.52), motor.smallest, 1e-15);
}

static void displacement_obeys_its_rates(void **state) {
  (void)state;
  DEFAULTS(motor, motor);
  motor.rate_up = 0.4;
  motor.rate_down = 0.7;
  motor.override_rate = 1.2;
  CHECK_CLOSE(motor_share_rate(&motor, 0.3, 1.0, 0.0), 0.4, 1e-12);
  CHECK_CLOSE(motor_share_rate(&motor, 1.0, 0.3, 0.0), -0.7, 1e-12);
  CHECK_CLOSE(motor_share_rate(&motor, 0.5, 0.503, 0.0), 0.003 / motor.servo_lag, 1e-9);
  /* the override raises the target and the rates */
  CHECK_CLOSE(motor_share_rate(&motor, 0.3, 0.3, 1.0), 0.4 + 1.2, 1e-12);
  CHECK_NEAR(motor_share_rate(&motor, 0.3 + 0.7 * 0.25, 0.3, 0.25), 0.0, 1e-12);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(losses_never_give_power),
      cmocka_unit_test(losses_by_stroke_never_give_power),
      cmocka_unit_test(terms_of_nothing_change_no_bit),
      cmocka_unit_test(terms_by_stroke_and_speed),
      cmocka_unit_test(losses_are_odd),
      cmocka_unit_test(nothing_is_lost_without_coefficients),
      cmocka_unit_test(viscous_torque_follows_the_film),
      cmocka_unit_test(parameters_reach_the_losses),
      cmocka_unit_test(ideal_power_is_kept),
      cmocka_unit_test(override_sees_the_right_line),
      cmocka_unit_test(override_opens_over_its_band),
      cmocka_unit_test(pedal_commands_displacement),
      cmocka_unit_test(displacement_obeys_its_rates),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
