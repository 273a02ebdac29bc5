/* Which column of a trace is which signal, in what unit, and how near the run must come (docs/compare.md):
 *
 *   time: {column: t, unit: s}
 *   signals:
 *     - {signal: line_a_pressure, column: p_A, unit: bar, band: 10 bar, rms: 4 bar, mean: 2 bar, noise: 1 bar}
 *   shift: {largest: 0.5 s}        # or: shift: none
 *   from: 1 s
 *   to: 9 s
 */
#ifndef SWASHLOOP_ANALYSIS_MAPPING_H
#define SWASHLOOP_ANALYSIS_MAPPING_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"
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
  int line;
};

struct mapping {
  char file[512];
  char time_column[TRACE_NAME];
  char time_unit[TRACE_NAME];
  struct mapped signals[MAPPING_SIGNALS];
  int count;
  double largest_shift; /* s; 0: the clocks are one */
  double from;          /* s, in the time of the run */
  double to;            /* s */
};

/* Signals are looked for in every plant. */
bool mapping_read(const char *path, struct mapping *mapping, struct error *error);
bool mapping_read_text(const char *name, const char *text, size_t length, struct mapping *mapping, struct error *error);

/* A trace made ready: times and signals in SI, without lines that have no time. */
struct measured {
  int count;
  double *time;                    /* s, rising */
  double *values[MAPPING_SIGNALS]; /* NaN: a gap */
};

/* The columns of a trace in SI, at rising times. Give them back with measured_free. */
bool mapping_apply(const struct mapping *mapping, const struct trace *trace, struct measured *measured,
                   struct error *error);
void measured_free(struct measured *measured);

#endif
