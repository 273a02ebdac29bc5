/* The Jacobian of the multistep method by differences. Columns that share no row are found by one look, and looks are
 * made LANES at a time where the rates have lanes; every entry is what a look at its column alone gives, to the last
 * bit. Private to src/run. */
#ifndef SWASHLOOP_INTEGRATE_JACOBIAN_H
#define SWASHLOOP_INTEGRATE_JACOBIAN_H

#include <nvector/nvector_serial.h>
#include <sunmatrix/sunmatrix_dense.h>

#include "integrator.h"

struct jacobian;

/* Fit *jacobian (or NULL) to a problem; memory is used again where the size is the same. False without memory. */
bool jacobian_fit(struct jacobian **jacobian, const struct integrator_problem *problem);
void jacobian_free(struct jacobian *jacobian);
/* df/dy at (t, state), where the rates are known; `work` are two vectors. Returns what the library wants: 0, or 1 when
 * a rate left the numbers, below 0 when it knows no step. */
int jacobian_find(struct integrator *integrator, double t, N_Vector state, N_Vector rates, SUNMatrix matrix,
                  N_Vector work1, N_Vector work2);

#endif
