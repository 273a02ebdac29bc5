/* The transmission made ready: parameters to model, the start, and the modes, which change only between steps. */
#include "transmission_evaluation.h"
#include "transmission_pedals.h"

/* The piece of a channel's table that starts at t. */
static struct piece table_piece(const struct transmission_model *model, int channel, real t) {
  const struct profile *table = channel_table(model, channel);
  struct piece piece = profile_piece(table, profile_index(table, t));
  if (table->count == 0) {
    piece.value = operator_resting_value((enum operator_channel)channel);
  }
  return piece;
}

/* Engine set speed at the start over engine.set_speed: by the accelerator where there is one. The throttle alone does
 * not count: an engine starts at engine.start_speed. */
static real start_share(const struct transmission_parameters *own, const real *channels) {
  return own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION ? set_speed_share(own, channels) : 1.0;
}

/* What the levers ask for at t; where the engine speed commands the drive, at the speed at which it starts. */
static struct operator_demand demand_at(const struct transmission_model *model, const struct transmission_mode *mode,
                                        real t) {
  const struct transmission_parameters *own = &model->own;
  real moved[CHANNEL_COUNT];
  const real *values = transmission_channel_values(mode, t, moved);
  return demand_of(own, values, own->engine.start_speed * own->engine.set_speed * start_share(own, values), 0.0);
}

/* The net pedal at t with what the inching pedal leaves of it, -1 to 1. */
static real drive_at(const struct transmission_model *model, const struct transmission_mode *mode, real t) {
  return demand_at(model, mode, t).pedal *
         controls_inching_share(&model->own.controls, piece_at(&mode->channels[CHANNEL_inching].piece, t));
}

/* After the channels changed at t: `before` is the pedal's motor part just before. A larger displacement (a smaller
 * part) asked for now, or growing from now on, waits, each motor's as long as its own delay says. */
static void start_motor_wait(const struct transmission_model *model, struct transmission_mode *mode, real t,
                             real before) {
  const real glance = 1e-3;
  if (model->own.operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION ||
      model->own.controls.ramp != CONTROLS_RAMP_OFF || model->own.driver.drives == DRIVER_DRIVES) {
    return;
  }
  for (int i = 0; i < model->axle_count; i++) {
    const struct motor_parameters *motor = model->axles[i].motor;
    if (motor != NULL && motor->upstroke_delay > clock_apart(t) && !mode->motor_waits[i] &&
        demand_at(model, mode, t + glance).motor_part < before - 1e-9) {
      mode->motor_waits[i] = true;
      mode->motor_waits_at[i] = before;
      mode->motor_waits_until[i] = t + motor->upstroke_delay;
    }
  }
}

static bool is_at_rest(const struct piece *piece) {
  return piece->value == 0.0 && piece->slope == 0.0;
}

/* Does the inching pedal brake anywhere on its present piece? */
static bool inching_brakes(const struct controls_parameters *controls, const struct piece *piece) {
  if (controls->inching != CONTROLS_INCHING_CUT_AND_BRAKE) {
    return false;
  }
  real most = piece->slope == 0.0 ? piece->value : larger(piece_at(piece, piece->low), piece_at(piece, piece->high));
  return piece->smooth != NULL || most > controls->inching_brake_begin;
}

/* What follows from the channels' present pieces. */
void transmission_note_channels(const struct transmission_model *model, struct transmission_mode *mode) {
  mode->moving_count = 0;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    const struct piece *piece = &mode->channels[i].piece;
    mode->resting[i] = piece->value;
    if (piece->slope != 0.0) {
      mode->moving[mode->moving_count++] = i;
    }
  }
  mode->brake_off = !mode->driver.brake_on && is_at_rest(&mode->channels[CHANNEL_brake].piece) &&
                    is_at_rest(&mode->channels[CHANNEL_park_brake].piece) &&
                    !inching_brakes(&model->own.controls, &mode->channels[CHANNEL_inching].piece);
  bool was_starting = mode->starting;
  mode->starting = !is_at_rest(&mode->channels[CHANNEL_starter].piece);
  if (mode->starting && !was_starting) {
    mode->held = false; /* the starter turns a held engine */
  }
}

/* Why the maps of pump, motors or engine cannot be, or NULL. */
static const char *map_refusal(const struct transmission_parameters *own) {
  if (own->fuel.law == FUEL_MAP && own->fuel.consumption_map.speeds == 0) {
    return "fuel.consumption_map is empty; fuel.law map needs it";
  }
  if (own->fuel.law != FUEL_MAP && own->fuel.consumption_map.speeds > 0) {
    return "fuel.consumption_map belongs to fuel.law map";
  }
  if (own->pump.losses == ROTARY_MAP && own->pump.efficiency_map.speeds == 0) {
    return "pump.efficiency_map is empty; pump.losses map needs it";
  }
  if (own->pump.losses != ROTARY_MAP && own->pump.efficiency_map.speeds > 0) {
    return "pump.efficiency_map belongs to pump.losses map";
  }
  if (own->motor.losses == ROTARY_MAP && own->motor.efficiency_map.speeds == 0) {
    return "motor.efficiency_map is empty; motor.losses map needs it";
  }
  if (own->motor.losses != ROTARY_MAP && own->motor.efficiency_map.speeds > 0) {
    return "motor.efficiency_map belongs to motor.losses map";
  }
  if (own->second_motor.losses == ROTARY_MAP && own->second_motor.efficiency_map.speeds == 0) {
    return "second_motor.efficiency_map is empty; second_motor.losses map needs it";
  }
  if (own->second_motor.losses != ROTARY_MAP && own->second_motor.efficiency_map.speeds > 0) {
    return "second_motor.efficiency_map belongs to second_motor.losses map";
  }
  return NULL;
}

/* Why this combination of laws cannot be, or NULL. */
static const char *refusal(const struct transmission_parameters *own) {
  bool two_pedals = own->operator.layout == OPERATOR_TWO_PEDALS;
  bool accelerator = own->operator.layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
  if (accelerator &&
      (own->operator.pedal.count> 0 || own->operator.forward_pedal.count> 0 || own->operator.reverse_pedal.count> 0)) {
    return "operator.pedal, forward_pedal and reverse_pedal belong to other layouts; with accelerator_and_direction "
           "use "
           "accelerator and direction";
  }
  if (!accelerator && own->operator.accelerator.count> 0) {
    return "operator.accelerator belongs to the layout accelerator_and_direction";
  }
  if (two_pedals && (own->operator.pedal.count> 0 || own->operator.direction.count> 0)) {
    return "operator.pedal and operator.direction belong to the layout pedal_and_direction; with two_pedals use "
           "forward_pedal and reverse_pedal";
  }
  if (!two_pedals && !accelerator && (own->operator.forward_pedal.count> 0 || own->operator.reverse_pedal.count> 0)) {
    return "operator.forward_pedal and operator.reverse_pedal belong to the layout two_pedals; with "
           "pedal_and_direction use pedal and direction";
  }
  if (own->charge.check_open <= own->charge.check_crack) {
    return "charge.check_open must lie above charge.check_crack";
  }
  if (own->lines.cases == LINES_CASES_DRAINED && !(own->drain.length > 0.0)) {
    return "lines.cases drained needs a drain line; give drain.length";
  }
  if (own->swash.spring_full <= own->swash.spring_begin) {
    return "swash.spring_full must lie above swash.spring_begin";
  }
  if (own->swash.underspeed == SWASH_UNDERSPEED_ON && own->swash.underspeed_high <= own->swash.underspeed_low) {
    return "swash.underspeed_high must lie above swash.underspeed_low";
  }
  if (own->heat.thermostat_open <= own->heat.thermostat_begin) {
    return "heat.thermostat_open must lie above heat.thermostat_begin";
  }
  if (own->brake.fade_end <= own->brake.fade_begin) {
    return "brake.fade_end must lie above brake.fade_begin";
  }
  if (own->heat.nodes == HEAT_FOUR_NODES && own->heat.loop_oil_capacity >= own->heat.loop_capacity) {
    return "heat.loop_oil_capacity must lie below heat.loop_capacity, which holds oil and metal";
  }
  if (own->engine.torque_law == ENGINE_TORQUE_CURVE && own->engine.torque_curve.count == 0) {
    return "engine.torque_curve is empty; engine.torque_law curve needs it";
  }
  if (own->engine.torque_law != ENGINE_TORQUE_CURVE && own->engine.torque_curve.count > 0) {
    return "engine.torque_curve belongs to engine.torque_law curve";
  }
  if (own->engine.friction_law == ENGINE_FRICTION_CURVE && own->engine.friction_curve.count == 0) {
    return "engine.friction_curve is empty; engine.friction_law curve needs it";
  }
  if (own->engine.friction_law != ENGINE_FRICTION_CURVE && own->engine.friction_curve.count > 0) {
    return "engine.friction_curve belongs to engine.friction_law curve";
  }
  if (own->vehicle.second_motor == VEHICLE_SECOND_MOTOR && own->vehicle.axles != VEHICLE_TWO_AXLES) {
    return "vehicle.second_motor yes drives the front axle; it needs vehicle.axles two";
  }
  if (own->tyre.ground != TYRE_HARD && own->ground.grip.count > 0) {
    return "ground.grip belongs to tyre.ground hard; soft soil goes by ground.cone_index";
  }
  if (own->tyre.ground == TYRE_HARD && own->ground.cone_index.count > 0) {
    return "ground.cone_index belongs to tyre.ground gee_clough or brixius";
  }
  if (own->tyre.ground != TYRE_HARD && own->ground.rolling_resistance.count > 0) {
    return "ground.rolling_resistance belongs to tyre.ground hard; soft soil goes by ground.cone_index";
  }
  if (own->contamination.fitted == CONTAMINATION_FITTED && !(own->filter.clean_drop > 0.0)) {
    return "contamination.fitted yes needs a filter; give filter.clean_drop";
  }
  const char *why_not = controls_refusal(&own->controls, accelerator, own->engine.set_speed);
  why_not = why_not != NULL ? why_not : fluid_refusal(&own->fluid);
  why_not = why_not != NULL ? why_not : transmission_gear_refusal(own);
  why_not = why_not != NULL ? why_not : transmission_course_refusal(own);
  return why_not != NULL ? why_not : map_refusal(own);
}

/* Do the laws chosen have this state? */
static bool state_active(const struct transmission_parameters *own, int state) {
  bool two_axles = own->vehicle.axles == VEHICLE_TWO_AXLES;
  bool second_motor = two_axles && own->vehicle.second_motor == VEHICLE_SECOND_MOTOR;
  bool relaxation = own->tyre.law == TYRE_RELAXATION;
  bool stick = own->brake.law == BRAKE_STICK;
  if (state >= STATE_RELIEF_A && state < STATE_RELIEF_B + RELIEF_STATE_COUNT) {
    return relief_has_state(&own->relief, (state - STATE_RELIEF_A) % RELIEF_STATE_COUNT);
  }
  switch (state) {
  case STATE_tyre_slip:
    return relaxation;
  case STATE_brake_torque:
    return stick;
  case STATE_brake_temperature:
    return own->brake.heat == BRAKE_ONE_MASS;
  case STATE_front_brake_temperature:
    return two_axles && own->brake.heat == BRAKE_ONE_MASS;
  case STATE_motor_friction:
    return own->motor.friction == MOTOR_FRICTION_STICK;
  case STATE_gear_friction:
    return own->driveline.friction == DRIVELINE_STICK;
  case STATE_front_gear_friction:
    return two_axles && own->second_driveline.friction == DRIVELINE_STICK;
  case STATE_second_motor_friction:
    return second_motor && own->second_motor.friction == MOTOR_FRICTION_STICK;
  case STATE_swash_motion:
    return own->swash.servo == SWASH_SECOND_ORDER;
  case STATE_governor_integral:
    return own->engine.governor == ENGINE_ISOCHRONOUS;
  case STATE_loop_metal_temperature:
  case STATE_case_temperature:
    return own->heat.nodes == HEAT_FOUR_NODES;
  case STATE_gallery_temperature:
    return transmission_gallery_has_heat(own);
  case STATE_case_compression:
    return own->lines.cases == LINES_CASES_DRAINED;
  case STATE_ratio_command:
  case STATE_ratio_motion:
    return own->controls.ramp == CONTROLS_RAMP_RATIO;
  case STATE_anti_stall_integral:
    return own->controls.anti_stall == CONTROLS_ANTI_STALL_BY_LOAD;
  case STATE_felt_speed:
  case STATE_aim_speed:
  case STATE_driver_integral:
  case STATE_driver_pedal:
  case STATE_driver_brake:
  case STATE_load:
    return own->driver.drives == DRIVER_DRIVES;
  case STATE_felt_acceleration:
  case STATE_front_wheel_speed:
    return two_axles;
  case STATE_front_tyre_slip:
    return two_axles && relaxation;
  case STATE_front_brake_torque:
    return two_axles && stick;
  case STATE_transfer_torque:
    return two_axles && transfer_case_couples(&own->transfer_case);
  case STATE_motor_shaft_speed:
  case STATE_gear_clutch_a:
  case STATE_gear_clutch_b:
    return own->gearbox.law != GEARBOX_NONE;
  case STATE_fuel_used:
    return own->fuel.law != FUEL_NOT_COUNTED;
  case STATE_boost:
    return own->turbocharger.fitted == TURBOCHARGER_FITTED;
  case STATE_second_motor_override:
  case STATE_second_motor_displacement:
    return second_motor;
  default:
    return true;
  }
}

/* The oil's tables, unless they are those of the case before; what was made of them is then forgotten. */
static void make_oil(struct transmission_model *model, const struct fluid_parameters *fluid) {
  /* Bytes between the members that differ cost no more than making them again.
   * NOLINTNEXTLINE(bugprone-suspicious-memory-comparison) */
  if (model->oil_made && memcmp(&model->own.fluid, fluid, sizeof *fluid) == 0) {
    return;
  }
  fluid_prepare(fluid, &model->oil);
  model->oil_made = true;
  model->pump_film_exponent = NAN;
  for (int i = 0; i < AXLE_LIMIT; i++) {
    model->axles[i].motor_film_exponent = NAN;
  }
}

/* The table of a film, unless it is there. */
static void make_film(const struct transmission_model *model, real exponent, real *made_with,
                      fluid_viscosity_each *film) {
  if (*made_with != exponent) {
    fluid_film_table(&model->oil.viscosity, ROTARY_REFERENCE_VISCOSITY, exponent, film);
    *made_with = exponent;
  }
}

const char *transmission_prepare(const void *parameters_, void *model_) {
  struct transmission_model *model = model_;
  const char *why_not = refusal(parameters_);
  if (why_not != NULL) {
    return why_not;
  }
  make_oil(model, &((const struct transmission_parameters *)parameters_)->fluid);
  memcpy(&model->own, parameters_, sizeof model->own); /* the gaps too: make_oil compares them */
  const struct transmission_parameters *own = &model->own;
  make_film(model, own->pump.viscous_exponent, &model->pump_film_exponent, &model->pump_film);
  real dirt = own->contamination.fitted == CONTAMINATION_FITTED ? own->contamination.start_dirt : 0.0;
  model->filter_resistance =
      filter_resistance(&own->filter, model->oil.density, contamination_loading(&own->contamination, dirt));
  model->relief_viscosity = fluid_viscosity(&model->oil.viscosity, own->relief.damping_temperature);
  transmission_derive(model);
  for (int i = 0; i < model->axle_count; i++) {
    struct axle *axle = &model->axles[i];
    if (axle->motor != NULL) {
      make_film(model, axle->motor->viscous_exponent, &axle->motor_film_exponent, &axle->motor_film);
    }
  }
  const struct profile nothing = {0, NULL, NULL, false};
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    model->tables[i] = nothing; /* faults have no tables */
  }
#define CHANNEL_TABLE(name, ...) model->tables[CHANNEL_##name] = own->operator.name;
  OPERATOR_CHANNELS(CHANNEL_TABLE)
  OPERATOR_AMOUNTS(CHANNEL_TABLE)
#undef CHANNEL_TABLE
  model->active_count = 0;
  for (int i = 0; i < STATE_COUNT; i++) {
    if (state_active(own, i)) {
      model->active[model->active_count++] = i;
    }
  }
  model->leading_count = 0;
  while (model->leading_count < model->active_count && model->active[model->leading_count] == model->leading_count) {
    model->leading_count++;
  }
  return NULL;
}

int transmission_active_states(const void *model_, int *rows) {
  const struct transmission_model *model = model_;
  for (int i = 0; i < model->active_count; i++) {
    rows[i] = model->active[i];
  }
  return model->active_count;
}

/* Does the pedal stay at zero, or fall to zero from here in one go? */
static bool is_let_go(const struct transmission_model *model, const struct transmission_mode *mode, real t) {
  real now = pedal_later(model, mode, t);
  if (now == 0.0) {
    real bend = pedal_bends(model, mode, t);
    return !(bend < HUGE_VAL && pedal_later(model, mode, bend) > 0.0);
  }
  for (real next = pedal_bends(model, mode, t); now > 0.0; next = pedal_bends(model, mode, next)) {
    real then = next < HUGE_VAL ? pedal_later(model, mode, next) : now;
    if (!(then < now)) {
      return false;
    }
    now = then;
  }
  return true;
}

static void begin_braking(struct transmission_mode *mode, real t, enum braking_cause cause) {
  if (cause != BRAKING_NONE && cause >= mode->braking_cause) {
    mode->braking_from = t;
    mode->braking_cause = cause;
  }
}

/* After the channels changed at t. Braking begins when the drive is taken away or a brake is applied; what comes while
 * it lasts belongs to it. */
static void note_braking(const struct transmission_model *model, struct transmission_mode *mode, real t) {
  bool was_let_go = mode->let_go;
  bool was_braked = mode->braked;
  if (model->own.driver.drives == DRIVER_DRIVES) {
    return; /* its pedals tell of no one braking */
  }
  if (has_smooth_pedal(model)) {
    begin_braking(mode, t, !mode->brake_off && !was_braked ? BRAKING_BY_BRAKE : BRAKING_NONE);
    mode->braked = !mode->brake_off;
    return;
  }
  mode->let_go = is_let_go(model, mode, t + clock_apart(t)); /* of kinks that are due with t, what comes after them */
  mode->braked = !mode->brake_off;
  bool lasts = (was_let_go || was_braked) && mode->braking_cause >= BRAKING_BY_BRAKE;
  if (!lasts && mode->let_go && !was_let_go) {
    mode->braking_cause = BRAKING_NONE;
    begin_braking(mode, t, BRAKING_BY_RELEASE);
  } else if (!lasts && mode->braked && !was_braked) {
    mode->braking_cause = BRAKING_NONE;
    begin_braking(mode, t, BRAKING_BY_BRAKE);
  }
}

/* A machine that starts at rest with its brake on starts with brakes and tyres carrying the slope, each axle by its
 * part of the brake. */
static void start_parked(const struct transmission_model *model, const struct transmission_mode *mode, real *x) {
  const struct transmission_parameters *own = &model->own;
  real grade = ground_grade(own->ground.wheelbase, &mode->rear, &mode->front, x[STATE_vehicle_distance]);
  struct vehicle_weight weight = vehicle_weight_on(&own->vehicle, own->vehicle.mass, grade);
  real slope = weight.slope * (1.0 + own->vehicle.dragged_mass / own->vehicle.mass);
  struct tyre_soil soil = {
      own->ground.grip.count > 0 ? piece_at(&mode->soil[0], 0.0) : own->tyre.grip,
      own->ground.cone_index.count > 0 ? piece_at(&mode->soil[1], 0.0) : own->tyre.cone_index,
      own->tyre.rolling_resistance,
  };
  bool two = model->axle_count > 1;
  real pull = weight.slope * own->vehicle.dragged_mass / own->vehicle.mass;
  real rear =
      two ? vehicle_rear_load(&own->vehicle, own->vehicle.mass, weight.load, weight.slope, 0.0, pull) : weight.load;
  real share = brake_share(&own->brake, piece_at(&mode->channels[CHANNEL_brake].piece, 0.0),
                           piece_at(&mode->channels[CHANNEL_park_brake].piece, 0.0));
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    real part = two ? (i == 0 ? own->brake.rear_share : 1.0 - own->brake.rear_share) : 1.0;
    struct tyre_contact contact = tyre_contact_of(&own->tyre, &soil, i == 0 ? rear : weight.load - rear, axle->wheels);
    x[axle->tyre_slip] = tyre_slip_for(&own->tyre, &contact, part * slope);
    x[axle->brake_torque] =
        saturate(-axle->driveline->wheel_radius * part * slope, brake_capacity(&axle->brake, share));
  }
}

void transmission_start(const void *model_, void *mode_, real *state) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  struct transmission_mode *mode = mode_;
  struct transmission_mode fresh = {.burning = true, .motor_waits_until = {HUGE_VAL, HUGE_VAL}};
  *mode = fresh;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    mode->channels[i].piece = table_piece(model, i, 0.0);
  }
  transmission_note_channels(model, mode);
  transmission_start_gear(model, mode);
  mode->braking_from = has_smooth_pedal(model) ? last_fall_to_zero(model) : NAN;
  mode->braking_cause = isnan(mode->braking_from) ? BRAKING_NONE : BRAKING_BY_RELEASE;
  bool driven = own->driver.drives == DRIVER_DRIVES;
  mode->let_go = !driven && is_let_go(model, mode, 0.0);
  mode->braked = !mode->brake_off;
  bool rolls = own->vehicle.start_speed != 0.0;
  if (mode->let_go && (rolls || pedal_later(model, mode, 0.0) > 0.0)) {
    begin_braking(mode, 0.0, BRAKING_BY_RELEASE);
  } else if (mode->braked && rolls) {
    begin_braking(mode, 0.0, BRAKING_BY_BRAKE);
  }
  transmission_place_on_ground(model, mode, 0.0);

  real x[STATE_COUNT] = {0.0};
  real gallery = own->charge.relief_setting + model->case_pressure;
  real line = fluid_compression(&model->oil, gallery - own->lines.start_drop);
  real moved[CHANNEL_COUNT];
  const real *channels = transmission_channel_values(mode, 0.0, moved);
  x[STATE_engine_speed] = own->engine.start_speed * own->engine.set_speed * start_share(own, channels);
  x[STATE_fuel] = own->engine.start_fuel;
  x[STATE_governor_integral] = own->engine.start_fuel;
  x[STATE_boost] = own->engine.start_fuel;
  x[STATE_line_a_compression] = line;
  x[STATE_line_b_compression] = line;
  x[STATE_charge_compression] = fluid_compression(&model->oil, gallery);
  x[STATE_case_compression] = fluid_compression(&model->oil, model->case_pressure);
  x[STATE_charge_relief_opening] = own->charge.relief_start;
  x[STATE_vehicle_speed] = own->vehicle.start_speed;
  struct operator_demand demand = demand_at(model, mode, 0.0);
  real part = demand.motor_part;
  x[STATE_ratio_command] = controls_ratio(demand.stroke, part, own->motor.smallest);
  for (int i = 0; i < model->axle_count; i++) {
    const struct axle *axle = &model->axles[i];
    x[axle->wheel_speed] = own->vehicle.start_speed / axle->driveline->wheel_radius;
    if (axle->motor != NULL) {
      x[axle->motor_displacement] = motor_command(axle->motor, part);
    }
  }
  x[STATE_brake_temperature] = own->brake.start_temperature;
  x[STATE_front_brake_temperature] = own->brake.start_temperature;
  real output = model->axles[0].driveline->ratio * x[STATE_wheel_speed];
  if (model->transfers) {
    output =
        transfer_case_speed(&own->transfer_case, output, model->axles[1].driveline->ratio * x[STATE_front_wheel_speed]);
  }
  x[STATE_motor_shaft_speed] = mode->gear_ratio[0] * output;
  x[STATE_loop_temperature] = own->heat.loop_start;
  x[STATE_loop_metal_temperature] = own->heat.loop_start;
  x[STATE_case_temperature] = own->heat.loop_start;
  x[STATE_gallery_temperature] = own->heat.tank_start;
  x[STATE_tank_temperature] = own->heat.tank_start;
  x[STATE_tank_oil] = own->lines.tank_volume;
  if (own->vehicle.start_speed == 0.0 && !mode->brake_off) {
    start_parked(model, mode, x);
  }
  if (driven) {
    transmission_course_start(model, mode, x);
  }
  for (int i = 0; i < model->active_count; i++) {
    state[i] = x[model->active[i]];
  }
}

bool transmission_time_dependent(const void *mode_) {
  const struct transmission_mode *mode = mode_;
  return mode->moving_count > 0 || transmission_gear_moves(mode);
}

real transmission_next_time(const void *mode_) {
  const struct transmission_mode *mode = mode_;
  real next = smaller(transmission_gear_next_time(mode), transmission_course_next_time(mode));
  for (int i = 0; i < AXLE_LIMIT; i++) {
    next = mode->motor_waits[i] ? smaller(next, mode->motor_waits_until[i]) : next;
  }
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    next = smaller(next, mode->channels[i].piece.high);
  }
  return next;
}

/* The same for the engine and its map of consumption. */
static void fuel_excess(const struct transmission_model *model, const real *x, bool by_speed,
                        struct plant_excess *excess) {
  const struct map *map = &model->own.fuel.consumption_map;
  double speed = x[STATE_engine_speed];
  double friction = engine_friction(&model->own.engine, speed);
  double full = engine_full_torque(&model->own.engine, speed);
  excess->quantity = by_speed ? QUANTITY_ANGULAR_SPEED : QUANTITY_TORQUE;
  excess->value = by_speed ? speed : engine_combustion(x[STATE_fuel], full, friction) - friction;
  excess->edge = !by_speed               ? map->pressure[map->pressures - 1]
                 : speed < map->speed[0] ? map->speed[0]
                                         : map->speed[map->speeds - 1];
}

void transmission_excess(const void *model_, const real *state, int which, struct plant_excess *excess) {
  const struct transmission_model *model = model_;
  real x[STATE_COUNT];
  transmission_spread(model, state, x);
  if (which == GUARD_FUEL_MAP_SPEED || which == GUARD_FUEL_MAP_TORQUE) {
    fuel_excess(model, x, which == GUARD_FUEL_MAP_SPEED, excess);
    return;
  }
  real speed = 0.0;
  const struct map *map = mapped(model, x, (which - GUARD_PUMP_MAP_SPEED) / 2, &speed)->map;
  bool by_speed = (which - GUARD_PUMP_MAP_SPEED) % 2 == 0;
  excess->quantity = by_speed ? QUANTITY_ANGULAR_SPEED : QUANTITY_PRESSURE;
  excess->value = fabs(by_speed ? speed : line_drop(model, x));
  excess->edge = by_speed ? map->speed[map->speeds - 1] : map->pressure[map->pressures - 1];
}

/* All that is due at t, the end of the wait first, so that the order never hangs on a rounding. */
static const char *pass_clock(const struct transmission_model *model, struct transmission_mode *mode, real t) {
  real due = t + clock_apart(t);
  for (int i = 0; i < AXLE_LIMIT; i++) {
    if (mode->motor_waits[i] && mode->motor_waits_until[i] <= due) {
      mode->motor_waits[i] = false;
      mode->motor_waits_until[i] = HUGE_VAL;
    }
  }
  real before = demand_at(model, mode, t).motor_part;
  bool changed = false;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    struct channel_mode *channel = &mode->channels[i];
    while (channel->piece.high <= due) {
      channel->piece =
          channel->taken ? piece_rest(&channel->piece, t) : table_piece(model, i, larger(t, channel->piece.high));
      changed = true;
    }
  }
  if (changed) {
    transmission_note_channels(model, mode);
    note_braking(model, mode, t);
    start_motor_wait(model, mode, t, before);
  }
  return transmission_gear_clock(model, mode, t, due);
}

enum plant_verdict transmission_change(const void *model_, void *mode_, real t, real *state, int which,
                                       const char **message) {
  const struct transmission_model *model = model_;
  struct transmission_mode *mode = mode_;
  bool over = false;
  *message = NULL;
  if (which >= GUARD_REAR_AHEAD && which <= GUARD_ROLLING_BEHIND) {
    transmission_ground_change(model, mode, which);
    return PLANT_GOES_ON;
  }
  switch (which) {
  case GUARD_STALL:
    mode->burning = false;
    *message = "the engine stalls: nothing burns any more";
    return model->own.engine.stall == ENGINE_END_RUN ? PLANT_ENDS_RUN : PLANT_GOES_ON;
  case GUARD_REST:
    mode->held = true;
    state[STATE_engine_speed] = 0.0; /* always the first active state */
    *message = "the stalled engine comes to rest and is held there by its compression";
    return PLANT_GOES_ON;
  case GUARD_CRANKED:
    mode->held = false;
    *message = "the loop turns the stopped engine over: it pulls harder than the compression holds";
    return PLANT_GOES_ON;
  case GUARD_FIRES:
    mode->burning = true;
    *message = "the engine fires";
    return PLANT_GOES_ON;
  case GUARD_GEAR: {
    real x[STATE_COUNT];
    transmission_spread(model, state, x);
    *message = transmission_shift(model, mode, t, x[STATE_vehicle_speed]);
    return PLANT_GOES_ON;
  }
  case GUARD_COMMAND_SIDE:
    mode->command_forward = !mode->command_forward;
    return PLANT_GOES_ON;
  case GUARD_FUEL_MAP_SPEED:
  case GUARD_FUEL_MAP_TORQUE:
    *message = which == GUARD_FUEL_MAP_SPEED
                   ? "the engine burns fuel at a speed that its map of consumption does not have"
                   : "the engine gives more torque than its map of consumption goes";
    return PLANT_FAILS_RUN;
  case GUARD_PUMP_MAP_SPEED:
  case GUARD_PUMP_MAP_PRESSURE:
    *message = which == GUARD_PUMP_MAP_SPEED ? "the pump turns faster than its efficiency map goes"
                                             : "the pressure across the pump leaves its efficiency map";
    return PLANT_FAILS_RUN;
  case GUARD_MOTOR_MAP_SPEED:
  case GUARD_MOTOR_MAP_PRESSURE:
    *message = which == GUARD_MOTOR_MAP_SPEED ? "the motor turns faster than its efficiency map goes"
                                              : "the pressure across the motor leaves its efficiency map";
    return PLANT_FAILS_RUN;
  case GUARD_SECOND_MOTOR_MAP_SPEED:
  case GUARD_SECOND_MOTOR_MAP_PRESSURE:
    *message = which == GUARD_SECOND_MOTOR_MAP_SPEED ? "the second motor turns faster than its efficiency map goes"
                                                     : "the pressure across the second motor leaves its efficiency map";
    return PLANT_FAILS_RUN;
  case GUARD_STRETCH_AHEAD:
  case GUARD_STRETCH_BEHIND:
  case GUARD_ARRIVES:
  case GUARD_DRIVER_BRAKES:
    *message = transmission_course_change(model, mode, t, state, which, &over);
    return over ? PLANT_COMPLETES_RUN : PLANT_GOES_ON;
  default:
    break;
  }
  *message = pass_clock(model, mode, t);
  if (transmission_course_next_time(mode) <= t + clock_apart(t)) {
    const char *words = transmission_course_change(model, mode, t, state, -1, &over);
    *message = words != NULL ? words : *message;
  }
  return over ? PLANT_COMPLETES_RUN : PLANT_GOES_ON;
}

void transmission_move(const void *model_, void *mode_, real t, int channel, real target, real duration) {
  const struct transmission_model *model = model_;
  struct transmission_mode *mode = mode_;
  if (mode->pedals_stuck && is_pedal(channel)) {
    return;
  }
  real part_before = demand_at(model, mode, t).motor_part;
  real drive_before = drive_at(model, mode, t);
  real value_before = piece_at(&mode->channels[channel].piece, t);
  mode->channels[channel].piece = piece_move(&mode->channels[channel].piece, t, target, duration);
  mode->channels[channel].taken = true;
  if (channel == CHANNEL_pedals_stuck && target > 0.0) {
    mode->pedals_stuck = true;
    for (int i = 0; i < CHANNEL_COUNT; i++) {
      if (is_pedal(i)) {
        mode->channels[i].piece = piece_move(&mode->channels[i].piece, t, piece_at(&mode->channels[i].piece, t), 0.0);
        mode->channels[i].taken = true;
      }
    }
  }
  transmission_note_channels(model, mode);
  if (channel >= CHANNEL_FAULT_FIRST) {
    begin_braking(mode, t, target > value_before ? BRAKING_BY_FAULT : BRAKING_NONE);
  } else if (channel == CHANNEL_exhaust_brake) {
    begin_braking(mode, t, target > value_before ? BRAKING_BY_ACTION : BRAKING_NONE);
  } else if (is_pedal(channel) || channel == CHANNEL_inching) {
    /* Less drive, or the other way. */
    real after = drive_at(model, mode, t + duration);
    bool less = drive_before * after < 0.0 || fabs(after) < fabs(drive_before);
    begin_braking(mode, t, less ? BRAKING_BY_ACTION : BRAKING_NONE);
  }
  transmission_note_gear(model, mode);
  note_braking(model, mode, t);
  start_motor_wait(model, mode, t, part_before);
}

real transmission_braking_from(const void *mode_, const char **why) {
  static const char *const words[] = {[BRAKING_NONE] = "",
                                      [BRAKING_BY_ACTION] = "an action takes drive away",
                                      [BRAKING_BY_FAULT] = "a fault comes",
                                      [BRAKING_BY_BRAKE] = "a brake is applied",
                                      [BRAKING_BY_RELEASE] = "the pedal is let go"};
  const struct transmission_mode *mode = mode_;
  *why = words[mode->braking_cause];
  return mode->braking_from;
}
