#include "balance.h"

#include <math.h>
#include <string.h>

#include "integrator.h"

/* Typical size of a state over the integrator's absolute tolerance: 0.01 of compression, a tenth of a share, 1 rad/s.
 */
#define SIZE_OVER_TOLERANCE 1e5

enum { MODE_CHANGES = 8 };
_Static_assert((int)PLANT_STATE_LIMIT + (int)BALANCE_EXTRA_LIMIT <= (int)NONLINEAR_LIMIT,
               "the solver takes every state and what is sought beside them");

static const char *const drifting[] = {"vehicle_distance",
                                       "loop_temperature",
                                       "loop_metal_temperature",
                                       "case_temperature",
                                       "gallery_temperature",
                                       "tank_temperature",
                                       "brake_temperature",
                                       "front_brake_temperature",
                                       "tank_oil",
                                       "oil_lost",
                                       "load",
                                       "fuel_used"};

static bool drifts(const char *name) {
  for (size_t i = 0; i < sizeof drifting / sizeof drifting[0]; i++) {
    if (strcmp(name, drifting[i]) == 0) {
      return true;
    }
  }
  return false;
}

void balance_begin(struct balance *balance, const struct plant *plant, const void *model, void *mode, double time) {
  memset(balance, 0, sizeof *balance);
  balance->plant = plant;
  balance->model = model;
  balance->mode = mode;
  balance->time = time;
  balance->state_count = plant->active_states(model, balance->rows);
  for (int i = 0; i < balance->state_count; i++) {
    bool fixed = drifts(plant->states[balance->rows[i]].name);
    balance->sought[i] = !fixed;
    balance->still[i] = !fixed;
  }
}

int balance_drifting(const struct balance *balance, int *places) {
  int count = 0;
  for (int i = 0; i < balance->state_count; i++) {
    if (drifts(balance->plant->states[balance->rows[i]].name)) {
      places[count++] = i;
    }
  }
  return count;
}

/* ---- the system of equations ---- */

/* Where nothing leaks, oil may stand in the lines at any of a range of pressures: balance is then no point but a line,
 * and a search has no direction along it. A pull of this rate, 1/s, towards the first guess chooses the point nearest
 * to that. Anywhere else it moves the answer by nothing that shows: 10 ul/min in a line that is 0.03 of its volume
 * away. */
#define PULL_TO_GUESS 1e-7

struct system {
  struct balance *balance;
  double *state;
  double guess[PLANT_STATE_LIMIT];
};

static void spread(const struct system *system, const double *u) {
  struct balance *balance = system->balance;
  int k = 0;
  for (int i = 0; i < balance->state_count; i++) {
    if (balance->sought[i]) {
      system->state[i] = u[k++];
    }
  }
  for (int i = 0; i < balance->input_count; i++, k++) {
    struct balance_input *input = &balance->inputs[i];
    if (input->value != u[k]) {
      input->value = u[k];
      input->set(input->context, u[k]);
    }
  }
}

static bool residual(void *context, const double *u, double *f) {
  const struct system *system = context;
  const struct balance *balance = system->balance;
  const struct plant *plant = balance->plant;
  double rates[PLANT_STATE_LIMIT];
  double signals[PLANT_SIGNAL_LIMIT];
  spread(system, u);
  plant->rates(balance->model, balance->mode, balance->time, system->state, rates);
  int k = 0;
  for (int i = 0; i < balance->state_count; i++) {
    if (balance->still[i]) {
      f[k++] = rates[i] - (balance->sought[i] ? PULL_TO_GUESS * (system->state[i] - system->guess[i]) : 0.0);
    }
  }
  if (balance->condition_count > 0) {
    plant->signals_at(balance->model, balance->mode, balance->time, system->state, signals);
    for (int i = 0; i < balance->condition_count; i++) {
      const struct balance_condition *condition = &balance->conditions[i];
      f[k++] = (signals[condition->signal] - condition->level) / condition->size;
    }
  }
  return true;
}

static double size_of(const struct balance *balance, int place) {
  return SIZE_OVER_TOLERANCE * balance->plant->states[balance->rows[place]].tolerance;
}

static bool solve(struct balance *balance, double *state) {
  struct system system = {.balance = balance, .state = state};
  memcpy(system.guess, state, (size_t)balance->state_count * sizeof *state);
  double u[NONLINEAR_LIMIT];
  double sizes[NONLINEAR_LIMIT];
  int unknowns = 0;
  int equations = balance->condition_count;
  for (int i = 0; i < balance->state_count; i++) {
    equations += balance->still[i] ? 1 : 0;
    if (balance->sought[i]) {
      sizes[unknowns] = size_of(balance, i);
      u[unknowns++] = state[i];
    }
  }
  for (int i = 0; i < balance->input_count; i++) {
    sizes[unknowns] = balance->inputs[i].size;
    u[unknowns++] = balance->inputs[i].value;
  }
  if (unknowns != equations) {
    return false;
  }
  struct nonlinear_problem problem = {unknowns, &system, residual, sizes};
  bool found = nonlinear_solve(&problem, u, &balance->counts);
  spread(&system, u);
  return found;
}

/* Make the mode right for the state. Returns the guard that fell, -1 if none did. */
static int mend_mode(const struct balance *balance, double *state, bool *ends, const char **words) {
  const struct plant *plant = balance->plant;
  double guards[PLANT_GUARD_LIMIT];
  plant->guards(balance->model, balance->mode, state, guards);
  for (int i = 0; i < plant->guard_count; i++) {
    if (guards[i] < 0.0) {
      *ends = plant->change(balance->model, balance->mode, balance->time, state, i, words) != PLANT_GOES_ON;
      return i;
    }
  }
  return -1;
}

bool balance_find(struct balance *balance, double *state) {
  for (int change = 0; change <= MODE_CHANGES; change++) {
    if (!solve(balance, state)) {
      return false;
    }
    bool ends = false;
    const char *words = NULL;
    if (mend_mode(balance, state, &ends, &words) < 0) {
      return true;
    }
    if (ends) {
      return false;
    }
  }
  return false;
}

/* ---- letting it run ---- */

static void free_rates(void *context, double t, const double *state, double *rates) {
  const struct balance *balance = context;
  balance->plant->rates(balance->model, balance->mode, t, state, rates);
  for (int i = 0; i < balance->state_count; i++) {
    if (!balance->sought[i]) {
      rates[i] = 0.0;
    }
  }
}

static void no_powers(void *context, double t, const double *state, double *powers) {
  (void)context;
  (void)t;
  (void)state;
  (void)powers;
}

bool balance_settle(struct balance *balance, double seconds, double *state, const char **words) {
  const struct plant *plant = balance->plant;
  const char *names[PLANT_STATE_LIMIT];
  double tolerances[PLANT_STATE_LIMIT];
  double nothing[1] = {0.0};
  *words = NULL;
  for (int i = 0; i < balance->state_count; i++) {
    names[i] = plant->states[balance->rows[i]].name;
    tolerances[i] = plant->states[balance->rows[i]].tolerance;
  }
  struct integrator_problem problem = {
      .state_count = balance->state_count,
      .context = balance,
      .rates = free_rates,
      .powers = no_powers,
      .tolerances = tolerances,
      .state_names = names,
      .relative_tolerance = 1e-6,
      .nonlinear_tolerance = 0.01,
      .largest_order = 5,
      .integral_tolerance = 1.0,
      .largest_step = 1e6,
  };
  struct integrator *integrator = integrator_new(&problem, NULL);
  double end = balance->time + seconds;
  bool going = integrator != NULL && integrator_start(integrator, balance->time, state, nothing, NULL);
  bool ends = false;
  int changes = 0;
  while (going && !ends && integrator_time(integrator) < end) {
    going = integrator_step(integrator, end, NULL);
    if (!going) {
      break;
    }
    integrator_state_at(integrator, integrator_time(integrator), state);
    if (mend_mode(balance, state, &ends, words) >= 0 && !ends) {
      going = ++changes < 1000 && integrator_start(integrator, integrator_time(integrator), state, nothing, NULL);
    }
  }
  integrator_free(integrator);
  if (!ends) {
    *words = NULL;
  }
  return going && !ends;
}
