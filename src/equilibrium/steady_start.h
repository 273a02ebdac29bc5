/* `start: steady`: the state with which a run begins in balance. */
#ifndef SWASHLOOP_EQUILIBRIUM_STEADY_START_H
#define SWASHLOOP_EQUILIBRIUM_STEADY_START_H

#include "error.h"
#include "plant.h"

/* From the state at rest in *state to the balance that belongs to the pedals and the grade at time zero; the speed
 * follows from them. Fails with the reason in words. */
bool steady_start(const struct plant *plant, const void *model, void *mode, double *state, struct error *error);

#endif
