#include "sensor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define OFF_LATTICE 0.02 /* of a step: numbers nearer to the lattice lie on it */

enum { MOST_LEVELS = 4096 };

const struct sensor_row sensor_rows[SENSOR_TERMS] = {
    {"gain", 1.0, 0.01, 100.0, "the sensor shows the signal so many times as large"},
    {"offset", 0.0, -HUGE_VAL, HUGE_VAL, "and so much more"},
    {"lag", 0.0, 0.0, 60.0, "it follows the signal as a first-order lag"},
    {"delay", 0.0, -60.0, 60.0, "it shows the signal so much later"},
    {"drift", 0.0, -0.1, 0.1, "its clock runs so much too fast"},
};

enum quantity sensor_quantity(enum sensor_term term, enum quantity signal) {
  switch (term) {
  case SENSOR_GAIN:
    return QUANTITY_NUMBER;
  case SENSOR_OFFSET:
    return signal == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : signal;
  case SENSOR_LAG:
  case SENSOR_DELAY:
    return QUANTITY_TIME;
  case SENSOR_DRIFT:
    break;
  }
  return QUANTITY_FRACTION;
}

struct sensor sensor_neutral(void) {
  struct sensor sensor = {.quantum = NAN};
  for (int term = 0; term < SENSOR_TERMS; term++) {
    sensor.terms[term] = (struct sensor_number){.value = sensor_rows[term].neutral, .low = NAN, .high = NAN};
  }
  return sensor;
}

void sensor_lag(const double *time, const double *values, int count, double lag, double *lagged) {
  if (!(lag > 0.0)) {
    memcpy(lagged, values, (size_t)count * sizeof *lagged);
    return;
  }
  if (count > 0) {
    lagged[0] = values[0];
  }
  /* Of a ramp a first-order lag makes the ramp one lag later, and what it begins with dies away:
   * y1 = x1 - s lag + (y0 - x0 + s lag) exp(-h/lag), s the slope. */
  double step = NAN;
  double left = 0.0;
  for (int k = 1; k < count; k++) {
    double now = time[k] - time[k - 1];
    if (now != step) {
      step = now;
      left = exp(-step / lag);
    }
    double behind = (values[k] - values[k - 1]) / step * lag;
    lagged[k] = values[k] - behind + (lagged[k - 1] - values[k - 1] + behind) * left;
  }
}

static int compare_numbers(const void *one, const void *other) {
  double a = *(const double *)one;
  double b = *(const double *)other;
  return (a > b) - (a < b);
}

/* Sorted, each once. */
static int levels_of(const double *values, int count, double fine, double *levels) {
  int found = 0;
  for (int k = 0; k < count; k++) {
    if (!isnan(values[k])) {
      levels[found++] = values[k];
    }
  }
  qsort(levels, (size_t)found, sizeof *levels, compare_numbers);
  int kept = 0;
  for (int k = 0; k < found; k++) {
    if (kept == 0 || levels[k] - levels[kept - 1] > fine) {
      levels[kept++] = levels[k];
    }
  }
  return kept;
}

bool sensor_find_quantum(const double *values, int count, double fine, double *quantum) {
  double *levels = malloc(((size_t)count + 1) * sizeof *levels);
  *quantum = 0.0;
  if (levels == NULL) {
    return false;
  }
  int kept = levels_of(values, count, fine, levels);
  double least = HUGE_VAL;
  for (int k = 1; k < kept; k++) {
    least = fmin(least, levels[k] - levels[k - 1]);
  }
  /* Two levels alone are a lattice by themselves: nothing is learnt from them. */
  bool lattice = kept >= 3 && kept <= MOST_LEVELS && least < HUGE_VAL;
  double step = least;
  for (int round = 0; lattice && round < 2; round++) { /* first by the finest difference, then by all of them */
    double steps = 0.0;
    for (int k = 1; lattice && k < kept; k++) {
      double apart = (levels[k] - levels[k - 1]) / step;
      lattice = fabs(apart - nearbyint(apart)) < OFF_LATTICE;
      steps += nearbyint(apart);
    }
    step = lattice ? (levels[kept - 1] - levels[0]) / steps : step;
  }
  *quantum = lattice ? step : 0.0;
  free(levels);
  return true;
}
