/* Charge circuit: a fixed pump on the engine shaft, its relief valve to the case, and a check valve to each main line.
 *
 * Pump: delivers f D_c w - k (p_D - p_0) from the tank, takes f D_c (p_D - p_0) + T_c s(w), p_D its outlet (the
 * gallery, plus the drop of the filter). Filling f = min(1, q_s/(D_c w)): thick oil does not follow; the suction line
 * passes at most q_s = (p_0 - p_i)/(r mu) (laminar; p_i, the pressure that the inlet must keep, 0.3 bar absolute:
 * common practice, no source). At full speed that is where the inlet falls to p_i, and beyond it the filling falls with
 * what the line would need over what it has. r = 0 takes the limit away. Relief valve: tau x' = max(0, p_C - p_case -
 * p_set) - x, flow G x s(p_C - p_case) to the case. Check valve: opens linearly between two drops, flow k o
 * sqrt(max(drop, 1 kPa)) (square root: sharp-edged orifice, H. E. Merritt ch. 3, from memory; the floor keeps the slope
 * finite while the opening is still zero). Never backwards. Cavitation in the seat: a drop beyond F_L^2 (p_C - F_F p_v)
 * adds no flow (choked flow of a liquid, IEC 60534-2-1, from memory), F_L the pressure recovery factor of the valve
 * (about 0.9 for a seat valve, from memory), p_v the vapour pressure, F_F = 0.96 for an oil whose vapour pressure is
 * far below its critical one. Practice: charge flow 10 to 20 % of the pump flow, relief 18 to 30 bar (from memory).
 * Flows positive with the names. */
#ifndef SWASHLOOP_MODELS_CHARGE_H
#define SWASHLOOP_MODELS_CHARGE_H

#include "field.h"

/* clang-format off */
#define CHARGE_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  REAL(displacement, DISPLACEMENT, 28.0, 0.0, 500.0, NONE, "D_c", "displacement of the charge pump")                   \
  REAL(leak, FLOW_PER_PRESSURE, 0.12, 0.0, 10.0, NONE, "kl_c", "leakage of the charge pump")                           \
  REAL(constant_torque, TORQUE, 2.0, 0.0, 100.0, NONE, "Tc_c", "torque loss of the charge pump")                       \
  REAL(suction_resistance, SUCTION_RESISTANCE, 0.0, 0.0, 1000.0, NONE, "", "pressure lost in the suction line over flow and viscosity; 0: none") \
  REAL(inlet_pressure, PRESSURE, 0.3, 0.0, 1.0, ABSOLUTE, "", "pressure that the charge pump's inlet must keep to be filled", "suction_resistance") \
  REAL(relief_setting, PRESSURE, 25.0, 0.1, 100.0, OVER_CASE, "pcr", "pressure at which the charge relief cracks")     \
  REAL(relief_gradient, FLOW_PER_PRESSURE, 30.0, 1e-3, 1e4, NONE, "Gcr", "flow of the charge relief over pressure above cracking") \
  REAL(relief_lag, TIME, 0.005, 1e-5, 1.0, NONE, "tau_cr", "lag of the charge relief")                                 \
  REAL(relief_width, PRESSURE, 1.0, 1e-3, 100.0, NONE, "pcr_w", "drop over which the charge relief's flow turns round") \
  REAL(relief_start, PRESSURE, 1.0, 0.0, 100.0, NONE, "", "opening of the charge relief at the start, as pressure above cracking") \
  REAL(check_crack, PRESSURE, 0.3, 0.0, 20.0, NONE, "pck0", "drop at which a check valve cracks")                      \
  REAL(check_open, PRESSURE, 1.5, 0.01, 50.0, NONE, "pck1", "drop at which a check valve is fully open")               \
  REAL(check_flow, FLOW_PER_ROOT_PRESSURE, 98.66305273, 0.01, 1e5, NONE, "kck", "flow coefficient of an open check valve") \
  REAL(check_recovery, NUMBER, 0.9, 0.3, 1.0, NONE, "", "pressure recovery factor of a check valve, by which it chokes; 1 leaves vapour pressure as the only bound") \
  REAL(low_pressure, PRESSURE, 10.0, 0.0, 100.0, OVER_CASE, "", "charge pressure below this is reported as low")
/* clang-format on */

struct charge_parameters {
  CHARGE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct charge_parameters
static const struct field charge_fields[] = {CHARGE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

#define CHECK_CRITICAL_RATIO 0.96 /* F_F of IEC 60534-2-1 at p_v/p_c = 0 */

/* Displacement that fills, m3/rad. */
static inline real charge_filled_displacement(const struct charge_parameters *charge, real speed, real tank_pressure,
                                              real viscosity) {
  real asked = charge->displacement * speed;
  real resistance = charge->suction_resistance * viscosity;
  real drawn = select_where_rare(resistance > 0.0, max0(tank_pressure - charge->inlet_pressure) / resistance,
                                 broadcast(HUGE_VAL));
  return select_where_rare(asked > drawn, charge->displacement * drawn / asked, charge->displacement);
}

/* Drop of the suction line, Pa. */
static inline real charge_suction_drop(const struct charge_parameters *charge, real drawn, real viscosity) {
  return charge->suction_resistance * viscosity * drawn;
}

/* Delivery of the charge pump, m3/s. */
static inline real charge_pump_flow(const struct charge_parameters *charge, real filled, real speed, real over_tank) {
  return filled * speed - charge->leak * over_tank;
}

/* Torque of the pressure on the engine, N m. */
static inline real charge_pump_pressure_torque(real filled, real over_tank) {
  return filled * over_tank;
}

/* Torque lost, N m, signed as the speed. */
static inline real charge_pump_torque_loss(const struct charge_parameters *charge, real speed, real speed_width) {
  return charge->constant_torque * tanh_sign(speed, speed_width);
}

/* d(opening)/dt of the charge relief, Pa/s. */
static inline real charge_relief_opening_rate(const struct charge_parameters *charge, real opening, real over_case) {
  return (max0(over_case - charge->relief_setting) - opening) / charge->relief_lag;
}

/* Flow over the charge relief, m3/s, from the gallery to the case; never against the drop. */
static inline real charge_relief_flow(const struct charge_parameters *charge, real opening, real over_case) {
  return charge->relief_gradient * opening * soft_sign(over_case, charge->relief_width);
}

/* Largest drop that still raises a check valve's flow, Pa, from a gallery at absolute pressure p_C. */
static inline real check_valve_choke(const struct charge_parameters *charge, real gallery, real vapour_pressure) {
  real recovery = charge->check_recovery;
  return recovery * recovery * max0(gallery - CHECK_CRITICAL_RATIO * vapour_pressure);
}

/* Flow from the gallery into a main line, m3/s; `drop` = gallery over line, `choke` what of it counts at the most. */
static inline real check_valve_flow(const struct charge_parameters *charge, real drop, real choke) {
  real opening = ramp01(drop, charge->check_crack, charge->check_open);
  return select_where_rare(opening > 0.0, charge->check_flow * opening * sqrt(larger(smaller(drop, choke), 1e3)),
                           broadcast(0.0));
}

#endif
