/* A driver: follows the speed that a course (course.h) wants, by the pedals, and stops at its places. Knows speed,
 * place and course, and what speed a pedal is good for; nothing else of the machine. The law, written for
 * travel forward (x along the way of travel; in reverse all is mirrored by the sign of the direction):
 *
 * Felt and seen. What is felt and what is seen come late, by a lag each:  T_r v_f' = v - v_f  for the machine's speed,
 * and for the speed that is aimed at, which rises no faster than a comfortable acceleration and stays within reach of
 * what is felt,  v_a' = clamp((v_w - v_a)/T_r, -2 a, a_up clamp01(2 (v_f + v_lead - v_a)/v_lead)).
 *
 * Wanted speed, at the place x + T_l v_f that the eyes rest on: the least of the stretch's, of the line of comfortable
 * deceleration to slower stretches (course.h), and of the approach to the stop at the distance d,
 *   v = sqrt(2 a (d - d_1/2)) for d > d_1,  v = d/T_s below, d_1 = a T_s^2:
 * the square-root law would hurry ever more as the stop comes near; the straight line takes over where both have the
 * same speed and the same slope, decelerates less and less, and goes on beyond the place, so that a place that was
 * passed is inched back to, no faster than v_inch.
 *
 * Pedal. u_asked = clamp(u_k + K (v_a - v_f)/v_top + z, -2 v_inch/v_top, 1): u_k is what the driver knows of the pedal
 * (a table, or a straight line, v_a/v_top), the rest a PI control. T_z z' = u_asked - u_k - z: within its bounds that
 * is T_z z' = K (v_a - v_f)/v_top, at a bound it follows the bound and does not wind up (as in controls.h). The foot:
 * u' = clamp((u_asked - u)/T_u, -R_release, R_press).
 *
 * Service brake. Speed in excess: v_f - v_w, or rolling the wrong way -v_f - v_inch. When it has been above a threshold
 * for so long though the drive pedal is let go (or far above it, whatever the pedal), the drive does not suffice and
 * the brake pedal is pressed, in proportion to the excess: until none is left. A
 * driver who listens takes an engine above its limit for such an excess, whatever the pedal: a hydrostatic drive holds
 * the speed by driving the engine. Which of these holds is a mode, changed
 * between steps.
 *
 * At a stop the drive holds the place by the same law; a park brake, if so set, takes over after its delay and the
 * pedals are let go. A hydrostatic drive is no parking brake.
 *
 * A first-order lag in place of a dead time, PI control with its integral by positive feedback of the bounded output:
 * textbook (K. J. Astrom and T. Hagglund, from memory); braking along v^2 = 2 a d and the linear approach: common
 * practice, no source. Defaults: engineering judgement, no source; reaction from 0.15 s (a movement under way) to 1 s
 * (a surprise), comfortable deceleration below 1 m/s2: from memory. */
#ifndef SWASHLOOP_MODELS_DRIVER_H
#define SWASHLOOP_MODELS_DRIVER_H

#include "field.h"

enum driver_drives { DRIVER_ABSENT, DRIVER_DRIVES };
enum driver_holds { DRIVER_HOLDS_BY_DRIVE, DRIVER_HOLDS_BY_PARK_BRAKE };

/* clang-format off */
#define DRIVER_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  CHOICE(drives, DRIVER_ABSENT, "no|yes", "", "whether a driver follows the course by the pedals")                      \
  REAL(top_speed, SPEED, 25.0, 0.1, 200.0, NONE, "", "speed that the driver expects of a full pedal, and does not exceed") \
  TABLE(pedal, SPEED, FRACTION, 0.0, 100.0, "", "pedal that the driver knows to give a speed, over speed; empty: a straight line to all of it at top_speed") \
  REAL(reaction_time, TIME, 0.2, 0.01, 5.0, NONE, "", "lag of what is felt and of what is seen") \
  REAL(look_ahead, TIME, 0.6, 0.0, 20.0, NONE, "", "how far ahead the eyes rest, as a time at the speed felt") \
  REAL(acceleration, ACCELERATION, 0.6, 0.01, 5.0, NONE, "", "comfortable acceleration") \
  REAL(deceleration, ACCELERATION, 0.5, 0.01, 5.0, NONE, "", "comfortable deceleration") \
  REAL(lead, SPEED, 3.0, 0.1, 50.0, NONE, "", "how far the speed that is aimed at goes ahead of the one that is felt") \
  REAL(gain, NUMBER, 0.1, 0.0, 20.0, NONE, "", "pedal over speed missing, pedal as a share of full, speed as a share of top_speed") \
  REAL(reset, TIME, 0.25, 0.05, 100.0, NONE, "", "integral time") \
  REAL(pedal_lag, TIME, 0.1, 0.01, 5.0, NONE, "", "lag of the foot") \
  REAL(press_rate, RATE, 60.0, 1.0, 1000.0, NONE, "", "how fast the pedal is pressed at most") \
  REAL(release_rate, RATE, 120.0, 1.0, 1000.0, NONE, "", "how fast it is let go at most") \
  REAL(approach_time, TIME, 1.2, 0.1, 20.0, NONE, "", "distance to the stop over speed, on the last stretch to it") \
  REAL(inch_speed, SPEED, 1.0, 0.05, 10.0, NONE, "", "speed with which a place that was passed is inched back to, at most") \
  REAL(stop_within, LENGTH, 0.4, 0.001, 20.0, NONE, "", "how near the place the machine must stand; the driver has arrived at half of it") \
  CHOICE(holds_by, DRIVER_HOLDS_BY_DRIVE, "drive|park_brake", "", "what holds the machine at a stop")                    \
  REAL(park_delay, TIME, 1.5, 0.0, 1000.0, NONE, "", "from the arrival until the park brake is applied", "holds_by park_brake") \
  REAL(brake_above, SPEED, 3.0, 0.05, 50.0, NONE, "", "speed in excess above which the drive is found not to suffice") \
  REAL(brake_after, TIME, 1.0, 0.0, 60.0, NONE, "", "how long it must last until the service brake is taken") \
  REAL(engine_limit, ANGULAR_SPEED, 0.0, 0.0, 10000.0, NONE, "", "engine speed that counts as an excess, heard: 20 % above it as much as brake_full; 0: the driver does not listen") \
  REAL(brake_full, SPEED, 8.0, 0.1, 100.0, NONE, "", "speed in excess at which the brake pedal is fully pressed") \
  REAL(brake_rate, RATE, 100.0, 1.0, 1000.0, NONE, "", "how fast the brake pedal moves at most")
/* clang-format on */

struct driver_parameters {
  DRIVER_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct driver_parameters
static const struct field driver_fields[] = {DRIVER_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

#define DRIVER_STANDS 0.05       /* m/s, below which a driver has come to a stop */
#define DRIVER_FOOT_OFF 0.1      /* of the drive pedal: below it, as good as let go */
#define DRIVER_FAR_TOO_FAST 3.0  /* times the excess allowed: the brake is taken whatever the drive pedal does */
#define DRIVER_ENGINE_BAND 0.2   /* of the engine's limit, over which its excess counts as brake_full */
#define DRIVER_BRAKE_RESTS 0.001 /* of the brake pedal: less is none */
#define DRIVER_PARK_RAMP 0.3     /* s, over which the park brake is applied and released */

/* What the driver does now: held between steps. */
struct driver_intent {
  real direction; /* of travel: 1 forward, -1 in reverse */
  real speed;     /* m/s, of the stretch that the eyes rest on */
  real line;      /* m along the way of travel: where the line of deceleration to slower stretches reaches zero */
  real low;       /* m along the way of travel: that stretch begins */
  real high;      /* m: and ends */
  real stop;      /* m along the way of travel: the place to stop at */
  real load_rate; /* kg/s, while the load changes */
  real leg;       /* that is driven or has ended here, from 1 */
  mask drives;    /* on the way; else stands at the stop */
  mask pedals;    /* the feet are on the pedals; else the park brake holds and they are let go */
  mask watches;   /* the speed has been in excess for some time */
  mask brakes;    /* presses the brake pedal */
  mask brake_on;  /* presses it, or lets it go and it is not yet up */
};

/* Where the eyes rest, m along the way of travel: the machine at the place s, felt to go at `felt`, both forward
 * positive. */
static inline real driver_sees(const struct driver_parameters *driver, const struct driver_intent *intent, real s,
                               real felt) {
  return intent->direction * (s + driver->look_ahead * felt);
}

/* Speed with which a stop at the distance `rest` is approached, m/s; negative beyond it. */
static inline real driver_approach(const struct driver_parameters *driver, real rest) {
  real turns = driver->deceleration * driver->approach_time * driver->approach_time;
  real far = sqrt(2.0 * driver->deceleration * (larger(rest, turns) - 0.5 * turns));
  return select_where(rest < turns, rest / driver->approach_time, far);
}

/* Speed wanted at the place that the eyes rest on, m/s along the way of travel. */
static inline real driver_wanted(const struct driver_parameters *driver, const struct driver_intent *intent,
                                 real seen) {
  real before_slower = sqrt(2.0 * driver->deceleration * max0(intent->line - seen));
  real wanted = smaller(smaller(intent->speed, before_slower), driver_approach(driver, intent->stop - seen));
  return larger(wanted, -driver->inch_speed);
}

/* d(felt speed)/dt, m/s2. */
static inline real driver_felt_rate(const struct driver_parameters *driver, real felt, real speed) {
  return (speed - felt) / driver->reaction_time;
}

/* d(speed aimed at)/dt, m/s2, all along the way of travel. */
static inline real driver_aim_rate(const struct driver_parameters *driver, real aim, real felt, real wanted) {
  real reach = clamp01(2.0 * (felt + driver->lead - aim) / driver->lead);
  return clamp((wanted - aim) / driver->reaction_time, -2.0 * driver->deceleration, driver->acceleration * reach);
}

/* Pedal that the driver knows to belong to a speed along the way of travel, from experience. */
static inline real driver_knows(const struct driver_parameters *driver, real aim) {
  if (EACH(driver->pedal)->count == 0) {
    return aim / driver->top_speed;
  }
  real known = profiles_at(EACH(driver->pedal), fabs(aim));
  return select_where(aim < 0.0, -known, known);
}

/* Pedal that the driver asks of the foot, along the way of travel. */
static inline real driver_asked(const struct driver_parameters *driver, real known, real aim, real felt,
                                real integral) {
  real missing = (aim - felt) / driver->top_speed;
  return clamp(known + driver->gain * missing + integral, -2.0 * driver->inch_speed / driver->top_speed,
               broadcast(1.0));
}

/* d(integral)/dt, 1/s. */
static inline real driver_integral_rate(const struct driver_parameters *driver, real asked, real known, real integral) {
  return (asked - known - integral) / driver->reset;
}

/* d(pedal)/dt, 1/s, of a pedal of either sign: pressed away from zero, let go toward it. */
static inline real driver_pedal_rate(const struct driver_parameters *driver, real pedal, real asked) {
  real side = clamp(pedal / 0.02, -1.0, 1.0); /* blended about zero, so that the rate does not jump */
  real up = blend(driver->release_rate, driver->press_rate, 0.5 * (1.0 + side));
  real down = blend(driver->release_rate, driver->press_rate, 0.5 * (1.0 - side));
  return clamp((asked - pedal) / driver->pedal_lag, -down, up);
}

/* Speed in excess, m/s. */
struct driver_excess {
  real road;   /* along the way of travel */
  real engine; /* what the engine's speed above its limit counts for; far below zero where nobody listens */
};

/* `felt` and `wanted` along the way of travel. */
static inline struct driver_excess driver_excess_of(const struct driver_parameters *driver, real felt, real wanted,
                                                    real engine_speed) {
  struct driver_excess excess;
  excess.road = larger(felt - wanted, -felt - driver->inch_speed);
  real limit = larger(driver->engine_limit, 1.0);
  excess.engine =
      select_where(driver->engine_limit > 0.0, driver->brake_full * (engine_speed / limit - 1.0) / DRIVER_ENGINE_BAND,
                   broadcast(-100.0));
  return excess;
}

/* d(brake pedal)/dt, 1/s. */
static inline real driver_brake_rate(const struct driver_parameters *driver, const struct driver_intent *intent,
                                     real brake, struct driver_excess excess) {
  real most = larger(excess.road, excess.engine);
  real asked = select_where(intent->brakes, clamp01(most / driver->brake_full), broadcast(0.0));
  return clamp((asked - brake) / driver->pedal_lag, -driver->brake_rate, driver->brake_rate);
}

/* Falls through zero when what the driver does about the service brake must change: begins to watch the excess, has
 * seen it go, has braked enough, has the pedal up. */
static inline real driver_brake_guard(const struct driver_parameters *driver, const struct driver_intent *intent,
                                      real pedal, real brake, struct driver_excess excess) {
  real most = larger(excess.road, excess.engine);
  real let_go = larger(driver->brake_above - excess.road, pedal - DRIVER_FOOT_OFF);
  real whatever = smaller(DRIVER_FAR_TOO_FAST * driver->brake_above - excess.road, driver->brake_above - excess.engine);
  real off = select_where(intent->watches, most - 0.5 * driver->brake_above, smaller(let_go, whatever));
  real on = select_where(intent->brakes, most, brake - DRIVER_BRAKE_RESTS);
  return select_where(intent->brake_on, on, off);
}

/* Falls through zero when the machine has arrived: near the stop and at rest. `rest`: distance to it, m. */
static inline real driver_arrival_guard(const struct driver_parameters *driver, const struct driver_intent *intent,
                                        real rest, real speed) {
  real away = larger(fabs(rest) / (0.5 * driver->stop_within) - 1.0, fabs(speed) / DRIVER_STANDS - 1.0);
  return select_where(intent->drives, away, broadcast(1.0));
}

#if REAL_LANES == 1

/* Why this driver cannot be, or NULL; `legs`: how many the course has; `accelerator`: the layout has one; `pedals`: the
 * operator has tables of them. */
static inline const char *driver_refusal(const struct driver_parameters *driver, int legs, bool accelerator,
                                         bool pedals) {
  if (driver->drives == DRIVER_ABSENT) {
    return NULL;
  }
  if (legs == 0) {
    return "driver.drives yes needs a course; give course.to";
  }
  if (accelerator) {
    return "driver.drives yes presses pedals; it needs operator.layout two_pedals or pedal_and_direction";
  }
  return pedals
             ? "driver.drives yes presses the pedals; leave operator.pedal, direction, forward_pedal and reverse_pedal "
               "empty"
             : NULL;
}

#endif

#endif
