/* Runs of a study whose points somebody chooses, one after the other: what came of each, kept in memory and in a
 * journal (FILE.journal), so that the same points asked again after an interruption are not run again. */
#ifndef SWASHLOOP_ODDS_ODDS_RUNS_H
#define SWASHLOOP_ODDS_ODDS_RUNS_H

#include "probe.h"

struct odds_runs;

struct odds_runs_order {
  struct review *review;
  const char *output; /* the journal is OUTPUT.journal; NULL: none is kept */
  bool resume;
  uint64_t method; /* fingerprint of what decides about the points */
  int jobs;
  void *context;
  bool (*stop)(void *context);
  void (*progress)(void *context, int64_t points);
};

/* Prepare; NULL on failure. odds_runs_close gives it back. */
struct odds_runs *odds_runs_open(const struct odds_runs_order *order, struct error *error);
/* Run `count` points more, values [point][axis] in SI. Returns false when a run could not be recorded. After a wish to
 * stop fewer are there than were asked for: those before the first that is missing. */
bool odds_runs_ask(struct odds_runs *runs, const double *values, int64_t count, struct error *error);
/* Points that are there, from the first on; how many of them were in the journal. */
int64_t odds_runs_count(const struct odds_runs *runs);
int64_t odds_runs_before(const struct odds_runs *runs);
bool odds_runs_stopped(const struct odds_runs *runs);
/* Of a point: the least margin and the fates of all limits together and of each (fates.h), over all cells. */
double odds_runs_margin(const struct odds_runs *runs, int64_t point);
const unsigned char *odds_runs_fates(const struct odds_runs *runs, int64_t point);
/* Processor time within the runs of this time, s. */
double odds_runs_busy(const struct odds_runs *runs);
/* What is done is in the answer: the journal goes. */
void odds_runs_drop_journal(struct odds_runs *runs);
void odds_runs_close(struct odds_runs *runs);

#endif
