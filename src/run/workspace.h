/* Everything of one run, shared by the files that make and drive it. Private to src/run. */
#ifndef SWASHLOOP_RUN_WORKSPACE_H
#define SWASHLOOP_RUN_WORKSPACE_H

#include <time.h>

#include "measurer.h"
#include "ride.h"
#include "run.h"
#include "samples.h"
#include "story.h"
#include "tangent.h"
#include "view.h"

/* What is made once for many runs stands first. */
struct run_workspace {
  bool story;
  bool side_by_side; /* one of a convoy, which makes its steps */
  int fired_capacity;
  struct view view;
  struct measurer measurer;
  struct event_watch watch;
  struct outcome *outcome;
  struct tangent *tangent; /* NULL: no derivatives are asked for */
  const struct sensitivity_request *request;
  double *derivatives; /* of one sample */
  const struct recorder *recorder;
  const struct watcher *watcher;
  struct moment moments[3];
  struct moment *start; /* of the present step: each one of the three, exchanged rather than copied */
  struct moment *middle;
  struct moment *end;
  double integrals[PLANT_LEDGER_LIMIT];
  const char *state_names[PLANT_STATE_LIMIT];
  bool *fired;      /* actions that have fired */
  long next_sample; /* index on the output grid */
  struct ride ride;
  struct samples samples;
  double last_tick;
  int steps_to_tick;
  bool told_to_stop;
  double stop;  /* where the step that is wanted must end at the latest */
  double clock; /* when the mode changes by the clock */
  int changes_here;
  double last_change;
  run_follower *follow;
  void *follow_context;
};

/* run_in in its parts (run.c): what comes before the course and what comes after it. The first returns false, and fills
 * `error`, when the case cannot start. */
bool run_open(struct run_workspace *run, const struct case_data *data, const struct recorder *recorder,
              const struct watcher *watcher, struct outcome *outcome, struct error *error);
bool run_close(struct run_workspace *run, double cpu_seconds, struct error *error);

#endif
