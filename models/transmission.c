/* The circuit: an over-centre pump on a diesel engine, a bent-axis motor on the wheels, two main lines with relief
 * valves, a charge circuit with check valves, loop flushing, pressure limiter, servos, a machine on a grade. Wiring
 * only: every formula stands in its component's file.
 *
 * Three passes. Stores give potentials (pressures, speeds, temperatures); elements turn potentials into flows, torques
 * and heat; stores turn those into derivatives. So there is no loop to solve and no order to get wrong, and what one
 * element gives another takes: oil and energy close by construction.
 *
 * Signs: forward drive turns everything positive; flow is positive out of the pump's port A; drop = p_A - p_B. Inside,
 * pressures are absolute. */
#include "transmission.h"

static const struct group transmission_groups[] = {
#define COMPONENT_GROUP(name, text)                                                                                    \
  {#name, text, name##_fields, FIELD_COUNT(name##_fields), offsetof(struct transmission_parameters, name)},
    TRANSMISSION_COMPONENTS(COMPONENT_GROUP)
#undef COMPONENT_GROUP
};

static const struct state_row transmission_states[] = {
#define STATE_ROW(id, unit, tolerance, text) {#id, unit, tolerance, text},
    TRANSMISSION_STATES(STATE_ROW)
#undef STATE_ROW
};

static const struct signal transmission_signals[] = {
#define SIGNAL_ROW(id, quantity, reference, text) {#id, QUANTITY_##quantity, REFERENCE_##reference, text},
    TRANSMISSION_SIGNALS(SIGNAL_ROW)
#undef SIGNAL_ROW
};

static const struct ledger_row transmission_ledger[] = {
#define LEDGER_ROW(id, kind, text) {#id, LEDGER_##kind, text},
    TRANSMISSION_LEDGER(LEDGER_ROW)
#undef LEDGER_ROW
};

static const struct event_row transmission_events[] = {
#define EVENT_ROW(id, rising, falling, signal) {#id, rising, falling, signal},
    TRANSMISSION_EVENTS(EVENT_ROW)
#undef EVENT_ROW
};

static const char *const transmission_channels[] = {
#define CHANNEL_NAME(name) #name,
    OPERATOR_CHANNELS(CHANNEL_NAME)
#undef CHANNEL_NAME
};

static const enum quantity transmission_channel_quantities[CHANNEL_COUNT] = {
#define CHANNEL_QUANTITY(name) QUANTITY_FRACTION,
    OPERATOR_CHANNELS(CHANNEL_QUANTITY)
#undef CHANNEL_QUANTITY
};

/* Stores' potentials. */
struct potentials {
  real engine_speed;
  real a, b, gallery; /* Pa absolute */
  real drop;
  real a_over_case, b_over_case, gallery_over_case, gallery_over_tank;
  real loop, tank; /* K */
  real viscosity;
  real wheel_speed, motor_speed, rim_speed, speed;
  real grade;
  struct vehicle_weight weight;
};

/* Everything that elements give. */
struct efforts {
  real channels[CHANNEL_COUNT];
  struct operator_demand demand;
  real motor_command;
  struct limiter_action limiter;
  real stroke_rate, servo_flow;
  real engine_friction, combustion, exhaust_brake, auxiliaries;
  real pump_flow, pump_slip, pump_case_a, pump_case_b, pump_torque_loss, pump_torque;
  real charge_flow, charge_torque_loss, charge_torque, charge_relief_flow;
  real check_a, check_b;
  real motor_flow, motor_slip, motor_case_a, motor_case_b, motor_torque_loss, motor_torque;
  real relief_drop_a, relief_drop_b, relief_a, relief_b;
  real flush_a, flush_b;
  real loop_outflow; /* what leaves the loop through the case: leakage and flushing */
  real case_flow;    /* all that returns through the case, with servo oil and the charge relief's */
  real drive_torque, gear_loss, brake_torque;
  real slip, slip_rate, curve_force, traction, rolling;
};

static inline struct potentials potentials_of(const struct transmission_model *model,
                                              const struct transmission_mode *mode, const real *x) {
  struct potentials now;
  const struct transmission_parameters *own = &model->own;
  now.engine_speed = x[STATE_engine_speed];
  now.a = fluid_pressure(&model->oil, x[STATE_line_a_compression]);
  now.b = fluid_pressure(&model->oil, x[STATE_line_b_compression]);
  now.gallery = fluid_pressure(&model->oil, x[STATE_charge_compression]);
  now.drop = now.a - now.b;
  now.a_over_case = now.a - model->case_pressure;
  now.b_over_case = now.b - model->case_pressure;
  now.gallery_over_case = now.gallery - model->case_pressure;
  now.gallery_over_tank = now.gallery - model->oil.ambient;
  now.loop = x[STATE_loop_temperature];
  now.tank = x[STATE_tank_temperature];
  now.viscosity = fluid_viscosity(&model->oil, now.loop);
  now.wheel_speed = x[STATE_wheel_speed];
  now.motor_speed = own->driveline.ratio * now.wheel_speed;
  now.rim_speed = own->driveline.wheel_radius * now.wheel_speed;
  now.speed = x[STATE_vehicle_speed];
  now.grade = ground_grade(own->ground.wheelbase, &mode->rear, &mode->front, x[STATE_vehicle_distance]);
  now.weight = vehicle_weight_on(&own->vehicle, now.grade);
  return now;
}

static inline struct efforts efforts_of(const struct transmission_model *model, const struct transmission_mode *mode,
                                        const struct potentials *now, real t, const real *x) {
  const struct transmission_parameters *own = &model->own;
  struct efforts e;

  transmission_channel_values(mode, t, e.channels);
  e.demand = operator_demand_of(&own->operator, own->motor.smallest, e.channels);
  e.motor_command = mode->motor_waits ? smaller(e.demand.motor_command, mode->motor_waits_at) : e.demand.motor_command;

  e.limiter = limiter_act(&own->limiter, x[STATE_control_pressure], mode->command_forward, x[STATE_pump_stroke],
                          x[STATE_limiter_a], x[STATE_limiter_b]);
  e.stroke_rate =
      swash_stroke_rate(&own->swash, &own->limiter, x[STATE_pump_stroke], e.limiter, now->gallery_over_case);
  e.servo_flow = swash_servo_flow(&own->swash, e.stroke_rate, now->gallery_over_case);

  e.engine_friction = engine_friction(&own->engine, now->engine_speed);
  e.combustion = mode->burning ? engine_combustion(x[STATE_fuel], engine_full_torque(&own->engine, now->engine_speed),
                                                   e.engine_friction)
                               : 0.0;
  e.exhaust_brake = engine_exhaust_brake(&own->engine, now->engine_speed, e.channels[CHANNEL_exhaust_brake]);
  e.auxiliaries = engine_auxiliaries(&own->engine, now->engine_speed);

  e.pump_flow = pump_displaced_flow(own->pump.displacement, x[STATE_pump_stroke], now->engine_speed);
  e.pump_slip = rotary_slip_flow(&model->pump_losses, now->drop, now->viscosity);
  e.pump_case_a = rotary_case_flow(&model->pump_losses, now->a_over_case, now->viscosity);
  e.pump_case_b = rotary_case_flow(&model->pump_losses, now->b_over_case, now->viscosity);
  e.pump_torque_loss = rotary_torque_loss(&model->pump_losses, now->drop, now->engine_speed, now->viscosity);
  e.pump_torque = pump_pressure_torque(own->pump.displacement, x[STATE_pump_stroke], now->drop) + e.pump_torque_loss;

  e.charge_flow = charge_pump_flow(&own->charge, now->engine_speed, now->gallery_over_tank);
  e.charge_torque_loss = charge_pump_torque_loss(&own->charge, now->engine_speed, own->engine.speed_width);
  e.charge_torque = charge_pump_pressure_torque(&own->charge, now->gallery_over_tank) + e.charge_torque_loss;
  e.charge_relief_flow =
      charge_relief_flow(&own->charge, x[STATE_charge_relief_opening], now->gallery_over_case);
  e.check_a = check_valve_flow(&own->charge, now->gallery - now->a);
  e.check_b = check_valve_flow(&own->charge, now->gallery - now->b);

  e.motor_flow = motor_displaced_flow(own->motor.displacement, x[STATE_motor_displacement], now->motor_speed);
  e.motor_slip = rotary_slip_flow(&model->motor_losses, now->drop, now->viscosity);
  e.motor_case_a = rotary_case_flow(&model->motor_losses, now->a_over_case, now->viscosity);
  e.motor_case_b = rotary_case_flow(&model->motor_losses, now->b_over_case, now->viscosity);
  e.motor_torque_loss = rotary_torque_loss(&model->motor_losses, now->drop, now->motor_speed, now->viscosity);
  e.motor_torque =
      motor_pressure_torque(own->motor.displacement, x[STATE_motor_displacement], now->drop) - e.motor_torque_loss;

  bool to_gallery = own->relief.return_to == RELIEF_TO_GALLERY;
  e.relief_drop_a = to_gallery ? now->a - now->gallery : now->drop;
  e.relief_drop_b = to_gallery ? now->b - now->gallery : -now->drop;
  e.relief_a = relief_flow(&own->relief, x[STATE_relief_a_opening], e.relief_drop_a);
  e.relief_b = relief_flow(&own->relief, x[STATE_relief_b_opening], e.relief_drop_b);

  e.flush_a =
      flushing_flow(&own->flushing, flushing_opening(&own->flushing, -x[STATE_flushing_shuttle]), now->a_over_case);
  e.flush_b =
      flushing_flow(&own->flushing, flushing_opening(&own->flushing, x[STATE_flushing_shuttle]), now->b_over_case);
  e.loop_outflow = e.pump_case_a + e.pump_case_b + e.motor_case_a + e.motor_case_b + e.flush_a + e.flush_b;
  e.case_flow = e.loop_outflow + e.charge_relief_flow + e.servo_flow;

  e.drive_torque = own->driveline.ratio * e.motor_torque;
  e.gear_loss = driveline_loss(&own->driveline, e.drive_torque, now->wheel_speed);
  e.brake_torque = own->brake.law == BRAKE_STICK
                       ? brake_stick_torque(&own->brake, e.channels[CHANNEL_brake], mode->brake_off,
                                            x[STATE_brake_torque], now->wheel_speed)
                       : brake_smoothed_torque(&own->brake, e.channels[CHANNEL_brake], now->wheel_speed);

  if (own->tyre.law == TYRE_RELAXATION) {
    e.slip = x[STATE_tyre_slip];
    e.slip_rate = tyre_slip_rate(&own->tyre, e.slip, now->rim_speed, now->speed);
    e.curve_force = tyre_curve(&own->tyre, e.slip, now->weight.load);
    e.traction = e.curve_force +
                 tyre_damping(&own->tyre, e.slip, e.slip_rate, now->rim_speed, now->speed, now->weight.load);
  } else {
    e.slip = tyre_slip(&own->tyre, now->rim_speed, now->speed);
    e.slip_rate = 0.0;
    e.curve_force = tyre_curve(&own->tyre, e.slip, now->weight.load);
    e.traction = e.curve_force;
  }
  e.rolling = tyre_rolling_resistance(&own->tyre, now->speed, now->weight.load);
  return e;
}

static inline real pump_leak_power(const struct efforts *e, const struct potentials *now) {
  return e->pump_slip * now->drop + e->pump_case_a * now->a_over_case + e->pump_case_b * now->b_over_case;
}

static inline real motor_leak_power(const struct efforts *e, const struct potentials *now) {
  return e->motor_slip * now->drop + e->motor_case_a * now->a_over_case + e->motor_case_b * now->b_over_case;
}

static inline real check_power(const struct efforts *e, const struct potentials *now) {
  return e->check_a * (now->gallery - now->a) + e->check_b * (now->gallery - now->b);
}

static inline real flush_power(const struct efforts *e, const struct potentials *now) {
  return e->flush_a * now->a_over_case + e->flush_b * now->b_over_case;
}

static inline real charge_pump_power(const struct transmission_parameters *own, const struct efforts *e,
                                     const struct potentials *now) {
  return e->charge_torque_loss * now->engine_speed +
         own->charge.leak * now->gallery_over_tank * now->gallery_over_tank;
}

/* Heat made in the loop, W. */
static inline real loop_losses(const struct efforts *e, const struct potentials *now) {
  return e->pump_torque_loss * now->engine_speed + pump_leak_power(e, now) + e->motor_torque_loss * now->motor_speed +
         motor_leak_power(e, now) + e->relief_a * e->relief_drop_a + e->relief_b * e->relief_drop_b +
         check_power(e, now) + flush_power(e, now);
}

/* Heat made in charge circuit and case, W. */
static inline real tank_losses(const struct transmission_model *model, const struct efforts *e,
                               const struct potentials *now) {
  return charge_pump_power(&model->own, e, now) + (e->charge_relief_flow + e->servo_flow) * now->gallery_over_case +
         e->case_flow * (model->case_pressure - model->oil.ambient);
}

static void transmission_rates(const void *model_, const void *mode_, real t, const real *state, real *rates) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  real d[STATE_COUNT];
  transmission_spread(model, state, x);
  struct potentials now = potentials_of(model, mode, x);
  struct efforts e = efforts_of(model, mode, &now, t, x);
  bool to_gallery = own->relief.return_to == RELIEF_TO_GALLERY;

  d[STATE_engine_speed] =
      mode->held ? 0.0
                 : (e.combustion - e.engine_friction - e.exhaust_brake - e.auxiliaries - e.pump_torque - e.charge_torque) /
                       own->engine.inertia;
  d[STATE_fuel] = engine_fuel_rate(&own->engine, x[STATE_fuel], now.engine_speed, e.channels[CHANNEL_throttle],
                                   mode->burning);
  d[STATE_line_a_compression] = volume_compression_rate(
      own->lines.volume_a, e.pump_flow - e.pump_slip - e.pump_case_a - e.motor_flow - e.motor_slip - e.motor_case_a -
                               e.relief_a + (to_gallery ? 0.0 : e.relief_b) + e.check_a - e.flush_a);
  d[STATE_line_b_compression] = volume_compression_rate(
      own->lines.volume_b, -e.pump_flow + e.pump_slip - e.pump_case_b + e.motor_flow + e.motor_slip - e.motor_case_b -
                               e.relief_b + (to_gallery ? 0.0 : e.relief_a) + e.check_b - e.flush_b);
  d[STATE_charge_compression] = volume_compression_rate(
      own->lines.volume_charge, e.charge_flow - e.check_a - e.check_b - e.charge_relief_flow - e.servo_flow +
                                    (to_gallery ? e.relief_a + e.relief_b : 0.0));
  d[STATE_control_pressure] = swash_control_rate(&own->swash, x[STATE_control_pressure], e.demand.stroke);
  d[STATE_pump_stroke] = e.stroke_rate;
  d[STATE_limiter_a] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_a], now.a_over_case);
  d[STATE_limiter_b] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_b], now.b_over_case);
  d[STATE_motor_override] =
      motor_override_rate(&own->motor, x[STATE_motor_override],
                          motor_override_pressure(&own->motor, x[STATE_pump_stroke], now.a, now.b) -
                              model->case_pressure);
  d[STATE_motor_displacement] =
      motor_share_rate(&own->motor, x[STATE_motor_displacement], e.motor_command, x[STATE_motor_override]);
  d[STATE_relief_a_opening] = relief_opening_rate(&own->relief, x[STATE_relief_a_opening], e.relief_drop_a);
  d[STATE_relief_b_opening] = relief_opening_rate(&own->relief, x[STATE_relief_b_opening], e.relief_drop_b);
  d[STATE_charge_relief_opening] =
      charge_relief_opening_rate(&own->charge, x[STATE_charge_relief_opening], now.gallery_over_case);
  d[STATE_flushing_shuttle] = flushing_shuttle_rate(&own->flushing, x[STATE_flushing_shuttle], now.drop);
  d[STATE_wheel_speed] =
      (e.drive_torque - e.gear_loss - own->driveline.wheel_radius * e.traction - e.brake_torque) /
      own->driveline.wheel_inertia;
  d[STATE_vehicle_speed] = (e.traction - e.rolling - now.weight.slope) / own->vehicle.mass;
  d[STATE_vehicle_distance] = now.speed;
  d[STATE_loop_temperature] = heat_loop_rate(&own->heat, loop_losses(&e, &now),
                                             model->oil.heat_per_volume * (e.check_a + e.check_b), now.loop, now.tank);
  d[STATE_tank_temperature] = heat_tank_rate(&own->heat, tank_losses(model, &e, &now),
                                             model->oil.heat_per_volume * e.loop_outflow, now.loop, now.tank);
  d[STATE_tank_oil] = e.case_flow - e.charge_flow;
  d[STATE_tyre_slip] = e.slip_rate;
  d[STATE_brake_torque] = brake_torque_rate(&own->brake, e.channels[CHANNEL_brake], mode->brake_off,
                                            x[STATE_brake_torque], now.wheel_speed);
  for (int i = 0; i < model->active_count; i++) {
    rates[i] = d[model->active[i]];
  }
}

static void transmission_powers(const void *model_, const void *mode_, real t, const real *state, real *p) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  struct potentials now = potentials_of(model, mode, x);
  struct efforts e = efforts_of(model, mode, &now, t, x);

  p[LEDGER_combustion] = e.combustion * now.engine_speed;
  p[LEDGER_slope] = -now.weight.slope * now.speed;
  p[LEDGER_engine_friction] = e.engine_friction * now.engine_speed;
  p[LEDGER_exhaust_brake] = e.exhaust_brake * now.engine_speed;
  p[LEDGER_auxiliaries] = e.auxiliaries * now.engine_speed;
  p[LEDGER_pump_friction] = e.pump_torque_loss * now.engine_speed;
  p[LEDGER_pump_leakage] = pump_leak_power(&e, &now);
  p[LEDGER_charge_pump] = charge_pump_power(own, &e, &now);
  p[LEDGER_charge_relief] = e.charge_relief_flow * now.gallery_over_case;
  p[LEDGER_check_valves] = check_power(&e, &now);
  p[LEDGER_relief_a] = e.relief_a * e.relief_drop_a;
  p[LEDGER_relief_b] = e.relief_b * e.relief_drop_b;
  p[LEDGER_flushing] = flush_power(&e, &now);
  p[LEDGER_swash_servo] = e.servo_flow * now.gallery_over_case;
  p[LEDGER_case_return] = e.case_flow * (model->case_pressure - model->oil.ambient);
  p[LEDGER_motor_friction] = e.motor_torque_loss * now.motor_speed;
  p[LEDGER_motor_leakage] = motor_leak_power(&e, &now);
  p[LEDGER_gear] = e.gear_loss * now.wheel_speed;
  real brake_winds = own->brake.law == BRAKE_STICK && own->brake.torque > 0.0
                         ? x[STATE_brake_torque] *
                               brake_torque_rate(&own->brake, e.channels[CHANNEL_brake], mode->brake_off,
                                                 x[STATE_brake_torque], now.wheel_speed) /
                               brake_stiffness(&own->brake)
                         : 0.0;
  p[LEDGER_brake] = e.brake_torque * now.wheel_speed - brake_winds;
  real tyre_deflects = e.curve_force * own->tyre.relaxation_length * e.slip_rate;
  p[LEDGER_tyre_slip] = e.traction * (now.rim_speed - now.speed) - tyre_deflects;
  p[LEDGER_rolling] = e.rolling * now.speed;
  p[LEDGER_tyre_deflection] = tyre_deflects;
}

static void transmission_stored(const void *model_, const real *state, real *energies) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  real *stored = energies - LEDGER_INTEGRATED;
  stored[LEDGER_engine_motion] = 0.5 * own->engine.inertia * x[STATE_engine_speed] * x[STATE_engine_speed];
  stored[LEDGER_wheel_motion] = 0.5 * own->driveline.wheel_inertia * x[STATE_wheel_speed] * x[STATE_wheel_speed];
  stored[LEDGER_vehicle_motion] = 0.5 * own->vehicle.mass * x[STATE_vehicle_speed] * x[STATE_vehicle_speed];
  stored[LEDGER_compression] =
      own->lines.volume_a * fluid_stored_energy(&model->oil, x[STATE_line_a_compression]) +
      own->lines.volume_b * fluid_stored_energy(&model->oil, x[STATE_line_b_compression]) +
      own->lines.volume_charge * fluid_stored_energy(&model->oil, x[STATE_charge_compression]);
  stored[LEDGER_tank] = model->oil.ambient * x[STATE_tank_oil];
  stored[LEDGER_brake_wind_up] = brake_stored_energy(&own->brake, x[STATE_brake_torque]);
}

static real transmission_oil(const void *model_, const real *state) {
  const struct transmission_model *model = model_;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  return x[STATE_tank_oil] + model->own.lines.volume_a * x[STATE_line_a_compression] +
         model->own.lines.volume_b * x[STATE_line_b_compression] +
         model->own.lines.volume_charge * x[STATE_charge_compression];
}

static void transmission_signals_at(const void *model_, const void *mode_, real t, const real *state, real *out) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  struct potentials now = potentials_of(model, mode, x);
  struct efforts e = efforts_of(model, mode, &now, t, x);
  real ambient = model->oil.ambient;

  out[SIGNAL_line_a_pressure] = now.a - ambient;
  out[SIGNAL_line_b_pressure] = now.b - ambient;
  out[SIGNAL_charge_pressure] = now.gallery - ambient;
  out[SIGNAL_low_side_pressure] = smaller(now.a, now.b) - ambient;
  out[SIGNAL_line_pressure_difference] = now.drop;
  out[SIGNAL_pump_stroke] = x[STATE_pump_stroke];
  out[SIGNAL_stroke_command] = e.demand.stroke;
  out[SIGNAL_pump_flow] = e.pump_flow - e.pump_slip - e.pump_case_a;
  out[SIGNAL_pump_torque] = e.pump_torque;
  out[SIGNAL_motor_displacement] = x[STATE_motor_displacement];
  out[SIGNAL_motor_speed] = now.motor_speed;
  out[SIGNAL_motor_flow] = e.motor_flow + e.motor_slip + e.motor_case_a;
  out[SIGNAL_motor_torque] = e.motor_torque;
  out[SIGNAL_motor_override] = x[STATE_motor_override];
  out[SIGNAL_engine_speed] = now.engine_speed;
  out[SIGNAL_engine_torque] = e.combustion - e.engine_friction - e.exhaust_brake - e.auxiliaries;
  out[SIGNAL_fuel_fraction] = x[STATE_fuel];
  out[SIGNAL_pedal] = e.demand.pedal;
  out[SIGNAL_brake] = e.channels[CHANNEL_brake];
  out[SIGNAL_exhaust_brake] = e.channels[CHANNEL_exhaust_brake];
  out[SIGNAL_vehicle_speed] = now.speed;
  out[SIGNAL_vehicle_distance] = x[STATE_vehicle_distance];
  out[SIGNAL_vehicle_acceleration] = (e.traction - e.rolling - now.weight.slope) / model->own.vehicle.mass;
  out[SIGNAL_grade] = now.grade;
  out[SIGNAL_wheel_speed] = now.wheel_speed;
  out[SIGNAL_wheel_slip] = e.slip;
  out[SIGNAL_traction_force] = e.traction;
  out[SIGNAL_brake_torque] = e.brake_torque;
  out[SIGNAL_relief_a_flow] = e.relief_a;
  out[SIGNAL_relief_b_flow] = e.relief_b;
  out[SIGNAL_relief_a_lift] = x[STATE_relief_a_opening];
  out[SIGNAL_relief_b_lift] = x[STATE_relief_b_opening];
  out[SIGNAL_limiter_a] = x[STATE_limiter_a];
  out[SIGNAL_limiter_b] = x[STATE_limiter_b];
  out[SIGNAL_check_a_flow] = e.check_a;
  out[SIGNAL_check_b_flow] = e.check_b;
  out[SIGNAL_charge_flow] = e.charge_flow;
  out[SIGNAL_charge_relief_flow] = e.charge_relief_flow;
  out[SIGNAL_flush_flow] = e.flush_a + e.flush_b;
  out[SIGNAL_case_flow] = e.case_flow;
  out[SIGNAL_loop_oil_temperature] = now.loop;
  out[SIGNAL_tank_oil_temperature] = now.tank;
  out[SIGNAL_loop_heat] = loop_losses(&e, &now);
  out[SIGNAL_tank_oil] = x[STATE_tank_oil];
}

static void transmission_events_at(const void *model_, const void *mode_, real t, const real *state, real *values) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  (void)t;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  struct potentials now = potentials_of(model, mode_, x);
  bool to_gallery = own->relief.return_to == RELIEF_TO_GALLERY;
  bool limiter_on = own->limiter.law != LIMITER_OFF;
  real slip = own->tyre.law == TYRE_RELAXATION ? x[STATE_tyre_slip] : tyre_slip(&own->tyre, now.rim_speed, now.speed);

  values[EVENT_relief_a] = (to_gallery ? now.a - now.gallery : now.drop) - own->relief.setting;
  values[EVENT_relief_b] = (to_gallery ? now.b - now.gallery : -now.drop) - own->relief.setting;
  values[EVENT_limiter_a] = limiter_on ? now.a_over_case - own->limiter.setting : -1.0;
  values[EVENT_limiter_b] = limiter_on ? now.b_over_case - own->limiter.setting : -1.0;
  values[EVENT_motor_override] =
      own->motor.override_line == OVERRIDE_OFF
          ? -1.0
          : motor_override_pressure(&own->motor, x[STATE_pump_stroke], now.a, now.b) - model->case_pressure -
                own->motor.override_begin;
  values[EVENT_standstill] = fabs(now.speed) - STANDSTILL_SPEED;
  values[EVENT_engine_overspeed] = now.engine_speed - own->engine.told_overspeed;
  values[EVENT_engine_underspeed] = now.engine_speed - own->engine.told_underspeed;
  values[EVENT_low_side] = smaller(now.a, now.b) - own->lines.starved_pressure;
  values[EVENT_charge_pressure] = now.gallery_over_case - own->charge.low_pressure;
  values[EVENT_wheel_slip] = fabs(slip) - own->tyre.told_slip;
}

const struct plant transmission_plant = {
    .name = "transmission",
    .text = "closed-loop hydrostatic transmission of a machine on a grade",
    .groups = transmission_groups,
    .group_count = FIELD_COUNT(transmission_groups),
    .parameter_size = sizeof(struct transmission_parameters),
    .model_size = sizeof(struct transmission_model),
    .mode_size = sizeof(struct transmission_mode),
    .states = transmission_states,
    .state_count = STATE_COUNT,
    .signals = transmission_signals,
    .signal_count = SIGNAL_COUNT,
    .ledger = transmission_ledger,
    .ledger_count = LEDGER_COUNT,
    .ledger_integrated = LEDGER_INTEGRATED,
    .events = transmission_events,
    .event_count = EVENT_COUNT,
    .channels = transmission_channels,
    .channel_quantities = transmission_channel_quantities,
    .channel_count = CHANNEL_COUNT,
    .prepare = transmission_prepare,
    .active_states = transmission_active_states,
    .start = transmission_start,
    .rates = transmission_rates,
    .powers = transmission_powers,
    .signals_at = transmission_signals_at,
    .events_at = transmission_events_at,
    .stored = transmission_stored,
    .oil = transmission_oil,
    .switch_count = SWITCH_COUNT,
    .next_time = transmission_next_time,
    .switches = transmission_switches,
    .change = transmission_change,
    .move = transmission_move,
    .release_time = transmission_release_time,
};
