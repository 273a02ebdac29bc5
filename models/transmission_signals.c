/* What is told of the circuit: powers of the ledger, signals and event functions. */
#include "transmission_passes.h"

/* Power of every ledger row that is integrated. */
static void powers_of(const struct transmission_model *model, const struct transmission_mode *mode, const real *x,
                      const struct potentials *now, const struct efforts *e, real *p) {
  const struct transmission_parameters *own = &model->own;
  p[LEDGER_combustion] = e->combustion * now->engine_speed;
  p[LEDGER_slope] = -now->weight.slope * (1.0 + own->vehicle.dragged_mass / own->vehicle.mass) * now->speed;
  p[LEDGER_starter] = e->starter * now->engine_speed;
  p[LEDGER_engine_friction] = e->engine_friction * now->engine_speed;
  p[LEDGER_exhaust_brake] = e->exhaust_brake * now->engine_speed;
  p[LEDGER_auxiliaries] = e->auxiliaries * now->engine_speed;
  p[LEDGER_pump_friction] = e->pump_torque_loss * now->engine_speed;
  p[LEDGER_pump_leakage] = pump_leak_power(e, now);
  p[LEDGER_charge_pump] = charge_pump_power(own, e, now);
  p[LEDGER_filter] = e->charge_flow * e->filter_drop;
  p[LEDGER_charge_relief] = e->charge_relief_flow * now->gallery_over_case;
  p[LEDGER_check_valves] = check_power(e, now);
  p[LEDGER_relief_a] = e->relief_a * e->relief_drop_a;
  p[LEDGER_relief_b] = e->relief_b * e->relief_drop_b;
  p[LEDGER_flushing] = flush_power(e, now);
  p[LEDGER_swash_servo] = e->servo_flow * now->gallery_over_case;
  p[LEDGER_case_return] = e->case_flow * (model->case_pressure - model->oil.ambient);
  p[LEDGER_hose_burst] = e->hose_a * now->a + e->hose_b * now->b;
  p[LEDGER_motor_friction] = 0.0;
  p[LEDGER_motor_leakage] = 0.0;
  p[LEDGER_gear] = 0.0;
  p[LEDGER_brake] = 0.0;
  p[LEDGER_tyre_slip] = 0.0;
  p[LEDGER_tyre_deflection] = 0.0;
  p[LEDGER_rolling] = 0.0;
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle_potentials *at = &now->axles[i];
    const struct axle_efforts *gives = &e->axles[i];
    p[LEDGER_motor_friction] += gives->motor_torque_loss * at->motor_speed;
    p[LEDGER_motor_leakage] += motor_leak_power(gives, now);
    p[LEDGER_gear] += gives->gear_loss * at->wheel_speed;
    p[LEDGER_brake] += gives->brake_torque * at->wheel_speed -
                       brake_winds(model, mode, &model->axles[i], e->brake_share, at->wheel_speed, x);
    real tyre_deflects = gives->curve_force * own->tyre.relaxation_length * gives->slip_rate;
    p[LEDGER_tyre_slip] += gives->traction * (at->rim_speed - now->speed) - tyre_deflects;
    p[LEDGER_tyre_deflection] += tyre_deflects;
    p[LEDGER_rolling] += gives->rolling * now->speed;
  }
  p[LEDGER_drawbar] = now->drag * now->speed;
}

static void signals_of(const struct transmission_model *model, const real *x, const struct potentials *now,
                       const struct efforts *e, real *signals) {
  real ambient = model->oil.ambient;
  bool two_axles = model->axle_count > 1;
  int front = two_axles ? 1 : 0; /* the only axle's own values where there is no front one */

  signals[SIGNAL_line_a_pressure] = now->a - ambient;
  signals[SIGNAL_line_b_pressure] = now->b - ambient;
  signals[SIGNAL_charge_pressure] = now->gallery - ambient;
  signals[SIGNAL_low_side_pressure] = smaller(now->a, now->b) - ambient;
  signals[SIGNAL_line_pressure_difference] = now->drop;
  signals[SIGNAL_pump_stroke] = x[STATE_pump_stroke];
  signals[SIGNAL_stroke_command] = e->demand.stroke;
  signals[SIGNAL_pump_flow] = e->pump_flow - e->pump_slip - e->pump_case_a;
  signals[SIGNAL_pump_torque] = e->pump_torque;
  signals[SIGNAL_motor_displacement] = x[STATE_motor_displacement];
  signals[SIGNAL_motor_speed] = now->axles[0].motor_speed;
  signals[SIGNAL_motor_flow] = e->axles[0].motor_flow + e->axles[0].motor_slip + e->axles[0].motor_case_a;
  signals[SIGNAL_motor_torque] = e->axles[0].motor_torque;
  signals[SIGNAL_motor_override] = x[STATE_motor_override];
  signals[SIGNAL_engine_speed] = now->engine_speed;
  signals[SIGNAL_engine_torque] = e->combustion + e->starter - e->engine_friction - e->exhaust_brake - e->auxiliaries;
  signals[SIGNAL_fuel_fraction] = x[STATE_fuel];
  signals[SIGNAL_pedal] = e->demand.pedal;
  signals[SIGNAL_brake] = e->channels[CHANNEL_brake];
  signals[SIGNAL_exhaust_brake] = e->channels[CHANNEL_exhaust_brake];
  signals[SIGNAL_vehicle_speed] = now->speed;
  signals[SIGNAL_vehicle_distance] = x[STATE_vehicle_distance];
  signals[SIGNAL_vehicle_acceleration] = acceleration_of(model, e, now);
  signals[SIGNAL_grade] = now->grade;
  signals[SIGNAL_wheel_speed] = now->axles[0].wheel_speed;
  signals[SIGNAL_wheel_slip] = e->axles[0].slip;
  signals[SIGNAL_traction_force] = e->axles[0].traction;
  signals[SIGNAL_brake_torque] = e->axles[0].brake_torque + (two_axles ? e->axles[1].brake_torque : 0.0);
  signals[SIGNAL_relief_a_flow] = e->relief_a;
  signals[SIGNAL_relief_b_flow] = e->relief_b;
  signals[SIGNAL_relief_a_lift] = x[STATE_relief_a_opening];
  signals[SIGNAL_relief_b_lift] = x[STATE_relief_b_opening];
  signals[SIGNAL_limiter_a] = x[STATE_limiter_a];
  signals[SIGNAL_limiter_b] = x[STATE_limiter_b];
  signals[SIGNAL_check_a_flow] = e->check_a;
  signals[SIGNAL_check_b_flow] = e->check_b;
  signals[SIGNAL_charge_flow] = e->charge_flow;
  signals[SIGNAL_charge_relief_flow] = e->charge_relief_flow;
  signals[SIGNAL_flush_flow] = e->flush_a + e->flush_b;
  signals[SIGNAL_case_flow] = e->case_flow;
  signals[SIGNAL_loop_oil_temperature] = now->loop;
  signals[SIGNAL_tank_oil_temperature] = now->tank;
  signals[SIGNAL_loop_heat] = loop_losses(model, e, now);
  signals[SIGNAL_tank_oil] = x[STATE_tank_oil];
  signals[SIGNAL_oil_viscosity] = now->viscosity / model->oil.density;
  signals[SIGNAL_park_brake] = e->channels[CHANNEL_park_brake];
  signals[SIGNAL_relief_a_poppet] = x[STATE_relief_a_lift];
  signals[SIGNAL_relief_b_poppet] = x[STATE_relief_b_lift];
  signals[SIGNAL_filter_drop] = e->filter_drop;
  signals[SIGNAL_filter_bypass] = filter_bypass_share(&model->own.filter, e->filter_drop, e->charge_flow);
  signals[SIGNAL_hose_flow] = e->hose_a + e->hose_b;
  signals[SIGNAL_drawbar_force] = now->pull;
  signals[SIGNAL_loop_metal_temperature] = x[STATE_loop_metal_temperature];
  signals[SIGNAL_case_temperature] = x[STATE_case_temperature];
  signals[SIGNAL_rear_axle_load] = now->axles[0].footing.load;
  signals[SIGNAL_front_axle_load] = now->axles[front].footing.load;
  signals[SIGNAL_front_wheel_speed] = now->axles[front].wheel_speed;
  signals[SIGNAL_front_wheel_slip] = e->axles[front].slip;
  signals[SIGNAL_front_traction_force] = e->axles[front].traction;
  signals[SIGNAL_second_motor_speed] = now->axles[front].motor_speed;
  signals[SIGNAL_second_motor_displacement] = x[STATE_second_motor_displacement];
  signals[SIGNAL_second_motor_flow] =
      e->axles[front].motor_flow + e->axles[front].motor_slip + e->axles[front].motor_case_a;
}

bool transmission_signal_active(const void *parameters, int signal) {
  const struct transmission_parameters *own = parameters;
  bool two_axles = own->vehicle.axles == VEHICLE_TWO_AXLES;
  switch (signal) {
  case SIGNAL_relief_a_lift:
  case SIGNAL_relief_b_lift:
    return own->relief.law != RELIEF_POPPET;
  case SIGNAL_relief_a_poppet:
  case SIGNAL_relief_b_poppet:
    return own->relief.law == RELIEF_POPPET;
  case SIGNAL_filter_drop:
  case SIGNAL_filter_bypass:
    return own->filter.clean_drop > 0.0;
  case SIGNAL_loop_metal_temperature:
  case SIGNAL_case_temperature:
    return own->heat.nodes == HEAT_FOUR_NODES;
  case SIGNAL_rear_axle_load:
  case SIGNAL_front_axle_load:
  case SIGNAL_front_wheel_speed:
  case SIGNAL_front_wheel_slip:
  case SIGNAL_front_traction_force:
    return two_axles;
  case SIGNAL_second_motor_speed:
  case SIGNAL_second_motor_displacement:
  case SIGNAL_second_motor_flow:
    return two_axles && own->vehicle.second_motor == VEHICLE_SECOND_MOTOR;
  default:
    return true;
  }
}

static void events_of(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                      const real *x, const struct potentials *now, real *values) {
  const struct transmission_parameters *own = &model->own;
  bool to_gallery = own->relief.return_to == RELIEF_TO_GALLERY;
  bool limiter_on = own->limiter.fitted == LIMITER_FITTED;
  bool two_axles = model->axle_count > 1;
  real slips[AXLE_LIMIT] = {0.0};
  for (int i = 0; i < model->axle_count; i++) {
    slips[i] = own->tyre.law == TYRE_RELAXATION ? x[model->axles[i].tyre_slip]
                                                : tyre_slip(&own->tyre, now->axles[i].rim_speed, now->speed);
  }
  real tank_viscosity = fluid_viscosity(&model->oil.viscosity, now->tank);
  real filled = charge_filled_displacement(&own->charge, now->engine_speed, model->oil.ambient, tank_viscosity);
  real flow = charge_pump_flow(&own->charge, filled, now->engine_speed, now->gallery - model->oil.ambient);
  real loading = own->filter.blocked_loading * piece_at(&mode->channels[CHANNEL_filter_blocked].piece, t);
  real drop = filter_drop(&own->filter, model->filter_resistance * (1.0 + loading), tank_viscosity, flow);

  values[EVENT_relief_a] = (to_gallery ? now->a - now->gallery : now->drop) - own->relief.setting;
  values[EVENT_relief_b] = (to_gallery ? now->b - now->gallery : -now->drop) - own->relief.setting;
  values[EVENT_limiter_a] = limiter_on ? now->a_over_case - own->limiter.setting : -1.0;
  values[EVENT_limiter_b] = limiter_on ? now->b_over_case - own->limiter.setting : -1.0;
  values[EVENT_motor_override] = own->motor.override_line == OVERRIDE_OFF
                                     ? -1.0
                                     : motor_override_pressure(&own->motor, x[STATE_pump_stroke], now->a, now->b) -
                                           model->case_pressure - own->motor.override_begin;
  values[EVENT_standstill] = fabs(now->speed) - STANDSTILL_SPEED;
  values[EVENT_engine_overspeed] = now->engine_speed - own->engine.told_overspeed;
  values[EVENT_engine_underspeed] = now->engine_speed - own->engine.told_underspeed;
  values[EVENT_low_side] = smaller(now->a, now->b) - own->lines.starved_pressure;
  values[EVENT_charge_pressure] = now->gallery_over_case - own->charge.low_pressure;
  values[EVENT_wheel_slip] = fabs(slips[0]) - own->tyre.told_slip;
  values[EVENT_front_wheel_slip] = two_axles ? fabs(slips[1]) - own->tyre.told_slip : -1.0;
  /* Locked: the machine moves at some speed and its wheels hardly turn. */
  values[EVENT_wheel_lock] = larger(fabs(now->axles[0].rim_speed) - 0.1 * fabs(now->speed), 0.5 - fabs(now->speed));
  values[EVENT_rear_axle] = now->axles[0].footing.load - 0.01 * now->weight.load;
  values[EVENT_front_axle] = two_axles ? now->axles[1].footing.load - 0.01 * now->weight.load : 1.0;
  values[EVENT_filter_bypass] = drop - own->filter.bypass_crack;
  values[EVENT_charge_filling] = filled - 0.99 * own->charge.displacement;
  values[EVENT_underspeed_control] =
      own->swash.underspeed == SWASH_UNDERSPEED_ON ? now->engine_speed - own->swash.underspeed_high : 1.0;
}

/* What a duty goes by: flow of the charge pump, its part through the element, temperature of the oil that it takes. */
int transmission_duty_rates(const void *model_, const real *signals, real *rates) {
  const struct transmission_model *model = model_;
  if (model->own.contamination.fitted != CONTAMINATION_FITTED) {
    return 0;
  }
  if (signals != NULL) {
    rates[0] = signals[SIGNAL_charge_flow];
    rates[1] = signals[SIGNAL_charge_flow] * (1.0 - signals[SIGNAL_filter_bypass]);
    rates[2] = signals[SIGNAL_tank_oil_temperature];
  }
  return 3;
}

void transmission_duty(const void *model_, const real *means, struct plant_duty *duty) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  struct contamination_cycle cycle = {
      .flow = means[0],
      .filtered = means[1],
      .clean_resistance =
          filter_resistance(&own->filter, model->oil.density, 0.0) * fluid_viscosity(&model->oil.viscosity, means[2]),
      .volume = own->lines.tank_volume + own->lines.volume_a + own->lines.volume_b + own->lines.volume_charge,
  };
  struct contamination_result result = contamination_duty(&own->contamination, &own->filter, &cycle);
  for (int i = 0; i < PLANT_DUTY_CLASSES; i++) {
    duty->particles[i] = result.count[i];
    duty->code[i] = contamination_code(result.count[i]);
  }
  duty->cleaning_time = result.cleaning_time;
  duty->element_dirt = result.dirt;
  duty->bypass_time = result.bypass_time;
}

void transmission_powers(const void *model_, const void *mode_, real t, const real *state, real *powers) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real x[STATE_COUNT];
  struct potentials now;
  struct efforts e;
  transmission_spread(model, state, x);
  potentials_of(model, mode, t, x, &now);
  efforts_of(model, mode, &now, t, x, &e);
  powers_of(model, mode, x, &now, &e, powers);
}

void transmission_signals_at(const void *model_, const void *mode_, real t, const real *state, real *signals) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real x[STATE_COUNT];
  struct potentials now;
  struct efforts e;
  transmission_spread(model, state, x);
  potentials_of(model, mode, t, x, &now);
  efforts_of(model, mode, &now, t, x, &e);
  signals_of(model, x, &now, &e, signals);
}

void transmission_events_at(const void *model_, const void *mode_, real t, const real *state, real *values) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real x[STATE_COUNT];
  struct potentials now;
  transmission_spread(model, state, x);
  potentials_of(model, mode, t, x, &now);
  events_of(model, mode, t, x, &now, values);
}

void transmission_look(const void *model_, const void *mode_, real t, const real *state,
                       const struct plant_look *look) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real x[STATE_COUNT];
  struct potentials now;
  struct efforts e;
  transmission_spread(model, state, x);
  potentials_of(model, mode, t, x, &now);
  efforts_of(model, mode, &now, t, x, &e);
  powers_of(model, mode, x, &now, &e, look->powers);
  signals_of(model, x, &now, &e, look->signals);
  if (look->events != NULL) {
    events_of(model, mode, t, x, &now, look->events);
  }
  transmission_switches_of(model, mode, x, look->switches);
}
