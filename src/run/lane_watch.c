#include "lane_watch.h"

#include <math.h>
#include <string.h>

#include "lane_number.h"
#include "main_loop.h"
#include "side_by_side.h"

/* ---- which rows ---- */

static bool same_row(const struct watched_row *a, const struct watched_row *b) {
  return a->signal == b->signal && a->smallest == b->smallest && a->absolute == b->absolute && a->limit == b->limit;
}

/* Returns how many, or -1 where they are too many. A limit on what the laws do not have is never judged. */
static int list_rows(const struct run_workspace *run, struct watched_row *rows) {
  const struct metrics *metrics = &run->metrics;
  const struct case_data *data = run->view.data;
  int count = 0;
  for (int i = 0; i < metrics->extremum_count; i++) {
    const struct extremum *extremum = &metrics->extrema[i];
    rows[count++] = (struct watched_row){extremum->signal, extremum->sign < 0.0, extremum->absolute, -1};
  }
  for (int i = 0; i < data->limit_count; i++) {
    const struct limit_observer *observer = &metrics->limits.each[i];
    if (data->limits[i].keep.signal < 0 || observer->absent) {
      continue;
    }
    if (count == WATCHED_ROWS) {
      return -1;
    }
    rows[count++] = (struct watched_row){observer->worst.signal, observer->worst.sign < 0.0, false, i};
  }
  return count;
}

static bool same_rows(const struct lane_watch *watch, const struct watched_row *rows, int count) {
  bool same = count == watch->row_count;
  for (int i = 0; same && i < count; i++) {
    same = same_row(&rows[i], &watch->rows[i]);
  }
  return same;
}

static const struct extremum *extremum_of(const struct run_workspace *run, const struct watched_row *row, int i) {
  return row->limit < 0 ? &run->metrics.extrema[i] : &run->metrics.limits.each[row->limit].worst;
}

static struct extremum *own_extremum(struct run_workspace *run, const struct watched_row *row, int i) {
  return row->limit < 0 ? &run->metrics.extrema[i] : &run->metrics.limits.each[row->limit].worst;
}

static double upside_down(const struct watched_row *row, double value) {
  return row->smallest ? -value : value;
}

void lane_watch_clear(struct lane_watch *watch) {
  watch->row_count = 0;
  watch->followed_count = 0;
  memset(watch->is_followed, 0, sizeof watch->is_followed);
}

void lane_watch_join(struct lane_watch *watch, int lane, struct run_workspace *run, const bool *reads, bool can) {
  struct watched_row rows[WATCHED_ROWS];
  int count = list_rows(run, rows);
  if (watch->row_count == 0 && count > 0) {
    memcpy(watch->rows, rows, sizeof rows);
    watch->row_count = count;
    watch->timer_count = run->metrics.timer_count;
  }
  watch->run[lane] = run;
  watch->state_count = run->view.state_count;
  watch->stale[lane] = false;
  watch->is_alike[lane] = can && same_rows(watch, rows, count) && watch->timer_count == run->metrics.timer_count;
  for (int i = 0; i < watch->plant->signal_count; i++) {
    if (reads[i] && !watch->is_followed[i]) {
      watch->is_followed[i] = true;
      watch->followed[watch->followed_count++] = i;
    }
  }
}

/* ---- to and fro ---- */

static void put(lanes *rows, int count, int lane, const double *values) {
  for (int i = 0; i < count; i++) {
    rows[i][lane] = values[i];
  }
}

static void get(const lanes *rows, int count, int lane, double *values) {
  for (int i = 0; i < count; i++) {
    values[i] = rows[i][lane];
  }
}

static void take_rows(struct lane_watch *watch, int lane) {
  const struct run_workspace *run = watch->run[lane];
  for (int i = 0; i < watch->row_count; i++) {
    const struct watched_row *row = &watch->rows[i];
    const struct extremum *extremum = extremum_of(run, row, i);
    watch->height[i][lane] = extremum->seen ? upside_down(row, extremum->best) : -HUGE_VAL;
    watch->when[i][lane] = extremum->time;
    watch->from[i][lane] = isnan(extremum->from) ? HUGE_VAL : extremum->from;
    bool breaks = row->limit >= 0 && !run->metrics.limits.each[row->limit].broken;
    watch->level[i][lane] = breaks ? upside_down(row, run->view.data->limits[row->limit].keep.level) : HUGE_VAL;
  }
  for (int i = 0; i < watch->timer_count; i++) {
    const struct timer *timer = &run->metrics.timers[i];
    watch->timer_signals[i] = timer->signal;
    watch->timer_levels[i] = timer->level;
    watch->timer_above[i][lane] = timer->above ? -1 : 0;
  }
}

void lane_watch_take(struct lane_watch *watch, int lane) {
  const struct run_workspace *run = watch->run[lane];
  const struct sample *start = run->start;
  watch->time[LANE_START][lane] = start->time;
  put(watch->state, watch->state_count, lane, start->state);
  watch->stale[lane] = false;
  if (!watch->is_alike[lane]) {
    return;
  }
  for (int i = 0; i < watch->followed_count; i++) {
    watch->signals[LANE_START][watch->followed[i]][lane] = start->signals[watch->followed[i]];
  }
  put(watch->guards[LANE_START], watch->plant->guard_count, lane, start->guards);
  put(watch->powers[LANE_START], watch->plant->ledger_integrated, lane, start->powers);
  take_rows(watch, lane);
  integrator_integrals_to_lane(run->view.integrator, &watch->integrals, lane);
}

void lane_watch_give(struct lane_watch *watch, int lane) {
  struct run_workspace *run = watch->run[lane];
  if (!watch->stale[lane]) {
    return;
  }
  watch->stale[lane] = false;
  get(watch->state, watch->state_count, lane, run->start->state);
  for (int i = 0; i < watch->followed_count; i++) {
    run->start->signals[watch->followed[i]] = watch->signals[LANE_START][watch->followed[i]][lane];
  }
  get(watch->guards[LANE_START], watch->plant->guard_count, lane, run->start->guards);
  get(watch->powers[LANE_START], watch->plant->ledger_integrated, lane, run->start->powers);
  for (int i = 0; i < watch->row_count; i++) {
    struct extremum *extremum = own_extremum(run, &watch->rows[i], i);
    if (watch->height[i][lane] > -HUGE_VAL) {
      extremum->seen = true;
      extremum->best = upside_down(&watch->rows[i], watch->height[i][lane]);
      extremum->time = watch->when[i][lane];
    }
  }
  integrator_integrals_from_lane(run->view.integrator, &watch->integrals, lane);
  get(watch->integrals.integrals, watch->plant->ledger_integrated, lane, run->integrals);
}

/* ---- a step ---- */

/* In what follows lanes go one after the other in short loops, which the compiler makes vectors of: it makes none of
 * the comparisons of whole vectors in functions that are compiled for several processors. */
static const double *each(const lanes *row) {
  return (const double *)row;
}

static bool any_lane(const int64_t *set) {
  int64_t all = 0;
  for (int l = 0; l < LANES; l++) {
    all |= set[l];
  }
  return all != 0;
}

/* Leaves in `quiet` the lanes in which no guard has fallen and no timer turns. */
VECTORS static void look_at_guards(const struct lane_watch *watch, int64_t *quiet) {
  int64_t busy[LANES] = {0};
  for (int i = 0; i < watch->plant->guard_count; i++) {
    const double *start = each(&watch->guards[LANE_START][i]);
    const double *middle = each(&watch->guards[LANE_MIDDLE][i]);
    const double *end = each(&watch->guards[LANE_END][i]);
    for (int l = 0; l < LANES; l++) {
      busy[l] |= start[l] < 0.0 ? -1 : 0;
      busy[l] |= middle[l] < 0.0 ? -1 : 0;
      busy[l] |= end[l] < 0.0 ? -1 : 0;
    }
  }
  for (int i = 0; i < watch->timer_count; i++) {
    const double *middle = each(&watch->signals[LANE_MIDDLE][watch->timer_signals[i]]);
    const double *end = each(&watch->signals[LANE_END][watch->timer_signals[i]]);
    double level = watch->timer_levels[i];
    for (int l = 0; l < LANES; l++) {
      busy[l] |= watch->timer_above[i][l] ^ (middle[l] > level ? -1 : 0);
      busy[l] |= watch->timer_above[i][l] ^ (end[l] > level ? -1 : 0);
    }
  }
  for (int l = 0; l < LANES; l++) {
    quiet[l] &= ~busy[l];
  }
}

/* Heights of a row at start, middle and end of the steps. */
struct heights {
  double before[LANES];
  double middle[LANES];
  double after[LANES];
};

static inline __attribute__((always_inline)) void find_heights(const struct lane_watch *watch,
                                                               const struct watched_row *row, struct heights *to) {
  double sign = row->smallest ? -1.0 : 1.0;
  double other = row->absolute ? -sign : sign;
  const double *x = each(&watch->signals[LANE_START][row->signal]);
  const double *y = each(&watch->signals[LANE_MIDDLE][row->signal]);
  const double *z = each(&watch->signals[LANE_END][row->signal]);
  for (int l = 0; l < LANES; l++) {
    to->before[l] = larger(sign * x[l], other * x[l]);
    to->middle[l] = larger(sign * y[l], other * y[l]);
    to->after[l] = larger(sign * z[l], other * z[l]);
  }
}

/* What extremum_observe and limits_observe do with row i in the lanes in which it is `active`; `busy`: in which they
 * would do more than take a value that has been evaluated. */
static inline __attribute__((always_inline)) void grow(struct lane_watch *watch, int i, const struct heights *at,
                                                       const int64_t *active, int64_t *busy) {
  const double *start = each(&watch->time[LANE_START]);
  const double *half_way = each(&watch->time[LANE_MIDDLE]);
  const double *end = each(&watch->time[LANE_END]);
  const double *from = each(&watch->from[i]);
  const double *level = each(&watch->level[i]);
  const double *best = each(&watch->height[i]);
  const double *when = each(&watch->when[i]);
  double *next_height = (double *)&watch->next_height[i];
  double *next_when = (double *)&watch->next_when[i];
  for (int l = 0; l < LANES; l++) {
    double before = at->before[l];
    double middle = at->middle[l];
    double after = at->after[l];
    double height = best[l];
    double time = when[l];
    time = before > height ? start[l] : time;
    height = before > height ? before : height;
    time = middle > height ? half_way[l] : time;
    height = middle > height ? middle : height;
    time = after > height ? end[l] : time;
    height = after > height ? after : height;
    double rise = 0.5 * (after - before);
    double bend = before - 2.0 * middle + after;
    double peak = middle - 0.5 * rise * rise / bend;
    int64_t searched = bend < 0.0 ? -1 : 0;
    searched &= fabs(rise) < -EXTREMUM_BEYOND * bend ? -1 : 0;
    searched &= peak > height ? -1 : 0;
    int64_t breaks = height > level[l] ? -1 : 0;
    int64_t late = start[l] < from[l] ? -1 : 0;
    busy[l] |= active[l] & (searched | breaks | late);
    next_height[l] = active[l] != 0 ? height : best[l];
    next_when[l] = active[l] != 0 ? time : when[l];
  }
}

/* Extremes and limits, but for a search within the step, the first sight of one that is looked at from a later time on,
 * a limit that breaks, and what is no number: lanes in which there is any of that are not quiet. */
VECTORS static void look_at_extremes(struct lane_watch *watch, int64_t *quiet) {
  const double *end = each(&watch->time[LANE_END]);
  int64_t busy[LANES] = {0};
  for (int i = 0; i < watch->row_count; i++) {
    const double *best = each(&watch->height[i]);
    const double *from = each(&watch->from[i]);
    int64_t active[LANES];
    struct heights at;
    find_heights(watch, &watch->rows[i], &at);
    for (int l = 0; l < LANES; l++) { /* the bound of extremum_idle */
      double top = larger(larger(at.before[l], at.middle[l]), at.after[l]) + 0.5 * fabs(at.after[l] - at.before[l]);
      double sum = (at.before[l] + at.middle[l] + at.after[l]) * 0.0;
      active[l] = top <= best[l] ? 0 : -1;
      active[l] &= end[l] >= from[l] ? -1 : 0;
      busy[l] |= sum == 0.0 ? 0 : -1;
    }
    watch->grows[i] = any_lane(active);
    if (watch->grows[i]) {
      grow(watch, i, &at, active, busy);
    }
  }
  for (int l = 0; l < LANES; l++) {
    quiet[l] &= ~busy[l];
  }
}

static void three(const lanes rows[LANE_INSTANTS][PLANT_SIGNAL_LIMIT], int signal, int lane, double *values) {
  for (int i = 0; i < LANE_INSTANTS; i++) {
    values[i] = rows[i][signal][lane];
  }
}

/* A step of one lane as those observers see it that go lane by lane. */
struct lane_step {
  double times[LANE_INSTANTS];
  double speeds[LANE_INSTANTS];
  double pressures[LANE_INSTANTS];
};

static struct lane_step step_of(const struct lane_watch *watch, int lane) {
  const struct run_workspace *run = watch->run[lane];
  struct lane_step step = {{0.0}, {0.0}, {0.0}};
  for (int i = 0; i < LANE_INSTANTS; i++) {
    step.times[i] = watch->time[i][lane];
  }
  if (run->metrics.speed.there) {
    three(watch->signals, run->metrics.speed.index, lane, step.speeds);
  }
  if (run->hunting.pressure.there) {
    three(watch->signals, run->hunting.pressure.index, lane, step.pressures);
  }
  return step;
}

static bool action_fires(const struct lane_watch *watch, int lane) {
  const struct run_workspace *run = watch->run[lane];
  const struct case_data *data = run->view.data;
  for (int i = 0; i < data->action_count; i++) {
    for (int at = LANE_MIDDLE; at < LANE_INSTANTS && !run->fired[i]; at++) {
      if (main_loop_holds(&data->actions[i].when, watch->time[at][lane], (const double *)watch->signals[at] + lane,
                          LANES)) {
        return true;
      }
    }
  }
  return false;
}

VECTORS static void accept(struct lane_watch *watch, const int64_t *taken, const lanes *end) {
  for (int i = 0; i < watch->row_count; i++) {
    if (watch->grows[i]) {
      take_lanes(&watch->height[i], &watch->next_height[i], taken);
      take_lanes(&watch->when[i], &watch->next_when[i], taken);
    }
  }
  for (int i = 0; i < watch->state_count; i++) {
    take_lanes(&watch->state[i], &end[i], taken);
  }
  for (int i = 0; i < watch->followed_count; i++) {
    int signal = watch->followed[i];
    take_lanes(&watch->signals[LANE_START][signal], &watch->signals[LANE_END][signal], taken);
  }
  for (int i = 0; i < watch->plant->guard_count; i++) {
    take_lanes(&watch->guards[LANE_START][i], &watch->guards[LANE_END][i], taken);
  }
  for (int i = 0; i < watch->plant->ledger_integrated; i++) {
    take_lanes(&watch->powers[LANE_START][i], &watch->powers[LANE_END][i], taken);
  }
  take_lanes(&watch->time[LANE_START], &watch->time[LANE_END], taken);
}

void lane_watch_step(struct lane_watch *watch, const int64_t *stepped, const lanes *end, int64_t *taken) {
  struct lane_step steps[LANES];
  int64_t quiet[LANES];
  for (int i = 0; i < LANES; i++) {
    quiet[i] = watch->is_alike[i] && watch->time[LANE_END][i] < watch->stop[i] ? stepped[i] : 0;
  }
  look_at_guards(watch, quiet);
  look_at_extremes(watch, quiet);
  quadrature_lanes_try(&watch->integrals, &watch->time[LANE_END], watch->powers[LANE_MIDDLE], watch->powers[LANE_END],
                       quiet);
  for (int i = 0; i < LANES; i++) {
    if (quiet[i] != 0) {
      const struct run_workspace *run = watch->run[i];
      steps[i] = step_of(watch, i);
      bool idle = !action_fires(watch, i) && metrics_idle(&run->metrics, steps[i].times, steps[i].speeds) &&
                  hunting_idle(&run->hunting, &run->view, steps[i].times, steps[i].pressures);
      quiet[i] = idle ? -1 : 0;
    }
  }
  memcpy(taken, quiet, sizeof quiet);
  if (!any_lane(quiet)) {
    return;
  }
  quadrature_lanes_accept(&watch->integrals, quiet, &watch->time[LANE_END], watch->powers[LANE_MIDDLE],
                          watch->powers[LANE_END]);
  accept(watch, quiet, end);
  for (int i = 0; i < LANES; i++) {
    if (quiet[i] != 0) {
      struct run_workspace *run = watch->run[i];
      metrics_glide(&run->metrics, steps[i].times, steps[i].speeds);
      hunting_glide(&run->hunting, steps[i].times, steps[i].pressures);
      run->start->time = steps[i].times[LANE_END];
      watch->stale[i] = true;
    }
  }
}
