/* Numbers of a case from measured traces: least squares within bounds, with what the traces can tell and what not. */
#ifndef SWASHLOOP_ANALYSIS_FITTING_H
#define SWASHLOOP_ANALYSIS_FITTING_H

#include "varied_parameter.h"
#include "measured.h"
#include "run.h"

enum { FIT_PARAMETERS = 12, FIT_TRACES = 16, FIT_UNKNOWNS = FIT_PARAMETERS + FIT_TRACES };

struct fit_options {
  const char *const *parameters; /* "PATH", "PATH=LOW..HIGH" */
  int parameter_count;
  const char *const *traces;
  int trace_count;
  const char *mapping;
  int starts; /* from the case's values and so many places more */
};

struct fit_parameter {
  struct varied_parameter varied;
  char path[256];
  double low;       /* SI */
  double high;      /* SI */
  double value;     /* found */
  double deviation; /* one standard deviation */
  double from;      /* 95 % interval */
  double to;        /* SI */
  bool at_bound;
  bool identified;
  char why[200]; /* when it is not */
};

/* A direction of the unknowns, each over its size: what the traces say of it. */
struct fit_direction {
  double deviation;             /* one standard deviation along it, 1: as large as the numbers themselves */
  double parts[FIT_PARAMETERS]; /* of the unit vector */
  bool undetermined;
};

struct fit_pair {
  int first;
  int second;
  double correlation; /* -1 to 1 */
};

struct fit {
  struct mapping mapping;
  struct fit_parameter parameters[FIT_PARAMETERS];
  int parameter_count;
  struct measured measured[FIT_TRACES];
  int trace_count;
  double shifts[FIT_TRACES]; /* s */
  bool shifts_fitted;
  double noise[MAPPING_SIGNALS]; /* standard deviation of what is left, SI */
  double memory;                 /* largest correlation of what is left from one sample to the next */
  double correlation[FIT_PARAMETERS][FIT_PARAMETERS];
  struct fit_direction directions[FIT_UNKNOWNS];
  int direction_count;
  double condition; /* largest singular value over the smallest */
  long residual_count;
  long runs;
  bool converged;
  double *models[FIT_TRACES][MAPPING_SIGNALS]; /* the run at the instants of the traces */
};

/* The parameters that bring the runs of `data` nearest to the traces; `data` is written to. Give it back with fit_free.
 */
bool fit_find(struct case_data *data, const struct fit_options *options, const struct watcher *watcher, struct fit *fit,
              struct error *error);
void fit_free(struct fit *fit);
/* Into a file that opens as netCDF-4 (docs/fit.md). */
bool fit_write(const struct fit *fit, const struct case_data *data, const char *path, const char *command,
               struct error *error);

#endif
