/* One run in vector lanes: its model in every lane, and the mode that it is in. Serves what asks for many evaluations
 * at once: samples, and differences for a Jacobian. */
#ifndef SWASHLOOP_RUN_VECTOR_EVALUATOR_H
#define SWASHLOOP_RUN_VECTOR_EVALUATOR_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"

/* All zero: no memory. */
struct vector_evaluator {
  const struct plant_lanes *lanes; /* NULL: this run has none */
  void *model;
  void *mode;
  bool mode_loaded; /* as the run's own is */
  const struct plant_lanes *made_for;
};

/* Begin a run with this prepared model, in lanes if the plant has some that gain anything. */
bool vector_evaluator_open(struct vector_evaluator *evaluator, const struct plant *plant, const void *model,
                           struct error *error);
/* The mode has changed. */
void vector_evaluator_forget_mode(struct vector_evaluator *evaluator);
/* The run's present mode, if it is not in the lanes already. */
void vector_evaluator_load_mode(struct vector_evaluator *evaluator, const void *mode);
void vector_evaluator_free(struct vector_evaluator *evaluator);

#endif
