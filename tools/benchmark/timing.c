/* Times one case on this machine, and its parts: `timing CASE [--repeat N] [--parts] [--file OUT.h5] [--set P=V]...`
 * One JSON object to stdout. Called by tools/bench. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "differences.h"
#include "elimination.h"
#include "integrator.h"
#include "lanes.h"
#include "result_file.h"
#include "run.h"
#include "scene.h"

enum { MOST_REPEATS = 101, SET_LIMIT = 32 };

struct request {
  const char *path;
  const char *file;
  int repeats;
  bool parts;
  const char *sets[SET_LIMIT];
  int set_count;
};

static bool forget(void *context, int count, const double *time, const double *const *values, struct error *error) {
  (void)time;
  (void)values;
  (void)error;
  *(long *)context += count;
  return true;
}

static bool read_request(int argument_count, char **arguments, struct request *request) {
  request->repeats = 5;
  for (int i = 1; i < argument_count; i++) {
    bool more = i + 1 < argument_count;
    if (strcmp(arguments[i], "--repeat") == 0 && more) {
      request->repeats = (int)strtol(arguments[++i], NULL, 10);
    } else if (strcmp(arguments[i], "--file") == 0 && more) {
      request->file = arguments[++i];
    } else if (strcmp(arguments[i], "--set") == 0 && more && request->set_count < SET_LIMIT) {
      request->sets[request->set_count++] = arguments[++i];
    } else if (strcmp(arguments[i], "--parts") == 0) {
      request->parts = true;
    } else if (request->path == NULL) {
      request->path = arguments[i];
    } else {
      return false;
    }
  }
  return request->path != NULL && request->repeats >= 1 && request->repeats <= MOST_REPEATS;
}

/* ---- whole runs ---- */

/* Median CPU seconds of a run in a workspace that has run before. */
static bool time_runs(const struct request *request, const struct case_data *data, bool event_log,
                      const struct recorder *recorder, struct outcome *outcome, double *seconds) {
  struct error error = {0};
  struct run_workspace *workspace = run_workspace_new(data->plant, event_log, &error);
  double times[MOST_REPEATS];
  bool good = workspace != NULL && run_in(workspace, data, recorder, NULL, outcome, &error);
  for (int i = 0; good && i < request->repeats; i++) {
    double began = cpu_seconds();
    good = run_in(workspace, data, recorder, NULL, outcome, &error);
    times[i] = cpu_seconds() - began;
  }
  run_workspace_free(workspace);
  if (!good || outcome->status == RUN_FAILED) {
    fprintf(stderr, "%s: %s\n", request->path, good ? outcome->error.text : error.text);
    return false;
  }
  *seconds = median(times, request->repeats);
  return true;
}

/* The same with the run file, from its opening to its closing. */
static bool time_files(const struct request *request, const struct case_data *data, struct outcome *outcome,
                       double *seconds) {
  double times[MOST_REPEATS];
  struct error error = {0};
  struct run_workspace *workspace = run_workspace_new(data->plant, true, &error);
  bool good = workspace != NULL;
  for (int i = 0; good && i < request->repeats; i++) {
    double began = cpu_seconds();
    struct result_file *file = result_file_open(request->file, data, "bench", &error);
    struct recorder recorder = {file, result_file_block};
    good = file != NULL && run_in(workspace, data, &recorder, NULL, outcome, &error) &&
           result_file_close(file, data, outcome, DRAFT_NAME, &error);
    times[i] = cpu_seconds() - began;
  }
  run_workspace_free(workspace);
  unlink(request->file);
  if (!good) {
    fprintf(stderr, "%s: %s\n", request->path, error.text);
    return false;
  }
  *seconds = median(times, request->repeats);
  return true;
}

/* ---- parts ---- */

static void rates_of(void *context, double t, const double *state, double *rates) {
  const struct scene *scene = context;
  scene->plant->rates(scene->model, scene->mode, t, state, rates);
}

static void powers_of(void *context, double t, const double *state, double *powers) {
  const struct scene *scene = context;
  scene->plant->powers(scene->model, scene->mode, t, state, powers);
}

static bool keep_instant(const struct scene *scene, double step, struct instants *instants) {
  struct instant *instant = &instants->at[instants->count];
  instant->mode = malloc(scene->plant->mode_size);
  if (instant->mode == NULL) {
    return false;
  }
  instants->count++;
  instant->time = scene->time;
  instant->step = step;
  memcpy(instant->state, scene->state, sizeof instant->state);
  memcpy(instant->mode, scene->mode, scene->plant->mode_size);
  return true;
}

/* The solver alone over the case, nothing looking on. Keeps every `spacing`-th step as an instant when instants is given.
 * Returns CPU seconds, below zero on failure. */
static double run_bare(struct scene *scene, long spacing, struct instants *instants, long *steps) {
  struct error error = {0};
  const struct simulation_parameters *asked = &scene->data.simulation;
  const char *names[PLANT_STATE_LIMIT] = {0};
  struct integrator_problem problem = {
      .state_count = scene->count,
      .integral_count = scene->plant->ledger_integrated,
      .context = scene,
      .rates = rates_of,
      .powers = powers_of,
      .tolerances = scene->tolerances,
      .shares = scene->shares,
      .state_names = names,
      .relative_tolerance = asked->relative_tolerance,
      .nonlinear_tolerance = asked->nonlinear_tolerance,
      .largest_order = (int)asked->largest_order,
      .integral_tolerance = 0.01 * (asked->relative_tolerance / 1e-6),
      .largest_step = asked->largest_step,
  };
  double integrals[PLANT_LEDGER_LIMIT] = {0};
  double began = cpu_seconds();
  struct integrator *integrator = integrator_new(&problem, &error);
  scene_start(scene);
  scene_change(scene);
  bool good = integrator != NULL && integrator_start(integrator, 0.0, scene->state, integrals, &error);
  *steps = 0;
  while (good && scene->time < scene->end_time) {
    good = integrator_step(integrator, scene_stop(scene), &error);
    if (!good) {
      break;
    }
    scene->time = integrator_time(integrator);
    integrator_state_at(integrator, scene->time, scene->state);
    (*steps)++;
    if (instants != NULL && *steps % spacing == 0 && instants->count < MOST_INSTANTS) {
      good = keep_instant(scene, scene->time - integrator_step_start(integrator), instants);
    }
    if (scene_change(scene)) {
      integrator_integrals_at(integrator, scene->time, integrals);
      good = good && integrator_start(integrator, scene->time, scene->state, integrals, &error);
    }
  }
  double seconds = cpu_seconds() - began;
  integrator_free(integrator);
  if (!good) {
    fprintf(stderr, "solver alone: %s\n", error.text);
    return -1.0;
  }
  return seconds;
}

enum part { PART_RATES, PART_POWERS, PART_SIGNALS, PART_EVENTS, PART_GUARDS, PART_COUNT };
static const char *const part_names[PART_COUNT] = {"rates_ns", "powers_ns", "signals_ns", "events_ns", "switches_ns"};

static void call_part(const struct scene *scene, const struct instant *instant, enum part part, double *out) {
  const struct plant *plant = scene->plant;
  switch (part) {
  case PART_RATES:
    plant->rates(scene->model, instant->mode, instant->time, instant->state, out);
    break;
  case PART_POWERS:
    plant->powers(scene->model, instant->mode, instant->time, instant->state, out);
    break;
  case PART_SIGNALS:
    plant->signals_at(scene->model, instant->mode, instant->time, instant->state, out);
    break;
  case PART_EVENTS:
    plant->events_at(scene->model, instant->mode, instant->time, instant->state, out);
    break;
  default:
    plant->guards(scene->model, instant->mode, instant->state, out);
    break;
  }
}

/* Nanoseconds of one call, the median over repeats of a loop over all instants. */
static double time_part(const struct scene *scene, const struct instants *instants, enum part part, int repeats) {
  double out[PLANT_SIGNAL_LIMIT];
  double times[MOST_REPEATS];
  enum { ROUNDS = 20 };
  for (int i = 0; i < repeats; i++) {
    double began = cpu_seconds();
    for (int round = 0; round < ROUNDS; round++) {
      for (int k = 0; k < instants->count; k++) {
        call_part(scene, &instants->at[k], part, out);
      }
    }
    times[i] = 1e9 * (cpu_seconds() - began) / (ROUNDS * (double)instants->count);
  }
  return median(times, repeats);
}

struct rates_there {
  const struct scene *scene;
  const struct instant *instant;
};

static void rates_there(void *context, double t, const double *state, double *rates) {
  const struct rates_there *there = context;
  there->scene->plant->rates(there->scene->model, there->instant->mode, t, state, rates);
}

/* The Jacobian of an instant by entries; returns gamma as BDF of order 3 would have it. */
static double jacobian_at(const struct scene *scene, const struct instant *instant, struct differences_plain *differences) {
  struct rates_there there = {scene, instant};
  differences->context = &there;
  for (int j = 0; j < scene->count; j++) {
    differences->increments[j] = 1e-8 * fmax(fabs(instant->state[j]), 1e3 * scene->tolerances[j]);
  }
  differences_plain_find(differences, instant->time, instant->time, instant->state);
  return 6.0 / 11.0 * instant->step;
}

/* Nanoseconds of one factorization and of one solve, over all instants. */
static bool time_algebra(const struct scene *scene, const struct instants *instants, double *factor, double *solve) {
  uint64_t rows[PLANT_STATE_LIMIT];
  static double factors[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  double reciprocals[PLANT_STATE_LIMIT];
  double x[PLANT_STATE_LIMIT];
  double loss;
  if (scene->plant->sparsity_pattern != NULL) {
    scene->plant->sparsity_pattern(scene->model, rows);
  } else {
    sparsity_all(scene->count, rows);
  }
  struct sparsity *sparsity = sparsity_new(scene->count, rows, NULL);
  struct differences_plain differences = {.sparsity = sparsity, .rates_of = rates_there};
  if (sparsity == NULL || !differences_plain_open(&differences)) {
    return false;
  }
  enum { ROUNDS = 50 };
  *factor = 0.0;
  *solve = 0.0;
  for (int k = 0; k < instants->count; k++) {
    double gamma = jacobian_at(scene, &instants->at[k], &differences);
    double began = cpu_seconds();
    for (int round = 0; round < ROUNDS; round++) {
      elimination_plain_factor(sparsity, -gamma, 1.0, differences.jacobian, factors, reciprocals, &loss);
    }
    double factored = cpu_seconds();
    for (int round = 0; round < ROUNDS; round++) {
      for (int i = 0; i < scene->count; i++) {
        x[i] = 1.0;
      }
      elimination_plain_solve(sparsity, factors, reciprocals, x);
    }
    *factor += 1e9 * (factored - began) / (ROUNDS * (double)instants->count);
    *solve += 1e9 * (cpu_seconds() - factored) / (ROUNDS * (double)instants->count);
  }
  differences_plain_close(&differences);
  sparsity_free(sparsity);
  return true;
}

static bool print_parts(const struct request *request, struct scene *scene) {
  static struct instants instants;
  long steps;
  double bare[MOST_REPEATS];
  if (run_bare(scene, 1, NULL, &steps) < 0.0) {
    return false;
  }
  for (int i = 0; i < request->repeats; i++) {
    bare[i] = run_bare(scene, 1, NULL, &steps);
  }
  if (run_bare(scene, steps / MOST_INSTANTS + 1, &instants, &steps) < 0.0) {
    return false;
  }
  printf(", \"solver_alone_s\": %.9g", median(bare, request->repeats));
  for (int part = 0; part < PART_COUNT; part++) {
    printf(", \"%s\": %.6g", part_names[part], time_part(scene, &instants, (enum part)part, request->repeats));
  }
  double factor = NAN;
  double solve = NAN;
  bool good = time_algebra(scene, &instants, &factor, &solve);
  printf(", \"factor_ns\": %.6g, \"solve_ns\": %.6g", factor, solve);
  good = good && lanes_print(scene, &instants);
  for (int i = 0; i < instants.count; i++) {
    free(instants.at[i].mode);
  }
  return good;
}

/* ---- what is printed ---- */

static void print_number(const char *name, double value) {
  if (isfinite(value)) {
    printf(", \"%s\": %.12g", name, value);
  } else {
    printf(", \"%s\": null", name);
  }
}

int main(int argument_count, char **arguments) {
  struct request request = {0};
  struct scene scene;
  if (!read_request(argument_count, arguments, &request)) {
    fprintf(stderr, "usage: timing CASE [--repeat N] [--parts] [--file OUT.h5] [--set PATH=VALUE]...\n");
    return 2;
  }
  if (!scene_load(&scene, request.path, request.sets, request.set_count)) {
    return 2;
  }
  struct outcome outcome;
  memset(&outcome, 0, sizeof outcome);
  long samples = 0;
  struct recorder recorder = {&samples, forget};
  double without;
  double memory;
  double with_file;
  bool good = time_runs(&request, &scene.data, false, NULL, &outcome, &without) &&
              time_runs(&request, &scene.data, true, &recorder, &outcome, &memory);
  if (good) {
    printf("{\"states\": %d, \"end_time\": %.12g, \"samples\": %ld, \"without_s\": %.9g, \"memory_s\": %.9g",
           scene.count, outcome.end_time, samples / (request.repeats + 1), without, memory);
    const struct run_counts *counts = &outcome.counts;
    printf(", \"steps\": %ld, \"rate_calls\": %ld, \"jacobians\": %ld, \"jacobian_calls\": %ld, \"factorizations\": %ld"
           ", \"solves\": %ld, \"error_failures\": %ld, \"convergence_failures\": %ld, \"restarts\": %ld",
           counts->steps, counts->rate_calls, counts->jacobians, counts->jacobian_calls, counts->factorizations,
           counts->solves, counts->error_failures, counts->convergence_failures, counts->restarts);
    for (int i = 0; i < MEASURE_COUNT; i++) {
      print_number(measure_rows[i].name, outcome.measures[i]);
    }
    if (request.file != NULL && (good = time_files(&request, &scene.data, &outcome, &with_file))) {
      print_number("file_s", with_file);
    }
    good = good && (!request.parts || print_parts(&request, &scene));
    printf("}\n");
  }
  outcome_free(&outcome);
  scene_free(&scene);
  return good ? 0 : 1;
}
