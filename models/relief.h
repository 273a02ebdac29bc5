/* Main relief valves, one a line. First-order law: the opening x, stated as pressure above cracking, follows the
 * excess, tau x' = max(0, drop - p_crack) - x, and passes G x s(drop), s the sign of the drop rounded over `flow_width`
 * so that flow never runs against the drop. Return: to the other main line, or to the charge gallery (make-up for the
 * low side). Static override: drop = p_crack + Q/G. Heat: Q drop. Time constants of direct valves 5 to 25 ms, piloted
 * 20 to 100 ms (from memory, handbooks). Flow positive out of the valve's own line. */
#ifndef SWASHLOOP_MODELS_RELIEF_H
#define SWASHLOOP_MODELS_RELIEF_H

#include "field.h"

enum relief_return { RELIEF_TO_LINE, RELIEF_TO_GALLERY };

/* clang-format off */
#define RELIEF_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  REAL(setting, PRESSURE, 450.0, 1.0, 1000.0, LINE_TO_LINE, "pr_crack", "drop at which a relief valve cracks")         \
  REAL(gradient, FLOW_PER_PRESSURE, 4.2, 1e-3, 1e3, NONE, "Gr", "flow over pressure above cracking")                   \
  REAL(lag, TIME, 0.004, 1e-5, 1.0, NONE, "tau_r", "lag of the opening")                                               \
  REAL(flow_width, PRESSURE, 10.0, 1e-3, 100.0, NONE, "pr_w", "drop over which the flow turns round")                  \
  CHOICE(return_to, RELIEF_TO_LINE, "line|gallery", "where the relief valves return their oil")
/* clang-format on */

struct relief_parameters {
  RELIEF_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct relief_parameters
static const struct field relief_fields[] = {RELIEF_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* d(opening)/dt, Pa/s. */
static inline real relief_opening_rate(const struct relief_parameters *relief, real opening, real drop) {
  return (max0(drop - relief->setting) - opening) / relief->lag;
}

/* Flow, m3/s. */
static inline real relief_flow(const struct relief_parameters *relief, real opening, real drop) {
  return relief->gradient * opening * soft_sign(drop, relief->flow_width);
}

#endif
