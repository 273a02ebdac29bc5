/* Tyre and brake: curves, and that neither ever gives power. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "brake.h"
#include "check.h"
#include "component.h"
#include "sample.h"
#include "tyre.h"

static struct tyre_contact contact_of(const struct tyre_parameters *tyre, double load) {
  struct tyre_soil soil = {tyre->grip, tyre->cone_index, tyre->rolling_resistance};
  return tyre_contact_of(tyre, &soil, load, tyre->wheels);
}

static void curve_rises_peaks_and_falls_a_little(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  const double load = 1e5;
  struct tyre_contact contact = contact_of(&tyre, load);
  CHECK_CLOSE(contact.stiffness, tyre.grip * load * tyre.stiffness * tyre.shape, 1e-12);
  assert_true(tyre_curve(&tyre, &contact, 0.0) == 0.0);
  CHECK_CLOSE(tyre_curve(&tyre, &contact, 1e-7) / 1e-7, tyre.grip * load * tyre.stiffness * tyre.shape, 1e-9);
  double peak = tan(0.5 * REAL_PI / tyre.shape) / tyre.stiffness;
  CHECK_CLOSE(tyre_curve(&tyre, &contact, peak), tyre.grip * load, 1e-12);
  double before = -1.0;
  for (int i = 0; i <= 1000; i++) {
    double slip = peak * i / 1000.0;
    double force = tyre_curve(&tyre, &contact, slip);
    assert_true(force > before);
    CHECK_NEAR(tyre_curve(&tyre, &contact, -slip), -force, 0.0);
    before = force;
  }
  assert_true(tyre_curve(&tyre, &contact, 10.0) < tyre.grip * load);
  assert_true(tyre_curve(&tyre, &contact, 10.0) > 0.5 * tyre.grip * load);
}

static void slip_is_what_it_should_be(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  CHECK_CLOSE(tyre_slip(&tyre, 6.0, 5.0), 1.0 / sqrt(25.0 + 0.09), 1e-12);
  /* relaxation: settled slip (r w - v)/max, within -1 to 1 in drive and braking, locked wheels -1 */
  CHECK_NEAR(tyre_slip_rate(&tyre, 1.0 / 6.0, 6.0, 5.0), 0.0, 1e-12);
  CHECK_NEAR(tyre_slip_rate(&tyre, -0.2, 4.0, 5.0), 0.0, 1e-12);
  CHECK_NEAR(tyre_slip_rate(&tyre, -1.0, 0.0, 5.0), 0.0, 1e-12);
  CHECK_NEAR(tyre_slip_rate(&tyre, 1.0, 3.0, 0.0), 0.0, 1e-12);
  /* at rest a spring: the slip stays */
  assert_true(tyre_slip_rate(&tyre, 0.03, 0.0, 0.0) == 0.0);
  /* it settles over one length */
  CHECK_CLOSE(tyre_slip_rate(&tyre, 0.0, 5.0, 4.0), 1.0 / tyre.relaxation_length, 1e-12);
}

static void start_slip_carries_the_force(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  struct sampler sampler = {81u};
  for (int i = 0; i < 300; i++) {
    tyre.ground = sample_choice(&sampler, 3);
    double load = sample_decades(&sampler, 1e4, 2e5);
    struct tyre_contact contact = contact_of(&tyre, load);
    double most = tyre_curve(&tyre, &contact, 0.19);
    double force = sample_between(&sampler, -0.99, 0.99) * most;
    CHECK_NEAR(tyre_curve(&tyre, &contact, tyre_slip_for(&tyre, &contact, force)), force, 1e-9 * load);
  }
}

/* Every soil law: odd, growing from nothing, steeper than nothing at nothing. */
static void soil_laws_are_odd_and_grow(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  struct sampler sampler = {85u};
  for (int i = 0; i < 300; i++) {
    tyre.ground = 1 + sample_choice(&sampler, 2);
    tyre.cone_index = sample_between(&sampler, 3e5, 3e6);
    struct tyre_contact contact = contact_of(&tyre, sample_between(&sampler, 3e4, 3e5));
    assert_true(tyre_curve(&tyre, &contact, 0.0) == 0.0);
    double before = 0.0;
    for (int k = 1; k <= 100; k++) {
      double slip = 0.01 * k;
      double force = tyre_curve(&tyre, &contact, slip);
      assert_true(force >= before);
      CHECK_NEAR(tyre_curve(&tyre, &contact, -slip), -force, 1e-12 * fabs(force));
      before = force;
    }
    double slope = tyre_curve(&tyre, &contact, 1e-9) / 1e-9;
    bool sinks = tyre.ground == TYRE_GEE_CLOUGH && contact.mobility < 0.92 / 0.796; /* no pull at all */
    CHECK_CLOSE(slope, contact.stiffness, sinks ? 0.1 : 1e-5);
  }
  /* an axle that lifts gives and resists nothing */
  for (int ground = 0; ground < 3; ground++) {
    tyre.ground = ground;
    struct tyre_contact lifted = contact_of(&tyre, -1e3);
    assert_true(tyre_curve(&tyre, &lifted, 0.1) == 0.0);
    assert_true(tyre_rolling_resistance(&tyre, &lifted, 3.0, 0.1) == 0.0);
  }
}

/* Power lost in the slip law is F (r w - v), with the state F (r w - v) - F_c L k' >= 0 for the defaults and around. */
static void tyre_never_gives_power(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  struct sampler sampler = {82u};
  double worst = 0.0;
  for (int i = 0; i < 60000; i++) {
    tyre.ground = i % 3;
    struct tyre_contact contact = contact_of(&tyre, 1e5);
    double speed = (sample_unit(&sampler) < 0.5 ? -1.0 : 1.0) * sample_decades(&sampler, 1e-6, 10.0);
    double rim = sample_unit(&sampler) < 0.3
                     ? speed * sample_between(&sampler, 0.9, 1.1)
                     : (sample_unit(&sampler) < 0.5 ? -1.0 : 1.0) * sample_decades(&sampler, 1e-6, 10.0);
    double slip = (sample_unit(&sampler) < 0.5 ? -1.0 : 1.0) * sample_decades(&sampler, 1e-6, 1.0);
    double sliding = rim - speed;
    assert_true(tyre_curve(&tyre, &contact, tyre_slip(&tyre, rim, speed)) * sliding >= 0.0);
    double rate = tyre_slip_rate(&tyre, slip, rim, speed);
    double curve = tyre_curve(&tyre, &contact, slip);
    double force = curve + tyre_damping(&tyre, &contact, slip, rate, rim, speed);
    double lost = force * sliding - curve * tyre.relaxation_length * rate;
    worst = fmin(worst, lost / (fabs(force * sliding) + fabs(curve * tyre.relaxation_length * rate) + 1e-9));
    assert_true(tyre_rolling_resistance(&tyre, &contact, speed, slip) * speed >= 0.0);
  }
  CHECK_NEAR(worst, 0.0, 1e-9);
}

static void damping_fades_with_rolling(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  struct tyre_contact contact = contact_of(&tyre, 1e5);
  double still = tyre_damping(&tyre, &contact, 0.0, 1.0, 0.0, 0.0);
  CHECK_CLOSE(still, tyre.grip * 1e5 * tyre.stiffness * tyre.shape * tyre.damping_time, 1e-12);
  CHECK_CLOSE(tyre_damping(&tyre, &contact, 0.0, 1.0, tyre.damping_speed, 0.0), still / 4.0, 1e-12);
  assert_true(tyre_damping(&tyre, &contact, 0.5, 1.0, 0.0, 0.0) < 0.1 * still);
}

static void park_brake_adds_its_torque(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  CHECK_CLOSE(brake_share(&brake, 0.5, 1.0) * brake.torque, 0.5 * brake.torque + brake.park_torque, 1e-12);
  assert_true(brake_share(&brake, 0.0, 0.0) == 0.0);
}

static void smoothed_brake_opposes(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  CHECK_CLOSE(brake_smoothed_torque(&brake, 0.5, 3.0), 45e3, 1e-12);
  CHECK_CLOSE(brake_smoothed_torque(&brake, 0.5, -3.0), -45e3, 1e-12);
  assert_true(brake_smoothed_torque(&brake, 1.0, 0.0) == 0.0);
}

/* Mobility on soil, C the cone index, b and d the tyre's width and diameter, W one wheel's load, delta its deflection
 * over the section height: C b d/W sqrt(delta)/(1 + b/2d) by Gee-Clough, C b d/W (1 + 5 delta)/(1 + 3 b/d) by Brixius
 * (tyre.h names the sources). A wheel of 0.6 m by 1.5 m under 27 kN on 9 bar: C b d/W = 30. */
static void mobility_is_that_of_its_soil_law(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  tyre.width = 0.6;
  tyre.diameter = 1.5;
  tyre.deflection = 0.25;
  struct tyre_soil soil = {tyre.grip, 9e5, 0.05};
  tyre.ground = TYRE_GEE_CLOUGH;
  CHECK_CLOSE(tyre_contact_of(&tyre, &soil, 4 * 27e3, 4.0).mobility, 30.0 * 0.5 / 1.2, 1e-12);
  tyre.ground = TYRE_BRIXIUS;
  CHECK_CLOSE(tyre_contact_of(&tyre, &soil, 4 * 27e3, 4.0).mobility, 30.0 * 2.25 / 2.2, 1e-12);
}

/* Power that the brake takes, less what its wind-up stores, for any speed, wind-up and pedal. */
static void stick_brake_never_gives_power(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  struct sampler sampler = {83u};
  for (int i = 0; i < 40000; i++) {
    double share = sample_unit(&sampler) < 0.2 ? 0.0 : sample_unit(&sampler);
    bool off = share == 0.0 && sample_unit(&sampler) < 0.5;
    double torque = sample_between(&sampler, -1.3, 1.3) * brake.torque * (sample_unit(&sampler) < 0.5 ? 1.0 : share);
    double speed = (sample_unit(&sampler) < 0.5 ? -1.0 : 1.0) * sample_decades(&sampler, 1e-6, 30.0);
    double taken = brake_stick_torque(&brake, share, off, torque, speed) * speed;
    double stored = torque * brake_torque_rate(&brake, share, off, torque, speed) / brake_stiffness(&brake);
    assert_true(taken - stored >= -1e-9 * (fabs(taken) + fabs(stored)));
  }
}

static void stick_brake_holds_slides_and_lets_go(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  /* at rest below the capacity nothing moves */
  assert_true(brake_torque_rate(&brake, 1.0, false, 40e3, 0.0) == 0.0);
  CHECK_CLOSE(brake_stick_torque(&brake, 1.0, false, 40e3, 0.0), 40e3, 1e-12);
  /* unloaded it winds up at its stiffness */
  CHECK_CLOSE(brake_torque_rate(&brake, 1.0, false, 0.0, 1e-3), 1e-3 * brake.torque / brake.wind_up_angle, 1e-12);
  /* sliding it settles at the capacity, against the speed */
  CHECK_NEAR(brake_torque_rate(&brake, 0.5, false, 45e3, 2.0), 0.0, 1e-3);
  CHECK_CLOSE(brake_stick_torque(&brake, 0.5, false, 45e3, 2.0), 45e3, 1e-12);
  CHECK_NEAR(brake_torque_rate(&brake, 0.5, false, -45e3, -2.0), 0.0, 1e-3);
  assert_true(brake_torque_rate(&brake, 0.5, false, 45e3, -2.0) < 0.0);
  /* capacity falls: the excess leaves, of half of the torque at half of its rate */
  CHECK_CLOSE(brake_torque_rate(&brake, 0.5, false, 90e3, 0.0), -0.5 * 45e3 / brake.release_time, 1e-12);
  /* off: no torque, the wind-up fades */
  assert_true(brake_stick_torque(&brake, 0.0, true, 45e3, 2.0) == 0.0);
  CHECK_CLOSE(brake_torque_rate(&brake, 0.0, true, 45e3, 2.0), -45e3 / brake.release_time, 1e-12);
  CHECK_CLOSE(brake_stored_energy(&brake, 90e3), 0.5 * 90e3 * brake.wind_up_angle, 1e-12);
  /* a machine with a park brake alone */
  brake.torque = 0.0;
  CHECK_CLOSE(brake_share(&brake, 1.0, 1.0) * brake_reference(&brake), brake.park_torque, 1e-12);
  assert_true(brake_capacity(&brake, brake_share(&brake, 1.0, 0.0)) < 1e-2 * brake.park_torque);
  brake.park_torque = 0.0;
  assert_true(brake_stored_energy(&brake, 0.0) == 0.0);
  assert_true(brake_capacity(&brake, 1.0) > 0.0 && brake_capacity(&brake, 1.0) < 0.01); /* next to nothing */
}

/* Heat: cooling by temperature and turning, fade between its two temperatures, an axle without brake stays finite. */
static void brake_cools_and_fades(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  brake.cooling = 50.0;
  brake.cooling_by_turning = 100.0;
  CHECK_CLOSE(brake_cooling(&brake, 400.0, 300.0, 0.0), 5e3, 1e-12);
  CHECK_CLOSE(brake_cooling(&brake, 400.0, 300.0, -BRAKE_COOLING_SPEED), 15e3, 1e-12);
  CHECK_CLOSE(brake_cooling(&brake, 300.0, 400.0, 0.5 * BRAKE_COOLING_SPEED), -10e3, 1e-12);
  brake.fade_begin = 500.0;
  brake.fade_end = 700.0;
  brake.fade_least = 0.4;
  CHECK_NEAR(brake_fade(&brake, 300.0), 1.0, 0.0);
  CHECK_CLOSE(brake_fade(&brake, 600.0), 0.7, 1e-12);
  CHECK_CLOSE(brake_fade(&brake, 900.0), 0.4, 1e-12);
  brake.heat_capacity = 0.0;
  assert_true(brake_heat_capacity(&brake) > 0.0);
}

/* The capacity is the pedal's share of the torque from full down to a thousandth; below that it stays a thousandth, so
 * that quotients by it stay finite. */
static void the_least_capacity_is_a_thousandth(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  for (double share = 1.0; share > 1.05e-3; share *= 0.9) {
    CHECK_CLOSE(brake_capacity(&brake, share), 90e3 * share, 1e-12);
  }
  for (double share = 0.95e-3; share > 1e-9; share *= 0.1) {
    CHECK_CLOSE(brake_capacity(&brake, share), 90.0, 1e-12);
  }
  CHECK_CLOSE(brake_capacity(&brake, 0.0), 90.0, 1e-12);
}

static void an_axle_without_brake_gives_nothing(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  brake.torque = 0.0;
  brake.park_torque = 0.0;
  for (int law = 0; law < 2; law++) {
    brake.law = law;
    assert_true(brake_torque_rate(&brake, 1.0, false, 0.0, 5.0) == 0.0);
    assert_true(brake_stick_torque(&brake, 1.0, false, 0.0, -5.0) == 0.0);
    assert_true(brake_smoothed_torque(&brake, 1.0, 5.0) == 0.0);
  }
}

/* The torque on the wheels never exceeds the capacity, the excess of a falling pedal apart. */
static void stick_brake_keeps_its_capacity(void **state) {
  (void)state;
  DEFAULTS(brake, brake);
  struct sampler sampler = {84u};
  for (int i = 0; i < 5000; i++) {
    double share = sample_between(&sampler, 0.01, 1.0);
    double capacity = brake.torque * share;
    double torque = sample_between(&sampler, -1.0, 1.0) * capacity;
    double speed = sample_between(&sampler, -30.0, 30.0);
    assert_true(fabs(brake_stick_torque(&brake, share, false, torque, speed)) <= capacity * (1.0 + 1e-12));
  }
}

/* Analyses ask where the curve has its peak and where 99.5 % of it are reached. */
static void the_peak_of_the_curve_is_where_it_is_said_to_be(void **state) {
  (void)state;
  DEFAULTS(tyre, tyre);
  struct tyre_contact contact = contact_of(&tyre, 1e5);
  double peak = tyre_peak_slip(&tyre);
  double most = tyre_curve(&tyre, &contact, peak);
  CHECK_CLOSE(most, tyre.grip * 1e5, 1e-12);
  assert_true(tyre_curve(&tyre, &contact, 1.02 * peak) < most);
  assert_true(tyre_curve(&tyre, &contact, 0.98 * peak) < most);
  assert_true(tyre_used_up_slip(&tyre) < peak);
  CHECK_CLOSE(tyre_curve(&tyre, &contact, tyre_used_up_slip(&tyre)), 0.995 * most, 1e-9);
  tyre.ground = TYRE_BRIXIUS;
  CHECK_NEAR(tyre_peak_slip(&tyre), 0.3, 0.0);
  CHECK_NEAR(tyre_used_up_slip(&tyre), 0.3, 0.0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(curve_rises_peaks_and_falls_a_little),
      cmocka_unit_test(slip_is_what_it_should_be),
      cmocka_unit_test(start_slip_carries_the_force),
      cmocka_unit_test(tyre_never_gives_power),
      cmocka_unit_test(damping_fades_with_rolling),
      cmocka_unit_test(soil_laws_are_odd_and_grow),
      cmocka_unit_test(mobility_is_that_of_its_soil_law),
      cmocka_unit_test(park_brake_adds_its_torque),
      cmocka_unit_test(smoothed_brake_opposes),
      cmocka_unit_test(stick_brake_never_gives_power),
      cmocka_unit_test(brake_cools_and_fades),
      cmocka_unit_test(stick_brake_holds_slides_and_lets_go),
      cmocka_unit_test(an_axle_without_brake_gives_nothing),
      cmocka_unit_test(the_least_capacity_is_a_thousandth),
      cmocka_unit_test(stick_brake_keeps_its_capacity),
      cmocka_unit_test(the_peak_of_the_curve_is_where_it_is_said_to_be),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
