/* What is evaluated of the circuit at one instant: powers of the ledger, signals, event functions and guards. Private
 * to models/transmission. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_EVALUATION_H
#define SWASHLOOP_MODELS_TRANSMISSION_EVALUATION_H

#include "transmission_elements.h"

/* Power of every ledger row that is integrated. */
static inline void powers_of(const struct transmission_model *model, const struct transmission_mode *mode,
                             const real *x, const struct node_values *now, const struct element_outputs *e, real *p) {
  const struct transmission_parameters *own = &model->own;
  p[LEDGER_combustion] = e->combustion * now->engine_speed;
  p[LEDGER_fuel_heat] = broadcast(0.0);
  if (own->fuel.law != FUEL_NOT_COUNTED) {
    real burns = fuel_rate(&own->fuel, e->combustion, e->engine_friction, now->engine_speed);
    p[LEDGER_fuel_heat] = own->fuel.heating_value * burns - p[LEDGER_combustion];
  }
  p[LEDGER_slope] = -now->weight.slope * (1.0 + own->vehicle.dragged_mass / now->mass) * now->speed;
  p[LEDGER_starter] = e->starter * now->engine_speed;
  p[LEDGER_loading] = 0.5 * mode->driver.load_rate * now->speed * now->speed; /* m v' = F takes it to come at v */
  p[LEDGER_engine_friction] = e->engine_friction * now->engine_speed;
  p[LEDGER_exhaust_brake] = e->exhaust_brake * now->engine_speed;
  p[LEDGER_auxiliaries] = e->auxiliaries * now->engine_speed;
  p[LEDGER_implement] = e->implement * now->engine_speed;
  p[LEDGER_pump_friction] = e->pump_torque_loss * now->engine_speed;
  p[LEDGER_pump_filling] = e->pump_filling_loss;
  p[LEDGER_pump_leakage] = pump_leak_power(e, now);
  p[LEDGER_charge_pump] = charge_pump_power(own, e, now);
  p[LEDGER_filter] = e->charge_flow * e->filter_drop;
  p[LEDGER_charge_relief] = e->charge_relief_flow * now->gallery_over_case;
  p[LEDGER_check_valves] = check_power(e, now);
  p[LEDGER_relief_a] = e->relief_a * now->relief_drop_a;
  p[LEDGER_relief_b] = e->relief_b * now->relief_drop_b;
  p[LEDGER_flushing] = flush_power(e, now);
  p[LEDGER_swash_servo] = e->servo_flow * now->gallery_over_case;
  p[LEDGER_case_return] = e->case_flow * (now->cases - model->oil.ambient);
  p[LEDGER_hose_burst] = e->hose_a * now->a + e->hose_b * now->b;
  p[LEDGER_motor_friction] = broadcast(0.0);
  p[LEDGER_motor_leakage] = broadcast(0.0);
  p[LEDGER_motor_filling] = broadcast(0.0);
  p[LEDGER_hoses] = broadcast(0.0);
  p[LEDGER_gear] = broadcast(0.0);
  p[LEDGER_brake] = broadcast(0.0);
  p[LEDGER_heat_brakes] = broadcast(0.0);
  p[LEDGER_tyre_slip] = broadcast(0.0);
  p[LEDGER_tyre_deflection] = broadcast(0.0);
  p[LEDGER_rolling] = broadcast(0.0);
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle_node_values *at = &now->axles[i];
    const struct axle_outputs *gives = &e->axles[i];
    p[LEDGER_motor_friction] += gives->motor_torque_loss * at->motor_speed - gives->motor_winds;
    p[LEDGER_motor_leakage] += motor_leak_power(gives, now);
    p[LEDGER_motor_filling] += gives->motor_filling_loss;
    p[LEDGER_hoses] += gives->hose_loss;
    p[LEDGER_gear] += gives->gear_loss * at->wheel_speed - gives->gear_winds;
    real braked = brake_loss(model, mode, &model->axles[i], gives, at->wheel_speed, x);
    p[LEDGER_brake] += braked;
    p[LEDGER_heat_brakes] += own->brake.heat == BRAKE_ONE_MASS
                                 ? brake_cooling(&model->axles[i].brake, x[model->axles[i].brake_temperature],
                                                 own->heat.ambient, at->wheel_speed)
                                 : braked;
    real tyre_deflects = gives->curve_force * own->tyre.relaxation_length * gives->slip_rate;
    p[LEDGER_tyre_slip] += gives->traction * (at->rim_speed - now->speed) - tyre_deflects;
    p[LEDGER_tyre_deflection] += tyre_deflects;
    p[LEDGER_rolling] += gives->rolling * now->speed;
  }
  if (model->geared) {
    p[LEDGER_gear] += e->mesh_loss * now->output_speed;
  }
  p[LEDGER_clutches] = clutch_power(model, e, now, x);
  p[LEDGER_drawbar] = now->drag * now->speed;
  real air = own->heat.ambient;
  real per_volume = broadcast(model->oil.heat_per_volume);
  p[LEDGER_heat_to_air] = heat_to_air(&own->heat, &now->heat);
  p[LEDGER_heat_cooler] = e->cooler * heat_thermostat(&own->heat, now->heat.tank) * (now->heat.tank - air);
  p[LEDGER_heat_with_oil] = per_volume * (e->hose_a + e->hose_b) * (now->heat.loop - air);
  struct heat_streams streams = heat_streams_of(model, e, now);
  struct heat_content more = heat_content_of(model, x);
  real tank_rate = heat_tank_rate(&own->heat, &streams, &now->heat, model->gallery_has_heat, e->cooler);
  real gallery_rate = model->gallery_has_heat ? heat_gallery_rate(&own->heat, &streams, &now->heat) : tank_rate;
  real case_rate = own->heat.nodes == HEAT_FOUR_NODES ? heat_case_rate(&own->heat, &streams, &now->heat) : tank_rate;
  p[LEDGER_heat_left_out] =
      -per_volume * (more.loop * heat_loop_rate(&own->heat, &streams, &now->heat) + more.cases * case_rate +
                     more.gallery * gallery_rate + more.tank * tank_rate);
}

/* Signals that only some laws have; zero where they are not chosen. */
static inline void signals_of_laws(const struct transmission_model *model, const struct transmission_mode *mode,
                                   const real *x, const struct node_values *now, const struct element_outputs *e,
                                   real *signals) {
  const struct transmission_parameters *own = &model->own;
#pragma GCC unroll 64
  for (int i = SIGNAL_rear_axle_load; i < SIGNAL_COUNT; i++) {
    signals[i] = broadcast(0.0);
  }
  signals[SIGNAL_charge_inlet_pressure] =
      -charge_suction_drop(&model->own.charge, e->charge_filled * now->engine_speed, e->tank_viscosity);
  if (model->axle_count > 1) {
    const struct axle_outputs *rear = &e->axles[0];
    const struct axle_outputs *front = &e->axles[1];
    signals[SIGNAL_rear_axle_load] = now->axles[0].contact.load;
    signals[SIGNAL_front_axle_load] = now->axles[1].contact.load;
    signals[SIGNAL_front_wheel_speed] = now->axles[1].wheel_speed;
    signals[SIGNAL_front_wheel_slip] = front->slip;
    signals[SIGNAL_front_traction_force] = front->traction;
    signals[SIGNAL_rear_wheel_torque] = rear->drive_torque - rear->gear_loss;
    signals[SIGNAL_front_wheel_torque] = front->drive_torque - front->gear_loss;
    if (model->axles[1].motor != NULL) {
      signals[SIGNAL_second_motor_speed] = now->axles[1].motor_speed;
      signals[SIGNAL_second_motor_displacement] = x[STATE_second_motor_displacement];
      signals[SIGNAL_second_motor_flow] = front->motor_flow + front->motor_slip + front->motor_case_a;
    }
  }
  if (own->turbocharger.fitted == TURBOCHARGER_FITTED) {
    signals[SIGNAL_boost] = x[STATE_boost];
    signals[SIGNAL_smoke_limit] = smoke_limit_of(model, x);
  }
  if (own->fuel.law != FUEL_NOT_COUNTED) {
    signals[SIGNAL_fuel_rate] = fuel_rate(&own->fuel, e->combustion, e->engine_friction, now->engine_speed);
    signals[SIGNAL_fuel_used] = x[STATE_fuel_used];
    signals[SIGNAL_fuel_volume] = x[STATE_fuel_used] / own->fuel.density;
    signals[SIGNAL_carbon_dioxide] = x[STATE_fuel_used] * own->fuel.carbon_dioxide;
  }
  if (own->implement.law != IMPLEMENT_NONE) {
    signals[SIGNAL_implement_power] = e->implement * now->engine_speed;
    signals[SIGNAL_implement_torque] = e->implement;
    signals[SIGNAL_implement_flow] =
        implement_flow(&own->implement, e->channels[CHANNEL_implement_flow], now->engine_speed);
  }
  if (model->geared) {
    signals[SIGNAL_gear] = e->gear;
    signals[SIGNAL_gear_slip] = e->gear_slip;
    signals[SIGNAL_gear_clutch_heat] = gear_clutch_power(model, e, now, x);
  }
  if (model->transfers) {
    signals[SIGNAL_transfer_torque] = e->transfer_torque;
    signals[SIGNAL_transfer_slip] = now->transfer_slip;
  }
  if (own->brake.heat == BRAKE_ONE_MASS) {
    signals[SIGNAL_brake_temperature] = x[STATE_brake_temperature];
    signals[SIGNAL_front_brake_temperature] = x[STATE_front_brake_temperature];
  }
  if (model->has_hoses) {
    signals[SIGNAL_motor_pressure_difference] = now->axles[0].port_a - now->axles[0].port_b;
    signals[SIGNAL_hose_drop] = 2.0 * now->axles[0].hose_lost;
  }
  if (own->lines.cases == LINES_CASES_DRAINED) {
    signals[SIGNAL_case_pressure] = now->cases - model->oil.ambient;
  }
  control_signals(model, &e->commands, e->channels, signals);
  if (own->driver.drives == DRIVER_DRIVES) {
    const struct driver_intent *intent = &mode->driver;
    real seen = driver_sees(&own->driver, intent, x[STATE_vehicle_distance], x[STATE_felt_speed]);
    signals[SIGNAL_leg] = intent->leg;
    signals[SIGNAL_wanted_speed] = intent->direction * driver_wanted(&own->driver, intent, seen);
    signals[SIGNAL_to_go] = intent->stop - intent->direction * x[STATE_vehicle_distance];
    signals[SIGNAL_load] = x[STATE_load];
  }
}

/* Every signal, SI; pressures by the reference of the signal's row. */
static inline void signals_of(const struct transmission_model *model, const struct transmission_mode *mode,
                              const real *x, const struct node_values *now, const struct element_outputs *e,
                              real *signals) {
  real ambient = model->oil.ambient;
  bool two_axles = model->axle_count > 1;
  int relief_position = relief_law_of(&model->own.relief)->position_state;

  signals[SIGNAL_line_a_pressure] = now->a - ambient;
  signals[SIGNAL_line_b_pressure] = now->b - ambient;
  signals[SIGNAL_charge_pressure] = now->gallery - ambient;
  signals[SIGNAL_low_side_pressure] = smaller(now->a, now->b) - ambient;
  signals[SIGNAL_least_line_oil] = smaller(model->own.lines.volume_a * (1.0 + x[STATE_line_a_compression]),
                                           model->own.lines.volume_b * (1.0 + x[STATE_line_b_compression]));
  signals[SIGNAL_line_pressure_difference] = now->drop;
  signals[SIGNAL_pump_stroke] = x[STATE_pump_stroke];
  signals[SIGNAL_stroke_command] = e->commands.stroke;
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
  signals[SIGNAL_pedal] = e->commands.demand.pedal;
  signals[SIGNAL_brake] = e->commands.brake;
  signals[SIGNAL_exhaust_brake] = e->channels[CHANNEL_exhaust_brake];
  signals[SIGNAL_vehicle_speed] = now->speed;
  signals[SIGNAL_vehicle_distance] = x[STATE_vehicle_distance];
  signals[SIGNAL_vehicle_acceleration] = acceleration_of(model, e, now);
  signals[SIGNAL_grade] = now->grade;
  signals[SIGNAL_wheel_speed] = now->axles[0].wheel_speed;
  signals[SIGNAL_wheel_slip] = e->axles[0].slip;
  signals[SIGNAL_traction_force] = e->axles[0].traction;
  signals[SIGNAL_brake_torque] = e->axles[0].brake_torque + (two_axles ? e->axles[1].brake_torque : broadcast(0.0));
  signals[SIGNAL_relief_a_flow] = e->relief_a;
  signals[SIGNAL_relief_b_flow] = e->relief_b;
  signals[SIGNAL_relief_a_lift] = x[STATE_RELIEF_A + relief_position];
  signals[SIGNAL_relief_b_lift] = x[STATE_RELIEF_B + relief_position];
  signals[SIGNAL_limiter_a] = x[STATE_limiter_a];
  signals[SIGNAL_limiter_b] = x[STATE_limiter_b];
  signals[SIGNAL_check_a_flow] = e->check_a;
  signals[SIGNAL_check_b_flow] = e->check_b;
  signals[SIGNAL_charge_flow] = e->charge_flow;
  signals[SIGNAL_charge_relief_flow] = e->charge_relief_flow;
  signals[SIGNAL_flush_flow] = e->flush_a + e->flush_b;
  signals[SIGNAL_case_flow] = e->case_flow;
  signals[SIGNAL_loop_oil_temperature] = now->heat.loop;
  signals[SIGNAL_tank_oil_temperature] = now->heat.tank;
  signals[SIGNAL_loop_heat] = loop_losses(model, e, now);
  signals[SIGNAL_tank_oil] = x[STATE_tank_oil];
  signals[SIGNAL_oil_viscosity] = now->viscosity / model->oil.density;
  signals[SIGNAL_park_brake] = e->channels[CHANNEL_park_brake];
  signals[SIGNAL_relief_a_poppet] = x[STATE_RELIEF_A + relief_position];
  signals[SIGNAL_relief_b_poppet] = x[STATE_RELIEF_B + relief_position];
  signals[SIGNAL_filter_drop] = e->filter_drop;
  signals[SIGNAL_filter_bypass] = filter_bypass_share(&model->own.filter, e->filter_drop, e->charge_flow);
  signals[SIGNAL_hose_flow] = e->hose_a + e->hose_b;
  signals[SIGNAL_drawbar_force] = now->pull;
  signals[SIGNAL_gallery_temperature] = now->heat.gallery;
  signals[SIGNAL_loop_metal_temperature] = x[STATE_loop_metal_temperature];
  signals[SIGNAL_case_temperature] = x[STATE_case_temperature];
  signals_of_laws(model, mode, x, now, e, signals);
}

/* What the smoke limit and the implement do to the engine. */
static inline void engine_load_events(const struct transmission_model *model, const struct transmission_mode *mode,
                                      real t, const real *x, real *values) {
  const struct transmission_parameters *own = &model->own;
  values[EVENT_smoke_limit] = broadcast(-1.0);
  values[EVENT_implement_lugs] = broadcast(-1.0);
  bool turbocharged = own->turbocharger.fitted == TURBOCHARGER_FITTED;
  if (!turbocharged && own->implement.law == IMPLEMENT_NONE) {
    return;
  }
  real moved[CHANNEL_COUNT];
  const real *channels = transmission_channel_values(mode, t, moved);
  real speed = x[STATE_engine_speed];
  real asked = engine_asked_fuel(&own->engine, speed, set_speed_share(own, channels), x[STATE_governor_integral]);
  if (turbocharged) {
    values[EVENT_smoke_limit] =
        select_where(mode->burning, clamp01(asked) - smoke_limit_of(model, x) - SMOKE_LIMIT_BAND, broadcast(-1.0));
  }
  if (own->implement.law != IMPLEMENT_NONE) {
    real part = implement_torque_of(model, channels, speed) / larger(engine_full_torque(&own->engine, speed), 1.0);
    values[EVENT_implement_lugs] =
        select_where(mode->burning, smaller(asked - 1.0, part / IMPLEMENT_COUNTS_SHARE - 1.0), broadcast(-1.0));
  }
}

/* How near the transfer case's clutch is to slipping: above zero beyond 99 % of its capacity. */
static inline real transfer_slip_event(const struct transmission_model *model, const struct transmission_mode *mode,
                                       real t, const real *x) {
  const struct transfer_case_parameters *box = &model->own.transfer_case;
  if (!model->transfers || !transfer_case_slips(box)) {
    return broadcast(-1.0);
  }
  struct clutch clutch = transfer_case_clutch(box);
  real lever = piece_at(&mode->channels[CHANNEL_transfer_clutch].piece, t);
  return select_where(lever > 0.01, fabs(x[STATE_transfer_torque]) / clutch_capacity(&clutch, lever) - 0.99,
                      broadcast(-1.0));
}

/* Every event function: above zero while what its row calls rising holds. */
static inline void events_of(const struct transmission_model *model, const struct transmission_mode *mode, real t,
                             const real *x, const struct node_values *now, real *values) {
  const struct transmission_parameters *own = &model->own;
  bool limiter_on = own->limiter.fitted == LIMITER_FITTED;
  bool two_axles = model->axle_count > 1;
  real slips[AXLE_LIMIT] = {broadcast(0.0)};
  for (int i = 0; i < model->axle_count; i++) {
    slips[i] = own->tyre.law == TYRE_RELAXATION ? x[model->axles[i].tyre_slip]
                                                : tyre_slip(&own->tyre, now->axles[i].rim_speed, now->speed);
  }
  struct charge_supply supply = charge_supply_of(model, now, x, piece_at(&mode->channels[CHANNEL_charge_lost].piece, t),
                                                 piece_at(&mode->channels[CHANNEL_filter_blocked].piece, t));

  values[EVENT_relief_a] = now->relief_drop_a - own->relief.setting;
  values[EVENT_relief_b] = now->relief_drop_b - model->relief_b.setting;
  bool has_stop = relief_law_of(&own->relief)->position == RELIEF_BY_LIFT;
  values[EVENT_relief_a_stop] = has_stop ? x[STATE_RELIEF_A + RELIEF_LIFT] - own->relief.largest_lift : broadcast(-1.0);
  values[EVENT_relief_b_stop] = has_stop ? x[STATE_RELIEF_B + RELIEF_LIFT] - own->relief.largest_lift : broadcast(-1.0);
  values[EVENT_limiter_a] = limiter_on ? now->a_over_case - own->limiter.setting : broadcast(-1.0);
  values[EVENT_limiter_b] = limiter_on ? now->b_over_case - own->limiter.setting : broadcast(-1.0);
  values[EVENT_motor_override] =
      own->motor.override_line == OVERRIDE_OFF
          ? broadcast(-1.0)
          : motor_override_pressure(&own->motor, x[STATE_pump_stroke], now->axles[0].port_a, now->axles[0].port_b) -
                now->cases - own->motor.override_begin;
  values[EVENT_engine_overspeed] = now->engine_speed - own->engine.overspeed_alarm;
  values[EVENT_engine_backwards] = now->engine_speed + 0.5;
  values[EVENT_engine_underspeed] = now->engine_speed - own->engine.underspeed_alarm;
  values[EVENT_line_oil] =
      1.0 + smaller(smaller(x[STATE_line_a_compression], x[STATE_line_b_compression]), x[STATE_charge_compression]);
  values[EVENT_low_side] = smaller(now->a, now->b) - own->lines.starved_pressure;
  values[EVENT_charge_pressure] = now->gallery_over_case - own->charge.low_pressure;
  values[EVENT_wheel_slip] = fabs(slips[0]) - own->tyre.slip_alarm;
  values[EVENT_front_wheel_slip] = two_axles ? fabs(slips[1]) - own->tyre.slip_alarm : broadcast(-1.0);
  values[EVENT_wheel_lock] =
      larger(fabs(now->axles[0].rim_speed) - WHEEL_LOCK_SHARE * fabs(now->speed), WHEEL_LOCK_SPEED - fabs(now->speed));
  values[EVENT_rear_axle] = now->axles[0].contact.load - AXLE_CARRIES_SHARE * now->weight.load;
  values[EVENT_front_axle] =
      two_axles ? now->axles[1].contact.load - AXLE_CARRIES_SHARE * now->weight.load : broadcast(1.0);
  values[EVENT_brake_fade] =
      own->brake.heat == BRAKE_ONE_MASS
          ? larger(x[STATE_brake_temperature], x[STATE_front_brake_temperature]) - own->brake.fade_begin
          : broadcast(-1.0);
  engine_load_events(model, mode, t, x, values);
  values[EVENT_transfer_slip] = transfer_slip_event(model, mode, t, x);
  values[EVENT_filter_bypass] = supply.filter_drop - own->filter.bypass_crack;
  values[EVENT_case_pressure] = own->lines.cases == LINES_CASES_DRAINED
                                    ? now->cases - model->oil.ambient - own->lines.case_alarm
                                    : broadcast(-1.0);
  values[EVENT_tank_oil] = own->lines.starved_flow == LINES_BY_CONTENT
                               ? x[STATE_tank_oil] - own->lines.tank_reserve * own->lines.tank_volume
                               : broadcast(1.0);
  values[EVENT_charge_filling] = supply.filled - CHARGE_FILLS_SHARE * own->charge.displacement;
  values[EVENT_underspeed_control] =
      own->swash.underspeed == SWASH_UNDERSPEED_ON ? now->engine_speed - own->swash.underspeed_high : broadcast(1.0);
  control_events(model, mode, t, x, now->axles[0].rim_speed, values);
}

/* Losses, speed and drop of the machine whose map's guards these are: 0 the pump, 1 and 2 the motors. */
static inline const struct rotary_losses *mapped(const struct transmission_model *model, const real *x, int i,
                                                 real *speed) {
  if (i == 0) {
    *speed = x[STATE_engine_speed];
    return &model->pump_losses;
  }
  const struct axle *axle = &model->axles[i - 1];
  if (i > model->axle_count || axle->motor == NULL) {
    return NULL;
  }
  *speed = axle->driveline->ratio * x[axle->wheel_speed];
  if (i == 1 && model->transfers) {
    const struct axle *front = &model->axles[1];
    *speed = transfer_case_speed(&model->own.transfer_case, *speed, front->driveline->ratio * x[front->wheel_speed]);
  }
  if (i == 1 && model->geared) {
    *speed = x[STATE_motor_shaft_speed];
  }
  return &axle->motor_losses;
}

/* Line A over line B, Pa, of a full state vector. */
static inline real line_drop(const struct transmission_model *model, const real *x) {
  return fluid_pressure(&model->oil, x[STATE_line_a_compression]) -
         fluid_pressure(&model->oil, x[STATE_line_b_compression]);
}

/* How far pump and motors are inside their maps, as shares; below zero they have left them. */
static inline void map_guards(const struct transmission_model *model, const real *x, real *values) {
  if (!model->has_maps) {
    for (int i = GUARD_PUMP_MAP_SPEED; i < GUARD_COUNT; i++) {
      values[i] = broadcast(1.0);
    }
    return;
  }
  for (int i = 0; i <= AXLE_LIMIT; i++) {
    real speed = broadcast(0.0);
    const struct rotary_losses *losses = mapped(model, x, i, &speed);
    bool asks = losses != NULL && losses->map != NULL;
    values[GUARD_PUMP_MAP_SPEED + 2 * i] = asks ? rotary_map_speed_room(losses, speed) : broadcast(1.0);
    values[GUARD_PUMP_MAP_PRESSURE + 2 * i] =
        asks ? rotary_map_pressure_room(losses, line_drop(model, x)) : broadcast(1.0);
  }
}

/* Torque with which loop and charge gallery turn a shaft at rest, over the crank-over torque, either way. */
static inline real crank_over_share(const struct transmission_model *model, const real *x) {
  const struct transmission_parameters *own = &model->own;
  real gallery = fluid_pressure(&model->oil, x[STATE_charge_compression]) - model->oil.ambient;
  real torque = pump_pressure_torque(own->pump.displacement, x[STATE_pump_stroke], line_drop(model, x)) +
                charge_pump_pressure_torque(own->charge.displacement, gallery);
  return fabs(torque) / own->engine.crank_over_torque;
}

/* Those of the driver. */
static inline void driver_guards(const struct transmission_model *model, const struct transmission_mode *mode,
                                 const real *x, real *values) {
  const struct driver_parameters *driver = &model->own.driver;
  const struct driver_intent *intent = &mode->driver;
  if (driver->drives != DRIVER_DRIVES) {
    for (int i = GUARD_STRETCH_AHEAD; i <= GUARD_DRIVER_BRAKES; i++) {
      values[i] = broadcast(1.0);
    }
    return;
  }
  real speed = intent->direction * x[STATE_vehicle_speed];
  real felt = intent->direction * x[STATE_felt_speed];
  real seen = driver_sees(driver, intent, x[STATE_vehicle_distance], x[STATE_felt_speed]);
  struct driver_excess excess =
      driver_excess_of(driver, felt, driver_wanted(driver, intent, seen), x[STATE_engine_speed]);
  real rest = intent->stop - intent->direction * x[STATE_vehicle_distance];
  values[GUARD_STRETCH_AHEAD] = intent->high - seen;
  values[GUARD_STRETCH_BEHIND] = seen - intent->low;
  values[GUARD_ARRIVES] = driver_arrival_guard(driver, intent, rest, speed);
  values[GUARD_DRIVER_BRAKES] =
      driver_brake_guard(driver, intent, intent->direction * x[STATE_driver_pedal], x[STATE_driver_brake], excess);
}

/* The functions that fall when the mode must change. */
static inline void guards_of(const struct transmission_model *model, const struct transmission_mode *mode,
                             const real *x, real *values) {
  const struct engine_parameters *engine = &model->own.engine;
  real s = x[STATE_vehicle_distance];
  real half = 0.5 * model->own.ground.wheelbase;
  real speed = x[STATE_engine_speed];
  values[GUARD_REAR_AHEAD] = mode->rear.piece.high - (s - half);
  values[GUARD_REAR_BEHIND] = (s - half) - mode->rear.piece.low;
  /* At one point there is no front axle. */
  values[GUARD_FRONT_AHEAD] = select_where(half > 0.0, mode->front.piece.high - (s + half), broadcast(1.0));
  values[GUARD_FRONT_BEHIND] = select_where(half > 0.0, (s + half) - mode->front.piece.low, broadcast(1.0));
  for (int i = 0; i < SOIL_TABLES; i++) {
    values[GUARD_GRIP_AHEAD + 2 * i] = mode->soil[i].high - s;
    values[GUARD_GRIP_BEHIND + 2 * i] = s - mode->soil[i].low;
  }
  values[GUARD_STALL] = engine->stall == ENGINE_NO_STALL
                            ? broadcast(1.0)
                            : select_where(mode->burning, speed - engine->stall_speed, broadcast(1.0));
  values[GUARD_REST] = broadcast(1.0);
  values[GUARD_CRANKED] = broadcast(1.0);
  if (engine->stall == ENGINE_HELD && !mask_none(mask_not(mode->burning))) {
    real pull = crank_over_share(model, x);
    mask out = mask_not(mode->burning);
    mask may_rest = out & mask_not(mode->held | mode->starting);
    values[GUARD_REST] =
        select_where(may_rest, larger(fabs(speed) / ENGINE_REST_SPEED - 1.0, pull - ENGINE_REST_SHARE), broadcast(1.0));
    values[GUARD_CRANKED] = select_where(out & mode->held, 1.0 - pull, broadcast(1.0));
  }
  /* 5 % above the stall speed, so that it does not stall again at once. */
  values[GUARD_FIRES] =
      select_where(mask_not(mode->burning) & mode->starting, 1.05 * engine->stall_speed - speed, broadcast(1.0));
  values[GUARD_COMMAND_SIDE] = broadcast(1.0);
  if (model->own.limiter.law == LIMITER_DRIVEN_SIDE && model->own.limiter.side == LIMITER_BY_COMMAND) {
    real command = x[STATE_control_pressure];
    values[GUARD_COMMAND_SIDE] = LIMITER_COMMAND_BAND + select_where(mode->command_forward, command, -command);
  }
  values[GUARD_FUEL_MAP_SPEED] = broadcast(1.0);
  values[GUARD_FUEL_MAP_TORQUE] = broadcast(1.0);
  if (model->own.fuel.law == FUEL_MAP) {
    real share = select_where(mode->burning, x[STATE_fuel], broadcast(0.0));
    real friction = engine_friction(engine, speed);
    real torque = engine_combustion(share, engine_full_torque(engine, speed), friction) - friction;
    values[GUARD_FUEL_MAP_SPEED] = fuel_map_speed_room(&model->own.fuel, share, speed);
    values[GUARD_FUEL_MAP_TORQUE] = fuel_map_torque_room(&model->own.fuel, torque);
  }
  values[GUARD_GEAR] = select_where(mode->shift_due, broadcast(-1.0), broadcast(1.0));
  driver_guards(model, mode, x, values);
  map_guards(model, x, values);
}

/* Where the results go; NULL: not wanted. */
struct evaluations {
  real *powers;  /* W, of the ledger rows that are integrated */
  real *signals; /* SI */
  real *events;  /* above zero while what a row calls rising holds */
  real *guards;  /* positive while the mode holds */
};

/* All that is asked of an instant, from one pass over the circuit. Inlined, so that each caller asks only for its own.
 */
__attribute__((always_inline)) static inline void evaluate_all(const struct transmission_model *model,
                                                               const struct transmission_mode *mode, real t,
                                                               const real *state, struct evaluations to) {
  real x[STATE_COUNT];
  struct node_values now;
  struct element_outputs e;
  transmission_spread(model, state, x);
  if (to.powers != NULL || to.signals != NULL || to.events != NULL) {
    node_values_of(model, mode, t, x, &now);
  }
  if (to.powers != NULL || to.signals != NULL) {
    element_outputs_of(model, mode, &now, t, x, &e);
  }
  if (to.powers != NULL) {
    powers_of(model, mode, x, &now, &e, to.powers);
  }
  if (to.signals != NULL) {
    signals_of(model, mode, x, &now, &e, to.signals);
  }
  if (to.events != NULL) {
    events_of(model, mode, t, x, &now, to.events);
  }
  if (to.guards != NULL) {
    guards_of(model, mode, x, to.guards);
  }
}

#endif
