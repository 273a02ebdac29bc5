/* The valve rig: one volume of oil, fed from the tank by a flow that the operator can vary, and a relief valve to the
 * case. For response-time work on the valve alone. Wiring only; the formulas stand in fluid.h, volume.h and relief.h.
 *
 * The feed is a flow, or stated as the rise of the pressure that it makes while the valve is shut, r = K Q/V, with the
 * modulus K of oil, air and wall at the relief setting.
 *
 * Oil temperature T. The data of the oil hold at T_0. The liquid's modulus falls in a straight line, K_0 (1 - l
 * (T - T_0)/50 K); a quarter in 50 K is usual for mineral oil (from memory, handbooks). What it does to the poppet's
 * damping stands in relief.h.
 *
 * Signs: flow positive into the volume from the feed and out of it over the valve. */
#include "fluid.h"
#include "plant.h"
#include "relief.h"
#include "volume.h"

enum rig_feed_law { RIG_FED_BY_FLOW, RIG_FED_BY_RISE };

/* clang-format off */
#define RIG_FIELDS(REAL, CHOICE, TABLE)                                                                                \
  REAL(volume, VOLUME, 1.0, 0.001, 1000.0, NONE, "V5", "blocked volume with the relief valve")                         \
  REAL(feed_flow, FLOW, 60.0, 0.0, 10000.0, NONE, "Q5", "feed flow at full feed", "feed_law flow") \
  CHOICE(feed_law, RIG_FED_BY_FLOW, "flow|rise", "", "what full feed is: a flow, or a rise of the pressure while the valve is shut") \
  REAL(rise, PRESSURE_RATE, 5000.0, 0.1, 1e6, NONE, "", "rise of the pressure at full feed, at the relief setting", "feed_law rise") \
  REAL(oil_temperature, TEMPERATURE, 50.0, -40.0, 150.0, NONE, "", "temperature of the oil")                            \
  REAL(data_temperature, TEMPERATURE, 50.0, -40.0, 150.0, NONE, "", "temperature at which the data of the oil hold") \
  REAL(modulus_loss, FRACTION, 25.0, 0.0, 60.0, NONE, "", "share of the liquid's bulk modulus that 50 K of warming take") \
  REAL(start_pressure, PRESSURE, 24.987, -0.9, 1000.0, GAUGE, "p5_start", "pressure at the start")                     \
  REAL(case_pressure, PRESSURE, 0.987, -0.5, 10.0, GAUGE, "p_case", "pressure behind the valve")                       \
  REAL(tank_volume, VOLUME, 100.0, 1.0, 5000.0, NONE, "", "oil in the tank at the start")                              \
  TABLE(feed, TIME, FRACTION, 0.0, 100.0, "", "feed over time, of the feed flow; empty: 100 %")
/* clang-format on */

struct rig_parameters {
  RIG_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct rig_parameters
static const struct field rig_fields[] = {RIG_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

struct valve_rig_parameters {
  struct fluid_parameters fluid;
  struct relief_parameters relief;
  struct rig_parameters rig;
};

static const struct group valve_rig_groups[] = {
#define RIG_GROUP(component, words)                                                                                    \
  {                                                                                                                    \
    .name = #component, .fields = component##_fields, .field_count = FIELD_COUNT(component##_fields),                  \
    .offset = offsetof(struct valve_rig_parameters, component), .text = words                                          \
  }
    RIG_GROUP(fluid, "oil"),
    RIG_GROUP(relief, "relief valve"),
    RIG_GROUP(rig, "volume and feed"),
#undef RIG_GROUP
};

/* The valve's states stand last, in the order of enum relief_state. */
enum rig_state { RIG_COMPRESSION, RIG_TANK_OIL, RIG_VALVE, RIG_STATE_COUNT = RIG_VALVE + RELIEF_STATE_COUNT };

static const struct state_row valve_rig_states[] = {{"line_a_compression", "1", 1e-7, "compression of the volume"},
                                                    {"tank_oil", "m3", 1e-8, "oil in the tank"},
#define STATE_ROW(id, unit, tolerance, text) {#id, unit, tolerance, text},
                                                    RELIEF_STATES(STATE_ROW, a, "A", 1e-6)
#undef STATE_ROW
};

enum rig_signal {
  RIG_LINE_A_PRESSURE,
  RIG_RELIEF_A_FLOW,
  RIG_RELIEF_A_LIFT,
  RIG_RELIEF_A_POPPET,
  RIG_FEED_FLOW,
  RIG_PRESSURE_RATE,
  RIG_SIGNAL_COUNT
};

/* A valve alone is measured finer than a machine, and its energy is that of a few strokes of the poppet. */
static const struct strict_row valve_rig_strict[] = {{RIG_COMPRESSION, 0.005},
                                                     {RIG_VALVE + RELIEF_OPENING, 0.05},
                                                     {RIG_VALVE + RELIEF_LIFT, 0.05},
                                                     {RIG_VALVE + RELIEF_SPEED, 0.05}};

static const struct signal valve_rig_signals[] = {
    {"line_a_pressure", QUANTITY_PRESSURE, REFERENCE_GAUGE, "pressure in the volume"},
    {"relief_a_flow", QUANTITY_FLOW, REFERENCE_NONE, "flow over the relief valve"},
    {"relief_a_lift", QUANTITY_PRESSURE, REFERENCE_NONE, "opening of the relief valve, as pressure above cracking"},
    {"relief_a_poppet", QUANTITY_LENGTH, REFERENCE_NONE, "lift of the poppet"},
    {"feed_flow", QUANTITY_FLOW, REFERENCE_NONE, "feed flow"},
    {"pressure_rate", QUANTITY_PRESSURE_RATE, REFERENCE_NONE, "rise of the pressure"},
};

enum rig_ledger { RIG_FEED, RIG_RELIEF_A, RIG_CASE_RETURN, RIG_STORED_COMPRESSION, RIG_STORED_TANK, RIG_LEDGER_COUNT };

static const struct ledger_row valve_rig_ledger[] = {
    {"feed", LEDGER_SOURCE, "work of the feed"},
    {"relief_a", LEDGER_LOSS, "relief valve"},
    {"case_return", LEDGER_LOSS, "return from case to tank"},
    {"compression", LEDGER_STORED, "compression of the oil"},
    {"tank", LEDGER_STORED, "oil in the tank against the air"},
};

static const struct event_row valve_rig_events[] = {
    {"relief_a", "relief valve cracks", "relief valve: drop back below its setting", RIG_LINE_A_PRESSURE, 0.0},
    {"relief_a_stop", "relief valve meets its lift stop: it opens no further, whatever the pressure",
     "relief valve leaves its lift stop", RIG_LINE_A_PRESSURE, 1e-5},
};

/* There is one line, one valve and no machine. */
static const char *const valve_rig_lacks[] = {
    "least_line_oil",
    "line_b_pressure",
    "low_side_pressure",
    "line_pressure_difference",
    "charge_pressure",
    "engine_speed",
    "motor_speed",
    "vehicle_speed",
    "vehicle_distance",
    "wheel_slip",
    "front_wheel_slip",
    "relief_b_flow",
    "loop_oil_temperature",
    "tank_oil_temperature",
    "relief_b",
    "grade",
    "case_pressure",
    "brake_temperature",
    "front_brake_temperature",
    "fuel_used",
    "fuel_volume",
    "carbon_dioxide",
};

static const char *const valve_rig_channels[] = {"feed"};
static const char *const valve_rig_channel_texts[] = {"feed over rig.feed_flow"};
static const enum quantity valve_rig_channel_quantities[] = {QUANTITY_FRACTION};

_Static_assert((int)RIG_STATE_COUNT <= (int)PLANT_STATE_LIMIT && (int)RIG_SIGNAL_COUNT <= (int)PLANT_SIGNAL_LIMIT &&
                   (int)RIG_LEDGER_COUNT <= (int)PLANT_LEDGER_LIMIT,
               "the rig has no more rows than the run has room for");
_Static_assert(FIELD_COUNT(valve_rig_states) == RIG_STATE_COUNT && FIELD_COUNT(valve_rig_signals) == RIG_SIGNAL_COUNT &&
                   FIELD_COUNT(valve_rig_ledger) == RIG_LEDGER_COUNT,
               "each of the rig's rows has its name");

struct valve_rig_model {
  struct valve_rig_parameters own;
  struct fluid oil;
  real case_pressure; /* absolute */
  real full_feed;     /* m3/s */
  real thickness;     /* of the oil, over that at which the poppet's damping holds */
};

struct valve_rig_mode {
  struct piece feed;
  bool taken; /* an action moves the feed; the table is left */
};

struct rig_now {
  real valve[RELIEF_STATE_COUNT]; /* its states; those of other laws are zero */
  real position;                  /* m, or Pa above cracking, by the law */
  real pressure;                  /* Pa absolute */
  real over_case;                 /* Pa: the drop over the valve */
  real feed;                      /* m3/s */
  real relief;                    /* m3/s */
};

static inline struct rig_now rig_at(const struct valve_rig_model *model, const struct valve_rig_mode *mode, real t,
                                    const real *state) {
  struct rig_now now = {.valve = {0.0}};
  const struct relief_parameters *relief = &model->own.relief;
  int place = RIG_VALVE;
  for (int i = 0; i < RELIEF_STATE_COUNT; i++) {
    if (relief_has_state(relief, i)) {
      now.valve[i] = state[place++];
    }
  }
  now.pressure = fluid_pressure(&model->oil, state[RIG_COMPRESSION]);
  now.over_case = now.pressure - model->case_pressure;
  now.feed = model->full_feed * piece_at(&mode->feed, t);
  now.position = now.valve[relief_law_of(relief)->position_state];
  now.relief = relief_flow(relief, now.position, now.over_case, model->oil.density);
  return now;
}

/* The oil as it is at its temperature. */
static void warm(struct valve_rig_parameters *own, struct fluid *oil) {
  real warmer = own->rig.oil_temperature - own->rig.data_temperature;
  if (warmer == 0.0) {
    return;
  }
  own->fluid.bulk_modulus *= larger(1.0 - own->rig.modulus_loss * warmer / 50.0, 0.05);
  fluid_prepare(&own->fluid, oil);
}

static const char *valve_rig_prepare(const void *parameters, void *model_) {
  struct valve_rig_model *model = model_;
  model->own = *(const struct valve_rig_parameters *)parameters;
  const char *why_not = fluid_refusal(&model->own.fluid);
  if (why_not != NULL) {
    return why_not;
  }
  fluid_prepare(&model->own.fluid, &model->oil);
  warm(&model->own, &model->oil);
  model->thickness = fluid_viscosity(&model->oil.viscosity, model->own.rig.oil_temperature) /
                     fluid_viscosity(&model->oil.viscosity, model->own.relief.damping_temperature);
  model->case_pressure = model->own.rig.case_pressure + model->oil.ambient;
  real modulus = fluid_bulk_modulus(&model->own.fluid, model->case_pressure + model->own.relief.setting);
  model->full_feed = model->own.rig.feed_law == RIG_FED_BY_RISE ? model->own.rig.rise * model->own.rig.volume / modulus
                                                                : model->own.rig.feed_flow;
  if (model->own.relief.settings != RELIEF_ALIKE) {
    return "relief.settings: the valve rig has one valve; give its setting by relief.setting";
  }
  if (model->own.relief.return_to != RELIEF_TO_LINE) {
    return "relief.return_to: the valve rig has no charge gallery; its valve returns to the case whatever is said here";
  }
  return NULL;
}

static bool valve_rig_signal_active(const void *parameters, int signal) {
  const struct valve_rig_parameters *own = parameters;
  if (signal == RIG_RELIEF_A_LIFT || signal == RIG_RELIEF_A_POPPET) {
    return (relief_law_of(&own->relief)->position == RELIEF_BY_LIFT) == (signal == RIG_RELIEF_A_POPPET);
  }
  return true;
}

static int valve_rig_active_states(const void *model_, int *rows) {
  const struct valve_rig_model *model = model_;
  int count = 0;
  rows[count++] = RIG_COMPRESSION;
  rows[count++] = RIG_TANK_OIL;
  for (int i = 0; i < RELIEF_STATE_COUNT; i++) {
    if (relief_has_state(&model->own.relief, i)) {
      rows[count++] = RIG_VALVE + i;
    }
  }
  return count;
}

static struct piece feed_piece(const struct valve_rig_model *model, real t) {
  const struct profile *table = &model->own.rig.feed;
  struct piece piece = profile_piece(table, profile_index(table, t));
  if (table->count == 0) {
    piece.value = 1.0;
  }
  return piece;
}

static void valve_rig_start(const void *model_, void *mode_, real *state) {
  const struct valve_rig_model *model = model_;
  struct valve_rig_mode *mode = mode_;
  mode->feed = feed_piece(model, 0.0);
  mode->taken = false;
  state[RIG_COMPRESSION] = fluid_compression(&model->oil, model->own.rig.start_pressure + model->oil.ambient);
  state[RIG_TANK_OIL] = model->own.rig.tank_volume;
  for (int i = 0, place = RIG_VALVE; i < RELIEF_STATE_COUNT; i++) {
    if (relief_has_state(&model->own.relief, i)) {
      state[place++] = 0.0;
    }
  }
}

static void valve_rig_rates(const void *model_, const void *mode, real t, const real *state, real *rates) {
  const struct valve_rig_model *model = model_;
  struct rig_now now = rig_at(model, mode, t, state);
  real valve[RELIEF_STATE_COUNT] = {0.0};
  relief_rates(&model->own.relief, now.valve, now.over_case, model->thickness, valve);
  rates[RIG_COMPRESSION] = volume_compression_rate(model->own.rig.volume, now.feed - now.relief);
  rates[RIG_TANK_OIL] = now.relief - now.feed;
  for (int i = 0, place = RIG_VALVE; i < RELIEF_STATE_COUNT; i++) {
    if (relief_has_state(&model->own.relief, i)) {
      rates[place++] = valve[i];
    }
  }
}

static void valve_rig_powers(const void *model_, const void *mode, real t, const real *state, real *powers) {
  const struct valve_rig_model *model = model_;
  struct rig_now now = rig_at(model, mode, t, state);
  powers[RIG_FEED] = now.feed * (now.pressure - model->oil.ambient);
  powers[RIG_RELIEF_A] = now.relief * now.over_case;
  powers[RIG_CASE_RETURN] = now.relief * (model->case_pressure - model->oil.ambient);
}

static void valve_rig_signals_at(const void *model_, const void *mode, real t, const real *state, real *out) {
  const struct valve_rig_model *model = model_;
  struct rig_now now = rig_at(model, mode, t, state);
  real rate = volume_compression_rate(model->own.rig.volume, now.feed - now.relief);
  out[RIG_LINE_A_PRESSURE] = now.pressure - model->oil.ambient;
  out[RIG_RELIEF_A_FLOW] = now.relief;
  out[RIG_RELIEF_A_LIFT] = now.position;
  out[RIG_RELIEF_A_POPPET] = now.position;
  out[RIG_FEED_FLOW] = now.feed;
  out[RIG_PRESSURE_RATE] = rate * fluid_bulk_modulus(&model->own.fluid, now.pressure);
}

static void valve_rig_events_at(const void *model_, const void *mode, real t, const real *state, real *values) {
  const struct valve_rig_model *model = model_;
  struct rig_now now = rig_at(model, mode, t, state);
  values[0] = now.over_case - model->own.relief.setting;
  values[1] = model->own.relief.law == RELIEF_POPPET ? now.position - model->own.relief.largest_lift : -1.0;
}

static void valve_rig_stored(const void *model_, const real *state, real *energies) {
  const struct valve_rig_model *model = model_;
  energies[RIG_STORED_COMPRESSION - RIG_STORED_COMPRESSION] =
      model->own.rig.volume * fluid_stored_energy(&model->oil, state[RIG_COMPRESSION]);
  energies[RIG_STORED_TANK - RIG_STORED_COMPRESSION] = model->oil.ambient * state[RIG_TANK_OIL];
}

static real valve_rig_oil(const void *model_, const real *state) {
  const struct valve_rig_model *model = model_;
  return state[RIG_TANK_OIL] + model->own.rig.volume * state[RIG_COMPRESSION];
}

static real valve_rig_next_time(const void *mode_) {
  const struct valve_rig_mode *mode = mode_;
  return mode->feed.high;
}

static void valve_rig_guards(const void *model, const void *mode, const real *state, real *values) {
  (void)model;
  (void)mode;
  (void)state;
  (void)values;
}

static enum plant_verdict valve_rig_change(const void *model_, void *mode_, real t, real *state, int which,
                                           const char **message) {
  struct valve_rig_mode *mode = mode_;
  (void)state;
  (void)which;
  *message = NULL;
  while (mode->feed.high <= t + clock_apart(t)) {
    mode->feed = mode->taken ? piece_rest(&mode->feed, t) : feed_piece(model_, larger(t, mode->feed.high));
  }
  return PLANT_GOES_ON;
}

static void valve_rig_move(const void *model, void *mode_, real t, int channel, real target, real duration) {
  struct valve_rig_mode *mode = mode_;
  (void)model;
  (void)channel;
  mode->feed = piece_move(&mode->feed, t, target, duration);
  mode->taken = true;
}

static real valve_rig_braking_from(const void *mode, const char **why) {
  (void)mode;
  *why = "";
  return NAN;
}

const struct plant valve_rig_plant = {
    .name = "valve_rig",
    .text = "one volume of oil with a feed and a relief valve",
    .groups = valve_rig_groups,
    .group_count = FIELD_COUNT(valve_rig_groups),
    .parameter_size = sizeof(struct valve_rig_parameters),
    .model_size = sizeof(struct valve_rig_model),
    .mode_size = sizeof(struct valve_rig_mode),
    .states = valve_rig_states,
    .state_count = RIG_STATE_COUNT,
    .strict = valve_rig_strict,
    .strict_count = FIELD_COUNT(valve_rig_strict),
    .signals = valve_rig_signals,
    .signal_count = RIG_SIGNAL_COUNT,
    .lacks = valve_rig_lacks,
    .lack_count = FIELD_COUNT(valve_rig_lacks),
    .ledger = valve_rig_ledger,
    .ledger_count = RIG_LEDGER_COUNT,
    .ledger_integrated = RIG_STORED_COMPRESSION,
    .events = valve_rig_events,
    .event_count = FIELD_COUNT(valve_rig_events),
    .channels = valve_rig_channels,
    .channel_texts = valve_rig_channel_texts,
    .channel_quantities = valve_rig_channel_quantities,
    .channel_count = 1,
    .signal_active = valve_rig_signal_active,
    .prepare = valve_rig_prepare,
    .active_states = valve_rig_active_states,
    .start = valve_rig_start,
    .rates = valve_rig_rates,
    .powers = valve_rig_powers,
    .signals_at = valve_rig_signals_at,
    .events_at = valve_rig_events_at,
    .stored = valve_rig_stored,
    .oil = valve_rig_oil,
    .guard_count = 0,
    .next_time = valve_rig_next_time,
    .guards = valve_rig_guards,
    .change = valve_rig_change,
    .move = valve_rig_move,
    .braking_from = valve_rig_braking_from,
};
