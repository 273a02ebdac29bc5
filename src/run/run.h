/* One case, start to end. The run owns the integrator; what it finds goes into an outcome, its time histories to a
 * recorder. No file, no printing. */
#ifndef SWASHLOOP_RUN_RUN_H
#define SWASHLOOP_RUN_RUN_H

#include <stdbool.h>

#include "case.h"
#include "error.h"
#include "measures.h"

/* Takes blocks of samples as they come. `values[signal]` points to `count` doubles. Returns false to stop the run
 * (output could not be written), with `error` filled. */
struct recorder {
  void *context;
  bool (*block)(void *context, int count, const double *time, const double *const *values, struct error *error);
};

/* Asked about every 50 ms of wall time. Returns false to interrupt the run. */
struct watcher {
  void *context;
  bool (*tick)(void *context, double time, double end_time);
  double budget; /* s of processor time that a run may take before it is interrupted; 0: any */
};

enum run_status { RUN_COMPLETE, RUN_STOPPED, RUN_FAILED, RUN_INTERRUPTED };
extern const char *const run_status_names[]; /* "complete", "stopped", "failed", "interrupted" */

struct run_event {
  double time;       /* s */
  char name[64];     /* of the event row, or "action", "limit", "end" */
  char message[200]; /* in words, values in trade units */
  int signal;        /* whose value is reported; -1 none */
  double value;      /* SI */
};

/* How often an event came: one that comes again and again is kept a number of times only (event_log.h). */
struct event_tally {
  const char *name;
  int kept;
  long left_out;
  double left_out_from;  /* s: the first that was */
  double left_out_until; /* s: the last but one */
  struct run_event last; /* left out so far; kept after all at the end */
};

enum { EVENT_TALLY_LIMIT = PLANT_EVENT_LIMIT + 8 };

/* What a limit of the case came to. Not judged: the run gives no evidence for or against it. */
enum limit_verdict { LIMIT_NOT_JUDGED, LIMIT_KEPT, LIMIT_BROKEN };
extern const char *const limit_verdict_names[]; /* "not judged", "kept", "broken" */

struct limit_finding {
  enum limit_verdict verdict;
  double first;  /* s, when it was first broken; NaN for a measure */
  double time;   /* s, when it was worst; NaN for a measure */
  double worst;  /* SI */
  char why[128]; /* it is not judged, or is broken without a value */
};

struct run_counts {
  long steps;
  long rate_calls;     /* right-hand sides, all causes */
  long jacobians;      /* how many of them */
  long jacobian_calls; /* right-hand sides spent on them */
  long factorizations; /* of the Newton matrix */
  long solves;         /* with it */
  long error_failures;
  long convergence_failures;
  long restarts;      /* re-initialisations at kinks and mode changes */
  double cpu_seconds; /* s */
};

struct ledger_entry {
  double energy;       /* J, whole run */
  double from_release; /* J, from the start of braking to the stop (or the end); NaN without one */
};

/* A leg of a course, or the dwell at its end: one phase. */
struct run_leg {
  int number;                        /* of the leg, from 1 */
  int repeat;                        /* of the course, from 1 */
  bool stands;                       /* the machine stands at the leg's end; else it drives there */
  bool done;                         /* it ended before the run did */
  double from;                       /* s */
  double until;                      /* s; NaN: under way */
  double place;                      /* m, where the leg ends */
  double began_at;                   /* m, where the machine was */
  double ended_at;                   /* m */
  double load;                       /* kg, on board at the end */
  int brake_uses;                    /* how often the driver took the service brake */
  double tank;                       /* K, oil in the tank at the end */
  double fuel;                       /* kg, burnt meanwhile; 0 where none is counted */
  double energy[PLANT_LEDGER_LIMIT]; /* J, of the ledger's rows that are integrated */
};

struct outcome {
  enum run_status status;
  struct error error;             /* when failed */
  double end_time;                /* s, reached */
  bool over_budget;               /* interrupted because the watcher's budget was spent */
  char stop_words[200];           /* what ended it, when stopped */
  char braking_words[64];         /* what braking began with; "" without braking */
  bool side_by_side;              /* it made its steps beside other runs (batch.h) */
  char doubt[120];                /* why its extremes are not vouched for (hunting.h); empty: they are */
  double measures[MEASURE_COUNT]; /* SI; NaN: absent says why */
  char absent[MEASURE_COUNT][96]; /* why a measure is NaN */
  struct ledger_entry ledger[PLANT_LEDGER_LIMIT];
  double energy_in;       /* J, sum of the positive parts of the sources */
  double energy_lost;     /* J */
  double energy_stored;   /* J, end minus start, from the state */
  double energy_residual; /* J, signed */
  bool has_heat;          /* the plant keeps the balance of heat in the oil: */
  double heat_made;       /* J, by losses */
  double heat_left;       /* J, to air, cooler, and with oil */
  double heat_stored;     /* J, end minus start */
  double heat_residual;   /* J, signed */
  bool has_fuel;          /* the plant counts its fuel: */
  double fuel_energy;     /* J, chemical, of the fuel burnt */
  double fuel_work;       /* J, work of combustion */
  double fuel_heat;       /* J, to exhaust, coolant and radiation */
  double fuel_residual;   /* J, signed */
  struct run_event *events;
  int event_count;
  int event_capacity;
  long events_left_out;
  struct event_tally tallies[EVENT_TALLY_LIMIT];
  int tally_count;
  struct limit_finding *limits; /* one a limit of the case, in order */
  int limit_count;              /* none before the run has ended */
  int broken_count;
  int unjudged_count;
  int limit_capacity;
  struct run_leg *legs; /* phases in order of time; none without a driver */
  int leg_count;
  int leg_capacity;
  long legs_left_out; /* past the largest number kept */
  struct run_counts counts;
};

/* Run `data`. `recorder` and `watcher` may be NULL. Returns false only when nothing could be started (memory, a
 * combination of laws that cannot be); a run that fails midway returns true with status failed and all it computed. */
bool run_case(const struct case_data *data, const struct recorder *recorder, const struct watcher *watcher,
              struct outcome *outcome, struct error *error);
void outcome_free(struct outcome *outcome);

/* The measure has this value. */
void outcome_give(struct outcome *outcome, int measure, double value);
/* The run has no such measure, and why. */
void outcome_lack(struct outcome *outcome, int measure, const char *why);

/* Derivatives of a run to parameters (tangent.h). Parameter i by two cases that differ from the run's in nothing else:
 * `up[i]` has it raised by step[i], `down[i]` lowered. */
struct sensitivity_request {
  int count;
  const struct case_data *up;
  const struct case_data *down;
  const double *steps;  /* SI */
  const double *scales; /* what counts as a change, SI */
  int signal_count;     /* histories wanted of the derivatives of these signals */
  const int *signals;
  /* Takes the derivatives at each output time: [parameter][signal], SI over SI. May be NULL. */
  void *context;
  bool (*sample)(void *context, double time, const double *derivatives, struct error *error);
};

struct sensitivity_result {
  double (*measures)[MEASURE_COUNT]; /* [parameter]; NaN where the run or a neighbour lacks the measure; to be freed */
  long moved;                        /* changes of mode whose time depends on a parameter */
  long unsure;         /* of these, that only touch or fall together: derivatives behind them are not to be trusted */
  double first_unsure; /* s */
};

/* run_case with derivatives. `result` as well is filled only when true is returned. */
bool run_sensitive(const struct case_data *data, const struct sensitivity_request *request,
                   const struct recorder *recorder, const struct watcher *watcher, struct outcome *outcome,
                   struct sensitivity_result *result, struct error *error);

/* What a run needs besides its case, made once for many runs, one after the other: solver, model and buffers. */
struct run_workspace;

/* For cases of `plant`. Without `event_log` no events are collected: nothing but the measures, the ledger and the
 * limits.
 */
struct run_workspace *run_workspace_new(const struct plant *plant, bool event_log, struct error *error);
void run_workspace_free(struct run_workspace *workspace);
/* From now on `observe` is called with every accepted step, before its samples are recorded; NULL: no call. */
struct view;
struct step;
typedef void run_observer(void *context, const struct view *view, const struct step *step);
void run_workspace_observe(struct run_workspace *workspace, run_observer *observe, void *context);
/* As run_case, to the same numbers bit by bit. `outcome` is all zero, or of an earlier run_in, whose memory is used
 * again; outcome_free it after the last. */
bool run_in(struct run_workspace *workspace, const struct case_data *data, const struct recorder *recorder,
            const struct watcher *watcher, struct outcome *outcome, struct error *error);

#endif
