/* A linearly implicit method, one attempt at a step at a time, for one system or for eight at once that lie side by
 * side in vector lanes (rodas4.h). Both are compiled from the same text, and every operation works lane by lane: what a
 * lane gives depends on nothing but what it is given, and is what the plain one gives, to the last bit.
 *
 * The Jacobian is found by differences, columns that share no row in one look, and eliminated without exchange of rows
 * in an order settled beforehand (sparsity.h). A pivot that cancellation has spoilt makes the attempt one that failed:
 * a smaller step has a stronger diagonal. */
#ifndef SWASHLOOP_INTEGRATE_ROSENBROCK_H
#define SWASHLOOP_INTEGRATE_ROSENBROCK_H

#include <stdbool.h>

#include "plant_lanes.h"
#include "sparsity.h"

/* Rows of a step's polynomial in x = (t - end)/length, from the highest power: y = r0 x^3 + r1 x^2 + r2 x + end. */
enum { ROSENBROCK_ROWS = 3 };

/* The memory of an attempt; each array has one number (or one of each lane) a state. */
#define ROSENBROCK_MEMORY(number)                                                                                      \
  bool time_dependent;           /* rates depend on time itself (in some lane; it costs a look) */                     \
  number *end;                   /* where the step ends */                                                             \
  number *rows[ROSENBROCK_ROWS]; /* of its polynomial */                                                               \
  number error;                  /* root mean square of the error over the tolerances: 1 or less is good */            \
  number *rates;                 /* at the start */                                                                    \
  number *by_time;               /* df/dt at the start */                                                              \
  number *stages[6];                                                                                                   \
  number *work[2];                                                                                                     \
  number *jacobian; /* by entries of the pattern */                                                                    \
  number *values;   /* of the Newton matrix, then of its factors */                                                    \
  number *over;     /* reciprocals: of increments, then of pivots */                                                   \
  void *memory

/* One system. */
struct rosenbrock_plain {
  const struct sparsity *sparsity;
  void (*rates_of)(void *context, double t, const double *state, double *rates);
  /* The same at LANES states and times, or NULL: then the looks that make the Jacobian, which wait for nothing, are
   * taken LANES at a time. */
  void (*rates_of_lanes)(void *context, const lanes *t, const lanes *state, lanes *rates);
  void *context;
  ROSENBROCK_MEMORY(double);
  double *ahead; /* rates of those looks, [look][state] */
  lanes *lane_states;
  lanes *lane_rates;
};

/* LANES systems. */
struct rosenbrock_lanes {
  const struct sparsity *sparsity;
  void (*rates_of)(void *context, const lanes *t, const lanes *state, lanes *rates);
  void *context;
  ROSENBROCK_MEMORY(lanes);
};

/* From all zero but the members before the memory, and `driven`, which may be set anew before each attempt. False
 * without memory. */
bool rosenbrock_plain_open(struct rosenbrock_plain *method);
void rosenbrock_plain_close(struct rosenbrock_plain *method);
bool rosenbrock_lanes_open(struct rosenbrock_lanes *method);
void rosenbrock_lanes_close(struct rosenbrock_lanes *method);

/* Try a step of `width` from `state` at t; `absolute` and `relative` tolerances one a state. Fills end, rows and error;
 * an error that is no number, or HUGE_VAL, means that the attempt was worth nothing. */
void rosenbrock_plain_try(struct rosenbrock_plain *method, double t, double width, const double *state,
                          const double *absolute, const double *relative);
void rosenbrock_lanes_try(struct rosenbrock_lanes *method, const lanes *t, const lanes *width, const lanes *state,
                          const lanes *absolute, const lanes *relative);

/* Evaluations of the rates in one attempt, and how many of them make the Jacobian. */
int rosenbrock_evaluations(const struct sparsity *sparsity, bool time_dependent);
int rosenbrock_jacobian_evaluations(const struct sparsity *sparsity, bool time_dependent);

#endif
