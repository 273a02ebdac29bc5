#include "window.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"
#include "view.h"

#define GROWTH_TOLD 0.05 /* 1/s: slower is no growth that anybody meets */
#define TURN_PRESSURE 1e5

/* A machine that hunts crosses the kinks of its laws in every swing, and its growth jumps with them: at single
 * instants, one in so many swings, it shows beats that are none. So it is looked at between the samples too, at places
 * that no swing keeps step with (shares of the golden section), and its mean over a whole swing is told. */
enum { LOOKS = 4 /* of each sample, with its own instant */ };
#define GOLDEN_SHARE 0.6180339887498949

/* ---- following the run ---- */

struct observer_of_signal {
  struct window *window;
  int signal;
  bool failed;
};

static void evaluate_pair_at(struct observer_of_signal *observer_of_signal, const struct view *view,
                             const struct sample *sample) {
  struct window *window = observer_of_signal->window;
  bool own = window->fine % LOOKS == 0;
  struct instant instant;
  struct error error = {0};
  struct linear *linear = malloc(sizeof *linear);
  struct modes *modes = malloc(sizeof *modes);
  instant_of(view->plant, view->model, view->mode, sample->time, sample->state, &instant);
  if (linear == NULL || modes == NULL || !linear_make(&instant, NULL, linear, &error) ||
      !modes_find(linear, modes, &error)) {
    observer_of_signal->failed = true;
  } else {
    const struct mode *worst = &modes->modes[0];
    for (int k = 1; k < modes->count; k++) {
      /* Among those that die out, the least damped pair is worth reporting. */
      worst = modes->modes[k].real > worst->real ? &modes->modes[k] : worst;
    }
    window->fine_time[window->fine] = sample->time;
    window->fine_growth[window->fine++] = worst->real;
    if (own) {
      int i = window->taken++;
      window->time[i] = sample->time;
      window->growth[i] = worst->real;
      window->frequency[i] = worst->imaginary;
      window->swing[i] = sample->signals[observer_of_signal->signal];
    }
    for (int k = 0; own && k < linear->count; k++) {
      window->share[linear->places[k]] += fmax(worst->real - GROWTH_TOLD, 0.0) * worst->share[k];
    }
  }
  free(modes);
  free(linear);
}

/* Where the next look is. */
static double next_look(const struct window *window) {
  double spacing = (window->to - window->from) / (window->samples - 1);
  int sample = window->fine / LOOKS;
  int look = window->fine % LOOKS;
  double share = GOLDEN_SHARE * window->fine;
  share = look == 0 ? 0.0 : (look - 1 + share - floor(share)) / (LOOKS - 1);
  return fmin(window->from + spacing * (sample + share), window->to);
}

static void observe(void *context, const struct view *view, const struct step *step) {
  struct observer_of_signal *observer_of_signal = context;
  struct window *window = observer_of_signal->window;
  while (!observer_of_signal->failed && window->taken < window->samples) {
    double t = next_look(window);
    if (t > step->end->time) {
      return;
    }
    struct sample sample;
    view_at(view, fmax(t, step->start->time), &sample);
    evaluate_pair_at(observer_of_signal, view, &sample);
  }
}

/* ---- judging ---- */

static void judge_growth(struct window *window) {
  double spacing = (window->to - window->from) / (window->samples - 1);
  double step = 0.0;
  for (int i = 0; i < window->taken; i++) {
    step = window->growth[i] > GROWTH_TOLD ? step + spacing : 0.0;
    window->growing_time += window->growth[i] > GROWTH_TOLD ? spacing : 0.0;
    window->longest_time = fmax(window->longest_time, step);
  }
}

/* Turning points that lie at least `least` apart in value; the largest half swing between them. */
static int count_turns(const double *values, int first, int past, double least, double *amplitude) {
  int turns = 0;
  double extremum = values[first];
  double last_turn = NAN;
  int way = 0;
  *amplitude = 0.0;
  for (int i = first + 1; i < past; i++) {
    if (way == 0) {
      way = values[i] > extremum + least ? 1 : values[i] < extremum - least ? -1 : 0;
      extremum = way != 0 ? values[i] : extremum;
    } else if (way > 0 ? values[i] >= extremum : values[i] <= extremum) {
      extremum = values[i];
    } else if (fabs(values[i] - extremum) > least) {
      if (!isnan(last_turn)) {
        *amplitude = fmax(*amplitude, 0.5 * fabs(extremum - last_turn));
      }
      last_turn = extremum;
      turns++;
      way = -way;
      extremum = values[i];
    }
  }
  return turns;
}

static void judge_swing(struct window *window) {
  int half = window->taken / 2;
  int quarter = window->taken - window->taken / 4;
  double first = 0.0;
  double second = 0.0;
  window->turns = count_turns(window->swing, half, window->taken, TURN_PRESSURE, &first);
  (void)count_turns(window->swing, half, quarter, TURN_PRESSURE, &first);
  (void)count_turns(window->swing, quarter, window->taken, TURN_PRESSURE, &second);
  window->amplitude = second;
  double lasted = window->time[window->taken - 1] - window->time[half];
  window->swing_frequency = lasted > 0.0 ? 0.5 * window->turns / lasted : 0.0;
  if (window->turns >= 6 && second > 0.7 * first && second > 0.0) {
    window->verdict = WINDOW_HUNTS;
  } else if (window->longest_time > 0.5 * (window->to - window->from)) {
    window->verdict = WINDOW_GROWS;
  } else {
    window->verdict = window->growing_time > 0.0 ? WINDOW_IN_PASSING : WINDOW_SOUND;
  }
}

/* Mean and peak of the growth over one swing about each sample. */
static void average_growth(struct window *window) {
  double spacing = (window->to - window->from) / (window->samples - 1);
  window->span = 2.0 * spacing;
  if (window->turns >= 6 && window->swing_frequency > 0.0) {
    double swing = 1.0 / window->swing_frequency;
    window->span = swing * ceil(window->span / swing); /* whole swings */
  }
  int first = 0;
  for (int i = 0; i < window->taken; i++) {
    double sum = 0.0;
    double low = fmax(window->time[i] - 0.5 * window->span, window->from);
    double high = fmin(window->time[i] + 0.5 * window->span, window->to);
    while (first < window->fine - 1 && window->fine_time[first] < low) {
      first++;
    }
    int count = 0;
    window->highest[i] = window->growth[i];
    for (int k = first; k < window->fine && window->fine_time[k] <= high; k++, count++) {
      sum += window->fine_growth[k];
      window->highest[i] = fmax(window->highest[i], window->fine_growth[k]);
    }
    window->mean[i] = count > 0 ? sum / count : window->growth[i];
  }
}

static bool takes_part(const struct instant *instant, const double *share, const char *name, double least) {
  for (int i = 0; i < instant->state_count; i++) {
    if (share[i] >= least && strstr(instant->plant->states[instant->rows[i]].name, name) != NULL) {
      return true;
    }
  }
  return false;
}

/* What usually steadies it. */
static const char *advice(const struct instant *instant, const double *share) {
  if (takes_part(instant, share, "limiter", 0.08)) {
    return "; the limiter's loop is too stiff for its lags: a wider limiter.band, shorter lags or more oil in the line "
           "steady it";
  }
  if (takes_part(instant, share, "override", 0.08)) {
    return "; the motor override is too stiff for its lags: a wider motor.override_band or a shorter motor.servo_lag "
           "steady it";
  }
  return "";
}

static void tell(struct window *window, const struct instant *instant) {
  double sum = 0.0;
  struct linear all = {.count = instant->state_count};
  struct mode mode = {.imaginary = 1.0};
  for (int i = 0; i < instant->state_count; i++) {
    sum += window->share[i];
  }
  for (int i = 0; i < instant->state_count; i++) {
    all.places[i] = i;
    window->share[i] = sum > 0.0 ? window->share[i] / sum : 0.0;
    mode.share[i] = window->share[i];
  }
  char who[200];
  (void)mode_words(instant, &all, &mode, who, sizeof who);
  double spacing = (window->to - window->from) / (window->samples - 1);
  switch (window->verdict) {
  case WINDOW_SOUND:
    (void)snprintf(window->words, sizeof window->words, "sound: no mode grows in this window");
    break;
  case WINDOW_IN_PASSING:
    (void)snprintf(window->words, sizeof window->words,
                   "sound: a mode grows only in passing, %.3g s of %.3g s, %.3g s at a stretch (%s)",
                   window->growing_time, window->to - window->from, fmax(window->longest_time, spacing), who);
    break;
  case WINDOW_GROWS:
    (void)snprintf(window->words, sizeof window->words, "unstable: a mode grows for %.3g s at a stretch: %s%s",
                   window->longest_time, who, advice(instant, window->share));
    break;
  case WINDOW_HUNTS:
    (void)snprintf(window->words, sizeof window->words,
                   "hunts: the pressure swings by +-%.3g bar at %.3g Hz and does not settle: %s%s",
                   1e-5 * window->amplitude, window->swing_frequency, who, advice(instant, window->share));
    break;
  }
}

/* ---- from outside ---- */

void window_free(struct window *window) {
  free(window->time);
  window->time = NULL;
}

static struct run_workspace *run_to(const struct case_data *data, double time, run_observer *observer, void *context,
                                    struct error *error) {
  struct run_workspace *workspace = run_workspace_new(data->plant, false, error);
  if (workspace == NULL) {
    return NULL;
  }
  struct case_data shorter = *data;
  struct outcome outcome = {0};
  shorter.simulation.end_time = time;
  run_workspace_observe(workspace, observer, context);
  bool good = run_in(workspace, &shorter, NULL, NULL, &outcome, error);
  if (good && outcome.status == RUN_FAILED) {
    *error = outcome.error;
    good = false;
  } else if (good && outcome.end_time < time) {
    good = error_set(error, ERROR_RUN, "the run ends at %.4g s, before %.4g s: %s", outcome.end_time, time,
                     outcome.stop_words);
  }
  outcome_free(&outcome);
  if (!good) {
    run_workspace_free(workspace);
    return NULL;
  }
  return workspace;
}

static void keep_last(void *context, const struct view *view, const struct step *step) {
  instant_of(view->plant, view->model, view->mode, step->end->time, step->end->state, context);
}

struct run_workspace *window_run_to(const struct case_data *data, double time, struct instant *instant,
                                    struct error *error) {
  return run_to(data, time, keep_last, instant, error);
}

/* Both lookers of a window. */
struct pair {
  struct observer_of_signal observer_of_signal;
  struct instant last;
};

static void observe_both(void *context, const struct view *view, const struct step *step) {
  struct pair *pair = context;
  observe(&pair->observer_of_signal, view, step);
  keep_last(&pair->last, view, step);
}

bool window_evaluate(const struct case_data *data, double from, double to, int samples, struct window *window,
                     struct error *error) {
  memset(window, 0, sizeof *window);
  window->from = from;
  window->to = to;
  window->samples = samples;
  window->time = calloc((size_t)samples * (6 + 2 * LOOKS), sizeof *window->time);
  if (window->time == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for the window");
  }
  window->growth = window->time + samples;
  window->frequency = window->growth + samples;
  window->swing = window->frequency + samples;
  window->mean = window->swing + samples;
  window->highest = window->mean + samples;
  window->fine_time = window->highest + samples;
  window->fine_growth = window->fine_time + (size_t)samples * LOOKS;
  struct pair pair = {.observer_of_signal = {.window = window}};
  struct row_place drop;
  if (!registry_place(data->plant, "line_pressure_difference", &drop, error) ||
      !registry_need(data->plant, "line_a_pressure", &pair.observer_of_signal.signal, error)) {
    return false;
  }
  if (drop.there) {
    pair.observer_of_signal.signal = drop.index;
  }
  struct run_workspace *workspace = run_to(data, to, observe_both, &pair, error);
  if (workspace == NULL) {
    return false;
  }
  bool good = !pair.observer_of_signal.failed && window->taken > 8;
  if (good) {
    judge_growth(window);
    judge_swing(window);
    average_growth(window);
    tell(window, &pair.last);
  }
  run_workspace_free(workspace);
  return good || error_set(error, ERROR_RUN, "the modes could not be found along the window");
}
