/* Pressure limiter and swash servo. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "limiter.h"
#include "sample.h"
#include "swash.h"

static const struct limiter_action quiet = {0.0, 0.0};

static void pilot_follows_its_band(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  assert_true(limiter_pilot_rate(&limiter, 0.0, limiter.setting, 1.0) == 0.0);
  CHECK_CLOSE(limiter_pilot_rate(&limiter, 0.0, limiter.setting + 0.25 * limiter.band, 1.0), 0.25 / limiter.lag, 1e-9);
  CHECK_CLOSE(limiter_pilot_rate(&limiter, 0.0, 1e9, 1.0), 1.0 / limiter.lag, 1e-12);
  CHECK_CLOSE(limiter_pilot_rate(&limiter, 1.0, 0.0, 1.0), -1.0 / limiter.lag, 1e-12);
  assert_true(limiter_pilot_rate(&limiter, 0.0, 1e9, 0.0) == 0.0); /* dead */
  limiter.fitted = LIMITER_ABSENT;
  assert_true(limiter_pilot_rate(&limiter, 0.0, 1e9, 1.0) == 0.0);
}

/* Driving forward, A drives. In overrun B is high: the law driven_side must leave it to the relief valve. */
static void driven_side_by_swash(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  limiter.law = LIMITER_DRIVEN_SIDE;
  limiter.side = LIMITER_BY_SWASH;
  struct limiter_action action = limiter_act(&limiter, 0.8, true, 0.8, 0.5, 0.0);
  CHECK_CLOSE(action.target, 0.4, 1e-14);
  CHECK_CLOSE(action.intensity, 0.5, 1e-14);
  action = limiter_act(&limiter, 0.8, true, 0.8, 0.0, 0.9);
  CHECK_CLOSE(action.target, 0.8, 1e-14);
  assert_true(action.intensity == 0.0);
  action = limiter_act(&limiter, -0.8, false, -0.8, 0.0, 0.25);
  CHECK_CLOSE(action.target, -0.6, 1e-14);
  /* a direction flip: the command is reversed, the swash not yet; line B is high from overrun */
  action = limiter_act(&limiter, -0.8, false, 0.8, 0.0, 0.9);
  CHECK_CLOSE(action.target, -0.8, 1e-14);
  /* halfway at neutral */
  action = limiter_act(&limiter, 0.5, true, 0.0, 0.4, 0.0);
  CHECK_CLOSE(action.intensity, 0.2, 1e-14);
}

static void driven_side_by_command(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  limiter.law = LIMITER_DRIVEN_SIDE;
  limiter.side = LIMITER_BY_COMMAND;
  struct limiter_action action = limiter_act(&limiter, -0.8, false, 0.8, 0.0, 0.9);
  CHECK_CLOSE(action.target, -0.08, 1e-12); /* the reference law destrokes on the overrun line */
  action = limiter_act(&limiter, 0.8, true, 0.8, 0.5, 0.9);
  CHECK_CLOSE(action.intensity, 0.5, 1e-14);
}

static void both_sides_move_toward_less_pressure(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  limiter.law = LIMITER_BOTH_SIDES;
  struct limiter_action action = limiter_act(&limiter, 0.5, true, 0.5, 0.1, 0.0);
  CHECK_CLOSE(action.target, 0.3, 1e-12);
  action = limiter_act(&limiter, 0.5, true, 0.5, 0.0, 0.1); /* overrun: strokes up */
  CHECK_CLOSE(action.target, 0.7, 1e-12);
  CHECK_CLOSE(action.intensity, 0.1, 1e-12);
  action = limiter_act(&limiter, 0.5, true, 0.5, 0.0, 1.0);
  CHECK_CLOSE(action.target, 1.0, 1e-12);
  action = limiter_act(&limiter, 0.0, true, 0.0, 1.0, 0.0);
  CHECK_CLOSE(action.target, -1.0, 1e-12);
}

static void higher_line_moves_toward_neutral(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  limiter.law = LIMITER_HIGHER_LINE;
  struct limiter_action action = limiter_act(&limiter, 0.5, true, 0.5, 0.0, 0.6);
  CHECK_CLOSE(action.target, 0.2, 1e-12);
  action = limiter_act(&limiter, -0.5, false, -0.5, 0.6, 0.2);
  CHECK_CLOSE(action.target, -0.2, 1e-12);
}

/* No law asks for more than full stroke, and with idle pilots all pass the command through. */
static void laws_keep_bounds(void **state) {
  (void)state;
  DEFAULTS(limiter, limiter);
  struct sampler sampler = {51u};
  for (int i = 0; i < 4000; i++) {
    limiter.law = sample_choice(&sampler, 3);
    limiter.side = sample_choice(&sampler, 2);
    double command = sample_between(&sampler, -1.0, 1.0);
    double stroke = sample_between(&sampler, -1.0, 1.0);
    double a = sample_unit(&sampler);
    double b = sample_unit(&sampler);
    struct limiter_action action = limiter_act(&limiter, command, command > 0.0, stroke, a, b);
    assert_true(fabs(action.target) <= 1.0);
    assert_true(action.intensity >= 0.0 && action.intensity <= 2.0);
    action = limiter_act(&limiter, command, command > 0.0, stroke, 0.0, 0.0);
    assert_true(action.target == command && action.intensity == 0.0);
  }
}

static void control_pressure_lags(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  CHECK_CLOSE(swash_control_rate(&swash, 0.2, 1.0), 0.8 / swash.command_lag, 1e-12);
}

static void servo_obeys_rates_by_supply(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  DEFAULTS(limiter, limiter);
  swash.charge_loss = SWASH_HELD;
  swash.rate_up = 1.5;
  swash.rate_down = 0.8;
  double supply = swash.nominal_supply;
  struct limiter_action up = {1.0, 0.0};
  struct limiter_action down = {-1.0, 0.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.4, up, supply), 1.5, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.4, quiet, supply), -0.8, 1e-12);
  /* mirrored: up is away from neutral on either side */
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, -0.4, down, supply), -1.5, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, -0.4, quiet, supply), 0.8, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.4, up, 0.25 * supply), 0.75, 1e-12);
  /* close to the target the servo is a lag */
  struct limiter_action near_by = {0.401, 0.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.4, near_by, supply), 0.001 / swash.servo_lag, 1e-9);
  /* the limiter quickens it */
  struct limiter_action pressed = {0.0, 1.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 1.0, pressed, supply), -(0.8 + limiter.rate), 1e-12);
  struct limiter_action pressed_near = {0.399, 1.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.4, pressed_near, supply),
              -0.001 / swash.servo_lag * (1.0 + limiter.servo_gain), 1e-9);
  /* held: without supply hardly any motion */
  assert_true(fabs(swash_stroke_rate(&swash, &limiter, 0.4, quiet, 0.0)) < 0.02);
}

static void springs_centre_without_charge(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  DEFAULTS(limiter, limiter);
  swash.charge_loss = SWASH_TO_NEUTRAL;
  assert_true(swash_authority(&swash, swash.spring_begin) == 0.0);
  CHECK_CLOSE(swash_authority(&swash, swash.spring_full), 1.0, 1e-12);
  CHECK_CLOSE(swash_authority(&swash, 0.5 * (swash.spring_begin + swash.spring_full)), 0.5, 1e-12);
  struct limiter_action full = {1.0, 0.0};
  struct limiter_action back = {-1.0, 0.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.6, full, 0.0), -swash.spring_rate, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, -0.6, back, -1e5), swash.spring_rate, 1e-12);
  /* half the authority holds half the stroke */
  double half = 0.5 * (swash.spring_begin + swash.spring_full);
  CHECK_NEAR(swash_stroke_rate(&swash, &limiter, 0.5, full, half), 0.0, 1e-9);
  /* at neutral without supply it stays */
  assert_true(swash_stroke_rate(&swash, &limiter, 0.0, full, 0.0) == 0.0);
  /* with its supply the servo falls by its own rate, slower than the springs; without it by theirs, between by both */
  swash.rate_down = 0.3;
  swash.spring_rate = 1.0;
  struct limiter_action none = {0.0, 0.0};
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.9, none, swash.nominal_supply), -0.3, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, -0.9, none, swash.nominal_supply), 0.3, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.9, none, 0.0), -1.0, 1e-12);
  CHECK_CLOSE(swash_stroke_rate(&swash, &limiter, 0.9, none, half), -0.5, 1e-12);
  swash.charge_loss = SWASH_HELD;
  assert_true(swash_authority(&swash, 0.0) == 1.0);
}

static void servo_is_mirrored(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  DEFAULTS(limiter, limiter);
  struct sampler sampler = {52u};
  for (int i = 0; i < 2000; i++) {
    swash.charge_loss = sample_choice(&sampler, 2);
    swash.rate_up = sample_between(&sampler, 0.1, 5.0);
    swash.rate_down = sample_between(&sampler, 0.1, 5.0);
    double stroke = sample_between(&sampler, -1.0, 1.0);
    double supply = sample_between(&sampler, -1e5, 30e5);
    struct limiter_action action = {sample_between(&sampler, -1.0, 1.0), sample_unit(&sampler)};
    struct limiter_action mirrored = {-action.target, action.intensity};
    CHECK_NEAR(swash_stroke_rate(&swash, &limiter, -stroke, mirrored, supply),
               -swash_stroke_rate(&swash, &limiter, stroke, action, supply), 1e-12);
  }
}

static void underspeed_takes_stroke(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  swash.underspeed = SWASH_UNDERSPEED_OFF;
  assert_true(swash_underspeed_share(&swash, 0.0) == 1.0);
  swash.underspeed = SWASH_UNDERSPEED_ON;
  assert_true(swash_underspeed_share(&swash, swash.underspeed_low) == 0.0);
  assert_true(swash_underspeed_share(&swash, 1.2 * swash.underspeed_high) == 1.0);
  CHECK_CLOSE(swash_underspeed_share(&swash, 0.5 * (swash.underspeed_low + swash.underspeed_high)), 0.5, 1e-12);
}

/* Free of its rates the servo is an oscillator; beyond them its motion is drawn back. */
static void second_order_servo(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  DEFAULTS(limiter, limiter);
  swash.rate_up = swash.rate_down = 10.0;
  swash.charge_loss = SWASH_HELD;
  double supply = swash.nominal_supply;
  struct limiter_action half = {0.5, 0.0};
  double w = swash.servo_frequency;
  CHECK_CLOSE(swash_motion_rate(&swash, &limiter, 0.3, 0.0, half, supply), w * w * 0.2, 1e-12);
  CHECK_CLOSE(swash_motion_rate(&swash, &limiter, 0.5, 2.0, half, supply), -2.0 * swash.servo_damping * w * 2.0, 1e-12);
  CHECK_CLOSE(swash_rate_within(&swash, &limiter, 0.5, 14.0, 0.0, supply), 10.0, 1e-12);
  CHECK_CLOSE(swash_motion_rate(&swash, &limiter, 0.5, 14.0, half, supply),
              -2.0 * swash.servo_damping * w * 14.0 - 4.0 * 10.0 * w, 1e-12);
}

static void servo_oil_fades_with_supply(void **state) {
  (void)state;
  DEFAULTS(swash, swash);
  CHECK_CLOSE(swash_servo_flow(&swash, -2.0, swash.nominal_supply), 2.0 * swash.servo_volume, 1e-12);
  assert_true(swash_servo_flow(&swash, 2.0, 0.0) == 0.0);
  assert_true(swash_servo_flow(&swash, 2.0, -1e5) == 0.0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pilot_follows_its_band),
      cmocka_unit_test(driven_side_by_swash),
      cmocka_unit_test(driven_side_by_command),
      cmocka_unit_test(both_sides_move_toward_less_pressure),
      cmocka_unit_test(higher_line_moves_toward_neutral),
      cmocka_unit_test(laws_keep_bounds),
      cmocka_unit_test(control_pressure_lags),
      cmocka_unit_test(servo_obeys_rates_by_supply),
      cmocka_unit_test(springs_centre_without_charge),
      cmocka_unit_test(servo_is_mirrored),
      cmocka_unit_test(underspeed_takes_stroke),
      cmocka_unit_test(second_order_servo),
      cmocka_unit_test(servo_oil_fades_with_supply),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
