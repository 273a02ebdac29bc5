/* A plant on the bench: parameters from the text of a case, any parameter or state set by name, integrated through the
 * program's own integrator or just evaluated. What goes wrong is printed and makes every answer NaN. */
#ifndef SWASHLOOP_TESTS_BENCH_H
#define SWASHLOOP_TESTS_BENCH_H

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "case.h"
#include "fluid.h"
#include "integrator.h"
#include "plant.h"
#include "registry.h"
#include "run.h"

struct bench {
  bool good;
  struct case_data data;
  void *model;
  void *mode;
  struct fluid oil;
  int count; /* active states */
  int rows[PLANT_STATE_LIMIT];
  real state[PLANT_STATE_LIMIT];
  real integrals[PLANT_LEDGER_LIMIT];
  double time;
};

static inline bool bench_complain(struct bench *bench, const char *what) {
  (void)fprintf(stderr, "bench: %s\n", what);
  bench->good = false;
  return false;
}

/* Parameters to model, mode and state at time zero; call again after a parameter was set. */
static inline void bench_ready(struct bench *bench) {
  const struct plant *plant = bench->data.plant;
  if (!bench->good) {
    return;
  }
  const char *refusal = plant->prepare(bench->data.parameters, bench->model);
  if (refusal != NULL) {
    bench_complain(bench, refusal);
    return;
  }
  struct parameter fluid = {registry_group(plant->groups, plant->group_count, "fluid"), NULL};
  fluid_prepare((const struct fluid_parameters *)((const char *)bench->data.parameters + fluid.group->offset),
                &bench->oil);
  bench->count = plant->active_states(bench->model, bench->rows);
  plant->start(bench->model, bench->mode, bench->state);
  memset(bench->integrals, 0, sizeof bench->integrals);
  bench->time = 0.0;
}

static inline struct bench *bench_open(const char *text) {
  struct bench *bench = calloc(1, sizeof *bench);
  if (bench == NULL) {
    abort();
  }
  struct error error = {0};
  char message[2048];
  bench->good = case_load_text(SWASHLOOP_SOURCE "/cases/baseline/bench.yaml", text, NULL, 0, &bench->data, &error);
  if (!bench->good) {
    bench_complain(bench, error_text(&error, message, sizeof message));
    return bench;
  }
  bench->model = calloc(1, bench->data.plant->model_size);
  bench->mode = calloc(1, bench->data.plant->mode_size);
  bench_ready(bench);
  return bench;
}

static inline void bench_close(struct bench *bench) {
  if (bench->data.plant != NULL) {
    case_free(&bench->data);
  }
  free(bench->model);
  free(bench->mode);
  free(bench);
}

static real bench_nowhere;

/* A parameter, SI, by section and name, whatever its bounds; call bench_ready afterwards. */
static inline real *bench_parameter(struct bench *bench, const char *section, const char *name) {
  bench_nowhere = NAN;
  if (!bench->good) {
    return &bench_nowhere;
  }
  const struct plant *plant = bench->data.plant;
  struct parameter parameter = {registry_group(plant->groups, plant->group_count, section), NULL};
  parameter.field = parameter.group != NULL ? registry_field(parameter.group, name) : NULL;
  if (parameter.field == NULL) {
    bench_complain(bench, name);
    return &bench_nowhere;
  }
  return registry_member(bench->data.parameters, parameter);
}

static inline real *bench_state(struct bench *bench, const char *name) {
  bench_nowhere = NAN;
  for (int i = 0; bench->good && i < bench->count; i++) {
    if (strcmp(bench->data.plant->states[bench->rows[i]].name, name) == 0) {
      return &bench->state[i];
    }
  }
  bench_complain(bench, name);
  return &bench_nowhere;
}

static inline void bench_set_pressure(struct bench *bench, const char *compression, double absolute) {
  if (bench->good) {
    *bench_state(bench, compression) = fluid_compression(&bench->oil, absolute);
  }
}

static inline double bench_signal(struct bench *bench, const char *name) {
  if (!bench->good) {
    return NAN;
  }
  int i = registry_signal(bench->data.plant, name);
  real signals[PLANT_SIGNAL_LIMIT];
  bench->data.plant->signals_at(bench->model, bench->mode, bench->time, bench->state, signals);
  return i >= 0 ? signals[i] : NAN;
}

static inline double bench_power(struct bench *bench, const char *name) {
  real powers[PLANT_LEDGER_LIMIT];
  if (!bench->good) {
    return NAN;
  }
  bench->data.plant->powers(bench->model, bench->mode, bench->time, bench->state, powers);
  for (int i = 0; i < bench->data.plant->ledger_integrated; i++) {
    if (strcmp(bench->data.plant->ledger[i].name, name) == 0) {
      return powers[i];
    }
  }
  return NAN;
}

/* d(state)/dt of one state now. */
static inline double bench_rate(struct bench *bench, const char *name) {
  real rates[PLANT_STATE_LIMIT];
  const real *state = bench_state(bench, name);
  if (!bench->good) {
    return NAN;
  }
  bench->data.plant->rates(bench->model, bench->mode, bench->time, bench->state, rates);
  return rates[state - bench->state];
}

static inline void bench_call_rates(void *context, double t, const double *state, double *rates) {
  const struct bench *bench = context;
  bench->data.plant->rates(bench->model, bench->mode, t, state, rates);
}

static inline void bench_call_powers(void *context, double t, const double *state, double *powers) {
  const struct bench *bench = context;
  bench->data.plant->powers(bench->model, bench->mode, t, state, powers);
}

/* On to `until` through the integrator, tightly; the mode stays as it is. */
static inline void bench_run(struct bench *bench, double until) {
  if (!bench->good || until <= bench->time) {
    return;
  }
  const struct plant *plant = bench->data.plant;
  const char *names[PLANT_STATE_LIMIT];
  double tolerances[PLANT_STATE_LIMIT];
  for (int i = 0; i < bench->count; i++) {
    names[i] = plant->states[bench->rows[i]].name;
    tolerances[i] = 1e-6 * plant->states[bench->rows[i]].tolerance;
  }
  struct integrator_problem problem = {
      .state_count = bench->count,
      .integral_count = plant->ledger_integrated,
      .context = bench,
      .rates = bench_call_rates,
      .powers = bench_call_powers,
      .tolerances = tolerances,
      .state_names = names,
      .relative_tolerance = 1e-11,
      .nonlinear_tolerance = 0.01,
      .largest_order = 5,
      .integral_tolerance = 1e-6,
      .largest_step = 1e6,
  };
  struct error error = {0};
  struct integrator *integrator = integrator_new(&problem, &error);
  bool going = integrator != NULL && integrator_start(integrator, bench->time, bench->state, bench->integrals, &error);
  while (going && integrator_time(integrator) < until) {
    going = integrator_step(integrator, until, &error);
  }
  if (going) {
    integrator_state_at(integrator, until, bench->state);
    integrator_integrals_at(integrator, until, bench->integrals);
    bench->time = until;
  } else {
    bench_complain(bench, error.text);
  }
  integrator_free(integrator);
}

/* One measure of a whole run of a case. */
static inline bool bench_whole_run(const char *text, struct outcome *outcome) {
  struct error error = {0};
  char message[2048];
  struct case_data data;
  memset(outcome, 0, sizeof *outcome);
  bool good = case_load_text(SWASHLOOP_SOURCE "/cases/baseline/bench.yaml", text, NULL, 0, &data, &error);
  if (good) {
    good = run_case(&data, NULL, NULL, outcome, &error);
    if (good && outcome->status == RUN_FAILED) {
      error = outcome->error;
      outcome_free(outcome);
      good = false;
    }
    case_free(&data);
  }
  if (!good) {
    (void)fprintf(stderr, "bench: %s\n", error_text(&error, message, sizeof message));
  }
  return good;
}

/* Is a case refused, when it is read or when it should run, with `word` in what is said? Else it is told what happened.
 */
static inline bool bench_refuses(const char *text, const char *word) {
  struct error error = {0};
  char message[2048];
  struct case_data data;
  struct outcome outcome = {0};
  bool good = case_load_text(SWASHLOOP_SOURCE "/cases/baseline/x.yaml", text, NULL, 0, &data, &error);
  if (good) {
    good = run_case(&data, NULL, NULL, &outcome, &error);
    outcome_free(&outcome);
    case_free(&data);
  }
  bool refused = !good && strstr(error_text(&error, message, sizeof message), word) != NULL;
  if (!refused) {
    (void)fprintf(stderr, "'%s' is not said of: %s%s\n", word, text, good ? "it is taken" : message);
  }
  return refused;
}

static inline double bench_measure(const char *text, int measure) {
  struct outcome outcome;
  if (!bench_whole_run(text, &outcome)) {
    return NAN;
  }
  double value = outcome.measures[measure];
  outcome_free(&outcome);
  return value;
}

#endif
