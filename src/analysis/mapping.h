/* Which column of a trace is which signal, in what unit, and how near the run must come (docs/compare.md):
 *
 *   time: {column: t, unit: s}     # or {rate: 100 Hz}, {column: n, rate: 100 Hz}, {column: when, order:
 * day/month/year} signals:
 *     - {signal: line_a_pressure, column: p_A, unit: bar, band: 10 bar, rms: 4 bar, mean: 2 bar, noise: 1 bar,
 *        sensor: {gain: 1.02, lag: free, delay: 0 ms..5 ms, quantum: 2.5 bar}}
 *   shift: {largest: 0.5 s}        # or: shift: none
 *   drift: free                    # of the clock of the trace
 *   gaps: [-9999]
 *   from: 1 s
 *   to: 9 s
 */
#ifndef SWASHLOOP_ANALYSIS_MAPPING_H
#define SWASHLOOP_ANALYSIS_MAPPING_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"
#include "sensor.h"
#include "sentinels.h"
#include "trace.h"

enum { MAPPING_SIGNALS = 32 };

struct mapped {
  struct signal row; /* of the signal */
  char column[TRACE_NAME];
  char unit[TRACE_NAME]; /* "": that of the heading */
  double factor;         /* trace value times this, in the unit of the column ... */
  double offset;         /* ... plus this, SI */
  double band;           /* SI; NaN: not asked for. Largest deviation allowed at any instant */
  double rms;            /* SI; NaN: not asked for */
  double mean;           /* of the deviation, either way */
  double noise;          /* standard deviation of the measurement; NaN: found from what is left over */
  struct sensor sensor;
  int line;
};

struct mapping {
  char file[512];
  char time_column[TRACE_NAME]; /* "": the lines are counted, by `time_rate`, or the file says which it is */
  char time_unit[TRACE_NAME];
  double time_rate; /* Hz, of a sample index; 0: the column holds times */
  enum date_order date_order;
  struct sentinels gaps;
  struct mapped signals[MAPPING_SIGNALS];
  int count;
  double largest_shift;       /* s; 0: not to be looked for */
  bool clocks_are_one;        /* `shift: none`: not even where the trace lies outside the run */
  struct sensor_number drift; /* of the clock of all channels */
  double from;                /* s, in the time of the run */
  double to;                  /* s */
};

/* Signals are looked for in every plant. */
bool mapping_read(const char *path, struct mapping *mapping, struct error *error);
bool mapping_read_text(const char *name, const char *text, size_t length, struct mapping *mapping, struct error *error);

#endif
