#include "scene.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

bool scene_load(struct scene *scene, const char *path, const char *const *sets, int set_count) {
  struct error error = {0};
  memset(scene, 0, sizeof *scene);
  if (!case_load(path, sets, set_count, &scene->data, &error)) {
    fprintf(stderr, "%s:%d: %s\n", error.file, error.line, error.text);
    return false;
  }
  const struct plant *plant = scene->data.plant;
  scene->plant = plant;
  scene->model = calloc(1, plant->model_size);
  scene->mode = calloc(1, plant->mode_size);
  const char *refusal = "out of memory";
  if (scene->model != NULL && scene->mode != NULL) {
    refusal = plant->prepare(scene->data.parameters, scene->model);
  }
  if (refusal != NULL) {
    fprintf(stderr, "%s: %s\n", path, refusal);
    scene_free(scene);
    return false;
  }
  int rows[PLANT_STATE_LIMIT];
  scene->count = plant->active_states(scene->model, rows);
  double scale = scene->data.simulation.pressure_tolerance / 100.0;
  for (int i = 0; i < scene->count; i++) {
    scene->shares[i] = plant_share(plant, rows[i]);
    scene->tolerances[i] = plant->states[rows[i]].tolerance * scene->shares[i] * scale;
  }
  scene->end_time = scene->data.simulation.end_time;
  scene_start(scene);
  return true;
}

void scene_free(struct scene *scene) {
  free(scene->model);
  free(scene->mode);
  case_free(&scene->data);
}

void scene_start(struct scene *scene) {
  memset(scene->mode, 0, scene->plant->mode_size);
  scene->plant->start(scene->model, scene->mode, scene->state);
  scene->time = 0.0;
}

double scene_stop(const struct scene *scene) {
  double next = scene->plant->next_time(scene->mode);
  return next < scene->end_time ? next : scene->end_time;
}

bool scene_change(struct scene *scene) {
  const struct plant *plant = scene->plant;
  const char *words = NULL;
  bool changed = false;
  double guards[SCENE_GUARDS];
  plant->guards(scene->model, scene->mode, scene->state, guards);
  for (int i = 0; i < plant->guard_count; i++) {
    if (guards[i] < 0.0) {
      plant->change(scene->model, scene->mode, scene->time, scene->state, i, &words);
      changed = true;
    }
  }
  while (plant->next_time(scene->mode) <= scene->time) {
    plant->change(scene->model, scene->mode, scene->time, scene->state, -1, &words);
    changed = true;
  }
  return changed;
}

double cpu_seconds(void) {
  struct timespec now;
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a;
  double y = *(const double *)b;
  return (x > y) - (x < y);
}

double median(double *values, int count) {
  qsort(values, (size_t)count, sizeof *values, by_size);
  return count % 2 == 1 ? values[count / 2] : 0.5 * (values[count / 2 - 1] + values[count / 2]);
}
