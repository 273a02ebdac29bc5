/* Gear, axles and wheels between motor and tyre, one ratio i = motor speed over wheel speed. Loss of the gear
 * (1 - eta) |T| s(w): dissipative in both power directions (a fixed efficiency would give power back in overrun), plus
 * a constant drag against rotation (bearings, seals, churning; field tests of farm tractors put most of the loss of a
 * lightly loaded drive line there). Wheel inertia includes axles and motor. Sign: positive drives forward. */
#ifndef SWASHLOOP_MODELS_DRIVELINE_H
#define SWASHLOOP_MODELS_DRIVELINE_H

#include "field.h"

/* clang-format off */
#define DRIVELINE_FIELDS(REAL, CHOICE, TABLE)                                                                          \
  REAL(ratio, NUMBER, 53.0, 0.1, 2000.0, NONE, "i_g", "motor speed over wheel speed")                                  \
  REAL(efficiency, FRACTION, 94.0, 10.0, 100.0, NONE, "eta_g", "efficiency of the gear under load")                    \
  REAL(drag_torque, TORQUE, 0.0, 0.0, 1e5, NONE, "", "drag at the wheels that is always there")                        \
  REAL(torque_width, TORQUE, 20.0, 1e-6, 1e5, NONE, "T_g0", "rounding of the torque in the gear loss")                 \
  REAL(speed_width, ANGULAR_SPEED, 0.38197186342054884, 1e-6, 100.0, NONE, "w_g0", "wheel speed over which the gear loss turns round") \
  REAL(wheel_inertia, INERTIA, 320.0, 0.1, 1e6, NONE, "J_w", "wheels, axles and motor, at the wheels")                 \
  REAL(wheel_radius, LENGTH, 0.62, 0.05, 5.0, NONE, "r_w", "rolling radius")
/* clang-format on */

struct driveline_parameters {
  DRIVELINE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct driveline_parameters
static const struct field driveline_fields[] = {DRIVELINE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Torque lost at the wheels, N m, signed as the wheel speed. */
static inline real driveline_loss(const struct driveline_parameters *driveline, real torque, real wheel_speed) {
  return ((1.0 - driveline->efficiency) * soft_abs(torque, driveline->torque_width) + driveline->drag_torque) *
         tanh_sign(wheel_speed, driveline->speed_width);
}

#endif
