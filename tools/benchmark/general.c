/* One case's equations through a general-purpose integrator: `general CASE METHOD [--repeat N] [--set P=V]...`, METHOD
 * one of msbdf, rkf45, rk8pd. The right-hand side and the changes of mode are the product's own. One JSON object to
 * stdout. The tool behind it is under the GPL; nothing of the product links it. Called by tools/bench. */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"
#include "scene.h"

enum { MOST_REPEATS = 101, SET_LIMIT = 32, WATCHED = 5 };

struct watched {
  const char *measure;
  const char *signal;
  double sign;
  double from;
};

static const struct watched watched_rows[WATCHED] = {
    {"peak_line_a_pressure", "line_a_pressure", 1.0, 0.0},
    {"peak_line_b_pressure", "line_b_pressure", 1.0, 0.0},
    {"lowest_low_side_pressure", "low_side_pressure", -1.0, 0.0},
    {"lowest_charge_pressure", "charge_pressure", -1.0, 0.0},
    {"peak_charge_pressure", "charge_pressure", 1.0, 0.0},
};

/* The best so far of each, by a parabola through the last three steps. */
struct watch {
  int count; /* points since the last restart, up to 3 */
  double time[3];
  double value[WATCHED][3];
  double best[WATCHED];
  int signal[WATCHED];
};

struct problem {
  struct scene *scene;
  long calls;
};

static int call_rates(double t, const double *y, double *rates, void *context) {
  struct problem *problem = context;
  const struct scene *scene = problem->scene;
  scene->plant->rates(scene->model, scene->mode, t, y, rates);
  problem->calls++;
  for (int i = 0; i < scene->count; i++) {
    if (!isfinite(rates[i])) {
      return GSL_FAILURE; /* try a smaller step */
    }
  }
  return GSL_SUCCESS;
}

/* By differences, and nothing for time: within a mode the operator moves on straight lines. */
static int call_jacobian(double t, const double *y, double *matrix, double *by_time, void *context) {
  struct problem *problem = context;
  const struct scene *scene = problem->scene;
  size_t n = (size_t)scene->count;
  double state[PLANT_STATE_LIMIT];
  double before[PLANT_STATE_LIMIT];
  double after[PLANT_STATE_LIMIT];
  memcpy(state, y, n * sizeof *state);
  int flag = call_rates(t, state, before, context);
  for (size_t j = 0; j < n && flag == GSL_SUCCESS; j++) {
    double kept = state[j];
    double increment = 1.5e-8 * fmax(fabs(kept), 100.0 * scene->tolerances[j]);
    state[j] = kept + increment;
    flag = call_rates(t, state, after, context);
    state[j] = kept;
    for (size_t i = 0; i < n; i++) {
      matrix[i * n + j] = (after[i] - before[i]) / increment;
    }
    by_time[j] = 0.0;
  }
  return flag;
}

static double parabola_top(const double *t, const double *v) {
  double left = (v[1] - v[0]) / (t[1] - t[0]);
  double right = (v[2] - v[1]) / (t[2] - t[1]);
  double bend = (right - left) / (t[2] - t[0]);
  if (!(left > 0.0 && right < 0.0)) {
    return v[1];
  }
  double slope = left + bend * (t[1] - t[0]); /* at t[1] */
  return v[1] - 0.25 * slope * slope / bend;
}

static void observe(struct watch *watch, const struct scene *scene) {
  double signals[PLANT_SIGNAL_LIMIT];
  scene->plant->signals_at(scene->model, scene->mode, scene->time, scene->state, signals);
  if (watch->count == 3) {
    memmove(watch->time, watch->time + 1, 2 * sizeof *watch->time);
    for (int i = 0; i < WATCHED; i++) {
      memmove(watch->value[i], watch->value[i] + 1, 2 * sizeof *watch->value[i]);
    }
    watch->count = 2;
  }
  int place = watch->count++;
  watch->time[place] = scene->time;
  for (int i = 0; i < WATCHED; i++) {
    double value = watched_rows[i].sign * signals[watch->signal[i]];
    watch->value[i][place] = value;
    watch->best[i] = fmax(watch->best[i], value);
    if (watch->count == 3) {
      watch->best[i] = fmax(watch->best[i], parabola_top(watch->time, watch->value[i]));
    }
  }
}

static gsl_odeiv2_driver *new_driver(const gsl_odeiv2_system *system, const gsl_odeiv2_step_type *method,
                                     const struct scene *scene) {
  double scales[PLANT_STATE_LIMIT];
  double relative = scene->data.simulation.relative_tolerance;
  for (int i = 0; i < scene->count; i++) {
    scales[i] = scene->tolerances[i] / relative; /* the tool multiplies them by its absolute tolerance */
  }
  return gsl_odeiv2_driver_alloc_scaled_new(system, method, 1e-6, relative, relative, 1.0, 0.0, scales);
}

/* The whole case once. Returns false when the integrator gives up. */
static bool run(const gsl_odeiv2_step_type *method, struct problem *problem, struct watch *watch, long *steps) {
  struct scene *scene = problem->scene;
  gsl_odeiv2_system system = {call_rates, call_jacobian, (size_t)scene->count, problem};
  gsl_odeiv2_driver *driver = new_driver(&system, method, scene);
  scene_start(scene);
  scene_change(scene);
  problem->calls = 0;
  *steps = 0;
  bool good = driver != NULL;
  double step = 1e-6;
  while (good && scene->time < scene->end_time) {
    double t = scene->time;
    good = gsl_odeiv2_evolve_apply(driver->e, driver->c, driver->s, &system, &t, scene_stop(scene), &step,
                                   scene->state) == GSL_SUCCESS &&
           t > scene->time;
    scene->time = t;
    (*steps)++;
    if (watch != NULL) {
      observe(watch, scene);
    }
    if (scene_change(scene)) {
      gsl_odeiv2_driver_reset(driver);
      step = 1e-6;
      if (watch != NULL) {
        watch->count = 0;
      }
    }
  }
  if (driver != NULL) {
    gsl_odeiv2_driver_free(driver);
  }
  return good;
}

static const gsl_odeiv2_step_type *method_named(const char *name) {
  if (strcmp(name, "msbdf") == 0) {
    return gsl_odeiv2_step_msbdf;
  }
  if (strcmp(name, "rkf45") == 0) {
    return gsl_odeiv2_step_rkf45;
  }
  return strcmp(name, "rk8pd") == 0 ? gsl_odeiv2_step_rk8pd : NULL;
}

int main(int argument_count, char **arguments) {
  const char *sets[SET_LIMIT];
  int set_count = 0;
  int repeats = 3;
  const gsl_odeiv2_step_type *method = argument_count > 2 ? method_named(arguments[2]) : NULL;
  for (int i = 3; i + 1 < argument_count; i += 2) {
    if (strcmp(arguments[i], "--repeat") == 0) {
      repeats = (int)strtol(arguments[i + 1], NULL, 10);
    } else if (strcmp(arguments[i], "--set") == 0 && set_count < SET_LIMIT) {
      sets[set_count++] = arguments[i + 1];
    }
  }
  if (method == NULL || repeats < 1 || repeats > MOST_REPEATS) {
    fprintf(stderr, "usage: general CASE msbdf|rkf45|rk8pd [--repeat N] [--set PATH=VALUE]...\n");
    return 2;
  }
  struct scene scene;
  if (!scene_load(&scene, arguments[1], sets, set_count)) {
    return 2;
  }
  gsl_set_error_handler_off();
  struct problem problem = {&scene, 0};
  struct watch watch = {0};
  for (int i = 0; i < WATCHED; i++) {
    watch.signal[i] = registry_signal(scene.plant, watched_rows[i].signal);
    watch.best[i] = -HUGE_VAL;
  }
  double times[MOST_REPEATS];
  long steps = 0;
  observe(&watch, &scene);
  bool good = run(method, &problem, &watch, &steps);
  for (int i = 0; good && i < repeats; i++) {
    double began = cpu_seconds();
    good = run(method, &problem, NULL, &steps);
    times[i] = cpu_seconds() - began;
  }
  if (good) {
    printf("{\"seconds\": %.9g, \"steps\": %ld, \"rate_calls\": %ld, \"end_time\": %.12g", median(times, repeats),
           steps, problem.calls, scene.end_time);
    for (int i = 0; i < WATCHED; i++) {
      printf(", \"%s\": %.12g", watched_rows[i].measure, watched_rows[i].sign * watch.best[i]);
    }
    printf("}\n");
  } else {
    printf("{\"failed\": true, \"end_time\": %.12g}\n", scene.time);
  }
  scene_free(&scene);
  return 0;
}
