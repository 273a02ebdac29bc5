/* The integrals of eight systems side by side, one in each vector lane, where nothing but the rule over five points is
 * asked of them: as quadrature.h does it, to the last bit. A lane whose step needs more (the first after a restart, or
 * one that is to be halved) is handed to its own quadrature and taken back. */
#ifndef SWASHLOOP_INTEGRATE_QUADRATURE_LANES_H
#define SWASHLOOP_INTEGRATE_QUADRATURE_LANES_H

#include "plant.h"
#include "quadrature.h"

struct quadrature_lanes {
  int count;            /* of integrals */
  int64_t known[LANES]; /* where the step before is: all bits or none */
  lanes before_start;   /* s: of that */
  lanes start;          /* s: of the step that comes */
  lanes relative;
  lanes absolute;
  lanes before[2][PLANT_LEDGER_LIMIT]; /* powers at start and middle of the step before */
  lanes at_start[PLANT_LEDGER_LIMIT];  /* powers there */
  lanes integrals[PLANT_LEDGER_LIMIT]; /* up to there */
  lanes found[PLANT_LEDGER_LIMIT];     /* up to the end of the step that was tried last */
};

/* What a system's own quadrature, finished, has come to, into a lane. */
void quadrature_lanes_take(struct quadrature_lanes *all, int lane, const struct quadrature *quadrature);
/* Back again, as if it had made the steps itself; only after a step made in lanes. */
void quadrature_lanes_give(const struct quadrature_lanes *all, int lane, struct quadrature *quadrature);
/* Integrate over steps that end at `end`, by the powers at their middles and ends. `good`: in which lanes it is so
 * exact as is asked. */
void quadrature_lanes_try(struct quadrature_lanes *all, const lanes *end, const lanes *middle, const lanes *at_end,
                          int64_t *good);
/* In these lanes the step that was tried is made. */
void quadrature_lanes_accept(struct quadrature_lanes *all, const int64_t *which, const lanes *end, const lanes *middle,
                             const lanes *at_end);

#endif
