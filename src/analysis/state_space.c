#include "state_space.h"

#include <lapacke.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OUTPUT_STEP 1e-3 /* of a state's typical size */

static const struct {
  const char *name;
  const char *unit;
  double step;
} machine_inputs[MACHINE_INPUT_COUNT] = {
    {"pedal", "1", 1e-4}, {"grade", "1", 1e-4},         {"pull", "N", 10.0},
    {"brake", "1", 1e-4}, {"exhaust_brake", "1", 1e-4}, {"throttle", "1", 1e-4},
};

/* What two values of an input make of all rates and all signals. */
struct nudge {
  double rates[2][PLANT_STATE_LIMIT];
  double signals[2][PLANT_SIGNAL_LIMIT];
};

/* The differences over `width` into the column of an input. */
static void take_column(const struct linear *linear, const struct nudge *nudge, double width, int column,
                        struct state_space *space) {
  for (int i = 0; i < linear->count; i++) {
    int place = linear->places[i];
    space->b[i * space->inputs + column] = (nudge->rates[1][place] - nudge->rates[0][place]) / width;
  }
  for (int i = 0; i < space->outputs; i++) {
    int signal = space->signal[i];
    space->d[i * space->inputs + column] = (nudge->signals[1][signal] - nudge->signals[0][signal]) / width;
  }
}

/* The inputs of a machine, central differences on the frozen one. */
static void nudge_machine(const struct instant *instant, const struct linear *linear, struct machine *machine,
                          struct state_space *space) {
  double state[PLANT_STATE_LIMIT];
  memcpy(state, instant->state, sizeof state);
  int distance = instant_place(instant, "vehicle_distance");
  if (distance >= 0) {
    state[distance] = 0.0; /* the frozen ground is the same everywhere, its soil that of the start */
  }
  for (int k = 0; k < MACHINE_INPUT_COUNT; k++) {
    enum machine_input input = (enum machine_input)k;
    struct nudge nudge;
    double kept = machine->inputs[input];
    double step = machine_inputs[k].step;
    for (int side = 0; side < 2; side++) {
      machine_set(machine, input, kept + (side == 0 ? -step : step));
      instant->plant->rates(machine->model, machine->mode, 0.0, state, nudge.rates[side]);
      instant->plant->signals_at(machine->model, machine->mode, 0.0, state, nudge.signals[side]);
    }
    machine_set(machine, input, kept);
    (void)snprintf(space->input[k].name, SPACE_NAME, "%s", machine_inputs[k].name);
    space->input[k].unit = machine_inputs[k].unit;
    space->input[k].value = kept;
    take_column(linear, &nudge, 2.0 * step, k, space);
  }
}

/* The channels of a plant that actions may move: a channel enters the rates in a straight line, so that any two values
 * give its slope; the value itself is not told by the plant. */
static bool nudge_channels(const struct instant *instant, const struct linear *linear, struct state_space *space,
                           struct error *error) {
  const struct plant *plant = instant->plant;
  void *mode = malloc(plant->mode_size);
  if (mode == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for the inputs");
  }
  for (int k = 0; k < space->inputs; k++) {
    struct nudge nudge;
    for (int side = 0; side < 2; side++) {
      memcpy(mode, instant->mode, plant->mode_size);
      plant->move(instant->model, mode, instant->time, k, side == 0 ? 0.25 : 0.75, 0.0);
      plant->rates(instant->model, mode, instant->time, instant->state, nudge.rates[side]);
      plant->signals_at(instant->model, mode, instant->time, instant->state, nudge.signals[side]);
    }
    (void)snprintf(space->input[k].name, SPACE_NAME, "%s", plant->channels[k]);
    space->input[k].unit = quantity_rows[plant->channel_quantities[k]].si_unit;
    space->input[k].value = NAN;
    take_column(linear, &nudge, 0.5, k, space);
    for (int i = 0; i < space->outputs; i++) {
      /* A signal that is the channel times its full value tells where the channel stands. */
      double slope = space->d[i * space->inputs + k];
      double here = space->output0[i];
      double zero = nudge.signals[0][space->signal[i]] - 0.25 * slope;
      if (slope != 0.0 && fabs(zero) < 1e-9 * fabs(slope)) {
        space->input[k].value = here / slope;
      }
    }
  }
  free(mode);
  return true;
}

/* Largest over smallest singular value; infinite for a matrix without an inverse. */
static double condition_of(const double *matrix, int n) {
  double copy[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  double singular[PLANT_STATE_LIMIT];
  double rest[PLANT_STATE_LIMIT];
  double none[1];
  memcpy(copy, matrix, (size_t)(n * n) * sizeof *copy);
  if (n < 1 || LAPACKE_dgesvd(LAPACK_ROW_MAJOR, 'N', 'N', n, n, copy, n, singular, none, n, none, n, rest) != 0) {
    return NAN;
  }
  return singular[n - 1] > 0.0 ? singular[0] / singular[n - 1] : INFINITY;
}

static void scale(const struct linear *linear, double *scaled) {
  int n = linear->count;
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      scaled[i * n + k] = linear->jacobian[i * n + k] * linear->sizes[k] / linear->sizes[i];
    }
  }
}

/* d(signals)/d(states) by central differences, all at once. */
static void take_outputs(const struct instant *instant, const struct linear *linear, struct state_space *space) {
  double state[PLANT_STATE_LIMIT];
  double high[PLANT_SIGNAL_LIMIT];
  double low[PLANT_SIGNAL_LIMIT];
  const struct plant *plant = instant->plant;
  memcpy(state, instant->state, sizeof state);
  for (int k = 0; k < linear->count; k++) {
    int place = linear->places[k];
    double step = OUTPUT_STEP * linear->sizes[k];
    state[place] = instant->state[place] + step;
    plant->signals_at(instant->model, instant->mode, instant->time, state, high);
    state[place] = instant->state[place] - step;
    plant->signals_at(instant->model, instant->mode, instant->time, state, low);
    state[place] = instant->state[place];
    for (int i = 0; i < space->outputs; i++) {
      int signal = space->signal[i];
      space->c[i * space->states + k] = (high[signal] - low[signal]) / (2.0 * step);
    }
  }
}

bool space_make(const struct instant *instant, const struct linear *linear, const void *parameters,
                struct machine *machine, struct state_space *space, struct error *error) {
  const struct plant *plant = instant->plant;
  double signals[PLANT_SIGNAL_LIMIT];
  double scaled[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT];
  memset(space, 0, sizeof *space);
  space->states = linear->count;
  space->inputs = machine != NULL ? MACHINE_INPUT_COUNT : plant->channel_count;
  if (space->inputs > SPACE_INPUTS) {
    return error_set(error, ERROR_RUN, "more than %d inputs", SPACE_INPUTS);
  }
  plant->signals_at(instant->model, instant->mode, instant->time, instant->state, signals);
  for (int s = 0; s < plant->signal_count; s++) {
    if (plant->signal_active(parameters, s) && isfinite(signals[s])) {
      space->output0[space->outputs] = signals[s];
      space->signal[space->outputs++] = s;
    }
  }
  for (int i = 0; i < linear->count; i++) {
    space->state0[i] = instant->state[linear->places[i]];
  }
  take_outputs(instant, linear, space);
  if (machine != NULL) {
    nudge_machine(instant, linear, machine, space);
  } else if (!nudge_channels(instant, linear, space, error)) {
    return false;
  }
  scale(linear, scaled);
  space->condition = condition_of(linear->jacobian, linear->count);
  space->scaled_condition = condition_of(scaled, linear->count);
  return true;
}

bool space_input_of(const struct state_space *space, const char *name, int signal, struct linear_input *input) {
  for (int k = 0; k < space->inputs; k++) {
    if (strcmp(space->input[k].name, name) != 0) {
      continue;
    }
    for (int i = 0; i < space->states; i++) {
      input->by_rate[i] = space->b[i * space->inputs + k];
    }
    input->by_signal = 0.0;
    for (int i = 0; i < space->outputs; i++) {
      input->by_signal = space->signal[i] == signal ? space->d[i * space->inputs + k] : input->by_signal;
    }
    return true;
  }
  return false;
}

const char *space_input_names(const struct state_space *space, char *text, size_t size) {
  size_t used = 0;
  text[0] = '\0';
  for (int k = 0; k < space->inputs && used < size; k++) {
    int wrote = snprintf(text + used, size - used, "%s%s", k > 0 ? ", " : "", space->input[k].name);
    used += wrote > 0 ? (size_t)wrote : 0;
  }
  return text;
}
