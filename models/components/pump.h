/* Over-centre pump. Stroke x from -1 to 1 of the largest displacement D (per radian), speed w, drop = p_A - p_B.
 * Displaced flow x D w from B to A; flow out of port A: x D w - slip - case leak A; into port B: x D w - slip + case
 * leak B. Torque taken from the engine: x D drop + loss. The same two formulas serve driving and overrun: power
 * returns to the engine when x D drop < 0. Losses: rotary.h. Definitions after ISO 4391. */
#ifndef SWASHLOOP_MODELS_PUMP_H
#define SWASHLOOP_MODELS_PUMP_H

#include "field.h"
#include "rotary.h"

/* clang-format off */
#define PUMP_FIELDS(REAL, CHOICE, TABLE, MAP)                                                                          \
  REAL(displacement, DISPLACEMENT, 125.0, 5.0, 2000.0, NONE, "D_p", "largest displacement")                            \
  REAL(slip_coefficient, NUMBER, 2.5e-9, 0.0, 1e-6, NONE, "Cs_p", "laminar leakage from port to port", "losses coefficients") \
  REAL(case_leak_coefficient, NUMBER, 1.2e-9, 0.0, 1e-6, NONE, "Cc_p", "laminar leakage from each port to the case", "losses coefficients") \
  REAL(viscous_coefficient, NUMBER, 1e5, 0.0, 1e7, NONE, "Cv_p", "viscous torque loss", "losses coefficients") \
  REAL(viscous_exponent, NUMBER, 0.4, 0.0, 1.0, NONE, "", "how the viscous torque rises with viscosity; 1 is linear", "losses coefficients") \
  REAL(friction_coefficient, NUMBER, 0.02, 0.0, 0.5, NONE, "Cf_p", "torque loss in proportion to pressure", "losses coefficients") \
  REAL(constant_torque, TORQUE, 6.0, 0.0, 1000.0, NONE, "Tc_p", "torque loss that is always there", "losses coefficients") \
  REAL(friction_at_zero_stroke, FRACTION, 100.0, 0.0, 100.0, NONE, "", "part of the torque loss by pressure that is there at zero stroke", "losses coefficients and friction_coefficient") \
  REAL(churning_coefficient, NUMBER, 0.0, 0.0, 1e5, NONE, "", "torque loss by the square of the speed", "losses coefficients") \
  REAL(churning_at_zero_stroke, FRACTION, 0.0, 0.0, 100.0, NONE, "", "part of it that is there at zero stroke", "losses coefficients and churning_coefficient") \
  REAL(compressed_at_zero_stroke, FRACTION, 0.0, 0.0, 1000.0, NONE, "", "oil compressed and let down in each turn at zero stroke, over the displacement", "losses coefficients") \
  REAL(compressed_at_full_stroke, FRACTION, 0.0, 0.0, 1000.0, NONE, "", "the same at full stroke", "losses coefficients") \
  REAL(pressure_width, PRESSURE, 1.0, 1e-4, 100.0, NONE, "p_f0", "rounding of the pressure in the torque loss, pump and motor") \
  CHOICE(losses, ROTARY_COEFFICIENTS, "coefficients|map", "", "where leakage and torque loss come from")               \
  MAP(efficiency_map, "measured efficiencies: rows [speed, pressure, volumetric, hydro-mechanical] at full stroke, or with the stroke as third column", "losses map") \
  REAL(map_case_share, FRACTION, 30.0, 0.0, 100.0, NONE, "", "part of the map's leakage that goes to the case, not to the other port", "losses map")
/* clang-format on */

struct pump_parameters {
  PUMP_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE, FIELD_MEMBER_MAP)
};

#define FIELD_OWNER struct pump_parameters
static const struct field pump_fields[] = {
    PUMP_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE, FIELD_ROW_MAP)};
#undef FIELD_OWNER

/* The loss coefficients, or the map, of the pump; `speed_width` (rad/s) is the engine's. */
static inline struct rotary_losses pump_losses(const struct pump_parameters *pump, real speed_width) {
  struct rotary_losses losses = {
      .displacement = pump->displacement,
      .slip = pump->slip_coefficient,
      .case_leak = pump->case_leak_coefficient,
      .viscous = pump->viscous_coefficient,
      .coulomb = pump->friction_coefficient,
      .constant = pump->constant_torque,
      .friction_idle = pump->friction_at_zero_stroke,
      .churning = pump->churning_coefficient, /* until rotary_losses_in_oil */
      .churning_idle = pump->churning_at_zero_stroke,
      .compressed_idle = pump->compressed_at_zero_stroke,
      .compressed_full = pump->compressed_at_full_stroke,
      .speed_width = speed_width,
      .pressure_width = pump->pressure_width,
      .map = pump->losses == ROTARY_MAP ? EACH(pump->efficiency_map) : NULL,
      .case_share = pump->map_case_share,
  };
  return losses;
}

/* Flow displaced from B to A, m3/s. */
static inline real pump_displaced_flow(real displacement, real stroke, real speed) {
  return displacement * stroke * speed;
}

/* Torque of the pressure on the shaft, N m, positive when it loads the engine. */
static inline real pump_pressure_torque(real displacement, real stroke, real drop) {
  return displacement * stroke * drop;
}

#endif
