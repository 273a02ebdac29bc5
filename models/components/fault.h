/* Faults: what a broken part does. Each is a channel from 0 (sound) to 1 (broken) that an action of the case moves, at
 * a time, a distance or when a signal crosses a value.
 *
 *  charge_lost         the charge pump delivers nothing (its share of displacement falls away)
 *  hose_burst_a, _b    the main line opens to the air through an area: C_d A sqrt(2 (p - p_0)/rho), oil lost to the
 *                      ground
 *  relief_x_stuck_open the valve stands open by a pressure-equivalent opening (first_order) or lift (poppet)
 *  relief_x_stuck_shut the valve passes nothing
 *  swash_stuck         the swash does not move
 *  limiter_dead        the pilots see no pressure
 *  filter_blocked      the element's resistance rises (filter.h)
 *  cooler_dead         the cooler takes no heat
 *  engine_off          no fuel
 *  pedals_stuck        the pedals stay where they are
 *
 * Oil lost to the ground is booked, so that the audit of oil still closes. */
#ifndef SWASHLOOP_MODELS_FAULT_H
#define SWASHLOOP_MODELS_FAULT_H

#include "field.h"
#include "relief.h"

/* clang-format off */
#define FAULT_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  REAL(burst_area, AREA, 50.0, 0.01, 5000.0, NONE, "", "opening of a burst hose", "channel hose_burst_a|hose_burst_b") \
  REAL(burst_discharge, NUMBER, 0.65, 0.1, 1.0, NONE, "", "discharge coefficient of a burst hose", "channel hose_burst_a|hose_burst_b") \
  REAL(stuck_opening, PRESSURE, 25.0, 0.0, 500.0, NONE, "", "opening of a relief valve stuck open, as pressure above cracking", "relief.law first_order and channel relief_a_stuck_open|relief_b_stuck_open") \
  REAL(stuck_lift, LENGTH, 0.0005, 0.0, 0.05, NONE, "", "lift of a poppet stuck open", "relief.law poppet and channel relief_a_stuck_open|relief_b_stuck_open")
/* clang-format on */

struct fault_parameters {
  FAULT_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct fault_parameters
static const struct field fault_fields[] = {FAULT_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Position of a relief valve that stands open, in the measure of its law. */
static inline real fault_stuck_position(const struct fault_parameters *fault, enum relief_position measure) {
  return measure == RELIEF_BY_LIFT ? fault->stuck_lift : fault->stuck_opening;
}

/* Oil lost through a burst hose, m3/s; `over_air` = line over ambient. The root is rounded over 0.1 bar, so that its
 * slope at no pressure is finite. No air is drawn in. */
static inline real fault_burst_flow(const struct fault_parameters *fault, real share, real over_air, real density) {
  if (mask_none(share != 0.0)) {
    return broadcast(0.0);
  }
  real drop = max0(over_air);
  return select_where(share == 0.0, broadcast(0.0),
                      share * fault->burst_discharge * fault->burst_area * sqrt(2.0 / density) * drop /
                          sqrt(sqrt(drop * drop + 1e8)));
}

#endif
