#include "ride.h"

#include <stdlib.h>
#include <string.h>

/* Vectors of fewer doubles gain nothing. */
enum { LEAST_WIDTH = 4 };

void *ride_memory(size_t size) {
  return aligned_alloc(sizeof(lanes), (size + sizeof(lanes) - 1) / sizeof(lanes) * sizeof(lanes));
}

bool ride_open(struct ride *ride, const struct plant *plant, const void *model, struct error *error) {
  const struct plant_lanes *kind = plant->lanes != NULL ? plant->lanes() : NULL;
  ride->lanes = NULL;
  if (kind == NULL || kind->width < LEAST_WIDTH) {
    return true;
  }
  if (ride->made_for != kind) {
    ride_free(ride);
    ride->model = ride_memory(kind->model_size);
    ride->mode = ride_memory(kind->mode_size);
    if (ride->model == NULL || ride->mode == NULL) {
      ride_free(ride);
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
    ride->made_for = kind;
  }
  memset(ride->model, 0, kind->model_size);
  memset(ride->mode, 0, kind->mode_size);
  ride->mode_loaded = false;
  ride->lanes = kind->load_model(ride->model, LANES_ALL, model) == NULL ? kind : NULL;
  return true;
}

void ride_forget_mode(struct ride *ride) {
  ride->mode_loaded = false;
}

void ride_load_mode(struct ride *ride, const void *mode) {
  if (!ride->mode_loaded) {
    ride->lanes->load_mode(ride->mode, LANES_ALL, mode);
    ride->mode_loaded = true;
  }
}

void ride_free(struct ride *ride) {
  free(ride->model);
  free(ride->mode);
  *ride = (struct ride){.lanes = NULL};
}
