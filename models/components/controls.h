/* Controls between the driver and the machine: what the pedals ask for is shaped here before it reaches the swash and
 * the motor. All are off by default, and each works alone or with the others.
 *
 * They work on the speed ratio r = stroke / (displacement share of the motor), from -1/e_min to 1/e_min: without slip
 * and leakage the machine goes at v = w D_p r R / (D_m i). Up to |r| = 1 the pump gives it (stroke r, motor at its
 * largest), beyond that the motor (stroke 1, share 1/|r|). In this order:
 *
 * Stroke by engine speed (operator layout accelerator_and_direction). The accelerator moves the engine's set speed from
 * `idle_speed` to the full one, w_set = w_idle + a (w_full - w_idle). What the engine then really turns at commands the
 * drive, which takes the place of a drive pedal: nothing up to `drive_begin`, all from `drive_full` on, a straight line
 * between; the lever gives its direction. So the machine drives off as the engine revs up, and an engine that is pulled
 * down takes drive away by itself. In overrun the same line works the other way: wheels that push the engine faster
 * stroke the pump up. With a quick swash that can hunt; a slow one or the ramp below keeps it quiet. Common practice,
 * no source.
 *
 * Reversal held off (`reversal held_below`). While the drive is asked for against the way the machine rolls, the ratio
 * asked for is r clamp01((v_r - |v|)/(0.2 v_r)): none above the speed v_r, all of it below 80 % of v_r. v is the speed
 * of the wheels' rims, which is what a sensor on the gear tells. Common practice, no source.
 *
 * Coordinated ramp (`ramp ratio`). The ratio itself goes in a ramp, so that the motor swivels to large while the pump
 * still has its stroke, then the pump destrokes, and the machine slows evenly all the way:
 *   r' = q,  q' = (clamp((r_asked - r)/(4 t_e), -R_down, R_up) - q)/t_e,
 * R = 1/(e_min t_up) or 1/(e_min t_down). The ease t_e bounds the jerk of the ramp, to 2 R/t_e; with 4 t_e the ramp's
 * end is critically damped and does not overshoot. After the release of a pedal held at r_0:
 *   r = r_0 - R (t - t_e (1 - e^(-t/t_e))).
 * Why the ratio and not the stroke: with the engine at a steady speed, the machine's deceleration goes by r', whatever
 * pump and motor do apart. Second-order lag with limited rate: textbook; its use here: common practice, no source.
 *
 * Inching (`inching cut`, `cut_and_brake`). A pedal takes ratio whatever the engine does, r (1 - clamp01((p - p_b)/
 * (p_f - p_b))); with `cut_and_brake` it applies the service brake beyond a point of its travel, up to a share of the
 * brake's torque; the harder of this and the brake pedal counts. Common practice, no source.
 *
 * Anti-stall by load (`anti_stall by_load`). Load share L: the fuel that the governor asks for, over what may burn
 * (full fuel, or what the smoke limit allows). Up to 1 it is the load of the engine; what is beyond 1 the engine cannot
 * give, and slows. A PI control takes the share y of the ratio: y = clamp01(K (L - L_s) + z), T z' = y - z. Within its
 * bounds that is z' = K (L - L_s)/T, so that the load settles at L_s with the engine at its speed; at a bound z follows
 * the bound and does not wind up. A stalled engine asks for all fuel: y rises to 1. PI control with its integral by
 * positive feedback of the bounded output: textbook (K. J. Astrom and T. Hagglund, from memory); its use here: common
 * practice, no source.
 *
 * Sign: ratio, speed and drive positive forward; every law is mirrored for reverse. */
#ifndef SWASHLOOP_MODELS_CONTROLS_H
#define SWASHLOOP_MODELS_CONTROLS_H

#include <stdbool.h>

#include "field.h"

enum controls_reversal { CONTROLS_REVERSAL_FREE, CONTROLS_REVERSAL_HELD };
enum controls_ramp { CONTROLS_RAMP_OFF, CONTROLS_RAMP_RATIO };
enum controls_inching { CONTROLS_NO_INCHING, CONTROLS_INCHING_CUT, CONTROLS_INCHING_CUT_AND_BRAKE };
enum controls_anti_stall { CONTROLS_ANTI_STALL_OFF, CONTROLS_ANTI_STALL_BY_LOAD };

/* clang-format off */
#define CONTROLS_FIELDS(REAL, CHOICE, TABLE)                                                                           \
  REAL(idle_speed, ANGULAR_SPEED, 900.0, 100.0, 10000.0, NONE, "", "engine set speed with the accelerator released", "operator.layout accelerator_and_direction") \
  REAL(drive_begin, ANGULAR_SPEED, 1100.0, 0.0, 10000.0, NONE, "", "engine speed at which the drive begins", "operator.layout accelerator_and_direction") \
  REAL(drive_full, ANGULAR_SPEED, 2050.0, 1.0, 10000.0, NONE, "", "engine speed at which the drive is full", "operator.layout accelerator_and_direction") \
  CHOICE(reversal, CONTROLS_REVERSAL_FREE, "free|held_below", "", "whether drive against the way the machine rolls waits for a low speed") \
  REAL(reversal_speed, SPEED, 3.0, 0.1, 100.0, NONE, "", "speed above which no reversal is let through", "reversal held_below") \
  CHOICE(ramp, CONTROLS_RAMP_OFF, "off|ratio", "", "whether pump and motor go in one ramp of the speed ratio") \
  REAL(ramp_up_time, TIME, 4.0, 0.05, 100.0, NONE, "", "from rest to the full speed ratio", "ramp ratio") \
  REAL(ramp_down_time, TIME, 5.0, 0.05, 100.0, NONE, "", "from the full speed ratio to rest", "ramp ratio") \
  REAL(ramp_ease, TIME, 0.15, 1e-3, 10.0, NONE, "", "lag with which the ramp begins and ends", "ramp ratio") \
  CHOICE(inching, CONTROLS_NO_INCHING, "none|cut|cut_and_brake", "", "what the inching pedal does") \
  REAL(inching_begin, FRACTION, 5.0, 0.0, 99.0, NONE, "", "inching pedal at which drive begins to fall", "inching cut|cut_and_brake and channel inching") \
  REAL(inching_full, FRACTION, 80.0, 1.0, 100.0, NONE, "", "inching pedal at which no drive is left", "inching cut|cut_and_brake and channel inching") \
  REAL(inching_brake_begin, FRACTION, 75.0, 0.0, 99.0, NONE, "", "inching pedal beyond which it brakes", "inching cut_and_brake and channel inching") \
  REAL(inching_brake_share, FRACTION, 50.0, 1.0, 100.0, NONE, "", "service brake at the end of the inching pedal", "inching cut_and_brake and channel inching") \
  CHOICE(anti_stall, CONTROLS_ANTI_STALL_OFF, "off|by_load", "", "whether the drive gives way when the engine's load reaches its share") \
  REAL(anti_stall_load, FRACTION, 95.0, 10.0, 100.0, NONE, "L_s", "load share that is held", "anti_stall by_load") \
  REAL(anti_stall_gain, NUMBER, 0.15, 0.001, 10.0, NONE, "K", "share of the ratio taken for a load share of 1 too much", "anti_stall by_load") \
  REAL(anti_stall_reset, TIME, 0.3, 0.01, 100.0, NONE, "T", "integral time", "anti_stall by_load")
/* clang-format on */

struct controls_parameters {
  CONTROLS_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct controls_parameters
static const struct field controls_fields[] = {CONTROLS_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

#define CONTROLS_REVERSAL_BAND 0.2 /* of the reversal speed, below it: over this the reversal is let through */

/* Does any law work on the speed ratio? */
static inline bool controls_shape_ratio(const struct controls_parameters *controls) {
  return controls->reversal != CONTROLS_REVERSAL_FREE || controls->ramp != CONTROLS_RAMP_OFF ||
         controls->inching != CONTROLS_NO_INCHING || controls->anti_stall != CONTROLS_ANTI_STALL_OFF;
}

/* Engine set speed by the accelerator (0 to 1), rad/s; `full`: fully pressed. */
static inline real controls_set_speed(const struct controls_parameters *controls, real full, real accelerator) {
  return blend(controls->idle_speed, larger(full, controls->idle_speed), accelerator);
}

/* Drive (0 to 1) that the engine speed commands. */
static inline real controls_drive(const struct controls_parameters *controls, real engine_speed) {
  return ramp01(engine_speed, controls->drive_begin, controls->drive_full);
}

/* Speed ratio of a stroke (-1 to 1) with the motor's part of the drive (0 to 1); `smallest`: the motor's share. */
static inline real controls_ratio(real stroke, real part, real smallest) {
  return stroke / (1.0 - (1.0 - smallest) * part);
}

/* Stroke that gives a speed ratio. */
static inline real controls_stroke_for(real ratio) {
  return saturate(ratio, 1.0);
}

/* The motor's part of the drive that gives a speed ratio. */
static inline real controls_part_for(real ratio, real smallest) {
  real share = 1.0 / larger(fabs(ratio), 1.0);
  return select_where(smallest < 1.0, clamp01((1.0 - share) / larger(1.0 - smallest, 1e-9)), broadcast(0.0));
}

/* Share of the ratio asked for that is let through at a speed of the rims. */
static inline real controls_reversal_share(const struct controls_parameters *controls, real ratio, real rim_speed) {
  real band = CONTROLS_REVERSAL_BAND * controls->reversal_speed;
  real slow = clamp01((controls->reversal_speed - fabs(rim_speed)) / band);
  return select_where(ratio * rim_speed < 0.0, slow, broadcast(1.0));
}

/* d2(ratio)/dt2 of the ramp, 1/s2, toward the ratio asked for. */
static inline real controls_ramp_rate(const struct controls_parameters *controls, real ratio, real motion, real asked,
                                      real smallest) {
  real up = 1.0 / (smallest * controls->ramp_up_time);
  real down = 1.0 / (smallest * controls->ramp_down_time);
  /* Up is away from rest; blended about it, so that the rate does not jump. */
  real side = clamp(ratio / 0.02, -1.0, 1.0);
  real rise = blend(down, up, 0.5 * (1.0 + side));
  real fall = blend(down, up, 0.5 * (1.0 - side));
  return (clamp((asked - ratio) / (4.0 * controls->ramp_ease), -fall, rise) - motion) / controls->ramp_ease;
}

/* Share of the ratio that the inching pedal (0 to 1) leaves. */
static inline real controls_inching_share(const struct controls_parameters *controls, real pressed) {
  return controls->inching == CONTROLS_NO_INCHING
             ? broadcast(1.0)
             : 1.0 - ramp01(pressed, controls->inching_begin, controls->inching_full);
}

/* Service brake (0 to 1) with what the inching pedal applies. */
static inline real controls_brake(const struct controls_parameters *controls, real brake, real inching) {
  if (controls->inching != CONTROLS_INCHING_CUT_AND_BRAKE) {
    return brake;
  }
  return larger(brake, controls->inching_brake_share * ramp01(inching, controls->inching_brake_begin, broadcast(1.0)));
}

/* Share of the ratio that the anti-stall control takes. */
static inline real controls_load_cut(const struct controls_parameters *controls, real load, real integral) {
  return clamp01(controls->anti_stall_gain * (load - controls->anti_stall_load) + integral);
}

/* d(integral)/dt of the anti-stall control, 1/s; `cut` is what it takes. */
static inline real controls_load_integral_rate(const struct controls_parameters *controls, real cut, real integral) {
  return (cut - integral) / controls->anti_stall_reset;
}

#if REAL_LANES == 1

/* Why these settings cannot be, or NULL; `accelerator`: the operator has one, `full_speed` is the engine's, rad/s. */
static inline const char *controls_refusal(const struct controls_parameters *controls, bool accelerator,
                                           double full_speed) {
  if (accelerator && controls->idle_speed >= full_speed) {
    return "controls.idle_speed must lie below engine.set_speed, to which the accelerator brings the engine";
  }
  if (accelerator && controls->drive_full <= controls->drive_begin) {
    return "controls.drive_full must lie above controls.drive_begin";
  }
  if (controls->inching != CONTROLS_NO_INCHING && controls->inching_full <= controls->inching_begin) {
    return "controls.inching_full must lie above controls.inching_begin";
  }
  return NULL;
}

#endif

#endif
