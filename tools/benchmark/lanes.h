/* What the plant in vector lanes costs at the instants of a run. */
#ifndef SWASHLOOP_BENCHMARK_LANES_H
#define SWASHLOOP_BENCHMARK_LANES_H

#include "scene.h"

enum { MOST_INSTANTS = 200 };

/* Places of a run, at which its parts are timed: evenly over its steps. */
struct instant {
  double time;
  double step;
  double state[PLANT_STATE_LIMIT];
  void *mode;
};

struct instants {
  int count;
  struct instant at[MOST_INSTANTS];
};

/* Prints `, "lanes_ns": {KIND: {"rates": ns, "signals": ns}, ...}`: of one lane, the LANES of a call at as many instants
 * with their modes, for every kind of vectors that this processor has. */
bool lanes_print(const struct scene *scene, const struct instants *instants);

#endif
