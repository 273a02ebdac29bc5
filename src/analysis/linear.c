#include "linear.h"

#include <math.h>
#include <string.h>

#include "balance.h"

/* Of a state's typical size. */
#define STEP 1e-3
#define NEAR 0.02
#define KINK_SHARE 0.25 /* of the largest slope in the row, from which a kink is reported */

void instant_of(const struct plant *plant, const void *model, const void *mode, double time, const double *state,
                struct instant *instant) {
  instant->plant = plant;
  instant->model = model;
  instant->mode = mode;
  instant->time = time;
  instant->state_count = plant->active_states(model, instant->rows);
  memcpy(instant->state, state, (size_t)instant->state_count * sizeof *state);
}

int instant_place(const struct instant *instant, const char *name) {
  for (int i = 0; i < instant->state_count; i++) {
    if (strcmp(instant->plant->states[instant->rows[i]].name, name) == 0) {
      return i;
    }
  }
  return -1;
}

const char *instant_state_words(const struct instant *instant, int place) {
  static const char *const other[][2] = {
      {"line_a_compression", "pressure of line A"},
      {"line_b_compression", "pressure of line B"},
      {"charge_compression", "charge pressure"},
      {"wheel_speed", "wheels"},
      {"front_wheel_speed", "front wheels"},
      {"vehicle_speed", "the machine's motion"},
      {"tyre_slip", "deflection of the tyres"},
      {"front_tyre_slip", "deflection of the front tyres"},
      {"fuel", "fuel"},
      {"brake_torque", "wind-up of the brake"},
      {"motor_shaft_speed", "motor ahead of the gearbox"},
      {"gear_clutch_a", "wind-up of the gearbox"},
      {"gear_clutch_b", "wind-up of the gearbox's open clutch"},
      {"transfer_torque", "wind-up of the transfer case"},
      {"relief_a_lift", "poppet A"},
      {"relief_b_lift", "poppet B"},
      {"pump_stroke", "swash of the pump"},
      {"motor_displacement", "displacement of the motor"},
  };
  const struct state_row *row = &instant->plant->states[instant->rows[place]];
  for (size_t i = 0; i < sizeof other / sizeof other[0]; i++) {
    if (strcmp(row->name, other[i][0]) == 0) {
      return other[i][1];
    }
  }
  return row->text;
}

static double size_of(const struct instant *instant, int place) {
  return 1e5 * instant->plant->states[instant->rows[place]].tolerance;
}

static void rates_at(const struct instant *instant, const double *state, double *rates) {
  instant->plant->rates(instant->model, instant->mode, instant->time, state, rates);
}

/* d(rates)/d(state at place), central, over all active states. */
static void column_of(const struct instant *instant, int place, double step, double *column) {
  double state[PLANT_STATE_LIMIT];
  double high[PLANT_STATE_LIMIT];
  double low[PLANT_STATE_LIMIT];
  memcpy(state, instant->state, sizeof state);
  state[place] = instant->state[place] + step;
  double upper = state[place];
  rates_at(instant, state, high);
  state[place] = instant->state[place] - step;
  double width = upper - state[place];
  rates_at(instant, state, low);
  for (int i = 0; i < instant->state_count; i++) {
    column[i] = (high[i] - low[i]) / width;
  }
}

bool linear_make(const struct instant *instant, const bool *take, struct linear *linear, struct error *error) {
  struct balance balance;
  bool drifts[PLANT_STATE_LIMIT] = {false};
  if (take == NULL) {
    int places[PLANT_STATE_LIMIT];
    /* The mode is only read. */
    balance_begin(&balance, instant->plant, instant->model, NULL, instant->time);
    int count = balance_drifting(&balance, places);
    for (int i = 0; i < count; i++) {
      drifts[places[i]] = true;
    }
  }
  linear->count = 0;
  for (int i = 0; i < instant->state_count; i++) {
    if (take != NULL ? take[i] : !drifts[i]) {
      linear->sizes[linear->count] = size_of(instant, i);
      linear->places[linear->count++] = i;
    }
  }
  int n = linear->count;
  for (int k = 0; k < n; k++) {
    double column[PLANT_STATE_LIMIT];
    column_of(instant, linear->places[k], STEP * linear->sizes[k], column);
    for (int i = 0; i < n; i++) {
      linear->jacobian[i * n + k] = column[linear->places[i]];
      if (!isfinite(column[linear->places[i]])) {
        return error_set(error, ERROR_RUN, "no derivative of the rate of %s by %s here",
                         instant->plant->states[instant->rows[linear->places[i]]].name,
                         instant->plant->states[instant->rows[linear->places[k]]].name);
      }
    }
  }
  return n > 0 || error_set(error, ERROR_RUN, "no state takes part");
}

/* ---- kinks ---- */

static double strength(const struct linear_kink *kink) {
  return fabs(kink->after - kink->before);
}

static int insert_kink(struct linear_kink *kinks, int count, const struct linear_kink *kink) {
  int at = count < KINK_LIMIT ? count : KINK_LIMIT - 1;
  if (count == KINK_LIMIT && strength(&kinks[at]) >= strength(kink)) {
    return count;
  }
  while (at > 0 && strength(&kinks[at - 1]) < strength(kink)) {
    kinks[at] = kinks[at - 1];
    at--;
  }
  kinks[at] = *kink;
  return count < KINK_LIMIT ? count + 1 : count;
}

int linear_kinks(const struct instant *instant, const struct linear *linear, struct linear_kink *kinks) {
  int n = linear->count;
  int count = 0;
  double here[PLANT_STATE_LIMIT];
  double there[PLANT_STATE_LIMIT];
  double state[PLANT_STATE_LIMIT];
  double largest[PLANT_STATE_LIMIT] = {0.0};
  for (int i = 0; i < n; i++) {
    for (int k = 0; k < n; k++) {
      largest[i] = fmax(largest[i], fabs(linear->jacobian[i * n + k]) * linear->sizes[k] / linear->sizes[i]);
    }
  }
  rates_at(instant, instant->state, here);
  memcpy(state, instant->state, sizeof state);
  for (int k = 0; k < n; k++) {
    int place = linear->places[k];
    double distance = fmax(NEAR * linear->sizes[k], 0.005 * fabs(instant->state[place]));
    double slopes[2][PLANT_STATE_LIMIT];
    for (int side = 0; side < 2; side++) {
      double moved = side == 0 ? -distance : distance;
      state[place] = instant->state[place] + moved;
      rates_at(instant, state, there);
      for (int i = 0; i < n; i++) {
        int row = linear->places[i];
        slopes[side][i] = (there[row] - here[row]) / moved * linear->sizes[k] / linear->sizes[i];
      }
    }
    state[place] = instant->state[place];
    for (int i = 0; i < n; i++) {
      struct linear_kink kink = {place, linear->places[i], distance, slopes[0][i], slopes[1][i]};
      if (isfinite(strength(&kink)) && strength(&kink) > KINK_SHARE * fmax(largest[i], 1.0)) {
        count = insert_kink(kinks, count, &kink);
      }
    }
  }
  return count;
}

/* ---- inputs and outputs ---- */

void linear_output(const struct instant *instant, const struct linear *linear, int signal, double *gradient) {
  double state[PLANT_STATE_LIMIT];
  double high[PLANT_SIGNAL_LIMIT];
  double low[PLANT_SIGNAL_LIMIT];
  memcpy(state, instant->state, sizeof state);
  for (int k = 0; k < linear->count; k++) {
    int place = linear->places[k];
    double step = STEP * linear->sizes[k];
    state[place] = instant->state[place] + step;
    instant->plant->signals_at(instant->model, instant->mode, instant->time, state, high);
    state[place] = instant->state[place] - step;
    instant->plant->signals_at(instant->model, instant->mode, instant->time, state, low);
    state[place] = instant->state[place];
    gradient[k] = (high[signal] - low[signal]) / (2.0 * step);
  }
}

void linear_state_input(const struct instant *instant, const struct linear *linear, int place, int signal,
                        struct linear_input *input) {
  double column[PLANT_STATE_LIMIT];
  struct linear alone = {.count = 1};
  alone.places[0] = place;
  alone.sizes[0] = size_of(instant, place);
  column_of(instant, place, STEP * alone.sizes[0], column);
  for (int i = 0; i < linear->count; i++) {
    input->by_rate[i] = column[linear->places[i]];
  }
  linear_output(instant, &alone, signal, &input->by_signal);
}
