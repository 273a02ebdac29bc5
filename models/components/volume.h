/* Volumes of oil: the two main lines and the charge gallery. V w' = sum of flows in; the pressure follows from the
 * compression w (fluid.h). Lumped: right while a pressure wave crosses a line much faster than anything of interest
 * (5 m: about 4 ms). Flow positive into the volume. */
#ifndef SWASHLOOP_MODELS_VOLUME_H
#define SWASHLOOP_MODELS_VOLUME_H

#include "field.h"

/* clang-format off */
#define LINES_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  REAL(volume_a, VOLUME, 3.5, 0.01, 100.0, NONE, "V_A", "oil in main line A, with the passages of pump and motor")     \
  REAL(volume_b, VOLUME, 3.5, 0.01, 100.0, NONE, "V_B", "oil in main line B, with the passages of pump and motor")     \
  REAL(volume_charge, VOLUME, 1.2, 0.005, 100.0, NONE, "V_C", "oil in the charge gallery")                             \
  REAL(case_pressure, PRESSURE, 0.987, -0.5, 10.0, GAUGE, "p_case", "pressure in the cases of pump and motor")         \
  REAL(tank_volume, VOLUME, 100.0, 1.0, 5000.0, NONE, "Vt_start", "oil in the tank at the start")                      \
  REAL(start_drop, PRESSURE, 1.0, 0.0, 20.0, NONE, "", "how far the main lines start below the charge gallery")        \
  REAL(starved_pressure, PRESSURE, 0.5, 0.0, 10.0, ABSOLUTE, "", "a line below this is told as starved")
/* clang-format on */

struct lines_parameters {
  LINES_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct lines_parameters
static const struct field lines_fields[] = {LINES_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* dw/dt of a volume, 1/s. */
static inline real volume_compression_rate(real volume, real flow_in) {
  return flow_in / volume;
}

#endif
