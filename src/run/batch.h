/* Runs side by side: up to eight cases of one plant, each in a lane of its own, stepped together by a method that
 * can (side_by_side.h). Each has its own time, step, error control and events; a lane whose run has ended is given the
 * next case. What comes of a case does not depend on its lane, on its neighbours or on when it came: it is what a run
 * by itself gives, to the last bit. A case of other laws than those under way waits until their lanes are empty: it is
 * well to give cases of the same laws one after the other. Very few of the same laws, and a case by another method, run
 * by themselves. */
#ifndef SWASHLOOP_RUN_BATCH_H
#define SWASHLOOP_RUN_BATCH_H

#include "plant_lanes.h"
#include "run.h"

enum { BATCH_LANES = LANES };

/* Where the cases come from, and who is told when one has ended. */
struct batch_cases {
  void *context;
  /* The next case, which stays as it is until it is done; NULL: there is none. */
  const struct case_data *(*next)(void *context, int lane);
  /* The case in this lane has ended. `ran` false: it could not even start, and `error` says why. */
  void (*done)(void *context, int lane, bool ran, struct outcome *outcome, const struct error *error);
};

struct batch;

/* Is the case's method one that makes steps side by side? */
bool batch_takes(const struct case_data *data);

/* A number that is the same for cases that may run side by side, and hardly ever for others. */
uint64_t batch_laws(const struct case_data *data);

/* NULL without memory. */
struct batch *batch_new(const struct plant *plant, struct error *error);
void batch_free(struct batch *batch);
/* Run all the cases there are; at most `lane_count` at once. `watcher` is asked for each run. */
void batch_run(struct batch *batch, const struct batch_cases *cases, int lane_count, const struct watcher *watcher);

#endif
