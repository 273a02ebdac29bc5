/* One run in vector lanes: its model in every lane, and the mode that it is in. Serves what asks for many looks at
 * once: samples, and differences for a Jacobian. */
#ifndef SWASHLOOP_RUN_RIDE_H
#define SWASHLOOP_RUN_RIDE_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"

/* All zero: no memory. */
struct ride {
  const struct plant_lanes *lanes; /* NULL: this run has none */
  void *model;
  void *mode;
  bool mode_loaded; /* as the run's own is */
  const struct plant_lanes *made_for;
};

/* Begin a run with this prepared model, in lanes if the plant has some that gain anything. */
bool ride_open(struct ride *ride, const struct plant *plant, const void *model, struct error *error);
/* The mode has changed. */
void ride_forget_mode(struct ride *ride);
/* The run's present mode, if it is not in the lanes already. */
void ride_load_mode(struct ride *ride, const void *mode);
void ride_free(struct ride *ride);

/* Memory for lanes; freed as any. */
void *ride_memory(size_t size);

#endif
