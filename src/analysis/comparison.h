/* A run against a measured trace: how far apart their clocks are, how far apart their signals. */
#ifndef SWASHLOOP_ANALYSIS_COMPARISON_H
#define SWASHLOOP_ANALYSIS_COMPARISON_H

#include "diagnosis.h"
#include "measured.h"

/* A run's signal. */
struct curve {
  int count;
  const double *time;
  const double *values;
  double straight; /* straight lines between its samples stay within this, SI; NaN: unknown */
};

/* The shift that brings the trace onto the run: run time = trace time + shift. Largest mean correlation of the signals
 * over a common part of half the trace at least, found on a grid, then to a thousandth of a sample between. False when
 * no shift has enough in common. */
bool comparison_shift(const struct measured *measured, const struct curve *curves, int count, double largest,
                      double *shift, double *correlation);

/* Where a trace lies beside the run, by a clock of its own: the best shift of all that leave enough in common. */
bool comparison_offset(const struct measured *measured, const struct curve *curves, int count, double *offset);
/* The shift that a mapping allows: within its largest; where the trace has nothing in common with the run there, any
 * (told), unless it says that the clocks are one. False: a shift was asked for and there is none. */
bool comparison_clock(const struct mapping *mapping, struct measured *measured, const struct curve *curves,
                      double *shift, double *correlation);

struct deviation {
  long count;          /* instants compared */
  double mean;         /* run less trace, SI */
  double rms;          /* SI */
  double largest;      /* absolute */
  double largest_time; /* s */
  double correlation;  /* NaN where one of them stands still */
  double explained;    /* 1 - sum of squares left over sum about the mean: 1 is perfect */
  /* The run is known at its samples only. What lies between them is read, and may be off by so much: */
  double doubt;     /* largest at any instant */
  double doubt_rms; /* root of the mean square */
  double least;     /* what the largest deviation is at least, and at most, whatever the reading is off by */
  double most;
};

/* Of one signal, over the instants of the trace that fall within from..to and within the run. */
struct deviation comparison_deviation(const struct measured *measured, int signal, const struct curve *curve,
                                      double shift, double from, double to);

/* Not judged: there is a band, and no value, or the samples of the run are too far apart to tell. */
enum verdict { VERDICT_NOT_ASKED, VERDICT_KEPT, VERDICT_NOT_JUDGED, VERDICT_BROKEN };
extern const char *const verdict_names[]; /* "not asked", "kept", "not judged", "broken" */

struct compared {
  struct deviation deviation;
  enum verdict verdict;
  char why[224]; /* when broken or not judged, what */
};

struct comparison {
  struct mapping mapping;
  struct measured measured;
  char title[256];
  double shift;               /* s, of the trace */
  double correlation;         /* at the shift */
  double correlation_at_zero; /* without the shift */
  int run_count;
  double *run_time;                    /* s */
  double *run_values[MAPPING_SIGNALS]; /* SI, as the sensors would show them */
  double straight_share; /* of a signal's range, what straight lines between the run's samples stay within; or NaN */
  struct compared compared[MAPPING_SIGNALS];
  int broken;
  int unjudged;
  struct finding found[FINDINGS]; /* terms of sensors that the mapping left free */
  int found_count;
  struct diagnosis diagnosis; /* and those that stand out though nobody asked for them */
};

/* The run of a file against a trace, as a mapping tells. False: one of the three cannot be read, or they have nothing
 * in common. Give it back with comparison_free. */
bool comparison_find(const char *run_file, const char *trace_file, const char *mapping_file,
                     struct comparison *comparison, struct error *error);
/* Between reading and judging: lays the mapping's sensors between run and trace, and looks for what others would be. */
bool comparison_sensors(struct comparison *comparison, struct error *error);
void comparison_free(struct comparison *comparison);
/* Into a file that opens as netCDF-4 (docs/compare.md). */
bool comparison_write(const struct comparison *comparison, const char *path, const char *command, struct error *error);

#endif
