/* Margins of textbook loops and zeros of known systems, laid down as matrices: no machine is in it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "rows.h"
#include "state_space.h"

#define DEGREE (3.14159265358979323846 / 180.0)

/* Which number of a loop a row asks for. */
enum { GAIN, GAIN_FREQUENCY, PHASE, PHASE_FREQUENCY, DELAY };

/* Three lags in a ring, of corner frequencies `corners` (0: an integrator) and gain `gain`, cut at the last. */
static struct loop_margins ring(const double *corners, double gain) {
  struct linear linear = {.count = 3, .sizes = {1.0, 1.0, 1.0}};
  struct loop_margins margins;
  struct error error = {0};
  for (int i = 0; i < 3; i++) {
    linear.jacobian[i * 3 + i] = -corners[i];
    linear.jacobian[i * 3 + (i + 2) % 3] = i == 0 ? -gain : 1.0;
  }
  if (!loop_margins_find(&linear, 2, &margins, &error)) {
    margins.gain = margins.phase = margins.delay = NAN;
  }
  return margins;
}

static double number_of(const struct loop_margins *margins, int which) {
  const double numbers[] = {margins->gain, margins->gain_frequency, margins->phase / DEGREE, margins->phase_frequency,
                            margins->delay};
  return numbers[which];
}

/* 1/(s (s + 1) (s + 2)). */
static double plain(double which) {
  static const double corners[3] = {1.0, 2.0, 0.0};
  struct loop_margins margins = ring(corners, 1.0);
  return number_of(&margins, (int)which);
}

/* sqrt(10)/(s (s + 1) (s + 2)), whose gain is 1 at 1 rad/s. */
static double at_one(double which) {
  static const double corners[3] = {1.0, 2.0, 0.0};
  struct loop_margins margins = ring(corners, sqrt(10.0));
  return number_of(&margins, (int)which);
}

/* 2/(s + 1)^3. */
static double three_lags(double which) {
  static const double corners[3] = {1.0, 1.0, 1.0};
  struct loop_margins margins = ring(corners, 2.0);
  return number_of(&margins, (int)which);
}

/* Closed, is the loop of gain 6 times `share` stable? */
static double stable(double share) {
  static const double corners[3] = {1.0, 2.0, 0.0};
  return ring(corners, 6.0 * share).closed_loop_stable;
}

/* Two masses of 2 kg and 3 kg joined by 12 N/m, moved at the first and seen there: the zeros are the second's own
 * swing, its spring held at the other end. In sizes far apart, as a machine's states are. */
static double two_masses(double imaginary) {
  struct linear linear = {.count = 4, .sizes = {1e-3, 1e2, 5.0, 1e-6}};
  static const double matrix[16] = {0, 1, 0, 0, -6, 0, 6, 0, 0, 0, 0, 1, 4, 0, -4, 0};
  static const double output[4] = {1.0, 0.0, 0.0, 0.0};
  struct linear_input input = {.by_rate = {0.0, 0.5, 0.0, 0.0}};
  struct space_zeros zeros;
  struct error error = {0};
  memcpy(linear.jacobian, matrix, sizeof matrix);
  if (!space_zeros(&linear, &input, output, &zeros, &error) || zeros.count != 2 || zeros.relative_degree != 2) {
    return NAN;
  }
  return imaginary > 0.0 ? fabs(zeros.imaginary[0]) : zeros.real[0];
}

/* (1 - s)/((s + 1) (s + 2)): the output starts the wrong way. */
static double wrong_way(double ignored) {
  struct linear linear = {.count = 2, .sizes = {1.0, 1.0}, .jacobian = {0.0, 1.0, -2.0, -3.0}};
  static const double output[2] = {1.0, -1.0};
  struct linear_input input = {.by_rate = {0.0, 1.0}};
  struct space_zeros zeros;
  struct error error = {0};
  (void)ignored;
  return space_zeros(&linear, &input, output, &zeros, &error) && zeros.count == 1 ? zeros.real[0] : NAN;
}

/* (s + 3)/(s + 1) = 1 + 2/(s + 1): the input passes directly. */
static double directly(double ignored) {
  struct linear linear = {.count = 1, .sizes = {1.0}, .jacobian = {-1.0}};
  static const double output[1] = {2.0};
  struct linear_input input = {.by_rate = {1.0}, .by_signal = 1.0};
  struct space_zeros zeros;
  struct error error = {0};
  (void)ignored;
  return space_zeros(&linear, &input, output, &zeros, &error) && zeros.count == 1 ? zeros.real[0] : NAN;
}

#define ROUTH "Routh: s^3 + 3 s^2 + 2 s + K is stable for K < 6, at the limit s = j sqrt(2)"
#define BY_HAND "by hand: 180 - 90 - atan(1) - atan(1/2) degrees, gain sqrt(10)/(1 sqrt(2) sqrt(5))"
#define LAGS "by hand: each lag turns by 60 degrees at sqrt(3), where it takes one half"
#define LAW "margins and zeros of a linear system"

static const struct row rows[] = {
    {"Z1", LAW, "1/(s(s+1)(s+2)): gain margin", "", 6.0, 1e-9, RELATIVE, ROUTH, CLOSED_FORM, plain, GAIN, NULL},
    {"Z1", LAW, "frequency of it", "rad/s", 1.41421356237, 1e-9, RELATIVE, ROUTH, CLOSED_FORM, plain, GAIN_FREQUENCY,
     NULL},
    {"Z1", LAW, "closed with 0.999 of the limit: stable", "", 1.0, 0.0, ABSOLUTE, ROUTH, CLOSED_FORM, stable, 0.999,
     NULL},
    {"Z1", LAW, "closed with 1.001 of it", "", 0.0, 0.0, ABSOLUTE, ROUTH, CLOSED_FORM, stable, 1.001, NULL},
    {"Z2", LAW, "sqrt(10)/(s(s+1)(s+2)): phase margin", "deg", 18.4349488229, 1e-9, RELATIVE, BY_HAND, CLOSED_FORM,
     at_one, PHASE, NULL},
    {"Z2", LAW, "frequency of it", "rad/s", 1.0, 1e-9, RELATIVE, BY_HAND, CLOSED_FORM, at_one, PHASE_FREQUENCY, NULL},
    {"Z2", LAW, "delay that it bears", "s", 0.321750554397, 1e-9, RELATIVE, BY_HAND, CLOSED_FORM, at_one, DELAY, NULL},
    {"Z3", LAW, "2/(s+1)^3: gain margin", "", 4.0, 1e-9, RELATIVE, LAGS, CLOSED_FORM, three_lags, GAIN, NULL},
    {"Z3", LAW, "frequency of it", "rad/s", 1.73205080757, 1e-9, RELATIVE, LAGS, CLOSED_FORM, three_lags,
     GAIN_FREQUENCY, NULL},
    {"Z4", LAW, "two masses and a spring, moved and seen at the first: zero, sqrt(k/m2)", "rad/s", 2.0, 1e-9, RELATIVE,
     "closed form: the second mass on its spring", CLOSED_FORM, two_masses, 1.0, NULL},
    {"Z4", LAW, "its real part", "1/s", 0.0, 1e-9, ABSOLUTE, "closed form: the second mass on its spring", CLOSED_FORM,
     two_masses, 0.0, NULL},
    {"Z5", LAW, "(1-s)/((s+1)(s+2)): zero", "1/s", 1.0, 1e-9, RELATIVE, "read off the numerator", CLOSED_FORM,
     wrong_way, 0, NULL},
    {"Z5", LAW, "(s+3)/(s+1): zero", "1/s", -3.0, 1e-9, RELATIVE, "read off the numerator", CLOSED_FORM, directly, 0,
     NULL},
};

ROWS_MAIN(rows)
