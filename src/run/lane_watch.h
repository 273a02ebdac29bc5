/* What is watched of the runs of a batch, all lanes at once: guards, extremes, limits, timers and integrals of each
 * step by what it is at its start, middle and end. A step in which nothing happens but that extremes and integrals grow
 * is taken here; the others by the run's own main loop, whose numbers are the same to the last bit. So what a run knows
 * of itself lies either in its workspace or, `stale`, in the lanes. */
#ifndef SWASHLOOP_RUN_LANE_WATCH_H
#define SWASHLOOP_RUN_LANE_WATCH_H

#include "quadrature_lanes.h"
#include "workspace.h"

enum lane_instant { LANE_START, LANE_MIDDLE, LANE_END, LANE_INSTANTS };

enum { WATCHED_LIMITS = 40, WATCHED_ROWS = METRICS_EXTREMA + WATCHED_LIMITS };

/* An extreme that a measure or a limit goes by: the same in all lanes. */
struct watched_row {
  int signal;
  bool smallest; /* the lowest value, else the highest */
  bool absolute;
  int limit; /* of the case; -1: a measure */
};

struct lane_watch {
  const struct plant *plant;
  struct run_workspace *run[LANES];
  int state_count;
  /* At start, middle and end of the steps; at the start of signals those that are followed. */
  lanes time[LANE_INSTANTS];
  lanes state[PLANT_STATE_LIMIT]; /* at the start */
  lanes powers[LANE_INSTANTS][PLANT_LEDGER_LIMIT];
  lanes signals[LANE_INSTANTS][PLANT_SIGNAL_LIMIT];
  lanes guards[LANE_INSTANTS][PLANT_GUARD_LIMIT];
  lanes stop; /* s: where the steps must end at the latest */
  bool is_followed[PLANT_SIGNAL_LIMIT];
  int followed[PLANT_SIGNAL_LIMIT]; /* in any lane */
  int followed_count;
  struct watched_row rows[WATCHED_ROWS];
  int row_count;
  /* Of each row: how far it has come (upside down of the smallest; below all numbers before anything is seen), when,
   * and from when on it is looked at. */
  lanes height[WATCHED_ROWS];
  lanes when[WATCHED_ROWS];
  lanes from[WATCHED_ROWS];
  lanes
      level[WATCHED_ROWS]; /* of a limit, upside down likewise; above all numbers of a measure, or when it is broken */
  lanes next_height[WATCHED_ROWS]; /* if the step is taken */
  lanes next_when[WATCHED_ROWS];
  bool grows[WATCHED_ROWS]; /* in any lane */
  int timer_count;
  int timer_signals[METRICS_TIMERS];
  double timer_levels[METRICS_TIMERS];
  int64_t timer_above[METRICS_TIMERS][LANES]; /* all bits or none */
  struct quadrature_lanes integrals;
  bool is_alike[LANES]; /* its rows are those of the others */
  bool stale[LANES];
};

/* Nobody is under way: whoever comes next says what is watched. */
void lane_watch_clear(struct lane_watch *watch);
/* A run joins, whose observers are ready, and which reads these signals. `can`: it may be watched here. */
void lane_watch_join(struct lane_watch *watch, int lane, struct run_workspace *run, const bool *reads, bool can);
/* What the run knows into the lanes; and back, where its workspace is stale. */
void lane_watch_take(struct lane_watch *watch, int lane);
void lane_watch_give(struct lane_watch *watch, int lane);
/* Steps have been made, and evaluated, in these lanes (all bits or none, one a lane); `end`: states where they end.
 * Takes those in which nothing happens, and says which. */
void lane_watch_step(struct lane_watch *watch, const int64_t *stepped, const lanes *end, int64_t *taken);

#endif
