#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "integrator_body.h"
#include "rodas4.h"

/* Bit j of row i: rate i depends on state j. Without a pattern all depend on all. */
static void take_pattern(const struct integrator_problem *problem, uint64_t *rows) {
  int n = problem->state_count;
  for (int i = 0; i < n; i++) {
    rows[i] =
        problem->sparsity_pattern != NULL ? problem->sparsity_pattern[i] : ((UINT64_C(1) << n) - 1) | SPARSITY_TIME;
  }
}

static void forget(struct linear_steps *steps) {
  rosenbrock_plain_close(&steps->method);
  sparsity_free(steps->sparsity);
  free(steps->rows[0]);
  steps->sparsity = NULL;
  steps->rows[0] = NULL;
}

bool linear_steps_renew(struct linear_steps *steps, const struct integrator_problem *problem, struct error *error) {
  uint64_t rows[SPARSITY_LIMIT];
  size_t n = (size_t)problem->state_count;
  if (n > SPARSITY_LIMIT) {
    return error_set(error, ERROR_RUN, "the linearly implicit method takes %d states, not %d", SPARSITY_LIMIT, (int)n);
  }
  take_pattern(problem, rows);
  if (steps->sparsity == NULL || steps->size != (int)n ||
      memcmp(rows, steps->sparsity->pattern, n * sizeof *rows) != 0) {
    forget(steps);
    steps->size = (int)n;
    steps->sparsity = sparsity_new((int)n, rows, error);
    steps->rows[0] = calloc(ROSENBROCK_ROWS * n, sizeof *steps->rows[0]);
    if (steps->sparsity == NULL || steps->rows[0] == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for the integrator");
    }
    for (int i = 1; i < ROSENBROCK_ROWS; i++) {
      steps->rows[i] = steps->rows[i - 1] + n;
    }
    steps->method = (struct rosenbrock_plain){.sparsity = steps->sparsity};
    if (!rosenbrock_plain_open(&steps->method)) {
      return error_set(error, ERROR_MEMORY, "out of memory for the integrator");
    }
  }
  steps->method.rates_of = problem->rates;
  steps->method.rates_of_lanes = problem->rates_in_lanes;
  steps->method.context = problem->context;
  step_control_begin(&steps->control, problem->largest_step);
  return true;
}

void linear_steps_free(struct linear_steps *steps) {
  if (steps != NULL) {
    forget(steps);
  }
  free(steps);
}

static void keep_rows(struct linear_steps *steps, const struct integrator_attempt *attempt) {
  for (int row = 0; row < ROSENBROCK_ROWS; row++) {
    for (int i = 0; i < steps->size; i++) {
      steps->rows[row][i] = attempt->rows[row][i * attempt->spread];
    }
  }
}

void integrator_aim(struct integrator *integrator, double stop, struct integrator_aim *aim) {
  const struct integrator_problem *problem = &integrator->problem;
  struct step_control *control = &integrator->linear_steps->control;
  integrator->stop = stop;
  step_control_aim(control, integrator->time, stop);
  *aim = (struct integrator_aim){.time = integrator->time,
                                 .width = control->width,
                                 .starts = integrator->before.restarts,
                                 .time_dependent =
                                     problem->time_dependent == NULL || problem->time_dependent(problem->context),
                                 .state = NV_DATA_S(integrator->state),
                                 .absolute = integrator->tolerances,
                                 .relative = integrator->tolerances + problem->state_count};
  int differences = rosenbrock_jacobian_evaluations(integrator->linear_steps->sparsity, aim->time_dependent);
  integrator->jacobian_calls += differences;
  integrator->rate_calls +=
      rosenbrock_evaluations(integrator->linear_steps->sparsity, aim->time_dependent) - differences;
  integrator->before.jacobians++;
  integrator->before.factorizations++;
  integrator->before.solves += RODAS4_STAGES;
}

static bool tell_bad_rate(struct integrator *integrator, int state, struct error *error) {
  return error_set(error, ERROR_RUN, "at t = %.6g s the derivative of %s is not a finite number", integrator->time,
                   integrator->problem.state_names[state]);
}

enum integrator_judgement integrator_judge(struct integrator *integrator, const struct integrator_attempt *attempt,
                                           struct error *error) {
  struct linear_steps *steps = integrator->linear_steps;
  struct step_control *control = &steps->control;
  int n = steps->size;
  if (!step_control_judge(control, attempt->error)) {
    integrator->before.error_failures++;
    for (int i = 0; i < n; i++) {
      if (!isfinite(attempt->rates[i * attempt->spread])) {
        tell_bad_rate(integrator, i, error);
        return INTEGRATOR_FAILED;
      }
    }
    if (control->wanted < SMALLEST_STEP) {
      error_set(error, ERROR_RUN, "the integrator cannot go on at t = %.6g s: no step is short enough",
                integrator->time);
      return INTEGRATOR_FAILED;
    }
    return INTEGRATOR_AGAIN;
  }
  integrator_finish_quadratures(integrator);
  integrator->step_start = integrator->time;
  integrator->before.steps++;
  keep_rows(steps, attempt);
  double *state = NV_DATA_S(integrator->state);
  for (int i = 0; i < n; i++) {
    state[i] = attempt->end[i * attempt->spread];
  }
  struct vecops_terms *terms = &integrator->terms;
  terms->count = ROSENBROCK_ROWS + 1;
  for (int row = 0; row < ROSENBROCK_ROWS; row++) {
    terms->values[row] = steps->rows[row];
  }
  terms->values[ROSENBROCK_ROWS] = state;
  integrator->over_width = 1.0 / control->width;
  integrator_note_step(integrator, control->reaches ? integrator->stop : integrator->time + control->width, true);
  return INTEGRATOR_STEPPED;
}

const struct sparsity *integrator_sparsity(const struct integrator *integrator) {
  return integrator->linear_steps != NULL ? integrator->linear_steps->sparsity : NULL;
}

bool linear_steps_step(struct integrator *integrator, double stop, struct error *error) {
  struct rosenbrock_plain *method = &integrator->linear_steps->method;
  enum integrator_judgement judgement = INTEGRATOR_AGAIN;
  while (judgement == INTEGRATOR_AGAIN) {
    struct integrator_aim aim;
    integrator_aim(integrator, stop, &aim);
    method->time_dependent = aim.time_dependent;
    rosenbrock_plain_try(method, aim.time, aim.width, aim.state, aim.absolute, aim.relative);
    struct integrator_attempt attempt = {
        method->error, 1, method->rates, method->end, {method->rows[0], method->rows[1], method->rows[2]}};
    judgement = integrator_judge(integrator, &attempt, error);
  }
  return judgement == INTEGRATOR_STEPPED;
}
