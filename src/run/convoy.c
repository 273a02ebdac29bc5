#include "convoy.h"

#include <stdlib.h>
#include <string.h>

#include "course.h"
#include "rosenbrock.h"

/* Where a step is looked at. */
enum { MIDDLE, END, LOOKS };

struct place {
  struct run_workspace *run;
  struct outcome outcome;
  bool under_way;
  bool asks;    /* the last attempt was good: the course says what comes next */
  bool stepped; /* in this round */
  long starts;  /* as of the mode that lies in the lane */
  double stop;
  double seconds; /* its share of the processor's time */
};

struct convoy {
  const struct plant *plant;
  struct place places[CONVOY_PLACES];
  int under_way;
  double clock;                      /* processor's time up to which shares are given out */
  const struct plant_lanes *kernels; /* NULL: the plain ones, lane by lane */
  void *lane_model;
  void *lane_mode;
  struct sparsity *sparsity;
  struct rosenbrock_lanes method;
  /* What the method is given; arrays have a row a state. */
  lanes time;
  lanes width;
  lanes state[PLANT_STATE_LIMIT];
  lanes absolute[PLANT_STATE_LIMIT];
  lanes relative[PLANT_STATE_LIMIT];
  /* Looks at the middle and the end of the steps. */
  lanes look_time[LOOKS];
  lanes argument; /* of the middle, in the step's polynomial */
  lanes middle[PLANT_STATE_LIMIT];
  lanes powers[LOOKS][PLANT_LEDGER_LIMIT];
  lanes signals[LOOKS][PLANT_SIGNAL_LIMIT];
  lanes switches[LOOKS][PLANT_SWITCH_LIMIT];
  const struct convoy_cases *cases;
  const struct watcher *watcher;
};

/* ---- rates of all lanes ---- */

static void rates_one_by_one(void *context, const lanes *t, const lanes *state, lanes *rates) {
  const struct convoy *convoy = context;
  double own[PLANT_STATE_LIMIT];
  double found[PLANT_STATE_LIMIT];
  for (int place = 0; place < CONVOY_PLACES; place++) {
    if (!convoy->places[place].under_way) {
      continue;
    }
    const struct view *view = &convoy->places[place].run->view;
    for (int i = 0; i < view->state_count; i++) {
      own[i] = state[i][place];
    }
    convoy->plant->rates(view->model, view->mode, (*t)[place], own, found);
    for (int i = 0; i < view->state_count; i++) {
      rates[i][place] = found[i];
    }
  }
}

static void rates_of_all(void *context, const lanes *t, const lanes *state, lanes *rates) {
  const struct convoy *convoy = context;
  convoy->kernels->rates(convoy->lane_model, convoy->lane_mode, t, state, rates);
}

/* ---- who rides ---- */

/* The time gone since the last change of the company, in equal shares to those who were in it. */
static void share_time(struct convoy *convoy) {
  double now = course_clock(CLOCK_THREAD_CPUTIME_ID);
  for (int i = 0; i < CONVOY_PLACES; i++) {
    struct place *place = &convoy->places[i];
    if (place->under_way) {
      place->seconds += (now - convoy->clock) / convoy->under_way;
    }
  }
  convoy->clock = now;
}

static bool same_pattern(const struct sparsity *a, const struct sparsity *b) {
  return a->size == b->size && memcmp(a->pattern, b->pattern, (size_t)a->size * sizeof *a->pattern) == 0;
}

/* Make the method fit a system; only while nobody is under way. */
static bool refit(struct convoy *convoy, const struct sparsity *wanted, struct error *error) {
  rosenbrock_lanes_close(&convoy->method);
  sparsity_free(convoy->sparsity);
  convoy->sparsity = sparsity_new(wanted->size, wanted->pattern, error);
  convoy->method = (struct rosenbrock_lanes){.sparsity = convoy->sparsity,
                                             .rates_of = convoy->kernels != NULL ? rates_of_all : rates_one_by_one,
                                             .context = convoy};
  return convoy->sparsity != NULL && (rosenbrock_lanes_open(&convoy->method) ||
                                      error_set(error, ERROR_MEMORY, "out of memory for the runs side by side"));
}

/* An empty company takes any laws. */
static void disband(struct convoy *convoy) {
  if (convoy->kernels != NULL) {
    memset(convoy->lane_model, 0, convoy->kernels->model_size);
    memset(convoy->lane_mode, 0, convoy->kernels->mode_size);
  }
}

static bool may_ride(struct convoy *convoy, int i) {
  const struct view *view = &convoy->places[i].run->view;
  const struct sparsity *wanted = integrator_sparsity(view->integrator);
  struct error ignored;
  if (wanted == NULL) {
    return false;
  }
  if (convoy->under_way == 0) {
    disband(convoy);
  }
  if (convoy->sparsity == NULL || !same_pattern(convoy->sparsity, wanted)) {
    if (convoy->under_way > 0 || !refit(convoy, wanted, &ignored)) {
      return false;
    }
  }
  return convoy->kernels == NULL || convoy->kernels->load_model(convoy->lane_model, i, view->model) == NULL;
}

/* ---- a case from its start to its end ---- */

static void tell_done(struct convoy *convoy, int i, bool ran, const struct error *error) {
  convoy->cases->done(convoy->cases->context, i, ran, &convoy->places[i].outcome, error);
}

static void end_run(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  struct error error = {0};
  share_time(convoy);
  place->under_way = false;
  convoy->under_way--;
  tell_done(convoy, i, run_close(place->run, place->seconds, &error), &error);
}

static void run_alone(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  struct error error = {0};
  double stop;
  struct run_workspace *run = place->run;
  double began = course_clock(CLOCK_THREAD_CPUTIME_ID);
  for (bool going = course_open(run); going && course_wants(run, &stop);) {
    going = integrator_step(run->view.integrator, stop, &place->outcome.error);
    if (!going) {
      place->outcome.status = RUN_FAILED;
      break;
    }
    course_look(run);
    going = course_took(run);
  }
  double gone = course_clock(CLOCK_THREAD_CPUTIME_ID) - began;
  convoy->clock += gone;
  tell_done(convoy, i, run_close(run, gone, &error), &error);
}

/* Give the place a case that rides; false when there is none left. */
static bool fill(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  const struct case_data *data;
  share_time(convoy);
  while ((data = convoy->cases->next(convoy->cases->context, i)) != NULL) {
    struct error error = {0};
    if (!run_open(place->run, data, NULL, convoy->watcher, &place->outcome, &error)) {
      tell_done(convoy, i, false, &error);
    } else if (!may_ride(convoy, i)) {
      run_alone(convoy, i);
    } else {
      place->under_way = true;
      place->asks = true;
      place->starts = -1;
      place->seconds = 0.0;
      convoy->under_way++;
      if (course_open(place->run)) {
        return true;
      }
      end_run(convoy, i);
    }
  }
  return false;
}

/* ---- a round: an attempt in every lane ---- */

static void load_lane(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  struct integrator_aim aim;
  integrator_aim(place->run->view.integrator, place->stop, &aim);
  convoy->time[i] = aim.time;
  convoy->width[i] = aim.width;
  convoy->method.driven = convoy->method.driven || aim.driven;
  if (convoy->kernels != NULL && place->starts != aim.starts) {
    convoy->kernels->load_mode(convoy->lane_mode, i, place->run->view.mode);
  }
  place->starts = aim.starts;
  for (int row = 0; row < convoy->sparsity->size; row++) {
    convoy->state[row][i] = aim.state[row];
    convoy->absolute[row][i] = aim.absolute[row];
    convoy->relative[row][i] = aim.relative[row];
  }
}

/* A step is wanted in lane i, unless nobody is left to want one. */
static void make_ready(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  while (place->under_way && place->asks) {
    if (course_wants(place->run, &place->stop)) {
      place->asks = false;
    } else {
      end_run(convoy, i);
      (void)fill(convoy, i);
    }
  }
  if (place->under_way) {
    load_lane(convoy, i);
  }
}

static void leave(struct convoy *convoy, int i) {
  convoy->places[i].asks = true;
  end_run(convoy, i);
  (void)fill(convoy, i);
}

/* Was the attempt in lane i good? Then it is to be looked at. */
static void judge(struct convoy *convoy, int i) {
  struct place *place = &convoy->places[i];
  struct integrator *integrator = place->run->view.integrator;
  const struct rosenbrock_lanes *method = &convoy->method;
  const struct integrator_attempt attempt = {
      .error = method->error[i],
      .spread = LANES,
      .rates = (const double *)method->rates + i,
      .end = (const double *)method->end + i,
      .rows = {(const double *)method->rows[0] + i, (const double *)method->rows[1] + i,
               (const double *)method->rows[2] + i},
  };
  switch (integrator_judge(integrator, &attempt, &place->outcome.error)) {
  case INTEGRATOR_AGAIN:
    break;
  case INTEGRATOR_FAILED:
    place->outcome.status = RUN_FAILED;
    leave(convoy, i);
    break;
  case INTEGRATOR_STEPPED:
    place->stepped = true;
    convoy->look_time[END][i] = integrator_time(integrator);
    convoy->look_time[MIDDLE][i] = 0.5 * (place->run->start->time + convoy->look_time[END][i]);
    convoy->argument[i] = integrator_argument(integrator, convoy->look_time[MIDDLE][i]);
    break;
  }
}

static void look_at(struct convoy *convoy, int which, const lanes *state) {
  const struct lanes_look look = {convoy->powers[which], convoy->signals[which], NULL, convoy->switches[which]};
  convoy->kernels->look(convoy->lane_model, convoy->lane_mode, &convoy->look_time[which], state, &look);
}

/* The same sums as integrator_state_at makes. */
static void find_middle(struct convoy *convoy) {
  const struct rosenbrock_lanes *method = &convoy->method;
  for (int row = 0; row < convoy->sparsity->size; row++) {
    lanes value = method->rows[1][row] + convoy->argument * method->rows[0][row];
    value = method->rows[2][row] + convoy->argument * value;
    convoy->middle[row] = method->end[row] + convoy->argument * value;
  }
}

static void column(const lanes *rows, int count, int i, double *values) {
  for (int row = 0; row < count; row++) {
    values[row] = rows[row][i];
  }
}

static void take_moment(const struct convoy *convoy, int which, const lanes *state, int i, struct moment *moment) {
  const struct plant *plant = convoy->plant;
  moment->time = convoy->look_time[which][i];
  column(state, convoy->sparsity->size, i, moment->state);
  column(convoy->powers[which], plant->ledger_integrated, i, moment->powers);
  column(convoy->signals[which], plant->signal_count, i, moment->signals);
  column(convoy->switches[which], plant->switch_count, i, moment->switches);
}

/* Look at the steps made in this round, all lanes in one. */
static void look_at_steps(struct convoy *convoy) {
  if (convoy->kernels != NULL) {
    find_middle(convoy);
    look_at(convoy, MIDDLE, convoy->middle);
    look_at(convoy, END, convoy->method.end);
  }
  for (int i = 0; i < CONVOY_PLACES; i++) {
    struct place *place = &convoy->places[i];
    if (!place->stepped) {
      continue;
    }
    place->stepped = false;
    place->asks = true;
    if (convoy->kernels != NULL) {
      take_moment(convoy, MIDDLE, convoy->middle, i, place->run->middle);
      take_moment(convoy, END, convoy->method.end, i, place->run->end);
    } else {
      course_look(place->run);
    }
    if (!course_took(place->run)) {
      leave(convoy, i);
    }
  }
}

void convoy_run(struct convoy *convoy, const struct convoy_cases *cases, int places, const struct watcher *watcher) {
  convoy->cases = cases;
  convoy->watcher = watcher;
  convoy->clock = course_clock(CLOCK_THREAD_CPUTIME_ID);
  for (int i = 0; i < places && i < CONVOY_PLACES && fill(convoy, i); i++) {
  }
  while (convoy->under_way > 0) {
    convoy->method.driven = false;
    for (int i = 0; i < CONVOY_PLACES; i++) {
      make_ready(convoy, i);
    }
    if (convoy->under_way == 0) {
      break;
    }
    rosenbrock_lanes_try(&convoy->method, &convoy->time, &convoy->width, convoy->state, convoy->absolute,
                         convoy->relative);
    for (int i = 0; i < CONVOY_PLACES; i++) {
      if (convoy->places[i].under_way) {
        judge(convoy, i);
      }
    }
    look_at_steps(convoy);
  }
}

/* All zero, aligned for lanes. */
static void *lane_memory(size_t size) {
  size_t bytes = (size + 63) / 64 * 64;
  void *memory = aligned_alloc(64, bytes);
  if (memory != NULL) {
    memset(memory, 0, bytes);
  }
  return memory;
}

struct convoy *convoy_new(const struct plant *plant, struct error *error) {
  struct convoy *convoy = lane_memory(sizeof *convoy);
  if (convoy == NULL) {
    error_set(error, ERROR_MEMORY, "out of memory for the runs side by side");
    return NULL;
  }
  convoy->plant = plant;
  convoy->kernels = plant->lanes != NULL ? plant->lanes() : NULL;
  if (convoy->kernels != NULL) {
    convoy->lane_model = lane_memory(convoy->kernels->model_size);
    convoy->lane_mode = lane_memory(convoy->kernels->mode_size);
    if (convoy->lane_model == NULL || convoy->lane_mode == NULL) {
      convoy_free(convoy);
      error_set(error, ERROR_MEMORY, "out of memory for the runs side by side");
      return NULL;
    }
  }
  for (int i = 0; i < CONVOY_PLACES; i++) {
    convoy->places[i].run = run_workspace_new(plant, false, error);
    if (convoy->places[i].run == NULL) {
      convoy_free(convoy);
      return NULL;
    }
    convoy->places[i].run->side_by_side = true;
  }
  return convoy;
}

void convoy_free(struct convoy *convoy) {
  if (convoy == NULL) {
    return;
  }
  for (int i = 0; i < CONVOY_PLACES; i++) {
    run_workspace_free(convoy->places[i].run);
    outcome_free(&convoy->places[i].outcome);
  }
  rosenbrock_lanes_close(&convoy->method);
  sparsity_free(convoy->sparsity);
  free(convoy->lane_model);
  free(convoy->lane_mode);
  free(convoy);
}
