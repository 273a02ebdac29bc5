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

enum { SAMPLES_EACH_WAY = 20000 };

const struct signal valve_curve_rows[CURVE_COUNT] = {
#define CURVE_ROW(name, quantity, reference, text) {#name, QUANTITY_##quantity, REFERENCE_##reference, text},
    VALVE_CURVE_LIST(CURVE_ROW)
#undef CURVE_ROW
};

static void *member_of(const struct case_data *data, const char *group_name, const char *field_name) {
  const struct group *group = registry_group(data->plant->groups, data->plant->group_count, group_name);
  struct parameter parameter = {group, registry_field(group, field_name)};
  return registry_member(data->parameters, parameter);
}

static void *group_of(const struct case_data *data, const char *group_name) {
  const struct group *group = registry_group(data->plant->groups, data->plant->group_count, group_name);
  return (char *)data->parameters + group->offset;
}

bool valve_curve_rig(const struct case_data *data, struct case_data *rig, struct error *error) {
  if (data->plant == &valve_rig_plant) {
    return case_copy(data, rig, error);
  }
  if (!case_load_text(data->source, "circuit: valve_rig\n", NULL, 0, rig, error)) {
    return false;
  }
  memcpy(group_of(rig, "fluid"), group_of(data, "fluid"), sizeof(struct fluid_parameters));
  memcpy(group_of(rig, "relief"), group_of(data, "relief"), sizeof(struct relief_parameters));
  ((struct relief_parameters *)group_of(rig, "relief"))->return_to = RELIEF_TO_LINE;
  rig->simulation = data->simulation;
  return true;
}

/* Drop at which the valve passes `flow` in balance, and its lift. */
static double balance_at(const struct relief_parameters *relief, double density, double flow, double *lift) {
  if (relief->law != RELIEF_POPPET) {
    *lift = flow / relief->gradient;
    return relief->setting + *lift;
  }
  double drop = relief_poppet_drop(relief, flow, density, lift);
  if (*lift > relief->largest_lift) { /* against the stop it is a fixed opening */
    double speed = flow / (relief->discharge * relief->opening_width * relief->largest_lift);
    *lift = relief->largest_lift;
    drop = 0.5 * density * speed * speed;
  }
  return drop;
}

/* The first flow, by bisection, at which the poppet meets its stop. */
static double stop_flow(const struct relief_parameters *relief, double density, double largest) {
  double lift;
  relief_poppet_drop(relief, largest, density, &lift);
  if (lift < relief->largest_lift) {
    return NAN;
  }
  double low = 0.0;
  double high = largest;
  for (int i = 0; i < 60; i++) {
    double middle = 0.5 * (low + high);
    relief_poppet_drop(relief, middle, density, &lift);
    if (lift < relief->largest_lift) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return high;
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
  give(curve, CURVE_full_lift, curve->poppet ? curve->lift[last] : NAN, "the law first_order has no lift");
  give(curve, CURVE_stop_flow, curve->poppet ? stop_flow(relief, density, curve->flow[last]) : NAN,
       curve->poppet ? "the poppet stays clear of its stop" : "the law first_order has no stop");
  give(curve, CURVE_balance_deviation, deviation, "");
}

bool valve_curve_find(struct case_data *rig, double largest_flow, double ramp_time, const struct watcher *watcher,
                      struct valve_curve *curve, struct error *error) {
  const struct relief_parameters *relief = group_of(rig, "relief");
  const struct fluid_parameters *fluid = group_of(rig, "fluid");
  double case_pressure = *(double *)member_of(rig, "rig", "case_pressure");
  double arguments[] = {0.0, ramp_time, 2.0 * ramp_time};
  double values[] = {0.0, 1.0, 0.0};
  struct profile *feed = member_of(rig, "rig", "feed");
  *feed = (struct profile){.count = 3, .argument = arguments, .value = values};
  *(int *)member_of(rig, "rig", "feed_law") = 0;
  /* A little beyond the flow wanted, so that the curve ends within what was run. */
  *(double *)member_of(rig, "rig", "feed_flow") = 1.01 * largest_flow;
  *(double *)member_of(rig, "rig", "start_pressure") = 0.99 * relief->setting + case_pressure;
  rig->simulation.end_time = 2.0 * ramp_time;
  rig->simulation.output_step = ramp_time / SAMPLES_EACH_WAY;

  struct history history = {0};
  int pressure = history_want(&history, registry_signal(rig->plant, "line_a_pressure"));
  int flow = history_want(&history, registry_signal(rig->plant, "relief_a_flow"));
  int lift = history_want(
      &history, registry_signal(rig->plant, relief->law == RELIEF_POPPET ? "relief_a_poppet" : "relief_a_lift"));
  struct recorder recorder = {&history, history_block};
  struct outcome outcome;
  bool good = run_case(rig, &recorder, watcher, &outcome, error);
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
    curve->poppet = relief->law == RELIEF_POPPET;
    for (int i = 0; i < VALVE_CURVE_POINTS; i++) {
      double share = (double)i / (VALVE_CURVE_POINTS - 1);
      double q = OPEN_FLOW + share * (largest_flow - OPEN_FLOW);
      double balance_lift;
      curve->flow[i] = q;
      curve->up[i] = at_flow(&history, flow, pressure, q, true) - case_pressure;
      curve->down[i] = at_flow(&history, flow, pressure, q, false) - case_pressure;
      curve->lift[i] = at_flow(&history, flow, lift, q, true);
      curve->balance[i] = balance_at(relief, fluid->density, q, &balance_lift);
    }
    measure(curve, relief, fluid->density);
  }
  *feed = (struct profile){0}; /* the points above go out of scope */
  history_free(&history);
  outcome_free(&outcome);
  return good;
}
