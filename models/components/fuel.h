/* Fuel that the engine burns.
 *
 * `willans`: of the energy that the fuel holds, combustion turns the share e into work on the shaft, before friction:
 *      m' H = P_c/e, P_c = combustion torque times speed. With the engine's own motoring torque T_fr that is the line
 *      of Willans, fuel over torque at one speed: a straight line that comes to no fuel at -T_fr, so that idling burns
 *      what friction and auxiliaries take and overrun with the fuel cut burns none. Specific consumption at the
 *      flywheel (1 + T_fr/T)/(e H), e.g. Heywood, Internal Combustion Engine Fundamentals, chapters 2 and 13 (from
 *      memory: specific consumption is one over efficiency and heating value; Willans' line finds the friction).
 *
 * `map`: specific consumption b over speed and torque at the flywheel, auxiliaries not taken off, as a test stand
 *      measures it. Between its points the flow m' = b T w is bilinear, not b: at one speed it lies near a straight
 * line over torque, and b does not (the law above is met exactly by two points a speed). Below its lowest torque T_1
 * the fuel falls in a straight line from there to none at -T_fr, as by the law above. A run whose engine burns fuel
 * beyond the speeds of the map, or gives more torque, fails: what it burns there is not known.
 *
 * Volume m/density, carbon dioxide m times its factor: 43.0 MJ/kg and 74.1 kg CO2 a GJ make 3.19 kg/kg (IPCC
 * Guidelines 2006, volume 2, tables 1.2 and 1.4, from memory). Balance: m H = work of combustion + what leaves with
 * exhaust, coolant and radiation; m a state, the other two integrals along the run.
 *
 * Validity: a warm engine in steady load. Cold starts, after-treatment and richer bursts of smoke-limited engines burn
 * more. Nothing is burnt twice or given back: an engine that is turned backwards against its fuel burns none. */
#ifndef SWASHLOOP_MODELS_FUEL_H
#define SWASHLOOP_MODELS_FUEL_H

#include "field.h"

enum fuel_law { FUEL_NOT_COUNTED, FUEL_WILLANS, FUEL_MAP };

/* clang-format off */
#define FUEL_FIELDS(REAL, CHOICE, TABLE, CONSUMPTION_MAP)                                                                               \
  CHOICE(law, FUEL_NOT_COUNTED, "none|willans|map", "", "how the fuel is counted")                                         \
  REAL(indicated_efficiency, FRACTION, 45.0, 5.0, 65.0, NONE, "", "work of combustion, before friction, over the energy of the fuel", "law willans") \
  REAL(heating_value, HEATING_VALUE, 43.0, 5.0, 130.0, NONE, "", "lower heating value", "law willans|map")                 \
  REAL(density, DENSITY, 835.0, 300.0, 1200.0, NONE, "", "of the fuel at 15 degC", "law willans|map")                      \
  REAL(carbon_dioxide, NUMBER, 3.186, 0.0, 5.0, NONE, "", "mass of carbon dioxide over mass of fuel", "law willans|map") \
  CONSUMPTION_MAP(consumption_map, 120.0, 5000.0, "measured specific consumption: rows [speed, torque at the flywheel, consumption]", "law map")
/* clang-format on */

struct fuel_parameters {
  FUEL_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE, FIELD_MEMBER_CONSUMPTION_MAP)
};

#define FIELD_OWNER struct fuel_parameters
static const struct field fuel_fields[] = {
    FUEL_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE, FIELD_ROW_CONSUMPTION_MAP)};
#undef FIELD_OWNER

/* Fuel burnt at a point of the map, kg/s. */
static inline double fuel_map_point(const struct map *map, int i, int k) {
  return map->volumetric[map_row(map, 0, i, k)] * map->pressure[k] * map->speed[i];
}

/* Fuel burnt by the map, kg/s, in one lane. */
static inline double fuel_map_rate(const struct map *map, double combustion, double friction, double speed) {
  double lowest = map->pressure[0];
  double torque = combustion - friction;
  double at = torque > lowest ? torque : lowest;
  struct map_place place = map_find(map, speed, at, 1.0);
  int i = place.speed;
  int k = place.pressure;
  int next_i = i + 1 < map->speeds ? i + 1 : i;
  int next_k = k + 1 < map->pressures ? k + 1 : k;
  double share = torque > lowest ? 1.0 : combustion / (lowest + friction);
  return map_blend(&place, fuel_map_point(map, i, k), fuel_map_point(map, i, next_k), fuel_map_point(map, next_i, k),
                   fuel_map_point(map, next_i, next_k)) *
         share;
}

/* Fuel burnt, kg/s, for the torque of combustion and the engine's friction that it overcomes, N m, at a speed, rad/s;
 * none while the engine is turned against its fuel. */
static inline real fuel_rate(const struct fuel_parameters *fuel, real combustion, real friction, real speed) {
  real power = max0(combustion * speed);
  if (fuel->law != FUEL_MAP) {
    return power / (fuel->indicated_efficiency * fuel->heating_value);
  }
  real rate = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    if (lane_get(power, lane) > 0.0 && lane_get(speed, lane) > 0.0) {
      lane_set(&rate, lane,
               fuel_map_rate(&EACH(fuel->consumption_map)[lane], lane_get(combustion, lane), lane_get(friction, lane),
                             lane_get(speed, lane)));
    }
  }
  return rate;
}

/* Least specific consumption of a map, kg/J. */
static inline double fuel_least_consumption(const struct map *map) {
  double least = map->volumetric[0];
  for (int i = 1; i < map_rows(map); i++) {
    least = map->volumetric[i] < least ? map->volumetric[i] : least;
  }
  return least;
}

#define FUEL_COUNTS_SHARE 0.01 /* of full fuel, below which the map is not asked for its range */

/* How far an engine that burns `share` of full fuel lies inside the speeds of its map, over the largest; 1 without. */
static inline real fuel_map_speed_room(const struct fuel_parameters *fuel, real share, real speed) {
  real room = broadcast(1.0);
  for (int lane = 0; fuel->law == FUEL_MAP && lane < REAL_LANES; lane++) {
    const struct map *map = &EACH(fuel->consumption_map)[lane];
    double at = lane_get(speed, lane);
    double top = map->speed[map->speeds - 1];
    if (lane_get(share, lane) > FUEL_COUNTS_SHARE) {
      lane_set(&room, lane, (top - at < at - map->speed[0] ? top - at : at - map->speed[0]) / top);
    }
  }
  return room;
}

/* The same below its largest torque. */
static inline real fuel_map_torque_room(const struct fuel_parameters *fuel, real torque) {
  real room = broadcast(1.0);
  for (int lane = 0; fuel->law == FUEL_MAP && lane < REAL_LANES; lane++) {
    const struct map *map = &EACH(fuel->consumption_map)[lane];
    double top = map->pressure[map->pressures - 1];
    lane_set(&room, lane, (top - lane_get(torque, lane)) / top);
  }
  return room;
}

#endif
