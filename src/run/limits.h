/* What the limits of a case come to in a run: kept, broken, or not judged where the run gives no evidence. */
#ifndef SWASHLOOP_RUN_LIMITS_H
#define SWASHLOOP_RUN_LIMITS_H

#include "observers.h"
#include "run.h"
#include "stop.h"

struct limit_observer {
  struct extremum worst; /* of the signal, on the side that breaks */
  bool broken;
  bool undefined; /* the signal was no number at some time */
  bool absent;    /* the laws chosen have no such signal */
  double first;
};

/* Memory of an earlier run is used again. */
struct limits {
  struct limit_observer *each;
  int capacity;
};

/* Braking counts from `braking_from`, NaN while nothing brakes. */
bool limits_begin(struct limits *limits, const struct view *view, const struct sample *sample, double braking_from,
                  struct error *error);
void limits_brake(struct limits *limits, const struct view *view, double braking_from);
void limits_observe(struct limits *limits, const struct view *view, const struct step *step);
/* Into outcome->limits, from outcome->measures and status. `motion` is NULL where there is no machine. */
bool limits_end(const struct limits *limits, const struct view *view, const struct motion *motion,
                const struct sample *sample, struct outcome *outcome, struct error *error);

#endif
