/* What moves what: derivatives of measures and of time histories of a run to numbers of its case. */
#ifndef SWASHLOOP_ANALYSIS_SENSITIVITY_H
#define SWASHLOOP_ANALYSIS_SENSITIVITY_H

#include "varied_parameter.h"
#include "history.h"
#include "run.h"

enum { SENSITIVITY_PARAMETERS = 24, SENSITIVITY_SIGNALS = 12 };

struct sensitivity_options {
  const char *const *to; /* paths */
  int to_count;
  const char *const *of; /* measures and signals; none: what the run has of the usual ones */
  int of_count;
  bool check; /* by central differences of whole runs as well */
};

struct sensitivity {
  struct varied_parameter varied[SENSITIVITY_PARAMETERS];
  int inside[SENSITIVITY_PARAMETERS]; /* 1: at its lower bound, -1: at its upper one; derivatives are taken inside */
  /* At a bound that means something else than what lies beside it (0: as the other rate): the measure that jumps there;
   * -1 where none does. Then there is no derivative. */
  int jumps[SENSITIVITY_PARAMETERS];
  int count;
  int measures[MEASURE_COUNT]; /* which, in the order of the report */
  int measure_count;
  int signals[SENSITIVITY_SIGNALS];
  int signal_count;
  struct outcome outcome;               /* of the run itself */
  struct sensitivity_result result;     /* derivatives, SI over SI */
  double (*differences)[MEASURE_COUNT]; /* by whole runs, NULL without a check; NaN where they do not agree among
                                           themselves */
  double (*doubts)[MEASURE_COUNT];      /* what two steps of difference differ by */
  struct history history;               /* the signals */
  int sample_count;                     /* derivatives: [sample][parameter][signal] */
  int sample_capacity;
  double *samples; /* SI over SI */
};

/* The case's output step is written to. */
bool sensitivity_find(struct case_data *data, const struct sensitivity_options *options, const struct watcher *watcher,
                      struct sensitivity *found, struct error *error);
void sensitivity_free(struct sensitivity *found);
/* The parameters in order of what their usual change does to a measure, the largest first; those without a derivative
 * last. */
void sensitivity_rank(const struct sensitivity *found, int measure, int *order);
bool sensitivity_write(const struct sensitivity *found, const struct case_data *data, const char *path,
                       const char *command, struct error *error);

#endif
