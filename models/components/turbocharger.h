/* Turbocharger and smoke limit: an engine that is asked for load burns at once what its air suffices for, and the rest
 * as the boost builds up.
 *
 * Boost b, a state, as a share of that at full load: T b' = x - b, x the fuel over full fuel, T = lag w_set/max(w,
 * w_set/5): in balance the exhaust of a load drives the boost of that load; at lower speed there is less exhaust. The
 * smoke limit holds the fuel to x <= n + (1 - n) b, n what the engine burns without boost. In balance that is never
 * below x, so that full torque is reached; asked for it at once from b_0, the fuel begins at n + (1 - n) b_0 and comes
 * to full fuel as 1 - (1 - n)(1 - b_0) exp(-n t/T). First-order boost: common practice, no source; a fuel limit by
 * boost pressure is what smoke limiters do (from memory).
 *
 * Validity: boost above idle, no surge, no wastegate of its own (what it holds is in the torque curve). */
#ifndef SWASHLOOP_MODELS_TURBOCHARGER_H
#define SWASHLOOP_MODELS_TURBOCHARGER_H

#include "field.h"

enum turbocharger_fitted { TURBOCHARGER_ABSENT, TURBOCHARGER_FITTED };

/* clang-format off */
#define TURBOCHARGER_FIELDS(REAL, CHOICE, TABLE)                                                                       \
  CHOICE(fitted, TURBOCHARGER_ABSENT, "no|yes", "", "whether torque must wait for boost")                              \
  REAL(natural_share, FRACTION, 60.0, 5.0, 100.0, NONE, "", "fuel that burns without boost, over full fuel", "fitted yes") \
  REAL(lag, TIME, 0.6, 0.01, 20.0, NONE, "", "time constant of the boost at the engine's set speed", "fitted yes")
/* clang-format on */

struct turbocharger_parameters {
  TURBOCHARGER_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct turbocharger_parameters
static const struct field turbocharger_fields[] = {
    TURBOCHARGER_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Fuel that the air suffices for, over full fuel. */
static inline real turbocharger_smoke_limit(const struct turbocharger_parameters *turbocharger, real boost) {
  return blend(turbocharger->natural_share, 1.0, clamp01(boost));
}

/* d(boost)/dt, 1/s. */
static inline real turbocharger_boost_rate(const struct turbocharger_parameters *turbocharger, real boost, real fuel,
                                           real engine_speed, real set_speed) {
  return (fuel - boost) * larger(engine_speed, 0.2 * set_speed) / (turbocharger->lag * set_speed);
}

#endif
