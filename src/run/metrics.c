#include "metrics.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "thresholds.h"

#define SETTLED 0.5         /* s */
#define CREEP_TIME 1.0      /* s */
#define SETTLED_STEP 1e-3   /* K: temperatures at two ends of a course that differ by less are one */
#define LEAST_ENERGY_IN 1e3 /* J: floor of what a residual is compared with */

enum { NOWHERE = -1 };

/* Which extremum of which signal makes which measure, and where its time goes. */
struct extremum_row {
  int measure;
  int time_measure;
  const char *signal;
  double sign;
  bool absolute;
  double from;
};

static const struct extremum_row extremum_rows[] = {
    {MEASURE_peak_line_a_pressure, MEASURE_peak_line_a_pressure_time, "line_a_pressure", 1.0, false, 0.0},
    {MEASURE_peak_line_b_pressure, MEASURE_peak_line_b_pressure_time, "line_b_pressure", 1.0, false, 0.0},
    {MEASURE_lowest_low_side_pressure, MEASURE_lowest_low_side_pressure_time, "low_side_pressure", -1.0, false, 0.0},
    {MEASURE_lowest_low_side_pressure_after_settling, NOWHERE, "low_side_pressure", -1.0, false, SETTLED},
    {MEASURE_lowest_charge_pressure, MEASURE_lowest_charge_pressure_time, "charge_pressure", -1.0, false, 0.0},
    {MEASURE_least_line_oil, NOWHERE, "least_line_oil", -1.0, false, 0.0},
    {MEASURE_peak_charge_pressure, NOWHERE, "charge_pressure", 1.0, false, 0.0},
    {MEASURE_peak_case_pressure, MEASURE_peak_case_pressure_time, "case_pressure", 1.0, false, 0.0},
    {MEASURE_engine_speed_max, MEASURE_engine_speed_max_time, "engine_speed", 1.0, false, 0.0},
    {MEASURE_engine_speed_min, MEASURE_engine_speed_min_time, "engine_speed", -1.0, false, 0.0},
    {MEASURE_motor_speed_max, NOWHERE, "motor_speed", 1.0, true, 0.0},
    {MEASURE_vehicle_speed_max, NOWHERE, "vehicle_speed", 1.0, true, 0.0},
    {MEASURE_largest_wheel_slip, NOWHERE, "wheel_slip", 1.0, true, 0.0},
    {MEASURE_largest_front_wheel_slip, NOWHERE, "front_wheel_slip", 1.0, true, 0.0},
    {MEASURE_relief_a_peak_flow, NOWHERE, "relief_a_flow", 1.0, false, 0.0},
    {MEASURE_relief_b_peak_flow, NOWHERE, "relief_b_flow", 1.0, false, 0.0},
    {MEASURE_loop_oil_temperature_max, NOWHERE, "loop_oil_temperature", 1.0, false, 0.0},
    {MEASURE_tank_oil_temperature_max, NOWHERE, "tank_oil_temperature", 1.0, false, 0.0},
    {MEASURE_brake_temperature_max, NOWHERE, "brake_temperature", 1.0, false, 0.0},
    {MEASURE_front_brake_temperature_max, NOWHERE, "front_brake_temperature", 1.0, false, 0.0},
};

enum { EXTREMUM_ROWS = sizeof extremum_rows / sizeof extremum_rows[0] };
_Static_assert((int)EXTREMUM_ROWS <= (int)METRICS_EXTREMA, "the metrics have room for every extremum");

struct timer_row {
  const char *signal;
  int total, first, count;
};

static const struct timer_row timer_rows[METRICS_TIMERS] = {
    {"relief_a_flow", MEASURE_relief_a_open_time, MEASURE_relief_a_first_opening, MEASURE_relief_a_openings},
    {"relief_b_flow", MEASURE_relief_b_open_time, MEASURE_relief_b_first_opening, MEASURE_relief_b_openings},
};

/* What the plant has of all that is measured. */
static bool find_places(struct metrics *metrics, const struct view *view, struct error *error) {
  static const char *const reliefs[METRICS_RELIEFS] = {"relief_a", "relief_b"};
  const struct plant *plant = view->plant;
  struct row_place place;
  for (int i = 0; i < EXTREMUM_ROWS; i++) {
    if (!registry_place(plant, extremum_rows[i].signal, &place, error)) {
      return false;
    }
    if (place.there && plant->signal_active(view->data->parameters, place.index)) {
      metrics->extremum_rows[metrics->extremum_count] = i;
      metrics->extrema[metrics->extremum_count++] = (struct extremum){.signal = place.index,
                                                                      .sign = extremum_rows[i].sign,
                                                                      .absolute = extremum_rows[i].absolute,
                                                                      .from = extremum_rows[i].from};
    }
  }
  for (int i = 0; i < METRICS_TIMERS; i++) {
    if (!registry_place(plant, timer_rows[i].signal, &place, error)) {
      return false;
    }
    if (place.there) {
      metrics->timer_rows[metrics->timer_count] = i;
      metrics->timers[metrics->timer_count++] = (struct timer){.signal = place.index, .level = OPEN_FLOW};
    }
  }
  for (int i = 0; i < METRICS_RELIEFS; i++) {
    if (!registry_ledger_place(plant, reliefs[i], &place, error)) {
      return false;
    }
    if (place.there) {
      metrics->reliefs[metrics->relief_count++] = place.index;
    }
  }
  return fuel_account_begin(&metrics->fuel, view, error) &&
         registry_place(plant, "vehicle_speed", &metrics->speed, error) &&
         registry_place(plant, "vehicle_distance", &metrics->distance, error);
}

bool metrics_begin(struct metrics *metrics, const struct view *view, const struct sample *sample, struct error *error) {
  const struct case_data *data = view->data;
  struct limits limits = metrics->limits;
  memset(metrics, 0, sizeof *metrics);
  metrics->limits = limits;
  if (!find_places(metrics, view, error)) {
    return false;
  }
  for (int i = 0; i < metrics->extremum_count; i++) {
    extremum_begin(&metrics->extrema[i], sample);
  }
  for (int i = 0; i < metrics->timer_count; i++) {
    timer_begin(&metrics->timers[i], sample);
  }
  metrics->duty_count = view->plant->duty_rates != NULL ? view->plant->duty_rates(view->model, NULL, NULL) : 0;
  metrics->creep_from = data->simulation.end_time - CREEP_TIME;
  metrics->oil_start = view->plant->oil(view->model, sample->state);
  view->plant->stored(view->model, sample->state, metrics->stored_start + view->plant->ledger_integrated);
  double from = data->simulation.stop_from;
  const char *why = "the case says so (simulation.stop_from)";
  if (!(from >= 0.0)) {
    from = view->plant->braking_from(view->mode, &why);
  }
  motion_brake(&metrics->motion, from, why);
  if (metrics->speed.there) {
    metrics->motion.speed = metrics->speed.index;
    metrics->motion.distance = metrics->distance.index;
    motion_begin(&metrics->motion, view, sample);
  }
  return limits_begin(&metrics->limits, view, sample, from, error);
}

void metrics_brake(struct metrics *metrics, const struct view *view, double from, const char *why) {
  if (view->data->simulation.stop_from >= 0.0 || isnan(from) || from == metrics->motion.stop.from) {
    return;
  }
  motion_brake(&metrics->motion, from, why);
  limits_brake(&metrics->limits, view, from);
}

double metrics_next_time(const struct metrics *metrics, double t) {
  double next = HUGE_VAL;
  if (!metrics->motion.stop.begun && metrics->motion.stop.from > t) {
    next = metrics->motion.stop.from;
  }
  if (metrics->creep_from > t && metrics->creep_from < next) {
    next = metrics->creep_from;
  }
  return next;
}

/* Simpson's rule over the step. */
static void observe_duty(struct metrics *metrics, const struct view *view, const struct step *step) {
  double rates[3][PLANT_DUTY_RATES];
  view->plant->duty_rates(view->model, step->start->signals, rates[0]);
  view->plant->duty_rates(view->model, step->middle->signals, rates[1]);
  view->plant->duty_rates(view->model, step->end->signals, rates[2]);
  double width = step->end->time - step->start->time;
  for (int i = 0; i < metrics->duty_count; i++) {
    metrics->duty_sums[i] += width / 6.0 * (rates[0][i] + 4.0 * rates[1][i] + rates[2][i]);
  }
}

/* Simpson's rule over a step of the last second. */
static void add_creep(struct metrics *metrics, double start, double end, const double *speeds) {
  if (start >= metrics->creep_from) {
    double width = end - start;
    metrics->creep_path += width / 6.0 * (fabs(speeds[0]) + 4.0 * fabs(speeds[1]) + fabs(speeds[2]));
  }
}

void metrics_observe(struct metrics *metrics, const struct view *view, const struct step *step) {
  for (int i = 0; i < metrics->extremum_count; i++) {
    struct extremum *extremum = &metrics->extrema[i];
    if (!extremum_idle(extremum, step)) {
      extremum_observe(extremum, view, step);
    }
  }
  for (int i = 0; i < metrics->timer_count; i++) {
    timer_observe(&metrics->timers[i], view, step);
  }
  if (metrics->speed.there) {
    motion_observe(&metrics->motion, view, step);
  }
  limits_observe(&metrics->limits, view, step);
  if (metrics->duty_count > 0) {
    observe_duty(metrics, view, step);
  }
  if (metrics->speed.there) {
    int speed = metrics->speed.index;
    add_creep(metrics, step->start->time, step->end->time,
              (const double[]){step->start->signals[speed], step->middle->signals[speed], step->end->signals[speed]});
  }
}

bool metrics_idle(const struct metrics *metrics, const double *times, const double *speeds) {
  return metrics->duty_count == 0 && (!metrics->speed.there || motion_idle(&metrics->motion, times, speeds));
}

void metrics_glide(struct metrics *metrics, const double *times, const double *speeds) {
  if (metrics->speed.there) {
    motion_glide(&metrics->motion, speeds);
    add_creep(metrics, times[0], times[2], speeds);
  }
}

void metrics_follow(const struct metrics *metrics, const struct view *view, bool *needed) {
  for (int i = 0; metrics->duty_count > 0 && i < view->plant->signal_count; i++) {
    needed[i] = true;
  }
  fuel_account_follow(&metrics->fuel, needed);
  for (int i = 0; i < metrics->extremum_count; i++) {
    needed[metrics->extrema[i].signal] = true;
  }
  for (int i = 0; i < metrics->timer_count; i++) {
    needed[metrics->timers[i].signal] = true;
  }
  if (metrics->speed.there) {
    needed[metrics->speed.index] = true;
    needed[metrics->distance.index] = true;
  }
  for (int i = 0; i < view->data->limit_count; i++) {
    if (view->data->limits[i].keep.signal >= 0) {
      needed[view->data->limits[i].keep.signal] = true;
    }
  }
}

static bool starts_filled(enum ledger_kind kind) {
  return kind == LEDGER_STORED || kind == LEDGER_HEAT_STORED || kind == LEDGER_FUEL_SPENT;
}

static void end_ledger(struct metrics *metrics, const struct view *view, const struct sample *sample,
                       struct outcome *outcome) {
  const struct plant *plant = view->plant;
  const struct stop_observer *stop = &metrics->motion.stop;
  double ledger[PLANT_LEDGER_LIMIT] = {0};
  ledger_at(view, sample, ledger);
  const double *to = stop->kind != STOP_NONE ? stop->stop.ledger : ledger;
  double sums[LEDGER_KIND_COUNT] = {0.0};
  double in = 0.0;
  bool has_heat = false;
  for (int i = 0; i < plant->ledger_count; i++) {
    enum ledger_kind kind = plant->ledger[i].kind;
    double energy = ledger[i] - (starts_filled(kind) ? metrics->stored_start[i] : 0.0);
    outcome->ledger[i].energy = energy;
    outcome->ledger[i].from_release = stop->begun ? to[i] - stop->begin.ledger[i] : NAN;
    sums[kind] += energy;
    in += kind == LEDGER_SOURCE ? fmax(0.0, energy) : 0.0;
    has_heat = has_heat || ledger_balance_of(kind) == BALANCE_OF_HEAT;
  }
  outcome->energy_in = in;
  outcome->energy_lost = sums[LEDGER_LOSS] + sums[LEDGER_LOSS_TO_OIL];
  outcome->energy_stored = sums[LEDGER_STORED] + sums[LEDGER_STORED_RATE];
  outcome->energy_residual = sums[LEDGER_SOURCE] - outcome->energy_lost - outcome->energy_stored;
  outcome_give(outcome, MEASURE_energy_residual, fabs(outcome->energy_residual) / fmax(in, LEAST_ENERGY_IN));
  fuel_account_end(&metrics->fuel, sample, outcome);
  double oil_lost = sums[LEDGER_OIL_LOST]; /* m3 */
  outcome_give(outcome, MEASURE_oil_lost, oil_lost);
  outcome_give(outcome, MEASURE_oil_residual, plant->oil(view->model, sample->state) + oil_lost - metrics->oil_start);
  outcome->has_heat = has_heat;
  if (!has_heat) {
    outcome_lack(outcome, MEASURE_heat_residual, "this circuit has no temperatures");
    return;
  }
  outcome->heat_made = sums[LEDGER_LOSS_TO_OIL];
  outcome->heat_left = sums[LEDGER_HEAT_LEAVES];
  outcome->heat_stored = sums[LEDGER_HEAT_STORED] + sums[LEDGER_HEAT_STORED_RATE];
  outcome->heat_residual = outcome->heat_made - outcome->heat_left - outcome->heat_stored;
  double moved = fmax(fabs(outcome->heat_made), fmax(fabs(outcome->heat_left), fabs(outcome->heat_stored)));
  outcome_give(outcome, MEASURE_heat_residual, fabs(outcome->heat_residual) / fmax(moved, LEAST_ENERGY_IN));
}

static const char *no_stop(const struct stop_observer *stop) {
  if (stop->ran_on) {
    return "the machine goes through standstill and on, faster than " STOP_SPEED_WORDS;
  }
  return stop->slow ? "the run ends before the machine has stayed below " STOP_SPEED_WORDS " for " REST_TIME_WORDS
                    : "the machine does not get below " STOP_SPEED_WORDS " for " REST_TIME_WORDS;
}

static void end_motion(const struct metrics *metrics, const struct sample *sample, struct outcome *outcome) {
  const struct stop_observer *stop = &metrics->motion.stop;
  const struct motion_observer *rest = &metrics->motion.rest;
  if (!metrics->speed.there) {
    return;
  }
  outcome_give(outcome, MEASURE_vehicle_speed_end, sample->signals[metrics->speed.index]);
  outcome_give(outcome, MEASURE_vehicle_distance_end, sample->signals[metrics->distance.index]);
  if (!stop->begun) {
    const char *why = isnan(stop->from) ? "nothing brakes: no pedal is let go, no brake applied, no fault comes"
                                        : "the run ends before braking starts";
    outcome_lack(outcome, MEASURE_stop_from, why);
    outcome_lack(outcome, MEASURE_stop_from_speed, why);
    outcome_lack(outcome, MEASURE_stop_time, why);
    outcome_lack(outcome, MEASURE_stop_distance, why);
  } else {
    outcome_give(outcome, MEASURE_stop_from, stop->from);
    outcome_give(outcome, MEASURE_stop_from_speed, stop->from_speed);
    (void)snprintf(outcome->braking_words, sizeof outcome->braking_words, "%s", stop->why);
    if (stop->kind != STOP_NONE) {
      outcome_give(outcome, MEASURE_stop_time, stop->stop.time - stop->from);
      outcome_give(outcome, MEASURE_stop_distance, stop->stop.distance - stop->begin.distance);
    } else {
      outcome_lack(outcome, MEASURE_stop_time, no_stop(stop));
      outcome_lack(outcome, MEASURE_stop_distance, no_stop(stop));
    }
  }
  if (metrics->creep_from >= 0.0 && sample->time >= metrics->creep_from + CREEP_TIME * (1.0 - 1e-9)) {
    outcome_give(outcome, MEASURE_creep_speed, metrics->creep_path / CREEP_TIME);
  } else {
    outcome_lack(outcome, MEASURE_creep_speed, "the run is shorter than one second or ended early");
  }
  if (rest->phase == MOTION_RESTS) {
    outcome_give(outcome, MEASURE_rest_from, rest->since);
  } else {
    outcome_lack(outcome, MEASURE_rest_from, "at its end the machine has not been at rest for " REST_TIME_WORDS);
  }
  if (rest->phase == MOTION_CREEPS) {
    outcome_give(outcome, MEASURE_creep_from, rest->since);
  } else {
    outcome_lack(outcome, MEASURE_creep_from, "at its end the machine does not creep steadily");
  }
}

/* Where repeated courses bring the oil of the tank: the limit of a series whose steps shrink evenly (Aitken's method,
 * textbook), from the last three ends of the course. */
static void end_settling(struct outcome *outcome) {
  double ends[3];
  int count = 0;
  for (int i = outcome->leg_count - 1; i >= 0 && count < 3; i--) {
    const struct run_leg *leg = &outcome->legs[i];
    bool last = i + 1 == outcome->leg_count || outcome->legs[i + 1].repeat != leg->repeat;
    if (leg->stands && leg->done && last) {
      ends[count++] = leg->tank; /* the last one first */
    }
  }
  if (count < 3) {
    outcome_lack(outcome, MEASURE_course_tank_temperature, "the course is driven less than three times");
    return;
  }
  double before = ends[1] - ends[2];
  double step = ends[0] - ends[1];
  double ratio = step / before;
  if (fabs(step) < SETTLED_STEP) {
    outcome_give(outcome, MEASURE_course_tank_temperature, ends[0]);
  } else if (ratio > 0.0 && ratio < 1.0) {
    outcome_give(outcome, MEASURE_course_tank_temperature, ends[0] + step * ratio / (1.0 - ratio));
  } else {
    outcome_lack(outcome, MEASURE_course_tank_temperature,
                 "the temperature does not settle evenly over the last three");
  }
}

/* Fuel over what a course has moved, once its measures are there: `loaded`, m, driven with a load, and `work`, kg m. */
static void end_course_fuel(struct outcome *outcome, double loaded, double work) {
  static const int all[] = {MEASURE_fuel_per_loaded_way, MEASURE_fuel_per_transport};
  double burnt = outcome->measures[MEASURE_fuel_volume]; /* m3 */
  for (int i = 0; i < 2; i++) {
    double moved = i == 0 ? loaded : work;
    if (isnan(burnt)) {
      outcome_lack(outcome, all[i], outcome->absent[MEASURE_fuel_volume]);
    } else if (moved > 0.0) {
      outcome_give(outcome, all[i], burnt / moved);
    } else {
      outcome_lack(outcome, all[i], "no load was driven on a course");
    }
  }
}

/* What a driver has done on a course. */
static void end_course(struct outcome *outcome) {
  static const int all[] = {MEASURE_legs_done,     MEASURE_course_time,    MEASURE_driving_speed,
                            MEASURE_stop_miss,     MEASURE_brake_uses,     MEASURE_load_delivered,
                            MEASURE_delivery_rate, MEASURE_transport_work, MEASURE_course_tank_temperature};
  double legs = 0.0;
  double time = 0.0;
  double driven = 0.0; /* s */
  double way = 0.0;    /* m */
  double loaded = 0.0; /* m, with a load */
  double miss = NAN;
  double brakes = 0.0;
  double left = 0.0; /* kg */
  double work = 0.0; /* kg m */
  double load = 0.0; /* kg, at the start of the phase */
  for (int i = 0; i < outcome->leg_count; i++) {
    const struct run_leg *leg = &outcome->legs[i];
    double gone = fabs(leg->ended_at - leg->began_at);
    brakes += leg->brake_uses;
    time += leg->until - leg->from;
    if (leg->stands) {
      left += fmax(0.0, load - leg->load);
    } else {
      legs += leg->done;
      driven += leg->until - leg->from;
      way += gone;
      work += load * gone;
      loaded += load > 0.0 ? gone : 0.0;
    }
    if (leg->stands && leg->done) {
      miss = fmax(isnan(miss) ? 0.0 : miss, fabs(leg->ended_at - leg->place));
    }
    load = leg->load;
  }
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    outcome_lack(outcome, all[i],
                 outcome->leg_count == 0 ? "no driver follows a course"
                                         : "there are more legs than are kept, or the run ends too early");
  }
  if (outcome->leg_count == 0 || outcome->legs_left_out > 0) {
    end_course_fuel(outcome, 0.0, 0.0);
    return;
  }
  end_course_fuel(outcome, loaded, work);
  end_settling(outcome);
  outcome_give(outcome, MEASURE_legs_done, legs);
  outcome_give(outcome, MEASURE_course_time, time);
  outcome_give(outcome, MEASURE_brake_uses, brakes);
  outcome_give(outcome, MEASURE_load_delivered, left);
  outcome_give(outcome, MEASURE_transport_work, work);
  if (driven > 0.0) {
    outcome_give(outcome, MEASURE_driving_speed, way / driven);
    outcome_give(outcome, MEASURE_delivery_rate, left / time);
  }
  if (!isnan(miss)) {
    outcome_give(outcome, MEASURE_stop_miss, miss);
  }
}

/* The run as one cycle of a duty of hours. */
static void end_duty(const struct metrics *metrics, const struct view *view, const struct sample *sample,
                     struct outcome *outcome) {
  static const int particles[] = {MEASURE_particles_4, MEASURE_particles_6, MEASURE_particles_14};
  static const int codes[] = {MEASURE_iso_code_4, MEASURE_iso_code_6, MEASURE_iso_code_14};
  static const int all[] = {MEASURE_particles_4,   MEASURE_particles_6,  MEASURE_particles_14,
                            MEASURE_iso_code_4,    MEASURE_iso_code_6,   MEASURE_iso_code_14,
                            MEASURE_cleaning_time, MEASURE_element_dirt, MEASURE_bypass_opening_time};
  if (view->plant->duty == NULL) {
    return;
  }
  if (metrics->duty_count == 0 || !(sample->time > 0.0)) {
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
      outcome_lack(outcome, all[i], metrics->duty_count == 0 ? "no duty is asked for" : "the run is too short");
    }
    return;
  }
  double means[PLANT_DUTY_RATES];
  for (int i = 0; i < metrics->duty_count; i++) {
    means[i] = metrics->duty_sums[i] / sample->time;
  }
  struct plant_duty duty;
  view->plant->duty(view->model, means, &duty);
  for (int i = 0; i < PLANT_DUTY_CLASSES; i++) {
    outcome_give(outcome, particles[i], duty.particles[i]);
    outcome_give(outcome, codes[i], duty.code[i]);
  }
  outcome_give(outcome, MEASURE_element_dirt, duty.element_dirt);
  outcome_give(outcome, MEASURE_cleaning_time, duty.cleaning_time);
  outcome_give(outcome, MEASURE_bypass_opening_time, duty.bypass_time);
  if (isnan(duty.cleaning_time)) {
    outcome_lack(outcome, MEASURE_cleaning_time, "the oil does not get that clean within the duty");
  }
  if (isnan(duty.bypass_time)) {
    outcome_lack(outcome, MEASURE_bypass_opening_time, "the bypass stays shut for the whole duty");
  }
}

bool metrics_end(struct metrics *metrics, const struct view *view, const struct sample *sample, struct outcome *outcome,
                 struct error *error) {
  for (int i = 0; i < MEASURE_COUNT; i++) {
    outcome_lack(outcome, i, "this circuit has no such thing");
  }
  for (int i = 0; i < metrics->extremum_count; i++) {
    const struct extremum *extremum = &metrics->extrema[i];
    const struct extremum_row *row = &extremum_rows[metrics->extremum_rows[i]];
    if (!extremum->seen) {
      outcome_lack(outcome, row->measure, "the run is too short");
      continue;
    }
    outcome_give(outcome, row->measure, extremum->absolute ? fabs(extremum->best) : extremum->best);
    if (row->time_measure != NOWHERE) {
      outcome_give(outcome, row->time_measure, extremum->time);
    }
  }
  for (int i = 0; i < metrics->timer_count; i++) {
    const struct timer *timer = &metrics->timers[i];
    const struct timer_row *row = &timer_rows[metrics->timer_rows[i]];
    outcome_give(outcome, row->total, timer_total(timer, sample->time));
    outcome_give(outcome, row->count, (double)timer->count);
    if (timer->count > 0) {
      outcome_give(outcome, row->first, timer->first);
    } else {
      outcome_lack(outcome, row->first, "the valve never opened");
    }
  }
  if (metrics->speed.there) {
    motion_end(&metrics->motion, sample);
  }
  end_ledger(metrics, view, sample, outcome);
  double relief_heat = 0.0;
  for (int i = 0; i < metrics->relief_count; i++) {
    relief_heat += outcome->ledger[metrics->reliefs[i]].energy;
  }
  outcome_give(outcome, MEASURE_relief_heat, relief_heat);
  end_motion(metrics, sample, outcome);
  end_duty(metrics, view, sample, outcome);
  if (metrics->speed.there) {
    end_course(outcome);
  }
  return limits_end(&metrics->limits, view, metrics->speed.there ? &metrics->motion : NULL, sample, outcome, error);
}

void metrics_free(struct metrics *metrics) {
  free(metrics->limits.each);
  metrics->limits = (struct limits){0};
}
