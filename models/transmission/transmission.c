/* The circuit: an over-centre pump on a diesel engine, a bent-axis motor on the wheels, two main lines with relief
 * valves, a charge circuit with check valves, loop flushing, pressure limiter, servos, a machine on a grade. Wiring
 * only: every formula stands in its component's file.
 *
 * The right-hand side has three stages. Stores give node values (pressures, speeds, temperatures); elements turn node
 * values into flows, torques and heat; stores sum those to the rates of their states. So there is no algebraic loop and
 * no order of elements, and what one element gives another takes: oil and energy close by construction.
 *
 * Signs: forward drive turns everything positive; flow is positive out of the pump's port A; drop = p_A - p_B. Inside,
 * pressures are absolute. */
#include "transmission_derivatives.h"

static const struct group transmission_groups[] = {
#define COMPONENT_GROUP(type, section, ...)                                                                            \
  {.name = #section,                                                                                                   \
   .fields = type##_fields,                                                                                            \
   .field_count = FIELD_COUNT(type##_fields),                                                                          \
   .offset = offsetof(struct transmission_parameters, section),                                                        \
   .text = __VA_ARGS__},
    TRANSMISSION_COMPONENTS(COMPONENT_GROUP)
#undef COMPONENT_GROUP
};

static const struct state_row transmission_states[] = {
#define STATE_ROW(id, unit, tolerance, text) {#id, unit, tolerance, text},
    TRANSMISSION_STATES(STATE_ROW)
#undef STATE_ROW
};

static const struct strict_row transmission_strict[] = {{STATE_engine_speed, 0.01},
                                                        {STATE_vehicle_speed, 0.01},
                                                        {STATE_wheel_speed, 0.03},
                                                        {STATE_front_wheel_speed, 0.03},
                                                        {STATE_line_a_compression, 0.1},
                                                        {STATE_line_b_compression, 0.1},
                                                        {STATE_case_compression, 0.1},
                                                        {STATE_loop_temperature, 3e-4},
                                                        {STATE_loop_metal_temperature, 3e-4},
                                                        {STATE_case_temperature, 3e-4},
                                                        {STATE_gallery_temperature, 3e-4},
                                                        {STATE_tank_temperature, 1e-5},
                                                        {STATE_motor_friction, 0.3},
                                                        {STATE_second_motor_friction, 0.3},
                                                        {STATE_gear_friction, 0.3},
                                                        {STATE_front_gear_friction, 0.3},
                                                        {STATE_brake_torque, 0.01},
                                                        {STATE_front_brake_torque, 0.01},
                                                        {STATE_brake_temperature, 1e-3},
                                                        {STATE_front_brake_temperature, 1e-3},
                                                        {STATE_motor_shaft_speed, 0.01},
                                                        {STATE_gear_clutch_a, 0.05},
                                                        {STATE_gear_clutch_b, 0.05}};

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
#define EVENT_ROW(id, rising, falling, signal, hysteresis) {#id, rising, falling, SIGNAL_##signal, hysteresis},
    TRANSMISSION_EVENTS(EVENT_ROW)
#undef EVENT_ROW
};

static const char *const transmission_channels[] = {
#define CHANNEL_NAME(name, ...) #name,
    OPERATOR_CHANNELS(CHANNEL_NAME) OPERATOR_AMOUNTS(CHANNEL_NAME) FAULT_CHANNELS(CHANNEL_NAME)
#undef CHANNEL_NAME
};

static const char *const transmission_channel_texts[] = {
#define CHANNEL_TEXT(name, text) text,
#define AMOUNT_TEXT(name, quantity, text) text,
    OPERATOR_CHANNELS(CHANNEL_TEXT) OPERATOR_AMOUNTS(AMOUNT_TEXT) FAULT_CHANNELS(CHANNEL_TEXT)
#undef AMOUNT_TEXT
#undef CHANNEL_TEXT
};

static const enum quantity transmission_channel_quantities[CHANNEL_COUNT] = {
#define CHANNEL_QUANTITY(name, text) QUANTITY_FRACTION,
#define AMOUNT_QUANTITY(name, quantity, text) QUANTITY_##quantity,
    OPERATOR_CHANNELS(CHANNEL_QUANTITY) OPERATOR_AMOUNTS(AMOUNT_QUANTITY) FAULT_CHANNELS(CHANNEL_QUANTITY)
#undef AMOUNT_QUANTITY
#undef CHANNEL_QUANTITY
};

static void transmission_rates(const void *model, const void *mode, real t, const real *state, real *rates) {
  rates_of(model, mode, t, state, rates);
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
  stored[LEDGER_friction_wind_up] = 0.0;
  stored[LEDGER_heat_in_brakes] = 0.0;
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    real speed = x[axle->wheel_speed];
    stored[LEDGER_wheel_motion] += 0.5 * axle->driveline->wheel_inertia * speed * speed;
    stored[LEDGER_brake_wind_up] += brake_stored_energy(&axle->brake, x[axle->brake_torque]);
    stored[LEDGER_heat_in_brakes] +=
        own->brake.heat == BRAKE_ONE_MASS
            ? brake_heat_capacity(&axle->brake) * (x[axle->brake_temperature] - own->heat.ambient)
            : 0.0;
    stored[LEDGER_friction_wind_up] += friction_stored_energy(axle->motor_stiffness, x[axle->motor_friction]) +
                                       friction_stored_energy(axle->gear_stiffness, x[axle->gear_friction]);
  }
  stored[LEDGER_shaft_wind_up] = 0.0;
  stored[LEDGER_motor_motion] = 0.0;
  if (model->geared) {
    struct clutch clutch = gearbox_clutch(&own->gearbox);
    real speed = x[STATE_motor_shaft_speed];
    stored[LEDGER_motor_motion] = 0.5 * own->gearbox.motor_inertia * speed * speed;
    stored[LEDGER_shaft_wind_up] =
        clutch_stored_energy(&clutch, x[STATE_gear_clutch_a]) + clutch_stored_energy(&clutch, x[STATE_gear_clutch_b]);
  }
  if (model->transfers && transfer_case_couples(&own->transfer_case)) {
    struct clutch clutch = transfer_case_clutch(&own->transfer_case);
    stored[LEDGER_shaft_wind_up] += clutch_stored_energy(&clutch, x[STATE_transfer_torque]);
  }
  stored[LEDGER_vehicle_motion] = 0.5 * (own->vehicle.mass + x[STATE_load] + own->vehicle.dragged_mass) *
                                  x[STATE_vehicle_speed] * x[STATE_vehicle_speed];
  stored[LEDGER_compression] = own->lines.volume_a * fluid_stored_energy(&model->oil, x[STATE_line_a_compression]) +
                               own->lines.volume_b * fluid_stored_energy(&model->oil, x[STATE_line_b_compression]) +
                               own->lines.volume_charge * fluid_stored_energy(&model->oil, x[STATE_charge_compression]);
  if (own->lines.cases == LINES_CASES_DRAINED) {
    stored[LEDGER_compression] += own->lines.case_volume * fluid_stored_energy(&model->oil, x[STATE_case_compression]);
  }
  stored[LEDGER_tank] = model->oil.ambient * x[STATE_tank_oil];
  stored[LEDGER_oil_lost] = x[STATE_oil_lost];
  stored[LEDGER_fuel_energy] = own->fuel.law == FUEL_NOT_COUNTED ? 0.0 : own->fuel.heating_value * x[STATE_fuel_used];
  const struct heat_parameters *heat = &own->heat;
  bool four_nodes = heat->nodes == HEAT_FOUR_NODES;
  double loop = x[STATE_loop_temperature] - heat->ambient;
  stored[LEDGER_heat_loop] = four_nodes
                                 ? heat->loop_oil_capacity * loop +
                                       heat_metal_capacity(heat) * (x[STATE_loop_metal_temperature] - heat->ambient)
                                 : heat->loop_capacity * loop;
  stored[LEDGER_heat_case] = four_nodes ? heat->case_capacity * (x[STATE_case_temperature] - heat->ambient) : 0.0;
  double tank = x[STATE_tank_temperature] - heat->ambient;
  double gallery = model->gallery_has_heat ? x[STATE_gallery_temperature] - heat->ambient : tank;
  stored[LEDGER_heat_gallery] = model->gallery_has_heat ? heat->gallery_capacity * gallery : 0.0;
  stored[LEDGER_heat_tank] = heat->tank_capacity * tank;
  struct heat_content more = heat_content_of(model, x);
  double cases = four_nodes ? x[STATE_case_temperature] - heat->ambient : tank;
  stored[LEDGER_heat_moved] =
      model->oil.heat_per_volume * (more.loop * loop + more.cases * cases + more.gallery * gallery + more.tank * tank);
}

static real transmission_oil(const void *model_, const real *state) {
  const struct transmission_model *model = model_;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  return x[STATE_tank_oil] + model->own.lines.volume_a * x[STATE_line_a_compression] +
         model->own.lines.volume_b * x[STATE_line_b_compression] +
         model->own.lines.volume_charge * x[STATE_charge_compression] + heat_content_of(model, x).cases;
}

/* The widest vectors that this processor has. */
static const struct plant_lanes *transmission_lanes(void) {
#ifdef LANES_BY_PROCESSOR
  if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512bw") && __builtin_cpu_supports("avx512cd") &&
      __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512vl")) {
    return &transmission_lanes_v4;
  }
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma") && __builtin_cpu_supports("bmi2")) {
    return &transmission_lanes_v3;
  }
#endif
  return &transmission_lanes_plain;
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
    .stopping_loss = LEDGER_engine_friction,
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
    .sparsity_pattern = transmission_sparsity_pattern,
    .time_dependent = transmission_time_dependent,
    .powers = transmission_powers,
    .signals_at = transmission_signals_at,
    .events_at = transmission_events_at,
    .evaluate = transmission_evaluate,
    .stored = transmission_stored,
    .oil = transmission_oil,
    .duty_rates = transmission_duty_rates,
    .duty = transmission_duty,
    .guard_count = GUARD_COUNT,
    .next_time = transmission_next_time,
    .guards = transmission_guards,
    .change = transmission_change,
    .excess = transmission_excess,
    .move = transmission_move,
    .braking_from = transmission_braking_from,
    .leg = transmission_leg,
    .lanes = transmission_lanes,
};
