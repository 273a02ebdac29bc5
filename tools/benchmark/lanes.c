#include "lanes.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "plant_lanes.h"
#include "aligned.h"
#include "rosenbrock.h"
#include "transmission_open.h"

enum { ROUNDS = 300, REPEATS = 11, KINDS = 3, GROUPS = 16 };

/* The instants of one call. */
struct group_of_instants {
  void *mode;
  lanes time;
  lanes state[PLANT_STATE_LIMIT];
};

static bool load_group(const struct scene *scene, const struct plant_lanes *kind, const struct instants *instants,
                       int first, struct group_of_instants *group) {
  group->mode = aligned_zeros(kind->mode_size);
  for (int lane = 0; group->mode != NULL && lane < LANES; lane++) {
    const struct instant *instant = &instants->at[(first + lane) % instants->count];
    kind->load_mode(group->mode, lane, instant->mode);
    ((double *)&group->time)[lane] = instant->time;
    for (int i = 0; i < scene->count; i++) {
      ((double *)&group->state[i])[lane] = instant->state[i];
    }
  }
  return group->mode != NULL;
}

/* Median ns of one lane. */
static double time_group(const struct plant_lanes *kind, const void *model, const struct group_of_instants *groups,
                         int count, bool signals) {
  static lanes out[PLANT_SIGNAL_LIMIT];
  double times[REPEATS];
  for (int r = 0; r < REPEATS; r++) {
    double began = cpu_seconds();
    for (int k = 0; k < ROUNDS; k++) {
      const struct group_of_instants *group = &groups[k % count];
      if (signals) {
        kind->evaluate(model, group->mode, &group->time, group->state, &(struct lanes_evaluation){.signals = out});
      } else {
        kind->rates(model, group->mode, &group->time, group->state, out);
      }
    }
    times[r] = 1e9 * (cpu_seconds() - began) / (ROUNDS * (double)LANES);
  }
  return median(times, REPEATS);
}

static bool print_kind(const struct scene *scene, const struct plant_lanes *kind, const struct instants *instants) {
  static struct group_of_instants groups[GROUPS];
  int count = instants->count / LANES < GROUPS ? instants->count / LANES : GROUPS;
  void *model = aligned_zeros(kind->model_size);
  bool good = model != NULL && count > 0 && kind->load_model(model, LANES_ALL, scene->model) == NULL;
  int loaded = 0;
  while (good && loaded < count) {
    good = load_group(scene, kind, instants, loaded * LANES, &groups[loaded]);
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

/* ---- the linearly implicit method without the rates that it asks for ---- */

static void known_rates(void *context, double t, const double *state, double *rates) {
  const double *known = context;
  (void)t;
  for (int i = 0; i < PLANT_STATE_LIMIT && isfinite(known[i]); i++) {
    rates[i] = known[i] - state[i];
  }
}

static void known_lane_rates(void *context, const lanes *t, const lanes *state, lanes *rates) {
  const double *known = context;
  (void)t;
  for (int i = 0; i < PLANT_STATE_LIMIT && isfinite(known[i]); i++) {
    rates[i] = known[i] - state[i];
  }
}

/* Median ns of an attempt, and of one lane of an attempt. */
static bool time_attempts(const struct scene *scene, double *plain_ns, double *lane_ns) {
  static double known[PLANT_STATE_LIMIT];
  static lanes spread[3][PLANT_STATE_LIMIT]; /* state, absolute and relative tolerance */
  uint64_t rows[PLANT_STATE_LIMIT];
  struct error error;
  double state[PLANT_STATE_LIMIT];
  double tolerance[PLANT_STATE_LIMIT];
  double times[2][REPEATS];
  scene->plant->sparsity_pattern(scene->model, rows);
  for (int i = 0; i < PLANT_STATE_LIMIT; i++) {
    known[i] = i < scene->count ? 1.0 : NAN;
    state[i] = 0.5 + 0.01 * i;
    tolerance[i] = 1.0;
    for (int lane = 0; lane < LANES; lane++) {
      ((double *)&spread[0][i])[lane] = state[i];
      ((double *)&spread[1][i])[lane] = 1.0;
      ((double *)&spread[2][i])[lane] = 1.0;
    }
  }
  struct sparsity *sparsity = sparsity_new(scene->count, rows, &error);
  struct rosenbrock_plain plain = {.differences = {.sparsity = sparsity, .rates_of = known_rates, .context = known}};
  struct rosenbrock_lanes wide = {.differences = {.sparsity = sparsity, .rates_of = known_lane_rates, .context = known}};
  if (sparsity == NULL || !rosenbrock_plain_open(&plain) || !rosenbrock_lanes_open(&wide)) {
    return false;
  }
  const lanes t = {0.0};
  lanes width = t + 1e-3;
  for (int r = 0; r < REPEATS; r++) {
    double began = cpu_seconds();
    for (int k = 0; k < ROUNDS; k++) {
      rosenbrock_plain_try(&plain, 0.0, 1e-3, state, tolerance, tolerance);
    }
    double between = cpu_seconds();
    for (int k = 0; k < ROUNDS; k++) {
      rosenbrock_lanes_try(&wide, &t, &width, spread[0], spread[1], spread[2]);
    }
    times[0][r] = 1e9 * (between - began) / ROUNDS;
    times[1][r] = 1e9 * (cpu_seconds() - between) / (ROUNDS * (double)LANES);
  }
  *plain_ns = median(times[0], REPEATS);
  *lane_ns = median(times[1], REPEATS);
  rosenbrock_plain_close(&plain);
  rosenbrock_lanes_close(&wide);
  sparsity_free(sparsity);
  return true;
}

bool lanes_print(const struct scene *scene, const struct instants *instants) {
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
    good = print_kind(scene, kinds[i], instants);
  }
  printf("}");
  double plain_ns;
  double lane_ns;
  good = good && time_attempts(scene, &plain_ns, &lane_ns);
  if (good) {
    printf(", \"attempt_ns\": %.4g, \"lane_attempt_ns\": %.4g", plain_ns, lane_ns);
  }
  return good;
}
