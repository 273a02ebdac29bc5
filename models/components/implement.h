/* What an implement takes from the engine's shaft over time, beside the drive: by a shaft of its own (a mulcher, a
 * chipper), or through its own pump (a crane, a harvester's head). It never gives power back.
 *
 *  `power`: P, the operator's channel, at the engine's shaft. Torque P/w; below full_power_speed w_f torque P w/w_f^2,
 * so that the power falls with the square of the speed and nothing is taken from an engine that stands or is turned
 *      backwards.
 *  `flow_and_pressure`: flow Q and pressure p of the implement's circuit, both channels, from a pump of displacement D
 *      that gives no more than D w: P = p min(Q, D w)/eta. Its pump slows with the engine, so that below Q/D the torque
 *      stays at p D/eta and the flow falls; it turns round with the speed as friction does. The oil is another
 * circuit's: neither its volume nor its heat is in the balance of the drive.
 *
 * Ledger row `implement`: torque times engine speed, losses of its pump with it. Sign: positive takes power. */
#ifndef SWASHLOOP_MODELS_IMPLEMENT_H
#define SWASHLOOP_MODELS_IMPLEMENT_H

#include "field.h"

enum implement_law { IMPLEMENT_NONE, IMPLEMENT_POWER, IMPLEMENT_FLOW_AND_PRESSURE };

/* clang-format off */
#define IMPLEMENT_FIELDS(REAL, CHOICE, TABLE)                                                                          \
  CHOICE(law, IMPLEMENT_NONE, "none|power|flow_and_pressure", "", "how the power that the implement takes is given")   \
  REAL(full_power_speed, ANGULAR_SPEED, 900.0, 1.0, 20000.0, NONE, "", "engine speed below which its power falls", "law power") \
  REAL(displacement, DISPLACEMENT, 63.0, 0.1, 5000.0, NONE, "", "its pump at full stroke", "law flow_and_pressure")    \
  REAL(efficiency, FRACTION, 85.0, 5.0, 100.0, NONE, "", "its pump, from shaft to oil", "law flow_and_pressure")
/* clang-format on */

struct implement_parameters {
  IMPLEMENT_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct implement_parameters
static const struct field implement_fields[] = {IMPLEMENT_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Flow that its pump gives, m3/s, of what is asked for. */
static inline real implement_flow(const struct implement_parameters *implement, real asked, real engine_speed) {
  return smaller(asked, implement->displacement * max0(engine_speed));
}

/* Torque of the law `power`, N m. */
static inline real implement_shaft_torque(const struct implement_parameters *implement, real power, real engine_speed) {
  real turns = max0(engine_speed);
  real least = larger(turns, implement->full_power_speed);
  return power * turns / (least * least);
}

/* Torque of the law `flow_and_pressure`, N m; `width` = rad/s over which it turns round. */
static inline real implement_pump_torque(const struct implement_parameters *implement, real flow, real pressure,
                                         real engine_speed, real width) {
  real turns = max0(engine_speed);
  real share = smaller(flow / larger(turns, 1e-3), implement->displacement);
  return pressure / implement->efficiency * share * tanh_sign(turns, width);
}

#endif
