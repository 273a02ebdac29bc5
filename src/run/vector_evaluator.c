#include "vector_evaluator.h"

#include <stdlib.h>
#include <string.h>

#include "aligned.h"

/* Vectors of fewer doubles gain nothing. */
enum { LEAST_WIDTH = 4 };

bool vector_evaluator_open(struct vector_evaluator *evaluator, const struct plant *plant, const void *model,
                           struct error *error) {
  const struct plant_lanes *kind = plant->lanes != NULL ? plant->lanes() : NULL;
  evaluator->lanes = NULL;
  if (kind == NULL || kind->width < LEAST_WIDTH) {
    return true;
  }
  if (evaluator->made_for != kind) {
    vector_evaluator_free(evaluator);
    evaluator->model = aligned_zeros(kind->model_size);
    evaluator->mode = aligned_zeros(kind->mode_size);
    if (evaluator->model == NULL || evaluator->mode == NULL) {
      vector_evaluator_free(evaluator);
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
    evaluator->made_for = kind;
  }
  memset(evaluator->model, 0, kind->model_size);
  memset(evaluator->mode, 0, kind->mode_size);
  evaluator->mode_loaded = false;
  evaluator->lanes = kind->load_model(evaluator->model, LANES_ALL, model) == NULL ? kind : NULL;
  return true;
}

void vector_evaluator_forget_mode(struct vector_evaluator *evaluator) {
  evaluator->mode_loaded = false;
}

void vector_evaluator_load_mode(struct vector_evaluator *evaluator, const void *mode) {
  if (!evaluator->mode_loaded) {
    evaluator->lanes->load_mode(evaluator->mode, LANES_ALL, mode);
    evaluator->mode_loaded = true;
  }
}

void vector_evaluator_free(struct vector_evaluator *evaluator) {
  free(evaluator->model);
  free(evaluator->mode);
  *evaluator = (struct vector_evaluator){.lanes = NULL};
}
