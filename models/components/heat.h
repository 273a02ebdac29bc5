/* Heat: the loop (its oil and the metal that it wets) and the tank, one temperature each.
 * C_L T_L' = losses in the loop + rho c q_in (T_T - T_L) - G_L (T_L - T_a), q_in the make-up flow;
 * C_T T_T' = losses in charge circuit and case + rho c q_out (T_L - T_T) - (G_T + UA o)(T_T - T_a), q_out what leaves
 * the loop as leakage and flushing (oil of the charge relief and the servo never was in the loop), o the thermostat's
 * opening, linear between two temperatures. The cooler's UA falls with fouling and follows the fan by a table over
 * engine speed.
 *
 * `nodes: four` splits the loop in its oil and the metal around it (a short event heats the oil long before the metal
 * follows) and gives the case a node of its own between loop and tank:
 * C_O T_L' = losses + rho c q_in (T_T - T_L) - G_M (T_L - T_M);  C_M T_M' = G_M (T_L - T_M) - G_L (T_M - T_a);
 * C_C T_C' = rho c q_out (T_L - T_C);  and the tank receives its oil at T_C. Throttling heat counts as flow times drop
 * (oil taken as incompressible in the heat balance). Kelvin inside. */
#ifndef SWASHLOOP_MODELS_HEAT_H
#define SWASHLOOP_MODELS_HEAT_H

#include "field.h"

enum heat_nodes { HEAT_TWO_NODES, HEAT_FOUR_NODES };

/* clang-format off */
#define HEAT_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  CHOICE(nodes, HEAT_TWO_NODES, "two|four", "", "loop and tank, or loop oil, loop metal, case and tank")                   \
  REAL(loop_oil_capacity, HEAT_CAPACITY, 12.0, 0.1, 1e5, NONE, "", "heat capacity of the loop's oil", "nodes four") \
  REAL(oil_to_metal, HEAT_CONDUCTANCE, 600.0, 0.0, 1e6, NONE, "", "heat from the loop's oil to its metal", "nodes four") \
  REAL(case_capacity, HEAT_CAPACITY, 20.0, 0.1, 1e5, NONE, "", "heat capacity of the cases with their oil", "nodes four") \
  REAL(loop_capacity, HEAT_CAPACITY, 60.0, 0.1, 1e5, NONE, "C_L", "heat capacity of the loop, oil and metal")          \
  REAL(tank_capacity, HEAT_CAPACITY, 165.0, 0.1, 1e6, NONE, "C_T", "heat capacity of the tank with its oil")           \
  REAL(loop_to_ambient, HEAT_CONDUCTANCE, 25.0, 0.0, 1e5, NONE, "G_La", "heat from the loop to the air")               \
  REAL(tank_to_ambient, HEAT_CONDUCTANCE, 15.0, 0.0, 1e5, NONE, "G_Ta", "heat from the tank to the air")               \
  REAL(cooler, HEAT_CONDUCTANCE, 900.0, 0.0, 1e6, NONE, "UA", "cooler with the thermostat open")                       \
  REAL(cooler_fouling, FRACTION, 0.0, 0.0, 100.0, NONE, "", "part of the cooler lost to dirt")                         \
  TABLE(fan_curve, ANGULAR_SPEED, FRACTION, 0.0, 200.0, "", "cooler over its full value, over engine speed; empty: 100 %") \
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

/* The cooler now, W/K, thermostat open. */
static inline real heat_cooler(const struct heat_parameters *heat, real engine_speed, real dead) {
  real fan = EACH(heat->fan_curve)->count > 0 ? profiles_at(EACH(heat->fan_curve), engine_speed) : broadcast(1.0);
  return heat->cooler * (1.0 - heat->cooler_fouling) * fan * (1.0 - dead);
}

/* dT_L/dt, K/s; `metal` is the temperature of the loop's metal (nodes four). */
static inline real heat_loop_rate(const struct heat_parameters *heat, real losses, real heat_flow_in, real loop,
                                  real metal, real tank) {
  real gain = losses + heat_flow_in * (tank - loop);
  if (heat->nodes == HEAT_FOUR_NODES) {
    return (gain - heat->oil_to_metal * (loop - metal)) / heat->loop_oil_capacity;
  }
  return (gain - heat->loop_to_ambient * (loop - heat->ambient)) / heat->loop_capacity;
}

/* dT_M/dt of the loop's metal, K/s. */
static inline real heat_metal_rate(const struct heat_parameters *heat, real loop, real metal) {
  return (heat->oil_to_metal * (loop - metal) - heat->loop_to_ambient * (metal - heat->ambient)) /
         larger(heat->loop_capacity - heat->loop_oil_capacity, 100.0);
}

/* dT_C/dt of the case, K/s. */
static inline real heat_case_rate(const struct heat_parameters *heat, real heat_flow_out, real loop, real case_oil) {
  return heat_flow_out * (loop - case_oil) / heat->case_capacity;
}

/* dT_T/dt, K/s; `arriving` is the temperature of the oil that comes back from loop or case. */
static inline real heat_tank_rate(const struct heat_parameters *heat, real losses, real heat_flow_out, real arriving,
                                  real tank, real cooler) {
  real opening = ramp01(tank, heat->thermostat_begin, heat->thermostat_open);
  return (losses + heat_flow_out * (arriving - tank) -
          (heat->tank_to_ambient + cooler * opening) * (tank - heat->ambient)) /
         heat->tank_capacity;
}

#endif
