/* Steps of several systems made side by side, one in each vector lane: what a method offers that can. It makes the
 * attempts of all lanes at once; each system's own integrator says what it aims at and judges what came of it, so that
 * each has its own time, step and error. */
#ifndef SWASHLOOP_INTEGRATE_SIDE_BY_SIDE_H
#define SWASHLOOP_INTEGRATE_SIDE_BY_SIDE_H

#include "integrator.h"
#include "step_polynomial.h"

/* What one system's next attempt shall be. */
struct integrator_aim {
  double time;
  double width;
  long starts;         /* how often it has begun again; at each start the mode that the rates read may have changed */
  bool time_dependent; /* rates depend on time itself */
  const double *state; /* as of the last step that it has taken */
  const double *absolute; /* tolerances */
  const double *relative;
};

/* The attempts of all lanes; arrays have a row a state. */
struct integrator_aims {
  lanes time;
  lanes width;
  bool time_dependent; /* in some lane */
  const lanes *state;
  const lanes *absolute;
  const lanes *relative;
};

/* What came of them, until the next. */
struct integrator_attempts {
  const lanes *error; /* over the tolerances: 1 or less is good */
  const lanes *start; /* states */
  const lanes *rates; /* there */
  const lanes *end;
  int row_count; /* of the step's polynomial, but for the end */
  const lanes *rows[STEP_POLYNOMIAL_ROWS];
};

enum integrator_judgement { INTEGRATOR_STEPPED, INTEGRATOR_AGAIN, INTEGRATOR_FAILED };

struct integrator_side_by_side {
  /* For systems of this sparsity, which must outlive it. NULL without memory. */
  void *(*open)(const struct sparsity *sparsity,
                void (*rates_of)(void *context, const lanes *t, const lanes *state, lanes *rates), void *context);
  void (*close)(void *method);
  void (*attempt)(void *method, const struct integrator_aims *aims, struct integrator_attempts *attempts);
  /* One system's next attempt, which shall not go beyond `stop`. */
  void (*aim)(struct integrator *integrator, double stop, struct integrator_aim *aim);
  /* Was it good? Then the step is made; but what is known within it - state, polynomial, integrals - lies in the lanes
   * alone. */
  enum integrator_judgement (*judge)(struct integrator *integrator, const struct integrator_attempts *attempts,
                                     int lane, struct error *error);
  /* All of the step just made to the integrator itself, as if by integrator_step; its integrals up to the start of the
   * step must be its own. */
  void (*take)(struct integrator *integrator, const struct integrator_attempts *attempts, int lane);
};

struct quadrature_lanes;

/* The integrals of an integrator into a lane (quadrature_lanes.h), where they are added to step by step, and back. */
void integrator_integrals_to_lane(const struct integrator *integrator, struct quadrature_lanes *all, int lane);
void integrator_integrals_from_lane(struct integrator *integrator, const struct quadrature_lanes *all, int lane);

#endif
