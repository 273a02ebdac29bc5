/* What a case of a study takes, found by running a few. */
#ifndef SWASHLOOP_SWEEP_COST_ESTIMATE_H
#define SWASHLOOP_SWEEP_COST_ESTIMATE_H

#include "plan.h"

/* Mean time of a case on one thread that has a processor to itself, s, over a few cases spread over the study, up to
 * about two seconds of trying, run as a sweep runs them; NaN if none runs, and `error` says why. `stop` ends it early.
 */
double cost_estimate(const struct plan *plan, bool (*stop)(void), struct error *error);

#endif
