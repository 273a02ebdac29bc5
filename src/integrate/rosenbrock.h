/* A linearly implicit method, one attempt at a step at a time, for one system or for eight at once that lie side by
 * side in vector lanes (rodas4.h). Both are compiled from the same text, and every operation works lane by lane: what a
 * lane gives depends on nothing but what it is given, and is what the plain one gives, to the last bit.
 *
 * The Jacobian is found by differences (differences.h), the Newton matrix eliminated without exchange of rows
 * (elimination.h). A pivot that cancellation has spoilt makes the attempt one that failed: a smaller step has a
 * stronger diagonal. */
#ifndef SWASHLOOP_INTEGRATE_ROSENBROCK_H
#define SWASHLOOP_INTEGRATE_ROSENBROCK_H

#include <stdbool.h>

#include "differences.h"
#include "plant_lanes.h"

/* Rows of a step's polynomial in x = (t - end)/length, from the highest power: y = r0 x^3 + r1 x^2 + r2 x + end. */
enum { ROSENBROCK_ROWS = 3 };

/* The memory of an attempt; each array has one number (or one of each lane) a state, but for the factors. */
#define ROSENBROCK_MEMORY(number)                                                                                      \
  number *end;                   /* where the step ends */                                                             \
  number *rows[ROSENBROCK_ROWS]; /* of its polynomial */                                                               \
  number error;                  /* root mean square of the error over the tolerances: 1 or less is good */            \
  number *stages[6];                                                                                                   \
  number *work[2];                                                                                                     \
  number *factors;     /* of the Newton matrix, by entries of the sparsity */                                          \
  number *reciprocals; /* of the pivots */                                                                             \
  void *memory

/* One system. */
struct rosenbrock_plain {
  struct differences_plain differences; /* rates at the start of the step, and their derivatives */
  ROSENBROCK_MEMORY(double);
};

/* LANES systems. */
struct rosenbrock_lanes {
  struct differences_lanes differences;
  ROSENBROCK_MEMORY(lanes);
};

/* What differences_*_open asks for must be set, all else zero; differences.time_dependent may be changed before each
 * attempt. False without memory. */
bool rosenbrock_plain_open(struct rosenbrock_plain *method);
void rosenbrock_plain_close(struct rosenbrock_plain *method);
bool rosenbrock_lanes_open(struct rosenbrock_lanes *method);
void rosenbrock_lanes_close(struct rosenbrock_lanes *method);

/* Try a step of `width` from `state` at t; `absolute` and `relative` tolerances one a state. Fills end, rows and error;
 * an error that is NaN or HUGE_VAL means that the attempt failed. */
void rosenbrock_plain_try(struct rosenbrock_plain *method, double t, double width, const double *state,
                          const double *absolute, const double *relative);
void rosenbrock_lanes_try(struct rosenbrock_lanes *method, const lanes *t, const lanes *width, const lanes *state,
                          const lanes *absolute, const lanes *relative);

/* Evaluations of the rates in one attempt. */
int rosenbrock_evaluations(const struct sparsity *sparsity, bool time_dependent);

#endif
