/* Steps of the linearly implicit method as an integrator makes them: attempt by attempt, each judged by its
 * own error. Private to the integrator. */
#ifndef SWASHLOOP_INTEGRATE_LINEAR_STEPS_H
#define SWASHLOOP_INTEGRATE_LINEAR_STEPS_H

#include "integrator.h"
#include "rosenbrock.h"
#include "step_control.h"

struct linear_steps {
  int size;
  struct sparsity *sparsity;
  struct rosenbrock_plain method;
  struct step_control control;
  double *rows[ROSENBROCK_ROWS]; /* of the last good step's polynomial, [state] */
};

/* Make ready for a problem; what an earlier one has left is used again where it fits. False without memory. */
bool linear_steps_renew(struct linear_steps *steps, const struct integrator_problem *problem, struct error *error);
void linear_steps_free(struct linear_steps *steps);
/* One step, never beyond `stop`, of an integrator that goes by this method. */
bool linear_steps_step(struct integrator *integrator, double stop, struct error *error);

#endif
