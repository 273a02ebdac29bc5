/* Friction brake on the wheels, capacity T = service pedal times its torque plus park brake times its own,
 * stated as a share of the stronger one, T_max.
 *
 * `smoothed` (reference law): torque T s(w) by hyperbolic tangent; creeps under load.
 * `stick`: the torque q is a state, a stiff spring that yields at the capacity,
 *   q' = k w_e - (q - clamp(q, -T, T))/t_r,  w_e = w - |w| clamp(q/T, -1, 1),  k = T_max/angle:
 * below the capacity a parked machine stands still; sliding, q settles at T against w within the wind-up angle; when
 * the capacity falls, the excess leaves with the time t_r. Torque q + k t_d w_e, held within the capacity: w_e is the
 * part of the speed that winds the spring, so the damping dies out in sliding. With the pedal fully off (known from
 * the operator's table, hence a mode and not a branch on state) the torque is nothing and q fades with t_r. After
 * P. R. Dahl's friction law (from memory). Stored q^2/(2 k); the rest of the power T w is lost and is never negative,
 * whatever the signs. Sign: a positive torque opposes positive w. */
#ifndef SWASHLOOP_MODELS_BRAKE_H
#define SWASHLOOP_MODELS_BRAKE_H

#include <stdbool.h>

#include "field.h"

enum brake_law { BRAKE_SMOOTHED, BRAKE_STICK };

/* clang-format off */
#define BRAKE_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  CHOICE(law, BRAKE_STICK, "smoothed|stick", "", "whether the brake truly holds at rest")                                  \
  REAL(torque, TORQUE, 90000.0, 0.0, 1e7, NONE, "T_b", "torque of all brakes at the wheels, full on", "channel brake") \
  REAL(park_torque, TORQUE, 40000.0, 0.0, 1e7, NONE, "", "torque of the park brake at the wheels, full on", "channel park_brake") \
  REAL(rear_share, FRACTION, 55.0, 0.0, 100.0, NONE, "", "part of both brakes on the rear axle", "vehicle.axles two") \
  REAL(speed_width, ANGULAR_SPEED, 0.095492965855137207, 1e-6, 100.0, NONE, "w_b0", "wheel speed over which the law smoothed turns round", "law smoothed") \
  REAL(wind_up_angle, ANGLE, 0.1, 1e-3, 5.0, NONE, "", "turn of the wheels at which the law stick carries its full torque", "law stick") \
  REAL(release_time, TIME, 0.01, 1e-4, 1.0, NONE, "", "time constant with which the law stick sheds torque beyond its capacity", "law stick") \
  REAL(damping_time, TIME, 0.003, 0.0, 1.0, NONE, "", "damping of the wind-up over its stiffness", "law stick")
/* clang-format on */

struct brake_parameters {
  BRAKE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct brake_parameters
static const struct field brake_fields[] = {BRAKE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* The stronger of service and park brake: the torque that shares are stated in, N m. */
static inline real brake_reference(const struct brake_parameters *brake) {
  return larger(brake->torque, brake->park_torque);
}

/* Pedal and park brake together, as a share of the reference torque. */
static inline real brake_share(const struct brake_parameters *brake, real pedal, real park) {
  real reference = brake_reference(brake);
  return select_where(reference > 0.0, (pedal * brake->torque + park * brake->park_torque) / reference, broadcast(0.0));
}

/* Torque of the law `smoothed`, N m. */
static inline real brake_smoothed_torque(const struct brake_parameters *brake, real share, real wheel_speed) {
  return select_where(share == 0.0, broadcast(0.0),
                      brake_reference(brake) * share * tanh_sign(wheel_speed, brake->speed_width));
}

/* Stiffness of the wind-up of the law `stick`, N m/rad at the wheels. */
static inline real brake_stiffness(const struct brake_parameters *brake) {
  return brake_reference(brake) / brake->wind_up_angle;
}

/* Torque that the brake can hold, N m; never quite zero, so that quotients stay finite, on an axle without brake too.
 */
static inline real brake_capacity(const struct brake_parameters *brake, real share) {
  return larger(brake_reference(brake) * larger(share, 1e-3), 1e-3);
}

/* Part of the wheel speed that winds the brake up rather than slides it, rad/s. */
static inline real brake_wind_up_speed(const struct brake_parameters *brake, real share, real torque,
                                       real wheel_speed) {
  return wheel_speed - fabs(wheel_speed) * clamp(torque / brake_capacity(brake, share), -1.0, 1.0);
}

/* dq/dt of the law `stick`, N m/s; `off`: the pedal is fully released. */
static inline real brake_torque_rate(const struct brake_parameters *brake, real share, mask off, real torque,
                                     real wheel_speed) {
  if (mask_none(mask_not(off))) {
    return -torque / brake->release_time;
  }
  real excess = torque - saturate(torque, brake_capacity(brake, share));
  return select_where(off, -torque / brake->release_time,
                      brake_stiffness(brake) * brake_wind_up_speed(brake, share, torque, wheel_speed) -
                          excess / brake->release_time);
}

/* Torque on the wheels of the law `stick`, N m. */
static inline real brake_stick_torque(const struct brake_parameters *brake, real share, mask off, real torque,
                                      real wheel_speed) {
  if (mask_none(mask_not(off))) {
    return broadcast(0.0);
  }
  real damping = brake_stiffness(brake) * brake->damping_time * brake_wind_up_speed(brake, share, torque, wheel_speed);
  return select_where(off, broadcast(0.0),
                      saturate(torque + damping, larger(brake_capacity(brake, share), fabs(torque))));
}

/* Energy in the wind-up, J. */
static inline real brake_stored_energy(const struct brake_parameters *brake, real torque) {
  real stiffness = brake_stiffness(brake);
  return select_where(stiffness > 0.0, 0.5 * torque * torque / stiffness, broadcast(0.0));
}

#endif
