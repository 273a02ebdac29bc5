#include "measurer.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"

#define STANDSTILL 0.05     /* m/s */
#define OPEN_FLOW 1e-5      /* m3/s through an open relief valve */
#define SETTLED 0.5         /* s */
#define CREEP_TIME 1.0      /* s */
#define LEAST_ENERGY_IN 1e3 /* J: floor of what a residual is compared with */

/* Which extreme of which signal makes which measure, and where its time goes (-1: nowhere). */
struct extreme_row {
  int measure;
  int time_measure;
  const char *signal;
  double sign;
  bool absolute;
  double from;
};

static const struct extreme_row extreme_rows[] = {
    {MEASURE_peak_line_a_pressure, MEASURE_peak_line_a_pressure_time, "line_a_pressure", 1.0, false, 0.0},
    {MEASURE_peak_line_b_pressure, MEASURE_peak_line_b_pressure_time, "line_b_pressure", 1.0, false, 0.0},
    {MEASURE_lowest_low_side_pressure, MEASURE_lowest_low_side_pressure_time, "low_side_pressure", -1.0, false, 0.0},
    {MEASURE_lowest_low_side_pressure_after_settling, -1, "low_side_pressure", -1.0, false, SETTLED},
    {MEASURE_lowest_charge_pressure, MEASURE_lowest_charge_pressure_time, "charge_pressure", -1.0, false, 0.0},
    {MEASURE_peak_charge_pressure, -1, "charge_pressure", 1.0, false, 0.0},
    {MEASURE_engine_speed_max, MEASURE_engine_speed_max_time, "engine_speed", 1.0, false, 0.0},
    {MEASURE_engine_speed_min, MEASURE_engine_speed_min_time, "engine_speed", -1.0, false, 0.0},
    {MEASURE_motor_speed_max, -1, "motor_speed", 1.0, true, 0.0},
    {MEASURE_vehicle_speed_max, -1, "vehicle_speed", 1.0, true, 0.0},
    {MEASURE_largest_wheel_slip, -1, "wheel_slip", 1.0, true, 0.0},
    {MEASURE_largest_front_wheel_slip, -1, "front_wheel_slip", 1.0, true, 0.0},
    {MEASURE_relief_a_peak_flow, -1, "relief_a_flow", 1.0, false, 0.0},
    {MEASURE_relief_b_peak_flow, -1, "relief_b_flow", 1.0, false, 0.0},
    {MEASURE_loop_oil_temperature_max, -1, "loop_oil_temperature", 1.0, false, 0.0},
    {MEASURE_tank_oil_temperature_max, -1, "tank_oil_temperature", 1.0, false, 0.0},
};

enum { EXTREME_ROWS = sizeof extreme_rows / sizeof extreme_rows[0] };

struct span_row {
  const char *signal;
  int total, first, count;
};

static const struct span_row span_rows[MEASURER_SPANS] = {
    {"relief_a_flow", MEASURE_relief_a_open_time, MEASURE_relief_a_first_opening, MEASURE_relief_a_openings},
    {"relief_b_flow", MEASURE_relief_b_open_time, MEASURE_relief_b_first_opening, MEASURE_relief_b_openings},
};

static void ledger_at(const struct view *view, const struct moment *moment, double *ledger) {
  const struct plant *plant = view->plant;
  integrator_integrals_at(view->integrator, moment->time, ledger);
  plant->stored(view->model, moment->state, ledger + plant->ledger_integrated);
}

static void reset_stop(struct stop_watch *stop, double from) {
  memset(stop, 0, sizeof *stop);
  stop->from = from;
  stop->stop_time = NAN;
  stop->stop_distance = NAN;
  stop->from_distance = NAN;
  stop->from_speed = NAN;
}

static void begin_limit(struct limit_watch *watch, const struct limit *limit, double braking_from) {
  memset(watch, 0, sizeof *watch);
  watch->worst.signal = limit->keep.signal;
  watch->worst.sign = limit->keep.above ? -1.0 : 1.0;
  watch->worst.from = limit->within > 0.0 ? (isnan(braking_from) ? 0.0 : braking_from) + limit->within : 0.0;
  watch->first = NAN;
}

static bool breaks(const struct limit *limit, double value) {
  return limit->keep.above ? value < limit->keep.level : value > limit->keep.level;
}

struct limit_question {
  const struct limit *limit;
  double from;
};

static bool is_broken(const void *context, const struct moment *moment) {
  const struct limit_question *question = context;
  return moment->time >= question->from && breaks(question->limit, moment->signals[question->limit->keep.signal]);
}

static void start_braking(struct measurer *measurer, const struct view *view, const struct moment *moment,
                          bool integrals_ready) {
  struct stop_watch *stop = &measurer->stop;
  stop->begun = true;
  if (measurer->distance >= 0) {
    stop->from_distance = moment->signals[measurer->distance];
  }
  if (measurer->speed >= 0) {
    stop->from_speed = moment->signals[measurer->speed];
  }
  if (integrals_ready) {
    ledger_at(view, moment, stop->ledger_from);
  } else {
    view->plant->stored(view->model, moment->state, stop->ledger_from + view->plant->ledger_integrated);
  }
}

bool measurer_begin(struct measurer *measurer, const struct view *view, const struct moment *moment,
                    struct error *error) {
  const struct case_data *data = view->data;
  struct limit_watch *limits = measurer->limits;
  int limit_capacity = measurer->limit_capacity;
  memset(measurer, 0, sizeof *measurer);
  measurer->limits = limits;
  measurer->limit_capacity = limit_capacity;
  for (int i = 0; i < EXTREME_ROWS; i++) {
    struct extreme *extreme = &measurer->extremes[i];
    extreme->signal = registry_signal(view->plant, extreme_rows[i].signal);
    if (extreme->signal >= 0 && !view->plant->signal_active(data->parameters, extreme->signal)) {
      extreme->signal = -1;
    }
    extreme->sign = extreme_rows[i].sign;
    extreme->absolute = extreme_rows[i].absolute;
    extreme->from = extreme_rows[i].from;
    if (extreme->signal >= 0) {
      extreme_begin(extreme, moment);
    }
  }
  for (int i = 0; i < MEASURER_SPANS; i++) {
    measurer->spans[i].signal = registry_signal(view->plant, span_rows[i].signal);
    measurer->spans[i].level = OPEN_FLOW;
    measurer->has_span[i] = measurer->spans[i].signal >= 0;
    if (measurer->has_span[i]) {
      span_begin(&measurer->spans[i], moment);
    }
  }
  measurer->speed = registry_signal(view->plant, "vehicle_speed");
  measurer->distance = registry_signal(view->plant, "vehicle_distance");
  measurer->duty_count = view->plant->duty_rates != NULL ? view->plant->duty_rates(view->model, NULL, NULL) : 0;
  measurer->creep_from = data->simulation.end_time - CREEP_TIME;
  measurer->oil_start = view->plant->oil(view->model, moment->state);
  view->plant->stored(view->model, moment->state, measurer->stored_start + view->plant->ledger_integrated);
  if (data->limit_count > measurer->limit_capacity) {
    free(measurer->limits);
    measurer->limits = calloc((size_t)data->limit_count, sizeof *measurer->limits);
    measurer->limit_capacity = measurer->limits != NULL ? data->limit_count : 0;
    if (measurer->limits == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for limits");
    }
  }
  double from = data->simulation.stop_from >= 0.0 ? data->simulation.stop_from
                                                  : view->plant->release_time(view->model, view->mode);
  reset_stop(&measurer->stop, from);
  for (int i = 0; i < data->limit_count; i++) {
    begin_limit(&measurer->limits[i], &data->limits[i], from);
    if (data->limits[i].keep.signal >= 0) {
      struct limit_question question = {&data->limits[i], measurer->limits[i].worst.from};
      extreme_begin(&measurer->limits[i].worst, moment);
      if (is_broken(&question, moment)) {
        measurer->limits[i].broken = true;
        measurer->limits[i].first = moment->time;
      }
    }
  }
  if (from <= moment->time) {
    start_braking(measurer, view, moment, false);
  }
  return true;
}

void measurer_release(struct measurer *measurer, const struct view *view, double from) {
  if (view->data->simulation.stop_from >= 0.0 || isnan(from) || from == measurer->stop.from) {
    return;
  }
  reset_stop(&measurer->stop, from);
  for (int i = 0; i < view->data->limit_count; i++) {
    const struct limit *limit = &view->data->limits[i];
    if (limit->keep.signal >= 0 && limit->within > 0.0) {
      begin_limit(&measurer->limits[i], limit, from);
    }
  }
}

double measurer_next_time(const struct measurer *measurer, double t) {
  double next = HUGE_VAL;
  if (!measurer->stop.begun && measurer->stop.from > t) {
    next = measurer->stop.from;
  }
  if (measurer->creep_from > t && measurer->creep_from < next) {
    next = measurer->creep_from;
  }
  return next;
}

struct still_question {
  int speed;
};

static bool is_still(const void *context, const struct moment *moment) {
  const struct still_question *question = context;
  return fabs(moment->signals[question->speed]) <= STANDSTILL;
}

static void stop_at(struct measurer *measurer, const struct view *view, const struct moment *moment) {
  struct stop_watch *stop = &measurer->stop;
  stop->stopped = true;
  stop->stop_time = moment->time - stop->from;
  stop->stop_distance = moment->signals[measurer->distance] - stop->from_distance;
  ledger_at(view, moment, stop->ledger_to);
}

static void follow_stop(struct measurer *measurer, const struct view *view, const struct stretch *stretch) {
  struct stop_watch *stop = &measurer->stop;
  if (!stop->begun && stop->from <= stretch->start->time) {
    start_braking(measurer, view, stretch->start, true);
  }
  if (!stop->begun || stop->stopped || measurer->speed < 0) {
    return;
  }
  struct still_question question = {measurer->speed};
  struct moment found;
  if (is_still(&question, stretch->start)) {
    stop_at(measurer, view, stretch->start);
  } else if (view_first(view, stretch, is_still, &question, &found)) {
    stop_at(measurer, view, &found);
  }
}

static void follow_limits(struct measurer *measurer, const struct view *view, const struct stretch *stretch) {
  for (int i = 0; i < view->data->limit_count; i++) {
    const struct limit *limit = &view->data->limits[i];
    struct limit_watch *watch = &measurer->limits[i];
    if (limit->keep.signal < 0 || stretch->end->time < watch->worst.from) {
      continue;
    }
    extreme_follow(&watch->worst, view, stretch);
    if (!watch->broken && watch->worst.seen && breaks(limit, watch->worst.best)) {
      struct limit_question question = {limit, watch->worst.from};
      struct moment found;
      watch->broken = true;
      if (is_broken(&question, stretch->start)) {
        watch->first = stretch->start->time;
      } else if (view_first(view, stretch, is_broken, &question, &found)) {
        watch->first = found.time;
      } else { /* a peak between the looked-at points */
        watch->first = watch->worst.time;
      }
    }
  }
}

/* Simpson's rule over the step. */
static void follow_duty(struct measurer *measurer, const struct view *view, const struct stretch *stretch) {
  double rates[3][PLANT_DUTY_RATES];
  view->plant->duty_rates(view->model, stretch->start->signals, rates[0]);
  view->plant->duty_rates(view->model, stretch->middle->signals, rates[1]);
  view->plant->duty_rates(view->model, stretch->end->signals, rates[2]);
  double width = stretch->end->time - stretch->start->time;
  for (int i = 0; i < measurer->duty_count; i++) {
    measurer->duty_sums[i] += width / 6.0 * (rates[0][i] + 4.0 * rates[1][i] + rates[2][i]);
  }
}

void measurer_follow(struct measurer *measurer, const struct view *view, const struct stretch *stretch) {
  for (int i = 0; i < EXTREME_ROWS; i++) {
    struct extreme *extreme = &measurer->extremes[i];
    if (extreme->signal >= 0 && !extreme_idle(extreme, stretch)) {
      extreme_follow(extreme, view, stretch);
    }
  }
  for (int i = 0; i < MEASURER_SPANS; i++) {
    if (measurer->has_span[i]) {
      span_follow(&measurer->spans[i], view, stretch);
    }
  }
  follow_stop(measurer, view, stretch);
  follow_limits(measurer, view, stretch);
  if (measurer->duty_count > 0) {
    follow_duty(measurer, view, stretch);
  }
  if (measurer->speed >= 0 && stretch->start->time >= measurer->creep_from) {
    /* Simpson's rule over the step */
    double width = stretch->end->time - stretch->start->time;
    measurer->creep_path +=
        width / 6.0 *
        (fabs(stretch->start->signals[measurer->speed]) + 4.0 * fabs(stretch->middle->signals[measurer->speed]) +
         fabs(stretch->end->signals[measurer->speed]));
  }
}

static void give(struct outcome *outcome, int measure, double value) {
  outcome->measures[measure] = value;
  outcome->absent[measure][0] = '\0';
}

static void lack(struct outcome *outcome, int measure, const char *why) {
  outcome->measures[measure] = NAN;
  snprintf(outcome->absent[measure], sizeof outcome->absent[measure], "%s", why);
}

static void end_ledger(struct measurer *measurer, const struct view *view, const struct moment *moment,
                       struct outcome *outcome) {
  const struct plant *plant = view->plant;
  struct stop_watch *stop = &measurer->stop;
  double ledger[PLANT_LEDGER_LIMIT] = {0};
  ledger_at(view, moment, ledger);
  if (stop->begun && !stop->stopped) {
    memcpy(stop->ledger_to, ledger, sizeof ledger);
  }
  double in = 0.0;
  double balance = 0.0;
  double oil_lost = 0.0;
  for (int i = 0; i < plant->ledger_count; i++) {
    double energy = ledger[i] - (plant->ledger[i].kind == LEDGER_STORED ? measurer->stored_start[i] : 0.0);
    outcome->ledger[i].energy = energy;
    outcome->ledger[i].from_release = stop->begun ? stop->ledger_to[i] - stop->ledger_from[i] : NAN;
    switch (plant->ledger[i].kind) {
    case LEDGER_SOURCE:
      in += fmax(0.0, energy);
      balance += energy;
      break;
    case LEDGER_LOSS:
      outcome->energy_lost += energy;
      balance -= energy;
      break;
    case LEDGER_OIL_LOST:
      oil_lost += energy; /* m3 */
      break;
    case LEDGER_STORED_RATE:
    case LEDGER_STORED:
      outcome->energy_stored += energy;
      balance -= energy;
      break;
    }
  }
  outcome->energy_in = in;
  outcome->energy_residual = balance;
  give(outcome, MEASURE_energy_residual, fabs(balance) / fmax(in, LEAST_ENERGY_IN));
  give(outcome, MEASURE_oil_lost, oil_lost);
  give(outcome, MEASURE_oil_residual, plant->oil(view->model, moment->state) + oil_lost - measurer->oil_start);
}

static void end_stop(const struct measurer *measurer, const struct moment *moment, struct outcome *outcome) {
  const struct stop_watch *stop = &measurer->stop;
  if (measurer->speed < 0) {
    return;
  }
  give(outcome, MEASURE_vehicle_speed_end, moment->signals[measurer->speed]);
  give(outcome, MEASURE_vehicle_distance_end, moment->signals[measurer->distance]);
  if (!stop->begun) {
    const char *why = isnan(stop->from) ? "the pedal never falls to zero" : "the run ends before braking starts";
    lack(outcome, MEASURE_stop_from, why);
    lack(outcome, MEASURE_stop_from_speed, why);
    lack(outcome, MEASURE_stop_time, why);
    lack(outcome, MEASURE_stop_distance, why);
  } else {
    give(outcome, MEASURE_stop_from, stop->from);
    give(outcome, MEASURE_stop_from_speed, stop->from_speed);
    if (stop->stopped) {
      give(outcome, MEASURE_stop_time, stop->stop_time);
      give(outcome, MEASURE_stop_distance, stop->stop_distance);
    } else {
      lack(outcome, MEASURE_stop_time, "no standstill before the end of the run");
      lack(outcome, MEASURE_stop_distance, "no standstill before the end of the run");
    }
  }
  if (measurer->creep_from >= 0.0 && moment->time >= measurer->creep_from + CREEP_TIME * (1.0 - 1e-9)) {
    give(outcome, MEASURE_creep_speed, measurer->creep_path / CREEP_TIME);
  } else {
    lack(outcome, MEASURE_creep_speed, "the run is shorter than one second or ended early");
  }
}

/* The run as one cycle of a duty of hours. */
static void end_duty(const struct measurer *measurer, const struct view *view, const struct moment *moment,
                     struct outcome *outcome) {
  static const int particles[] = {MEASURE_particles_4, MEASURE_particles_6, MEASURE_particles_14};
  static const int codes[] = {MEASURE_iso_code_4, MEASURE_iso_code_6, MEASURE_iso_code_14};
  static const int all[] = {MEASURE_particles_4,   MEASURE_particles_6,  MEASURE_particles_14,
                            MEASURE_iso_code_4,    MEASURE_iso_code_6,   MEASURE_iso_code_14,
                            MEASURE_cleaning_time, MEASURE_element_dirt, MEASURE_bypass_opening_time};
  if (view->plant->duty == NULL) {
    return;
  }
  if (measurer->duty_count == 0 || !(moment->time > 0.0)) {
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
      lack(outcome, all[i], measurer->duty_count == 0 ? "no duty is asked for" : "the run is too short");
    }
    return;
  }
  double means[PLANT_DUTY_RATES];
  for (int i = 0; i < measurer->duty_count; i++) {
    means[i] = measurer->duty_sums[i] / moment->time;
  }
  struct plant_duty duty;
  view->plant->duty(view->model, means, &duty);
  for (int i = 0; i < PLANT_DUTY_CLASSES; i++) {
    give(outcome, particles[i], duty.particles[i]);
    give(outcome, codes[i], duty.code[i]);
  }
  give(outcome, MEASURE_element_dirt, duty.element_dirt);
  give(outcome, MEASURE_cleaning_time, duty.cleaning_time);
  give(outcome, MEASURE_bypass_opening_time, duty.bypass_time);
  if (isnan(duty.cleaning_time)) {
    lack(outcome, MEASURE_cleaning_time, "the oil does not get that clean within the duty");
  }
  if (isnan(duty.bypass_time)) {
    lack(outcome, MEASURE_bypass_opening_time, "the bypass stays shut for the whole duty");
  }
}

static bool end_limits(const struct measurer *measurer, const struct view *view, struct outcome *outcome,
                       struct error *error) {
  const struct case_data *data = view->data;
  if (data->limit_count > outcome->limit_capacity) {
    free(outcome->broken);
    free(outcome->worst);
    outcome->broken = calloc((size_t)data->limit_count, sizeof *outcome->broken);
    outcome->worst = calloc((size_t)data->limit_count, sizeof *outcome->worst);
    outcome->limit_capacity = data->limit_count;
    if (outcome->broken == NULL || outcome->worst == NULL) {
      outcome->limit_capacity = 0;
      return error_set(error, ERROR_MEMORY, "out of memory for limits");
    }
  }
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *limit = &data->limits[i];
    struct broken_limit found = {i, NAN, NAN, NAN};
    bool broken;
    if (limit->keep.signal >= 0) {
      const struct limit_watch *watch = &measurer->limits[i];
      broken = watch->broken;
      found.first = watch->first;
      found.time = watch->worst.seen ? watch->worst.time : NAN;
      found.worst = watch->worst.seen ? watch->worst.best : NAN;
    } else if (limit->keep.signal == CONDITION_CLOCK) {
      found.worst = outcome->end_time;
      broken = breaks(limit, found.worst);
    } else {
      found.worst = outcome->measures[limit->keep.measure];
      /* A measure that the run does not have keeps no limit: a machine that never stops breaks every stop_time. */
      broken = isnan(found.worst) || breaks(limit, found.worst);
    }
    outcome->worst[i] = found;
    if (broken) {
      outcome->broken[outcome->broken_count++] = found;
    }
  }
  return true;
}

bool measurer_end(struct measurer *measurer, const struct view *view, const struct moment *moment,
                  struct outcome *outcome, struct error *error) {
  for (int i = 0; i < MEASURE_COUNT; i++) {
    lack(outcome, i, "this circuit has no such thing");
  }
  for (int i = 0; i < EXTREME_ROWS; i++) {
    const struct extreme *extreme = &measurer->extremes[i];
    if (extreme->signal < 0) {
      continue;
    }
    if (!extreme->seen) {
      lack(outcome, extreme_rows[i].measure, "the run is too short");
      continue;
    }
    give(outcome, extreme_rows[i].measure, extreme->absolute ? fabs(extreme->best) : extreme->best);
    if (extreme_rows[i].time_measure >= 0) {
      give(outcome, extreme_rows[i].time_measure, extreme->time);
    }
  }
  for (int i = 0; i < MEASURER_SPANS; i++) {
    if (!measurer->has_span[i]) {
      continue;
    }
    const struct span *span = &measurer->spans[i];
    give(outcome, span_rows[i].total, span_total(span, moment->time));
    give(outcome, span_rows[i].count, (double)span->count);
    if (span->count > 0) {
      give(outcome, span_rows[i].first, span->first);
    } else {
      lack(outcome, span_rows[i].first, "the valve never opened");
    }
  }
  end_ledger(measurer, view, moment, outcome);
  double relief_heat = 0.0;
  for (int i = 0; i < view->plant->ledger_count; i++) {
    const char *name = view->plant->ledger[i].name;
    if (strcmp(name, "relief_a") == 0 || strcmp(name, "relief_b") == 0) {
      relief_heat += outcome->ledger[i].energy;
    }
  }
  give(outcome, MEASURE_relief_heat, relief_heat);
  end_stop(measurer, moment, outcome);
  end_duty(measurer, view, moment, outcome);
  return end_limits(measurer, view, outcome, error);
}

void measurer_free(struct measurer *measurer) {
  free(measurer->limits);
  measurer->limits = NULL;
}
