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
#include "transmission_passes.h"

static const struct group transmission_groups[] = {
#define COMPONENT_GROUP(type, name, text)                                                                              \
  {#name, text, type##_fields, FIELD_COUNT(type##_fields), offsetof(struct transmission_parameters, name)},
    TRANSMISSION_COMPONENTS(COMPONENT_GROUP)
#undef COMPONENT_GROUP
};

static const struct state_row transmission_states[] = {
#define STATE_ROW(id, unit, tolerance, text) {#id, unit, tolerance, text},
    TRANSMISSION_STATES(STATE_ROW)
#undef STATE_ROW
};

static const struct strict_row transmission_strict[] = {
    {STATE_engine_speed, 0.01},      {STATE_vehicle_speed, 0.01},     {STATE_wheel_speed, 0.03},
    {STATE_front_wheel_speed, 0.03}, {STATE_line_a_compression, 0.1}, {STATE_line_b_compression, 0.1}};

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
#define EVENT_ROW(id, rising, falling, signal, hysteresis) {#id, rising, falling, signal, hysteresis},
    TRANSMISSION_EVENTS(EVENT_ROW)
#undef EVENT_ROW
};

static const char *const transmission_channels[] = {
#define CHANNEL_NAME(name, text) #name,
    OPERATOR_CHANNELS(CHANNEL_NAME) FAULT_CHANNELS(CHANNEL_NAME)
#undef CHANNEL_NAME
};

static const char *const transmission_channel_texts[] = {
#define CHANNEL_TEXT(name, text) text,
    OPERATOR_CHANNELS(CHANNEL_TEXT) FAULT_CHANNELS(CHANNEL_TEXT)
#undef CHANNEL_TEXT
};

static const enum quantity transmission_channel_quantities[CHANNEL_COUNT] = {
#define CHANNEL_QUANTITY(name, text) QUANTITY_FRACTION,
    OPERATOR_CHANNELS(CHANNEL_QUANTITY) FAULT_CHANNELS(CHANNEL_QUANTITY)
#undef CHANNEL_QUANTITY
};

static void transmission_rates(const void *model_, const void *mode_, real t, const real *state, real *rates) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  real d[STATE_COUNT];
  transmission_spread(model, state, x);
  struct potentials now;
  potentials_of(model, mode, t, x, &now);
  struct efforts e;
  efforts_of(model, mode, &now, t, x, &e);
  bool to_gallery = own->relief.return_to == RELIEF_TO_GALLERY;
  real throttle = e.channels[CHANNEL_throttle];
  real supply = mode->burning ? 1.0 - e.channels[CHANNEL_engine_off] : 0.0;
  real asked = engine_asked_fuel(&own->engine, now.engine_speed, throttle, x[STATE_governor_integral]);

  d[STATE_engine_speed] = mode->held ? 0.0
                                     : (e.combustion + e.starter - e.engine_friction - e.exhaust_brake - e.auxiliaries -
                                        e.pump_torque - e.charge_torque) /
                                           own->engine.inertia;
  d[STATE_fuel] = engine_fuel_rate(&own->engine, x[STATE_fuel], asked, supply);
  if (own->engine.governor == ENGINE_ISOCHRONOUS) {
    d[STATE_governor_integral] = engine_integral_rate(&own->engine, now.engine_speed, throttle, asked);
  }
  d[STATE_line_a_compression] = volume_compression_rate(
      own->lines.volume_a, e.pump_flow - e.pump_slip - e.pump_case_a - e.motor_flow_a - e.relief_a +
                               (to_gallery ? 0.0 : e.relief_b) + e.check_a - e.flush_a - e.hose_a);
  d[STATE_line_b_compression] = volume_compression_rate(
      own->lines.volume_b, -e.pump_flow + e.pump_slip - e.pump_case_b + e.motor_flow_b - e.relief_b +
                               (to_gallery ? 0.0 : e.relief_a) + e.check_b - e.flush_b - e.hose_b);
  d[STATE_charge_compression] = volume_compression_rate(
      own->lines.volume_charge, e.charge_flow - e.check_a - e.check_b - e.charge_relief_flow - e.servo_flow +
                                    (to_gallery ? e.relief_a + e.relief_b : 0.0));
  d[STATE_control_pressure] = swash_control_rate(&own->swash, x[STATE_control_pressure], e.demand.stroke);
  d[STATE_pump_stroke] = e.stroke_rate;
  if (own->swash.servo == SWASH_SECOND_ORDER) {
    d[STATE_swash_motion] = swash_motion_rate(&own->swash, &own->limiter, x[STATE_pump_stroke], x[STATE_swash_motion],
                                              e.limiter, now.gallery_over_case);
  }
  real alive = 1.0 - e.channels[CHANNEL_limiter_dead];
  d[STATE_limiter_a] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_a], now.a_over_case, alive);
  d[STATE_limiter_b] = limiter_pilot_rate(&own->limiter, x[STATE_limiter_b], now.b_over_case, alive);
  if (own->relief.law == RELIEF_POPPET) {
    d[STATE_relief_a_lift] = x[STATE_relief_a_speed];
    d[STATE_relief_b_lift] = x[STATE_relief_b_speed];
    d[STATE_relief_a_speed] =
        relief_poppet_acceleration(&own->relief, x[STATE_relief_a_lift], x[STATE_relief_a_speed], e.relief_drop_a);
    d[STATE_relief_b_speed] =
        relief_poppet_acceleration(&own->relief, x[STATE_relief_b_lift], x[STATE_relief_b_speed], e.relief_drop_b);
  } else {
    d[STATE_relief_a_opening] = relief_opening_rate(&own->relief, x[STATE_relief_a_opening], e.relief_drop_a);
    d[STATE_relief_b_opening] = relief_opening_rate(&own->relief, x[STATE_relief_b_opening], e.relief_drop_b);
  }
  d[STATE_charge_relief_opening] =
      charge_relief_opening_rate(&own->charge, x[STATE_charge_relief_opening], now.gallery_over_case);
  d[STATE_flushing_shuttle] = flushing_shuttle_rate(&own->flushing, x[STATE_flushing_shuttle], now.drop);
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    const struct axle_potentials *at = &now.axles[i];
    const struct axle_efforts *gives = &e.axles[i];
    d[axle->wheel_speed] = (gives->drive_torque - gives->gear_loss - axle->driveline->wheel_radius * gives->traction -
                            gives->brake_torque) /
                           axle->driveline->wheel_inertia;
    d[axle->tyre_slip] = gives->slip_rate;
    if (own->brake.law == BRAKE_STICK) {
      d[axle->brake_torque] =
          brake_torque_rate(&axle->brake, e.brake_share, mode->brake_off, x[axle->brake_torque], at->wheel_speed);
    }
    if (axle->motor != NULL) {
      real seen = motor_override_pressure(axle->motor, x[STATE_pump_stroke], now.a, now.b) - model->case_pressure;
      d[axle->motor_override] = motor_override_rate(axle->motor, x[axle->motor_override], seen);
      d[axle->motor_displacement] = motor_share_rate(axle->motor, x[axle->motor_displacement],
                                                     motor_command(axle->motor, e.motor_part), x[axle->motor_override]);
    }
  }
  real acceleration = acceleration_of(model, &e, &now);
  d[STATE_vehicle_speed] = acceleration;
  d[STATE_vehicle_distance] = now.speed;
  d[STATE_felt_acceleration] = (acceleration - x[STATE_felt_acceleration]) / own->vehicle.pitch_lag;
  real heat_in = model->oil.heat_per_volume * (e.check_a + e.check_b);
  real heat_out = model->oil.heat_per_volume * e.loop_outflow;
  bool four_nodes = own->heat.nodes == HEAT_FOUR_NODES;
  d[STATE_loop_temperature] = heat_loop_rate(&own->heat, loop_losses(model, &e, &now), heat_in, now.loop,
                                             x[STATE_loop_metal_temperature], now.tank);
  if (four_nodes) {
    d[STATE_loop_metal_temperature] = heat_metal_rate(&own->heat, now.loop, x[STATE_loop_metal_temperature]);
    d[STATE_case_temperature] = heat_case_rate(&own->heat, heat_out, now.loop, x[STATE_case_temperature]);
  }
  d[STATE_tank_temperature] = heat_tank_rate(&own->heat, tank_losses(model, &e, &now), heat_out,
                                             four_nodes ? x[STATE_case_temperature] : now.loop, now.tank, e.cooler);
  d[STATE_tank_oil] = e.case_flow - e.charge_flow;
  d[STATE_oil_lost] = e.hose_a + e.hose_b;
  transmission_gather(model, d, rates);
}

static void transmission_stored(const void *model_, const real *state, real *energies) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  real *stored = energies - LEDGER_INTEGRATED;
  stored[LEDGER_engine_motion] = 0.5 * own->engine.inertia * x[STATE_engine_speed] * x[STATE_engine_speed];
  stored[LEDGER_wheel_motion] = 0.0;
  stored[LEDGER_brake_wind_up] = 0.0;
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    real speed = x[axle->wheel_speed];
    stored[LEDGER_wheel_motion] += 0.5 * axle->driveline->wheel_inertia * speed * speed;
    stored[LEDGER_brake_wind_up] += brake_stored_energy(&axle->brake, x[axle->brake_torque]);
  }
  stored[LEDGER_vehicle_motion] =
      0.5 * (own->vehicle.mass + own->vehicle.dragged_mass) * x[STATE_vehicle_speed] * x[STATE_vehicle_speed];
  stored[LEDGER_compression] = own->lines.volume_a * fluid_stored_energy(&model->oil, x[STATE_line_a_compression]) +
                               own->lines.volume_b * fluid_stored_energy(&model->oil, x[STATE_line_b_compression]) +
                               own->lines.volume_charge * fluid_stored_energy(&model->oil, x[STATE_charge_compression]);
  stored[LEDGER_tank] = model->oil.ambient * x[STATE_tank_oil];
  stored[LEDGER_oil_lost] = x[STATE_oil_lost];
}

static real transmission_oil(const void *model_, const real *state) {
  const struct transmission_model *model = model_;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  return x[STATE_tank_oil] + model->own.lines.volume_a * x[STATE_line_a_compression] +
         model->own.lines.volume_b * x[STATE_line_b_compression] +
         model->own.lines.volume_charge * x[STATE_charge_compression];
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
    .strict = transmission_strict,
    .strict_count = FIELD_COUNT(transmission_strict),
    .signals = transmission_signals,
    .signal_count = SIGNAL_COUNT,
    .ledger = transmission_ledger,
    .ledger_count = LEDGER_COUNT,
    .ledger_integrated = LEDGER_INTEGRATED,
    .events = transmission_events,
    .event_count = EVENT_COUNT,
    .channels = transmission_channels,
    .channel_texts = transmission_channel_texts,
    .channel_quantities = transmission_channel_quantities,
    .channel_count = CHANNEL_COUNT,
    .signal_active = transmission_signal_active,
    .prepare = transmission_prepare,
    .active_states = transmission_active_states,
    .start = transmission_start,
    .rates = transmission_rates,
    .depends = transmission_depends,
    .moves = transmission_moves,
    .powers = transmission_powers,
    .signals_at = transmission_signals_at,
    .events_at = transmission_events_at,
    .look = transmission_look,
    .stored = transmission_stored,
    .oil = transmission_oil,
    .duty_rates = transmission_duty_rates,
    .duty = transmission_duty,
    .switch_count = SWITCH_COUNT,
    .next_time = transmission_next_time,
    .switches = transmission_switches,
    .change = transmission_change,
    .excess = transmission_excess,
    .move = transmission_move,
    .release_time = transmission_release_time,
};
