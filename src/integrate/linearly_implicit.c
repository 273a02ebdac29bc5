/* The linearly implicit method of order 4 (rosenbrock.h): attempt by attempt, each judged by its own error, and with
 * those of other systems side by side. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "aligned.h"
#include "integrator_method.h"
#include "rodas4.h"
#include "rosenbrock.h"
#include "step_control.h"

_Static_assert((int)ROSENBROCK_ROWS + 1 <= (int)STEP_POLYNOMIAL_ROWS, "a step's polynomial has room for every row");

/* Its error is that of a step; the multistep method's steps are three to five times as many, and their errors add up.
 * So many times the tolerances give extremes as near to the true ones (docs/lanes.md). */
#define TOLERANCES 5.0

struct linearly_implicit {
  struct rosenbrock_plain method;
  struct step_control control;
  double stop;                   /* of the attempt aimed at */
  double width;                  /* of the last good step */
  double *rows[ROSENBROCK_ROWS]; /* of its polynomial, [state] */
  struct integrator_counts counts;
};

static void renew(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  struct linearly_implicit *own = integrator->own;
  struct differences_plain *differences = &own->method.differences;
  differences->rates_of = problem->rates;
  differences->rates_of_lanes = problem->rates_in_lanes;
  differences->context = problem->context;
  own->counts = (struct integrator_counts){0};
  step_control_begin(&own->control, problem->largest_step);
}

static bool create(struct integrator *integrator) {
  size_t n = (size_t)integrator->problem.state_count;
  struct linearly_implicit *own = calloc(1, sizeof *own);
  integrator->own = own;
  if (own == NULL) {
    return false;
  }
  own->method.differences.sparsity = integrator->sparsity;
  own->rows[0] = calloc(ROSENBROCK_ROWS * n, sizeof *own->rows[0]);
  if (own->rows[0] == NULL || !rosenbrock_plain_open(&own->method)) {
    return false;
  }
  for (int i = 1; i < ROSENBROCK_ROWS; i++) {
    own->rows[i] = own->rows[i - 1] + n;
  }
  renew(integrator);
  return true;
}

static void destroy(struct integrator *integrator) {
  struct linearly_implicit *own = integrator->own;
  if (own != NULL) {
    rosenbrock_plain_close(&own->method);
    free(own->rows[0]);
    free(own);
  }
}

static bool start(struct integrator *integrator, double t, struct error *error) {
  struct linearly_implicit *own = integrator->own;
  (void)t;
  (void)error;
  step_control_jump(&own->control);
  return true;
}

static void aim_at(struct integrator *integrator, double stop, struct integrator_aim *aim) {
  const struct integrator_problem *problem = &integrator->problem;
  struct linearly_implicit *own = integrator->own;
  own->stop = stop;
  step_control_aim(&own->control, integrator->time, stop);
  *aim = (struct integrator_aim){.time = integrator->time,
                                 .width = own->control.width,
                                 .starts = integrator->counts.restarts,
                                 .time_dependent =
                                     problem->time_dependent == NULL || problem->time_dependent(problem->context),
                                 .state = integrator->state,
                                 .absolute = integrator->tolerances,
                                 .relative = integrator->tolerances + problem->state_count};
  integrator->counts.jacobian_calls += differences_evaluations(integrator->sparsity, aim->time_dependent);
  integrator->counts.rate_calls += RODAS4_STAGES;
  own->counts.jacobians++;
  own->counts.factorizations++;
  own->counts.solves += RODAS4_STAGES;
}

/* What an attempt brought; the numbers of one system lie `spread` apart. */
struct attempt {
  double error;
  ptrdiff_t spread;
  const double *start; /* NULL: the integrator's state */
  const double *rates; /* at the start */
  const double *end;
  const double *rows[ROSENBROCK_ROWS];
};

/* The largest of these, one a state, over its tolerance; -1: none but zeros. */
static int largest_of(const struct integrator *integrator, const double *values) {
  const double *absolute = integrator->tolerances;
  const double *relative = integrator->tolerances + integrator->problem.state_count;
  int state = -1;
  double largest = 0.0;
  for (int i = 0; i < integrator->problem.state_count; i++) {
    double size = fabs(values[i]) / (relative[i] * fabs(integrator->state[i]) + absolute[i]);
    if (size > largest) {
      largest = size;
      state = i;
    }
  }
  return state;
}

/* Which rate leaves the numbers, at the places that the attempt asks for: the increments of the differences, and where
 * the step would end. */
static void find_bad(struct integrator *integrator) {
  const struct integrator_problem *problem = &integrator->problem;
  struct linearly_implicit *own = integrator->own;
  const struct differences_plain *differences = &own->method.differences;
  double *end = own->method.work[0];
  double *rates = own->method.work[1];
  integrator_note_bad_jacobian(integrator, integrator->time, differences->jacobian);
  for (int i = 0; i < problem->state_count; i++) {
    end[i] = integrator->state[i] + own->control.width * differences->rates[i];
  }
  problem->rates(problem->context, integrator->time, end, rates);
  integrator_note_bad(integrator, integrator->time, rates);
}

/* No step is short enough: for which state? The last attempt is made once more, by itself, for what it leaves. */
static void tell_stuck(struct integrator *integrator, struct error *error) {
  int n = integrator->problem.state_count;
  struct linearly_implicit *own = integrator->own;
  struct rosenbrock_plain *method = &own->method;
  method->differences.time_dependent = true;
  rosenbrock_plain_try(method, integrator->time, own->control.width, integrator->state, integrator->tolerances,
                       integrator->tolerances + n);
  find_bad(integrator);
  if (integrator->bad_state >= 0) {
    integrator_tell_bad(integrator, error);
    return;
  }
  const double *errors = method->stages[RODAS4_STAGES - 1];
  /* What is no number spreads to all states that follow from the first: then the one that moves most. */
  bool known = integrator_finite(errors, n);
  integrator_tell_stuck(integrator, largest_of(integrator, known ? errors : method->differences.rates),
                        "no step is short enough", error);
}

static enum integrator_judgement refuse(struct integrator *integrator, const struct attempt *attempt,
                                        struct error *error) {
  struct linearly_implicit *own = integrator->own;
  own->counts.error_failures++;
  for (int i = 0; i < integrator->problem.state_count; i++) {
    integrator->state[i] = attempt->start != NULL ? attempt->start[i * attempt->spread] : integrator->state[i];
  }
  for (int i = 0; i < integrator->problem.state_count; i++) {
    if (!isfinite(attempt->rates[i * attempt->spread])) {
      integrator->bad_state = i;
      integrator->bad_time = integrator->time;
      integrator_tell_bad(integrator, error);
      return INTEGRATOR_FAILED;
    }
  }
  if (own->control.wanted < SMALLEST_STEP) {
    tell_stuck(integrator, error);
    return INTEGRATOR_FAILED;
  }
  return INTEGRATOR_AGAIN;
}

static enum integrator_judgement judge(struct integrator *integrator, const struct attempt *attempt,
                                       struct error *error) {
  struct linearly_implicit *own = integrator->own;
  struct step_control *control = &own->control;
  if (!step_control_judge(control, attempt->error)) {
    return refuse(integrator, attempt, error);
  }
  integrator_finish_quadratures(integrator);
  own->width = control->width;
  own->counts.steps++;
  integrator_note_time(integrator, control->reaches ? own->stop : integrator->time + control->width);
  return INTEGRATOR_STEPPED;
}

/* The step that was judged good becomes the integrator's own. */
static void take(struct integrator *integrator, const struct attempt *attempt) {
  struct linearly_implicit *own = integrator->own;
  for (int i = 0; i < integrator->problem.state_count; i++) {
    for (int row = 0; row < ROSENBROCK_ROWS; row++) {
      own->rows[row][i] = attempt->rows[row][i * attempt->spread];
    }
    integrator->state[i] = attempt->end[i * attempt->spread];
  }
  quadrature_step(integrator->quadrature, integrator->time);
}

static bool find_polynomial(struct integrator *integrator) {
  const struct linearly_implicit *own = integrator->own;
  struct step_polynomial *polynomial = &integrator->polynomial;
  polynomial->count = ROSENBROCK_ROWS + 1;
  polynomial->over_width = 1.0 / own->width;
  for (int row = 0; row < ROSENBROCK_ROWS; row++) {
    polynomial->rows[row] = own->rows[row];
  }
  polynomial->rows[ROSENBROCK_ROWS] = integrator->state;
  return true;
}

static bool step(struct integrator *integrator, double stop, struct error *error) {
  struct rosenbrock_plain *method = &((struct linearly_implicit *)integrator->own)->method;
  enum integrator_judgement judgement = INTEGRATOR_AGAIN;
  while (judgement == INTEGRATOR_AGAIN) {
    struct integrator_aim aim;
    aim_at(integrator, stop, &aim);
    method->differences.time_dependent = aim.time_dependent;
    rosenbrock_plain_try(method, aim.time, aim.width, integrator->state, aim.absolute, aim.relative);
    const struct attempt attempt = {.error = method->error,
                                    .spread = 1,
                                    .rates = method->differences.rates,
                                    .end = method->end,
                                    .rows = {method->rows[0], method->rows[1], method->rows[2]}};
    judgement = judge(integrator, &attempt, error);
    if (judgement == INTEGRATOR_STEPPED) {
      take(integrator, &attempt);
    }
  }
  return judgement == INTEGRATOR_STEPPED;
}

static void add_counts(const struct integrator *integrator, struct integrator_counts *counts) {
  const struct linearly_implicit *own = integrator->own;
  integrator_add_counts(counts, &own->counts);
}

/* ---- side by side ---- */

static void close_lanes(void *method) {
  if (method != NULL) {
    rosenbrock_lanes_close(method);
    free(method);
  }
}

static void *open_lanes(const struct sparsity *sparsity,
                        void (*rates_of)(void *context, const lanes *t, const lanes *state, lanes *rates),
                        void *context) {
  struct rosenbrock_lanes *method = aligned_zeros(sizeof *method);
  if (method != NULL) {
    method->differences = (struct differences_lanes){.sparsity = sparsity, .rates_of = rates_of, .context = context};
    if (rosenbrock_lanes_open(method)) {
      return method;
    }
    free(method);
  }
  return NULL;
}

static void attempt_lanes(void *of_lanes, const struct integrator_aims *aims, struct integrator_attempts *attempts) {
  struct rosenbrock_lanes *method = of_lanes;
  method->differences.time_dependent = aims->time_dependent;
  rosenbrock_lanes_try(method, &aims->time, &aims->width, aims->state, aims->absolute, aims->relative);
  *attempts = (struct integrator_attempts){.error = &method->error,
                                           .start = aims->state,
                                           .rates = method->differences.rates,
                                           .end = method->end,
                                           .row_count = ROSENBROCK_ROWS,
                                           .rows = {method->rows[0], method->rows[1], method->rows[2]}};
}

static struct attempt attempt_in(const struct integrator_attempts *attempts, int lane) {
  return (struct attempt){.error = (*attempts->error)[lane],
                          .spread = LANES,
                          .start = (const double *)attempts->start + lane,
                          .rates = (const double *)attempts->rates + lane,
                          .end = (const double *)attempts->end + lane,
                          .rows = {(const double *)attempts->rows[0] + lane, (const double *)attempts->rows[1] + lane,
                                   (const double *)attempts->rows[2] + lane}};
}

static enum integrator_judgement judge_lane(struct integrator *integrator, const struct integrator_attempts *attempts,
                                            int lane, struct error *error) {
  const struct attempt attempt = attempt_in(attempts, lane);
  return judge(integrator, &attempt, error);
}

static void take_lane(struct integrator *integrator, const struct integrator_attempts *attempts, int lane) {
  const struct attempt attempt = attempt_in(attempts, lane);
  take(integrator, &attempt);
}

static const struct integrator_side_by_side side_by_side = {.open = open_lanes,
                                                            .close = close_lanes,
                                                            .attempt = attempt_lanes,
                                                            .aim = aim_at,
                                                            .judge = judge_lane,
                                                            .take = take_lane};

const struct integrator_method integrator_rosenbrock = {
    .name = "rosenbrock",
    .text = "linearly implicit",
    .tolerances = TOLERANCES,
    .vouched = 10.0,
    .steps_between_looks = 90,
    .create = create,
    .renew = renew,
    .destroy = destroy,
    .start = start,
    .step = step,
    .find_polynomial = find_polynomial,
    .add_counts = add_counts,
    .side_by_side = &side_by_side,
};
