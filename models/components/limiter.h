/* Pressure limiter (cut-off): pressure of a line over its setting takes stroke from the pump, so that the relief valves
 * need not.
 *
 * Each line has a pilot: tau x' = clamp01((p - p_case - p_set)/band) - x. Three laws of what the pilots do to the
 * stroke that the operator commands, u:
 *  - `driven_side`: target u (1 - x), x of the line that drives. Which line drives is reported by `side`: `command`
 * goes by the sign of u, `swash` by the sign of the stroke (blended over `side_width`). With `command` a direction
 * flip destrokes on the overrun line; `swash` is right, `command` is kept as the reference law. Its jump at u = 0 is a
 *    mode that turns over when u has passed zero by LIMITER_COMMAND_BAND (10 us at a usual rate): after a
 *    release u fades to zero, and the sign of its rounding error would make the swash jump to and fro.
 *  - `both_sides`: target clamp(u - G (x_A - x_B), -1, 1): each pilot moves the swash toward less pressure in its own
 *    line, in overrun too, where that strokes the pump up and drives the engine.
 *  - `higher_line`: a shuttle picks the higher line and lowers the servo's supply: target u (1 - max(x_A, x_B)), always
 *    toward neutral; in overrun that raises the pressure further (positive feedback).
 * The acting pilot also quickens the servo: gain 1 + k x, and R_L x of extra rate (swash.h).
 * Setting 20 to 30 bar below the relief: from memory. */
#ifndef SWASHLOOP_MODELS_LIMITER_H
#define SWASHLOOP_MODELS_LIMITER_H

#include <stdbool.h>

#include "field.h"

enum limiter_fitted { LIMITER_ABSENT, LIMITER_FITTED };
enum limiter_law { LIMITER_DRIVEN_SIDE, LIMITER_BOTH_SIDES, LIMITER_HIGHER_LINE };
enum limiter_side { LIMITER_BY_COMMAND, LIMITER_BY_SWASH };

/* clang-format off */
#define LIMITER_FIELDS(REAL, CHOICE, TABLE)                                                                            \
  CHOICE(fitted, LIMITER_FITTED, "no|yes", "lim_on", "whether there is a pressure limiter")                               \
  CHOICE(law, LIMITER_DRIVEN_SIDE, "driven_side|both_sides|higher_line", "lim_over", "how line pressure takes stroke from the pump") \
  CHOICE(side, LIMITER_BY_SWASH, "command|swash", "", "what decides which side is driven: the commanded or the actual stroke", "law driven_side") \
  REAL(setting, PRESSURE, 395.0, 1.0, 1000.0, OVER_CASE, "plim", "pressure at which the limiter begins") \
  REAL(band, PRESSURE, 50.0, 0.1, 500.0, NONE, "blim", "pressure above the setting that takes all stroke") \
  REAL(lag, TIME, 0.003, 1e-5, 1.0, NONE, "tau_l", "lag of the pilot") \
  REAL(both_sides_gain, NUMBER, 2.0, 0.0, 10.0, NONE, "G_L", "stroke that a pilot takes under the law both_sides", "law both_sides") \
  REAL(servo_gain, NUMBER, 9.0, 0.0, 100.0, NONE, "kL", "how much the acting limiter quickens the servo") \
  REAL(rate, RATE, 2500.0, 0.0, 1e6, NONE, "R_L", "swash rate that the acting limiter adds") \
  REAL(side_width, FRACTION, 2.0, 1e-4, 50.0, NONE, "", "stroke over which the driven side changes over, side by swash", "law driven_side and side swash")
/* clang-format on */

struct limiter_parameters {
  LIMITER_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct limiter_parameters
static const struct field limiter_fields[] = {LIMITER_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* d(pilot)/dt, 1/s; `alive` 1 when sound, 0 when dead. */
static inline real limiter_pilot_rate(const struct limiter_parameters *limiter, real pilot, real over_case,
                                      real alive) {
  real asked = limiter->fitted == LIMITER_ABSENT
                   ? broadcast(0.0)
                   : ramp01(over_case, limiter->setting, limiter->setting + limiter->band);
  return (asked * alive - pilot) / limiter->lag;
}

#define LIMITER_COMMAND_BAND 1e-5

struct limiter_action {
  real target;    /* stroke left of the command, -1 to 1 */
  real intensity; /* 0 to 2: how hard the limiter acts on the servo */
};

/* What the pilots make of a stroke command, by the law chosen. `command_forward`: the side that the command counted as
 * last (LIMITER_COMMAND_BAND); `stroke`: where the swash stands. */
static inline struct limiter_action limiter_act(const struct limiter_parameters *limiter, real command,
                                                mask command_forward, real stroke, real pilot_a, real pilot_b) {
  struct limiter_action action;
  if (limiter->law == LIMITER_BOTH_SIDES) {
    action.target = saturate(command - limiter->both_sides_gain * (pilot_a - pilot_b), 1.0);
    action.intensity = pilot_a + pilot_b;
    return action;
  }
  if (limiter->law == LIMITER_HIGHER_LINE) {
    action.intensity = larger(pilot_a, pilot_b);
  } else if (limiter->side == LIMITER_BY_COMMAND) {
    action.intensity = select_where(command_forward, pilot_a, pilot_b);
  } else {
    action.intensity = blend(pilot_b, pilot_a, clamp01(0.5 + 0.5 * stroke / limiter->side_width));
  }
  action.target = command * (1.0 - action.intensity);
  return action;
}

#endif
