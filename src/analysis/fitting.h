/* Numbers of a case from measured traces: the most likely within bounds, with what the traces can tell and what not. */
#ifndef SWASHLOOP_ANALYSIS_FITTING_H
#define SWASHLOOP_ANALYSIS_FITTING_H

#include "diagnosis.h"
#include "observation.h"
#include "run.h"

enum { FIT_RIVALS = 8, FIT_OUTLIERS = 24 };

struct fit_options {
  const char *const *parameters; /* "PATH", "PATH=LOW..HIGH" */
  int parameter_count;
  const char *const *traces;
  int trace_count;
  const char *mapping;
  const char *const *tests; /* "CASE,TRACE...,MAPPING": further ones */
  int test_count;
  const char *const *sets; /* of the first case; they hold for the others as well */
  int set_count;
  int starts; /* from the case's values and so many places more */
  enum loss loss;
};

struct fit_parameter {
  struct varied_parameter varied;
  char path[256];
  double low;  /* SI */
  double high; /* SI */
};

/* What was found of one unknown; the first are the parameters, in order. */
struct fit_number {
  struct unknown unknown;
  double value;       /* SI */
  double deviation;   /* one standard deviation, by the curvature */
  double linear_from; /* 95 % interval of the same */
  double linear_to;
  double from; /* 95 % interval by the profile of the likelihood */
  double to;
  bool open_low; /* the interval ends at the bound, not before it */
  bool open_high;
  bool identified;  /* the value may be claimed */
  bool established; /* so may its interval */
  char why[460];    /* when one of the two may not */
};

/* A direction of the unknowns, each over its size: what the traces say of it. */
struct fit_direction {
  double deviation;                /* one standard deviation along it, 1: as large as the numbers themselves */
  double parts[ESTIMATE_UNKNOWNS]; /* of the unit vector */
  bool undetermined;
};

/* Another minimum. */
struct fit_rival {
  double values[ESTIMATE_UNKNOWNS];
  double worse;  /* by so much twice the logarithm of the likelihood */
  bool excluded; /* it is so much worse that every interval would exclude it */
};

struct fit {
  struct observation observation;
  struct fit_parameter parameters[FIT_PARAMETERS];
  int parameter_count;
  struct fit_number numbers[ESTIMATE_UNKNOWNS];
  int number_count;
  double memory; /* largest correlation of what is left from one sample to the next */
  double correlation[ESTIMATE_UNKNOWNS][ESTIMATE_UNKNOWNS];
  struct fit_direction directions[ESTIMATE_UNKNOWNS];
  int direction_count;
  double condition; /* largest singular value over the smallest */
  double unrest;    /* information_unrest */
  struct fit_rival rivals[FIT_RIVALS];
  int rival_count;
  int minima; /* places where searches ended */
  struct diagnosis diagnosis;
  struct outlier outliers[FIT_OUTLIERS];
  long outlier_count;
  double outlier_limit;
  bool converged;
  double *models[FIT_TRACES][MAPPING_SIGNALS]; /* what the traces would show, at their instants */
};

/* The parameters that bring the runs of `data` nearest to the traces; `data` is written to. Give it back with fit_free,
 * whatever came of it. */
bool fit_find(struct case_data *data, const struct fit_options *options, const struct watcher *watcher, struct fit *fit,
              struct error *error);
void fit_free(struct fit *fit);
/* Where the clock of a trace stands. */
double fit_shift(const struct fit *fit, int trace);
/* Into a file that opens as netCDF-4 (docs/fit.md). */
bool fit_write(const struct fit *fit, const struct case_data *data, const char *path, const char *command,
               struct error *error);

/* ---- between the files of a fit ---- */

/* The minimum, from several places; `point` belongs to the observation's estimate. */
bool fit_search(struct fit *fit, int starts, struct estimate_point *point, struct error *error);
/* Intervals, rivals, refusals; may find a lower minimum and goes on from it. */
bool fit_know(struct fit *fit, struct estimate_point *point, struct error *error);

#endif
