#include "valve_curve.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fluid.h"
#include "history.h"
#include "registry.h"
#include "relief.h"
#include "thresholds.h"

enum { SAMPLES_EACH_WAY = 20000, DOUBLINGS = 9 };

#define SHORTEST_RAMP 1.0   /* s, each way */
#define OWN_TIMES 250.0     /* of the valve's own time, at the least */
#define SLOW_ENOUGH 1e-3    /* of the override: so much half the rate may change the curve */
#define FINE_TOLERANCE 1e-8 /* so that two ramps differ by the rate alone */
#define RESTLESS 0.1        /* of the override: a valve that half the rate changes so much chatters at any rate */
/* The dry friction of the law fades below RELIEF_FRICTION_SPEED: a sticking poppet is to move so many times as fast. */
#define SLOWEST_STICKING 10.0

const struct signal valve_curve_rows[CURVE_COUNT] = {
#define CURVE_ROW(name, quantity, reference, text) {#name, QUANTITY_##quantity, REFERENCE_##reference, text},
    VALVE_CURVE_LIST(CURVE_ROW)
#undef CURVE_ROW
};

/* What is written to and read of a rig; found by name at the start. */
struct rig_access {
  struct relief_parameters *relief;
  struct fluid_parameters *fluid;
  double *case_pressure; /* Pa gauge */
  struct profile *feed;
  int *feed_law;
  double *feed_flow;      /* m3/s */
  double *start_pressure; /* Pa gauge */
};

static bool access_rig(const struct case_data *rig, struct rig_access *at, struct error *error) {
  const struct plant *plant = rig->plant;
  void *base = rig->parameters;
  return (at->relief = registry_need_section(plant, base, "relief", error)) != NULL &&
         (at->fluid = registry_need_section(plant, base, "fluid", error)) != NULL &&
         (at->case_pressure = registry_need_parameter(plant, base, "rig", "case_pressure", error)) != NULL &&
         (at->feed = registry_need_parameter(plant, base, "rig", "feed", error)) != NULL &&
         (at->feed_law = registry_need_parameter(plant, base, "rig", "feed_law", error)) != NULL &&
         (at->feed_flow = registry_need_parameter(plant, base, "rig", "feed_flow", error)) != NULL &&
         (at->start_pressure = registry_need_parameter(plant, base, "rig", "start_pressure", error)) != NULL;
}

bool valve_curve_rig(const struct case_data *data, struct case_data *rig, struct error *error) {
  if (data->plant == &valve_rig_plant) {
    return case_copy(data, rig, error);
  }
  if (!case_load_text(data->source, "circuit: valve_rig\n", NULL, 0, rig, error)) {
    return false;
  }
  struct rig_access at;
  const struct fluid_parameters *fluid = registry_need_section(data->plant, data->parameters, "fluid", error);
  const struct relief_parameters *relief = registry_need_section(data->plant, data->parameters, "relief", error);
  if (fluid == NULL || relief == NULL || !access_rig(rig, &at, error)) {
    case_free(rig);
    return false;
  }
  *at.fluid = *fluid;
  *at.relief = *relief;
  at.relief->return_to = RELIEF_TO_LINE;
  at.relief->settings = RELIEF_ALIKE;
  rig->simulation = data->simulation;
  return true;
}

/* Where the flow passes `flow` on the way up (down): the first place from the start (from the end). */
static double at_flow(const struct history *history, int flow_column, int column, double flow, bool up) {
  const double *q = history->values[flow_column];
  const double *values = history->values[column];
  int last = history->count - 1;
  for (int i = 1; i <= last; i++) {
    int k = up ? i : last - i;
    int before = up ? k - 1 : k + 1;
    if (q[k] >= flow && q[before] < flow) {
      double share = (flow - q[before]) / (q[k] - q[before]);
      return values[before] + share * (values[k] - values[before]);
    }
  }
  return NAN;
}

static void give(struct valve_curve *curve, enum valve_curve_id id, double value, const char *why) {
  curve->values[id] = value;
  (void)snprintf(curve->absent[id], sizeof curve->absent[id], "%s", isnan(value) ? why : "");
}

static void measure(struct valve_curve *curve, const struct relief_parameters *relief, double density) {
  int last = VALVE_CURVE_POINTS - 1;
  double hysteresis = 0.0;
  double deviation = 0.0;
  for (int i = 0; i <= last; i++) {
    double apart = fabs(curve->up[i] - curve->down[i]);
    double off = fabs(0.5 * (curve->up[i] + curve->down[i]) - curve->balance[i]);
    hysteresis = apart > hysteresis ? apart : hysteresis;
    deviation = off > deviation ? off : deviation;
  }
  give(curve, CURVE_cracking_drop, curve->up[0], "the valve never opens");
  give(curve, CURVE_largest_flow, curve->flow[last], "");
  give(curve, CURVE_full_drop, curve->up[last], "the valve never passes the largest flow");
  give(curve, CURVE_pressure_override, curve->up[last] - curve->up[0], "the valve never passes the largest flow");
  give(curve, CURVE_override_share, curve->up[last] / curve->up[0] - 1.0, "the valve never passes the largest flow");
  give(curve, CURVE_reseat_drop, curve->down[0], "the valve does not shut");
  give(curve, CURVE_hysteresis, hysteresis, "");
  give(curve, CURVE_full_lift, curve->lift_quantity == QUANTITY_LENGTH ? curve->lift[last] : NAN,
       "by its law the valve has no lift");
  double stop = relief_stop_flow(relief, density);
  give(curve, CURVE_stop_flow, stop <= curve->flow[last] ? stop : NAN,
       isfinite(relief_stop_position(relief)) ? "the poppet stays clear of its stop"
                                              : "by its law the valve has no stop");
  give(curve, CURVE_balance_deviation, deviation, "");
}

/* A time that the valve needs by itself, s: its lag; of a poppet the time of its damping against spring and jet, and
 * one swing of its mass on the spring. */
static double own_time(const struct relief_parameters *relief) {
  if (relief->law == RELIEF_FIRST_ORDER) {
    return relief->lag;
  }
  double stiffness = relief->spring_rate + relief_flow_force_factor(relief) * relief->setting;
  return relief->poppet_damping / stiffness + 2.0 * 3.141592653589793 * sqrt(relief->poppet_mass / stiffness);
}

/* The ramp to begin with, s. */
static double first_ramp(const struct rig_access *at, double largest_flow) {
  double time = fmax(SHORTEST_RAMP, OWN_TIMES * own_time(at->relief));
  double lift = 0.0;
  if (at->relief->law == RELIEF_POPPET && at->relief->poppet_friction > 0.0) {
    relief_balance_drop(at->relief, largest_flow, at->fluid->density, &lift);
    time = lift / (SLOWEST_STICKING * RELIEF_FRICTION_SPEED);
  }
  return time;
}

/* One ramp up and down. */
static bool run_ramp(struct case_data *rig, const struct rig_access *at, double largest_flow, double ramp_time,
                     const struct watcher *watcher, struct valve_curve *curve, struct error *error) {
  const struct relief_parameters *relief = at->relief;
  double case_pressure = *at->case_pressure;
  double arguments[] = {0.0, ramp_time, 2.0 * ramp_time};
  double values[] = {0.0, 1.0, 0.0};
  *at->feed = (struct profile){.count = 3, .argument = arguments, .value = values};
  *at->feed_law = 0;
  /* A little beyond the flow wanted, so that the curve ends within what was run. */
  *at->feed_flow = 1.01 * largest_flow;
  *at->start_pressure = 0.99 * relief->setting + case_pressure;
  rig->simulation.end_time = 2.0 * ramp_time;
  rig->simulation.relative_tolerance = fmin(rig->simulation.relative_tolerance, FINE_TOLERANCE);
  rig->simulation.output_step = ramp_time / SAMPLES_EACH_WAY;

  struct history history = {0};
  int pressure;
  int flow;
  int lift;
  char lift_name[64];
  (void)snprintf(lift_name, sizeof lift_name, relief_position_signals[relief_law_of(relief)->position], 'a');
  struct recorder recorder = {&history, history_block};
  struct outcome outcome = {0};
  bool good = history_need(&history, rig->plant, "line_a_pressure", &pressure, error) &&
              history_need(&history, rig->plant, "relief_a_flow", &flow, error) &&
              history_need(&history, rig->plant, lift_name, &lift, error) &&
              run_case(rig, &recorder, watcher, &outcome, error);
  if (good && outcome.status != RUN_COMPLETE) {
    good = false;
    if (outcome.status == RUN_FAILED) {
      *error = outcome.error;
    } else {
      error_set(error, ERROR_RUN, "interrupted");
    }
  }
  if (good) {
    memset(curve, 0, sizeof *curve);
    curve->lift_quantity = relief_law_of(relief)->position == RELIEF_BY_LIFT ? QUANTITY_LENGTH : QUANTITY_PRESSURE;
    for (int i = 0; i < VALVE_CURVE_POINTS; i++) {
      double share = (double)i / (VALVE_CURVE_POINTS - 1);
      double q = OPEN_FLOW + share * (largest_flow - OPEN_FLOW);
      double balance_position;
      curve->flow[i] = q;
      curve->up[i] = at_flow(&history, flow, pressure, q, true) - case_pressure;
      curve->down[i] = at_flow(&history, flow, pressure, q, false) - case_pressure;
      curve->lift[i] = at_flow(&history, flow, lift, q, true);
      curve->balance[i] = relief_balance_drop(relief, q, at->fluid->density, &balance_position);
    }
  }
  *at->feed = (struct profile){0}; /* the points above go out of scope */
  history_free(&history);
  outcome_free(&outcome);
  return good;
}

/* What the drop of one curve is off the other at the most, Pa; NaN where one has no drop. */
static double apart(const struct valve_curve *one, const struct valve_curve *other) {
  double most = 0.0;
  for (int i = 0; i < VALVE_CURVE_POINTS; i++) {
    double up = fabs(one->up[i] - other->up[i]);
    double down = fabs(one->down[i] - other->down[i]);
    if (isnan(up) || isnan(down)) {
      return NAN;
    }
    most = fmax(most, fmax(up, down));
  }
  return most;
}

bool valve_curve_find(struct case_data *rig, double largest_flow, double ramp_time, const struct watcher *watcher,
                      struct valve_curve *curve, struct error *error) {
  struct rig_access at;
  if (!access_rig(rig, &at, error)) {
    return false;
  }
  /* Beyond its stop a valve is an orifice: no curve of a valve. */
  double stop_flow = relief_stop_flow(at.relief, at.fluid->density);
  bool ends_at_stop = stop_flow < largest_flow;
  largest_flow = ends_at_stop ? stop_flow : largest_flow;
  bool sticks = at.relief->law == RELIEF_POPPET && at.relief->poppet_friction > 0.0;
  bool by_itself = ramp_time == 0.0 && !sticks;
  double used = ramp_time == 0.0 ? first_ramp(&at, largest_flow) : ramp_time;
  struct valve_curve *slower = calloc(1, sizeof *slower);
  if (slower == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for a curve");
  }
  bool good = run_ramp(rig, &at, largest_flow, used, watcher, curve, error);
  double change = NAN;
  for (int doublings = 0; good && doublings < DOUBLINGS; doublings++) {
    good = run_ramp(rig, &at, largest_flow, 2.0 * used, watcher, slower, error);
    change = good ? apart(curve, slower) : NAN;
    double override = slower->up[VALVE_CURVE_POINTS - 1] - slower->up[0];
    if (!good || !by_itself || change <= SLOW_ENOUGH * override || !(change <= RESTLESS * override)) {
      break;
    }
    used *= 2.0;
    *curve = *slower;
  }
  if (good) {
    curve->ends_at_stop = ends_at_stop;
    measure(curve, at.relief, at.fluid->density);
    give(curve, CURVE_ramp_time, used, "");
    give(curve, CURVE_ramp_change, change, "the valve does not pass every flow of the curve both ways");
  }
  free(slower);
  return good;
}
