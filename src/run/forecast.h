/* What a run takes, found by trying a piece of it. */
#ifndef SWASHLOOP_RUN_FORECAST_H
#define SWASHLOOP_RUN_FORECAST_H

#include "run.h"

struct forecast {
  double rows;    /* samples of the time histories, if the run goes to its end */
  double events;  /* of the whole run */
  double seconds; /* processor time of the whole run */
  double tried;   /* s of the run that were tried; the end, or where it ended by itself: all of it */
};

/* Samples of a run that goes to its end. */
double forecast_rows(const struct simulation_parameters *simulation);
/* What the whole costs when so much of it, s, took so long; at least what it took. */
double forecast_whole(double took, double reached, double end_time);
/* Try the case for no more than so many seconds (wall clock), or until `stop` (may be NULL) says so, samples and all,
 * but written nowhere. The workspace is of its plant. False: it cannot start, or fails at once. */
bool forecast_run(struct run_workspace *workspace, const struct case_data *data, double budget, bool (*stop)(void),
                  struct outcome *outcome, struct forecast *forecast, struct error *error);

#endif
