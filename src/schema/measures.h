/* The measures: one number a run, declared once. NaN where a plant or a run has none, with the reason in `absent`. */
#ifndef SWASHLOOP_SCHEMA_MEASURES_H
#define SWASHLOOP_SCHEMA_MEASURES_H

#include "field.h"

/* MEASURE(name, quantity, reference, long name) */
/* clang-format off */
#define MEASURE_LIST(MEASURE)                                                                                          \
  MEASURE(peak_line_a_pressure, PRESSURE, GAUGE, "highest pressure in line A")                                         \
  MEASURE(peak_line_a_pressure_time, TIME, NONE, "when line A was highest")                                            \
  MEASURE(peak_line_b_pressure, PRESSURE, GAUGE, "highest pressure in line B")                                         \
  MEASURE(peak_line_b_pressure_time, TIME, NONE, "when line B was highest")                                            \
  MEASURE(lowest_low_side_pressure, PRESSURE, GAUGE, "lowest pressure of the lower of the two lines")                  \
  MEASURE(lowest_low_side_pressure_time, TIME, NONE, "when the low side was lowest")                                   \
  MEASURE(lowest_low_side_pressure_after_settling, PRESSURE, GAUGE, "the same from 0.5 s on")                          \
  MEASURE(least_line_oil, VOLUME, NONE, "least oil in a main line") \
  MEASURE(lowest_charge_pressure, PRESSURE, GAUGE, "lowest charge pressure")                                           \
  MEASURE(lowest_charge_pressure_time, TIME, NONE, "when the charge pressure was lowest")                              \
  MEASURE(peak_charge_pressure, PRESSURE, GAUGE, "highest charge pressure")                                            \
  MEASURE(peak_case_pressure, PRESSURE, GAUGE, "highest pressure in the cases")                                         \
  MEASURE(peak_case_pressure_time, TIME, NONE, "when the case pressure was highest")                                   \
  MEASURE(engine_speed_max, ANGULAR_SPEED, NONE, "highest engine speed")                                               \
  MEASURE(engine_speed_max_time, TIME, NONE, "when the engine was fastest")                                            \
  MEASURE(engine_speed_min, ANGULAR_SPEED, NONE, "lowest engine speed")                                                \
  MEASURE(engine_speed_min_time, TIME, NONE, "when the engine was slowest")                                            \
  MEASURE(motor_speed_max, ANGULAR_SPEED, NONE, "highest motor speed, either way")                                     \
  MEASURE(vehicle_speed_max, SPEED, NONE, "highest speed, either way")                                                 \
  MEASURE(vehicle_speed_end, SPEED, NONE, "speed at the end")                                                          \
  MEASURE(vehicle_distance_end, LENGTH, NONE, "distance at the end")                                                   \
  MEASURE(stop_from, TIME, NONE, "when braking started")                                                               \
  MEASURE(stop_from_speed, SPEED, NONE, "speed when braking started")                                                  \
  MEASURE(stop_time, TIME, NONE, "time to the stop (0.05 m/s, or lasting below 0.5 km/h)")                             \
  MEASURE(stop_distance, LENGTH, NONE, "distance to the stop (0.05 m/s or lasting below 0.5 km/h)")                    \
  MEASURE(creep_speed, SPEED, NONE, "mean of the absolute speed over the last second")                                 \
  MEASURE(creep_from, TIME, NONE, "since when the machine has crept steadily, at the end")                             \
  MEASURE(rest_from, TIME, NONE, "since when the machine has been at rest, at the end")                                \
  MEASURE(largest_wheel_slip, FRACTION, NONE, "largest slip of the wheels, either way")                                \
  MEASURE(relief_a_open_time, TIME, NONE, "total time with more than 0.6 L/min through relief valve A")                \
  MEASURE(relief_b_open_time, TIME, NONE, "total time with more than 0.6 L/min through relief valve B")                \
  MEASURE(relief_a_first_opening, TIME, NONE, "first opening of relief valve A")                                       \
  MEASURE(relief_b_first_opening, TIME, NONE, "first opening of relief valve B")                                       \
  MEASURE(relief_a_openings, NUMBER, NONE, "how often relief valve A opened")                                          \
  MEASURE(relief_b_openings, NUMBER, NONE, "how often relief valve B opened")                                          \
  MEASURE(relief_a_peak_flow, FLOW, NONE, "largest flow through relief valve A")                                       \
  MEASURE(relief_b_peak_flow, FLOW, NONE, "largest flow through relief valve B")                                       \
  MEASURE(relief_heat, ENERGY, NONE, "heat made in both main relief valves")                                           \
  MEASURE(loop_oil_temperature_max, TEMPERATURE, NONE, "highest loop oil temperature")                                 \
  MEASURE(tank_oil_temperature_max, TEMPERATURE, NONE, "highest tank oil temperature")                                 \
  MEASURE(brake_temperature_max, TEMPERATURE, NONE, "highest temperature of the brakes")                               \
  MEASURE(front_brake_temperature_max, TEMPERATURE, NONE, "highest temperature of the front brakes")                   \
  MEASURE(energy_residual, FRACTION, NONE, "what the energy ledger does not explain, over the energy put in")          \
  MEASURE(oil_lost, VOLUME, NONE, "oil lost to the ground")                                                            \
  MEASURE(largest_front_wheel_slip, FRACTION, NONE, "largest slip of the front wheels, either way")                    \
  MEASURE(particles_4, PARTICLE_COUNT, NONE, "particles above 4 um(c) at the end of the duty")                         \
  MEASURE(particles_6, PARTICLE_COUNT, NONE, "particles above 6 um(c) at the end of the duty")                         \
  MEASURE(particles_14, PARTICLE_COUNT, NONE, "particles above 14 um(c) at the end of the duty")                       \
  MEASURE(iso_code_4, NUMBER, NONE, "ISO 4406 code above 4 um(c) at the end of the duty")                              \
  MEASURE(iso_code_6, NUMBER, NONE, "ISO 4406 code above 6 um(c) at the end of the duty")                              \
  MEASURE(iso_code_14, NUMBER, NONE, "ISO 4406 code above 14 um(c) at the end of the duty")                            \
  MEASURE(cleaning_time, LONG_TIME, NONE, "duty until the oil is as clean as its target")                              \
  MEASURE(element_dirt, DIRT, NONE, "dirt in the filter element at the end of the duty")                               \
  MEASURE(bypass_opening_time, LONG_TIME, NONE, "duty until the filter's bypass opens at the run's mean flow")         \
  MEASURE(oil_residual, VOLUME, NONE, "drift of the oil in tank and lines")                                            \
  MEASURE(heat_residual, FRACTION, NONE, "what the balance of heat in the oil does not explain, over the heat that moved") \
  MEASURE(legs_done, NUMBER, NONE, "legs of the course that were driven to their end")                                 \
  MEASURE(course_time, TIME, NONE, "time on the course, driving and standing")                                         \
  MEASURE(driving_speed, SPEED, NONE, "mean speed on the course, standing left out")                                   \
  MEASURE(stop_miss, LENGTH, NONE, "largest distance from the place of a stop, where the machine stood")               \
  MEASURE(brake_uses, NUMBER, NONE, "how often the driver took the service brake")                                     \
  MEASURE(load_delivered, MASS, NONE, "load left at stops")                                                            \
  MEASURE(delivery_rate, MASS_RATE, NONE, "load left at stops over the time on the course")                            \
  MEASURE(course_tank_temperature, TEMPERATURE, NONE, "tank oil temperature that repeated courses settle at, from the last three ends") \
  MEASURE(transport_work, TRANSPORT, NONE, "load on board times distance")                                             \
  MEASURE(fuel_used, MASS, NONE, "fuel burnt")                                                                         \
  MEASURE(fuel_volume, VOLUME, NONE, "fuel burnt, as a volume")                                                        \
  MEASURE(fuel_per_time, CONSUMPTION, NONE, "mean consumption of fuel")                                                       \
  MEASURE(fuel_per_loaded_way, FUEL_PER_WAY, NONE, "fuel burnt on the whole course over the way driven with a load")   \
  MEASURE(fuel_per_transport, FUEL_PER_TRANSPORT, NONE, "fuel burnt on the whole course over load on board times distance") \
  MEASURE(carbon_dioxide, MASS, NONE, "carbon dioxide of the fuel burnt")                                              \
  MEASURE(specific_consumption, SPECIFIC_CONSUMPTION, NONE, "fuel over the work that the flywheel gave, auxiliaries not taken off") \
  MEASURE(fuel_residual, FRACTION, NONE, "what the balance of the fuel does not explain, over its energy")             \
  MEASURE(hunts, NUMBER, NONE, "whether it hunts: the pressure swings and does not settle")                              \
  MEASURE(hunting_from, TIME, NONE, "when hunting began")                                                              \
  MEASURE(hunting_frequency, FREQUENCY, NONE, "frequency of the largest swings while it hunts")                        \
  MEASURE(hunting_amplitude, PRESSURE, LINE_TO_LINE, "half of the largest swing while it hunts")                       \
  MEASURE(vouched, NUMBER, NONE, "whether extremes are vouched for (1) or not (0)")
/* clang-format on */

enum measure {
#define MEASURE_ID(name, quantity, reference, text) MEASURE_##name,
  MEASURE_LIST(MEASURE_ID)
#undef MEASURE_ID
      MEASURE_COUNT
};

extern const struct signal measure_rows[MEASURE_COUNT];

/* Index of the measure that a user names, or -1. */
int measure_find(const char *name); /* index or -1 */

#endif
