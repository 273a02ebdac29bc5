/* A direct solver for small matrices that are mostly empty, as an object of the solver library. It factors
 * scale * matrix + shift * identity, so that a Newton matrix I - gamma J needs no copy of J. */
#ifndef SWASHLOOP_LINEAR_LU_H
#define SWASHLOOP_LINEAR_LU_H

#include <stdbool.h>

#include <sundials/sundials_linearsolver.h>

/* For dense matrices of this size, with scale 1 and shift 0; freed by SUNLinSolFree. NULL without memory. */
SUNLinearSolver lu_solver(int size, SUNContext context);
/* What to factor next. From here on a matrix is looked at for entries in new places only if it is told to be new. */
void lu_system(SUNLinearSolver solver, double scale, double shift, bool new_matrix);
/* As if new: what it has learned of the matrices so far decides the order of its sums. */
void lu_forget(SUNLinearSolver solver);

#endif
