/* Systems (scale J + shift I) x = b, J a matrix by entries of a sparsity. The order of elimination
 * is settled there once, and rows are never exchanged; so the sequence of operations does not depend on the numbers and
 * is the same in every lane.
 *
 * Rows have units of their own (metres beside metres a second), so pivots are not compared with each other. Each is
 * compared with what it was before elimination subtracted from it: the larger of shift and scale times J on its
 * diagonal. Where little is left of that, digits have cancelled. This ratio does not change with the units of any
 * unknown. */
#ifndef SWASHLOOP_LINEAR_ELIMINATION_H
#define SWASHLOOP_LINEAR_ELIMINATION_H

#include "plant_lanes.h"
#include "sparsity.h"

/* Factors that have lost more than this are worth nothing: nine of sixteen digits are gone. */
#define ELIMINATION_SPOILT 1e9

/* `factors` by entries and the pivots' reciprocals by unknowns, from `jacobian` by entries. `loss`: how many times
 * smaller the worst pivot is than what it was made of; not above ELIMINATION_SPOILT in good factors, infinite at a
 * pivot of zero. A pivot that is NaN makes solutions that are NaN. */
void elimination_plain_factor(const struct sparsity *sparsity, double scale, double shift, const double *jacobian,
                              double *factors, double *reciprocals, double *loss);
void elimination_lanes_factor(const struct sparsity *sparsity, double scale, const lanes *shift, const lanes *jacobian,
                              lanes *factors, lanes *reciprocals, lanes *loss);
/* x from the right-hand side to the solution. */
void elimination_plain_solve(const struct sparsity *sparsity, const double *factors, const double *reciprocals,
                             double *x);
void elimination_lanes_solve(const struct sparsity *sparsity, const lanes *factors, const lanes *reciprocals, lanes *x);

#endif
