/* `start: steady`: the state with which a run begins in balance. */
#ifndef SWASHLOOP_RUN_STEADY_START_H
#define SWASHLOOP_RUN_STEADY_START_H

#include "error.h"
#include "view.h"

/* From the state at rest in *state to the balance that belongs to the pedals and the grade at time zero; the speed
 * follows from them. Fails with the reason in words. */
bool steady_start(const struct view *view, double *state, struct error *error);

#endif
