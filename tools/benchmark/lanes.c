#include "lanes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plant_lanes.h"
#include "transmission_open.h"

enum { ROUNDS = 300, REPEATS = 11, KINDS = 3, GROUPS = 16 };

/* The places of one call. */
struct group_of_places {
  void *mode;
  lanes time;
  lanes state[PLANT_STATE_LIMIT];
};

static void *lane_memory(size_t size) {
  size_t whole = (size + 63) / 64 * 64;
  void *memory = aligned_alloc(64, whole);
  if (memory != NULL) {
    memset(memory, 0, whole);
  }
  return memory;
}

static bool load_group(const struct scene *scene, const struct plant_lanes *kind, const struct places *places,
                       int first, struct group_of_places *group) {
  group->mode = lane_memory(kind->mode_size);
  for (int lane = 0; group->mode != NULL && lane < LANES; lane++) {
    const struct place *place = &places->at[(first + lane) % places->count];
    kind->load_mode(group->mode, lane, place->mode);
    ((double *)&group->time)[lane] = place->time;
    for (int i = 0; i < scene->count; i++) {
      ((double *)&group->state[i])[lane] = place->state[i];
    }
  }
  return group->mode != NULL;
}

/* Median ns of one lane. */
static double time_group(const struct plant_lanes *kind, const void *model, const struct group_of_places *groups,
                         int count, bool signals) {
  static lanes out[PLANT_SIGNAL_LIMIT];
  double times[REPEATS];
  for (int r = 0; r < REPEATS; r++) {
    double began = cpu_seconds();
    for (int k = 0; k < ROUNDS; k++) {
      const struct group_of_places *group = &groups[k % count];
      if (signals) {
        kind->look(model, group->mode, &group->time, group->state, &(struct lanes_look){.signals = out});
      } else {
        kind->rates(model, group->mode, &group->time, group->state, out);
      }
    }
    times[r] = 1e9 * (cpu_seconds() - began) / (ROUNDS * (double)LANES);
  }
  return median(times, REPEATS);
}

static bool print_kind(const struct scene *scene, const struct plant_lanes *kind, const struct places *places) {
  static struct group_of_places groups[GROUPS];
  int count = places->count / LANES < GROUPS ? places->count / LANES : GROUPS;
  void *model = lane_memory(kind->model_size);
  bool good = model != NULL && count > 0 && kind->load_model(model, LANES_ALL, scene->model) == NULL;
  int loaded = 0;
  while (good && loaded < count) {
    good = load_group(scene, kind, places, loaded * LANES, &groups[loaded]);
    loaded++;
  }
  if (good) {
    printf("\"%s\": {\"rates\": %.4g, \"signals\": %.4g}", kind->name, time_group(kind, model, groups, count, false),
           time_group(kind, model, groups, count, true));
  }
  for (int i = 0; i < loaded; i++) {
    free(groups[i].mode);
  }
  free(model);
  return good;
}

bool lanes_print(const struct scene *scene, const struct places *places) {
  if (scene->plant->lanes == NULL) {
    return true;
  }
  const struct plant_lanes *kinds[KINDS] = {&transmission_lanes_plain};
  int count = 1;
#ifdef LANES_BY_PROCESSOR
  const struct plant_lanes *widest = scene->plant->lanes();
  if (widest != &transmission_lanes_plain) {
    kinds[count++] = &transmission_lanes_v3;
  }
  if (widest == &transmission_lanes_v4) {
    kinds[count++] = &transmission_lanes_v4;
  }
#endif
  bool good = true;
  printf(", \"lanes_ns\": {");
  for (int i = 0; good && i < count; i++) {
    printf("%s", i > 0 ? ", " : "");
    good = print_kind(scene, kinds[i], places);
  }
  printf("}");
  return good;
}
