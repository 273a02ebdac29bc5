/* Everything of one run, shared by the files that make and drive it. Private to src/run. */
#ifndef SWASHLOOP_RUN_WORKSPACE_H
#define SWASHLOOP_RUN_WORKSPACE_H

#include <time.h>

#include "hunting.h"
#include "metrics.h"
#include "vector_evaluator.h"
#include "run.h"
#include "sample_buffer.h"
#include "event_log.h"
#include "tangent.h"
#include "view.h"

/* What is made once for many runs stands first. */
struct run_workspace {
  bool event_log;
  bool side_by_side; /* one of a batch, which makes its steps */
  int fired_capacity;
  struct view view;
  struct metrics metrics;
  struct hunting hunting;
  struct event_observer observer;
  struct outcome *outcome;
  struct tangent *tangent; /* NULL: no derivatives are asked for */
  const struct sensitivity_request *request;
  double *derivatives; /* of one sample */
  const struct recorder *recorder;
  const struct watcher *watcher;
  struct sample sample_memory[3];
  struct sample *start; /* of the present step: each one of the three, exchanged rather than copied */
  struct sample *middle;
  struct sample *end;
  double integrals[PLANT_LEDGER_LIMIT]; /* J */
  const char *state_names[PLANT_STATE_LIMIT];
  bool *fired;      /* actions that have fired */
  long next_sample; /* index on the output grid */
  struct vector_evaluator evaluator;
  struct sample_buffer buffer;
  double last_tick; /* s, wall clock */
  int steps_to_tick;
  bool stop_requested;
  bool shares_clock;   /* others run on this thread at once: who drives them says what it spends */
  double spent_before; /* s of this thread's processor time when the main loop began */
  double stop;         /* where the step that is wanted must end at the latest */
  double clock;        /* when the mode changes by the clock */
  int changes_here;
  double last_change;            /* s */
  double steps;                  /* so far */
  struct row_place leg_distance; /* signals that are read at the ends of legs */
  struct row_place leg_load;
  struct row_place leg_tank;
  struct row_place leg_fuel;
  run_observer *observe;
  void *observe_context;
};

/* run_in in its parts (run.c): what comes before the main loop and what comes after it. The first returns false, and
 * fills `error`, when the case cannot start. */
bool run_open(struct run_workspace *run, const struct case_data *data, const struct recorder *recorder,
              const struct watcher *watcher, struct outcome *outcome, struct error *error);
bool run_close(struct run_workspace *run, double cpu_seconds, struct error *error);

#endif
