/* Derivatives of a run to parameters of its case: forward sensitivities, integrated beside the run.
 *
 * For each parameter p two neighbours of the case stand beside it, p raised and lowered by a small step d. Each has its
 * own model and its own mode; its states are those of the run plus or less d times the derivative s = dy/dp. What a
 * neighbour shows (a signal, a measure) over 2 d is a derivative by the same definition as in a plain run.
 *
 * Between changes of mode: s' = (df/dy) s + df/dp, both by central differences: along s with the run's own model, and
 * between the models of the neighbours. Kinks of valves and clamps inside the right-hand side need nothing more.
 *
 * At a change of mode the time T depends on p when it is found by a state, or when a table's point is the parameter.
 * With g the function whose fall (or crossing) makes the change,
 *     dT/dp = - (dg/dp at T, states moving with s) / (dg/dt along the run),
 * for clocks by the clocks of the neighbours; then, R what the change does to the states, f- and f+ the rates before
 * and after,
 *     s+ = d/dp R(y- + (s- + f- dT/dp) dp) - f+ dT/dp,
 * and the integrals likewise. The neighbours change at their own moments, so that a ramp begun by a state knows that it
 * begins at another time. Where dg/dt is next to nothing (a crossing that only touches) the derivative does not exist:
 * it is counted as unsure. */
#ifndef SWASHLOOP_RUN_TANGENT_H
#define SWASHLOOP_RUN_TANGENT_H

#include "metrics.h"
#include "run.h"
#include "view.h"

enum { TANGENT_PARAMETERS = 24 };

struct tangent;

/* NULL on failure. Copies nothing of the cases. */
struct tangent *tangent_new(const struct plant *plant, const struct sensitivity_request *request, struct error *error);
void tangent_free(struct tangent *tangent);
/* Before the integrator is made: the neighbours' models; fills in what the integrator must know. */
bool tangent_prepare(struct tangent *tangent, const struct view *view, struct integrator_problem *problem,
                     struct error *error);
/* At time zero, `sample` that of the run. */
bool tangent_begin(struct tangent *tangent, const struct sample *sample, struct error *error);
/* Around each change at one instant: what is before it (mode and state of the run as they are), then the change of the
 * neighbours, then what is after it. `which`: guard, or -1 for the clock. */
void tangent_before(struct tangent *tangent, const struct sample *sample);
void tangent_change(struct tangent *tangent, const struct sample *sample, int which);
void tangent_move(struct tangent *tangent, const struct sample *sample, int index);
void tangent_after(struct tangent *tangent, const struct sample *sample);
/* The run's braking counts from here on. */
void tangent_brake(struct tangent *tangent, double from, const char *why);
/* Before the integrator starts again. */
void tangent_restart(struct tangent *tangent, double t);
/* An accepted step. */
void tangent_observe(struct tangent *tangent, const struct step *step);
/* Derivatives of the signals asked for, [parameter][signal]; `sample` that of the run. */
void tangent_signals(struct tangent *tangent, double t, double *derivatives);
/* The end: measures into the result. */
bool tangent_end(struct tangent *tangent, const struct sample *sample, const struct outcome *outcome,
                 struct sensitivity_result *result, struct error *error);

#endif
