/* What a measuring channel makes of a signal: delay, lag, gain, offset, a clock that runs fast, steps of the converter.
 *
 *   lagged'(t) = (signal(t) - lagged(t)) / lag          a sensor or an anti-alias filter of first order
 *   shown(t)   = gain lagged(t - delay) + offset
 *   and the time of the trace runs (1 + drift) times as fast as time does.
 *
 * Pressures are gauge, temperatures kelvin. */
#ifndef SWASHLOOP_ANALYSIS_SENSOR_H
#define SWASHLOOP_ANALYSIS_SENSOR_H

#include <stdbool.h>

#include "quantity.h"

enum sensor_term { SENSOR_GAIN, SENSOR_OFFSET, SENSOR_LAG, SENSOR_DELAY, SENSOR_DRIFT };
enum { SENSOR_TERMS = 5 };

struct sensor_row {
  const char *name;
  double neutral; /* of a channel that shows the signal as it is */
  double least;   /* SI, what can be */
  double most;
  const char *text;
};
extern const struct sensor_row sensor_rows[SENSOR_TERMS];
/* The quantity of a term of a channel that shows `signal`; differences of pressures and temperatures. */
enum quantity sensor_quantity(enum sensor_term term, enum quantity signal);

/* A term as the mapping has it. */
struct sensor_number {
  double value; /* SI; NaN: wherever the bounds begin to be searched */
  bool given;
  bool free;
  double low; /* when free; NaN: the usual ones */
  double high;
};

struct sensor {
  struct sensor_number terms[SENSOR_TERMS];
  double quantum; /* SI; NaN: found in the trace; 0: none */
};

/* A channel that shows the signal as it is, its quantum to be found. */
struct sensor sensor_neutral(void);

/* What a lag of first order leaves of a signal that goes straight from sample to sample, exactly; at rest before the
 * first. Times rise. */
void sensor_lag(const double *time, const double *values, int count, double lag, double *lagged);

/* The step of the lattice that all numbers lie on, as near as they were written; 0 where there is none coarser than
 * `fine`. NaN are gaps. False: no memory. */
bool sensor_find_quantum(const double *values, int count, double fine, double *quantum);

#endif
