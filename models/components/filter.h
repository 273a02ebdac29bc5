/* Charge filter, between the charge pump and the gallery, with its bypass valve.
 *
 * Element: drop = r mu q, laminar (ISO 3968 practice, from memory), r = r_clean (1 + loading). Bypass: opens at its
 * cracking drop, then passes G (drop - crack). The flow q of the charge pump shares itself out: closed form, since both
 * laws are straight lines. r_clean = 0 takes the filter away. What goes by the bypass is not filtered.
 *
 * Sign: flow and drop positive from pump to gallery. A backward flow meets the element alone. */
#ifndef SWASHLOOP_MODELS_FILTER_H
#define SWASHLOOP_MODELS_FILTER_H

#include "field.h"

/* clang-format off */
#define FILTER_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  REAL(clean_drop, PRESSURE, 0.0, 0.0, 10.0, NONE, "", "drop of the clean element at the rated flow and viscosity; 0: no filter") \
  REAL(rated_flow, FLOW, 60.0, 0.1, 5000.0, NONE, "", "flow at which the clean drop holds", "clean_drop") \
  REAL(rated_viscosity, KINEMATIC_VISCOSITY, 30.0, 1.0, 1000.0, NONE, "", "viscosity at which the clean drop holds", "clean_drop") \
  REAL(bypass_crack, PRESSURE, 3.5, 0.1, 50.0, NONE, "", "drop at which the bypass valve cracks", "clean_drop") \
  REAL(bypass_gradient, FLOW_PER_PRESSURE, 40.0, 0.0, 1e4, NONE, "", "flow of the bypass valve over drop above cracking", "clean_drop") \
  REAL(blocked_loading, NUMBER, 200.0, 0.0, 1e6, NONE, "", "rise of the element's resistance when blocked", "clean_drop and channel filter_blocked")
/* clang-format on */

struct filter_parameters {
  FILTER_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct filter_parameters
static const struct field filter_fields[] = {FILTER_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Resistance of the element over viscosity, 1/m3. */
static inline real filter_resistance(const struct filter_parameters *filter, real density, real loading) {
  return filter->clean_drop / (filter->rated_flow * filter->rated_viscosity * density) * (1.0 + loading);
}

/* Drop over element and bypass at the whole flow, Pa. */
static inline real filter_drop(const struct filter_parameters *filter, real resistance, real viscosity, real flow) {
  real alone = resistance * viscosity * flow;
  mask shut = alone <= filter->bypass_crack;
  if (mask_none(mask_not(shut))) {
    return alone;
  }
  /* flow = drop/(r mu) + G (drop - crack) */
  real conductance = 1.0 / (resistance * viscosity);
  return select_where(
      shut, alone, (flow + filter->bypass_gradient * filter->bypass_crack) / (conductance + filter->bypass_gradient));
}

/* Share of the flow that goes by the bypass. */
static inline real filter_bypass_share(const struct filter_parameters *filter, real drop, real flow) {
  real bypass = filter->bypass_gradient * max0(drop - filter->bypass_crack);
  return select_where_rare(flow > 0.0, smaller(1.0, bypass / flow), broadcast(0.0));
}

#endif
