#include "main_loop.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "legs.h"
#include "units.h"

enum {
  TICK_STEPS = 64,      /* steps or samples: one step may carry a whole history */
  RESTARTS_AT_ONCE = 64 /* changes at one instant before the run gives up: a mode that flickers */
};

#define TICK_SECONDS 0.05

/* ---- the clock ---- */

double main_loop_clock(clockid_t clock) {
  struct timespec now;
  clock_gettime(clock, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- time histories ---- */

static bool put_derivatives(struct run_workspace *run, double t, struct error *error) {
  if (run->tangent == NULL || run->request->sample == NULL) {
    return true;
  }
  tangent_signals(run->tangent, t, run->derivatives);
  return run->request->sample(run->request->context, t, run->derivatives, error);
}

void main_loop_spend(struct run_workspace *run, double spent) {
  if (run->watcher != NULL && run->watcher->budget > 0.0 && spent > run->watcher->budget) {
    run->stop_requested = true;
    run->outcome->over_budget = true;
  }
}

/* Asks the watcher now and then; once interrupted, always. */
static bool interrupted(struct run_workspace *run) {
  if (run->watcher == NULL || run->stop_requested || --run->steps_to_tick > 0) {
    return run->stop_requested;
  }
  run->steps_to_tick = TICK_STEPS;
  if (run->watcher->budget > 0.0 && !run->shares_clock) {
    main_loop_spend(run, main_loop_clock(CLOCK_THREAD_CPUTIME_ID) - run->spent_before);
    if (run->stop_requested) {
      return true;
    }
  }
  double now = main_loop_clock(CLOCK_MONOTONIC);
  if (now - run->last_tick >= TICK_SECONDS) {
    run->last_tick = now;
    run->stop_requested =
        !run->watcher->tick(run->watcher->context, run->start->time, run->view.data->simulation.end_time);
  }
  return run->stop_requested;
}

/* The same as put_samples, some instants at once. */
static bool take_samples(struct run_workspace *run, double until, struct error *error) {
  const struct view *view = &run->view;
  double step = view->data->simulation.output_step;
  for (;;) {
    double times[LANES];
    int room = sample_buffer_room(&run->buffer);
    int count = 0;
    while (count < room && (double)run->next_sample * step <= until && !interrupted(run)) {
      times[count++] = (double)run->next_sample++ * step;
    }
    if (count > 0 && !sample_buffer_take(&run->buffer, view->integrator, view->mode, times, count, error)) {
      return false;
    }
    if (count < room) {
      return true;
    }
  }
}

/* Samples on the grid up to `until`, from the last step's polynomial. */
static bool put_samples(struct run_workspace *run, double until, struct error *error) {
  if (run->recorder == NULL) {
    return true;
  }
  if (run->buffer.evaluator != NULL) {
    return take_samples(run, until, error);
  }
  const struct view *view = &run->view;
  double step = view->data->simulation.output_step;
  struct sample sample;
  for (;;) {
    sample.time = (double)run->next_sample * step;
    if (sample.time > until || interrupted(run)) {
      return true;
    }
    integrator_state_at(view->integrator, sample.time, sample.state);
    view->plant->signals_at(view->model, view->mode, sample.time, sample.state, sample.signals);
    if (!sample_buffer_put(&run->buffer, sample.time, sample.signals, error) ||
        !put_derivatives(run, sample.time, error)) {
      return false;
    }
    run->next_sample++;
  }
}

/* ---- conditions of actions ---- */

static bool holds(const void *context, const struct sample *sample, double *beyond) {
  const struct condition *condition = context;
  double value = condition->signal == CONDITION_CLOCK ? sample->time : sample->signals[condition->signal];
  *beyond = condition->above ? value - condition->level : condition->level - value;
  return main_loop_holds(condition, sample->time, sample->signals, 1);
}

bool main_loop_holds(const struct condition *condition, double t, const double *signals, ptrdiff_t stride) {
  double value = condition->signal == CONDITION_CLOCK ? t : signals[condition->signal * stride];
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

static bool log_action(const struct run_workspace *run, const struct action *action, const struct sample *sample,
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
  return event_log_add(run->outcome, plant, sample->time, "action", words, signal,
                       signal >= 0 ? sample->signals[signal] : NAN, error);
}

/* After a change of mode: has it begun braking? */
static void note_braking(struct run_workspace *run) {
  const char *why;
  double from = run->view.plant->braking_from(run->view.mode, &why);
  metrics_brake(&run->metrics, &run->view, from, why);
  if (run->tangent != NULL) {
    tangent_brake(run->tangent, from, why);
  }
}

static bool fire(struct run_workspace *run, int i, const struct sample *sample, struct error *error) {
  const struct action *action = &run->view.data->actions[i];
  const struct plant *plant = run->view.plant;
  run->fired[i] = true;
  if (run->tangent != NULL) {
    tangent_before(run->tangent, sample);
    tangent_move(run->tangent, sample, i);
  }
  plant->move(run->view.model, run->view.mode, sample->time, action->channel, action->target, action->duration);
  if (run->tangent != NULL) {
    tangent_after(run->tangent, sample);
  }
  if (run->event_log && !log_action(run, action, sample, error)) {
    return false;
  }
  note_braking(run);
  return true;
}

/* ---- cuts: where a step must end early ---- */

struct guard_question {
  int which;
};

static bool has_fallen(const void *context, const struct sample *sample, double *beyond) {
  const struct guard_question *question = context;
  *beyond = -sample->guards[question->which];
  return sample->guards[question->which] < 0.0;
}

struct cut {
  bool found;
  struct sample sample;
  int which; /* the guard that fell, or -1: an action */
};

static void nearer(struct cut *cut, const struct sample *sample, int which) {
  if (!cut->found || sample->time < cut->sample.time) {
    cut->found = true;
    cut->sample = *sample;
    cut->which = which;
  }
}

/* Has any guard fallen at a point that has been evaluated? */
static bool any_has_fallen(const struct step *step, int count) {
  int fallen = 0;
  for (int i = 0; i < count; i++) {
    fallen |= (step->start->guards[i] < 0.0) | (step->middle->guards[i] < 0.0) | (step->end->guards[i] < 0.0);
  }
  return fallen != 0;
}

/* The earliest, into `cut`. */
static void find_cut(const struct run_workspace *run, const struct step *step, struct cut *cut) {
  const struct view *view = &run->view;
  struct sample found;
  cut->found = false;
  bool fallen = any_has_fallen(step, view->plant->guard_count);
  for (int i = 0; fallen && i < view->plant->guard_count; i++) {
    struct guard_question question = {i};
    if (step->start->guards[i] < 0.0) {
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

/* Begins again at run->start, what the integrator knows being that of `known`: the same instant. */
static bool restart(struct run_workspace *run, double known, struct error *error) {
  view_evaluate(&run->view, run->start);
  if (run->tangent != NULL) {
    tangent_restart(run->tangent, known);
  }
  if (!sample_buffer_settle(&run->buffer, error)) {
    return false;
  }
  vector_evaluator_forget_mode(&run->evaluator);
  return integrator_start(run->view.integrator, run->start->time, run->start->state, run->integrals, error);
}

/* All actions whose condition holds now, fired. Returns through *any whether one did. */
static bool fire_all(struct run_workspace *run, const struct sample *sample, bool *any, struct error *error) {
  double beyond;
  for (int i = 0; i < run->view.data->action_count; i++) {
    if (!run->fired[i] && holds(&run->view.data->actions[i].when, sample, &beyond)) {
      *any = true;
      if (!fire(run, i, sample, error)) {
        return false;
      }
    }
  }
  return true;
}

bool main_loop_log_motion(struct run_workspace *run, struct error *error) {
  struct motion *motion = &run->metrics.motion;
  bool good = true;
  for (int i = 0; run->event_log && good && i < motion->note_count; i++) {
    good = event_log_motion(run->outcome, run->view.plant, motion, &motion->notes[i], error);
  }
  motion->note_count = 0;
  return good;
}

/* Accept the step from run->start to `end`: every observer sees it now. */
static bool accept(struct run_workspace *run, const struct sample *end, struct error *error) {
  struct step step = {run->start, run->middle, end};
  metrics_observe(&run->metrics, &run->view, &step);
  hunting_observe(&run->hunting, &run->view, &step);
  if (run->tangent != NULL) {
    tangent_observe(run->tangent, &step);
  }
  if (run->observe != NULL) {
    run->observe(run->observe_context, &run->view, &step);
  }
  return main_loop_log_motion(run, error) &&
         (!run->event_log || event_observer_observe(&run->observer, &run->view, &step, run->outcome, error)) &&
         put_samples(run, end->time, error);
}

/* The run has come where nothing was given to it. */
static bool tell_excess(const struct run_workspace *run, const struct sample *at, int which, const char *words,
                        struct error *error) {
  struct plant_excess excess;
  char value[64];
  char edge[64];
  run->view.plant->excess(run->view.model, at->state, which, &excess);
  units_show(excess.quantity, excess.value, value, sizeof value);
  units_show(excess.quantity, excess.edge, edge, sizeof edge);
  return error_set(error, ERROR_RUN, "at t = %.6g s %s: %s, and the map ends at %s", at->time, words, value, edge);
}

/* The run is over, failed for what stands in its outcome. */
static bool fail(struct run_workspace *run) {
  run->outcome->status = RUN_FAILED;
  return false;
}

/* Mechanical energy in all stores of a state, J. */
static double stored_energy(const struct view *view, const double *state) {
  const struct plant *plant = view->plant;
  double energies[PLANT_LEDGER_LIMIT];
  double sum = 0.0;
  plant->stored(view->model, state, energies);
  for (int i = plant->ledger_integrated; i < plant->ledger_count; i++) {
    sum += plant->ledger[i].kind == LEDGER_STORED ? energies[i - plant->ledger_integrated] : 0.0;
  }
  return sum;
}

/* Change the mode at run->start (guard `which`, -1 the clock). Returns false when the run must end. */
static bool change_mode(struct run_workspace *run, struct sample *at, int which, struct error *error) {
  const char *words = NULL;
  const struct plant *plant = run->view.plant;
  if (run->tangent != NULL) {
    tangent_before(run->tangent, at);
    tangent_change(run->tangent, at, which);
  }
  /* What stops a part takes its last motion. The clock stops nothing. */
  double before = which >= 0 ? stored_energy(&run->view, at->state) : 0.0;
  enum plant_verdict verdict = plant->change(run->view.model, run->view.mode, at->time, at->state, which, &words);
  if (which >= 0) {
    run->integrals[plant->stopping_loss] += before - stored_energy(&run->view, at->state);
  }
  if (run->tangent != NULL && verdict == PLANT_GOES_ON) {
    tangent_after(run->tangent, at);
  }
  if (words != NULL && run->event_log && !event_log_add(run->outcome, plant, at->time, "mode", words, -1, NAN, error)) {
    return fail(run);
  }
  note_braking(run);
  if (!legs_note(run, at, error)) {
    return fail(run);
  }
  if (verdict == PLANT_FAILS_RUN) {
    run->outcome->status = RUN_FAILED;
    return tell_excess(run, at, which, words, error);
  }
  if (verdict == PLANT_COMPLETES_RUN) {
    return false;
  }
  if (verdict == PLANT_ENDS_RUN) {
    run->outcome->status = RUN_STOPPED;
    snprintf(run->outcome->stop_words, sizeof run->outcome->stop_words, "%s", words != NULL ? words : "");
    return false;
  }
  return true;
}

bool main_loop_begin(struct run_workspace *run) {
  struct error *error = &run->outcome->error;
  bool any = false;
  run->outcome->status = RUN_COMPLETE;
  run->changes_here = 0;
  run->last_change = NAN; /* none yet */
  run->steps = 0.0;
  run->next_sample = 0;
  run->last_tick = main_loop_clock(CLOCK_MONOTONIC);
  run->spent_before = main_loop_clock(CLOCK_THREAD_CPUTIME_ID);
  run->outcome->over_budget = false;
  run->steps_to_tick = TICK_STEPS;
  run->stop_requested = false;
  if (!legs_note(run, run->start, error) || !fire_all(run, run->start, &any, error) ||
      !restart(run, run->start->time, error) || !put_samples(run, 0.0, error)) {
    return fail(run);
  }
  if (run->event_log) {
    event_observer_begin(&run->observer, &run->view, run->start);
  }
  return true;
}

/* At a kink of the clock: change what changes there, and begin again if anything did. */
static bool pass_kink(struct run_workspace *run) {
  const struct plant *plant = run->view.plant;
  struct error *error = &run->outcome->error;
  bool changed = false;
  if (run->clock <= run->start->time) {
    changed = true;
    if (!change_mode(run, run->start, -1, error)) {
      return false;
    }
    if (!(plant->next_time(run->view.mode) > run->start->time)) {
      error_set(error, ERROR_RUN, "at t = %.6g s the clock of a table does not move on", run->start->time);
      return fail(run);
    }
  }
  if (!fire_all(run, run->start, &changed, error) || (changed && !restart(run, run->start->time, error))) {
    return fail(run);
  }
  return true;
}

/* The run would go on for longer than anybody waits. */
static void tell_crawling(const struct run_workspace *run, double t, struct error *error) {
  const struct simulation_parameters *settings = &run->view.data->simulation;
  error_set(
      error, ERROR_RUN,
      "at t = %.6g s of %.6g s the run has made %.4g steps and gives up (simulation.work_limit): steps of %.3g s in "
      "the mean; look for a small simulation.largest_step, bounds at their extremes, a valve or mode that chatters",
      t, settings->end_time, settings->work_limit, t / settings->work_limit);
}

bool main_loop_keeps_stop(struct run_workspace *run) {
  double t = run->start->time;
  bool ahead = run->stop > t && run->stop - t > clock_apart(t);
  if (!ahead || run->steps + 1.0 > run->view.data->simulation.work_limit || interrupted(run)) {
    return false;
  }
  run->steps += 1.0;
  return true;
}

bool main_loop_next_stop(struct run_workspace *run, double *stop) {
  double end_time = run->view.data->simulation.end_time;
  struct error *error = &run->outcome->error;
  while (run->start->time < end_time) {
    if (interrupted(run)) {
      run->outcome->status = RUN_INTERRUPTED;
      return false;
    }
    double t = run->start->time;
    run->clock = run->view.plant->next_time(run->view.mode);
    run->stop = fmin(fmin(end_time, run->clock), fmin(next_action_time(run, t), metrics_next_time(&run->metrics, t)));
    if ((run->steps += 1.0) > run->view.data->simulation.work_limit) {
      tell_crawling(run, t, error);
      return fail(run);
    }
    if (run->stop > t && run->stop - t > clock_apart(t)) {
      *stop = run->stop;
      return true;
    }
    if (run->stop > t) {
      if (!put_samples(run, run->stop, error)) {
        return fail(run);
      }
      run->start->time = run->stop;
      if (!restart(run, t, error)) {
        return fail(run);
      }
    }
    if (!pass_kink(run)) {
      return false;
    }
  }
  return false;
}

/* The step ends at a cut: accept it up to there, change what changes, begin again. */
static bool take_cut(struct run_workspace *run, struct cut *cut) {
  const struct view *view = &run->view;
  struct error *error = &run->outcome->error;
  double t = run->start->time;
  if (cut->sample.time > t) {
    view_at(view, 0.5 * (t + cut->sample.time), run->middle);
    if (!accept(run, &cut->sample, error)) {
      return fail(run);
    }
    integrator_integrals_at(view->integrator, cut->sample.time, run->integrals);
  }
  *run->start = cut->sample;
  run->changes_here = cut->sample.time == run->last_change ? run->changes_here + 1 : 0;
  run->last_change = cut->sample.time;
  if (run->changes_here > RESTARTS_AT_ONCE) {
    error_set(error, ERROR_RUN, "at t = %.6g s the mode changes without end", run->last_change);
    return fail(run);
  }
  if (cut->which >= 0 && !change_mode(run, run->start, cut->which, error)) {
    return false;
  }
  bool any = false;
  if (!fire_all(run, run->start, &any, error) || !restart(run, run->start->time, error)) {
    return fail(run);
  }
  return true;
}

void main_loop_evaluate(struct run_workspace *run) {
  const struct view *view = &run->view;
  double reached = integrator_time(view->integrator);
  view_at(view, reached, run->end);
  view_at(view, 0.5 * (run->start->time + reached), run->middle);
}

bool main_loop_accept(struct run_workspace *run) {
  struct step step = {run->start, run->middle, run->end};
  struct cut cut;
  find_cut(run, &step, &cut);
  if (cut.found) {
    return take_cut(run, &cut);
  }
  if (!accept(run, run->end, &run->outcome->error)) {
    return fail(run);
  }
  integrator_integrals_at(run->view.integrator, run->end->time, run->integrals);
  struct sample *spare = run->start;
  run->start = run->end;
  run->end = spare;
  return run->start->time < run->stop || pass_kink(run);
}
