/* Integrates y' = rates(t, y) by a method of the list (integrators.h), and integrals of `powers` on its steps'
 * polynomials (quadrature.h). One step at a time, so that the caller finds events on the dense output and decides where
 * to cut. */
#ifndef SWASHLOOP_INTEGRATE_INTEGRATOR_H
#define SWASHLOOP_INTEGRATE_INTEGRATOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"
#include "plant_lanes.h"
#include "sparsity.h"

struct integrator;
struct integrator_method;

enum { INTEGRATOR_PARAMETERS = 32 }; /* at most so many parameters to which derivatives are integrated */

struct integrator_problem {
  /* NULL: the first of the list. With parameters the first that takes some, where this one takes none. */
  const struct integrator_method *method;
  int state_count;
  int integral_count;
  void *context;
  void (*rates)(void *context, double t, const double *state, double *rates);
  /* The same of LANES times and states at once, rows of lanes, to the last bit; NULL: there is none. */
  void (*rates_in_lanes)(void *context, const lanes *t, const lanes *state, lanes *rates);
  void (*powers)(void *context, double t, const double *state, double *powers);
  /* Powers at t, if the caller has evaluated them already; returns false if not. May be NULL. */
  bool (*known_powers)(void *context, double t, double *powers);
  /* Bit j of depends[i] where rate i depends on state j, SPARSITY_TIME where on time; NULL: all on all. And whether
   * rates depend on time itself now; NULL: they may. */
  const uint64_t *sparsity_pattern;
  bool (*time_dependent)(void *context);
  const double *tolerances;       /* absolute, one a state */
  const double *shares;           /* of the relative tolerance, one a state; NULL: 1 */
  const char *const *state_names; /* for messages */
  double relative_tolerance;
  double nonlinear_tolerance; /* share of the error test left to the Newton iteration */
  int largest_order;
  /* Derivatives of states and integrals to parameters, integrated beside them; parameter_count 0: none. */
  int parameter_count;
  const double *parameter_scales; /* what counts as a change of each, for the error test */
  void *sensitivity_context;
  /* d/dt of the derivatives, one vector a parameter. */
  void (*sensitivity_rates)(void *context, double t, const double *state, const double *const *sensitivities,
                            double *const *rates);
  void (*sensitivity_powers)(void *context, double t, const double *state, const double *const *sensitivities,
                             double *const *powers);
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
/* One step, never beyond `stop`. On failure the error names the state whose derivative left the numbers first or, where
 * none did, the one that errs most over its tolerance. */
bool integrator_step(struct integrator *integrator, double stop, struct error *error);

/* States at `count` times within the last step, into lanes from `first` on, a row a state; lanes behind them may be
 * overwritten. To the last bit what integrator_state_at gives with no parameter perturbed. */
void integrator_states_at(struct integrator *integrator, const double *times, int first, int count, lanes *states);

/* The derivatives with which the next integrator_start begins: of states and of integrals, one row a parameter. Without
 * this call it begins with none (zero). */
void integrator_begin_sensitivities(struct integrator *integrator, const double *const *states,
                                    const double *const *integrals);
/* Derivatives within the last step; at a start, those with which it began. */
void integrator_sensitivity_at(struct integrator *integrator, int parameter, double t, double *states);
void integrator_integral_sensitivity_at(struct integrator *integrator, int parameter, double t, double *integrals);
/* From now on states and integrals are given as they would be with the parameter changed by `amount`, by its
 * derivative; 0: as they are. */
void integrator_perturb(struct integrator *integrator, int parameter, double amount);

/* A time within the last step as its polynomial counts it (step_polynomial.h); 0, its end, where there is none. */
double integrator_argument(struct integrator *integrator, double t);
/* Which rate depends on which state. */
const struct sparsity *integrator_sparsity(const struct integrator *integrator);
/* How steps of several systems are made side by side (side_by_side.h); NULL where the method makes none so. */
const struct integrator_side_by_side *integrator_side_by_side(const struct integrator *integrator);

/* Where the last step ended and began, s. */
double integrator_time(const struct integrator *integrator);
double integrator_step_start(const struct integrator *integrator);
/* State within the last step, by its own polynomial. */
void integrator_state_at(struct integrator *integrator, double t, double *state);
void integrator_integrals_at(struct integrator *integrator, double t, double *integrals);
struct integrator_counts integrator_counts(const struct integrator *integrator);

#endif
