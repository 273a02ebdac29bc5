/* Heat in the oil. Nodes of one temperature each; oil that flows from one to another brings its warmth with it, at the
 * temperature that it comes from (upwind); what elements lose heats the node where it is lost.
 *
 * `nodes: four` (the default): the loop's oil, the metal around it (a short event heats the oil long before the metal
 * follows), the cases and the tank, and the charge gallery between tank and loop:
 * C_O T_L' = losses + sum rho c q (T_from - T_L) - G_M (T_L - T_M);   C_M T_M' = G_M (T_L - T_M) - G_L (T_M - T_a);
 * C_C T_C' = losses + sum rho c q (T_from - T_C);   C_G T_G' likewise;
 * C_T T_T' = losses + sum rho c q (T_from - T_T) - (G_T + UA o)(T_T - T_a),
 * o the thermostat's opening, linear between two temperatures. The cooler's UA falls with fouling and follows the fan
 * by a table over engine speed. Leakage and flushing, flow times drop, count as heat of the loop that they leave;
 * charge pump and filter heat the gallery, charge relief and servo oil the cases, the return line the tank.
 *
 * `nodes: two` is the reference law: loop and tank alone, C_L T_L' = losses + rho c q (T_T - T_L) - G_L (T_L - T_a). It
 * spreads the heat of a short event over oil and metal and so reads too cold: in the demo downhill by tens of kelvin.
 * The gallery has the tank's temperature, unless the main reliefs return their oil there: then it has a node of its
 * own.
 *
 * Throttling heat is flow times drop (oil taken as incompressible in the heat balance). The nodes' capacities are
 * constant although the oil that they hold is not: the balance tells the warmth of oil that changed places as
 * `heat_moved`, and what its own warming took, which constant capacities leave out, as `heat_left_out`. Kelvin inside.
 */
#ifndef SWASHLOOP_MODELS_HEAT_H
#define SWASHLOOP_MODELS_HEAT_H

#include "field.h"

enum heat_nodes { HEAT_TWO_NODES, HEAT_FOUR_NODES };

/* clang-format off */
#define HEAT_FIELDS(REAL, CHOICE, TABLE)                                                                               \
  CHOICE(nodes, HEAT_FOUR_NODES, "two|four", "", "loop and tank, or loop oil, loop metal, cases and tank")                 \
  REAL(loop_oil_capacity, HEAT_CAPACITY, 12.0, 0.1, 1e5, NONE, "", "heat capacity of the loop's oil", "nodes four") \
  REAL(oil_to_metal, HEAT_CONDUCTANCE, 600.0, 0.0, 1e6, NONE, "", "heat from the loop's oil to its metal", "nodes four") \
  REAL(case_capacity, HEAT_CAPACITY, 20.0, 0.1, 1e5, NONE, "", "heat capacity of the cases with their oil", "nodes four") \
  REAL(gallery_capacity, HEAT_CAPACITY, 4.0, 0.1, 1e5, NONE, "", "heat capacity of the charge gallery with its oil, where it has a temperature of its own") \
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

/* Temperatures of the nodes, K. Nodes that the laws chosen leave out have that of the next one downstream. */
struct heat_nodes_at {
  real loop;
  real metal;
  real cases;
  real gallery;
  real tank;
};

/* Oil from node to node, m3/s, and what is lost to it on the way, W. */
struct heat_streams {
  real per_volume;    /* rho c, J/(m3 K) */
  real make_up;       /* gallery to loop, never negative */
  real outflow;       /* loop to cases: leakage and flushing */
  real relieved;      /* loop to gallery by the main reliefs, never negative */
  real relieved_back; /* gallery to loop likewise, never negative */
  real charge;        /* tank to gallery */
  real spill;         /* gallery to cases: charge relief and servo */
  real drain;         /* cases to tank */
  real loop_losses;   /* W */
  real charge_losses; /* W, of charge pump and filter */
  real spill_losses;  /* W, of charge relief and servo oil */
  real return_losses; /* W, of the return line */
};

/* Heat that a stream brings to where it goes, over what it finds there, W; nothing while it flows the other way. */
static inline real heat_brought(const struct heat_streams *streams, real flow, real from, real to) {
  return streams->per_volume * max0(flow) * (from - to);
}

/* Heat capacity of the loop's metal, J/K (nodes four). */
static inline real heat_metal_capacity(const struct heat_parameters *heat) {
  return larger(heat->loop_capacity - heat->loop_oil_capacity, 100.0);
}

/* dT_L/dt, K/s. */
static inline real heat_loop_rate(const struct heat_parameters *heat, const struct heat_streams *streams,
                                  const struct heat_nodes_at *at) {
  real gain = streams->loop_losses + heat_brought(streams, streams->make_up, at->gallery, at->loop) +
              heat_brought(streams, streams->relieved_back, at->gallery, at->loop) +
              heat_brought(streams, -streams->outflow, at->cases, at->loop);
  if (heat->nodes == HEAT_FOUR_NODES) {
    return (gain - heat->oil_to_metal * (at->loop - at->metal)) / heat->loop_oil_capacity;
  }
  return (gain - heat->loop_to_ambient * (at->loop - heat->ambient)) / heat->loop_capacity;
}

/* dT_M/dt of the loop's metal, K/s (nodes four). */
static inline real heat_metal_rate(const struct heat_parameters *heat, const struct heat_nodes_at *at) {
  return (heat->oil_to_metal * (at->loop - at->metal) - heat->loop_to_ambient * (at->metal - heat->ambient)) /
         heat_metal_capacity(heat);
}

/* dT_C/dt of the cases, K/s (nodes four). */
static inline real heat_case_rate(const struct heat_parameters *heat, const struct heat_streams *streams,
                                  const struct heat_nodes_at *at) {
  real gain = streams->spill_losses + heat_brought(streams, streams->outflow, at->loop, at->cases) +
              heat_brought(streams, streams->spill, at->gallery, at->cases) +
              heat_brought(streams, -streams->drain, at->tank, at->cases);
  return gain / heat->case_capacity;
}

/* dT_G/dt of the charge gallery, K/s, where it has a temperature of its own. */
static inline real heat_gallery_rate(const struct heat_parameters *heat, const struct heat_streams *streams,
                                     const struct heat_nodes_at *at) {
  real gain = streams->charge_losses + heat_brought(streams, streams->charge, at->tank, at->gallery) +
              heat_brought(streams, streams->relieved, at->loop, at->gallery) +
              heat_brought(streams, -streams->spill, at->cases, at->gallery);
  return gain / heat->gallery_capacity;
}

/* Opening of the cooler's thermostat, 0 to 1. */
static inline real heat_thermostat(const struct heat_parameters *heat, real tank) {
  return ramp01(tank, heat->thermostat_begin, heat->thermostat_open);
}

/* dT_T/dt, K/s; `cooler` from heat_cooler. */
static inline real heat_tank_rate(const struct heat_parameters *heat, const struct heat_streams *streams,
                                  const struct heat_nodes_at *at, bool gallery_has_heat, real cooler) {
  real gain = streams->return_losses + heat_brought(streams, -streams->charge, at->gallery, at->tank);
  if (heat->nodes == HEAT_FOUR_NODES) {
    gain += heat_brought(streams, streams->drain, at->cases, at->tank);
  } else { /* through the cases as if they were not there */
    gain += streams->spill_losses + heat_brought(streams, streams->outflow, at->loop, at->tank) +
            heat_brought(streams, streams->spill, at->gallery, at->tank);
  }
  if (!gallery_has_heat) {
    gain += streams->charge_losses;
  }
  return (gain - (heat->tank_to_ambient + cooler * heat_thermostat(heat, at->tank)) * (at->tank - heat->ambient)) /
         heat->tank_capacity;
}

/* Heat from loop and tank to the air, W. */
static inline real heat_to_air(const struct heat_parameters *heat, const struct heat_nodes_at *at) {
  real skin = heat->nodes == HEAT_FOUR_NODES ? at->metal : at->loop;
  return heat->loop_to_ambient * (skin - heat->ambient) + heat->tank_to_ambient * (at->tank - heat->ambient);
}

#endif
