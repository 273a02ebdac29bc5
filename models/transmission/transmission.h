/* What the files of the transmission share: its components, its lists of states, signals, ledger rows and events (each
 * declared once, here), its model and its mode. Private to models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_H
#define SWASHLOOP_MODELS_TRANSMISSION_H

#include <string.h>

#include "brake.h"
#include "charge.h"
#include "contamination.h"
#include "controls.h"
#include "course.h"
#include "driver.h"
#include "driveline.h"
#include "engine.h"
#include "fault.h"
#include "filter.h"
#include "fluid.h"
#include "flushing.h"
#include "fuel.h"
#include "gearbox.h"
#include "ground.h"
#include "heat.h"
#include "implement.h"
#include "limiter.h"
#include "motor.h"
#include "operator.h"
#include "pipe.h"
#include "plant.h"
#include "pump.h"
#include "relief.h"
#include "swash.h"
#include "thresholds.h"
#include "transfer_case.h"
#include "transmission_open.h"
#include "turbocharger.h"
#include "tyre.h"
#include "vehicle.h"
#include "volume.h"

/* The plant's components, one line each: its type (its header in models/components), its section of the case file, what
 * it is, and when its parameters can have an effect (models/lib/field.h: acts). */
#define TRANSMISSION_COMPONENTS(COMPONENT)                                                                             \
  COMPONENT(fluid, fluid, "oil")                                                                                       \
  COMPONENT(lines, lines, "volumes of oil")                                                                            \
  COMPONENT(pipe, hoses, "hoses between pump and motors, each line's")                                                 \
  COMPONENT(pipe, drain, "drain line from the cases to the tank", "lines.cases drained")                               \
  COMPONENT(engine, engine, "diesel engine with governor")                                                             \
  COMPONENT(fuel, fuel, "fuel that the engine burns", "law willans|map")                                               \
  COMPONENT(turbocharger, turbocharger, "turbocharger and smoke limit", "fitted yes")                                  \
  COMPONENT(implement, implement, "what an implement takes from the engine's shaft")                                   \
  COMPONENT(pump, pump, "over-centre pump")                                                                            \
  COMPONENT(swash, swash, "control pressure and swash servo of the pump")                                              \
  COMPONENT(limiter, limiter, "pressure limiter", "fitted yes")                                                        \
  COMPONENT(relief, relief, "main relief valves")                                                                      \
  COMPONENT(charge, charge, "charge pump, charge relief and check valves")                                             \
  COMPONENT(filter, filter, "charge filter with bypass")                                                               \
  COMPONENT(contamination, contamination, "particles in the oil over a duty of hours", "fitted yes")                   \
  COMPONENT(flushing, flushing, "loop flushing")                                                                       \
  COMPONENT(motor, motor, "motor and its servo")                                                                       \
  COMPONENT(motor, second_motor, "second motor, on the front axle", "vehicle.second_motor yes")                        \
  COMPONENT(driveline, driveline, "gear, axles and wheels")                                                            \
  COMPONENT(driveline, second_driveline, "gear and wheels of the front axle", "vehicle.axles two")                     \
  COMPONENT(gearbox, gearbox, "gearbox behind the first motor")                                                        \
  COMPONENT(transfer_case, transfer_case, "transfer case: the first motor drives both axles", "vehicle.axles two")     \
  COMPONENT(brake, brake, "service and park brake")                                                                    \
  COMPONENT(tyre, tyre, "tyres")                                                                                       \
  COMPONENT(vehicle, vehicle, "the machine as a mass on its axles")                                                    \
  COMPONENT(ground, ground, "grade and soil over distance")                                                            \
  COMPONENT(operator, operator, "pedals and levers")                                                                   \
  COMPONENT(controls, controls, "controls between the pedals and the machine")                                         \
  COMPONENT(driver, driver, "driver who follows a course by the pedals", "drives yes")                                 \
  COMPONENT(course, course, "course of a driver, leg by leg", "driver.drives yes")                                     \
  COMPONENT(heat, heat, "temperatures")                                                                                \
  COMPONENT(fault, fault, "what breaks, and how wide")

struct transmission_parameters {
#define COMPONENT_MEMBER(type, name, ...) struct type##_parameters name;
  TRANSMISSION_COMPONENTS(COMPONENT_MEMBER)
#undef COMPONENT_MEMBER
};

/* Does the charge gallery have a temperature of its own? Else it has the tank's. */
static inline bool transmission_gallery_has_heat(const struct transmission_parameters *own) {
  return own->heat.nodes == HEAT_FOUR_NODES || own->relief.return_to == RELIEF_TO_GALLERY;
}

/* STATE(id, unit, absolute tolerance, text) */
#define TRANSMISSION_STATES(STATE)                                                                                     \
  STATE(engine_speed, "rad/s", 1e-5, "engine speed")                                                                   \
  STATE(fuel, "1", 1e-6, "fuel over full fuel")                                                                        \
  STATE(line_a_compression, "1", 1e-7, "compression of line A")                                                        \
  STATE(line_b_compression, "1", 1e-7, "compression of line B")                                                        \
  STATE(charge_compression, "1", 1e-7, "compression of the charge gallery")                                            \
  STATE(control_pressure, "1", 1e-6, "control pressure over its range")                                                \
  STATE(pump_stroke, "1", 1e-6, "pump stroke over full stroke")                                                        \
  STATE(limiter_a, "1", 1e-6, "limiter pilot on line A")                                                               \
  STATE(limiter_b, "1", 1e-6, "limiter pilot on line B")                                                               \
  STATE(motor_override, "1", 1e-6, "motor override")                                                                   \
  STATE(motor_displacement, "1", 1e-6, "motor displacement over the largest")                                          \
  RELIEF_STATES(STATE, a, "A", 1e-5)                                                                                   \
  RELIEF_STATES(STATE, b, "B", 1e-5)                                                                                   \
  STATE(charge_relief_opening, "Pa", 100.0, "opening of the charge relief")                                            \
  STATE(flushing_shuttle, "1", 1e-6, "flushing shuttle")                                                               \
  STATE(wheel_speed, "rad/s", 1e-6, "wheel speed")                                                                     \
  STATE(vehicle_speed, "m/s", 1e-6, "machine speed")                                                                   \
  STATE(vehicle_distance, "m", 1e-5, "distance along the ground")                                                      \
  STATE(loop_temperature, "K", 1e-4, "loop temperature")                                                               \
  STATE(tank_temperature, "K", 1e-4, "tank temperature")                                                               \
  STATE(tank_oil, "m3", 1e-8, "oil in the tank")                                                                       \
  STATE(tyre_slip, "1", 1e-6, "tyre deflection as slip, tyre law relaxation")                                          \
  STATE(brake_torque, "N m", 1.0, "wind-up of the brake, brake law stick")                                             \
  STATE(brake_temperature, "K", 1e-4, "temperature of the brakes, brake heat one_mass")                                \
  STATE(motor_friction, "N m", 0.02, "wind-up of the motor's dry friction, motor friction stick")                      \
  STATE(gear_friction, "N m", 1.0, "wind-up of friction in gear and axles, driveline friction stick")                  \
  STATE(swash_motion, "1/s", 1e-5, "speed of the swash, servo second_order")                                           \
  STATE(governor_integral, "1", 1e-6, "integral of the isochronous governor")                                          \
  STATE(loop_metal_temperature, "K", 1e-4, "temperature of the loop's metal, heat nodes four")                         \
  STATE(case_temperature, "K", 1e-4, "temperature of the cases, heat nodes four")                                      \
  STATE(gallery_temperature, "K", 1e-4,                                                                                \
        "temperature of the charge gallery, heat nodes four or reliefs to the gallery")                                \
  STATE(felt_acceleration, "m/s2", 1e-5, "acceleration after the pitch lag, axles two")                                \
  STATE(front_wheel_speed, "rad/s", 1e-6, "speed of the front wheels, axles two")                                      \
  STATE(front_tyre_slip, "1", 1e-6, "deflection of the front tyres as slip")                                           \
  STATE(front_brake_torque, "N m", 1.0, "wind-up of the front brake")                                                  \
  STATE(front_brake_temperature, "K", 1e-4, "temperature of the front brakes")                                         \
  STATE(second_motor_friction, "N m", 0.02, "wind-up of the second motor's dry friction")                              \
  STATE(front_gear_friction, "N m", 1.0, "wind-up of friction in the front axle")                                      \
  STATE(second_motor_override, "1", 1e-6, "override of the second motor")                                              \
  STATE(second_motor_displacement, "1", 1e-6, "displacement of the second motor over its largest")                     \
  STATE(case_compression, "1", 1e-7, "compression of the oil in the cases, cases drained")                             \
  STATE(oil_lost, "m3", 1e-8, "oil lost to the ground")                                                                \
  STATE(boost, "1", 1e-6, "boost over that at full load, turbocharger fitted")                                         \
  STATE(fuel_used, "kg", 1e-6, "fuel burnt, fuel counted")                                                             \
  STATE(motor_shaft_speed, "rad/s", 1e-6, "speed of the motor ahead of the gearbox")                                   \
  STATE(gear_clutch_a, "N m", 0.02, "wind-up of the gearbox's clutch A")                                               \
  STATE(gear_clutch_b, "N m", 0.02, "wind-up of the gearbox's clutch B")                                               \
  STATE(transfer_torque, "N m", 0.02, "wind-up between both axles in the transfer case")                               \
  STATE(ratio_command, "1", 1e-6, "speed ratio in its ramp, controls ramp ratio")                                      \
  STATE(ratio_motion, "1/s", 1e-5, "rate of that ramp")                                                                \
  STATE(anti_stall_integral, "1", 1e-6, "integral of the anti-stall control by load")                                  \
  STATE(felt_speed, "m/s", 1e-6, "machine speed that the driver feels")                                                \
  STATE(aim_speed, "m/s", 1e-6, "speed that the driver aims at")                                                       \
  STATE(driver_integral, "1", 1e-6, "integral of the driver's control of the speed")                                   \
  STATE(driver_pedal, "1", 1e-6, "the driver's pedal, forward positive")                                               \
  STATE(driver_brake, "1", 1e-6, "the driver's brake pedal")                                                           \
  STATE(load, "kg", 1e-3, "load on board over the machine's mass")

enum transmission_state {
#define STATE_ID(id, unit, tolerance, text) STATE_##id,
  TRANSMISSION_STATES(STATE_ID)
#undef STATE_ID
      STATE_COUNT
};

/* Where the states of the relief valves begin (enum relief_state). */
enum { STATE_RELIEF_A = STATE_relief_a_opening, STATE_RELIEF_B = STATE_relief_b_opening };
_Static_assert((int)STATE_RELIEF_A + (int)RELIEF_STATE_COUNT == (int)STATE_RELIEF_B,
               "a valve's states stand together, in the order of enum relief_state");

/* SIGNAL(id, quantity, reference, text) */
/* clang-format off */
#define TRANSMISSION_SIGNALS(SIGNAL)                                                                                   \
  SIGNAL(line_a_pressure, PRESSURE, GAUGE, "pressure in main line A")                                                  \
  SIGNAL(line_b_pressure, PRESSURE, GAUGE, "pressure in main line B")                                                  \
  SIGNAL(charge_pressure, PRESSURE, GAUGE, "pressure in the charge gallery")                                           \
  SIGNAL(low_side_pressure, PRESSURE, GAUGE, "pressure of the lower main line")                                        \
  SIGNAL(least_line_oil, VOLUME, NONE, "oil in the main line that holds less")                                         \
  SIGNAL(line_pressure_difference, PRESSURE, LINE_TO_LINE, "line A over line B")                                       \
  SIGNAL(pump_stroke, FRACTION, NONE, "pump stroke over full stroke")                                                  \
  SIGNAL(stroke_command, FRACTION, NONE, "stroke that the operator commands")                                          \
  SIGNAL(pump_flow, FLOW, NONE, "flow out of the pump's port A")                                                       \
  SIGNAL(pump_torque, TORQUE, NONE, "torque that the pump takes from the engine")                                      \
  SIGNAL(motor_displacement, FRACTION, NONE, "motor displacement over the largest")                                    \
  SIGNAL(motor_speed, ANGULAR_SPEED, NONE, "motor speed")                                                              \
  SIGNAL(motor_flow, FLOW, NONE, "flow into the motor's port A")                                                       \
  SIGNAL(motor_torque, TORQUE, NONE, "torque that the motor gives")                                                    \
  SIGNAL(motor_override, FRACTION, NONE, "motor override, share of full")                                              \
  SIGNAL(engine_speed, ANGULAR_SPEED, NONE, "engine speed")                                                            \
  SIGNAL(engine_torque, TORQUE, NONE, "torque at the flywheel, auxiliaries taken off")                                 \
  SIGNAL(fuel_fraction, FRACTION, NONE, "fuel over full fuel")                                                         \
  SIGNAL(pedal, FRACTION, NONE, "net pedal, forward positive")                                                         \
  SIGNAL(brake, FRACTION, NONE, "friction brake pedal")                                                                \
  SIGNAL(exhaust_brake, FRACTION, NONE, "exhaust brake")                                                               \
  SIGNAL(vehicle_speed, SPEED, NONE, "machine speed")                                                                  \
  SIGNAL(vehicle_distance, LENGTH, NONE, "distance along the ground")                                                  \
  SIGNAL(vehicle_acceleration, ACCELERATION, NONE, "acceleration of the machine")                                      \
  SIGNAL(grade, FRACTION, NONE, "grade under the machine, uphill positive")                                            \
  SIGNAL(wheel_speed, ANGULAR_SPEED, NONE, "wheel speed")                                                              \
  SIGNAL(wheel_slip, FRACTION, NONE, "slip of the wheels, positive when they drive")                                   \
  SIGNAL(traction_force, FORCE, NONE, "force of the ground on the wheels, forward positive")                           \
  SIGNAL(brake_torque, TORQUE, NONE, "torque of the friction brake at the wheels")                                     \
  SIGNAL(relief_a_flow, FLOW, NONE, "flow over relief valve A, out of line A")                                         \
  SIGNAL(relief_b_flow, FLOW, NONE, "flow over relief valve B, out of line B")                                         \
  SIGNAL(relief_a_lift, PRESSURE, NONE, "opening of relief valve A, as pressure above cracking")                       \
  SIGNAL(relief_b_lift, PRESSURE, NONE, "opening of relief valve B, as pressure above cracking")                       \
  SIGNAL(limiter_a, FRACTION, NONE, "limiter pilot on line A")                                                         \
  SIGNAL(limiter_b, FRACTION, NONE, "limiter pilot on line B")                                                         \
  SIGNAL(check_a_flow, FLOW, NONE, "make-up flow into line A")                                                         \
  SIGNAL(check_b_flow, FLOW, NONE, "make-up flow into line B")                                                         \
  SIGNAL(charge_flow, FLOW, NONE, "delivery of the charge pump")                                                       \
  SIGNAL(charge_relief_flow, FLOW, NONE, "flow over the charge relief")                                                \
  SIGNAL(flush_flow, FLOW, NONE, "flushing flow out of the loop")                                                      \
  SIGNAL(case_flow, FLOW, NONE, "leakage, flushing and relief oil back to the tank")                                   \
  SIGNAL(loop_oil_temperature, TEMPERATURE, NONE, "oil temperature in the loop")                                       \
  SIGNAL(tank_oil_temperature, TEMPERATURE, NONE, "oil temperature in the tank")                                       \
  SIGNAL(loop_heat, POWER, NONE, "heat made in the loop")                                                              \
  SIGNAL(tank_oil, VOLUME, NONE, "oil in the tank")                                                                    \
  SIGNAL(oil_viscosity, KINEMATIC_VISCOSITY, NONE, "viscosity of the oil in the loop")                                 \
  SIGNAL(park_brake, FRACTION, NONE, "park brake")                                                                     \
  SIGNAL(relief_a_poppet, LENGTH, NONE, "lift of poppet A")                                                            \
  SIGNAL(relief_b_poppet, LENGTH, NONE, "lift of poppet B")                                                            \
  SIGNAL(filter_drop, PRESSURE, NONE, "drop over the charge filter")                                                   \
  SIGNAL(filter_bypass, FRACTION, NONE, "share of the charge flow that goes by the filter")                            \
  SIGNAL(hose_flow, FLOW, NONE, "oil lost through burst hoses")                                                        \
  SIGNAL(drawbar_force, FORCE, NONE, "pull of load and implement, backward positive")                                  \
  SIGNAL(loop_metal_temperature, TEMPERATURE, NONE, "temperature of the loop's metal")                                 \
  SIGNAL(case_temperature, TEMPERATURE, NONE, "temperature of the cases")                                              \
  SIGNAL(gallery_temperature, TEMPERATURE, NONE, "oil temperature in the charge gallery")                                              \
  SIGNAL(rear_axle_load, FORCE, NONE, "load on the rear axle")                                                         \
  SIGNAL(front_axle_load, FORCE, NONE, "load on the front axle")                                                       \
  SIGNAL(front_wheel_speed, ANGULAR_SPEED, NONE, "speed of the front wheels")                                          \
  SIGNAL(front_wheel_slip, FRACTION, NONE, "slip of the front wheels, positive when they drive")                       \
  SIGNAL(front_traction_force, FORCE, NONE, "force of the ground on the front wheels")                                 \
  SIGNAL(second_motor_speed, ANGULAR_SPEED, NONE, "speed of the second motor")                                         \
  SIGNAL(second_motor_displacement, FRACTION, NONE, "displacement of the second motor over its largest")               \
  SIGNAL(second_motor_flow, FLOW, NONE, "flow into the second motor's port A")                                         \
  SIGNAL(rear_wheel_torque, TORQUE, NONE, "torque of the gear on the rear wheels, forward positive")                   \
  SIGNAL(front_wheel_torque, TORQUE, NONE, "torque of the gear on the front wheels, forward positive")                 \
  SIGNAL(boost, FRACTION, NONE, "boost over that at full load")                                                        \
  SIGNAL(smoke_limit, FRACTION, NONE, "fuel that the air suffices for, over full fuel")                                \
  SIGNAL(fuel_rate, MASS_FLOW, NONE, "fuel that the engine burns")                                                     \
  SIGNAL(fuel_used, MASS, NONE, "fuel burnt so far")                                                                   \
  SIGNAL(fuel_volume, VOLUME, NONE, "the same as a volume")                                                            \
  SIGNAL(carbon_dioxide, MASS, NONE, "carbon dioxide of the fuel burnt so far")                                        \
  SIGNAL(implement_power, POWER, NONE, "power that the implement takes from the engine's shaft")                       \
  SIGNAL(implement_torque, TORQUE, NONE, "torque that the implement takes from the engine")                            \
  SIGNAL(implement_flow, FLOW, NONE, "flow that the implement gets")                                                   \
  SIGNAL(gear, NUMBER, NONE, "gear that is engaged, or being engaged")                                                 \
  SIGNAL(gear_slip, ANGULAR_SPEED, NONE, "slip of the clutch of that gear, the motor faster positive")                 \
  SIGNAL(gear_clutch_heat, POWER, NONE, "heat made in the clutches of the gearbox")                                    \
  SIGNAL(transfer_torque, TORQUE, NONE, "torque from the rear to the front shaft in the transfer case")                \
  SIGNAL(transfer_slip, ANGULAR_SPEED, NONE, "rear over front shaft in the transfer case")\
  SIGNAL(motor_pressure_difference, PRESSURE, LINE_TO_LINE, "port A over port B at the motor, behind its hoses")       \
  SIGNAL(hose_drop, PRESSURE, NONE, "pressure lost in both of the motor's hoses")                                      \
  SIGNAL(case_pressure, PRESSURE, GAUGE, "pressure in the cases")                                                      \
  SIGNAL(charge_inlet_pressure, PRESSURE, GAUGE, "pressure at the inlet of the charge pump") \
  SIGNAL(brake_temperature, TEMPERATURE, NONE, "temperature of the brakes; with two axles of the rear ones")           \
  SIGNAL(front_brake_temperature, TEMPERATURE, NONE, "temperature of the front brakes") \
  SIGNAL(engine_set_speed, ANGULAR_SPEED, NONE, "engine speed that the governor is set to")                            \
  SIGNAL(accelerator, FRACTION, NONE, "accelerator")                                                                   \
  SIGNAL(inching, FRACTION, NONE, "inching pedal")                                                                     \
  SIGNAL(ratio_command, NUMBER, NONE, "speed ratio that pump and motor are asked for")                                 \
  SIGNAL(engine_load, FRACTION, NONE, "fuel that the governor asks for over what may burn")                                \
  SIGNAL(anti_stall_cut, FRACTION, NONE, "share of the drive that the anti-stall control takes") \
  SIGNAL(leg, NUMBER, NONE, "leg of the course that is driven, or has ended here")                                     \
  SIGNAL(wanted_speed, SPEED, NONE, "speed that the driver wants, forward positive")                                   \
  SIGNAL(to_go, LENGTH, NONE, "distance to the place where the leg ends, along the way of travel")                     \
  SIGNAL(load, MASS, NONE, "load on board")
/* clang-format on */

enum transmission_signal {
#define SIGNAL_ID(id, quantity, reference, text) SIGNAL_##id,
  TRANSMISSION_SIGNALS(SIGNAL_ID)
#undef SIGNAL_ID
      SIGNAL_COUNT
};

/* LEDGER(id, kind, text); rows that are functions of the state last */
#define TRANSMISSION_LEDGER(LEDGER)                                                                                    \
  LEDGER(combustion, SOURCE, "work of combustion")                                                                     \
  LEDGER(slope, SOURCE, "work of the slope on the machine")                                                            \
  LEDGER(starter, SOURCE, "work of the starter")                                                                       \
  LEDGER(loading, SOURCE, "motion of load that comes on board while the machine creeps")                               \
  LEDGER(engine_friction, LOSS, "engine friction")                                                                     \
  LEDGER(exhaust_brake, LOSS, "exhaust brake")                                                                         \
  LEDGER(auxiliaries, LOSS, "fan and auxiliaries")                                                                     \
  LEDGER(implement, LOSS, "implement, with its pump")                                                                  \
  LEDGER(pump_friction, LOSS_TO_OIL, "pump friction")                                                                  \
  LEDGER(pump_leakage, LOSS_TO_OIL, "pump leakage")                                                                    \
  LEDGER(charge_pump, LOSS_TO_OIL, "charge pump friction and leakage")                                                 \
  LEDGER(charge_relief, LOSS_TO_OIL, "charge relief valve")                                                            \
  LEDGER(check_valves, LOSS_TO_OIL, "check valves")                                                                    \
  LEDGER(relief_a, LOSS_TO_OIL, "relief valve A")                                                                      \
  LEDGER(relief_b, LOSS_TO_OIL, "relief valve B")                                                                      \
  LEDGER(flushing, LOSS_TO_OIL, "loop flushing")                                                                       \
  LEDGER(swash_servo, LOSS_TO_OIL, "swash servo oil")                                                                  \
  LEDGER(case_return, LOSS_TO_OIL, "return from case to tank")                                                         \
  LEDGER(motor_friction, LOSS_TO_OIL, "motor friction")                                                                \
  LEDGER(motor_leakage, LOSS_TO_OIL, "motor leakage")                                                                  \
  LEDGER(gear, LOSS, "gear and axles")                                                                                 \
  LEDGER(brake, LOSS_TO_OIL, "friction brake")                                                                         \
  LEDGER(tyre_slip, LOSS, "slip of the tyres")                                                                         \
  LEDGER(rolling, LOSS, "rolling resistance")                                                                          \
  LEDGER(filter, LOSS_TO_OIL, "charge filter")                                                                         \
  LEDGER(drawbar, LOSS, "dragged load and implement")                                                                  \
  LEDGER(pump_filling, LOSS_TO_OIL, "collapse of voids in a pump that draws from a starved line")                      \
  LEDGER(motor_filling, LOSS_TO_OIL, "collapse of voids in a motor that draws from a starved line")                    \
  LEDGER(clutches, LOSS, "slip of clutches and damping of shafts")                                                     \
  LEDGER(hoses, LOSS_TO_OIL, "hoses between pump and motors")                                                          \
  LEDGER(hose_burst, LOSS, "oil lost through burst hoses")                                                             \
  LEDGER(tyre_deflection, STORED_RATE, "deflection of the tyres")                                                      \
  LEDGER(heat_to_air, HEAT_LEAVES, "heat to the air from loop and tank")                                               \
  LEDGER(heat_cooler, HEAT_LEAVES, "heat taken by the cooler")                                                         \
  LEDGER(heat_with_oil, HEAT_LEAVES, "heat lost with oil through burst hoses")                                         \
  LEDGER(heat_brakes, HEAT_LEAVES, "heat of the brakes to the air")                                                    \
  LEDGER(heat_left_out, HEAT_STORED_RATE, "warming that constant capacities leave out")                                \
  LEDGER(fuel_heat, FUEL_HEAT, "heat in exhaust, coolant and radiation of the engine")                                 \
  LEDGER(engine_motion, STORED, "motion of the engine")                                                                \
  LEDGER(wheel_motion, STORED, "motion of the wheels")                                                                 \
  LEDGER(vehicle_motion, STORED, "motion of the machine")                                                              \
  LEDGER(compression, STORED, "compression of the oil")                                                                \
  LEDGER(tank, STORED, "oil in the tank against the air")                                                              \
  LEDGER(motor_motion, STORED, "motion of the motor ahead of the gearbox")                                             \
  LEDGER(shaft_wind_up, STORED, "wind-up of clutches and shafts")                                                      \
  LEDGER(brake_wind_up, STORED, "wind-up of the brake")                                                                \
  LEDGER(friction_wind_up, STORED, "wind-up of friction in motor and gear")                                            \
  LEDGER(oil_lost, OIL_LOST, "oil lost to the ground")                                                                 \
  LEDGER(fuel_energy, FUEL_SPENT, "chemical energy of the fuel burnt")                                                 \
  LEDGER(heat_loop, HEAT_STORED, "warmth of the loop, oil and metal")                                                  \
  LEDGER(heat_case, HEAT_STORED, "warmth of the cases")                                                                \
  LEDGER(heat_gallery, HEAT_STORED, "warmth of the charge gallery")                                                    \
  LEDGER(heat_tank, HEAT_STORED, "warmth of the tank")                                                                 \
  LEDGER(heat_in_brakes, HEAT_STORED, "warmth of the brakes")                                                          \
  LEDGER(heat_moved, HEAT_STORED, "warmth of the oil that changed places")

enum transmission_ledger {
#define LEDGER_ID(id, kind, text) LEDGER_##id,
  TRANSMISSION_LEDGER(LEDGER_ID)
#undef LEDGER_ID
      LEDGER_COUNT,
  LEDGER_INTEGRATED = LEDGER_engine_motion /* rows before the first that is a function of the state */
};

/* EVENT(id, words when rising, words when falling, signal reported, hysteresis) */
/* clang-format off */
#define TRANSMISSION_EVENTS(EVENT)                                                                                     \
  EVENT(relief_a, "relief valve A cracks", "relief valve A: drop back below its setting", line_a_pressure, 0.0)                                \
  EVENT(relief_b, "relief valve B cracks", "relief valve B: drop back below its setting", line_b_pressure, 0.0)                                \
  EVENT(limiter_a, "pressure limiter begins on line A", "pressure limiter ends on line A", line_a_pressure, 0.0)       \
  EVENT(limiter_b, "pressure limiter begins on line B", "pressure limiter ends on line B", line_b_pressure, 0.0)       \
  EVENT(motor_override, "motor override begins", "motor override ends", motor_displacement, 0.0)                          \
  EVENT(engine_overspeed, "engine above the overspeed alarm", "engine below the overspeed alarm again", engine_speed, 0.0)  \
  EVENT(engine_underspeed, "engine back above the underspeed alarm", "engine lugs below the underspeed alarm", engine_speed, 2.0)     \
  EVENT(engine_backwards, "the engine no longer turns backwards", "the engine turns backwards", engine_speed, 0.5) \
  EVENT(line_oil, "the lines hold oil again", "a line has given more oil than it held: no machine does that", least_line_oil, 1e-6) \
  EVENT(low_side, "low side no longer starved", "low side starved", low_side_pressure, 2e4)                               \
  EVENT(charge_pressure, "charge pressure back", "charge pressure low", charge_pressure, 5e4)                             \
  EVENT(wheel_slip, "wheels slip", "wheels grip again", wheel_slip, 0.0)                                                  \
  EVENT(front_wheel_slip, "front wheels slip", "front wheels grip again", front_wheel_slip, 0.0)                          \
  EVENT(wheel_lock, "", "wheels lock", vehicle_speed, 0.02)                                               \
  EVENT(rear_axle, "the rear axle carries again", "the rear axle lifts", rear_axle_load, 0.0)                             \
  EVENT(front_axle, "the front axle carries again", "the front axle lifts", front_axle_load, 0.0)                         \
  EVENT(smoke_limit, "the smoke limit holds the fuel back: the boost is not there yet", "the smoke limit no longer holds the fuel back", fuel_fraction, 0.01) \
  EVENT(implement_lugs, "the engine gives full fuel and lugs under the implement", "the engine no longer lugs under the implement", engine_speed, 0.05) \
  EVENT(transfer_slip, "the transfer case's clutch slips", "the transfer case's clutch holds again", transfer_slip, 0.02) \
  EVENT(filter_bypass, "the filter's bypass opens", "the filter's bypass shuts", filter_drop, 0.0)                        \
  EVENT(charge_filling, "the charge pump fills again", "the charge pump no longer fills", charge_flow, 0.0)               \
  EVENT(underspeed_control, "underspeed control ends", "underspeed control reduces the stroke", engine_speed, 1.0) \
  EVENT(case_pressure, "case pressure above the alarm", "case pressure below the alarm again", case_pressure, 1e4) \
  EVENT(tank_oil, "the tank covers the charge pump's inlet again", "the tank runs empty: the charge pump draws air", tank_oil, 1e-6) \
  EVENT(brake_fade, "the brakes are hot enough to fade", "the brakes have cooled and no longer fade", brake_temperature, 5.0) \
  EVENT(relief_a_stop, "relief valve A meets its lift stop: it opens no further, whatever the pressure", "relief valve A leaves its lift stop", line_a_pressure, 1e-5) \
  EVENT(relief_b_stop, "relief valve B meets its lift stop: it opens no further, whatever the pressure", "relief valve B leaves its lift stop", line_b_pressure, 1e-5) \
  EVENT(reversal, "slow enough: the reversal is let through", "the reversal is held off: the machine rolls too fast", vehicle_speed, 0.02) \
  EVENT(anti_stall, "anti-stall control ends", "anti-stall control takes drive", anti_stall_cut, 0.005)
/* clang-format on */

enum transmission_event {
#define EVENT_ID(id, rising, falling, signal, hysteresis) EVENT_##id,
  TRANSMISSION_EVENTS(EVENT_ID)
#undef EVENT_ID
      EVENT_COUNT
};

enum { AXLE_LIMIT = 2, SOIL_TABLES = 3 };

/* One axle: where its states, parameters and motor are. */
struct axle {
  const struct driveline_parameters *driveline; /* in the model's own parameters */
  const struct motor_parameters *motor;         /* NULL: no motor drives it */
  struct rotary_losses motor_losses;
  fluid_viscosity_each motor_film; /* Pa s, of the film that drags (rotary.h) */
  real motor_film_exponent;        /* with which that table was made; NaN: not for this oil */
  struct brake_parameters brake;   /* with the axle's part of the torque */
  real motor_stiffness;            /* N m/rad at the motor's shaft, of its friction's wind-up */
  real gear_wound_up;              /* N m at the wheels, over which the wind-up of the gear's is stated */
  real gear_stiffness;             /* N m/rad at the wheels, of the gear's */
  real wheels;                     /* that share the axle's load */
  int wheel_speed;                 /* which states are the axle's own */
  int tyre_slip;
  int brake_torque;
  int brake_temperature;
  int motor_friction;
  int gear_friction;
  int motor_override;
  int motor_displacement;
};

struct transmission_model {
  struct transmission_parameters own; /* SI */
  fluid_each oil;
  bool oil_made; /* its tables are there */
  struct rotary_losses pump_losses;
  fluid_viscosity_each pump_film; /* Pa s, of the film that drags */
  real pump_film_exponent;        /* as for the motors */
  int axle_count;
  struct axle axles[AXLE_LIMIT];        /* rear (or all wheels), front */
  real case_pressure;                   /* Pa absolute, where it is constant */
  struct relief_parameters relief_b;    /* valve B; valve A is own.relief */
  real relief_viscosity;                /* Pa s: at which the poppets' damping holds */
  bool has_hoses;                       /* between pump and motors, in any lane */
  bool has_maps;                        /* pump or motor has its losses from a map */
  bool shapes_ratio;                    /* some law of the controls works on the speed ratio */
  bool shafts_part;                     /* gearbox or transfer case stand between motor and axles */
  real filter_resistance;               /* 1/m3: of the element at the start, over viscosity */
  bool gallery_has_heat;                /* the gallery has a temperature of its own; else it has the tank's */
  bool geared;                          /* a gearbox stands behind the first motor */
  bool transfers;                       /* a transfer case drives both axles */
  struct profile tables[CHANNEL_COUNT]; /* of the operator; faults have none */
  int active_count;                     /* states that the laws chosen have */
  int active[STATE_COUNT];              /* which they are, rising */
  int leading_count;                    /* so many states, from the first, are active under every law: active[i] == i */
};

enum transmission_switch {
  GUARD_REAR_AHEAD,
  GUARD_REAR_BEHIND,
  GUARD_FRONT_AHEAD,
  GUARD_FRONT_BEHIND,
  GUARD_GRIP_AHEAD,
  GUARD_GRIP_BEHIND,
  GUARD_CONE_AHEAD,
  GUARD_CONE_BEHIND,
  GUARD_ROLLING_AHEAD,
  GUARD_ROLLING_BEHIND,
  GUARD_STALL,
  GUARD_REST,
  GUARD_CRANKED,
  GUARD_FIRES,
  GUARD_COMMAND_SIDE,
  GUARD_GEAR,
  GUARD_STRETCH_AHEAD,
  GUARD_STRETCH_BEHIND,
  GUARD_ARRIVES,
  GUARD_DRIVER_BRAKES,
  GUARD_FUEL_MAP_SPEED,
  GUARD_FUEL_MAP_TORQUE,
  GUARD_PUMP_MAP_SPEED,
  GUARD_PUMP_MAP_PRESSURE,
  GUARD_MOTOR_MAP_SPEED,
  GUARD_MOTOR_MAP_PRESSURE,
  GUARD_SECOND_MOTOR_MAP_SPEED,
  GUARD_SECOND_MOTOR_MAP_PRESSURE,
  GUARD_COUNT
};

_Static_assert((int)STATE_COUNT <= (int)PLANT_STATE_LIMIT && (int)SIGNAL_COUNT <= (int)PLANT_SIGNAL_LIMIT &&
                   (int)LEDGER_COUNT <= (int)PLANT_LEDGER_LIMIT && (int)EVENT_COUNT <= (int)PLANT_EVENT_LIMIT &&
                   (int)GUARD_COUNT <= (int)PLANT_GUARD_LIMIT,
               "the transmission has more rows than the run has room for");

/* What starts braking, by rank: a cause of lower rank counts only until one of higher rank comes. */
enum braking_cause { BRAKING_NONE, BRAKING_BY_ACTION, BRAKING_BY_FAULT, BRAKING_BY_BRAKE, BRAKING_BY_RELEASE };

enum { COURSE_TEMPERATURES = 7 };

/* How far a driver has come on a course. Read between steps only. */
struct course_progress {
  int leg;                          /* that is driven or has ended here, from 1; 0: no driver */
  int repeat;                       /* from 1 */
  int brake_uses;                   /* so far */
  bool over;                        /* the last leg has ended and the machine holds */
  double place;                     /* m, where the leg ends, along the ground from the start of the run */
  double offset;                    /* m, place of the course's start */
  double dwell_until;               /* s; HUGE_VAL: none under way, as the next two */
  double park_at;                   /* s */
  double brake_at;                  /* s, when the excess has lasted for long enough */
  double left_load;                 /* kg, on board when the dwell is over */
  double warm[COURSE_TEMPERATURES]; /* K, at the last end of the course; 0 before the first */
};

struct channel_mode {
  struct piece piece;
  bool taken; /* an action moves it; its table no longer counts */
};

struct transmission_mode {
  struct channel_mode channels[CHANNEL_COUNT];
  real resting[CHANNEL_COUNT]; /* the channels' values, right for those that do not move now */
  int moving_count;            /* so many do, in any lane */
  int moving[CHANNEL_COUNT];
  struct ground_contact rear;     /* under the rear axle, or under all wheels */
  struct ground_contact front;    /* under the front axle */
  struct piece soil[SOIL_TABLES]; /* grip, cone index, rolling resistance */
  mask command_forward;           /* sign of the control pressure (limiter.h) */
  mask burning;                   /* the engine burns fuel */
  mask held;                      /* the stalled engine is held at rest */
  mask starting;                  /* the starter is engaged */
  mask brake_off;                 /* pedal and park brake are fully released */
  mask motor_waits[AXLE_LIMIT];   /* a larger displacement of this axle's motor waits for its delay */
  mask shift_due;                 /* the lever asks for another gear than is engaged */
  real gear;                      /* that is engaged, or being engaged: 1, 2, ... */
  real gear_ratio[GEARBOX_SLOTS]; /* of clutch A and B of the gearbox */
  real gear_efficiency[GEARBOX_SLOTS];
  real engaged_is_a;                       /* 1: clutch A is that of `gear`; 0: clutch B */
  struct piece gear_clutch[GEARBOX_SLOTS]; /* how far each is closed, over time */
  bool shifting;                           /* until that one is closed */
  int refused;                             /* gear that was asked for and refused; 0: none */
  bool pedals_stuck;                       /* nothing moves the pedals any more */
  struct driver_intent driver;             /* what the driver does now */
  struct course_progress course;           /* how far the course has come */
  real motor_waits_at[AXLE_LIMIT];         /* the pedal's motor part that stays */
  real motor_waits_until[AXLE_LIMIT];      /* s */
  bool let_go;                             /* the pedal is at zero, or on its way there */
  bool braked;                             /* the service brake or the park brake is on */
  real braking_from; /* s, start of the last time without drive or with a brake on; NaN before the first */
  enum braking_cause braking_cause;
};

/* The axles, all but the tables of their motors' films. */
static inline void transmission_set_up_axles(struct transmission_model *model) {
  const struct transmission_parameters *own = &model->own;
  bool two = own->vehicle.axles == VEHICLE_TWO_AXLES;
  model->axle_count = two ? 2 : 1;
  for (int i = 0; i < model->axle_count; i++) {
    struct axle *axle = &model->axles[i];
    bool front = i == 1;
    bool driven = !front || own->vehicle.second_motor == VEHICLE_SECOND_MOTOR;
    axle->driveline = front ? &own->second_driveline : &own->driveline;
    axle->motor = driven ? (front ? &own->second_motor : &own->motor) : NULL;
    if (driven) {
      axle->motor_losses = motor_losses(axle->motor, own->pump.pressure_width);
      rotary_losses_in_oil(&axle->motor_losses, own->fluid.density, own->fluid.bulk_modulus,
                           own->fluid.bulk_modulus_slope);
      axle->motor_stiffness = motor_friction_stiffness(axle->motor);
    }
    const struct motor_parameters *drives = driven ? axle->motor : &own->motor;
    real at_shaft = motor_pressure_torque(drives->displacement, broadcast(1.0), broadcast(MOTOR_WIND_UP_PRESSURE));
    axle->gear_wound_up = driveline_wound_up_torque(
        axle->driveline, driven || model->transfers ? axle->driveline->ratio * at_shaft : broadcast(0.0));
    axle->gear_stiffness = axle->gear_wound_up / axle->driveline->wind_up_angle;
    real share = two ? (front ? 1.0 - own->brake.rear_share : own->brake.rear_share) : broadcast(1.0);
    axle->brake = own->brake;
    axle->brake.torque *= share;
    axle->brake.park_torque *= share;
    axle->brake.heat_capacity *= share;
    axle->brake.cooling *= share;
    axle->brake.cooling_by_turning *= share;
    axle->wheels = two ? larger(1.0, 0.5 * own->tyre.wheels) : own->tyre.wheels;
    axle->wheel_speed = front ? STATE_front_wheel_speed : STATE_wheel_speed;
    axle->tyre_slip = front ? STATE_front_tyre_slip : STATE_tyre_slip;
    axle->brake_torque = front ? STATE_front_brake_torque : STATE_brake_torque;
    axle->brake_temperature = front ? STATE_front_brake_temperature : STATE_brake_temperature;
    axle->motor_friction = front ? STATE_second_motor_friction : STATE_motor_friction;
    axle->gear_friction = front ? STATE_front_gear_friction : STATE_gear_friction;
    axle->motor_override = front ? STATE_second_motor_override : STATE_motor_override;
    axle->motor_displacement = front ? STATE_second_motor_displacement : STATE_motor_displacement;
  }
}

/* What follows from the parameters without tables. */
static inline void transmission_derive(struct transmission_model *model) {
  const struct transmission_parameters *own = &model->own;
  model->case_pressure = own->lines.case_pressure + own->fluid.ambient_pressure;
  model->has_hoses = !mask_none(own->hoses.length > 0.0);
  model->shapes_ratio = controls_shape_ratio(&own->controls);
  model->gallery_has_heat = transmission_gallery_has_heat(own);
  model->geared = own->gearbox.law != GEARBOX_NONE;
  model->transfers = own->vehicle.axles == VEHICLE_TWO_AXLES && own->transfer_case.law != TRANSFER_CASE_NONE;
  model->shafts_part = model->geared || model->transfers;
  model->relief_b = relief_valve_b(&own->relief);
  model->pump_losses = pump_losses(&own->pump, own->engine.speed_width);
  rotary_losses_in_oil(&model->pump_losses, own->fluid.density, own->fluid.bulk_modulus, own->fluid.bulk_modulus_slope);
  transmission_set_up_axles(model);
  model->has_maps = model->pump_losses.map != NULL;
  for (int i = 0; i < model->axle_count; i++) {
    model->has_maps = model->has_maps || (model->axles[i].motor != NULL && model->axles[i].motor_losses.map != NULL);
  }
}

/* Active states into the full vector; those that the laws chosen leave out are zero. */
static inline void transmission_spread(const struct transmission_model *model, const real *state, real *full) {
  int leading = model->leading_count;
  memcpy(full, state, (size_t)leading * sizeof *full);
  memset(full + leading, 0, (size_t)(STATE_COUNT - leading) * sizeof *full);
  for (int i = leading; i < model->active_count; i++) {
    full[model->active[i]] = state[i];
  }
}

/* The full vector's active rows; the others need not be set. */
static inline void transmission_gather(const struct transmission_model *model, const real *full, real *state) {
  int leading = model->leading_count;
  memcpy(state, full, (size_t)leading * sizeof *full);
  for (int i = leading; i < model->active_count; i++) {
    state[i] = full[model->active[i]];
  }
}

/* Value of every operator channel at t: the mode's own while none moves, else in `moved`. */
static inline const real *transmission_channel_values(const struct transmission_mode *mode, real t, real *moved) {
  if (mode->moving_count == 0) {
    return mode->resting;
  }
  memcpy(moved, mode->resting, sizeof mode->resting);
  for (int k = 0; k < mode->moving_count; k++) {
    int i = mode->moving[k];
    moved[i] = piece_at(&mode->channels[i].piece, t);
  }
  return moved;
}

#if REAL_LANES == 1

/* transmission_signals.c */
void transmission_powers(const void *model, const void *mode, real t, const real *state, real *powers);
void transmission_signals_at(const void *model, const void *mode, real t, const real *state, real *signals);
bool transmission_signal_active(const void *parameters, int signal);
int transmission_duty_rates(const void *model, const real *signals, real *rates);
void transmission_duty(const void *model, const real *means, struct plant_duty *duty);
void transmission_events_at(const void *model, const void *mode, real t, const real *state, real *values);
void transmission_evaluate(const void *model, const void *mode, real t, const real *state,
                           const struct plant_evaluation *to);

/* Role as in struct plant. */
void transmission_guards(const void *model, const void *mode, const real *state, real *values);

/* transmission_gears.c: the modes of the gearbox */
/* Why this gearbox or transfer case cannot be, or NULL. */
const char *transmission_gear_refusal(const struct transmission_parameters *own);
/* In the gear that the lever stands at, from time zero. */
void transmission_start_gear(const struct transmission_model *model, struct transmission_mode *mode);
/* After the lever moved: is a shift due? */
void transmission_note_gear(const struct transmission_model *model, struct transmission_mode *mode);
/* The shift that is due begins, or is refused, at the machine's `speed`, m/s; the words of it. */
const char *transmission_shift(const struct transmission_model *model, struct transmission_mode *mode, real t,
                               real speed);
/* What of a shift is due by the clock; words, or NULL. */
const char *transmission_gear_clock(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                    real due);
real transmission_gear_next_time(const struct transmission_mode *mode);
/* Does a clutch open or close now? */
bool transmission_gear_moves(const struct transmission_mode *mode);

/* transmission_course.c: the modes of driver and course */
/* Why they cannot be, or NULL. */
const char *transmission_course_refusal(const struct transmission_parameters *own);
/* Onto the first leg, from time zero; the full state vector. */
void transmission_course_start(const struct transmission_model *model, struct transmission_mode *mode, real *x);
/* After `which` fell, one of the driver's guards, or by the clock (-1) at t. Words, or NULL; *over: the run is. */
const char *transmission_course_change(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                       real *state, int which, bool *over);
real transmission_course_next_time(const struct transmission_mode *mode);
void transmission_leg(const void *mode, struct plant_leg *leg);
/* transmission_ground.c: the pieces of grade and soil */
/* Those under the machine at the place s. */
void transmission_place_on_ground(const struct transmission_model *model, struct transmission_mode *mode, real s);
/* The next ones, after one of their guards fell. */
void transmission_ground_change(const struct transmission_model *model, struct transmission_mode *mode, int which);
/* What follows from the channels' present pieces, anew. */
void transmission_note_channels(const struct transmission_model *model, struct transmission_mode *mode);

/* transmission_sparsity.c */
void transmission_sparsity_pattern(const void *model, uint64_t *rows);

/* transmission_setup.c: parameters to model, start, modes. Roles as in struct plant. */
const char *transmission_prepare(const void *parameters, void *model);
int transmission_active_states(const void *model, int *rows);
void transmission_start(const void *model, void *mode, real *state);
real transmission_next_time(const void *mode);
bool transmission_time_dependent(const void *mode);
enum plant_verdict transmission_change(const void *model, void *mode, real t, real *state, int which,
                                       const char **message);
void transmission_excess(const void *model, const real *state, int which, struct plant_excess *excess);
void transmission_move(const void *model, void *mode, real t, int channel, real target, real duration);
real transmission_braking_from(const void *mode, const char **why);

#endif

#endif
