/* Many runs of a case that differ in a few numbers, side by side in threads. Private to the search of `--keep`. */
#ifndef SWASHLOOP_ANALYSIS_KEEP_RUNS_H
#define SWASHLOOP_ANALYSIS_KEEP_RUNS_H

#include "keep.h"

struct keep_order {
  const struct case_data *data;
  int limit;                             /* its place */
  const struct varied_parameter *varied; /* what trial.value is written to */
  struct keep_trial *trials;
  int count;
  int jobs;
  const struct watcher *watcher;
  double done; /* share of the whole work before and after these runs, for the progress */
  double then;
};

/* Runs them all, into verdict, worst and the rest of each trial. False: memory is out, or it was interrupted. */
bool keep_runs(const struct keep_order *order, struct error *error);
/* What a run says of the limits, into a trial. */
void keep_judge(const struct outcome *outcome, int limit, struct keep_trial *trial);

#endif
