/* A case's plant driven by hand: its state, its mode, and the changes of mode that a run makes, without anything that
 * observes. For the benchmark only. */
#ifndef SWASHLOOP_BENCHMARK_SCENE_H
#define SWASHLOOP_BENCHMARK_SCENE_H

#include <stdbool.h>

#include "case.h"

enum { SCENE_GUARDS = 32 };

struct scene {
  struct case_data data;
  const struct plant *plant;
  void *model;
  void *mode;
  int count;                            /* states */
  double tolerances[PLANT_STATE_LIMIT]; /* absolute */
  double shares[PLANT_STATE_LIMIT];     /* of the relative one */
  double state[PLANT_STATE_LIMIT];
  double time;
  double end_time;
};

/* Load a case with its `--set`s and stand at its start. Prints why and returns false on failure. */
bool scene_load(struct scene *scene, const char *path, const char *const *sets, int set_count);
void scene_free(struct scene *scene);
/* Back to the start. */
void scene_start(struct scene *scene);
/* Where the clock next changes the mode, at most the end. */
double scene_stop(const struct scene *scene);
/* Make the mode right for scene->time and scene->state. Returns true if it changed, and the integrator must restart. */
bool scene_change(struct scene *scene);

/* CPU time of this thread, s. */
double cpu_seconds(void);
/* Sorts; the middle one. */
double median(double *values, int count);

#endif
