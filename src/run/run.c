#include "run.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "integrator.h"
#include "measurer.h"
#include "registry.h"
#include "samples.h"
#include "steady_start.h"
#include "story.h"
#include "tangent.h"
#include "units.h"
#include "view.h"

const char *const run_status_names[] = {"complete", "stopped", "failed", "interrupted"};

enum {
  TICK_STEPS = 64,      /* steps or samples: one step may carry a whole history */
  RESTARTS_AT_ONCE = 64 /* changes at one instant before the run gives up: a mode that flickers */
};

#define TICK_SECONDS 0.05

/* Two kinks of the clock this near to each other, over their time, are one: a rounding error lies between them (0.2 s
 * after 2.346 s, and 2.546 s), and no solver can step from one to the other. */
#define KINKS_APART 2e-15

/* Everything of one run. What is made once for many runs stands first. */
struct run_workspace {
  bool story;
  int fired_capacity;
  struct view view;
  struct measurer measurer;
  struct event_watch watch;
  struct outcome *outcome;
  struct tangent *tangent; /* NULL: no derivatives are asked for */
  const struct sensitivity_request *request;
  double *derivatives; /* of one sample */
  const struct recorder *recorder;
  const struct watcher *watcher;
  struct moment moments[3];
  struct moment *start; /* of the present step: each one of the three, exchanged rather than copied */
  struct moment *middle;
  struct moment *end;
  double integrals[PLANT_LEDGER_LIMIT];
  const char *state_names[PLANT_STATE_LIMIT];
  bool *fired;      /* actions that have fired */
  long next_sample; /* index on the output grid */
  struct samples samples;
  double last_tick;
  int steps_to_tick;
  bool told_to_stop;
  run_follower *follow;
  void *follow_context;
};

/* ---- the clock ---- */

static double seconds_of(clockid_t clock) {
  struct timespec now;
  clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- what the integrator calls ---- */

static void rates_of(void *context, double t, const double *state, double *rates) {
  const struct run_workspace *run = context;
  const struct view *view = &run->view;
  view->plant->rates(view->model, view->mode, t, state, rates);
}

static void powers_of(void *context, double t, const double *state, double *powers) {
  const struct run_workspace *run = context;
  run->view.plant->powers(run->view.model, run->view.mode, t, state, powers);
}

/* Start, middle and end of the present step have been looked at. */
static bool known_powers(void *context, double t, double *powers) {
  const struct run_workspace *run = context;
  const struct moment *known[3] = {run->start, run->middle, run->end};
  for (int i = 0; i < 3; i++) {
    if (known[i]->time == t) {
      memcpy(powers, known[i]->powers, (size_t)run->view.plant->ledger_integrated * sizeof *powers);
      return true;
    }
  }
  return false;
}

/* ---- time histories ---- */

static bool put_derivatives(struct run_workspace *run, double t, struct error *error) {
  if (run->tangent == NULL || run->request->sample == NULL) {
    return true;
  }
  tangent_signals(run->tangent, t, run->derivatives);
  return run->request->sample(run->request->context, t, run->derivatives, error);
}

/* Asks the watcher now and then; once interrupted, always. */
static bool interrupted(struct run_workspace *run) {
  if (run->watcher == NULL || run->told_to_stop || --run->steps_to_tick > 0) {
    return run->told_to_stop;
  }
  run->steps_to_tick = TICK_STEPS;
  double now = seconds_of(CLOCK_MONOTONIC);
  if (now - run->last_tick >= TICK_SECONDS) {
    run->last_tick = now;
    run->told_to_stop =
        !run->watcher->tick(run->watcher->context, run->start->time, run->view.data->simulation.end_time);
  }
  return run->told_to_stop;
}

/* Samples on the grid up to `until`, from the last step's polynomial. */
static bool put_samples(struct run_workspace *run, double until, struct error *error) {
  if (run->recorder == NULL) {
    return true;
  }
  const struct view *view = &run->view;
  double step = view->data->simulation.output_step;
  struct moment moment;
  for (;;) {
    moment.time = (double)run->next_sample * step;
    if (moment.time > until || interrupted(run)) {
      return true;
    }
    integrator_state_at(view->integrator, moment.time, moment.state);
    view->plant->signals_at(view->model, view->mode, moment.time, moment.state, moment.signals);
    if (!samples_put(&run->samples, moment.time, moment.signals, error) || !put_derivatives(run, moment.time, error)) {
      return false;
    }
    run->next_sample++;
  }
}

/* ---- conditions of actions ---- */

static bool holds(const void *context, const struct moment *moment) {
  const struct condition *condition = context;
  double value = condition->signal == CONDITION_CLOCK ? moment->time : moment->signals[condition->signal];
  return condition->above ? value >= condition->level : value <= condition->level;
}

/* The next time at which an action waits for the clock alone. */
static double next_action_time(const struct run_workspace *run, double t) {
  double next = HUGE_VAL;
  const struct case_data *data = run->view.data;
  for (int i = 0; i < data->action_count; i++) {
    const struct condition *when = &data->actions[i].when;
    if (!run->fired[i] && when->signal == CONDITION_CLOCK && when->above && when->level > t) {
      next = fmin(next, when->level);
    }
  }
  return next;
}

static bool tell_action(const struct run_workspace *run, const struct action *action, const struct moment *moment,
                        struct error *error) {
  const struct plant *plant = run->view.plant;
  char target[64];
  char over[64] = " at once";
  char words[320];
  units_show(plant->channel_quantities[action->channel], action->target, target, sizeof target);
  if (action->duration > 0.0) {
    snprintf(over, sizeof over, " over %.4g s", action->duration);
  }
  snprintf(words, sizeof words, "%s: %s goes to %s%s", action->name, plant->channels[action->channel], target, over);
  int signal = action->when.signal >= 0 ? action->when.signal : -1;
  return story_add(run->outcome, plant, moment->time, "action", words, signal,
                   signal >= 0 ? moment->signals[signal] : NAN, error);
}

static bool fire(struct run_workspace *run, int i, const struct moment *moment, struct error *error) {
  const struct action *action = &run->view.data->actions[i];
  const struct plant *plant = run->view.plant;
  run->fired[i] = true;
  if (run->tangent != NULL) {
    tangent_before(run->tangent, moment);
    tangent_move(run->tangent, moment, i);
  }
  plant->move(run->view.model, run->view.mode, moment->time, action->channel, action->target, action->duration);
  if (run->tangent != NULL) {
    tangent_after(run->tangent, moment);
  }
  if (run->story && !tell_action(run, action, moment, error)) {
    return false;
  }
  measurer_release(&run->measurer, &run->view, plant->release_time(run->view.model, run->view.mode));
  return true;
}

/* ---- cuts: where a step must end early ---- */

struct switch_question {
  int which;
};

static bool has_fallen(const void *context, const struct moment *moment) {
  const struct switch_question *question = context;
  return moment->switches[question->which] < 0.0;
}

struct cut {
  bool found;
  struct moment moment;
  int which; /* the switch that fell, or -1: an action */
};

static void nearer(struct cut *cut, const struct moment *moment, int which) {
  if (!cut->found || moment->time < cut->moment.time) {
    cut->found = true;
    cut->moment = *moment;
    cut->which = which;
  }
}

/* Has any switch fallen at a point that has been looked at? */
static bool any_has_fallen(const struct stretch *step, int count) {
  int fallen = 0;
  for (int i = 0; i < count; i++) {
    fallen |= (step->start->switches[i] < 0.0) | (step->middle->switches[i] < 0.0) | (step->end->switches[i] < 0.0);
  }
  return fallen != 0;
}

/* The earliest, into `cut`. */
static void find_cut(const struct run_workspace *run, const struct stretch *step, struct cut *cut) {
  const struct view *view = &run->view;
  struct moment found;
  cut->found = false;
  bool fallen = any_has_fallen(step, view->plant->switch_count);
  for (int i = 0; fallen && i < view->plant->switch_count; i++) {
    struct switch_question question = {i};
    if (has_fallen(&question, step->start)) {
      nearer(cut, step->start, i);
    } else if (view_first(view, step, has_fallen, &question, &found)) {
      nearer(cut, &found, i);
    }
  }
  for (int i = 0; i < view->data->action_count; i++) {
    const struct condition *when = &view->data->actions[i].when;
    if (!run->fired[i] && view_first(view, step, holds, when, &found)) {
      nearer(cut, &found, -1);
    }
  }
}

/* ---- the loop ---- */

static bool restart(struct run_workspace *run, const struct moment *at, struct error *error) {
  if (at != run->start) {
    *run->start = *at;
  }
  view_evaluate(&run->view, run->start);
  if (run->tangent != NULL) {
    tangent_restart(run->tangent, at->time);
  }
  return integrator_start(run->view.integrator, at->time, run->start->state, run->integrals, error);
}

/* All actions whose condition holds now, fired. Returns through *any whether one did. */
static bool fire_all(struct run_workspace *run, const struct moment *moment, bool *any, struct error *error) {
  for (int i = 0; i < run->view.data->action_count; i++) {
    if (!run->fired[i] && holds(&run->view.data->actions[i].when, moment)) {
      *any = true;
      if (!fire(run, i, moment, error)) {
        return false;
      }
    }
  }
  return true;
}

/* Accept the step from run->start to `end`: everything that looks at it looks now. */
static bool accept(struct run_workspace *run, const struct moment *end, struct error *error) {
  struct stretch step = {run->start, run->middle, end};
  measurer_follow(&run->measurer, &run->view, &step);
  if (run->tangent != NULL) {
    tangent_follow(run->tangent, &step);
  }
  if (run->follow != NULL) {
    run->follow(run->follow_context, &run->view, &step);
  }
  return (!run->story || event_watch_follow(&run->watch, &run->view, &step, run->outcome, error)) &&
         put_samples(run, end->time, error);
}

/* The run has come where nothing was given to it. */
static bool tell_excess(const struct run_workspace *run, const struct moment *at, int which, const char *words,
                        struct error *error) {
  struct plant_excess excess;
  char value[64];
  char edge[64];
  run->view.plant->excess(run->view.model, at->state, which, &excess);
  units_show(excess.quantity, excess.value, value, sizeof value);
  units_show(excess.quantity, excess.edge, edge, sizeof edge);
  return error_set(error, ERROR_RUN, "at t = %.6g s %s: %s, and the map ends at %s", at->time, words, value, edge);
}

/* Change the mode at run->start (switch `which`, -1 the clock). Returns false when the run must end with *status. */
static bool change_mode(struct run_workspace *run, struct moment *at, int which, enum run_status *status,
                        struct error *error) {
  const char *words = NULL;
  const struct plant *plant = run->view.plant;
  if (run->tangent != NULL) {
    tangent_before(run->tangent, at);
    tangent_change(run->tangent, at, which);
  }
  enum plant_verdict verdict = plant->change(run->view.model, run->view.mode, at->time, at->state, which, &words);
  if (run->tangent != NULL && verdict == PLANT_GOES_ON) {
    tangent_after(run->tangent, at);
  }
  if (words != NULL && run->story && !story_add(run->outcome, plant, at->time, "mode", words, -1, NAN, error)) {
    *status = RUN_FAILED;
    return false;
  }
  if (verdict == PLANT_FAILS_RUN) {
    *status = RUN_FAILED;
    return tell_excess(run, at, which, words, error);
  }
  if (verdict == PLANT_ENDS_RUN) {
    *status = RUN_STOPPED;
    snprintf(run->outcome->stop_words, sizeof run->outcome->stop_words, "%s", words != NULL ? words : "");
    return false;
  }
  return true;
}

static enum run_status integrate(struct run_workspace *run, struct error *error) {
  const struct view *view = &run->view;
  const struct plant *plant = view->plant;
  double end_time = view->data->simulation.end_time;
  enum run_status status = RUN_COMPLETE;
  int changes_here = 0;
  double last_change = -1.0;
  bool any = false;
  struct cut cut;
  if (!fire_all(run, run->start, &any, error) || !restart(run, run->start, error) || !put_samples(run, 0.0, error)) {
    return RUN_FAILED;
  }
  if (run->story) {
    event_watch_begin(&run->watch, view, run->start);
  }
  while (run->start->time < end_time) {
    if (interrupted(run)) {
      return RUN_INTERRUPTED;
    }
    double t = run->start->time;
    double clock = plant->next_time(view->mode);
    double stop = fmin(fmin(end_time, clock), fmin(next_action_time(run, t), measurer_next_time(&run->measurer, t)));
    if (stop > t && stop - t <= KINKS_APART * stop) {
      if (!put_samples(run, stop, error)) {
        return RUN_FAILED;
      }
      run->start->time = stop;
      if (!restart(run, run->start, error)) {
        return RUN_FAILED;
      }
    } else if (stop > t) {
      if (!integrator_step(view->integrator, stop, error)) {
        return RUN_FAILED;
      }
      double reached = integrator_time(view->integrator);
      view_at(view, reached, run->end);
      view_at(view, 0.5 * (t + reached), run->middle);
      struct stretch step = {run->start, run->middle, run->end};
      find_cut(run, &step, &cut);
      if (cut.found) {
        if (cut.moment.time > t) {
          view_at(view, 0.5 * (t + cut.moment.time), run->middle);
          if (!accept(run, &cut.moment, error)) {
            return RUN_FAILED;
          }
          integrator_integrals_at(view->integrator, cut.moment.time, run->integrals);
        }
        *run->start = cut.moment;
        changes_here = cut.moment.time == last_change ? changes_here + 1 : 0;
        last_change = cut.moment.time;
        if (changes_here > RESTARTS_AT_ONCE) {
          error_set(error, ERROR_RUN, "at t = %.6g s the mode changes without end", last_change);
          return RUN_FAILED;
        }
        if (cut.which >= 0 && !change_mode(run, run->start, cut.which, &status, error)) {
          return status;
        }
        any = false;
        if (!fire_all(run, run->start, &any, error) || !restart(run, run->start, error)) {
          return RUN_FAILED;
        }
        continue;
      }
      if (!accept(run, run->end, error)) {
        return RUN_FAILED;
      }
      integrator_integrals_at(view->integrator, reached, run->integrals);
      struct moment *spare = run->start;
      run->start = run->end;
      run->end = spare;
      if (reached < stop) {
        continue;
      }
    }
    /* At a kink of the clock: change what changes there, and begin again if anything did. */
    bool changed = false;
    if (clock <= run->start->time) {
      changed = true;
      if (!change_mode(run, run->start, -1, &status, error)) {
        return status;
      }
      if (!(plant->next_time(view->mode) > run->start->time)) {
        error_set(error, ERROR_RUN, "at t = %.6g s the clock of a table does not move on", run->start->time);
        return RUN_FAILED;
      }
    }
    if (!fire_all(run, run->start, &changed, error) || (changed && !restart(run, run->start, error))) {
      return RUN_FAILED;
    }
  }
  return status;
}

static bool make_fired(struct run_workspace *run, int count) {
  if (count > run->fired_capacity) {
    free(run->fired);
    run->fired = malloc((size_t)count * sizeof *run->fired);
    run->fired_capacity = run->fired != NULL ? count : 0;
  }
  if (count > 0 && run->fired != NULL) {
    memset(run->fired, 0, (size_t)count * sizeof *run->fired);
  }
  return count == 0 || run->fired != NULL;
}

static bool prepare(struct run_workspace *run, const struct case_data *data, struct error *error) {
  const struct plant *plant = run->view.plant;
  run->view.data = data;
  if (!make_fired(run, data->action_count)) {
    return error_set(error, ERROR_MEMORY, "out of memory for the run");
  }
  if (!samples_begin(&run->samples, run->recorder, plant->signal_count, error)) {
    return false;
  }
  memset(run->view.model, 0, plant->model_size);
  memset(run->view.mode, 0, plant->mode_size);
  const char *refusal = plant->prepare(data->parameters, run->view.model);
  if (refusal != NULL) {
    return error_at(error, data->source, 0, 0, "%s", refusal);
  }
  int rows[PLANT_STATE_LIMIT];
  const char *names[PLANT_STATE_LIMIT];
  double tolerances[PLANT_STATE_LIMIT];
  double shares[PLANT_STATE_LIMIT];
  run->view.state_count = plant->active_states(run->view.model, rows);
  double scale = data->simulation.pressure_tolerance / 100.0; /* tolerances are stated at 100 Pa */
  for (int i = 0; i < run->view.state_count; i++) {
    names[i] = plant->states[rows[i]].name;
    tolerances[i] = plant->states[rows[i]].tolerance * scale;
  }
  for (int i = 0; i < run->view.state_count; i++) {
    shares[i] = plant_share(plant, rows[i]);
    tolerances[i] *= shares[i];
  }
  struct integrator_problem problem = {
      .state_count = run->view.state_count,
      .integral_count = plant->ledger_integrated,
      .context = run,
      .rates = rates_of,
      .powers = powers_of,
      .known_powers = known_powers,
      .tolerances = tolerances,
      .shares = shares,
      .relative_tolerance = data->simulation.relative_tolerance,
      .nonlinear_tolerance = data->simulation.nonlinear_tolerance,
      .integral_tolerance = 0.01 * (data->simulation.relative_tolerance / 1e-6),
      .largest_order = (int)data->simulation.largest_order,
      /* No sample of a measured trace is stepped over. */
      .largest_step =
          fmin(data->simulation.largest_step, registry_sampling(plant->groups, plant->group_count, data->parameters)),
  };
  for (int i = 0; i < run->view.state_count; i++) {
    run->state_names[i] = names[i];
  }
  problem.state_names = run->state_names;
  if (run->tangent != NULL && !tangent_prepare(run->tangent, &run->view, &problem, error)) {
    return false;
  }
  return integrator_renew(&run->view.integrator, &problem, error);
}

static void end_counts(const struct run_workspace *run, double cpu, struct outcome *outcome) {
  struct integrator_counts counts = integrator_counts(run->view.integrator);
  outcome->counts.steps = counts.steps;
  outcome->counts.rate_calls = counts.rate_calls;
  outcome->counts.jacobians = counts.jacobians;
  outcome->counts.jacobian_calls = counts.jacobian_calls;
  outcome->counts.factorizations = counts.factorizations;
  outcome->counts.solves = counts.solves;
  outcome->counts.error_failures = counts.error_failures;
  outcome->counts.convergence_failures = counts.convergence_failures;
  outcome->counts.restarts = counts.restarts;
  outcome->counts.cpu_seconds = cpu;
}

struct run_workspace *run_workspace_new(const struct plant *plant, bool story, struct error *error) {
  struct run_workspace *workspace = calloc(1, sizeof *workspace);
  if (workspace != NULL) {
    workspace->story = story;
    workspace->view.plant = plant;
    workspace->view.no_events = !story;
    workspace->view.model = calloc(1, plant->model_size);
    workspace->view.mode = calloc(1, plant->mode_size);
    if (workspace->view.model != NULL && workspace->view.mode != NULL) {
      return workspace;
    }
    run_workspace_free(workspace);
  }
  error_set(error, ERROR_MEMORY, "out of memory for the run");
  return NULL;
}

void run_workspace_follow(struct run_workspace *workspace, run_follower *follow, void *context) {
  workspace->follow = follow;
  workspace->follow_context = context;
}

void run_workspace_free(struct run_workspace *workspace) {
  if (workspace == NULL) {
    return;
  }
  measurer_free(&workspace->measurer);
  integrator_free(workspace->view.integrator);
  free(workspace->view.model);
  free(workspace->view.mode);
  free(workspace->fired);
  samples_free(&workspace->samples);
  free(workspace);
}

/* Every number of an earlier run away, its memory kept. */
static void clear_outcome(struct outcome *outcome) {
  struct outcome kept = *outcome;
  memset(outcome, 0, sizeof *outcome);
  outcome->events = kept.events;
  outcome->event_capacity = kept.event_capacity;
  outcome->worst = kept.worst;
  outcome->broken = kept.broken;
  outcome->limit_capacity = kept.limit_capacity;
}

static void begin(struct run_workspace *run, const struct recorder *recorder, const struct watcher *watcher,
                  struct outcome *outcome) {
  clear_outcome(outcome);
  run->recorder = recorder;
  run->watcher = watcher;
  run->outcome = outcome;
  run->next_sample = 0;
  run->last_tick = seconds_of(CLOCK_MONOTONIC);
  run->steps_to_tick = TICK_STEPS;
  run->told_to_stop = false;
  run->start = &run->moments[0];
  run->middle = &run->moments[1];
  run->end = &run->moments[2];
  memset(run->integrals, 0, sizeof run->integrals);
}

bool run_in(struct run_workspace *run, const struct case_data *data, const struct recorder *recorder,
            const struct watcher *watcher, struct outcome *outcome, struct error *error) {
  double began = seconds_of(CLOCK_THREAD_CPUTIME_ID);
  begin(run, recorder, watcher, outcome);
  if (!prepare(run, data, error)) {
    return false;
  }
  data->plant->start(run->view.model, run->view.mode, run->start->state);
  run->start->time = 0.0;
  if (data->simulation.start == START_STEADY && !steady_start(&run->view, run->start->state, error)) {
    return false;
  }
  view_evaluate(&run->view, run->start);
  if (!measurer_begin(&run->measurer, &run->view, run->start, error) ||
      (run->tangent != NULL && !tangent_begin(run->tangent, run->start, error))) {
    return false;
  }
  bool good = true;
  outcome->status = integrate(run, &outcome->error);
  outcome->end_time = run->start->time;
  integrator_integrals_at(run->view.integrator, run->start->time, run->integrals);
  if (recorder != NULL && outcome->status != RUN_COMPLETE && run->start->time > run->samples.last_time) {
    struct error ignored;
    good = samples_put(&run->samples, run->start->time, run->start->signals,
                       outcome->status == RUN_FAILED ? &ignored : error);
  }
  if (good && outcome->error.code != ERROR_OUTPUT) {
    good = samples_flush(&run->samples, error);
  }
  good = good && measurer_end(&run->measurer, &run->view, run->start, outcome, error);
  end_counts(run, seconds_of(CLOCK_THREAD_CPUTIME_ID) - began, outcome);
  return good;
}

bool run_case(const struct case_data *data, const struct recorder *recorder, const struct watcher *watcher,
              struct outcome *outcome, struct error *error) {
  memset(outcome, 0, sizeof *outcome);
  struct run_workspace *workspace = run_workspace_new(data->plant, true, error);
  bool good = workspace != NULL && run_in(workspace, data, recorder, watcher, outcome, error);
  run_workspace_free(workspace);
  if (!good) {
    outcome_free(outcome);
  }
  return good;
}

bool run_sensitive(const struct case_data *data, const struct sensitivity_request *request,
                   const struct recorder *recorder, const struct watcher *watcher, struct outcome *outcome,
                   struct sensitivity_result *result, struct error *error) {
  memset(outcome, 0, sizeof *outcome);
  memset(result, 0, sizeof *result);
  struct run_workspace *run = run_workspace_new(data->plant, true, error);
  bool good = run != NULL;
  if (good) {
    size_t rows = (size_t)request->count + 1;
    run->request = request;
    run->tangent = tangent_new(data->plant, request, error);
    run->derivatives = calloc(rows * ((size_t)request->signal_count + 1), sizeof *run->derivatives);
    result->measures = calloc(rows, sizeof *result->measures);
    good = run->tangent != NULL && ((run->derivatives != NULL && result->measures != NULL) ||
                                    error_set(error, ERROR_MEMORY, "out of memory for derivatives"));
  }
  good = good && run_in(run, data, recorder, watcher, outcome, error);
  good = good && tangent_end(run->tangent, run->start, outcome, result, error);
  if (run != NULL) {
    tangent_free(run->tangent);
    free(run->derivatives);
  }
  run_workspace_free(run);
  if (!good) {
    outcome_free(outcome);
    free(result->measures);
    result->measures = NULL;
  }
  return good;
}

void outcome_free(struct outcome *outcome) {
  free(outcome->events);
  free(outcome->broken);
  free(outcome->worst);
  outcome->events = NULL;
  outcome->broken = NULL;
  outcome->worst = NULL;
  outcome->event_count = 0;
  outcome->event_capacity = 0;
  outcome->broken_count = 0;
  outcome->limit_capacity = 0;
}
