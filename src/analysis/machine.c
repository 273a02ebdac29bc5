#include "machine.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"
#include "thresholds.h"

/* The drawbar pull is made from the draft of an implement: a large one, scaled by its channel. */
#define FULL_DRAFT 1e6

/* Speed over which drag and draft turn round, m/s, in place of the case's: a pull that is asked for is all there
 * however slow the machine, else a map told more pull near standstill than the drawbar feels. */
#define DRAG_WIDTH 1e-5

#define SETTLING_SECONDS 20.0

const char *const machine_bound_names[BOUND_COUNT] = {
#define MACHINE_BOUND_NAME(name, words) #name,
    MACHINE_BOUNDS(MACHINE_BOUND_NAME)
#undef MACHINE_BOUND_NAME
};

const char *const machine_bound_words[BOUND_COUNT] = {
#define MACHINE_BOUND_WORDS(name, words) words,
    MACHINE_BOUNDS(MACHINE_BOUND_WORDS)
#undef MACHINE_BOUND_WORDS
};

/* Tables that are taken over. */
enum {
  TABLE_PEDAL,
  TABLE_DIRECTION,
  TABLE_FORWARD,
  TABLE_REVERSE,
  TABLE_ACCELERATOR,
  TABLE_GRADE,
  TABLE_DRAFT,
  TABLE_BRAKE,
  TABLE_EXHAUST_BRAKE,
  TABLE_THROTTLE,
  TABLE_COUNT
};

_Static_assert((int)TABLE_COUNT <= (int)MACHINE_TABLE_LIMIT, "a machine keeps a value for each table taken over");
_Static_assert((int)BOUND_COUNT <= 32, "each bound has its bit");

static bool find_sections(struct machine *machine, struct error *error) {
  const struct case_data *data = &machine->data;
  struct machine_sections *own = &machine->own;
#define MACHINE_SECTION_FOUND(type, name)                                                                              \
  &&(own->name = registry_need_section(data->plant, data->parameters, #name, error)) != NULL
  return true MACHINE_SECTIONS(MACHINE_SECTION_FOUND);
#undef MACHINE_SECTION_FOUND
}

static struct profile *table_of(const struct machine *machine, int table) {
  struct operator_parameters *asks = machine->own.operator;
  struct profile *const tables[TABLE_COUNT] = {
      [TABLE_PEDAL] = &asks->pedal,
      [TABLE_DIRECTION] = &asks->direction,
      [TABLE_FORWARD] = &asks->forward_pedal,
      [TABLE_REVERSE] = &asks->reverse_pedal,
      [TABLE_ACCELERATOR] = &asks->accelerator,
      [TABLE_GRADE] = &machine->own.ground->grade,
      [TABLE_DRAFT] = &asks->draft,
      [TABLE_BRAKE] = &asks->brake,
      [TABLE_EXHAUST_BRAKE] = &asks->exhaust_brake,
      [TABLE_THROTTLE] = &asks->throttle,
  };
  return tables[table];
}

static bool find_signals(struct machine *machine, struct error *error) {
  static const char *const names[READ_COUNT] = {
#define MACHINE_SIGNAL_NAME(name) #name,
      MACHINE_SIGNALS(MACHINE_SIGNAL_NAME)
#undef MACHINE_SIGNAL_NAME
  };
  for (int i = 0; i < READ_COUNT; i++) {
    if (!registry_need(machine->data.plant, names[i], &machine->signals[i], error)) {
      return false;
    }
  }
  return true;
}

static struct balance begin_balance(struct machine *machine) {
  struct balance balance;
  balance_begin(&balance, machine->data.plant, machine->model, machine->mode, 0.0);
  return balance;
}

bool machine_by_accelerator(const struct machine *machine) {
  return machine->own.operator->layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
}

const char *machine_pedal_word(const struct machine *machine) {
  return machine_by_accelerator(machine) ? "accelerator" : "pedal";
}

/* Which way the pedal asks to go; by an accelerator also with the foot off, for the lever stays where it is and the
 * engine that is pushed commands the drive. 0: no way. */
static double side_of(const struct machine *machine) {
  double pedal = machine->inputs[MACHINE_PEDAL];
  return machine_by_accelerator(machine) ? copysign(1.0, pedal) : pedal;
}

/* Mode from the tables as they are now; the side of the command as the pedal has it. */
static void refresh(struct machine *machine) {
  const struct plant *plant = machine->data.plant;
  double scratch[PLANT_STATE_LIMIT];
  double guards[PLANT_GUARD_LIMIT];
  const char *words;
  plant->start(machine->model, machine->mode, scratch);
  double side = side_of(machine);
  if (side == 0.0) {
    return;
  }
  scratch[machine->steering] = side;
  plant->guards(machine->model, machine->mode, scratch, guards);
  for (int i = 0; i < plant->guard_count; i++) {
    if (guards[i] < 0.0) {
      (void)plant->change(machine->model, machine->mode, 0.0, scratch, i, &words);
    }
  }
}

static void put(struct machine *machine, enum machine_input input, double value) {
  double *values = machine->values;
  machine->inputs[input] = value;
  switch (input) {
  case MACHINE_PEDAL:
    values[TABLE_PEDAL] = fabs(value);
    values[TABLE_DIRECTION] = copysign(machine->lever, value);
    values[TABLE_ACCELERATOR] = fabs(value);
    values[TABLE_FORWARD] = fmax(value, 0.0);
    values[TABLE_REVERSE] = fmax(-value, 0.0);
    break;
  case MACHINE_GRADE:
    values[TABLE_GRADE] = value;
    break;
  case MACHINE_PULL:
    values[TABLE_DRAFT] = value / FULL_DRAFT;
    break;
  case MACHINE_BRAKE:
    values[TABLE_BRAKE] = value;
    break;
  case MACHINE_EXHAUST_BRAKE:
    values[TABLE_EXHAUST_BRAKE] = value;
    break;
  case MACHINE_THROTTLE:
    values[TABLE_THROTTLE] = value;
    break;
  case MACHINE_INPUT_COUNT:
    break;
  }
}

void machine_set(struct machine *machine, enum machine_input input, double value) {
  put(machine, input, value);
  refresh(machine);
}

void machine_set_all(struct machine *machine, const double *inputs) {
  for (int i = 0; i < MACHINE_INPUT_COUNT; i++) {
    put(machine, (enum machine_input)i, inputs[i]);
  }
  refresh(machine);
}

/* A table's value at its start; `empty` without one. */
static double first_value(const struct machine *machine, int table, double empty) {
  const struct profile *profile = table_of(machine, table);
  return profile->count > 0 ? profile_at(profile, 0.0) : empty;
}

/* Does an operator with this layout have the table? */
static bool has_table(enum operator_layout layout, int table) {
  switch (table) {
  case TABLE_PEDAL:
    return layout == OPERATOR_PEDAL_AND_DIRECTION;
  case TABLE_DIRECTION:
    return layout != OPERATOR_TWO_PEDALS;
  case TABLE_FORWARD:
  case TABLE_REVERSE:
    return layout == OPERATOR_TWO_PEDALS;
  case TABLE_ACCELERATOR:
    return layout == OPERATOR_ACCELERATOR_AND_DIRECTION;
  default:
    return true;
  }
}

/* The pedal as the tables begin. A lever in neutral counts as forward: a machine in steady drive goes some way. */
static double first_pedal(const struct machine *machine) {
  double direction = first_value(machine, TABLE_DIRECTION, 1.0);
  switch (machine->own.operator->layout) {
  case OPERATOR_TWO_PEDALS:
    return first_value(machine, TABLE_FORWARD, 0.0) - first_value(machine, TABLE_REVERSE, 0.0);
  case OPERATOR_ACCELERATOR_AND_DIRECTION:
    return copysign(first_value(machine, TABLE_ACCELERATOR, 0.0), direction);
  default:
    return first_value(machine, TABLE_PEDAL, 0.0) * direction;
  }
}

static void take_over(struct machine *machine) {
  double inputs[MACHINE_INPUT_COUNT];
  machine->lever = 1.0;
  inputs[MACHINE_PEDAL] = first_pedal(machine);
  machine->own.driver->drives = DRIVER_ABSENT; /* whose pedals these are now */
  double *draft = &machine->own.vehicle->draft;
  inputs[MACHINE_GRADE] = first_value(machine, TABLE_GRADE, 0.0);
  inputs[MACHINE_PULL] = *draft * first_value(machine, TABLE_DRAFT, 1.0);
  inputs[MACHINE_BRAKE] = first_value(machine, TABLE_BRAKE, 0.0);
  inputs[MACHINE_EXHAUST_BRAKE] = first_value(machine, TABLE_EXHAUST_BRAKE, 0.0);
  inputs[MACHINE_THROTTLE] = first_value(machine, TABLE_THROTTLE, 1.0);
  *draft = FULL_DRAFT;
  machine->own.vehicle->drag_width = DRAG_WIDTH;
  for (int i = 0; i < TABLE_COUNT; i++) {
    struct profile *profile = table_of(machine, i);
    if (has_table((enum operator_layout)machine->own.operator->layout, i)) {
      struct profile ours = {1, &machine->zero, &machine->values[i], false};
      *profile = ours;
    }
  }
  for (int i = 0; i < MACHINE_INPUT_COUNT; i++) {
    put(machine, (enum machine_input)i, inputs[i]);
  }
}

static bool find_state(const struct balance *balance, const char *name, int *place, struct error *error) {
  return registry_need_state(balance->plant, balance->rows, balance->state_count, name, place, error);
}

bool machine_open(const struct case_data *data, struct machine *machine, struct error *error) {
  memset(machine, 0, sizeof *machine);
  if (data->plant != &transmission_plant) {
    return error_at(error, data->source, 0, 0, "the plant is '%s'; only a transmission drives a machine",
                    data->plant->name);
  }
  if (!case_copy(data, &machine->data, error)) {
    return false;
  }
  const struct plant *plant = data->plant;
  machine->model = calloc(1, plant->model_size);
  machine->mode = calloc(1, plant->mode_size);
  if (machine->model == NULL || machine->mode == NULL) {
    machine_close(machine);
    return error_set(error, ERROR_MEMORY, "out of memory for the machine");
  }
  if (!find_sections(machine, error) || !find_signals(machine, error)) {
    machine_close(machine);
    return false;
  }
  take_over(machine);
  const char *refusal = plant->prepare(machine->data.parameters, machine->model);
  if (refusal != NULL) {
    error_at(error, data->source, 0, 0, "%s", refusal);
    machine_close(machine);
    return false;
  }
  struct balance balance = begin_balance(machine);
  if (!find_state(&balance, "control_pressure", &machine->steering, error) ||
      !find_state(&balance, "vehicle_speed", &machine->speed, error) ||
      !find_state(&balance, "wheel_speed", &machine->wheel, error) ||
      (machine->own.vehicle->axles == VEHICLE_TWO_AXLES &&
       !find_state(&balance, "front_wheel_speed", &machine->front, error)) ||
      !find_state(&balance, "loop_temperature", &machine->loop, error)) {
    machine_close(machine);
    return false;
  }
  machine->allowed_overspeed = machine->own.engine->overspeed_alarm;
  machine->hot = 273.15 + 95.0;
  refresh(machine);
  return true;
}

void machine_close(struct machine *machine) {
  free(machine->model);
  free(machine->mode);
  machine->model = NULL;
  machine->mode = NULL;
  if (machine->data.memory != NULL) {
    case_free(&machine->data);
    machine->data.memory = NULL;
  }
}

/* ---- balance ---- */

static void set_pedal(void *context, double value) {
  machine_set(context, MACHINE_PEDAL, value);
}

static void set_grade(void *context, double value) {
  machine_set(context, MACHINE_GRADE, value);
}

static void set_pull(void *context, double value) {
  machine_set(context, MACHINE_PULL, value);
}

static void free_input(struct machine *machine, struct balance *balance, enum machine_input input) {
  struct balance_input freed = {.value = machine->inputs[input], .context = machine};
  freed.set = input == MACHINE_PEDAL ? set_pedal : input == MACHINE_GRADE ? set_grade : set_pull;
  freed.size = input == MACHINE_PULL ? 1e4 : 0.1;
  balance->inputs[balance->input_count++] = freed;
}

/* A loop at its bound, and tank, cases and metal in balance with it. A search for the loop's own temperature may end at
 * one that no machine comes to from the cold: hot oil leaks more and makes more heat, so that there are several. */
static void warm_up(const struct machine *machine, struct balance *balance, double *state) {
  if (!machine->warm) {
    return;
  }
  state[machine->loop] = machine->hot;
  for (int i = 0; i < balance->state_count; i++) {
    if (i != machine->loop && strstr(machine->data.plant->states[balance->rows[i]].name, "temperature") != NULL) {
      balance->sought[i] = true;
      balance->still[i] = true;
    }
  }
}

static struct balance question(struct machine *machine, double speed, struct machine_point *point) {
  struct balance balance = begin_balance(machine);
  balance.sought[machine->speed] = false;
  point->state[machine->speed] = speed;
  machine_set_all(machine, point->inputs);
  warm_up(machine, &balance, point->state);
  return balance;
}

static bool answer(struct machine *machine, struct balance *balance, struct machine_point *point) {
  bool found = balance_find(balance, point->state);
  machine->counts.residual_calls += balance->counts.residual_calls;
  machine->counts.iterations += balance->counts.iterations;
  memcpy(point->inputs, machine->inputs, sizeof point->inputs);
  return found;
}

bool machine_guess(struct machine *machine, double speed, struct machine_point *point, const char **words) {
  const struct plant *plant = machine->data.plant;
  const char *said = NULL;
  plant->start(machine->model, machine->mode, point->state);
  memcpy(point->inputs, machine->inputs, sizeof point->inputs);
  struct balance balance = question(machine, speed, point);
  point->state[machine->wheel] = speed / machine->own.driveline->wheel_radius;
  if (machine->own.vehicle->axles == VEHICLE_TWO_AXLES) {
    point->state[machine->front] = speed / machine->own.second_driveline->wheel_radius;
  }
  bool good = balance_settle(&balance, SETTLING_SECONDS, point->state, &said);
  if (words != NULL) {
    *words = said;
  }
  return good;
}

/* Numbers that a machine can have: no slope of 500 %. */
static bool is_sound(const struct machine_point *point) {
  for (int i = 0; i < MACHINE_INPUT_COUNT; i++) {
    if (!isfinite(point->inputs[i])) {
      return false;
    }
  }
  return fabs(point->inputs[MACHINE_GRADE]) < 5.0;
}

bool machine_find(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point) {
  struct machine_point near = *point;
  struct balance balance = question(machine, speed, &near);
  free_input(machine, &balance, freed);
  bool found = answer(machine, &balance, &near) && is_sound(&near);
  if (found) {
    *point = near;
  }
  return found;
}

bool machine_follow(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point) {
  if (machine_find(machine, speed, freed, point)) {
    return true;
  }
  static const double seconds[] = {2.0, 18.0};
  for (size_t i = 0; i < sizeof seconds / sizeof seconds[0]; i++) {
    const char *words = NULL;
    struct balance balance = question(machine, speed, point);
    if (!balance_settle(&balance, seconds[i], point->state, &words)) {
      return false;
    }
    if (machine_find(machine, speed, freed, point)) {
      return true;
    }
  }
  return false;
}

bool machine_settle(struct machine *machine, struct machine_point *point) {
  const char *words = NULL;
  struct balance balance = question(machine, point->state[machine->speed], point);
  return balance_settle(&balance, SETTLING_SECONDS, point->state, &words);
}

bool machine_find_edge(struct machine *machine, double speed, enum machine_input first, enum machine_input second,
                       struct balance_condition condition, struct machine_point *point) {
  struct balance balance = question(machine, speed, point);
  free_input(machine, &balance, first);
  free_input(machine, &balance, second);
  if (condition.signal == MACHINE_HEATING) {
    balance.still[machine->loop] = true;
  } else {
    balance.conditions[balance.condition_count++] = condition;
  }
  return answer(machine, &balance, point) && is_sound(point);
}

bool machine_find_speed(struct machine *machine, struct machine_point *point) {
  struct balance balance = question(machine, point->state[machine->speed], point);
  balance.sought[machine->speed] = true;
  return answer(machine, &balance, point);
}

bool machine_find_speed_at(struct machine *machine, enum machine_input freed, struct balance_condition condition,
                           struct machine_point *point) {
  struct balance balance = question(machine, point->state[machine->speed], point);
  balance.sought[machine->speed] = true;
  free_input(machine, &balance, freed);
  balance.conditions[balance.condition_count++] = condition;
  return answer(machine, &balance, point) && is_sound(point);
}

bool machine_settle_speed(struct machine *machine, struct machine_point *point, const char **words) {
  machine_set_all(machine, point->inputs);
  machine->data.plant->start(machine->model, machine->mode, point->state);
  for (int round = 0; round < 4; round++) {
    struct balance balance = question(machine, point->state[machine->speed], point);
    balance.sought[machine->speed] = true;
    if (!balance_settle(&balance, SETTLING_SECONDS, point->state, words)) {
      return false;
    }
    struct machine_point found = *point;
    if (machine_find_speed(machine, &found)) {
      *point = found;
      return true;
    }
  }
  return false;
}

/* ---- a point ---- */

void machine_signals(struct machine *machine, const struct machine_point *point, double *signals) {
  machine_set_all(machine, point->inputs);
  machine->data.plant->signals_at(machine->model, machine->mode, 0.0, point->state, signals);
}

double machine_heating(struct machine *machine, const struct machine_point *point) {
  double rates[PLANT_STATE_LIMIT];
  machine_set_all(machine, point->inputs);
  machine->data.plant->rates(machine->model, machine->mode, 0.0, point->state, rates);
  return rates[machine->loop];
}

void machine_powers(struct machine *machine, const struct machine_point *point, double *powers) {
  const struct plant *plant = machine->data.plant;
  memset(powers, 0, (size_t)plant->ledger_count * sizeof *powers);
  machine_set_all(machine, point->inputs);
  plant->powers(machine->model, machine->mode, 0.0, point->state, powers);
}

bool machine_drives_front(const struct machine *machine) {
  return machine->own.vehicle->second_motor == VEHICLE_SECOND_MOTOR ||
         machine->own.transfer_case->law != TRANSFER_CASE_NONE;
}

enum machine_signal machine_slip(const struct machine *machine, const double *signals) {
  double rear = fabs(signals[machine_signal(machine, READ_wheel_slip)]);
  double front = fabs(signals[machine_signal(machine, READ_front_wheel_slip)]);
  return machine_drives_front(machine) && front > rear ? READ_front_wheel_slip : READ_wheel_slip;
}

unsigned machine_bounds(struct machine *machine, const struct machine_point *point) {
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, point, signals);
  unsigned bounds = 0;
#define SIGNAL_NOW(name) signals[machine_signal(machine, READ_##name)]
  if (fabs(signals[machine_signal(machine, machine_slip(machine, signals))]) >= tyre_used_up_slip(machine->own.tyre)) {
    bounds |= 1u << BOUND_grip;
  }
  if (SIGNAL_NOW(relief_a_flow) > OPEN_FLOW || SIGNAL_NOW(relief_b_flow) > OPEN_FLOW) {
    bounds |= 1u << BOUND_relief;
  }
  if (SIGNAL_NOW(limiter_a) > 1e-3 || SIGNAL_NOW(limiter_b) > 1e-3) {
    bounds |= 1u << BOUND_limiter;
  }
  if (SIGNAL_NOW(fuel_fraction) > 0.999) {
    bounds |= 1u << BOUND_engine_power;
  }
  if (SIGNAL_NOW(engine_speed) > 1.0000001 * machine->allowed_overspeed) {
    bounds |= 1u << BOUND_engine_overspeed;
  }
  if (SIGNAL_NOW(charge_pressure) < machine->own.charge->low_pressure + machine->own.lines->case_pressure) {
    bounds |= 1u << BOUND_charge;
  }
  if (SIGNAL_NOW(loop_oil_temperature) > machine->hot) {
    bounds |= 1u << BOUND_heat;
  }
  if (machine->own.controls->anti_stall == CONTROLS_ANTI_STALL_BY_LOAD && SIGNAL_NOW(anti_stall_cut) > 1e-3) {
    bounds |= 1u << BOUND_anti_stall;
  }
#undef SIGNAL_NOW
  return bounds;
}
