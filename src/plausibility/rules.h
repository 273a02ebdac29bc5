/* The rules of a machine, each one row: what it is called, when it speaks, why it is known, and its sentence, in which
 * each {} is one of the numbers behind it. Conditions are over resolved parameters in SI; `own` holds the sections by
 * name and what follows from them. */
#ifndef SWASHLOOP_PLAUSIBILITY_RULES_H
#define SWASHLOOP_PLAUSIBILITY_RULES_H

#include "charge.h"
#include "controls.h"
#include "course.h"
#include "driveline.h"
#include "driver.h"
#include "engine.h"
#include "filter.h"
#include "flushing.h"
#include "fluid.h"
#include "fuel.h"
#include "gearbox.h"
#include "ground.h"
#include "heat.h"
#include "implement.h"
#include "limiter.h"
#include "motor.h"
#include "operator.h"
#include "pipe.h"
#include "pump.h"
#include "relief.h"
#include "swash.h"
#include "transfer_case.h"
#include "turbocharger.h"
#include "tyre.h"
#include "vehicle.h"
#include "volume.h"

#define MACHINE_PARTS(PART)                                                                                            \
  PART(fluid, fluid)                                                                                                   \
  PART(lines, lines)                                                                                                   \
  PART(pipe, hoses)                                                                                                    \
  PART(pipe, drain)                                                                                                    \
  PART(engine, engine)                                                                                                 \
  PART(fuel, fuel)                                                                                                     \
  PART(turbocharger, turbocharger)                                                                                     \
  PART(implement, implement)                                                                                           \
  PART(pump, pump)                                                                                                     \
  PART(swash, swash)                                                                                                   \
  PART(limiter, limiter)                                                                                               \
  PART(relief, relief)                                                                                                 \
  PART(charge, charge)                                                                                                 \
  PART(filter, filter)                                                                                                 \
  PART(flushing, flushing)                                                                                             \
  PART(motor, motor)                                                                                                   \
  PART(motor, second_motor)                                                                                            \
  PART(driveline, driveline)                                                                                           \
  PART(driveline, second_driveline)                                                                                    \
  PART(gearbox, gearbox)                                                                                               \
  PART(transfer_case, transfer_case)                                                                                   \
  PART(tyre, tyre)                                                                                                     \
  PART(vehicle, vehicle)                                                                                               \
  PART(ground, ground)                                                                                                 \
  PART(operator, operator)                                                                                             \
  PART(controls, controls)                                                                                             \
  PART(driver, driver)                                                                                                 \
  PART(course, course)                                                                                                 \
  PART(heat, heat)

/* A machine as the rules see it. */
struct machine_view {
#define MACHINE_PART_MEMBER(type, name) const struct type##_parameters *name;
  MACHINE_PARTS(MACHINE_PART_MEMBER)
#undef MACHINE_PART_MEMBER
  double relief_setting; /* Pa, of the relief valve that cracks first */
  double slowest;        /* rad/s, engine at the lowest throttle, loaded */
  double fastest;        /* rad/s, engine at the highest throttle, loaded */
  double engine_power;   /* W, at full fuel and the fastest, auxiliaries taken off */
  double implement_asks; /* W, the most that the implement asks of the engine's shaft */
  double motor_torque;   /* N m, the first motor at its largest and the relief setting */
  double lead; /* how much farther the front wheels roll than the rear ones for one turn of the motor, without unit */
  double high_idle;      /* rad/s, the same without load */
  double idle;           /* rad/s, with the accelerator released and without load */
  double pump_flow;      /* m3/s, full stroke at the fastest */
  double least_motors;   /* m3/rad, all motors at their smallest */
  double motor_speed;    /* rad/s, all of that flow through the motors at their smallest */
  double top_speed;      /* m/s, that motor speed on the road */
  double charge_flow;    /* m3/s, charge pump at the slowest engine and the charge relief's setting */
  double charge_needed;  /* m3/s, leakage to the cases of both lines at that pressure, and the flushing flow */
  double pump_limit;     /* rad/s, what pumps of this size turn at the most */
  double motor_limit;    /* rad/s, the same of the motor at small displacement */
  double viscosity_loop; /* m2/s, at the loop's temperature at the start */
  double viscosity_tank; /* m2/s, the same of the tank */
  double stiffness;      /* Pa, liquid and wall in series at ambient pressure */
  double grip;           /* largest of tyre and ground, without unit */
  double steepest;       /* largest grade either way, tangent */
  double course_speed;   /* m/s, the highest that the course wants; 0: it says none */
  /* Overall efficiency of the pump at full stroke and the fastest, at half of the relief setting, oil at 50 degC; and
   * of the motor at its largest, with all of that flow. */
  double pump_efficiency;
  double motor_efficiency;
  /* Oil at 50 degC: m/s of the pump's full flow in the hoses and Pa that it loses in both of them; m3/s of the charge
   * pump at the fastest, all of which comes back through the cases, and Pa that it loses in the drain line. 0 without.
   */
  double hose_speed;
  double hose_drop;
  double drain_flow;
  double drain_drop;
};

#define PRACTICE "common practice, no source"
#define FOLLOWS "follows from the laws of the model"

/* A rotary group of displacement D turns at most about k D^(-1/3): the speed at its pistons is the same for all sizes.
 * k in rad/s (m3/rad)^(1/3), for a pump at full stroke and a motor at its smallest: 16 000 and 38 000 rpm cm. */
#define PUMP_SPEED_FACTOR 9.08
#define MOTOR_SPEED_FACTOR 21.57

/* What oil in a pressure line, m/s, and what a drain line may lose, Pa: common practice, no source. */
#define HOSE_SPEED_LIMIT 10.0
#define DRAIN_DROP_LIMIT 2e5

#define IN(quantity, value)                                                                                            \
  { QUANTITY_##quantity, (value) }

/* RULE(name, condition, source, sentence, numbers...) */
/* clang-format off */
#define MACHINE_RULES(RULE)                                                                                            \
  RULE(limiter_above_relief, own->limiter->fitted == LIMITER_FITTED && own->limiter->setting >= own->relief_setting, FOLLOWS, \
       "the pressure limiter begins at {}, not below the relief valve's {}: oil goes over the valve before the pump gives way", \
       IN(PRESSURE, own->limiter->setting), IN(PRESSURE, own->relief_setting))                                        \
  RULE(override_above_limiter, own->motor->override_line != OVERRIDE_OFF && own->limiter->fitted == LIMITER_FITTED && \
       own->motor->override_begin >= own->limiter->setting + own->limiter->band, FOLLOWS, \
       "the motor's pressure override begins at {}, where the limiter has taken all stroke ({}): it never acts", \
       IN(PRESSURE, own->motor->override_begin), IN(PRESSURE, own->limiter->setting + own->limiter->band))             \
  RULE(override_above_relief, own->motor->override_line != OVERRIDE_OFF && own->limiter->fitted == LIMITER_ABSENT && \
       own->motor->override_begin >= own->relief_setting + own->charge->relief_setting, FOLLOWS, \
       "the motor's pressure override begins at {}, above what the relief valve lets a line reach (about {}): it never acts", \
       IN(PRESSURE, own->motor->override_begin), IN(PRESSURE, own->relief_setting + own->charge->relief_setting))     \
  RULE(relief_below_charge, own->relief_setting <= own->charge->relief_setting, FOLLOWS, \
       "the relief valves crack at a drop of {}, not above the charge pressure of {}: the pump drives nothing", \
       IN(PRESSURE, own->relief_setting), IN(PRESSURE, own->charge->relief_setting))                                  \
  RULE(relief_too_small, own->relief->law == RELIEF_FIRST_ORDER && \
       own->pump_flow / own->relief->gradient > 0.5 * own->relief_setting, PRACTICE, \
       "the pump's full flow of {} needs {} over the relief valve's setting of {}: a valve of this gradient protects nothing", \
       IN(FLOW, own->pump_flow), IN(PRESSURE, own->pump_flow / own->relief->gradient), IN(PRESSURE, own->relief_setting)) \
  RULE(charge_too_low, own->charge->relief_setting < 8e5, PRACTICE, \
       "the charge relief cracks at {}; servo, check valves and the inlets of pump and motor are fed with 15 to 35 bar, never below 8 bar", \
       IN(PRESSURE, own->charge->relief_setting))                                                                      \
  RULE(charge_below_springs, own->swash->charge_loss == SWASH_TO_NEUTRAL && \
       own->charge->relief_setting < own->swash->spring_full, FOLLOWS, \
       "the charge relief cracks at {}, below the {} that the servo needs to hold full stroke: the springs centre the swash", \
       IN(PRESSURE, own->charge->relief_setting), IN(PRESSURE, own->swash->spring_full))                               \
  RULE(charge_below_nominal, own->charge->relief_setting < 0.5 * own->swash->nominal_supply, FOLLOWS, \
       "the charge relief cracks at {}, but the swash rates hold at {}: the swash moves at {} of them", \
       IN(PRESSURE, own->charge->relief_setting), IN(PRESSURE, own->swash->nominal_supply), \
       IN(FRACTION, sqrt(own->charge->relief_setting / own->swash->nominal_supply)))                                   \
  RULE(charge_below_alarm, own->charge->relief_setting <= own->charge->low_pressure, FOLLOWS, \
       "the charge relief cracks at {}, not above charge.low_pressure of {}: the charge pressure is told as low in good order", \
       IN(PRESSURE, own->charge->relief_setting), IN(PRESSURE, own->charge->low_pressure))                             \
  RULE(charge_too_high, own->charge->relief_setting > 50e5, PRACTICE, \
       "the charge relief cracks at {}; 15 to 35 bar are usual, and what is above is lost as heat", \
       IN(PRESSURE, own->charge->relief_setting))                                                                      \
  RULE(no_charge, own->charge->displacement == 0.0, FOLLOWS, \
       "there is no charge pump (displacement {}): nothing makes up for what leaks", IN(DISPLACEMENT, own->charge->displacement)) \
  RULE(charge_too_small, own->charge->displacement > 0.0 && own->charge_flow < own->charge_needed, FOLLOWS, \
       "at {} the charge pump gives {} at the charge relief's setting, leakage and flushing take {}: the charge pressure cannot be held", \
       IN(ANGULAR_SPEED, own->slowest), IN(FLOW, own->charge_flow), IN(FLOW, own->charge_needed))                      \
  RULE(flushing_never, own->flushing->orifice > 0.0 && own->flushing->relief_gradient > 0.0 && \
       own->flushing->relief_setting >= own->charge->relief_setting, FOLLOWS, \
       "the flushing relief cracks at {}, not below the charge relief's {}: the loop is never flushed", \
       IN(PRESSURE, own->flushing->relief_setting), IN(PRESSURE, own->charge->relief_setting))                         \
  RULE(filter_bypassed, own->filter->clean_drop >= own->filter->bypass_crack, FOLLOWS, \
       "the clean filter takes {} at its rated flow, its bypass cracks at {}: it filters only a part", \
       IN(PRESSURE, own->filter->clean_drop), IN(PRESSURE, own->filter->bypass_crack))                                 \
  RULE(hoses_narrow, own->hose_speed > HOSE_SPEED_LIMIT, PRACTICE, \
       "the pump's full flow of {} in hoses of {} bore runs faster than 10 m/s and loses {} in the two: pressure lines are laid out for 5 to 8 m/s", \
       IN(FLOW, own->pump_flow), IN(LENGTH, own->hoses->bore), IN(PRESSURE, own->hose_drop))                           \
  RULE(drain_narrow, own->drain_drop > own->lines->case_alarm, FOLLOWS, \
       "the charge pump's {} come back through the cases and lose {} in the drain line, warm: above lines.case_alarm of {}", \
       IN(FLOW, own->drain_flow), IN(PRESSURE, own->drain_drop), IN(PRESSURE, own->lines->case_alarm))                 \
  RULE(drain_back_pressure, own->drain_drop > DRAIN_DROP_LIMIT && own->drain_drop <= own->lines->case_alarm, PRACTICE, \
       "the charge pump's {} come back through the cases and lose {} in the drain line, warm: shaft seals like 2 bar or less", \
       IN(FLOW, own->drain_flow), IN(PRESSURE, own->drain_drop))                                                       \
  RULE(overspeed_alarm_low, own->engine->overspeed_alarm <= own->high_idle, FOLLOWS, \
       "engine.overspeed_alarm of {} is not above the unloaded engine's {}: it sounds when nothing is wrong", \
       IN(ANGULAR_SPEED, own->engine->overspeed_alarm), IN(ANGULAR_SPEED, own->high_idle))                             \
  RULE(underspeed_alarm_high, own->engine->underspeed_alarm >= own->slowest, FOLLOWS, \
       "engine.underspeed_alarm of {} is not below the lowest speed that the governor is set to, {}: it sounds when nothing is wrong", \
       IN(ANGULAR_SPEED, own->engine->underspeed_alarm), IN(ANGULAR_SPEED, own->slowest))                              \
  RULE(stall_speed_high, own->engine->stall != ENGINE_NO_STALL && own->engine->stall_speed >= own->slowest, FOLLOWS, \
       "engine.stall_speed of {} is not below the lowest speed that the governor is set to, {}: the engine dies of itself", \
       IN(ANGULAR_SPEED, own->engine->stall_speed), IN(ANGULAR_SPEED, own->slowest))                                   \
  RULE(underspeed_control_always, own->swash->underspeed == SWASH_UNDERSPEED_ON && \
       own->swash->underspeed_high > own->slowest, FOLLOWS, \
       "underspeed control takes stroke below {}, the engine is set to {}: stroke is missing without any lugging", \
       IN(ANGULAR_SPEED, own->swash->underspeed_high), IN(ANGULAR_SPEED, own->slowest))                                \
  RULE(drive_never_full, own->operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION && \
       own->controls->drive_full > own->high_idle, FOLLOWS, \
       "the drive is full at an engine speed of {}, the unloaded engine turns {} at the most: full drive is never commanded", \
       IN(ANGULAR_SPEED, own->controls->drive_full), IN(ANGULAR_SPEED, own->high_idle))                                \
  RULE(drive_at_idle, own->operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION && \
       own->controls->drive_begin < own->idle, FOLLOWS, \
       "the drive begins at an engine speed of {}, the engine idles at up to {}: with a direction chosen the machine creeps at idle", \
       IN(ANGULAR_SPEED, own->controls->drive_begin), IN(ANGULAR_SPEED, own->idle))                                    \
  RULE(drive_line_steep, own->operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION && \
       own->controls->drive_full - own->controls->drive_begin < 0.1 * own->fastest, PRACTICE, \
       "the drive goes from nothing at {} to all at {}: so steep a line hunts; some 500 to 1000 rpm are usual", \
       IN(ANGULAR_SPEED, own->controls->drive_begin), IN(ANGULAR_SPEED, own->controls->drive_full))                    \
  RULE(drive_without_ramp, own->operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION && \
       own->controls->ramp == CONTROLS_RAMP_OFF && own->swash->rate_up > 0.5, PRACTICE, \
       "the drive follows the engine's speed with a swash of {} and no ramp: engine and stroke swing against each other", \
       IN(RATE, own->swash->rate_up))                                                                                  \
  RULE(reversal_never_held, own->controls->reversal == CONTROLS_REVERSAL_HELD && \
       own->controls->reversal_speed > own->top_speed, FOLLOWS, \
       "a reversal is held off above {}, the gear allows {}: it is never held", \
       IN(SPEED, own->controls->reversal_speed), IN(SPEED, own->top_speed))                                            \
  RULE(ramp_no_ramp, own->controls->ramp == CONTROLS_RAMP_RATIO && \
       smaller(own->controls->ramp_up_time, own->controls->ramp_down_time) < 4.0 * own->controls->ramp_ease, FOLLOWS, \
       "the ramp of the speed ratio is to take {}, its ease {}: it takes four times its ease at the least", \
       IN(TIME, smaller(own->controls->ramp_up_time, own->controls->ramp_down_time)), IN(TIME, own->controls->ramp_ease)) \
  RULE(inching_brakes_while_driving, own->controls->inching == CONTROLS_INCHING_CUT_AND_BRAKE && \
       own->controls->inching_brake_begin < 0.5 * (own->controls->inching_begin + own->controls->inching_full), PRACTICE, \
       "the inching pedal brakes from {} on and leaves drive up to {}: brake and drive work against each other", \
       IN(FRACTION, own->controls->inching_brake_begin), IN(FRACTION, own->controls->inching_full))                    \
  RULE(torque_peak_above_set_speed, own->engine->torque_law == ENGINE_TORQUE_PARABOLA && \
       own->engine->peak_torque_speed > own->engine->set_speed, PRACTICE, \
       "the engine has its largest torque at {}, above its set speed of {}: the slower it gets the weaker it is, and it stalls", \
       IN(ANGULAR_SPEED, own->engine->peak_torque_speed), IN(ANGULAR_SPEED, own->engine->set_speed))                   \
  RULE(engine_without_torque, own->engine->torque_law == ENGINE_TORQUE_PARABOLA && \
       own->engine->set_speed >= own->engine->peak_torque_speed + own->engine->torque_half_width, FOLLOWS, \
       "the engine's torque ends at {}, its set speed is {}: it never gets there", \
       IN(ANGULAR_SPEED, own->engine->peak_torque_speed + own->engine->torque_half_width), IN(ANGULAR_SPEED, own->engine->set_speed)) \
  RULE(implement_beyond_engine, own->implement_asks > own->engine_power, FOLLOWS, \
       "the implement asks for up to {} at the engine's shaft, the engine gives {} at full fuel: it lugs, whatever the drive does", \
       IN(POWER, own->implement_asks), IN(POWER, own->engine_power))                                                        \
  RULE(fuel_efficient, own->fuel->law == FUEL_WILLANS && own->fuel->indicated_efficiency > 0.52, PRACTICE, \
       "{} of the fuel's energy is turned into work before friction; diesels reach 40 to 50 %", \
       IN(FRACTION, own->fuel->indicated_efficiency)) \
  RULE(fuel_map_efficient, own->fuel->law == FUEL_MAP && fuel_least_consumption(&own->fuel->consumption_map) * own->fuel->heating_value < 1.0 / 0.48, PRACTICE, \
       "the best point of the map of consumption, {}, is {} of the fuel's energy; diesels reach 36 to 46 % at the flywheel", \
       IN(SPECIFIC_CONSUMPTION, fuel_least_consumption(&own->fuel->consumption_map)), \
       IN(FRACTION, 1.0 / (fuel_least_consumption(&own->fuel->consumption_map) * own->fuel->heating_value))) \
  RULE(turbocharger_slow, own->turbocharger->fitted == TURBOCHARGER_FITTED && own->turbocharger->lag / own->turbocharger->natural_share > 4.0, PRACTICE, \
       "the boost builds up over {} from {} of full fuel; engines have their full torque within 1 to 3 s", \
       IN(TIME, own->turbocharger->lag / own->turbocharger->natural_share), IN(FRACTION, own->turbocharger->natural_share)) \
  RULE(gears_out_of_order, own->gearbox->law != GEARBOX_NONE && own->gearbox->ratio_2 > own->gearbox->ratio_1, PRACTICE, \
       "gear 2 has a ratio of {}, above the {} of gear 1: gears are counted from the slowest", \
       IN(NUMBER, own->gearbox->ratio_2), IN(NUMBER, own->gearbox->ratio_1))                                           \
  RULE(driver_expects_much, own->driver->drives == DRIVER_DRIVES && own->driver->top_speed > 1.1 * own->top_speed, FOLLOWS, \
       "the driver expects {} of a full pedal, the machine goes {} at the most: near its top speed the driver presses too little at first", \
       IN(SPEED, own->driver->top_speed), IN(SPEED, own->top_speed))                                                   \
  RULE(course_beyond_driver, own->driver->drives == DRIVER_DRIVES && own->course_speed > own->driver->top_speed * (1.0 + 1e-9), FOLLOWS, \
       "the course wants up to {}, the driver goes no faster than driver.top_speed, {}", \
       IN(SPEED, own->course_speed), IN(SPEED, own->driver->top_speed))                                                \
  RULE(gear_clutch_weak, own->gearbox->law != GEARBOX_NONE && own->gearbox->clutch_torque < own->motor_torque, FOLLOWS, \
       "a gear's clutch slips at {}, the motor gives {} at the relief valve's setting: it slips in gear", \
       IN(TORQUE, own->gearbox->clutch_torque), IN(TORQUE, own->motor_torque))                                         \
  RULE(axles_against_each_other, own->transfer_case->law == TRANSFER_CASE_LOCKED && fabs(own->lead) > 0.05, PRACTICE, \
       "one turn of the motor rolls the front wheels by {} farther than the rear ones, and the axles are locked: they wind against each other; 1 to 5 % is usual", \
       IN(FRACTION, own->lead))                                                                                        \
  RULE(pump_too_fast, own->fastest > own->pump_limit, PRACTICE, \
       "a pump of {} turns with the engine at {}; units of this size turn at most about {}", \
       IN(DISPLACEMENT, own->pump->displacement), IN(ANGULAR_SPEED, own->fastest), IN(ANGULAR_SPEED, own->pump_limit)) \
  RULE(pump_inefficient, own->pump_efficiency < 0.5, PRACTICE, \
       "at full stroke, {} and {}, oil at 50 degC, the pump has an efficiency of {}; worn units have more than 50 %", \
       IN(ANGULAR_SPEED, own->fastest), IN(PRESSURE, 0.5 * own->relief_setting), IN(FRACTION, own->pump_efficiency)) \
  RULE(motor_inefficient, own->motor_efficiency < 0.5, PRACTICE, \
       "at full displacement, with the pump's full flow at {}, oil at 50 degC, the motor has an efficiency of {}; worn units have more than 50 %", \
       IN(PRESSURE, 0.5 * own->relief_setting), IN(FRACTION, own->motor_efficiency)) \
  RULE(motor_too_fast, own->motor_speed > own->motor_limit, PRACTICE, \
       "at full stroke the motor, at its smallest displacement, turns at {}; units of this size turn at most about {}", \
       IN(ANGULAR_SPEED, own->motor_speed), IN(ANGULAR_SPEED, own->motor_limit))                                       \
  RULE(top_speed_high, own->top_speed > 100.0 / 3.6, PRACTICE, \
       "gear and tyres (ratio {}, radius {}) make a top speed of {}; off the road 100 km/h is beyond any machine", \
       IN(NUMBER, own->driveline->ratio), IN(LENGTH, own->driveline->wheel_radius), IN(SPEED, own->top_speed))         \
  RULE(top_speed_low, own->top_speed < 1.0 / 3.6, PRACTICE, \
       "gear and tyres (ratio {}, radius {}) make a top speed of {} only", \
       IN(NUMBER, own->driveline->ratio), IN(LENGTH, own->driveline->wheel_radius), IN(SPEED, own->top_speed))         \
  RULE(motor_fixed, own->motor->smallest >= 0.999 && own->operator->pump_share < 0.999, FOLLOWS, \
       "the motor's displacement is fixed (smallest {}), so that the pedal beyond {} does nothing", \
       IN(FRACTION, own->motor->smallest), IN(FRACTION, own->operator->pump_share))                                    \
  RULE(start_speed_high, fabs(own->vehicle->start_speed) > 1.5 * own->top_speed, FOLLOWS, \
       "the machine starts at {}, its gear allows {}: motor and engine are far too fast from the start", \
       IN(SPEED, own->vehicle->start_speed), IN(SPEED, own->top_speed))                                                \
  RULE(grip_high, own->tyre->ground == TYRE_HARD && own->grip > 1.2, PRACTICE, \
       "the tyres hold {} of their load; rubber on dry concrete holds about 1", IN(NUMBER, own->grip))                 \
  RULE(drag_friction_high, own->vehicle->dragged_mass > 0.0 && own->vehicle->drag_friction > 1.2, PRACTICE, \
       "the dragged mass rubs with {} of its weight; wood and steel on soil rub with 0.4 to 0.9", IN(NUMBER, own->vehicle->drag_friction)) \
  RULE(grade_beyond_grip, own->tyre->ground == TYRE_HARD && own->steepest > own->grip, FOLLOWS, \
       "the ground is as steep as {}, the tyres hold {} of their load: the machine slides", \
       IN(FRACTION, own->steepest), IN(FRACTION, own->grip))                                                           \
  RULE(rolling_beyond_grip, own->tyre->ground == TYRE_HARD && own->tyre->rolling_resistance >= own->grip, FOLLOWS, \
       "rolling takes {} of the load, the tyres hold {}: the machine cannot move", \
       IN(FRACTION, own->tyre->rolling_resistance), IN(FRACTION, own->grip))                                           \
  RULE(volume_small, smaller(own->lines->volume_a, own->lines->volume_b) < 2.0 * REAL_PI * own->pump->displacement, PRACTICE, \
       "a main line holds {}, less than the pump moves in one turn ({}): the passages of pump and motor alone hold more", \
       IN(VOLUME, smaller(own->lines->volume_a, own->lines->volume_b)), IN(VOLUME, 2.0 * REAL_PI * own->pump->displacement)) \
  RULE(volume_large, larger(own->lines->volume_a, own->lines->volume_b) > 500.0 * 2.0 * REAL_PI * own->pump->displacement, PRACTICE, \
       "a main line holds {}, more than 500 turns of the pump ({} each)", \
       IN(VOLUME, larger(own->lines->volume_a, own->lines->volume_b)), IN(VOLUME, 2.0 * REAL_PI * own->pump->displacement)) \
  RULE(tank_small, own->lines->tank_volume < own->lines->volume_a + own->lines->volume_b + own->lines->volume_charge, PRACTICE, \
       "the tank holds {}, less than the lines ({})", IN(VOLUME, own->lines->tank_volume), \
       IN(VOLUME, own->lines->volume_a + own->lines->volume_b + own->lines->volume_charge))                            \
  RULE(oil_soft, own->stiffness < 2000e5, PRACTICE, \
       "oil and walls together have a modulus of {}; hoses bring it down to 6000 bar, seldom further", IN(PRESSURE, own->stiffness)) \
  RULE(oil_aerated, own->fluid->air_content > 0.05, PRACTICE, \
       "the oil holds {} of free air; good tanks keep it near 1 %, foaming begins at about 5 %", IN(FRACTION, own->fluid->air_content)) \
  RULE(oil_thick, larger(own->viscosity_loop, own->viscosity_tank) > 1600e-6, "validity of models/components/rotary.h", \
       "at the start the oil has {}, beyond the 1600 mm2/s up to which the losses of pump and motor hold", \
       IN(KINEMATIC_VISCOSITY, larger(own->viscosity_loop, own->viscosity_tank)))                                      \
  RULE(oil_thin, smaller(own->viscosity_loop, own->viscosity_tank) < 7e-6, "validity of models/components/rotary.h", \
       "at the start the oil has {}, below the 7 mm2/s down to which the losses of pump and motor hold", \
       IN(KINEMATIC_VISCOSITY, smaller(own->viscosity_loop, own->viscosity_tank)))                                     \
  RULE(oil_viscosity_rises, own->fluid->viscosity_by == FLUID_TWO_POINTS && \
       own->fluid->viscosity_at_100 >= own->fluid->viscosity_at_40, FOLLOWS, \
       "the oil has {} at 100 degC and {} at 40 degC: no oil thickens as it warms", \
       IN(KINEMATIC_VISCOSITY, own->fluid->viscosity_at_100), IN(KINEMATIC_VISCOSITY, own->fluid->viscosity_at_40))
/* clang-format on */

#endif
