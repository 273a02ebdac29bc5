/* Gear, axles and wheels between motor and tyre, one ratio i = motor speed over wheel speed. Loss of the gear
 * (1 - eta) |T| s(w): dissipative in both power directions (a fixed efficiency would give power back in overrun), plus
 * a constant drag against rotation (bearings, seals, churning; field tests of farm tractors put most of the loss of a
 * lightly loaded drive line there). Wheel inertia includes axles and motor. Sign: positive drives forward.
 *
 * Friction: `smoothed` (reference law) s(w) = tanh, gone at standstill. `stick` keeps it (friction.h): at rest gear and
 * axles take `breakaway` times what they lose running before they turn, and hold as much against being turned. */
#ifndef SWASHLOOP_MODELS_DRIVELINE_H
#define SWASHLOOP_MODELS_DRIVELINE_H

#include "field.h"
#include "friction.h"

enum driveline_friction { DRIVELINE_SMOOTHED, DRIVELINE_STICK };

#define DRIVELINE_LEAST_WOUND_UP 1000.0

/* clang-format off */
#define DRIVELINE_FIELDS(REAL, CHOICE, TABLE)                                                                          \
  REAL(ratio, NUMBER, 53.0, 0.1, 2000.0, NONE, "i_g", "motor speed over wheel speed")                                  \
  REAL(efficiency, FRACTION, 94.0, 10.0, 100.0, NONE, "eta_g", "efficiency of the gear under load")                    \
  REAL(drag_torque, TORQUE, 0.0, 0.0, 1e5, NONE, "", "drag at the wheels that is always there")                        \
  CHOICE(friction, DRIVELINE_STICK, "smoothed|stick", "", "whether friction of gear and axles truly holds at rest")        \
  REAL(breakaway, FRACTION, 130.0, 100.0, 1000.0, NONE, "", "loss of gear and axles at rest over that running", "friction stick") \
  REAL(starting_speed, ANGULAR_SPEED, 8.0, 1e-3, 100.0, NONE, "", "wheel speed at which half of what breakaway takes beyond running is gone", "friction stick") \
  REAL(wind_up_angle, ANGLE, 0.05, 1e-3, 10.0, NONE, "", "turn of the wheels at which friction has built up, started with 350 bar", "friction stick") \
  REAL(torque_width, TORQUE, 20.0, 1e-6, 1e5, NONE, "T_g0", "rounding of the torque in the gear loss")                 \
  REAL(speed_width, ANGULAR_SPEED, 0.38197186342054884, 1e-6, 100.0, NONE, "w_g0", "wheel speed over which smoothed loss turns round", "friction smoothed") \
  REAL(wheel_inertia, INERTIA, 320.0, 0.1, 1e6, NONE, "J_w", "wheels, axles and motor, at the wheels")                 \
  REAL(wheel_radius, LENGTH, 0.62, 0.05, 5.0, NONE, "r_w", "rolling radius")
/* clang-format on */

struct driveline_parameters {
  DRIVELINE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct driveline_parameters
static const struct field driveline_fields[] = {DRIVELINE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Torque that gear and axles lose as they turn, N m at the wheels, without its sign; `torque` goes through them. */
static inline real driveline_running_loss(const struct driveline_parameters *driveline, real torque) {
  return (1.0 - driveline->efficiency) * soft_abs(torque, driveline->torque_width) + driveline->drag_torque;
}

/* Torque lost at the wheels by the law `smoothed`, N m, signed as the wheel speed. */
static inline real driveline_loss(const struct driveline_parameters *driveline, real torque, real wheel_speed) {
  return driveline_running_loss(driveline, torque) * tanh_sign(wheel_speed, driveline->speed_width);
}

/* Torque over which the wind-up of friction is stated, N m at the wheels; never zero, as in the motor: a gear
 * without loss keeps a newton metre. `torque`: what goes through the gear there. */
static inline real driveline_wound_up_torque(const struct driveline_parameters *driveline, real torque) {
  return larger(driveline->breakaway * driveline_running_loss(driveline, torque), DRIVELINE_LEAST_WOUND_UP);
}

/* Friction that stands against a turn of the wheels, N m, most at rest. */
static inline real driveline_friction_capacity(const struct driveline_parameters *driveline, real torque,
                                               real wheel_speed, real wound_up) {
  real running = driveline_running_loss(driveline, torque);
  return friction_capacity(driveline->breakaway * running, running, driveline->starting_speed, wheel_speed, wound_up);
}

#endif
