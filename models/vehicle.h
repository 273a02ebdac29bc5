/* The machine as one mass on a slope: m v' = traction - rolling resistance - m g sin(slope). Load on the wheels m g
 * cos(slope). Distance along the ground. Sign: forward and uphill positive. */
#ifndef SWASHLOOP_MODELS_VEHICLE_H
#define SWASHLOOP_MODELS_VEHICLE_H

#include "field.h"

/* clang-format off */
#define VEHICLE_FIELDS(REAL, CHOICE, TABLE)                                                                            \
  REAL(mass, MASS, 14000.0, 10.0, 1e6, NONE, "m", "mass of the machine with its load")                                 \
  REAL(gravity, ACCELERATION, 9.81, 0.1, 20.0, NONE, "g", "acceleration of gravity")                                   \
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

/* `grade` is the tangent of the slope. */
static inline struct vehicle_weight vehicle_weight_on(const struct vehicle_parameters *vehicle, real grade) {
  real weight = vehicle->mass * vehicle->gravity / sqrt(1.0 + grade * grade);
  struct vehicle_weight parts = {weight, weight * grade};
  return parts;
}

#endif
