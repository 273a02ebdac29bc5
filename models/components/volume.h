/* Volumes of oil: the two main lines and the charge gallery. V w' = sum of flows in; the pressure follows from the
 * compression w (fluid.h). Lumped: right while a pressure wave crosses a line much faster than anything of interest
 * (5 m: about 4 ms). Flow positive into the volume.
 *
 * Starved lines. V (1 + w) is the oil, at ambient pressure, that a line holds. Below ambient pressure it shares the
 * line with air and vapour. `by_content`: a machine displaces this mixture, taken as even, so that of what it displaces
 * only the share 1 + w is oil: a line that is drawn on empties ever more slowly and never holds less than nothing
 * (homogeneous mixture, as in the stiffness law of fluid.h; that filling is even is an assumption of ours, no source).
 * The voids collapse in the machine when it opens to the other line, so that it works against the full drop and what
 * it does not deliver becomes heat. `unlimited`: the reference law, any flow at any pressure. */
#ifndef SWASHLOOP_MODELS_VOLUME_H
#define SWASHLOOP_MODELS_VOLUME_H

#include "field.h"

enum lines_starved_flow { LINES_UNLIMITED, LINES_BY_CONTENT };
enum lines_cases { LINES_CASES_CONSTANT, LINES_CASES_DRAINED };

/* clang-format off */
#define LINES_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  REAL(volume_a, VOLUME, 3.5, 0.01, 100.0, NONE, "V_A", "oil in main line A, with the passages of pump and motor")     \
  REAL(volume_b, VOLUME, 3.5, 0.01, 100.0, NONE, "V_B", "oil in main line B, with the passages of pump and motor")     \
  REAL(volume_charge, VOLUME, 1.2, 0.005, 100.0, NONE, "V_C", "oil in the charge gallery")                             \
  CHOICE(cases, LINES_CASES_CONSTANT, "constant|drained", "", "whether the pressure in the cases of pump and motors is given, or follows from what drains") \
  REAL(case_pressure, PRESSURE, 0.987, -0.5, 10.0, GAUGE, "p_case", "pressure in the cases of pump and motors; where they are drained, at the start") \
  REAL(case_volume, VOLUME, 5.0, 0.05, 500.0, NONE, "", "oil in the cases of pump and motors together", "cases drained") \
  REAL(case_alarm, PRESSURE, 3.0, 0.1, 50.0, GAUGE, "", "case pressure above this is reported: what the shaft seals bear", "cases drained") \
  REAL(tank_volume, VOLUME, 100.0, 1.0, 5000.0, NONE, "Vt_start", "oil in the tank at the start")                      \
  REAL(start_drop, PRESSURE, 1.0, 0.0, 20.0, NONE, "", "how far the main lines start below the charge gallery")        \
  REAL(starved_pressure, PRESSURE, 0.5, 0.0, 10.0, ABSOLUTE, "", "a line below this is reported as starved") \
  CHOICE(starved_flow, LINES_BY_CONTENT, "unlimited|by_content", "", "what is drawn from a line or a tank that is running empty") \
  REAL(tank_reserve, FRACTION, 10.0, 0.0, 90.0, NONE, "", "share of the tank's oil at the start below which the charge pump draws air with it", "starved_flow by_content")
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

/* Share of what a machine displaces that is oil, drawn from a line at compression w; 0 to 1. */
static inline real lines_filling(const struct lines_parameters *lines, real compression) {
  return lines->starved_flow == LINES_BY_CONTENT ? clamp01(1.0 + compression) : broadcast(1.0);
}

/* Share of what the charge pump draws from the tank that is oil; 0 to 1. */
static inline real lines_tank_filling(const struct lines_parameters *lines, real tank_oil) {
  real reserve = lines->tank_reserve * lines->tank_volume;
  mask covers = tank_oil >= reserve;
  return lines->starved_flow == LINES_BY_CONTENT && !mask_none(mask_not(covers))
             ? select_where(covers, broadcast(1.0), max0(tank_oil) / larger(reserve, 1e-9))
             : broadcast(1.0);
}

/* What a machine gives while it draws from a line of this filling. */
struct lines_transfer {
  real flow;  /* oil moved in the direction of `displaced`, m3/s */
  real share; /* of the drop's torque that acts, 0 to 1 */
  real loss;  /* power of the voids' collapse, W, never negative */
};

/* `displaced` in m3/s, `rise` the pressure where it goes less that where it comes from, Pa. Where it falls (both lines
 * starved) nothing collapses, and the drop acts on the oil alone. */
static inline struct lines_transfer lines_transfer_of(real displaced, real rise, real filling) {
  mask pumps = rise > 0.0;
  struct lines_transfer transfer = {displaced * filling, select_where(pumps, broadcast(1.0), filling),
                                    select_where(pumps, fabs(displaced) * (1.0 - filling) * rise, broadcast(0.0))};
  return transfer;
}

#endif
