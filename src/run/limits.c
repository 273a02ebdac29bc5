#include "limits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void begin_one(struct limit_observer *observer, const struct view *view, const struct limit *limit,
                      double braking_from) {
  memset(observer, 0, sizeof *observer);
  observer->worst.signal = limit->keep.signal;
  observer->worst.sign = limit->keep.above ? -1.0 : 1.0;
  /* NaN, so never, while nothing brakes. */
  observer->worst.from = limit->within > 0.0 ? braking_from + limit->within : 0.0;
  observer->first = NAN;
  observer->absent = limit->keep.signal >= 0 && !view->plant->signal_active(view->data->parameters, limit->keep.signal);
}

static bool breaks(const struct limit *limit, double value) {
  return limit->keep.above ? value < limit->keep.level : value > limit->keep.level;
}

struct limit_question {
  const struct limit *limit;
  double from;
};

static bool is_broken(const void *context, const struct sample *sample, double *beyond) {
  const struct limit_question *question = context;
  const struct condition *keep = &question->limit->keep;
  double value = sample->signals[keep->signal];
  *beyond = keep->above ? keep->level - value : value - keep->level;
  return sample->time >= question->from && breaks(question->limit, value);
}

bool limits_begin(struct limits *limits, const struct view *view, const struct sample *sample, double braking_from,
                  struct error *error) {
  const struct case_data *data = view->data;
  if (data->limit_count > limits->capacity) {
    free(limits->each);
    limits->each = calloc((size_t)data->limit_count, sizeof *limits->each);
    limits->capacity = limits->each != NULL ? data->limit_count : 0;
    if (limits->each == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for limits");
    }
  }
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *limit = &data->limits[i];
    struct limit_observer *observer = &limits->each[i];
    begin_one(observer, view, limit, braking_from);
    if (limit->keep.signal >= 0) {
      struct limit_question question = {limit, observer->worst.from};
      double beyond;
      extremum_begin(&observer->worst, sample);
      if (is_broken(&question, sample, &beyond)) {
        observer->broken = true;
        observer->first = sample->time;
      }
    }
  }
  return true;
}

void limits_brake(struct limits *limits, const struct view *view, double braking_from) {
  for (int i = 0; i < view->data->limit_count; i++) {
    const struct limit *limit = &view->data->limits[i];
    if (limit->keep.signal >= 0 && limit->within > 0.0) {
      begin_one(&limits->each[i], view, limit, braking_from);
    }
  }
}

void limits_observe(struct limits *limits, const struct view *view, const struct step *step) {
  for (int i = 0; i < view->data->limit_count; i++) {
    const struct limit *limit = &view->data->limits[i];
    struct limit_observer *observer = &limits->each[i];
    int signal = limit->keep.signal;
    if (signal < 0 || !(step->end->time >= observer->worst.from)) {
      continue;
    }
    extremum_observe(&observer->worst, view, step);
    observer->undefined = observer->undefined || isnan(step->start->signals[signal]) ||
                          isnan(step->middle->signals[signal]) || isnan(step->end->signals[signal]);
    if (!observer->broken && observer->worst.seen && breaks(limit, observer->worst.best)) {
      struct limit_question question = {limit, observer->worst.from};
      struct sample found;
      double beyond;
      observer->broken = true;
      if (is_broken(&question, step->start, &beyond)) {
        observer->first = step->start->time;
      } else if (view_first(view, step, is_broken, &question, &found)) {
        observer->first = found.time;
      } else { /* a peak between the evaluated points */
        observer->first = observer->worst.time;
      }
    }
  }
}

/* ---- verdicts ---- */

static void judge(struct limit_finding *finding, enum limit_verdict verdict, const char *why) {
  finding->verdict = verdict;
  (void)snprintf(finding->why, sizeof finding->why, "%s", why);
}

/* Has the run come to where its case or its plant ends it? */
static bool is_whole(const struct outcome *outcome) {
  return outcome->status == RUN_COMPLETE || outcome->status == RUN_STOPPED;
}

static const char *cut_short(const struct outcome *outcome) {
  return outcome->status == RUN_FAILED ? "the run failed before its end" : "the run was interrupted before its end";
}

static void judge_signal(const struct limit_observer *observer, const struct limit *limit,
                         const struct outcome *outcome, struct limit_finding *finding) {
  finding->first = observer->first;
  if (observer->worst.seen) {
    finding->time = observer->worst.time;
    finding->worst = observer->worst.best;
  }
  if (observer->absent) {
    judge(finding, LIMIT_NOT_JUDGED, "this machine has no such signal");
    finding->first = finding->time = finding->worst = NAN;
  } else if (observer->broken) {
    judge(finding, LIMIT_BROKEN, "");
  } else if (limit->within > 0.0 && isnan(observer->worst.from)) {
    judge(finding, LIMIT_NOT_JUDGED, "braking never starts");
  } else if (!is_whole(outcome)) {
    judge(finding, LIMIT_NOT_JUDGED, cut_short(outcome));
  } else if (!observer->worst.seen) {
    judge(finding, LIMIT_NOT_JUDGED, "the run ends before it has to hold");
  } else if (observer->undefined || isnan(observer->worst.best)) {
    judge(finding, LIMIT_NOT_JUDGED, "the signal is no number at some time");
  } else {
    judge(finding, LIMIT_KEPT, "");
  }
}

/* Does a measure only ever grow along a run (1), only fall (-1), or neither? Then a bound that is passed stays so. */
static int direction_of(int measure) {
  switch (measure) {
  case MEASURE_peak_line_a_pressure:
  case MEASURE_peak_line_b_pressure:
  case MEASURE_peak_charge_pressure:
  case MEASURE_peak_case_pressure:
  case MEASURE_engine_speed_max:
  case MEASURE_motor_speed_max:
  case MEASURE_vehicle_speed_max:
  case MEASURE_largest_wheel_slip:
  case MEASURE_largest_front_wheel_slip:
  case MEASURE_relief_a_open_time:
  case MEASURE_relief_b_open_time:
  case MEASURE_relief_a_openings:
  case MEASURE_relief_b_openings:
  case MEASURE_relief_a_peak_flow:
  case MEASURE_relief_b_peak_flow:
  case MEASURE_relief_heat:
  case MEASURE_loop_oil_temperature_max:
  case MEASURE_tank_oil_temperature_max:
  case MEASURE_brake_temperature_max:
  case MEASURE_front_brake_temperature_max:
  case MEASURE_oil_lost:
    return 1;
  case MEASURE_least_line_oil:
  case MEASURE_lowest_low_side_pressure:
  case MEASURE_lowest_low_side_pressure_after_settling:
  case MEASURE_lowest_charge_pressure:
  case MEASURE_engine_speed_min:
    return -1;
  default:
    return 0;
  }
}

/* A machine that has been braked for longer, or over more ground, than a stop may take, and has not stopped. */
static bool runs_past(const struct motion *motion, const struct sample *sample, const struct limit *limit,
                      struct limit_finding *finding) {
  const struct stop_observer *stop = motion != NULL ? &motion->stop : NULL;
  bool by_time = limit->keep.measure == MEASURE_stop_time;
  if (stop == NULL || !stop->begun || stop->kind != STOP_NONE || limit->keep.above ||
      !(by_time || limit->keep.measure == MEASURE_stop_distance)) {
    return false;
  }
  double gone = by_time ? sample->time - stop->from : fabs(sample->signals[motion->distance] - stop->begin.distance);
  if (!(gone > limit->keep.level)) {
    return false;
  }
  char why[sizeof finding->why];
  (void)snprintf(why, sizeof why, "no stop within %.4g %s", gone, by_time ? "s" : "m");
  judge(finding, LIMIT_BROKEN, why);
  return true;
}

static void judge_measure(const struct motion *motion, const struct sample *sample, const struct limit *limit,
                          const struct outcome *outcome, struct limit_finding *finding) {
  int measure = limit->keep.measure;
  double value = outcome->measures[measure];
  bool stays = direction_of(measure) == (limit->keep.above ? -1 : 1);
  bool of_stop = measure == MEASURE_stop_time || measure == MEASURE_stop_distance;
  finding->worst = value;
  if (isnan(value)) {
    if (!runs_past(motion, sample, limit, finding)) {
      judge(finding, LIMIT_NOT_JUDGED, outcome->absent[measure]);
    }
  } else if (breaks(limit, value) && (is_whole(outcome) || stays || (of_stop && !limit->keep.above))) {
    judge(finding, LIMIT_BROKEN, "");
  } else if (!is_whole(outcome)) {
    judge(finding, LIMIT_NOT_JUDGED, cut_short(outcome));
  } else {
    judge(finding, LIMIT_KEPT, "");
  }
}

bool limits_end(const struct limits *limits, const struct view *view, const struct motion *motion,
                const struct sample *sample, struct outcome *outcome, struct error *error) {
  const struct case_data *data = view->data;
  if (data->limit_count > outcome->limit_capacity) {
    free(outcome->limits);
    outcome->limits = calloc((size_t)data->limit_count, sizeof *outcome->limits);
    outcome->limit_capacity = outcome->limits != NULL ? data->limit_count : 0;
    if (outcome->limits == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for limits");
    }
  }
  outcome->limit_count = data->limit_count;
  outcome->broken_count = 0;
  outcome->unjudged_count = 0;
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit *limit = &data->limits[i];
    struct limit_finding *finding = &outcome->limits[i];
    *finding = (struct limit_finding){.first = NAN, .time = NAN, .worst = NAN};
    if (limit->keep.signal >= 0) {
      judge_signal(&limits->each[i], limit, outcome, finding);
    } else {
      judge_measure(motion, sample, limit, outcome, finding);
    }
    outcome->broken_count += finding->verdict == LIMIT_BROKEN;
    outcome->unjudged_count += finding->verdict == LIMIT_NOT_JUDGED;
  }
  return true;
}
