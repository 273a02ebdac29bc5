#include "stop.h"

#include <math.h>
#include <string.h>

#include "thresholds.h"

void ledger_at(const struct view *view, const struct sample *sample, double *ledger) {
  const struct plant *plant = view->plant;
  integrator_integrals_at(view->integrator, sample->time, ledger);
  plant->stored(view->model, sample->state, ledger + plant->ledger_integrated);
}

static void mark(struct stop_mark *mark, const struct motion *motion, const struct view *view,
                 const struct sample *sample) {
  mark->time = sample->time;
  mark->distance = sample->signals[motion->distance];
  ledger_at(view, sample, mark->ledger);
}

static void note(struct motion *motion, enum motion_news news, double time, double speed, double distance) {
  if (motion->note_count < MOTION_NEWS_LIMIT) {
    motion->notes[motion->note_count++] = (struct motion_note){news, time, speed, distance};
  }
}

/* One half of a step: both ends have been evaluated. */
struct half {
  const struct sample *start;
  const struct sample *end;
};

/* The first instant of a half at which the answer is yes, which it is at its end. */
static void find(const struct view *view, const struct half *half, view_question *question, const void *context,
                 struct sample *found) {
  struct step step = {half->start, half->end, half->end};
  if (!view_first(view, &step, question, context, found)) {
    *found = *half->end;
  }
}

/* ---- the stop ---- */

struct speed_question {
  int speed;
  double way; /* sign of the speed at first */
  double level;
};

static bool is_down_to(const void *context, const struct sample *sample, double *beyond) {
  const struct speed_question *question = context;
  *beyond = question->level - question->way * sample->signals[question->speed];
  return question->way * sample->signals[question->speed] <= question->level;
}

static bool is_slow(const void *context, const struct sample *sample, double *beyond) {
  const struct speed_question *question = context;
  *beyond = question->level - fabs(sample->signals[question->speed]);
  return fabs(sample->signals[question->speed]) <= question->level;
}

static bool is_fast(const void *context, const struct sample *sample, double *beyond) {
  bool slow = is_slow(context, sample, beyond);
  *beyond = -*beyond;
  return !slow;
}

static void note_braking(struct motion *motion) {
  const struct stop_observer *stop = &motion->stop;
  note(motion, NEWS_BRAKING, stop->from, stop->from_speed, stop->begin.distance);
}

/* Braking is told with its stop, or at the end of the run: what is told is then not taken back by a later start. A
 * machine that stands already neither brakes nor stops. */
static void note_stop(struct motion *motion) {
  const struct stop_observer *stop = &motion->stop;
  if (fabs(stop->from_speed) > STANDSTILL_SPEED) {
    note_braking(motion);
    note(motion, NEWS_STOP, stop->stop.time, NAN, stop->stop.distance);
  }
}

/* What is sure at t, given all before it. */
static void decide(struct motion *motion, double t) {
  struct stop_observer *stop = &motion->stop;
  if (stop->kind != STOP_NONE) {
    return;
  }
  if (stop->slow && t - stop->slowed.time >= REST_TIME) {
    bool by_touch = stop->touched && stop->touch.time <= stop->slowed.time + REST_TIME;
    stop->kind = by_touch ? STOP_AT_STANDSTILL : STOP_INTO_CREEP;
    stop->stop = by_touch ? stop->touch : stop->slowed;
    note_stop(motion);
  } else if (!stop->slow && stop->touched && t - stop->fast_since >= REST_TIME) {
    stop->touched = false;
    stop->ran_on = true;
  }
}

static void touch_at(struct motion *motion, const struct view *view, const struct sample *sample) {
  decide(motion, sample->time);
  motion->stop.touched = true;
  mark(&motion->stop.touch, motion, view, sample);
}

static void cross_at(struct motion *motion, const struct view *view, const struct sample *sample) {
  struct stop_observer *stop = &motion->stop;
  decide(motion, sample->time);
  stop->slow = !stop->slow;
  if (stop->slow) {
    mark(&stop->slowed, motion, view, sample);
  } else {
    stop->fast_since = sample->time;
  }
}

static void observe_stop(struct motion *motion, const struct view *view, const struct half *half) {
  struct stop_observer *stop = &motion->stop;
  double before = half->start->signals[motion->speed];
  double after = half->end->signals[motion->speed];
  if (stop->kind != STOP_NONE) {
    return;
  }
  struct speed_question down = {motion->speed, before < 0.0 ? -1.0 : 1.0, STANDSTILL_SPEED};
  struct speed_question slow = {motion->speed, 1.0, STOP_SPEED};
  struct sample touch;
  struct sample crossing;
  bool touches = false;
  if (!stop->touched && down.way * before <= STANDSTILL_SPEED) {
    touches = true;
    touch = *half->start;
  } else if (!stop->touched && down.way * after <= STANDSTILL_SPEED) {
    touches = true;
    find(view, half, is_down_to, &down, &touch);
  }
  bool crosses = stop->slow != (fabs(after) <= STOP_SPEED);
  if (crosses) {
    find(view, half, stop->slow ? is_fast : is_slow, &slow, &crossing);
  }
  if (touches && !(crosses && crossing.time < touch.time)) {
    touch_at(motion, view, &touch);
    touches = false;
  }
  if (crosses) {
    cross_at(motion, view, &crossing);
  }
  if (touches && stop->kind == STOP_NONE) {
    touch_at(motion, view, &touch);
  }
  decide(motion, half->end->time);
}

static void start_braking(struct motion *motion, const struct view *view, const struct sample *sample,
                          bool integrals_ready) {
  struct stop_observer *stop = &motion->stop;
  stop->begun = true;
  stop->from_speed = sample->signals[motion->speed];
  if (integrals_ready) {
    mark(&stop->begin, motion, view, sample);
  } else {
    stop->begin = (struct stop_mark){.time = sample->time, .distance = sample->signals[motion->distance]};
    view->plant->stored(view->model, sample->state, stop->begin.ledger + view->plant->ledger_integrated);
  }
  stop->slow = fabs(stop->from_speed) <= STOP_SPEED;
  stop->slowed = stop->begin;
  stop->fast_since = sample->time;
}

void motion_brake(struct motion *motion, double from, const char *why) {
  memset(&motion->stop, 0, sizeof motion->stop);
  motion->stop.from = from;
  motion->stop.why = why;
  motion->stop.from_speed = NAN;
}

/* ---- rest and creep ---- */

enum { BAND_REST, BAND_AHEAD, BAND_BACK, BAND_FAST };

static int band_of(double speed) {
  double size = fabs(speed);
  return size <= REST_SPEED ? BAND_REST : size > STOP_SPEED ? BAND_FAST : speed > 0.0 ? BAND_AHEAD : BAND_BACK;
}

struct band_question {
  int speed;
  int band;
};

static bool has_left(const void *context, const struct sample *sample, double *beyond) {
  const struct band_question *question = context;
  double speed = sample->signals[question->speed];
  double along = question->band == BAND_BACK ? -speed : question->band == BAND_AHEAD ? speed : fabs(speed);
  *beyond = question->band == BAND_REST   ? along - REST_SPEED
            : question->band == BAND_FAST ? STOP_SPEED - along
                                          : fmax(along - STOP_SPEED, REST_SPEED - along);
  return band_of(speed) != question->band;
}

static void open_window(struct motion *motion, const struct sample *sample) {
  struct motion_observer *rest = &motion->rest;
  rest->window_start = sample->time;
  rest->window_distance = sample->signals[motion->distance];
  rest->lowest = rest->highest = fabs(sample->signals[motion->speed]);
}

static void enter_phase(struct motion *motion, enum motion_phase phase, double since) {
  motion->rest.phase = phase;
  motion->rest.since = since;
}

static void enter_band(struct motion *motion, int band, const struct sample *sample) {
  struct motion_observer *rest = &motion->rest;
  rest->band = band;
  rest->band_since = sample->time;
  rest->band_distance = sample->signals[motion->distance];
  open_window(motion, sample);
  if (band == BAND_FAST && rest->phase != MOTION_MOVES) {
    enter_phase(motion, MOTION_MOVES, sample->time);
    note(motion, NEWS_MOVES, sample->time, sample->signals[motion->speed], rest->band_distance);
  }
}

static void look_for_rest(struct motion *motion, double t) {
  struct motion_observer *rest = &motion->rest;
  if (rest->phase != MOTION_RESTS && t - rest->band_since >= REST_TIME) {
    enter_phase(motion, MOTION_RESTS, rest->band_since);
    note(motion, NEWS_STANDS, rest->band_since, 0.0, rest->band_distance);
  }
}

static void look_for_creep(struct motion *motion, const struct sample *sample) {
  struct motion_observer *rest = &motion->rest;
  double size = fabs(sample->signals[motion->speed]);
  rest->lowest = fmin(rest->lowest, size);
  rest->highest = fmax(rest->highest, size);
  double width = sample->time - rest->window_start;
  if (width < REST_TIME) {
    return;
  }
  if (rest->phase != MOTION_CREEPS && rest->highest <= CREEP_STEADY * rest->lowest) {
    enter_phase(motion, MOTION_CREEPS, rest->window_start);
    note(motion, NEWS_CREEPS, rest->window_start, (sample->signals[motion->distance] - rest->window_distance) / width,
         rest->window_distance);
  }
  open_window(motion, sample);
}

static void observe_rest(struct motion *motion, const struct view *view, const struct half *half) {
  struct motion_observer *rest = &motion->rest;
  struct sample left;
  struct sample found;
  struct half behind = *half; /* the last change of band */
  while (behind.start->time < half->end->time && band_of(half->end->signals[motion->speed]) != rest->band) {
    struct band_question question = {motion->speed, rest->band};
    find(view, &behind, has_left, &question, &found);
    if (rest->band == BAND_REST) {
      look_for_rest(motion, found.time);
    }
    enter_band(motion, band_of(found.signals[motion->speed]), &found);
    left = found;
    behind.start = &left;
  }
  if (rest->band == BAND_REST) {
    look_for_rest(motion, half->end->time);
  } else if (rest->band != BAND_FAST) {
    look_for_creep(motion, half->end);
  }
}

/* ---- both ---- */

void motion_begin(struct motion *motion, const struct view *view, const struct sample *sample) {
  struct motion_observer *rest = &motion->rest;
  rest->band = band_of(sample->signals[motion->speed]);
  rest->band_since = sample->time;
  rest->band_distance = sample->signals[motion->distance];
  rest->phase = rest->band == BAND_REST ? MOTION_RESTS : MOTION_MOVES;
  rest->since = sample->time;
  open_window(motion, sample);
  if (motion->stop.from <= sample->time) {
    start_braking(motion, view, sample, false);
  }
}

void motion_observe(struct motion *motion, const struct view *view, const struct step *step) {
  struct half halves[2] = {{step->start, step->middle}, {step->middle, step->end}};
  if (!motion->stop.begun && motion->stop.from <= step->start->time) {
    start_braking(motion, view, step->start, true);
  }
  for (int i = 0; i < 2; i++) {
    if (motion->stop.begun) {
      observe_stop(motion, view, &halves[i]);
    }
    observe_rest(motion, view, &halves[i]);
  }
}

/* Would the stop find nothing in a half, from speed `before` to `after` at t? */
static bool stop_idle(const struct stop_observer *stop, double t, double before, double after) {
  double way = before < 0.0 ? -1.0 : 1.0;
  bool touches = !stop->touched && (way * before <= STANDSTILL_SPEED || way * after <= STANDSTILL_SPEED);
  bool crosses = stop->slow != (fabs(after) <= STOP_SPEED);
  bool decides = stop->slow ? t - stop->slowed.time >= REST_TIME : stop->touched && t - stop->fast_since >= REST_TIME;
  return !touches && !crosses && !decides;
}

static bool rest_idle(const struct motion_observer *rest, double t, double after) {
  if (band_of(after) != rest->band) {
    return false;
  }
  if (rest->band == BAND_REST) {
    return rest->phase == MOTION_RESTS || t - rest->band_since < REST_TIME;
  }
  return rest->band == BAND_FAST || t - rest->window_start < REST_TIME;
}

bool motion_idle(const struct motion *motion, const double *times, const double *speeds) {
  const struct stop_observer *stop = &motion->stop;
  bool watches_stop = stop->begun && stop->kind == STOP_NONE;
  if (!stop->begun && stop->from <= times[0]) {
    return false;
  }
  for (int i = 1; i < 3; i++) {
    if ((watches_stop && !stop_idle(stop, times[i], speeds[i - 1], speeds[i])) ||
        !rest_idle(&motion->rest, times[i], speeds[i])) {
      return false;
    }
  }
  return true;
}

void motion_glide(struct motion *motion, const double *speeds) {
  struct motion_observer *rest = &motion->rest;
  for (int i = 1; i < 3 && rest->band != BAND_REST && rest->band != BAND_FAST; i++) {
    rest->lowest = fmin(rest->lowest, fabs(speeds[i]));
    rest->highest = fmax(rest->highest, fabs(speeds[i]));
  }
}

void motion_end(struct motion *motion, const struct sample *sample) {
  struct stop_observer *stop = &motion->stop;
  decide(motion, sample->time);
  if (stop->begun && stop->kind == STOP_NONE && stop->touched) {
    stop->kind = STOP_AT_STANDSTILL;
    stop->stop = stop->touch;
    note_stop(motion);
  } else if (stop->begun && stop->kind == STOP_NONE) {
    note_braking(motion);
  }
}
