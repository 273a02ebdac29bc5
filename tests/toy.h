/* A plant made of a few lines, for tests of the run room: every state is a signal, one lever, one guard. What it does
 * is a struct toy of functions; fields left out do nothing. */
#ifndef SWASHLOOP_TESTS_TOY_H
#define SWASHLOOP_TESTS_TOY_H

#include <math.h>
#include <string.h>

#include "case.h"
#include "run.h"

enum { TOY_STATES = 4 };

struct toy {
  double start[TOY_STATES];
  void (*rates)(double t, double lever, const double *y, double *rates);
  void (*signals)(double t, double lever, const double *y, double *signals); /* NULL: the states */
  double (*event)(const double *y);                                          /* reported when it crosses zero */
  double (*falls)(const double *y);                                          /* the guard: positive while all is well */
  enum plant_verdict (*change)(double *y, const char **message);             /* what happens when it falls */
  void (*powers)(double t, const double *y, double *in, double *lost);
  double (*stored)(const double *y);
  struct profile lever;
  double release; /* start of braking */
  bool stuck;     /* the lever's clock does not move on */
};

struct toy_mode {
  struct piece lever;
  bool taken;
  double release;
};

static const struct toy *toy_of(const void *block) {
  return *(const struct toy *const *)block;
}

static const char *toy_prepare(const void *parameters, void *model) {
  memcpy(model, parameters, sizeof(const struct toy *));
  return NULL;
}

static int toy_active(const void *model, int *rows) {
  (void)model;
  for (int i = 0; i < TOY_STATES; i++) {
    rows[i] = i;
  }
  return TOY_STATES;
}

static bool toy_signal_active(const void *parameters, int signal) {
  (void)parameters;
  (void)signal;
  return true;
}

static void toy_start(const void *model, void *mode_, real *state) {
  const struct toy *toy = toy_of(model);
  struct toy_mode *mode = mode_;
  mode->lever = profile_piece(&toy->lever, profile_index(&toy->lever, 0.0));
  mode->taken = false;
  mode->release = toy->release;
  memcpy(state, toy->start, sizeof toy->start);
}

static void toy_rates(const void *model, const void *mode, real t, const real *state, real *rates) {
  for (int i = 0; i < TOY_STATES; i++) {
    rates[i] = 0.0;
  }
  toy_of(model)->rates(t, piece_at(&((const struct toy_mode *)mode)->lever, t), state, rates);
}

static void toy_powers(const void *model, const void *mode, real t, const real *state, real *powers) {
  (void)mode;
  powers[0] = powers[1] = 0.0;
  if (toy_of(model)->powers != NULL) {
    toy_of(model)->powers(t, state, &powers[0], &powers[1]);
  }
}

static void toy_signals(const void *model, const void *mode, real t, const real *state, real *signals) {
  memcpy(signals, state, TOY_STATES * sizeof *state);
  if (toy_of(model)->signals != NULL) {
    toy_of(model)->signals(t, piece_at(&((const struct toy_mode *)mode)->lever, t), state, signals);
  }
}

static void toy_events(const void *model, const void *mode, real t, const real *state, real *values) {
  (void)mode;
  (void)t;
  values[0] = toy_of(model)->event != NULL ? toy_of(model)->event(state) : -1.0;
}

static void toy_stored(const void *model, const real *state, real *energies) {
  energies[0] = toy_of(model)->stored != NULL ? toy_of(model)->stored(state) : 0.0;
}

static real toy_oil(const void *model, const real *state) {
  (void)model;
  (void)state;
  return 0.0;
}

static real toy_next_time(const void *mode) {
  return ((const struct toy_mode *)mode)->lever.high;
}

static void toy_guards(const void *model, const void *mode, const real *state, real *values) {
  (void)mode;
  values[0] = toy_of(model)->falls != NULL ? toy_of(model)->falls(state) : 1.0;
}

static enum plant_verdict toy_change(const void *model, void *mode_, real t, real *state, int which,
                                     const char **message) {
  const struct toy *toy = toy_of(model);
  struct toy_mode *mode = mode_;
  *message = NULL;
  if (which >= 0) {
    return toy->change != NULL ? toy->change(state, message) : PLANT_GOES_ON;
  }
  if (!toy->stuck) {
    mode->lever = mode->taken ? piece_rest(&mode->lever, t) : profile_piece(&toy->lever, profile_index(&toy->lever, t));
  }
  return PLANT_GOES_ON;
}

static void toy_move(const void *model, void *mode_, real t, int channel, real target, real duration) {
  struct toy_mode *mode = mode_;
  (void)model;
  (void)channel;
  mode->lever = piece_move(&mode->lever, t, target, duration);
  mode->taken = true;
}

static real toy_braking_from(const void *mode, const char **why) {
  *why = "the toy is let go";
  return ((const struct toy_mode *)mode)->release;
}

static const struct state_row toy_states[TOY_STATES] = {
    {"first", "1", 1e-9, ""}, {"second", "1", 1e-9, ""}, {"third", "1", 1e-9, ""}, {"fourth", "1", 1e-9, ""}};
static const struct signal toy_signal_rows[TOY_STATES] = {
    {"line_a_pressure", QUANTITY_NUMBER, REFERENCE_NONE, "the first"},
    {"relief_a_flow", QUANTITY_NUMBER, REFERENCE_NONE, "the second"},
    {"vehicle_speed", QUANTITY_NUMBER, REFERENCE_NONE, "the third"},
    {"vehicle_distance", QUANTITY_NUMBER, REFERENCE_NONE, "the fourth"}};
static const struct ledger_row toy_ledger[] = {
    {"in", LEDGER_SOURCE, ""}, {"relief_a", LEDGER_LOSS, ""}, {"kept", LEDGER_STORED, ""}};
static const struct event_row toy_event_rows[] = {{"crossing", "up", "down", 0, 0.0}};
/* What a run measures and the toy has none of. */
static const char *const toy_lacks[] = {"grade",
                                        "line_pressure_difference",
                                        "least_line_oil",
                                        "line_b_pressure",
                                        "low_side_pressure",
                                        "charge_pressure",
                                        "case_pressure",
                                        "fuel_used",
                                        "fuel_volume",
                                        "carbon_dioxide",
                                        "engine_speed",
                                        "motor_speed",
                                        "wheel_slip",
                                        "front_wheel_slip",
                                        "relief_b_flow",
                                        "loop_oil_temperature",
                                        "tank_oil_temperature",
                                        "brake_temperature",
                                        "front_brake_temperature",
                                        "relief_b"};
static const char *const toy_channels[] = {"lever"};
static const enum quantity toy_channel_quantities[] = {QUANTITY_NUMBER};

static const struct plant toy_plant = {
    .name = "toy",
    .text = "a toy",
    .parameter_size = sizeof(const struct toy *),
    .model_size = sizeof(const struct toy *),
    .mode_size = sizeof(struct toy_mode),
    .states = toy_states,
    .state_count = TOY_STATES,
    .signals = toy_signal_rows,
    .signal_count = TOY_STATES,
    .lacks = toy_lacks,
    .lack_count = sizeof toy_lacks / sizeof toy_lacks[0],
    .ledger = toy_ledger,
    .ledger_count = 3,
    .ledger_integrated = 2,
    .events = toy_event_rows,
    .event_count = 1,
    .channels = toy_channels,
    .channel_quantities = toy_channel_quantities,
    .channel_count = 1,
    .prepare = toy_prepare,
    .active_states = toy_active,
    .signal_active = toy_signal_active,
    .start = toy_start,
    .rates = toy_rates,
    .powers = toy_powers,
    .signals_at = toy_signals,
    .events_at = toy_events,
    .stored = toy_stored,
    .oil = toy_oil,
    .guard_count = 1,
    .next_time = toy_next_time,
    .guards = toy_guards,
    .change = toy_change,
    .move = toy_move,
    .braking_from = toy_braking_from,
};

/* A case of this toy; `keeps` holds the pointer that the parameters are. */
static inline struct case_data toy_case(const struct toy **ref, const struct toy *toy, double end_time) {
  struct case_data data;
  memset(&data, 0, sizeof data);
  *ref = toy;
  data.plant = &toy_plant;
  data.parameters = ref;
  data.simulation.end_time = end_time;
  data.simulation.output_step = 1e-2;
  data.simulation.work_limit = 1e6;
  data.simulation.relative_tolerance = 1e-10;
  data.simulation.pressure_tolerance = 1e2; /* tolerances as stated in the rows */
  data.simulation.nonlinear_tolerance = 0.01;
  data.simulation.largest_order = 5.0;
  data.simulation.largest_step = 0.04;
  data.simulation.stop_from = -1.0;
  return data;
}

#endif
