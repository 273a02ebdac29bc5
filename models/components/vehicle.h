/* The machine as one mass on a slope: (m + m_d) v' = traction - rolling resistance - drag - (m + m_d) g sin(slope).
 * Load on the wheels m g cos(slope). Distance along the ground.
 *
 * Dragged load: a mass m_d on the ground behind the machine, friction c m_d g cos(slope) against the motion (logs on
 * forest ground 0.4 to 0.8, from memory); an implement's draft, a force against the motion scaled by the operator's
 * channel. Both act at the drawbar.
 *
 * Axles `together`: the wheels carry the machine as one. `two`: the rear axle carries, of the weight N = m g
 * cos(slope), share_rear N + (h (m g sin(slope) + m a) + h_d F_d)/L, h the height of the centre of gravity, L the
 * wheelbase, F_d and h_d pull and height of the drawbar; the front axle the rest. Acceleration and traction depend on
 * each other; the shift sees the acceleration through the pitch lag, as a machine on tyres and springs does (0.1 s,
 * from memory), so there is no loop to solve. A load never falls below zero: an axle that lifts is reported.
 *
 * Sign: forward and uphill positive. */
#ifndef SWASHLOOP_MODELS_VEHICLE_H
#define SWASHLOOP_MODELS_VEHICLE_H

#include "field.h"

enum vehicle_axles { VEHICLE_TOGETHER, VEHICLE_TWO_AXLES };
enum vehicle_second_motor { VEHICLE_NO_SECOND_MOTOR, VEHICLE_SECOND_MOTOR };

/* clang-format off */
#define VEHICLE_FIELDS(REAL, CHOICE, TABLE)                                                                            \
  REAL(mass, MASS, 14000.0, 10.0, 1e6, NONE, "m", "mass of the machine with its load, but for what a course loads") \
  REAL(gravity, ACCELERATION, 9.81, 0.1, 20.0, NONE, "g", "acceleration of gravity")                                   \
  CHOICE(axles, VEHICLE_TOGETHER, "together|two", "", "whether the axles carry and turn by themselves")                    \
  CHOICE(second_motor, VEHICLE_NO_SECOND_MOTOR, "no|yes", "", "whether a second motor drives the front axle", "axles two") \
  REAL(rear_share, FRACTION, 55.0, 0.0, 100.0, NONE, "", "part of the weight on the rear axle, at rest on the level", "axles two") \
  REAL(wheelbase, LENGTH, 3.2, 0.2, 50.0, NONE, "", "distance of the axles", "axles two") \
  REAL(gravity_height, LENGTH, 1.2, 0.0, 10.0, NONE, "", "height of the centre of gravity", "axles two") \
  REAL(drawbar_height, LENGTH, 0.6, 0.0, 10.0, NONE, "", "height of the drawbar", "axles two") \
  REAL(pitch_lag, TIME, 0.1, 0.01, 5.0, NONE, "", "lag of the load shift", "axles two") \
  REAL(dragged_mass, MASS, 0.0, 0.0, 1e6, NONE, "", "mass dragged along the ground behind the machine")                \
  REAL(drag_friction, NUMBER, 0.6, 0.0, 2.0, NONE, "", "friction of the dragged mass on the ground", "dragged_mass") \
  REAL(draft, FORCE, 0.0, 0.0, 10000.0, NONE, "", "force of an implement against the motion, scaled by the channel draft") \
  REAL(drag_width, SPEED, 0.108, 1e-5, 10.0, NONE, "", "speed over which drag and draft turn round")                   \
  REAL(start_speed, SPEED, 0.0, -100.0, 100.0, NONE, "", "speed at the start, wheels rolling with it")
/* clang-format on */

struct vehicle_parameters {
  VEHICLE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct vehicle_parameters
static const struct field vehicle_fields[] = {VEHICLE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

struct vehicle_weight {
  real load;  /* N, square to the ground */
  real slope; /* N, along the ground, positive downhill */
};

/* Pull at the drawbar against forward motion, N: the dragged mass and the implement, friction part. */
static inline real vehicle_drawbar_friction(const struct vehicle_parameters *vehicle, real grade, real draft_share,
                                            real speed) {
  real nothing_hangs = vehicle->dragged_mass + vehicle->draft * draft_share;
  if (mask_none(nothing_hangs != 0.0)) {
    return broadcast(0.0);
  }
  real rubbing = vehicle->drag_friction * vehicle->dragged_mass * vehicle->gravity / sqrt(1.0 + grade * grade);
  return select_where(nothing_hangs == 0.0, broadcast(0.0),
                      (rubbing + vehicle->draft * draft_share) * tanh_sign(speed, vehicle->drag_width));
}

/* Load of the rear axle, N (axles two), of a machine with its `mass`. `felt` is the acceleration after the pitch lag,
 * `pull` all that hangs on the drawbar, backward positive. */
static inline real vehicle_rear_load(const struct vehicle_parameters *vehicle, real mass, real load, real slope,
                                     real felt, real pull) {
  real shift = (vehicle->gravity_height * (slope + mass * felt) + vehicle->drawbar_height * pull) / vehicle->wheelbase;
  return clamp(vehicle->rear_share * load + shift, 0.0, load);
}

/* Of a machine with its `mass`; `grade` is the tangent of the slope. */
static inline struct vehicle_weight vehicle_weight_on(const struct vehicle_parameters *vehicle, real mass, real grade) {
  real weight = mass * vehicle->gravity / sqrt(1.0 + grade * grade);
  struct vehicle_weight parts = {weight, weight * grade};
  return parts;
}

#endif
