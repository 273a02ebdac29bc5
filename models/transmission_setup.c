/* The transmission made ready: parameters to model, the start, and the modes, which change only between steps. */
#include "transmission.h"

static const struct profile *channel_table(const struct transmission_model *model, int channel) {
  return &model->tables[channel];
}

/* The piece of a channel's table that starts at t. */
static struct piece table_piece(const struct transmission_model *model, int channel, real t) {
  const struct profile *table = channel_table(model, channel);
  struct piece piece = profile_piece(table, profile_index(table, t));
  if (table->count == 0) {
    piece.value = operator_resting_value((enum operator_channel)channel);
  }
  return piece;
}

static real motor_command_at(const struct transmission_model *model, const struct transmission_mode *mode, real t) {
  real values[CHANNEL_COUNT];
  transmission_channel_values(mode, t, values);
  return operator_demand_of(&model->own.operator, model->own.motor.smallest, values).motor_command;
}

/* After the channels changed at t: `before` is what the motor was asked for just before. A larger displacement asked
 * for now, or growing from now on, waits. */
static void start_motor_wait(const struct transmission_model *model, struct transmission_mode *mode, real t,
                             real before) {
  real delay = model->own.motor.upstroke_delay;
  if (delay <= 0.0 || mode->motor_waits) {
    return;
  }
  real glance = 1e-3;
  real next = motor_command_at(model, mode, t + glance);
  if (next > before + 1e-9) {
    mode->motor_waits = true;
    mode->motor_waits_at = before;
    mode->motor_waits_until = t + delay;
  }
}

static void note_brake(struct transmission_mode *mode) {
  const struct piece *brake = &mode->channels[CHANNEL_brake].piece;
  mode->brake_off = brake->value == 0.0 && brake->slope == 0.0;
}

/* The net pedal, without its sign, at t by the tables alone. */
static real table_pedal(const struct operator_parameters *asks, real t) {
  if (asks->layout == OPERATOR_TWO_PEDALS) {
    return fabs(operator_net_pedal(asks, profile_at(&asks->forward_pedal, t), profile_at(&asks->reverse_pedal, t)));
  }
  return profile_at(&asks->pedal, t);
}

/* The latest point of the pedal tables before t; -HUGE_VAL if there is none. */
static real point_before(const struct operator_parameters *asks, real t) {
  bool two_pedals = asks->layout == OPERATOR_TWO_PEDALS;
  const struct profile *tables[2] = {two_pedals ? &asks->forward_pedal : &asks->pedal, &asks->reverse_pedal};
  real latest = -HUGE_VAL;
  for (int i = 0; i < (two_pedals ? 2 : 1); i++) {
    int index = profile_index_before(tables[i], t);
    if (index > 0) {
      latest = larger(latest, tables[i]->argument[index - 1]);
    }
  }
  return latest;
}

/* Start of the last fall of the pedal to zero in the tables; NaN without one. */
static real last_fall_to_zero(const struct operator_parameters *asks) {
  real later = point_before(asks, HUGE_VAL);
  for (real t = point_before(asks, later); t > -HUGE_VAL; later = t, t = point_before(asks, t)) {
    if (table_pedal(asks, later) != 0.0 || !(table_pedal(asks, t) > 0.0)) {
      continue;
    }
    for (real earlier = point_before(asks, t); earlier > -HUGE_VAL && table_pedal(asks, earlier) > table_pedal(asks, t);
         earlier = point_before(asks, earlier)) {
      t = earlier;
    }
    return t;
  }
  return NAN;
}

const char *transmission_prepare(const void *parameters_, void *model_) {
  const struct transmission_parameters *parameters = parameters_;
  struct transmission_model *model = model_;
  model->own = *parameters;
  const struct transmission_parameters *own = &model->own;
  fluid_prepare(&own->fluid, &model->oil);
  model->case_pressure = own->lines.case_pressure + own->fluid.ambient_pressure;
  model->pump_losses = pump_losses(&own->pump, own->engine.speed_width);
  model->motor_losses = motor_losses(&own->motor, own->pump.pressure_width);
#define CHANNEL_TABLE(name) model->tables[CHANNEL_##name] = own->operator.name;
  OPERATOR_CHANNELS(CHANNEL_TABLE)
#undef CHANNEL_TABLE

  bool two_pedals = own->operator.layout == OPERATOR_TWO_PEDALS;
  if (two_pedals && (own->operator.pedal.count > 0 || own->operator.direction.count > 0)) {
    return "operator.pedal and operator.direction belong to the layout pedal_and_direction; with two_pedals use "
           "forward_pedal and reverse_pedal";
  }
  if (!two_pedals && (own->operator.forward_pedal.count > 0 || own->operator.reverse_pedal.count > 0)) {
    return "operator.forward_pedal and operator.reverse_pedal belong to the layout two_pedals; with "
           "pedal_and_direction use pedal and direction";
  }
  if (own->charge.check_open <= own->charge.check_crack) {
    return "charge.check_open must lie above charge.check_crack";
  }
  if (own->swash.spring_full <= own->swash.spring_begin) {
    return "swash.spring_full must lie above swash.spring_begin";
  }
  if (own->heat.thermostat_open <= own->heat.thermostat_begin) {
    return "heat.thermostat_open must lie above heat.thermostat_begin";
  }
  model->table_release = last_fall_to_zero(&own->operator);

  model->active_count = 0;
  for (int i = 0; i < STATE_COUNT; i++) {
    if ((i == STATE_tyre_slip && own->tyre.law != TYRE_RELAXATION) ||
        (i == STATE_brake_torque && own->brake.law != BRAKE_STICK)) {
      continue;
    }
    model->active[model->active_count++] = i;
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

static void place_on_ground(const struct transmission_model *model, struct transmission_mode *mode, real s) {
  const struct profile *grade = &model->own.ground.grade;
  real half = 0.5 * model->own.ground.wheelbase;
  mode->rear = ground_contact_on(grade, profile_index(grade, s - half));
  mode->front = ground_contact_on(grade, profile_index(grade, s + half));
}

void transmission_start(const void *model_, void *mode_, real *state) {
  const struct transmission_model *model = model_;
  const struct transmission_parameters *own = &model->own;
  struct transmission_mode *mode = mode_;
  struct transmission_mode fresh = {.burning = true, .motor_waits_until = HUGE_VAL};
  *mode = fresh;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    mode->channels[i].piece = table_piece(model, i, 0.0);
  }
  note_brake(mode);
  mode->release = model->table_release;
  place_on_ground(model, mode, 0.0);

  real x[STATE_COUNT] = {0.0};
  real gallery = own->charge.relief_setting + model->case_pressure;
  real line = fluid_compression(&model->oil, gallery - own->lines.start_drop);
  x[STATE_engine_speed] = own->engine.start_speed * own->engine.set_speed;
  x[STATE_fuel] = own->engine.start_fuel;
  x[STATE_line_a_compression] = line;
  x[STATE_line_b_compression] = line;
  x[STATE_charge_compression] = fluid_compression(&model->oil, gallery);
  x[STATE_motor_displacement] = motor_command_at(model, mode, 0.0);
  x[STATE_charge_relief_opening] = own->charge.relief_start;
  x[STATE_vehicle_speed] = own->vehicle.start_speed;
  x[STATE_wheel_speed] = own->vehicle.start_speed / own->driveline.wheel_radius;
  x[STATE_loop_temperature] = own->heat.loop_start;
  x[STATE_tank_temperature] = own->heat.tank_start;
  x[STATE_tank_oil] = own->lines.tank_volume;
  /* A machine that starts at rest with its brake on starts with brake and tyres carrying the slope. */
  if (own->vehicle.start_speed == 0.0 && !mode->brake_off) {
    real s = x[STATE_vehicle_distance];
    real grade = ground_grade(own->ground.wheelbase, &mode->rear, &mode->front, s);
    struct vehicle_weight weight = vehicle_weight_on(&own->vehicle, grade);
    x[STATE_tyre_slip] = tyre_slip_for(&own->tyre, weight.slope, weight.load);
    real capacity = brake_capacity(&own->brake, piece_at(&mode->channels[CHANNEL_brake].piece, 0.0));
    x[STATE_brake_torque] = saturate(-own->driveline.wheel_radius * weight.slope, capacity);
  }
  for (int i = 0; i < model->active_count; i++) {
    state[i] = x[model->active[i]];
  }
}

real transmission_next_time(const void *mode_) {
  const struct transmission_mode *mode = mode_;
  real next = mode->motor_waits ? mode->motor_waits_until : HUGE_VAL;
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    next = smaller(next, mode->channels[i].piece.high);
  }
  return next;
}

void transmission_switches(const void *model_, const void *mode_, const real *state, real *values) {
  const struct transmission_model *model = model_;
  const struct transmission_mode *mode = mode_;
  real s = state[STATE_vehicle_distance]; /* the first states are always active, in order */
  real half = 0.5 * model->own.ground.wheelbase;
  real speed = state[STATE_engine_speed];
  values[SWITCH_REAR_AHEAD] = mode->rear.piece.high - (s - half);
  values[SWITCH_REAR_BEHIND] = (s - half) - mode->rear.piece.low;
  values[SWITCH_FRONT_AHEAD] = mode->front.piece.high - (s + half);
  values[SWITCH_FRONT_BEHIND] = (s + half) - mode->front.piece.low;
  values[SWITCH_STALL] =
      mode->burning && model->own.engine.stall != ENGINE_NO_STALL ? speed - model->own.engine.stall_speed : 1.0;
  values[SWITCH_REST] = !mode->burning && !mode->held ? speed : 1.0;
  values[SWITCH_COMMAND_SIDE] = 1.0;
  if (model->own.limiter.law == LIMITER_DRIVEN_SIDE && model->own.limiter.side == LIMITER_BY_COMMAND) {
    real command = state[STATE_control_pressure];
    values[SWITCH_COMMAND_SIDE] = LIMITER_COMMAND_BAND + (mode->command_forward ? command : -command);
  }
}

enum plant_verdict transmission_change(const void *model_, void *mode_, real t, real *state, int which,
                                              const char **message) {
  const struct transmission_model *model = model_;
  struct transmission_mode *mode = mode_;
  const struct profile *grade = &model->own.ground.grade;
  *message = NULL;
  switch (which) {
  case SWITCH_REAR_AHEAD:
    mode->rear = ground_contact_on(grade, profile_index(grade, mode->rear.piece.high));
    return PLANT_GOES_ON;
  case SWITCH_REAR_BEHIND:
    mode->rear = ground_contact_on(grade, profile_index_before(grade, mode->rear.piece.low));
    return PLANT_GOES_ON;
  case SWITCH_FRONT_AHEAD:
    mode->front = ground_contact_on(grade, profile_index(grade, mode->front.piece.high));
    return PLANT_GOES_ON;
  case SWITCH_FRONT_BEHIND:
    mode->front = ground_contact_on(grade, profile_index_before(grade, mode->front.piece.low));
    return PLANT_GOES_ON;
  case SWITCH_STALL:
    mode->burning = false;
    *message = "the engine stalls: nothing burns any more";
    return model->own.engine.stall == ENGINE_END_RUN ? PLANT_ENDS_RUN : PLANT_GOES_ON;
  case SWITCH_REST:
    mode->held = true;
    state[STATE_engine_speed] = 0.0;
    *message = "the stalled engine comes to rest and is held there by its compression";
    return PLANT_GOES_ON;
  case SWITCH_COMMAND_SIDE:
    mode->command_forward = !mode->command_forward;
    return PLANT_GOES_ON;
  default:
    break;
  }
  real before = motor_command_at(model, mode, t);
  if (mode->motor_waits && t >= mode->motor_waits_until) {
    mode->motor_waits = false;
    mode->motor_waits_until = HUGE_VAL;
    return PLANT_GOES_ON;
  }
  for (int i = 0; i < CHANNEL_COUNT; i++) {
    struct channel_mode *channel = &mode->channels[i];
    if (t < channel->piece.high) {
      continue;
    }
    channel->piece = channel->taken ? piece_rest(&channel->piece, t) : table_piece(model, i, t);
  }
  note_brake(mode);
  start_motor_wait(model, mode, t, before);
  return PLANT_GOES_ON;
}

static real net_pedal(const struct transmission_model *model, const real *channels) {
  return operator_demand_of(&model->own.operator, model->own.motor.smallest, channels).pedal;
}

void transmission_move(const void *model_, void *mode_, real t, int channel, real target, real duration) {
  const struct transmission_model *model = model_;
  struct transmission_mode *mode = mode_;
  real before = motor_command_at(model, mode, t);
  struct channel_mode *moved = &mode->channels[channel];
  real values[CHANNEL_COUNT];
  transmission_channel_values(mode, t, values);
  bool driven = net_pedal(model, values) != 0.0;
  moved->piece = piece_move(&moved->piece, t, target, duration);
  moved->taken = true;
  /* Braking starts with a move that leaves no drive. */
  values[channel] = target;
  if (driven && net_pedal(model, values) == 0.0) {
    mode->release = t;
  }
  note_brake(mode);
  start_motor_wait(model, mode, t, before);
}

real transmission_release_time(const void *model_, const void *mode_) {
  const struct transmission_mode *mode = mode_;
  (void)model_;
  return mode->release;
}
