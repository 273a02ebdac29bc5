/* Loop flushing: a spring-centred shuttle connects the lower line to a relief valve and an orifice in series, to the
 * case. tau x' = clamp(drop/p_shift, -1, 1) - x; the share of opening grows past the overlap x_0. Relief in its static
 * form q_1 = G max(0, p - p_case - p_set), orifice q_2 = k sqrt(max(p - p_case, 1 kPa)); in series
 * q_1 q_2/sqrt(q_1^2 + q_2^2), smooth and below both. While the shuttle changes over it meets the high side; the
 * orifice limits that flow. Practice: 10 to 40 % of the charge flow (from memory). Flow positive to the case. */
#ifndef SWASHLOOP_MODELS_FLUSHING_H
#define SWASHLOOP_MODELS_FLUSHING_H

#include "field.h"

/* clang-format off */
#define FLUSHING_FIELDS(REAL, CHOICE, TABLE)                                                                           \
  REAL(relief_setting, PRESSURE, 17.0, 0.1, 100.0, OVER_CASE, "pfl", "pressure at which the flushing relief cracks", "orifice") \
  REAL(relief_gradient, FLOW_PER_PRESSURE, 1.8, 0.0, 1e4, NONE, "Gfl", "flow of the flushing relief over pressure above cracking", "orifice") \
  REAL(orifice, FLOW_PER_ROOT_PRESSURE, 3.035786554, 0.0, 1e4, NONE, "kfl", "flow coefficient of the flushing orifice") \
  REAL(shift_pressure, PRESSURE, 8.0, 0.1, 100.0, NONE, "psh", "drop between the lines that shifts the shuttle fully", "orifice") \
  REAL(shuttle_lag, TIME, 0.02, 1e-4, 10.0, NONE, "tau_sh", "lag of the shuttle", "orifice") \
  REAL(shuttle_overlap, FRACTION, 30.0, 0.0, 95.0, NONE, "xsh0", "travel of the shuttle before it opens", "orifice")
/* clang-format on */

struct flushing_parameters {
  FLUSHING_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct flushing_parameters
static const struct field flushing_fields[] = {FLUSHING_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* d(shuttle)/dt, 1/s; drop = p_A - p_B. */
static inline real flushing_shuttle_rate(const struct flushing_parameters *flushing, real shuttle, real drop) {
  return (saturate(drop / flushing->shift_pressure, 1.0) - shuttle) / flushing->shuttle_lag;
}

/* Opening of the shuttle, 0 to 1, to the line for which `shuttle` is positive when it is the lower one. */
static inline real flushing_opening(const struct flushing_parameters *flushing, real shuttle) {
  return ramp01(shuttle, flushing->shuttle_overlap, 1.0);
}

/* Flow from a line to the case, m3/s. */
static inline real flushing_flow(const struct flushing_parameters *flushing, real opening, real over_case) {
  real relief = flushing->relief_gradient * max0(over_case - flushing->relief_setting);
  mask shut = relief * opening == 0.0;
  if (mask_none(mask_not(shut))) {
    return broadcast(0.0);
  }
  real orifice = flushing->orifice * sqrt(larger(over_case, 1e3));
  return select_where(shut, broadcast(0.0), opening * relief * orifice / sqrt(relief * relief + orifice * orifice));
}

#endif
