#include "tangent.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "steady_start.h"

_Static_assert((int)TANGENT_PARAMETERS <= (int)INTEGRATOR_PARAMETERS, "the integrator takes every parameter");

/* Change of states along a derivative: by the stated tolerances of the plant's rows, whatever those of the run; small
 * against what a stop or a seat yields, large against rounding. */
#define ALONG_SHARE 1e-7
#define ALONG_TOLERANCE 0.1
enum { KINKS_AT_ONCE = 64 /* of one clock, passed together; each channel has few */ };

/* A crossing only touches when the small step of the parameter moves it by more than this share of the run. */
#define TOUCHES 1e-3
#define CROSSES 1e-7 /* a condition is met by crossing, not by a jump, when it holds by no more than this share */
#define SAME_TIME 1e-12

/* One of the two neighbours of a parameter. */
struct neighbour {
  struct view view;
  struct metrics metrics;
  struct sample start; /* of the present step */
  double sign;
};

struct parameter_tangent {
  struct neighbour sides[2]; /* raised, lowered */
  double step;
  double state[PLANT_STATE_LIMIT]; /* derivative, while a change is under way */
  double integral[PLANT_LEDGER_LIMIT];
  double moved;   /* d(time)/dp of the change under way */
  double release; /* of the start of braking */
};

struct tangent {
  const struct sensitivity_request *request;
  const struct view *view; /* of the run */
  struct parameter_tangent *parameters;
  double tolerances[PLANT_STATE_LIMIT]; /* of the states, as their rows state them */
  double rates_before[PLANT_STATE_LIMIT];
  double powers_before[PLANT_LEDGER_LIMIT];
  double state_before[PLANT_STATE_LIMIT];
  double last_change; /* s */
  long moved;
  long unsure;
  double first_unsure;
  bool open; /* a change is under way: the derivatives are those at moving moments */
};

struct tangent *tangent_new(const struct plant *plant, const struct sensitivity_request *request, struct error *error) {
  struct tangent *tangent = calloc(1, sizeof *tangent);
  bool good = tangent != NULL;
  if (good) {
    tangent->request = request;
    tangent->last_change = -1.0;
    tangent->first_unsure = NAN;
    tangent->parameters = calloc((size_t)request->count + 1, sizeof *tangent->parameters);
    good = tangent->parameters != NULL;
  }
  for (int i = 0; good && i < request->count; i++) {
    tangent->parameters[i].step = request->steps[i];
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &tangent->parameters[i].sides[side];
      neighbour->sign = side == 0 ? 1.0 : -1.0;
      neighbour->view.plant = plant;
      neighbour->view.data = side == 0 ? &request->up[i] : &request->down[i];
      neighbour->view.model = calloc(1, plant->model_size);
      neighbour->view.mode = calloc(1, plant->mode_size);
      good = good && neighbour->view.model != NULL && neighbour->view.mode != NULL;
    }
  }
  if (!good) {
    tangent_free(tangent);
    error_set(error, ERROR_MEMORY, "out of memory for derivatives");
    return NULL;
  }
  return tangent;
}

void tangent_free(struct tangent *tangent) {
  if (tangent == NULL) {
    return;
  }
  for (int i = 0; tangent->parameters != NULL && i < tangent->request->count; i++) {
    for (int side = 0; side < 2; side++) {
      free(tangent->parameters[i].sides[side].view.model);
      free(tangent->parameters[i].sides[side].view.mode);
      metrics_free(&tangent->parameters[i].sides[side].metrics);
    }
  }
  free(tangent->parameters);
  free(tangent);
}

/* ---- what the integrator calls ---- */

static void rates_of(const struct view *view, double t, const double *state, double *rates) {
  view->plant->rates(view->model, view->mode, t, state, rates);
}

static void powers_of(const struct view *view, double t, const double *state, double *powers) {
  view->plant->powers(view->model, view->mode, t, state, powers);
}

typedef void derivative_of(const struct view *view, double t, const double *state, double *values);

/* How far to go along a derivative for a difference. */
static double reach(const struct tangent *tangent, const double *state, const double *along) {
  double largest = 0.0;
  for (int k = 0; k < tangent->view->state_count; k++) {
    double weight = 1.0 / (ALONG_SHARE * fabs(state[k]) + ALONG_TOLERANCE * tangent->tolerances[k]);
    largest = fmax(largest, fabs(along[k]) * weight);
  }
  return largest > 0.0 ? 1.0 / largest : 0.0;
}

/* d/dp of `function` with the states moving along `along`: its partial derivative along the states with the run's own
 * model, and along the parameter between the neighbours' models. */
static void differentiate(const struct tangent *tangent, int i, derivative_of *function, int count, double t,
                          const double *state, const double *along, double *result) {
  const struct parameter_tangent *parameter = &tangent->parameters[i];
  double shifted[PLANT_STATE_LIMIT];
  double up[PLANT_LEDGER_LIMIT + PLANT_STATE_LIMIT] = {0};
  double down[PLANT_LEDGER_LIMIT + PLANT_STATE_LIMIT] = {0};
  int n = tangent->view->state_count;
  function(&parameter->sides[0].view, t, state, up);
  function(&parameter->sides[1].view, t, state, down);
  for (int k = 0; k < count; k++) {
    result[k] = (up[k] - down[k]) / (2.0 * parameter->step);
  }
  double far = reach(tangent, state, along);
  if (far > 0.0) {
    for (int k = 0; k < n; k++) {
      shifted[k] = state[k] + far * along[k];
    }
    function(tangent->view, t, shifted, up);
    for (int k = 0; k < n; k++) {
      shifted[k] = state[k] - far * along[k];
    }
    function(tangent->view, t, shifted, down);
    for (int k = 0; k < count; k++) {
      result[k] += (up[k] - down[k]) / (2.0 * far);
    }
  }
}

static void sensitivity_rates(void *context, double t, const double *state, const double *const *sensitivities,
                              double *const *rates) {
  const struct tangent *tangent = context;
  for (int i = 0; i < tangent->request->count; i++) {
    differentiate(tangent, i, rates_of, tangent->view->state_count, t, state, sensitivities[i], rates[i]);
  }
}

static void sensitivity_powers(void *context, double t, const double *state, const double *const *sensitivities,
                               double *const *powers) {
  const struct tangent *tangent = context;
  for (int i = 0; i < tangent->request->count; i++) {
    differentiate(tangent, i, powers_of, tangent->view->plant->ledger_integrated, t, state, sensitivities[i],
                  powers[i]);
  }
}

bool tangent_prepare(struct tangent *tangent, const struct view *view, struct integrator_problem *problem,
                     struct error *error) {
  tangent->view = view;
  int rows[PLANT_STATE_LIMIT];
  int own_rows[PLANT_STATE_LIMIT];
  view->plant->active_states(view->model, rows);
  for (int k = 0; k < view->state_count; k++) {
    tangent->tolerances[k] = view->plant->states[rows[k]].tolerance;
  }
  for (int i = 0; i < tangent->request->count; i++) {
    for (int side = 0; side < 2; side++) {
      struct view *own = &tangent->parameters[i].sides[side].view;
      const char *refusal = own->plant->prepare(own->data->parameters, own->model);
      if (refusal != NULL) {
        return error_at(error, own->data->source, 0, 0, "beside the case: %s", refusal);
      }
      own->state_count = own->plant->active_states(own->model, own_rows);
      if (own->state_count != view->state_count ||
          memcmp(rows, own_rows, sizeof(int) * (size_t)view->state_count) != 0) {
        return error_set(error, ERROR_USAGE, "a parameter stands where a small change turns on another law");
      }
    }
  }
  problem->parameter_count = tangent->request->count;
  problem->parameter_scales = tangent->request->scales;
  problem->sensitivity_context = tangent;
  problem->sensitivity_rates = sensitivity_rates;
  problem->sensitivity_powers = sensitivity_powers;
  return true;
}

/* ---- along the run ---- */

/* The neighbours' metrics observe the steps of the run: they are given the run's time of braking, and what they find is
 * corrected at the end for how it moves. */
void tangent_brake(struct tangent *tangent, double from, const char *why) {
  if (tangent->view->data->simulation.stop_from >= 0.0 || isnan(from)) {
    return;
  }
  for (int i = 0; i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    double times[2];
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &parameter->sides[side];
      const char *own;
      times[side] = neighbour->view.plant->braking_from(neighbour->view.mode, &own);
      metrics_brake(&neighbour->metrics, &neighbour->view, from, why);
    }
    parameter->release =
        isfinite(times[0]) && isfinite(times[1]) ? (times[0] - times[1]) / (2.0 * parameter->step) : 0.0;
  }
}

bool tangent_begin(struct tangent *tangent, const struct sample *sample, struct error *error) {
  int n = tangent->view->state_count;
  (void)sample;
  for (int i = 0; i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &parameter->sides[side];
      struct view *own = &neighbour->view;
      own->integrator = tangent->view->integrator;
      neighbour->start.time = 0.0;
      own->plant->start(own->model, own->mode, neighbour->start.state);
      if (own->data->simulation.start == START_STEADY &&
          !steady_start(own->plant, own->model, own->mode, neighbour->start.state, error)) {
        return false;
      }
      view_evaluate(own, &neighbour->start);
      if (!metrics_begin(&neighbour->metrics, own, &neighbour->start, error)) {
        return false;
      }
    }
    for (int k = 0; k < n; k++) {
      parameter->state[k] =
          (parameter->sides[0].start.state[k] - parameter->sides[1].start.state[k]) / (2.0 * parameter->step);
    }
    memset(parameter->integral, 0, sizeof parameter->integral);
  }
  const char *why;
  double from = tangent->view->plant->braking_from(tangent->view->mode, &why);
  tangent_brake(tangent, from, why);
  return true;
}

/* Reads the derivatives at a sample out of the integrator; at time zero they are there already. */
static void read_out(struct tangent *tangent, double t) {
  if (t == tangent->last_change || t <= 0.0) {
    return; /* several changes at one instant: the derivatives are under way */
  }
  for (int i = 0; i < tangent->request->count; i++) {
    integrator_sensitivity_at(tangent->view->integrator, i, t, tangent->parameters[i].state);
    integrator_integral_sensitivity_at(tangent->view->integrator, i, t, tangent->parameters[i].integral);
    tangent->parameters[i].moved = 0.0;
  }
}

void tangent_before(struct tangent *tangent, const struct sample *sample) {
  tangent->open = true;
  read_out(tangent, sample->time);
  rates_of(tangent->view, sample->time, sample->state, tangent->rates_before);
  powers_of(tangent->view, sample->time, sample->state, tangent->powers_before);
  memcpy(tangent->state_before, sample->state, sizeof tangent->state_before);
}

/* The function whose crossing makes a change. */
struct trigger {
  int which;                             /* guard, or -1 */
  const struct condition *conditions[3]; /* of the run and of the neighbours, or NULL */
};

static double trigger_at(const struct view *view, const struct trigger *trigger, int whose, double t,
                         const double *state) {
  if (trigger->which >= 0) {
    double guards[PLANT_GUARD_LIMIT];
    view->plant->guards(view->model, view->mode, state, guards);
    return guards[trigger->which];
  }
  double signals[PLANT_SIGNAL_LIMIT];
  view->plant->signals_at(view->model, view->mode, t, state, signals);
  return signals[trigger->conditions[whose]->signal] - trigger->conditions[whose]->level;
}

static void note_unsure(struct tangent *tangent, double t) {
  tangent->unsure++;
  tangent->first_unsure = isnan(tangent->first_unsure) ? t : tangent->first_unsure;
}

/* d(time)/dp of a change made by a crossing. */
static double moved_by(struct tangent *tangent, int i, const struct trigger *trigger, double t) {
  const struct parameter_tangent *parameter = &tangent->parameters[i];
  int n = tangent->view->state_count;
  const double *y = tangent->state_before;
  const double *f = tangent->rates_before;
  double shifted[2][PLANT_STATE_LIMIT];
  double values[2];
  for (int side = 0; side < 2; side++) {
    const struct neighbour *neighbour = &parameter->sides[side];
    for (int k = 0; k < n; k++) {
      shifted[side][k] = y[k] + neighbour->sign * parameter->step * parameter->state[k];
    }
    values[side] = trigger_at(&neighbour->view, trigger, side + 1, t, shifted[side]);
  }
  double by_parameter = (values[0] - values[1]) / (2.0 * parameter->step);
  double far = fmin(reach(tangent, y, f), 1e-6);
  if (!(far > 0.0)) {
    return 0.0;
  }
  for (int k = 0; k < n; k++) {
    shifted[0][k] = y[k] + far * f[k];
    shifted[1][k] = y[k] - far * f[k];
  }
  values[0] = trigger_at(tangent->view, trigger, 0, t + far, shifted[0]);
  values[1] = trigger_at(tangent->view, trigger, 0, t - far, shifted[1]);
  double by_time = (values[0] - values[1]) / (2.0 * far);
  double moved = -by_parameter / by_time;
  if (by_parameter != 0.0 && !(fabs(moved * parameter->step) <= TOUCHES * tangent->view->data->simulation.end_time)) {
    note_unsure(tangent, t);
    return 0.0;
  }
  return by_parameter != 0.0 ? moved : 0.0;
}

/* The state of a neighbour at its own time of the change. */
static void state_of(const struct tangent *tangent, const struct parameter_tangent *parameter,
                     const struct neighbour *neighbour, double *state) {
  for (int k = 0; k < tangent->view->state_count; k++) {
    state[k] = tangent->state_before[k] +
               neighbour->sign * parameter->step * (parameter->state[k] + tangent->rates_before[k] * parameter->moved);
  }
}

static void note_moved(struct tangent *tangent, int i) {
  if (tangent->parameters[i].moved != 0.0) {
    tangent->moved++;
  }
}

/* The clocks of the neighbours tell how that time moves. Where it moves on one side only, another kink falls together
 * with this one and stands in the way on the other side: the time moves as on the side that moves. */
static double moved_by_clock(struct tangent *tangent, const struct parameter_tangent *parameter, double t) {
  double up = parameter->sides[0].view.plant->next_time(parameter->sides[0].view.mode) - t;
  double down = parameter->sides[1].view.plant->next_time(parameter->sides[1].view.mode) - t;
  double slack = 1e-9 * fmax(1.0, t);
  bool near = fabs(up + down) <= fabs(up - down) + slack;
  if (!isfinite(up) || !isfinite(down) || !near || fabs(up - down) <= SAME_TIME * fmax(1.0, t)) {
    return 0.0;
  }
  if (fabs(up + down) > 0.5 * fabs(up - down)) {
    note_unsure(tangent, t);
    return (fabs(up) > fabs(down) ? up : -down) / parameter->step;
  }
  return (up - down) / (2.0 * parameter->step);
}

/* A neighbour passes all that the run has passed: where kinks fall together one of its own may be late by what it is
 * moved. It is not yet half way to the run's next. */
static void catch_up(const struct tangent *tangent, const struct neighbour *neighbour, double t) {
  const struct view *own = &neighbour->view;
  double far = t + 0.5 * (tangent->view->plant->next_time(tangent->view->mode) - t);
  double state[PLANT_STATE_LIMIT] = {0.0}; /* a clock changes no state */
  const char *words;
  double due = own->plant->next_time(own->mode);
  for (int k = 0; k < KINKS_AT_ONCE && due < far; k++) {
    own->plant->change(own->model, own->mode, due, state, -1, &words);
    due = own->plant->next_time(own->mode);
  }
}

/* A change of mode at `sample`, in the neighbours. Leaves in `state` of the parameter the derivative of the state
 * behind the change at moving moments: tangent_after makes it one at a fixed time. */
void tangent_change(struct tangent *tangent, const struct sample *sample, int which) {
  double t = sample->time;
  struct trigger trigger = {which, {NULL, NULL, NULL}};
  for (int i = 0; i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    if (which < 0) {
      parameter->moved = moved_by_clock(tangent, parameter, t);
    } else if (t != tangent->last_change) { /* a guard that fell by an earlier change of this instant moves with it */
      parameter->moved = moved_by(tangent, i, &trigger, t);
    }
    note_moved(tangent, i);
    double state[2][PLANT_STATE_LIMIT];
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &parameter->sides[side];
      const struct view *own = &neighbour->view;
      const char *words;
      double own_time = t + neighbour->sign * parameter->step * parameter->moved;
      state_of(tangent, parameter, neighbour, state[side]);
      if (which < 0) {
        /* Its own clock, to the bit; points that fall together in the run may not do so here. */
        double due = own->plant->next_time(own->mode);
        for (int k = 0; k < KINKS_AT_ONCE && due <= own_time + 1e-9 * fmax(1.0, t); k++) {
          own->plant->change(own->model, own->mode, due, state[side], which, &words);
          due = own->plant->next_time(own->mode);
        }
      } else {
        own->plant->change(own->model, own->mode, own_time, state[side], which, &words);
      }
    }
    for (int k = 0; k < tangent->view->state_count; k++) {
      parameter->state[k] = (state[0][k] - state[1][k]) / (2.0 * parameter->step);
    }
  }
  tangent->last_change = t;
}

void tangent_move(struct tangent *tangent, const struct sample *sample, int index) {
  double t = sample->time;
  const struct action *action = &tangent->view->data->actions[index];
  const struct condition *when = &action->when;
  for (int i = 0; i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    const struct action *own[2];
    for (int side = 0; side < 2; side++) {
      own[side] = &parameter->sides[side].view.data->actions[index];
    }
    if (when->signal == CONDITION_CLOCK) {
      bool due = when->above && when->level == t;
      parameter->moved = due ? (own[0]->when.level - own[1]->when.level) / (2.0 * parameter->step) : parameter->moved;
    } else {
      struct trigger trigger = {-1, {when, &own[0]->when, &own[1]->when}};
      double value = sample->signals[when->signal];
      bool crossed = fabs(value - when->level) <= CROSSES * fmax(fabs(value), fabs(when->level)) && t > 0.0;
      if (crossed) {
        parameter->moved = moved_by(tangent, i, &trigger, t);
      }
    }
    note_moved(tangent, i);
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &parameter->sides[side];
      const struct view *view = &neighbour->view;
      double own_time = t + neighbour->sign * parameter->step * parameter->moved;
      view->plant->move(view->model, view->mode, own_time, own[side]->channel, own[side]->target, own[side]->duration);
    }
    for (int k = 0; k < tangent->view->state_count; k++) {
      parameter->state[k] += tangent->rates_before[k] * parameter->moved;
    }
  }
  tangent->last_change = t;
}

void tangent_after(struct tangent *tangent, const struct sample *sample) {
  double rates[PLANT_STATE_LIMIT];
  double powers[PLANT_LEDGER_LIMIT];
  tangent->open = false;
  rates_of(tangent->view, sample->time, sample->state, rates);
  powers_of(tangent->view, sample->time, sample->state, powers);
  for (int i = 0; i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    catch_up(tangent, &parameter->sides[0], sample->time);
    catch_up(tangent, &parameter->sides[1], sample->time);
    for (int k = 0; k < tangent->view->state_count; k++) {
      parameter->state[k] -= rates[k] * parameter->moved;
    }
    for (int k = 0; k < tangent->view->plant->ledger_integrated; k++) {
      parameter->integral[k] += (tangent->powers_before[k] - powers[k]) * parameter->moved;
    }
  }
}

void tangent_restart(struct tangent *tangent, double t) {
  read_out(tangent, t);
  const double *states[TANGENT_PARAMETERS];
  const double *integrals[TANGENT_PARAMETERS];
  for (int i = 0; i < tangent->request->count; i++) {
    states[i] = tangent->parameters[i].state;
    integrals[i] = tangent->parameters[i].integral;
  }
  integrator_begin_sensitivities(tangent->view->integrator, states, integrals);
}

static void evaluate_neighbour(const struct tangent *tangent, int i, const struct neighbour *neighbour, double t,
                               struct sample *sample) {
  integrator_perturb(tangent->view->integrator, i, neighbour->sign * tangent->parameters[i].step);
  view_at(&neighbour->view, t, sample);
  integrator_perturb(tangent->view->integrator, i, 0.0);
}

void tangent_observe(struct tangent *tangent, const struct step *step) {
  struct integrator *integrator = tangent->view->integrator;
  struct sample start;
  struct sample middle;
  struct sample end;
  struct step own = {&start, &middle, &end};
  for (int i = 0; i < tangent->request->count; i++) {
    for (int side = 0; side < 2; side++) {
      struct neighbour *neighbour = &tangent->parameters[i].sides[side];
      evaluate_neighbour(tangent, i, neighbour, step->start->time, &start);
      evaluate_neighbour(tangent, i, neighbour, step->middle->time, &middle);
      evaluate_neighbour(tangent, i, neighbour, step->end->time, &end);
      integrator_perturb(integrator, i, neighbour->sign * tangent->parameters[i].step);
      metrics_observe(&neighbour->metrics, &neighbour->view, &own);
      integrator_perturb(integrator, i, 0.0);
    }
  }
}

void tangent_signals(struct tangent *tangent, double t, double *derivatives) {
  const struct sensitivity_request *request = tangent->request;
  for (int i = 0; i < request->count; i++) {
    const struct parameter_tangent *parameter = &tangent->parameters[i];
    struct sample sides[2];
    evaluate_neighbour(tangent, i, &parameter->sides[0], t, &sides[0]);
    evaluate_neighbour(tangent, i, &parameter->sides[1], t, &sides[1]);
    for (int k = 0; k < request->signal_count; k++) {
      int signal = request->signals[k];
      derivatives[i * request->signal_count + k] =
          (sides[0].signals[signal] - sides[1].signals[signal]) / (2.0 * parameter->step);
    }
  }
}

/* ---- the end ---- */

/* The last sample of a neighbour: at the run's end, or where its own end moves to. */
static void last_sample(const struct tangent *tangent, int i, const struct neighbour *neighbour, double t,
                        struct sample *sample) {
  const struct parameter_tangent *parameter = &tangent->parameters[i];
  if (!tangent->open) {
    evaluate_neighbour(tangent, i, neighbour, t, sample);
    return;
  }
  sample->time = t;
  for (int k = 0; k < tangent->view->state_count; k++) {
    sample->state[k] = tangent->state_before[k] + neighbour->sign * parameter->step * parameter->state[k];
  }
  view_evaluate(&neighbour->view, sample);
}

/* Of the run itself; its valves are those of its neighbours. */
static double relief_power(const struct tangent *tangent, const struct metrics *metrics) {
  double sum = 0.0;
  for (int k = 0; k < metrics->relief_count; k++) {
    sum += tangent->powers_before[metrics->reliefs[k]];
  }
  return sum;
}

/* What moves with the start of braking, and with the end of a run that something ended. */
static void correct(const struct tangent *tangent, const struct parameter_tangent *parameter,
                    const struct outcome *outcome, double *measures) {
  if (parameter->release != 0.0) {
    measures[MEASURE_stop_from] += parameter->release;
    measures[MEASURE_stop_time] -= parameter->release;
    measures[MEASURE_stop_distance] -= outcome->measures[MEASURE_stop_from_speed] * parameter->release;
    measures[MEASURE_stop_from_speed] = NAN; /* needs the acceleration before braking, which is not kept */
  }
  if (tangent->open) {
    measures[MEASURE_relief_heat] += relief_power(tangent, &parameter->sides[0].metrics) * parameter->moved;
  }
}

bool tangent_end(struct tangent *tangent, const struct sample *sample, const struct outcome *outcome,
                 struct sensitivity_result *result, struct error *error) {
  struct outcome *own = calloc(2, sizeof *own);
  if (own == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for derivatives");
  }
  bool good = true;
  for (int i = 0; good && i < tangent->request->count; i++) {
    struct parameter_tangent *parameter = &tangent->parameters[i];
    for (int side = 0; good && side < 2; side++) {
      struct neighbour *neighbour = &parameter->sides[side];
      struct sample last;
      last_sample(tangent, i, neighbour, sample->time, &last);
      own[side].broken_count = 0;
      own[side].energy_lost = own[side].energy_stored = 0.0;
      own[side].end_time = outcome->end_time;
      integrator_perturb(tangent->view->integrator, i, neighbour->sign * parameter->step);
      good = metrics_end(&neighbour->metrics, &neighbour->view, &last, &own[side], error);
      integrator_perturb(tangent->view->integrator, i, 0.0);
    }
    for (int m = 0; good && m < MEASURE_COUNT; m++) {
      result->measures[i][m] = (own[0].measures[m] - own[1].measures[m]) / (2.0 * parameter->step);
    }
    if (good && parameter->sides[0].metrics.motion.stop.kind != parameter->sides[1].metrics.motion.stop.kind) {
      /* one glides into creep, the other does not: there is no derivative between them */
      result->measures[i][MEASURE_stop_time] = result->measures[i][MEASURE_stop_distance] = NAN;
    }
    if (good) {
      correct(tangent, parameter, outcome, result->measures[i]);
    }
  }
  result->moved = tangent->moved;
  result->unsure = tangent->unsure;
  result->first_unsure = tangent->first_unsure;
  outcome_free(&own[0]);
  outcome_free(&own[1]);
  free(own);
  return good;
}
