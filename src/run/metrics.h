/* Makes the measures of a run: follows extremes and timers, the stop after braking begins, the ledger, the limits.
 */
#ifndef SWASHLOOP_RUN_METRICS_H
#define SWASHLOOP_RUN_METRICS_H

#include "fuel_account.h"
#include "limits.h"
#include "observers.h"
#include "registry.h"
#include "run.h"
#include "stop.h"
#include "view.h"

enum { METRICS_EXTREMA = 24, METRICS_TIMERS = 2, METRICS_RELIEFS = 2 };

struct metrics {
  struct extremum extrema[METRICS_EXTREMA]; /* of the signals that the plant and its laws have */
  int extremum_rows[METRICS_EXTREMA];       /* which measures each makes */
  int extremum_count;
  struct timer timers[METRICS_TIMERS];
  int timer_rows[METRICS_TIMERS];
  int timer_count;
  int reliefs[METRICS_RELIEFS]; /* ledger rows of the main relief valves */
  int relief_count;
  struct motion motion;
  struct row_place speed; /* of the machine, if there is one */
  struct row_place distance;
  double creep_from;                       /* s: start of the last second */
  double creep_path;                       /* m: integral of |speed| from there */
  int duty_count;                          /* numbers that a duty goes by */
  double duty_sums[PLANT_DUTY_RATES];      /* their integrals over the run */
  double oil_start;                        /* m3 */
  double stored_start[PLANT_LEDGER_LIMIT]; /* J */
  struct fuel_account fuel;
  struct limits limits;
};

/* `metrics` is all zero, or of an earlier run, whose memory is used again. */
bool metrics_begin(struct metrics *metrics, const struct view *view, const struct sample *sample, struct error *error);
/* Braking starts at `from` (NaN: not known yet), for `why`; may be told again. */
void metrics_brake(struct metrics *metrics, const struct view *view, double from, const char *why);
/* When the observer must see an end of a step: the start of braking, if it lies ahead; HUGE_VAL otherwise. */
double metrics_next_time(const struct metrics *metrics, double t);
void metrics_observe(struct metrics *metrics, const struct view *view, const struct step *step);
/* The same of a step of which times and speeds of the machine are known at start, middle and end, but for extremes,
 * timers and limits: is there nothing to be found in it? Then `glide` adds what it adds. */
bool metrics_idle(const struct metrics *metrics, const double *times, const double *speeds);
void metrics_glide(struct metrics *metrics, const double *times, const double *speeds);
/* Marks the signals that are read of samples, from the first step to the end. */
void metrics_follow(const struct metrics *metrics, const struct view *view, bool *needed);
/* Fill outcome: measures, ledger, limits. `sample` is the last. */
bool metrics_end(struct metrics *metrics, const struct view *view, const struct sample *sample, struct outcome *outcome,
                 struct error *error);
void metrics_free(struct metrics *metrics);

#endif
