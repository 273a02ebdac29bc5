#include "cost_estimate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "batch.h"
#include "forecast.h"

enum { TRIES = 16, TRIES_SIDE_BY_SIDE = 4 * BATCH_LANES };

#define ENOUGH 2.0 /* s */

struct trial {
  const struct plan *plan;
  bool (*stop)(void);
  struct error *error;
  struct case_data own[BATCH_LANES];
  double began;
  int dealt;
  int ran;
};

static double wall_clock(void) {
  struct timespec now = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static bool put(struct trial *trial, int tries, struct case_data *own) {
  int64_t k = (int64_t)((double)trial->plan->cases * (trial->dealt + 0.5) / tries);
  trial->dealt++;
  return plan_put(trial->plan, k, own, trial->error);
}

static bool goes_on(const struct trial *trial, int tries) {
  return trial->dealt < tries && wall_clock() - trial->began < ENOUGH && !trial->stop();
}

/* Processor time of all that were tried, s. */
static double one_after_the_other(struct trial *trial, struct run_workspace *workspace) {
  struct outcome outcome = {0};
  struct forecast forecast;
  double seconds = 0.0;
  while (goes_on(trial, TRIES)) {
    double left = trial->began + ENOUGH - wall_clock();
    if (put(trial, TRIES, &trial->own[0]) &&
        forecast_run(workspace, &trial->own[0], left, trial->stop, &outcome, &forecast, trial->error) &&
        forecast.seconds > 0.0) {
      trial->ran++;
      seconds += forecast.seconds;
    }
  }
  outcome_free(&outcome);
  return seconds;
}

static const struct case_data *next(void *context, int place) {
  struct trial *trial = context;
  while (goes_on(trial, TRIES_SIDE_BY_SIDE)) {
    if (put(trial, TRIES_SIDE_BY_SIDE, &trial->own[place])) {
      return &trial->own[place];
    }
  }
  return NULL;
}

static void done(void *context, int place, bool ran, struct outcome *outcome, const struct error *error) {
  struct trial *trial = context;
  (void)place;
  (void)outcome;
  trial->ran += ran;
  if (!ran) {
    *trial->error = *error;
  }
}

double cost_estimate(const struct plan *plan, bool (*stop)(void), struct error *error) {
  struct trial *trial = calloc(1, sizeof *trial);
  if (trial == NULL) {
    error_set(error, ERROR_MEMORY, "out of memory for a trial");
    return NAN;
  }
  *trial = (struct trial){.plan = plan, .stop = stop, .error = error};
  bool side_by_side = batch_takes(&plan->base);
  struct run_workspace *workspace = side_by_side ? NULL : run_workspace_new(plan->base.plant, false, error);
  struct batch *batch = side_by_side ? batch_new(plan->base.plant, error) : NULL;
  bool good = workspace != NULL || batch != NULL;
  int copies = 0;
  while (good && copies < (side_by_side ? BATCH_LANES : 1)) {
    good = case_copy(&plan->base, &trial->own[copies], error);
    copies += good;
  }
  trial->began = wall_clock();
  double seconds = 0.0;
  if (good && side_by_side) {
    struct batch_cases cases = {trial, next, done};
    batch_run(batch, &cases, BATCH_LANES, NULL);
    seconds = wall_clock() - trial->began;
  } else if (good) {
    seconds = one_after_the_other(trial, workspace);
  }
  double mean = trial->ran > 0 ? seconds / trial->ran : NAN;
  for (int i = 0; i < copies; i++) {
    case_free(&trial->own[i]);
  }
  batch_free(batch);
  run_workspace_free(workspace);
  free(trial);
  return mean;
}
