#include "keep_runs.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

enum { JOBS = 64 };

/* What the threads share; all but the order under the lock. */
struct shared {
  const struct keep_order *order;
  pthread_mutex_t lock;
  int next; /* the trial to be taken */
  int ended;
  bool stopped;
  struct error error;
};

void keep_judge(const struct outcome *outcome, int limit, struct keep_trial *trial) {
  if (outcome->status == RUN_FAILED || limit >= outcome->limit_count) {
    trial->verdict = LIMIT_NOT_JUDGED;
    trial->worst = NAN;
    trial->all_kept = false;
    (void)snprintf(trial->why, sizeof trial->why, "the run fails: %.110s", outcome->error.text);
    return;
  }
  const struct limit_finding *found = &outcome->limits[limit];
  trial->verdict = found->verdict;
  trial->worst = found->worst;
  trial->all_kept = outcome->broken_count == 0 && outcome->unjudged_count == 0;
  (void)snprintf(trial->why, sizeof trial->why, "%s", found->why);
}

/* A watcher's tick: the progress of all threads; false once they are to stop. */
static bool tick(void *context, double time, double end_time) {
  struct shared *shared = context;
  const struct keep_order *order = shared->order;
  bool goes_on = true;
  (void)time;
  (void)end_time;
  pthread_mutex_lock(&shared->lock);
  if (order->watcher != NULL && !shared->stopped) {
    double share = (double)shared->ended / order->count;
    goes_on = order->watcher->tick(order->watcher->context, order->done + share * (order->then - order->done), 1.0);
  }
  shared->stopped = shared->stopped || !goes_on;
  goes_on = !shared->stopped;
  pthread_mutex_unlock(&shared->lock);
  return goes_on;
}

/* The next trial, or NULL. */
static struct keep_trial *take(struct shared *shared) {
  pthread_mutex_lock(&shared->lock);
  bool more = !shared->stopped && shared->next < shared->order->count;
  struct keep_trial *trial = more ? &shared->order->trials[shared->next++] : NULL;
  pthread_mutex_unlock(&shared->lock);
  return trial;
}

static void finish(struct shared *shared, bool good, const struct error *error) {
  pthread_mutex_lock(&shared->lock);
  shared->ended++;
  if (!good && !shared->stopped) {
    shared->error = *error;
    shared->stopped = true;
  }
  pthread_mutex_unlock(&shared->lock);
}

static void *work(void *context) {
  struct shared *shared = context;
  const struct keep_order *order = shared->order;
  struct error error = {0};
  struct outcome outcome = {0};
  struct watcher watcher = {shared, tick, 0.0};
  struct run_workspace *workspace = run_workspace_new(order->data->plant, false, &error);
  if (workspace == NULL) {
    finish(shared, false, &error);
    return NULL;
  }
  for (struct keep_trial *trial = take(shared); trial != NULL; trial = take(shared)) {
    struct case_data copy;
    bool good = varied_parameter_put(order->data, order->varied, trial->value, &copy, &error);
    if (good) {
      struct error refused = {0};
      if (run_in(workspace, &copy, NULL, &watcher, &outcome, &refused)) {
        keep_judge(&outcome, order->limit, trial);
      } else { /* laws that cannot be with this number */
        *trial = (struct keep_trial){.value = trial->value, .worst = NAN, .verdict = LIMIT_NOT_JUDGED};
        (void)snprintf(trial->why, sizeof trial->why, "%.120s", refused.text);
      }
      case_free(&copy);
    }
    finish(shared, good, &error);
  }
  outcome_free(&outcome);
  run_workspace_free(workspace);
  return NULL;
}

bool keep_runs(const struct keep_order *order, struct error *error) {
  struct shared shared = {.order = order, .lock = PTHREAD_MUTEX_INITIALIZER};
  pthread_t threads[JOBS];
  int started = 0;
  int wanted = order->jobs < order->count ? order->jobs : order->count;
  while (started < wanted - 1 && started < JOBS && pthread_create(&threads[started], NULL, work, &shared) == 0) {
    started++;
  }
  work(&shared); /* this thread takes part */
  for (int i = 0; i < started; i++) {
    pthread_join(threads[i], NULL);
  }
  pthread_mutex_destroy(&shared.lock);
  if (shared.stopped) {
    *error = shared.error;
    return error->text[0] != '\0' ? false : error_set(error, ERROR_RUN, "interrupted");
  }
  return true;
}
