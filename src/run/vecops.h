/* Vector, matrix and LU operations for small dense systems, put into the solver library's own objects. The library as
 * packaged runs its loops without optimisation; ours are compiled with the project and skip zeros. The digits are the
 * same but for the order of sums. */
#ifndef SWASHLOOP_RUN_VECOPS_H
#define SWASHLOOP_RUN_VECOPS_H

#include <nvector/nvector_serial.h>
#include <sundials/sundials_linearsolver.h>
#include <sunmatrix/sunmatrix_dense.h>

/* Replace the operations of an object made by the library; its clones inherit them. */
void vecops_vector(N_Vector vector);
void vecops_matrix(SUNMatrix matrix);
/* A direct solver for dense matrices of this size; freed by SUNLinSolFree. NULL without memory. */
SUNLinearSolver vecops_solver(int size, SUNContext context);

#endif
