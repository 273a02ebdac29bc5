#include "run.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "legs.h"
#include "main_loop.h"
#include "integrator.h"
#include "integrators.h"
#include "registry.h"
#include "steady_start.h"

_Static_assert((int)PLANT_STATE_LIMIT <= (int)SPARSITY_LIMIT, "the integrator takes every state");
_Static_assert(PLANT_TIME == SPARSITY_TIME, "a plant's pattern is the integrator's, time's bit too");

const char *const run_status_names[] = {"complete", "stopped", "failed", "interrupted"};
const char *const limit_verdict_names[] = {"not judged", "kept", "broken"};

/* ---- what the integrator calls ---- */

static void rates_of(void *context, double t, const double *state, double *rates) {
  const struct run_workspace *run = context;
  const struct view *view = &run->view;
  view->plant->rates(view->model, view->mode, t, state, rates);
}

static bool time_dependent_now(void *context) {
  const struct run_workspace *run = context;
  const struct plant *plant = run->view.plant;
  return plant->time_dependent == NULL || plant->time_dependent(run->view.mode);
}

/* In the mode of the last restart, which is the present one whenever the integrator asks. */
static void rates_in_lanes(void *context, const lanes *t, const lanes *state, lanes *rates) {
  struct run_workspace *run = context;
  struct vector_evaluator *evaluator = &run->evaluator;
  vector_evaluator_load_mode(evaluator, run->view.mode);
  evaluator->lanes->rates(evaluator->model, evaluator->mode, t, state, rates);
}

static void powers_of(void *context, double t, const double *state, double *powers) {
  const struct run_workspace *run = context;
  run->view.plant->powers(run->view.model, run->view.mode, t, state, powers);
}

/* Start, middle and end of the present step have been evaluated. */
static bool known_powers(void *context, double t, double *powers) {
  const struct run_workspace *run = context;
  const struct sample *known[3] = {run->start, run->middle, run->end};
  for (int i = 0; i < 3; i++) {
    if (known[i]->time == t) {
      memcpy(powers, known[i]->powers, (size_t)run->view.plant->ledger_integrated * sizeof *powers);
      return true;
    }
  }
  return false;
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
  if (!sample_buffer_begin(&run->buffer, run->recorder, plant->signal_count, error)) {
    return false;
  }
  memset(run->view.mode, 0, plant->mode_size);
  const char *refusal = plant->prepare(data->parameters, run->view.model);
  if (refusal != NULL) {
    return error_at(error, data->source, 0, 0, "%s", refusal);
  }
  run->evaluator.lanes = NULL;
  bool many_evaluations = run->recorder != NULL || !run->side_by_side;
  if (many_evaluations && !vector_evaluator_open(&run->evaluator, plant, run->view.model, error)) {
    return false;
  }
  /* Derivatives are evaluated one instant at a time. */
  if (run->tangent == NULL && !sample_buffer_use_lanes(&run->buffer, &run->evaluator, error)) {
    return false;
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
  uint64_t sparsity_pattern[PLANT_STATE_LIMIT];
  if (plant->sparsity_pattern != NULL) {
    plant->sparsity_pattern(run->view.model, sparsity_pattern);
  }
  struct integrator_problem problem = {
      .method = integrator_listed(data->simulation.method),
      .sparsity_pattern = plant->sparsity_pattern != NULL ? sparsity_pattern : NULL,
      .time_dependent = time_dependent_now,
      .state_count = run->view.state_count,
      .integral_count = plant->ledger_integrated,
      .context = run,
      .rates = rates_of,
      .rates_in_lanes = run->evaluator.lanes != NULL ? rates_in_lanes : NULL,
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

struct run_workspace *run_workspace_new(const struct plant *plant, bool event_log, struct error *error) {
  struct run_workspace *workspace = calloc(1, sizeof *workspace);
  if (workspace != NULL) {
    workspace->event_log = event_log;
    workspace->view.plant = plant;
    workspace->view.no_events = !event_log;
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

void run_workspace_observe(struct run_workspace *workspace, run_observer *observe, void *context) {
  workspace->observe = observe;
  workspace->observe_context = context;
}

void run_workspace_free(struct run_workspace *workspace) {
  if (workspace == NULL) {
    return;
  }
  metrics_free(&workspace->metrics);
  integrator_free(workspace->view.integrator);
  free(workspace->view.model);
  free(workspace->view.mode);
  free(workspace->fired);
  sample_buffer_free(&workspace->buffer);
  vector_evaluator_free(&workspace->evaluator);
  free(workspace);
}

/* Every number of an earlier run away, its memory kept. */
static void clear_outcome(struct outcome *outcome) {
  struct outcome kept = *outcome;
  memset(outcome, 0, sizeof *outcome);
  outcome->events = kept.events;
  outcome->event_capacity = kept.event_capacity;
  outcome->limits = kept.limits;
  outcome->limit_capacity = kept.limit_capacity;
  outcome->legs = kept.legs;
  outcome->leg_capacity = kept.leg_capacity;
}

static void begin(struct run_workspace *run, const struct recorder *recorder, const struct watcher *watcher,
                  struct outcome *outcome) {
  clear_outcome(outcome);
  run->recorder = recorder;
  run->watcher = watcher;
  run->outcome = outcome;
  run->start = &run->sample_memory[0];
  run->middle = &run->sample_memory[1];
  run->end = &run->sample_memory[2];
  memset(run->integrals, 0, sizeof run->integrals);
}

bool run_open(struct run_workspace *run, const struct case_data *data, const struct recorder *recorder,
              const struct watcher *watcher, struct outcome *outcome, struct error *error) {
  begin(run, recorder, watcher, outcome);
  if (!prepare(run, data, error)) {
    return false;
  }
  data->plant->start(run->view.model, run->view.mode, run->start->state);
  run->start->time = 0.0;
  if (data->simulation.start == START_STEADY &&
      !steady_start(run->view.plant, run->view.model, run->view.mode, run->start->state, error)) {
    return false;
  }
  view_evaluate(&run->view, run->start);
  return metrics_begin(&run->metrics, &run->view, run->start, error) && legs_open(run, error) &&
         hunting_begin(&run->hunting, &run->view, run->start, error) &&
         (run->tangent == NULL || tangent_begin(run->tangent, run->start, error));
}

bool run_close(struct run_workspace *run, double cpu_seconds, struct error *error) {
  struct outcome *outcome = run->outcome;
  bool good = true;
  outcome->end_time = run->start->time;
  integrator_integrals_at(run->view.integrator, run->start->time, run->integrals);
  if (run->recorder != NULL && outcome->status != RUN_COMPLETE && run->start->time > run->buffer.last_time) {
    struct error ignored;
    good = sample_buffer_put(&run->buffer, run->start->time, run->start->signals,
                             outcome->status == RUN_FAILED ? &ignored : error);
  }
  if (good && outcome->error.code != ERROR_OUTPUT) {
    good = sample_buffer_flush(&run->buffer, error);
  }
  legs_end(run, run->start);
  good = good && metrics_end(&run->metrics, &run->view, run->start, outcome, error) &&
         main_loop_log_motion(run, error) && hunting_end(&run->hunting, &run->view, run->start, outcome, error) &&
         event_log_end(outcome, run->view.plant, error);
  end_counts(run, cpu_seconds, outcome);
  return good;
}

bool run_in(struct run_workspace *run, const struct case_data *data, const struct recorder *recorder,
            const struct watcher *watcher, struct outcome *outcome, struct error *error) {
  double began = main_loop_clock(CLOCK_THREAD_CPUTIME_ID);
  if (!run_open(run, data, recorder, watcher, outcome, error)) {
    return false;
  }
  double stop;
  for (bool going = main_loop_begin(run); going && main_loop_next_stop(run, &stop);) {
    going = integrator_step(run->view.integrator, stop, &outcome->error);
    if (!going) {
      outcome->status = RUN_FAILED;
      break;
    }
    main_loop_evaluate(run);
    going = main_loop_accept(run);
  }
  return run_close(run, main_loop_clock(CLOCK_THREAD_CPUTIME_ID) - began, error);
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

void outcome_give(struct outcome *outcome, int measure, double value) {
  outcome->measures[measure] = value;
  outcome->absent[measure][0] = '\0';
}

void outcome_lack(struct outcome *outcome, int measure, const char *why) {
  outcome->measures[measure] = NAN;
  (void)snprintf(outcome->absent[measure], sizeof outcome->absent[measure], "%s", why);
}

void outcome_free(struct outcome *outcome) {
  free(outcome->events);
  free(outcome->limits);
  free(outcome->legs);
  outcome->legs = NULL;
  outcome->leg_count = 0;
  outcome->leg_capacity = 0;
  outcome->events = NULL;
  outcome->limits = NULL;
  outcome->event_count = 0;
  outcome->event_capacity = 0;
  outcome->limit_count = 0;
  outcome->broken_count = 0;
  outcome->unjudged_count = 0;
  outcome->limit_capacity = 0;
}
