#include "batch.h"

#include <stdlib.h>
#include <string.h>

#include "aligned.h"
#include "main_loop.h"
#include "integrators.h"
#include "lane_watch.h"
#include "side_by_side.h"

/* So many cases of the same laws, and fewer, run by themselves: eight lanes cost about three plain runs. */
enum { FEW = 2 };

/* Between two looks at what lanes have spent. */
enum { ROUNDS_TO_CHARGE = 64 };

struct batch_lane {
  struct run_workspace *run;
  struct outcome outcome;
  bool under_way;
  bool waits; /* opened, for the lanes to be free of other laws */
  uint64_t laws;
  bool asks;    /* the last attempt was good: the main loop says what comes next */
  bool stepped; /* in this round */
  long starts;  /* as of the mode that lies in the lane */
  double stop;
  int followed[PLANT_SIGNAL_LIMIT]; /* signals that its observers and actions read */
  int followed_count;
  double seconds; /* its share of the processor's time */
};

struct batch {
  const struct plant *plant;
  struct batch_lane lane[BATCH_LANES];
  int under_way;
  long rounds;
  int waiting;
  double clock;                      /* processor's time up to which shares are given out */
  const struct plant_lanes *kernels; /* NULL: the plain ones, lane by lane */
  void *lane_model;
  void *lane_mode;
  struct sparsity *sparsity;
  const struct integrator_side_by_side *steps; /* how those under way make theirs */
  void *method;                                /* its memory */
  struct integrator_aims aims;
  struct integrator_attempts attempts;
  /* Tolerances, a row a state. */
  lanes absolute[PLANT_STATE_LIMIT];
  lanes relative[PLANT_STATE_LIMIT];
  lanes argument; /* of the steps' middles, in their polynomials */
  lanes middle[PLANT_STATE_LIMIT];
  struct lane_watch watch; /* of states, and of values at start, middle and end of the steps */
  const struct batch_cases *cases;
  const struct watcher *watcher;
};

/* ---- rates of all lanes ---- */

static void rates_one_by_one(void *context, const lanes *t, const lanes *state, lanes *rates) {
  const struct batch *batch = context;
  double own[PLANT_STATE_LIMIT];
  double found[PLANT_STATE_LIMIT];
  for (int lane = 0; lane < BATCH_LANES; lane++) {
    if (!batch->lane[lane].under_way) {
      continue;
    }
    const struct view *view = &batch->lane[lane].run->view;
    for (int i = 0; i < view->state_count; i++) {
      own[i] = state[i][lane];
    }
    batch->plant->rates(view->model, view->mode, (*t)[lane], own, found);
    for (int i = 0; i < view->state_count; i++) {
      rates[i][lane] = found[i];
    }
  }
}

static void rates_of_all(void *context, const lanes *t, const lanes *state, lanes *rates) {
  const struct batch *batch = context;
  batch->kernels->rates(batch->lane_model, batch->lane_mode, t, state, rates);
}

/* ---- which case joins ---- */

/* The time gone since a lane was last filled or emptied, in equal shares to the lanes in use. */
static void share_time(struct batch *batch) {
  double now = main_loop_clock(CLOCK_THREAD_CPUTIME_ID);
  for (int i = 0; i < BATCH_LANES; i++) {
    struct batch_lane *lane = &batch->lane[i];
    if (lane->under_way) {
      lane->seconds += (now - batch->clock) / batch->under_way;
    }
  }
  batch->clock = now;
}

static bool same_pattern(const struct sparsity *a, const struct sparsity *b) {
  return a->size == b->size && memcmp(a->pattern, b->pattern, (size_t)a->size * sizeof *a->pattern) == 0;
}

static void close_method(struct batch *batch) {
  if (batch->steps != NULL) {
    batch->steps->close(batch->method);
  }
  sparsity_free(batch->sparsity);
  batch->steps = NULL;
  batch->method = NULL;
  batch->sparsity = NULL;
}

/* Make the method fit a system; only while nobody is under way. False without memory. */
static bool refit(struct batch *batch, const struct integrator_side_by_side *steps, const struct sparsity *wanted) {
  close_method(batch);
  batch->sparsity = sparsity_new(wanted->size, wanted->pattern, NULL);
  if (batch->sparsity != NULL) {
    batch->steps = steps;
    batch->method = steps->open(batch->sparsity, batch->kernels != NULL ? rates_of_all : rates_one_by_one, batch);
  }
  if (batch->method == NULL) {
    close_method(batch);
  }
  return batch->method != NULL;
}

/* An empty batch takes any laws. */
static void clear_lanes(struct batch *batch) {
  lane_watch_clear(&batch->watch);
  if (batch->kernels != NULL) {
    memset(batch->lane_model, 0, batch->kernels->model_size);
    memset(batch->lane_mode, 0, batch->kernels->mode_size);
  }
}

/* Where its steps can be made beside others: may this case join those under way? */
static bool may_join(struct batch *batch, int i) {
  const struct view *view = &batch->lane[i].run->view;
  const struct sparsity *wanted = integrator_sparsity(view->integrator);
  const struct integrator_side_by_side *steps = integrator_side_by_side(view->integrator);
  if (batch->under_way == 0) {
    clear_lanes(batch);
  }
  if (batch->steps != steps || !same_pattern(batch->sparsity, wanted)) {
    if (batch->under_way > 0 || !refit(batch, steps, wanted)) {
      return false;
    }
  }
  return batch->kernels == NULL || batch->kernels->load_model(batch->lane_model, i, view->model) == NULL;
}

/* ---- a case from its start to its end ---- */

static void tell_done(struct batch *batch, int i, bool ran, const struct error *error) {
  batch->cases->done(batch->cases->context, i, ran, &batch->lane[i].outcome, error);
}

static void end_run(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  struct error error = {0};
  share_time(batch);
  lane_watch_give(&batch->watch, i);
  lane->under_way = false;
  batch->under_way--;
  lane->outcome.side_by_side = true;
  tell_done(batch, i, run_close(lane->run, lane->seconds, &error), &error);
}

static void run_alone(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  struct error error = {0};
  double stop;
  struct run_workspace *run = lane->run;
  run->shares_clock = false;
  double began = main_loop_clock(CLOCK_THREAD_CPUTIME_ID);
  for (bool going = main_loop_begin(run); going && main_loop_next_stop(run, &stop);) {
    going = integrator_step(run->view.integrator, stop, &lane->outcome.error);
    if (!going) {
      lane->outcome.status = RUN_FAILED;
      break;
    }
    main_loop_evaluate(run);
    going = main_loop_accept(run);
  }
  double gone = main_loop_clock(CLOCK_THREAD_CPUTIME_ID) - began;
  batch->clock += gone;
  tell_done(batch, i, run_close(run, gone, &error), &error);
}

/* What observers and actions of the lane's run read. */
static void list_followed(struct batch_lane *lane, bool *needed) {
  const struct view *view = &lane->run->view;
  metrics_follow(&lane->run->metrics, view, needed);
  hunting_follow(&lane->run->hunting, needed);
  for (int i = 0; i < view->data->action_count; i++) {
    int signal = view->data->actions[i].when.signal;
    if (signal >= 0) {
      needed[signal] = true;
    }
  }
  lane->followed_count = 0;
  for (int i = 0; i < view->plant->signal_count; i++) {
    if (needed[i]) {
      lane->followed[lane->followed_count++] = i;
    }
  }
}

/* The case opened in the lane begins beside the others; false when it ends at once. */
static bool begin_beside(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  lane->under_way = true;
  lane->asks = true;
  lane->starts = -1;
  lane->seconds = 0.0;
  lane->run->shares_clock = true;
  batch->under_way++;
  bool reads[PLANT_SIGNAL_LIMIT] = {false};
  list_followed(lane, reads);
  lane_watch_join(&batch->watch, i, lane->run, reads, batch->kernels != NULL);
  if (main_loop_begin(lane->run)) {
    return true;
  }
  end_run(batch, i);
  return false;
}

/* Give the lane a case that can run side by side; one of other laws than those under way waits in it. False when none
 * is under way in the lane. */
static bool fill(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  const struct case_data *data;
  share_time(batch);
  while ((data = batch->cases->next(batch->cases->context, i)) != NULL) {
    struct error error = {0};
    if (!run_open(lane->run, data, NULL, batch->watcher, &lane->outcome, &error)) {
      tell_done(batch, i, false, &error);
    } else if (integrator_side_by_side(lane->run->view.integrator) == NULL) {
      run_alone(batch, i);
    } else if ((batch->under_way == 0 && batch->waiting > 0) || !may_join(batch, i)) {
      lane->waits = true;
      lane->laws = batch_laws(data);
      batch->waiting++;
      return false;
    } else if (begin_beside(batch, i)) {
      return true;
    }
  }
  return false;
}

static bool waits_with(const struct batch *batch, int i, uint64_t laws) {
  return batch->lane[i].waits && batch->lane[i].laws == laws;
}

/* Nobody is under way: those that wait for the same laws begin, the laws of the first that waits. */
static void begin_waiting(struct batch *batch) {
  uint64_t laws = 0;
  int count = 0;
  for (int i = BATCH_LANES - 1; i >= 0; i--) {
    laws = batch->lane[i].waits ? batch->lane[i].laws : laws;
  }
  for (int i = 0; i < BATCH_LANES; i++) {
    count += waits_with(batch, i, laws);
  }
  for (int i = 0; i < BATCH_LANES; i++) {
    if (!waits_with(batch, i, laws)) {
      continue;
    }
    bool joins = count > FEW && may_join(batch, i);
    if (joins || count <= FEW || batch->under_way == 0) {
      batch->lane[i].waits = false;
      batch->waiting--;
    }
    if (joins) {
      (void)begin_beside(batch, i);
    } else if (!batch->lane[i].waits) {
      run_alone(batch, i);
    }
  }
}

/* ---- a round: an attempt in every lane ---- */

static void load_lane(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  struct integrator_aim aim;
  batch->steps->aim(lane->run->view.integrator, lane->stop, &aim);
  batch->aims.time[i] = aim.time;
  batch->aims.width[i] = aim.width;
  batch->aims.time_dependent = batch->aims.time_dependent || aim.time_dependent;
  if (batch->kernels != NULL && lane->starts != aim.starts) {
    batch->kernels->load_mode(batch->lane_mode, i, lane->run->view.mode);
  }
  if (lane->starts < 0) {
    for (int row = 0; row < batch->sparsity->size; row++) {
      batch->absolute[row][i] = aim.absolute[row];
      batch->relative[row][i] = aim.relative[row];
    }
  }
  lane->starts = aim.starts;
}

/* Does the run go on, and up to where? */
static bool goes_on(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  if (batch->watch.stale[i] && main_loop_keeps_stop(lane->run)) {
    return true;
  }
  lane_watch_give(&batch->watch, i);
  if (!main_loop_next_stop(lane->run, &lane->stop)) {
    return false;
  }
  batch->watch.stop[i] = lane->stop;
  lane_watch_take(&batch->watch, i);
  return true;
}

/* A step is wanted in lane i, unless nobody is left to want one. */
static void make_ready(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  while (lane->under_way && lane->asks) {
    if (goes_on(batch, i)) {
      lane->asks = false;
    } else {
      end_run(batch, i);
      (void)fill(batch, i);
    }
  }
  if (lane->under_way) {
    load_lane(batch, i);
  }
}

static void leave(struct batch *batch, int i) {
  batch->lane[i].asks = true;
  end_run(batch, i);
  (void)fill(batch, i);
}

/* Was the attempt in lane i good? Then it is to be evaluated. */
static void judge_attempt(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  struct integrator *integrator = lane->run->view.integrator;
  switch (batch->steps->judge(integrator, &batch->attempts, i, &lane->outcome.error)) {
  case INTEGRATOR_AGAIN:
    break;
  case INTEGRATOR_FAILED:
    lane->outcome.status = RUN_FAILED;
    leave(batch, i);
    break;
  case INTEGRATOR_STEPPED:
    lane->stepped = true;
    lanes *time = batch->watch.time;
    time[LANE_END][i] = integrator_time(integrator);
    time[LANE_MIDDLE][i] = 0.5 * (lane->run->start->time + time[LANE_END][i]);
    batch->argument[i] = integrator_argument(integrator, time[LANE_MIDDLE][i]);
    break;
  }
}

static void evaluate_at(struct batch *batch, enum lane_instant which, const lanes *state) {
  struct lane_watch *watch = &batch->watch;
  const struct lanes_evaluation evaluation = {watch->powers[which], watch->signals[which], NULL, watch->guards[which]};
  batch->kernels->evaluate(batch->lane_model, batch->lane_mode, &watch->time[which], state, &evaluation);
}

/* The same sums as integrator_state_at makes. */
static void find_middle(struct batch *batch) {
  const struct integrator_attempts *made = &batch->attempts;
  for (int row = 0; row < batch->sparsity->size; row++) {
    lanes value = made->rows[0][row];
    for (int k = 1; k < made->row_count; k++) {
      value = made->rows[k][row] + batch->argument * value;
    }
    batch->middle[row] = made->end[row] + batch->argument * value;
  }
}

static void column(const lanes *rows, int count, int i, double *values) {
  for (int row = 0; row < count; row++) {
    values[row] = rows[row][i];
  }
}

/* Of the signals those that are followed; the others are what they were. */
static void take_sample(const struct batch *batch, enum lane_instant which, const lanes *state, int i,
                        struct sample *sample) {
  const struct plant *plant = batch->plant;
  const struct batch_lane *lane = &batch->lane[i];
  const struct lane_watch *watch = &batch->watch;
  sample->time = watch->time[which][i];
  column(state, batch->sparsity->size, i, sample->state);
  column(watch->powers[which], plant->ledger_integrated, i, sample->powers);
  for (int k = 0; k < lane->followed_count; k++) {
    sample->signals[lane->followed[k]] = watch->signals[which][lane->followed[k]][i];
  }
  column(watch->guards[which], plant->guard_count, i, sample->guards);
}

/* Something happens in the step of lane i: the main loop sees to it. */
static void accept_alone(struct batch *batch, int i) {
  struct batch_lane *lane = &batch->lane[i];
  lane_watch_give(&batch->watch, i);
  batch->steps->take(lane->run->view.integrator, &batch->attempts, i);
  if (batch->kernels != NULL) {
    take_sample(batch, LANE_MIDDLE, batch->middle, i, lane->run->middle);
    take_sample(batch, LANE_END, batch->attempts.end, i, lane->run->end);
  } else {
    main_loop_evaluate(lane->run);
  }
  if (!main_loop_accept(lane->run)) {
    leave(batch, i);
  }
}

/* Evaluate the steps made in this round, all lanes at once, and take them. */
static void evaluate_steps(struct batch *batch) {
  int64_t stepped[BATCH_LANES];
  int64_t taken[BATCH_LANES] = {0};
  for (int i = 0; i < BATCH_LANES; i++) {
    stepped[i] = batch->lane[i].stepped ? -1 : 0;
  }
  if (batch->kernels != NULL) {
    find_middle(batch);
    evaluate_at(batch, LANE_MIDDLE, batch->middle);
    evaluate_at(batch, LANE_END, batch->attempts.end);
    lane_watch_step(&batch->watch, stepped, batch->attempts.end, taken);
  }
  for (int i = 0; i < BATCH_LANES; i++) {
    if (stepped[i] != 0) {
      batch->lane[i].stepped = false;
      batch->lane[i].asks = true;
    }
    if (stepped[i] != 0 && taken[i] == 0) {
      accept_alone(batch, i);
    }
  }
}

/* Now and then: what each lane has spent, against its budget. */
static void charge_lanes(struct batch *batch) {
  if (batch->watcher == NULL || batch->watcher->budget <= 0.0 || ++batch->rounds % ROUNDS_TO_CHARGE != 0) {
    return;
  }
  share_time(batch);
  for (int i = 0; i < BATCH_LANES; i++) {
    if (batch->lane[i].under_way) {
      main_loop_spend(batch->lane[i].run, batch->lane[i].seconds);
    }
  }
}

/* All those under way to their ends, and those that join them. */
static void run_those(struct batch *batch) {
  while (batch->under_way > 0) {
    batch->aims.time_dependent = false;
    for (int i = 0; i < BATCH_LANES; i++) {
      make_ready(batch, i);
    }
    if (batch->under_way == 0) {
      break;
    }
    batch->steps->attempt(batch->method, &batch->aims, &batch->attempts);
    for (int i = 0; i < BATCH_LANES; i++) {
      if (batch->lane[i].under_way) {
        judge_attempt(batch, i);
      }
    }
    evaluate_steps(batch);
    charge_lanes(batch);
  }
}

void batch_run(struct batch *batch, const struct batch_cases *cases, int lane_count, const struct watcher *watcher) {
  batch->cases = cases;
  batch->watcher = watcher;
  batch->clock = main_loop_clock(CLOCK_THREAD_CPUTIME_ID);
  do {
    begin_waiting(batch);
    for (int i = 0; i < lane_count && i < BATCH_LANES; i++) {
      if (!batch->lane[i].under_way && !batch->lane[i].waits) {
        (void)fill(batch, i);
      }
    }
    run_those(batch);
  } while (batch->waiting > 0);
}

uint64_t batch_laws(const struct case_data *data) {
  const struct plant_lanes *kernels = data->plant->lanes != NULL ? data->plant->lanes() : NULL;
  return kernels != NULL ? kernels->laws(data->parameters) : 0;
}

bool batch_takes(const struct case_data *data) {
  const struct integrator_method *method = integrator_listed(data->simulation.method);
  return method != NULL && integrator_goes_side_by_side(method);
}

struct batch *batch_new(const struct plant *plant, struct error *error) {
  struct batch *batch = aligned_zeros(sizeof *batch);
  if (batch == NULL) {
    error_set(error, ERROR_MEMORY, "out of memory for the runs side by side");
    return NULL;
  }
  batch->plant = plant;
  batch->watch.plant = plant;
  batch->aims.state = batch->watch.state;
  batch->aims.absolute = batch->absolute;
  batch->aims.relative = batch->relative;
  batch->kernels = plant->lanes != NULL ? plant->lanes() : NULL;
  if (batch->kernels != NULL) {
    batch->lane_model = aligned_zeros(batch->kernels->model_size);
    batch->lane_mode = aligned_zeros(batch->kernels->mode_size);
    if (batch->lane_model == NULL || batch->lane_mode == NULL) {
      batch_free(batch);
      error_set(error, ERROR_MEMORY, "out of memory for the runs side by side");
      return NULL;
    }
  }
  for (int i = 0; i < BATCH_LANES; i++) {
    batch->lane[i].run = run_workspace_new(plant, false, error);
    if (batch->lane[i].run == NULL) {
      batch_free(batch);
      return NULL;
    }
    batch->lane[i].run->side_by_side = true;
  }
  return batch;
}

void batch_free(struct batch *batch) {
  if (batch == NULL) {
    return;
  }
  for (int i = 0; i < BATCH_LANES; i++) {
    run_workspace_free(batch->lane[i].run);
    outcome_free(&batch->lane[i].outcome);
  }
  close_method(batch);
  free(batch->lane_model);
  free(batch->lane_mode);
  free(batch);
}
