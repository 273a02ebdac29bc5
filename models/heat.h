/* Heat: the loop (its oil and the metal that it wets) and the tank, one temperature each.
 * C_L T_L' = losses in the loop + rho c q_in (T_T - T_L) - G_L (T_L - T_a), q_in the make-up flow;
 * C_T T_T' = losses in charge circuit and case + rho c q_out (T_L - T_T) - (G_T + UA o)(T_T - T_a), q_out what leaves the
 * loop as leakage and flushing (oil of the charge relief and the servo never was in the loop), o the thermostat's opening, linear between two temperatures. Throttling heat counts as flow times drop
 * (oil taken as incompressible in the heat balance). Kelvin inside. */
#ifndef SWASHLOOP_MODELS_HEAT_H
#define SWASHLOOP_MODELS_HEAT_H

#include "field.h"

/* clang-format off */
#define HEAT_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  REAL(loop_capacity, HEAT_CAPACITY, 60.0, 0.1, 1e5, NONE, "C_L", "heat capacity of the loop, oil and metal")          \
  REAL(tank_capacity, HEAT_CAPACITY, 165.0, 0.1, 1e6, NONE, "C_T", "heat capacity of the tank with its oil")           \
  REAL(loop_to_ambient, HEAT_CONDUCTANCE, 25.0, 0.0, 1e5, NONE, "G_La", "heat from the loop to the air")               \
  REAL(tank_to_ambient, HEAT_CONDUCTANCE, 15.0, 0.0, 1e5, NONE, "G_Ta", "heat from the tank to the air")               \
  REAL(cooler, HEAT_CONDUCTANCE, 900.0, 0.0, 1e6, NONE, "UA", "cooler with the thermostat open")                       \
  REAL(thermostat_begin, TEMPERATURE, 50.0, -40.0, 150.0, NONE, "Tth0", "tank temperature at which the thermostat begins to open") \
  REAL(thermostat_open, TEMPERATURE, 60.0, -39.0, 160.0, NONE, "Tth1", "tank temperature at which it is open")         \
  REAL(ambient, TEMPERATURE, 25.0, -60.0, 70.0, NONE, "T_amb", "temperature of the air")                               \
  REAL(loop_start, TEMPERATURE, 60.0, -60.0, 180.0, NONE, "TL_start", "loop temperature at the start")                 \
  REAL(tank_start, TEMPERATURE, 50.0, -60.0, 180.0, NONE, "TT_start", "tank temperature at the start")
/* clang-format on */

struct heat_parameters {
  HEAT_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct heat_parameters
static const struct field heat_fields[] = {HEAT_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* dT_L/dt, K/s. */
static inline real heat_loop_rate(const struct heat_parameters *heat, real losses, real heat_flow_in, real loop,
                                  real tank) {
  return (losses + heat_flow_in * (tank - loop) - heat->loop_to_ambient * (loop - heat->ambient)) /
         heat->loop_capacity;
}

/* dT_T/dt, K/s. */
static inline real heat_tank_rate(const struct heat_parameters *heat, real losses, real heat_flow_out, real loop,
                                  real tank) {
  real opening = clamp01((tank - heat->thermostat_begin) / (heat->thermostat_open - heat->thermostat_begin));
  return (losses + heat_flow_out * (loop - tank) -
          (heat->tank_to_ambient + heat->cooler * opening) * (tank - heat->ambient)) /
         heat->tank_capacity;
}

#endif
