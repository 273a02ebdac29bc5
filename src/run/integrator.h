/* The only room that sees the solver library. Integrates y' = rates(t, y) by BDF of order 1 to 5 with a dense Newton
 * iteration, and integrals of `powers` beside it. The integrals take part in the error test: a line that fills is
 * linear in its state, so that the states alone would allow one step over the whole rise of its pressure, and the work
 * done on it would be wrong by a per cent; the price is nothing measurable (docs/numerics.md). One step at a time, so
 * that the caller finds events on the dense output and decides where to cut. */
#ifndef SWASHLOOP_RUN_INTEGRATOR_H
#define SWASHLOOP_RUN_INTEGRATOR_H

#include <stdbool.h>

#include "error.h"

struct integrator;

struct integrator_problem {
  int state_count;
  int integral_count;
  void *context;
  void (*rates)(void *context, double t, const double *state, double *rates);
  void (*powers)(void *context, double t, const double *state, double *powers);
  const double *tolerances;       /* absolute, one a state */
  const char *const *state_names; /* for messages */
  double relative_tolerance;
  double nonlinear_tolerance; /* share of the error test left to the Newton iteration */
  int largest_order;
  double integral_tolerance; /* absolute, J; relative is a tenth of the states' */
  double largest_step;       /* s */
};

struct integrator_counts {
  long steps;
  long rate_calls; /* all */
  long jacobians;
  long jacobian_calls;
  long factorizations;
  long solves;
  long error_failures;
  long convergence_failures;
  long restarts;
};

/* Copies what it needs of the problem; names must outlive it. NULL on failure. */
struct integrator *integrator_new(const struct integrator_problem *problem, struct error *error);
/* Make *integrator ready for another problem, as if new: its memory is used again where the sizes are the same. May be
 * given a NULL integrator; leaves one on failure. */
bool integrator_renew(struct integrator **integrator, const struct integrator_problem *problem, struct error *error);
void integrator_free(struct integrator *integrator);

/* Begin, or begin again, at t with this state and these integrals. */
bool integrator_start(struct integrator *integrator, double t, const double *state, const double *integrals,
                      struct error *error);
/* One step, never beyond `stop`. On failure the error names the first state that left the numbers, if one did. */
bool integrator_step(struct integrator *integrator, double stop, struct error *error);

double integrator_time(const struct integrator *integrator);
double integrator_step_start(const struct integrator *integrator);
/* State within the last step, by its own polynomial. */
void integrator_state_at(struct integrator *integrator, double t, double *state);
void integrator_integrals_at(struct integrator *integrator, double t, double *integrals);
struct integrator_counts integrator_counts(const struct integrator *integrator);

#endif
