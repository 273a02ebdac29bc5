/* Friction brake on the wheels, capacity T = service pedal times its torque plus park brake times its own,
 * stated as a share of the stronger one, T_max.
 *
 * `smoothed` (reference law): torque T s(w) by hyperbolic tangent; creeps under load.
 * `stick`: the torque is a state, a stiff spring that yields at the capacity (friction.h), k = T_max/angle. With the
 * pedal fully off (known from the operator's table, hence a mode and not a branch on state) the torque is nothing and
 * the spring fades with t_r. Sign: a positive torque opposes positive w.
 *
 * Heat: `one_mass` gives the brakes of an axle one temperature T of what takes up their heat (discs with drums or, of
 * brakes in oil, discs with their oil and housing): C T' = P - (G_0 + G_1 |w|/w_1)(T - T_air), P what the brake loses,
 * w_1 100 rpm. All brake torque is multiplied by 1, or beyond `fade_begin` by a factor that falls in a straight line to
 * `fade_least` at `fade_end` and stays there. A mean temperature: the face of a disc is hotter within a stop. Lumped
 * mass and its cooling as in T. P. Newcomb (J. Mech. Eng. Science 2 (1960) 167) and R. Limpert, Brake Design and
 * Safety, both from memory. `none` (the default) leaves the brakes cold: what they lose goes to the air at once.
 * Capacity and cooling are those of all brakes; axles share them as they share the torque. */
#ifndef SWASHLOOP_MODELS_BRAKE_H
#define SWASHLOOP_MODELS_BRAKE_H

#include <stdbool.h>

#include "field.h"
#include "friction.h"

enum brake_law { BRAKE_SMOOTHED, BRAKE_STICK };
enum brake_heat { BRAKE_STAYS_COLD, BRAKE_ONE_MASS };

/* Wheel speed at which the cooling by turning is stated, rad/s: 100 rpm. */
#define BRAKE_COOLING_SPEED (100.0 * TWO_PI / 60.0)

/* clang-format off */
#define BRAKE_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  CHOICE(law, BRAKE_STICK, "smoothed|stick", "", "whether the brake truly holds at rest")                                  \
  REAL(torque, TORQUE, 90000.0, 0.0, 1e7, NONE, "T_b", "torque of all brakes at the wheels, full on", "channel brake") \
  REAL(park_torque, TORQUE, 40000.0, 0.0, 1e7, NONE, "", "torque of the park brake at the wheels, full on", "channel park_brake") \
  REAL(rear_share, FRACTION, 55.0, 0.0, 100.0, NONE, "", "part of both brakes on the rear axle", "vehicle.axles two") \
  REAL(speed_width, ANGULAR_SPEED, 0.095492965855137207, 1e-6, 100.0, NONE, "w_b0", "wheel speed over which the law smoothed turns round", "law smoothed") \
  REAL(wind_up_angle, ANGLE, 0.1, 1e-3, 5.0, NONE, "", "turn of the wheels at which the law stick carries its full torque", "law stick") \
  REAL(release_time, TIME, 0.01, 1e-4, 1.0, NONE, "", "time constant with which the law stick sheds torque beyond its capacity", "law stick") \
  REAL(damping_time, TIME, 0.003, 0.0, 1.0, NONE, "", "damping of the wind-up over its stiffness", "law stick") \
  CHOICE(heat, BRAKE_STAYS_COLD, "none|one_mass", "", "whether the brakes warm up and fade")                                \
  REAL(heat_capacity, HEAT_CAPACITY, 60.0, 0.1, 1e5, NONE, "", "heat capacity of what takes up the heat, all brakes", "heat one_mass") \
  REAL(cooling, HEAT_CONDUCTANCE, 60.0, 0.0, 1e5, NONE, "", "heat of all brakes to the air, wheels at rest", "heat one_mass") \
  REAL(cooling_by_turning, HEAT_CONDUCTANCE, 120.0, 0.0, 1e5, NONE, "", "what turning adds to it at 100 rpm of the wheels, in proportion", "heat one_mass") \
  REAL(start_temperature, TEMPERATURE, 40.0, -60.0, 900.0, NONE, "", "temperature of the brakes at the start", "heat one_mass") \
  REAL(fade_begin, TEMPERATURE, 250.0, 0.0, 1200.0, NONE, "", "temperature from which their torque falls", "heat one_mass") \
  REAL(fade_end, TEMPERATURE, 500.0, 1.0, 1500.0, NONE, "", "temperature at which it falls no further", "heat one_mass") \
  REAL(fade_least, FRACTION, 50.0, 1.0, 100.0, NONE, "", "part of their torque that is left there", "heat one_mass")
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

/* dq/dt of the law `stick`, N m/s; `off`: the pedal is fully released. */
static inline real brake_torque_rate(const struct brake_parameters *brake, real share, mask off, real torque,
                                     real wheel_speed) {
  if (mask_none(mask_not(off))) {
    return -torque / brake->release_time;
  }
  return select_where(off, -torque / brake->release_time,
                      friction_torque_rate(brake_capacity(brake, share), brake_stiffness(brake), brake->release_time,
                                           torque, wheel_speed));
}

/* Torque on the wheels of the law `stick`, N m. */
static inline real brake_stick_torque(const struct brake_parameters *brake, real share, mask off, real torque,
                                      real wheel_speed) {
  if (mask_none(mask_not(off))) {
    return broadcast(0.0);
  }
  return select_where(
      off, broadcast(0.0),
      friction_torque(brake_capacity(brake, share), brake_stiffness(brake), brake->damping_time, torque, wheel_speed));
}

/* Energy in the wind-up, J. */
static inline real brake_stored_energy(const struct brake_parameters *brake, real torque) {
  return friction_stored_energy(brake_stiffness(brake), torque);
}

/* Part of its torque that a brake of this temperature (K) has. */
static inline real brake_fade(const struct brake_parameters *brake, real temperature) {
  return 1.0 - (1.0 - brake->fade_least) * ramp01(temperature, brake->fade_begin, brake->fade_end);
}

/* Heat of the brake to the air, W. */
static inline real brake_cooling(const struct brake_parameters *brake, real temperature, real air, real wheel_speed) {
  return (brake->cooling + brake->cooling_by_turning * (1.0 / BRAKE_COOLING_SPEED) * fabs(wheel_speed)) *
         (temperature - air);
}

/* Heat capacity of an axle's brake, J/K; never quite zero, for an axle without brake. */
static inline real brake_heat_capacity(const struct brake_parameters *brake) {
  return larger(brake->heat_capacity, 1.0);
}

#endif
