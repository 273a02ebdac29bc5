/* What is implausible about a study: of its case, and of the cases that it makes of it. */
#ifndef SWASHLOOP_SWEEP_PLAN_PLAUSIBILITY_H
#define SWASHLOOP_SWEEP_PLAN_PLAUSIBILITY_H

#include "plan.h"
#include "plausibility.h"

/* Everything that speaks of the case; what varies and has no effect in any of some cases spread over the study; and,
 * once each, what speaks of one of those cases only. False: memory is out. */
bool plan_warnings(const struct plan *plan, struct warnings *warnings, struct error *error);

#endif
