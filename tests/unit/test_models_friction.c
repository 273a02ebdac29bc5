/* Dry friction that holds at rest (friction.h): it never gives energy, holds without drift below its capacity, slides
 * at it, loses the area of its loop, and is the same both ways round. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "driveline.h"
#include "friction.h"
#include "motor.h"
#include "sample.h"

#define BAR 1e5
#define RPM (2.0 * REAL_PI / 60.0)

/* Whatever stiffness, capacity, torque and speed: what the shaft gives less what is stored is lost, never gained. */
static void never_gives_power(void **state) {
  (void)state;
  struct sampler sampler = {91u};
  for (int i = 0; i < 100000; i++) {
    double capacity = sample_decades(&sampler, 1e-3, 1e4);
    double stiffness = sample_decades(&sampler, 1.0, 1e8);
    double torque = capacity * sample_between(&sampler, -1.0, 1.0) * sample_decades(&sampler, 1e-3, 1e3);
    double speed = (sample_choice(&sampler, 2) == 0 ? -1.0 : 1.0) * sample_decades(&sampler, 1e-8, 500.0);
    double damping = sample_unit(&sampler) < 0.2 ? 0.0 : sample_decades(&sampler, 1e-5, 1.0);
    double release = sample_decades(&sampler, 1e-4, 1.0);
    double rate = friction_torque_rate(capacity, stiffness, release, torque, speed);
    double taken = friction_torque(capacity, stiffness, damping, torque, speed) * speed;
    double stored = friction_winds(stiffness, torque, rate);
    assert_true(taken - stored >= -1e-9 * (fabs(taken) + fabs(stored)));
    CHECK_NEAR(friction_torque_rate(capacity, stiffness, release, -torque, -speed), -rate, 0.0);
    CHECK_NEAR(friction_torque(capacity, stiffness, damping, -torque, -speed),
               -friction_torque(capacity, stiffness, damping, torque, speed), 0.0);
  }
}

/* A shaft that is moved by hand under a pressure that changes as it likes, back to where it was: whatever was wound up
 * at low pressure and let go at high, it has taken energy. The power itself is integrated, not a formula of it. */
static void a_round_trip_takes_energy(void **state) {
  (void)state;
  struct sampler sampler = {92u};
  const double stiffness = 2000.0;
  const double step = 1e-5;
  for (int trip = 0; trip < 50; trip++) {
    double torque = 0.0;
    double work = 0.0;
    double phase = sample_between(&sampler, 0.0, 6.0);
    double rhythm = sample_between(&sampler, 0.3, 8.0);
    double reach = sample_decades(&sampler, 1e-3, 1.0);
    double angle = 0.0;
    for (int i = 0; i < 100000; i++) {
      double t = step * i;
      double speed = reach * cos(2.0 * REAL_PI * 3.0 * t);
      double capacity = 40.0 + 35.0 * sin(2.0 * REAL_PI * rhythm * t + phase);
      work += step * speed * friction_torque(capacity, stiffness, 0.0, torque, speed);
      angle += step * speed;
      torque += step * friction_torque_rate(capacity, stiffness, FRICTION_RELEASE_TIME, torque, speed);
    }
    assert_true(fabs(angle) < 1e-3 * reach);
    assert_true(work > friction_stored_energy(stiffness, torque) * (1.0 - 1e-3));
  }
}

/* Held by a constant torque below the capacity, for half a minute: not a millionth of what it wound up. */
static void holds_without_drift(void **state) {
  (void)state;
  const double capacity = 80.0;
  const double stiffness = 1500.0;
  const double inertia = 2.0;
  const double step = 1e-5;
  for (int way = -1; way <= 1; way += 2) {
    double load = way * 0.95 * capacity;
    double torque = 0.0;
    double speed = 0.0;
    double angle = 0.0;
    double settled = NAN;
    for (int i = 0; i < 3000000; i++) {
      double gives = friction_torque(capacity, stiffness, 0.02, torque, speed);
      torque += step * friction_torque_rate(capacity, stiffness, FRICTION_RELEASE_TIME, torque, speed);
      speed += step * (load * fmin(1.0, i * step) - gives) / inertia; /* put on within a second */
      angle += step * speed;
      settled = i == 2000000 ? angle : settled;
    }
    CHECK_NEAR(angle, settled, 1e-6 * fabs(settled));
    CHECK_CLOSE(torque, load, 1e-6);
    CHECK_NEAR(speed, 0.0, 1e-7);
    /* and gives way above it */
    speed = 0.0;
    for (int i = 0; i < 100000; i++) {
      double gives = friction_torque(capacity, stiffness, 0.02, torque, speed);
      torque += step * friction_torque_rate(capacity, stiffness, FRICTION_RELEASE_TIME, torque, speed);
      speed += step * (1.1 * way * capacity - gives) / inertia;
    }
    /* 10 % of the capacity are left to move it; before it slides the spring lets it go 0.1 rad or so */
    assert_true(way * speed > 0.5 * 0.1 * capacity / inertia);
  }
}

/* What starts and what runs: half of the difference is gone at the starting speed; never less than what runs. */
static void capacity_falls_with_speed(void **state) {
  (void)state;
  CHECK_CLOSE(friction_capacity(80.0, 20.0, 5.0, 0.0, 80.0), 80.0, 1e-15);
  CHECK_CLOSE(friction_capacity(80.0, 20.0, 5.0, 5.0, 80.0), 50.0, 1e-15);
  CHECK_CLOSE(friction_capacity(80.0, 20.0, 5.0, -5.0, 80.0), 50.0, 1e-15);
  CHECK_CLOSE(friction_capacity(80.0, 20.0, 5.0, 500.0, 80.0), 20.0, 1e-3);
  CHECK_CLOSE(friction_capacity(10.0, 20.0, 5.0, 0.0, 80.0), 20.0, 1e-15);
  assert_true(friction_capacity(0.0, 0.0, 5.0, 0.0, 80.0) == 0.08);
}

/* A motor at rest keeps its starting torque; a stiff spring is not one that a case can make soft by a zero. */
static void motor_and_gear_keep_what_starting_takes(void **state) {
  (void)state;
  DEFAULTS(motor, motor);
  motor.starting_efficiency = 0.90;
  struct rotary_losses losses = motor_losses(&motor, 1e3);
  double theoretical = motor.displacement * 350 * BAR;
  CHECK_CLOSE(motor_friction_capacity(&motor, &losses, 350 * BAR, 1.0, 0.0), 0.10 * theoretical, 1e-4);
  CHECK_CLOSE(motor_friction_capacity(&motor, &losses, -350 * BAR, 1.0, 0.0), 0.10 * theoretical, 1e-4);
  CHECK_CLOSE(motor_friction_capacity(&motor, &losses, 350 * BAR, 1.0, 40000 * RPM),
              rotary_dry_torque_of(&losses, 350 * BAR, 1.0, 0.0), 5e-3);
  /* without pressure it is what it always loses */
  CHECK_CLOSE(motor_friction_capacity(&motor, &losses, 0.0, 1.0, 0.0), motor.constant_torque, 1e-12);
  assert_true(motor_friction_stiffness(&motor) > 0.0);
  motor.starting_efficiency = 1.0;
  motor.constant_torque = 0.0;
  assert_true(motor_friction_stiffness(&motor) > 0.0);
  assert_true(rotary_fluid_torque_of(&losses, 1.0, 100.0, 0.02) > 0.0);

  DEFAULTS(driveline, gear);
  gear.efficiency = 0.95;
  gear.drag_torque = 250.0;
  gear.breakaway = 1.4;
  gear.torque_width = 1e-3;
  CHECK_CLOSE(driveline_running_loss(&gear, 2e4), 0.05 * 2e4 + 250.0, 1e-6);
  CHECK_CLOSE(driveline_friction_capacity(&gear, 2e4, 0.0, 1.0), 1.4 * 1250.0, 1e-6);
  CHECK_CLOSE(driveline_friction_capacity(&gear, -2e4, gear.starting_speed, 1.0), 1.2 * 1250.0, 1e-6);
  CHECK_CLOSE(driveline_wound_up_torque(&gear, 2e4), 1.4 * 1250.0, 1e-6);
  gear.efficiency = 1.0;
  gear.drag_torque = 0.0;
  assert_true(driveline_wound_up_torque(&gear, 2e4) > 0.0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(never_gives_power),
      cmocka_unit_test(a_round_trip_takes_energy),
      cmocka_unit_test(holds_without_drift),
      cmocka_unit_test(capacity_falls_with_speed),
      cmocka_unit_test(motor_and_gear_keep_what_starting_takes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
