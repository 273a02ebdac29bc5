/* Control pressure and swash servo of the pump.
 *
 * The operator's stroke command reaches the servo through the control pressure: tau_c u' = command - u.
 * Servo: x' = clamp((x_target - x)/tau_s (1 + k e), R), R = R_s sqrt(max(p_C - p_case, 1 kPa)/p_s) + R_L e, e the
 * intensity of the limiter (limiter.h): the rate follows the servo's supply, which is the charge pressure.
 *
 * When the charge is lost. `held`: the rate fades and the swash stays where it was (the reference law; no real servo
 * does that). `to_neutral`: springs centre it. Supply between `spring_begin` and `spring_full` lets the servo hold
 * strokes up to an authority a from 0 to 1. Toward neutral the rate never falls below (1 - a) times the springs' rate:
 * they act as the servo loses its hold, and leave `rate_down` to the servo while it has its supply.
 *
 * `servo: second_order`: the servo has its own inertia, x'' = w_n^2 (x_target - x) - 2 z w_n x', with the same limits
 * on x'; x' is then a state and what moves the swash is its value within the rates. 1/w_n takes the place of the lag.
 *
 * Underspeed control takes stroke from the command as the engine lugs: u (clamp01((w - w_low)/(w_high - w_low))).
 *
 * Servo oil: volume V_s from neutral to full stroke comes from the gallery and goes to the case, V_s |x'|, while there
 * is supply (fading over `spring_begin`). Rates 1 to 10 1/s without orifices: from memory. */
#ifndef SWASHLOOP_MODELS_SWASH_H
#define SWASHLOOP_MODELS_SWASH_H

#include "limiter.h"

enum swash_servo { SWASH_FIRST_ORDER, SWASH_SECOND_ORDER };
enum swash_underspeed { SWASH_UNDERSPEED_OFF, SWASH_UNDERSPEED_ON };
enum swash_charge_loss { SWASH_HELD, SWASH_TO_NEUTRAL };

/* clang-format off */
#define SWASH_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  REAL(command_lag, TIME, 0.05, 1e-4, 10.0, NONE, "tau_c", "lag of the control pressure")                              \
  REAL(servo_lag, TIME, 0.04, 1e-4, 10.0, NONE, "tau_s", "lag of the servo", "servo first_order") \
  REAL(rate_up, RATE, 100.0, 0.1, 1e5, NONE, "R_s", "fastest rise of stroke at the nominal servo supply")              \
  REAL(rate_down, RATE, 0.0, 0.0, 1e5, NONE, "", "fastest fall of stroke at the nominal servo supply; 0: as the rise")            \
  REAL(nominal_supply, PRESSURE, 24.0, 0.1, 100.0, OVER_CASE, "dp_s", "charge pressure at which the rates hold")       \
  CHOICE(charge_loss, SWASH_TO_NEUTRAL, "held|to_neutral", "", "what the swash does when the charge pressure is lost")     \
  REAL(spring_begin, PRESSURE, 3.0, 0.1, 50.0, OVER_CASE, "", "charge pressure at which the servo can hold no stroke") \
  REAL(spring_full, PRESSURE, 10.0, 0.2, 100.0, OVER_CASE, "", "charge pressure at which the servo can hold full stroke", "charge_loss to_neutral") \
  REAL(spring_rate, RATE, 100.0, 0.1, 1e4, NONE, "", "rate at which the springs centre the swash once the charge is lost", "charge_loss to_neutral") \
  REAL(servo_volume, VOLUME, 0.02, 0.0, 1.0, NONE, "", "servo oil from neutral to full stroke")                        \
  CHOICE(servo, SWASH_FIRST_ORDER, "first_order|second_order", "", "whether the servo has inertia of its own")             \
  REAL(servo_frequency, ANGULAR_RATE, 40.0, 0.1, 1e4, NONE, "", "natural frequency", "servo second_order") \
  REAL(servo_damping, NUMBER, 0.7, 0.05, 10.0, NONE, "", "damping ratio", "servo second_order") \
  CHOICE(underspeed, SWASH_UNDERSPEED_OFF, "off|on", "", "underspeed control: stroke falls as the engine lugs")            \
  REAL(underspeed_low, ANGULAR_SPEED, 1200.0, 0.0, 10000.0, NONE, "", "engine speed at which no stroke is left", "underspeed on") \
  REAL(underspeed_high, ANGULAR_SPEED, 1700.0, 1.0, 10000.0, NONE, "", "engine speed at which stroke begins to fall", "underspeed on")
/* clang-format on */

struct swash_parameters {
  SWASH_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct swash_parameters
static const struct field swash_fields[] = {SWASH_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* d(control pressure)/dt, 1/s. */
static inline real swash_control_rate(const struct swash_parameters *swash, real control, real command) {
  return (command - control) / swash->command_lag;
}

/* Stroke that the servo can hold against its springs, 0 to 1. */
static inline real swash_authority(const struct swash_parameters *swash, real supply) {
  if (swash->charge_loss == SWASH_HELD) {
    return broadcast(1.0);
  }
  return ramp01(supply, swash->spring_begin, swash->spring_full);
}

/* Share of the command that underspeed control leaves. */
static inline real swash_underspeed_share(const struct swash_parameters *swash, real engine_speed) {
  return swash->underspeed == SWASH_UNDERSPEED_ON ? ramp01(engine_speed, swash->underspeed_low, swash->underspeed_high)
                                                  : broadcast(1.0);
}

/* The swash within its rates: `asked` clamped to what supply, limiter and springs allow; supply = p_C - p_case. */
static inline real swash_rate_within(const struct swash_parameters *swash, const struct limiter_parameters *limiter,
                                     real stroke, real asked, real intensity, real supply) {
  real share = sqrt(larger(supply, 1e3) / swash->nominal_supply);
  real extra = limiter->rate * intensity;
  real up = swash->rate_up * share + extra;
  real down = select_where(swash->rate_down > 0.0, swash->rate_down, swash->rate_up) * share + extra;
  if (swash->charge_loss == SWASH_TO_NEUTRAL) {
    down = larger(down, swash->spring_rate * (1.0 - swash_authority(swash, supply)));
  }
  /* Up is away from neutral. Blended over a small stroke so that the rates do not jump as the swash passes neutral. */
  real side = clamp(stroke / 0.02, -1.0, 1.0);
  real rise = blend(down, up, 0.5 * (1.0 + side));
  real fall = blend(down, up, 0.5 * (1.0 - side));
  return clamp(asked, -fall, rise);
}

/* dx/dt of the servo first_order, 1/s. */
static inline real swash_stroke_rate(const struct swash_parameters *swash, const struct limiter_parameters *limiter,
                                     real stroke, struct limiter_action action, real supply) {
  real authority = swash_authority(swash, supply);
  real target = saturate(action.target, authority);
  real asked = (target - stroke) / swash->servo_lag * (1.0 + limiter->servo_gain * action.intensity);
  return swash_rate_within(swash, limiter, stroke, asked, action.intensity, supply);
}

/* d(x')/dt of the servo second_order, 1/s2, for the state x' = `motion`. */
static inline real swash_motion_rate(const struct swash_parameters *swash, const struct limiter_parameters *limiter,
                                     real stroke, real motion, struct limiter_action action, real supply) {
  real target = saturate(action.target, swash_authority(swash, supply));
  real frequency = swash->servo_frequency * sqrt(1.0 + limiter->servo_gain * action.intensity);
  real within = swash_rate_within(swash, limiter, stroke, motion, action.intensity, supply);
  /* Beyond the rate limits the state x' is drawn back to the limited value, so that it does not wind up. */
  return frequency * frequency * (target - stroke) - 2.0 * swash->servo_damping * frequency * motion +
         (within - motion) * 10.0 * frequency;
}

/* Servo oil from the gallery to the case, m3/s. */
static inline real swash_servo_flow(const struct swash_parameters *swash, real stroke_rate, real supply) {
  return swash->servo_volume * fabs(stroke_rate) * ramp01(supply, 0.0, swash->spring_begin);
}

#endif
