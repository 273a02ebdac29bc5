/* Margins of a loop cut at a state (state_space.h). Crossings are sought on a fine grid of frequencies, with the
 * natural frequencies of the open and of the closed loop among it, and then by halving. */
#include <math.h>
#include <string.h>

#include "state_space.h"

#define TURN 6.283185307179586476925
enum { HALVINGS = 60, BESIDE = 4, AROUND = 2 * BESIDE + 1 /* frequencies about each mode */ };

/* The system without the state that is cut, the state as its input, and its rate as what comes out. */
struct cut_loop {
  struct linear rest;
  struct linear_input input;
  double back[PLANT_STATE_LIMIT]; /* d(rate of the state)/d(others) */
  double own;                     /* d(rate of the state)/d(state), 1/s */
};

static void cut_of(const struct linear *linear, int cut, struct cut_loop *loop) {
  int n = linear->count;
  int m = 0;
  loop->rest.count = n - 1;
  loop->own = linear->jacobian[cut * n + cut];
  loop->input.by_signal = 0.0;
  for (int i = 0; i < n; i++) {
    if (i == cut) {
      continue;
    }
    int column = 0;
    for (int k = 0; k < n; k++) {
      if (k != cut) {
        loop->rest.jacobian[m * (n - 1) + column++] = linear->jacobian[i * n + k];
      }
    }
    loop->rest.places[m] = linear->places[i];
    loop->rest.sizes[m] = linear->sizes[i];
    loop->input.by_rate[m] = linear->jacobian[i * n + cut];
    loop->back[m] = linear->jacobian[cut * n + i];
    m++;
  }
}

/* The state over the test signal. */
static bool at(const struct cut_loop *loop, double frequency, double *gain, double *phase) {
  double own = atan2(frequency, -loop->own);
  bool good = linear_response(&loop->rest, &loop->input, loop->back, frequency, gain, phase);
  *gain /= hypot(frequency, loop->own);
  *phase -= own;
  return good && isfinite(*gain);
}

bool loop_response(const struct linear *linear, int cut, double frequency, double *along, double *across) {
  struct cut_loop loop;
  double gain;
  double phase;
  cut_of(linear, cut, &loop);
  bool good = at(&loop, frequency, &gain, &phase);
  *along = gain * cos(phase);
  *across = gain * sin(phase);
  return good;
}

/* How far the gain is above 1 (crossing of `phase` false), or how far L is turned from the real axis. */
static double measure(const struct cut_loop *loop, double frequency, bool phase) {
  double gain;
  double angle;
  if (!at(loop, frequency, &gain, &angle)) {
    return NAN;
  }
  return phase ? sin(angle) : log(gain);
}

/* Between two frequencies where the measure changes its sign. */
static double crossing(const struct cut_loop *loop, double low, double high, bool phase) {
  bool rises = measure(loop, low, phase) < 0.0;
  for (int i = 0; i < HALVINGS; i++) {
    double middle = sqrt(low * high);
    if ((measure(loop, middle, phase) < 0.0) == rises) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return sqrt(low * high);
}

static void take_gain_crossing(const struct cut_loop *loop, double frequency, struct loop_margins *margins) {
  double gain;
  double angle;
  if (!at(loop, frequency, &gain, &angle) || cos(angle) < 0.0 || !(gain > 0.0)) {
    return; /* L real and negative: -L lies on the far side of -1 */
  }
  double factor = 1.0 / gain;
  if (factor >= 1.0 && factor < margins->gain) {
    margins->gain = factor;
    margins->gain_frequency = frequency;
  } else if (factor < 1.0 && factor > margins->gain_down) {
    margins->gain_down = factor;
  }
}

static void take_phase_crossing(const struct cut_loop *loop, double frequency, struct loop_margins *margins) {
  double gain;
  double angle;
  if (!at(loop, frequency, &gain, &angle)) {
    return;
  }
  /* -L at the angle p - 180 deg: p is left before it comes to -1, at L's own angle zero. */
  double left = angle - TURN * floor(angle / TURN); /* 0 to a turn */
  double either = left <= 0.5 * TURN ? left : left - TURN;
  if (fabs(either) < fabs(margins->phase)) {
    margins->phase = either;
    margins->phase_frequency = frequency;
  }
  margins->delay = fmin(margins->delay, left / frequency);
}

static int insert_about(double *frequencies, int count, const struct modes *modes) {
  for (int k = 0; k < modes->count; k++) {
    double own = mode_frequency(&modes->modes[k]);
    double width = fmax(fabs(mode_damping(&modes->modes[k])), 1e-6);
    for (int i = 0; own > 0.0 && i < AROUND && count < LOOP_FREQUENCIES; i++) {
      frequencies[count++] = own * (1.0 + width * (i - BESIDE) / (1.0 + AROUND * width));
    }
  }
  return count;
}

static void sort(double *values, int count) {
  for (int gap = count / 2; gap > 0; gap /= 2) {
    for (int i = gap; i < count; i++) {
      double own = values[i];
      int k = i;
      for (; k >= gap && values[k - gap] > own; k -= gap) {
        values[k] = values[k - gap];
      }
      values[k] = own;
    }
  }
}

static bool is_stable(const struct modes *modes) {
  for (int k = 0; k < modes->count; k++) {
    if (modes->modes[k].real > 0.0) {
      return false;
    }
  }
  return true;
}

static double fastest(const struct modes *modes, double least) {
  for (int k = 0; k < modes->count; k++) {
    least = fmax(least, mode_frequency(&modes->modes[k]));
  }
  return least;
}

static double slowest(const struct modes *modes, double most) {
  for (int k = 0; k < modes->count; k++) {
    double own = mode_frequency(&modes->modes[k]);
    most = own > 1e-4 ? fmin(most, own) : most;
  }
  return most;
}

bool loop_margins_find(const struct linear *linear, int cut, struct loop_margins *margins, struct error *error) {
  struct cut_loop loop;
  struct modes open;
  struct modes closed;
  double frequencies[LOOP_FREQUENCIES];
  cut_of(linear, cut, &loop);
  *margins = (struct loop_margins){INFINITY, 0.0, NAN, INFINITY, NAN, INFINITY, false, false};
  if (loop.rest.count < 1) {
    return error_set(error, ERROR_USAGE, "a loop needs two states at least");
  }
  if (!modes_find(&loop.rest, &open, error) || !modes_find(linear, &closed, error)) {
    return false;
  }
  margins->open_loop_stable = is_stable(&open) && loop.own <= 0.0;
  margins->closed_loop_stable = is_stable(&closed);
  double high = 100.0 * fastest(&closed, fastest(&open, fmax(fabs(loop.own), 1.0)));
  double low = 1e-3 * slowest(&closed, slowest(&open, 1.0));
  int count = insert_about(frequencies, insert_about(frequencies, 0, &open), &closed);
  int even = LOOP_FREQUENCIES - count;
  for (int i = 0; i < even; i++) {
    frequencies[count++] = low * pow(high / low, (double)i / (even - 1));
  }
  sort(frequencies, count);
  double before[2] = {NAN, NAN};
  bool found = false;
  for (int i = 0; i < count; i++) {
    double gain;
    double angle;
    if (!at(&loop, frequencies[i], &gain, &angle)) {
      before[0] = before[1] = NAN;
      continue;
    }
    found = found || gain > 0.0;
    double now[2] = {log(gain), sin(angle)};
    for (int phase = 0; phase < 2; phase++) {
      if (!isnan(before[phase]) && (now[phase] < 0.0) != (before[phase] < 0.0)) {
        double frequency = crossing(&loop, frequencies[i - 1], frequencies[i], phase == 1);
        if (phase == 1) {
          take_gain_crossing(&loop, frequency, margins);
        } else {
          take_phase_crossing(&loop, frequency, margins);
        }
      }
      before[phase] = now[phase];
    }
  }
  return found || error_set(error, ERROR_USAGE, "this state closes no loop: nothing of it comes back to its rate");
}
