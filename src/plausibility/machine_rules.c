#include "machine_rules.h"

#include <math.h>
#include <string.h>

#include "registry.h"
#include "rules.h"

/* Largest or smallest value (sign 1 or -1) that a channel is brought to. */
static double farthest(const struct case_data *data, const struct profile *table, const char *channel, double rest,
                       double sign) {
  double most = table->count > 0 ? sign * table->value[0] : sign * rest;
  for (int i = 1; i < table->count; i++) {
    most = fmax(most, sign * table->value[i]);
  }
  int index = registry_channel(data->plant, channel);
  for (int i = 0; i < data->action_count; i++) {
    if (data->actions[i].channel == index) {
      most = fmax(most, sign * data->actions[i].target);
    }
  }
  return sign * most;
}

static bool find_parts(const struct case_data *data, struct machine_view *view) {
  struct error error = {0};
#define MACHINE_PART_FOUND(type, name)                                                                                 \
  &&(view->name = registry_need_section(data->plant, data->parameters, #name, &error)) != NULL
  return strcmp(data->plant->name, "transmission") == 0 MACHINE_PARTS(MACHINE_PART_FOUND);
#undef MACHINE_PART_FOUND
}

/* Kinematic viscosity at temperature T, K. */
static double viscosity_at(const struct fluid_parameters *oil, double temperature) {
  real a;
  real b;
  fluid_walther_fit(fluid_viscosity_at_40(oil), 313.15, fluid_viscosity_at_100(oil), 373.15, &a, &b);
  return fluid_walther(a, b, temperature);
}

/* Displacement of all motors together, m3/rad, at their largest or their smallest. */
static double motors(const struct machine_view *view, bool smallest) {
  double sum = view->motor->displacement * (smallest ? view->motor->smallest : 1.0);
  if (view->vehicle->second_motor == VEHICLE_SECOND_MOTOR) {
    sum += view->second_motor->displacement * (smallest ? view->second_motor->smallest : 1.0);
  }
  return sum;
}

/* The smallest ratio of the gearbox; 1 without one. */
static double longest_gear(const struct gearbox_parameters *box) {
  double least = HUGE_VAL;
  for (int gear = 1; box->law != GEARBOX_NONE && gear <= GEARBOX_GEARS; gear++) {
    least = gearbox_ratio(box, gear) > 0.0 ? fmin(least, gearbox_ratio(box, gear)) : least;
  }
  return least < HUGE_VAL ? least : 1.0;
}

/* Temperature of oil at work, K. */
#define WARM 323.15

static void look_at_pipes(struct machine_view *view) {
  double density = view->fluid->density;
  double viscosity = density * viscosity_at(view->fluid, WARM);
  if (view->hoses->length > 0.0) {
    view->hose_speed = view->pump_flow / pipe_area(view->hoses);
    view->hose_drop = 2.0 * pipe_drop(view->hoses, view->pump_flow, viscosity, density);
  }
  if (view->lines->cases == LINES_CASES_DRAINED && view->drain->length > 0.0) {
    view->drain_flow = view->charge->displacement * view->fastest;
    view->drain_drop = pipe_drop(view->drain, view->drain_flow, viscosity, density);
  }
}

static void look_at_charge(struct machine_view *view) {
  const struct charge_parameters *charge = view->charge;
  double pressure = charge->relief_setting;
  double film = view->fluid->density * view->viscosity_loop;
  double filled = charge_filled_displacement(charge, view->slowest, view->fluid->ambient_pressure,
                                             view->fluid->density * view->viscosity_tank);
  view->charge_flow = charge_pump_flow(charge, filled, view->slowest, pressure);
  double leak = 0.0; /* of both ports to the case; what maps leak at the charge pressure is not known */
  if (view->pump->losses == ROTARY_COEFFICIENTS) {
    leak += 2.0 * view->pump->case_leak_coefficient * view->pump->displacement * pressure / film;
  }
  if (view->motor->losses == ROTARY_COEFFICIENTS) {
    leak += 2.0 * view->motor->case_leak_coefficient * motors(view, false) * pressure / film;
  }
  view->charge_needed = leak + flushing_flow(view->flushing, 1.0, pressure);
}

/* Power out over power in at full stroke, driving; below zero where the losses take more than there is. */
static double efficiency_of(const struct machine_view *view, struct rotary_losses *losses, double exponent,
                            double speed) {
  double viscosity = view->fluid->density * viscosity_at(view->fluid, WARM);
  double film = ROTARY_REFERENCE_VISCOSITY * pow(viscosity / ROTARY_REFERENCE_VISCOSITY, exponent);
  double drop = 0.5 * view->relief_setting;
  rotary_losses_in_oil(losses, view->fluid->density, view->fluid->bulk_modulus, view->fluid->bulk_modulus_slope);
  struct rotary_leaks leaks = rotary_leaks_of(losses, drop, drop, 0.0, 1.0, speed, viscosity);
  double leaking = leaks.slip + leaks.case_a;
  double flow = losses->displacement * speed;
  double torque = losses->displacement * drop;
  double lost = rotary_torque_of(losses, drop, 1.0, speed, film);
  return losses->is_motor ? (torque - lost) / torque * flow / (flow + leaking)
                          : (flow - leaking) / flow * torque / (torque + lost);
}

static void look_at_units(struct machine_view *view) {
  struct rotary_losses pump = pump_losses(view->pump, view->engine->speed_width);
  struct rotary_losses motor = motor_losses(view->motor, view->pump->pressure_width);
  view->pump_efficiency = efficiency_of(view, &pump, view->pump->viscous_exponent, view->fastest);
  view->motor_efficiency =
      efficiency_of(view, &motor, view->motor->viscous_exponent, view->pump_flow / motors(view, false));
}

/* The largest value of a table, or 0. */
static double largest_of(const struct profile *table) {
  double largest = 0.0;
  for (int i = 0; i < table->count; i++) {
    largest = fmax(largest, table->value[i]);
  }
  return largest;
}

/* The most that the implement asks for, at the fastest engine. */
static double implement_power(const struct case_data *data, const struct machine_view *view) {
  const struct operator_parameters *asks = view->operator;
  if (view->implement->law == IMPLEMENT_POWER) {
    return fmax(farthest(data, &asks->implement_power, "implement_power", 0.0, 1.0),
                largest_of(&view->course->dwell_power));
  }
  if (view->implement->law == IMPLEMENT_FLOW_AND_PRESSURE) {
    double flow =
        fmax(farthest(data, &asks->implement_flow, "implement_flow", 0.0, 1.0), largest_of(&view->course->dwell_flow));
    double pressure = fmax(farthest(data, &asks->implement_pressure, "implement_pressure", 0.0, 1.0),
                           largest_of(&view->course->dwell_pressure));
    return view->fastest *
           implement_pump_torque(view->implement, flow, pressure, view->fastest, view->engine->speed_width);
  }
  return 0.0;
}

static void look_at_ground(struct machine_view *view) {
  view->course_speed = largest_of(&view->course->speed);
  view->grip = view->ground->grip.count > 0 ? 0.0 : view->tyre->grip;
  for (int i = 0; i < view->ground->grip.count; i++) {
    view->grip = fmax(view->grip, view->ground->grip.value[i]);
  }
  for (int i = 0; i < view->ground->grade.count; i++) {
    view->steepest = fmax(view->steepest, fabs(view->ground->grade.value[i]));
  }
}

static void derive(const struct case_data *data, struct machine_view *view) {
  view->relief_setting = fmin(view->relief->setting, relief_valve_b(view->relief).setting);
  double speed = view->engine->set_speed;
  double rise = view->engine->governor == ENGINE_DROOP ? view->engine->droop : 0.0;
  double throttle = farthest(data, &view->operator->throttle, "throttle", 1.0, 1.0);
  view->slowest = view->operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION
                      ? view->controls->idle_speed
                      : speed * farthest(data, &view->operator->throttle, "throttle", 1.0, -1.0);
  view->fastest = speed * throttle;
  view->engine_power = view->fastest * (engine_full_torque(view->engine, view->fastest) -
                                        engine_auxiliaries(view->engine, view->fastest));
  view->implement_asks = implement_power(data, view);
  view->motor_torque = view->motor->displacement * view->relief->setting;
  view->lead = view->second_driveline->wheel_radius / view->second_driveline->ratio /
                   (view->driveline->wheel_radius / view->driveline->ratio) -
               1.0;
  view->high_idle = view->fastest * (1.0 + rise);
  view->idle = view->controls->idle_speed * (1.0 + rise);
  view->pump_flow = view->pump->displacement * view->fastest;
  view->motor_speed = view->pump_flow / motors(view, true);
  view->top_speed =
      view->motor_speed / (view->driveline->ratio * longest_gear(view->gearbox)) * view->driveline->wheel_radius;
  view->pump_limit = PUMP_SPEED_FACTOR / cbrt(view->pump->displacement);
  view->motor_limit = MOTOR_SPEED_FACTOR / cbrt(view->motor->displacement);
  view->viscosity_loop = viscosity_at(view->fluid, view->heat->loop_start);
  view->viscosity_tank = viscosity_at(view->fluid, view->heat->tank_start);
  view->stiffness = 1.0 / (1.0 / view->fluid->bulk_modulus + 1.0 / view->fluid->wall_modulus);
  look_at_charge(view);
  look_at_pipes(view);
  look_at_units(view);
  look_at_ground(view);
}

void machine_rules(const struct case_data *data, struct warnings *warnings) {
  struct machine_view view = {0};
  if (!find_parts(data, &view)) {
    return;
  }
  derive(data, &view);
  const struct machine_view *own = &view;
#define MACHINE_RULE(name, condition, source, sentence, ...)                                                           \
  if (condition) {                                                                                                     \
    const struct told numbers[] = {__VA_ARGS__};                                                                       \
    warn(warnings, #name, source, sentence, numbers, (int)(sizeof numbers / sizeof numbers[0]));                       \
  }
  MACHINE_RULES(MACHINE_RULE)
#undef MACHINE_RULE
}
