/* Derivatives of rates by differences: to each unknown by an increment that the method gives, and to time. Columns that
 * share no row are found by one evaluation (sparsity.h); every entry is what an evaluation of its column alone gives,
 * to the last bit. For one system, and for LANES systems at once. */
#ifndef SWASHLOOP_LINEAR_DIFFERENCES_H
#define SWASHLOOP_LINEAR_DIFFERENCES_H

#include <stdbool.h>

#include "plant_lanes.h"
#include "sparsity.h"

/* Each array has one number (or one of each lane) an unknown, but for the Jacobian. */
#define DIFFERENCES_MEMBERS(number)                                                                                    \
  void *context;                                                                                                       \
  bool rates_known;    /* `rates` are those at the state already */                                                    \
  bool time_dependent; /* rates depend on time itself (in some lane; it costs an evaluation) */                        \
  number *increments;  /* of the unknowns; the method's */                                                             \
  number *rates;       /* at the state */                                                                              \
  number *by_time;                                                                                                     \
  number *jacobian; /* by entries of the sparsity, zero where elimination fills in */                                  \
  number *shifted;  /* work: the state with a group's columns shifted */                                               \
  number *there;    /* work: the rates at that state */                                                                \
  number *over;     /* reciprocals of the increments after rounding */                                                 \
  void *memory

/* One system. */
struct differences_plain {
  const struct sparsity *sparsity;
  void (*rates_of)(void *context, double t, const double *state, double *rates);
  /* The same at LANES states and times, or NULL: then the evaluations, which do not wait for each other, are made LANES
   * at a time. */
  void (*rates_of_lanes)(void *context, const lanes *t, const lanes *state, lanes *rates);
  DIFFERENCES_MEMBERS(double);
  double *ahead; /* rates of evaluations made ahead, [evaluation][unknown] */
  lanes *lane_states;
  lanes *lane_rates;
};

/* LANES systems. */
struct differences_lanes {
  const struct sparsity *sparsity;
  void (*rates_of)(void *context, const lanes *t, const lanes *state, lanes *rates);
  DIFFERENCES_MEMBERS(lanes);
};

/* Sparsity, rates and context must be set, all else zero. rates_known and time_dependent may be changed before each
 * search. False without memory. */
bool differences_plain_open(struct differences_plain *differences);
void differences_plain_close(struct differences_plain *differences);
bool differences_lanes_open(struct differences_lanes *differences);
void differences_lanes_close(struct differences_lanes *differences);

/* At (t, state): rates unless known, derivatives to time between t and `later` if it matters (else zero), Jacobian. */
void differences_plain_find(struct differences_plain *differences, double t, double later, const double *state);
void differences_lanes_find(struct differences_lanes *differences, const lanes *t, const lanes *later,
                            const lanes *state);

/* Evaluations that the derivatives take. */
int differences_evaluations(const struct sparsity *sparsity, bool time_dependent);

#endif
