/* A plant during a run, evaluated at any time within the integrator's last step. */
#ifndef SWASHLOOP_RUN_VIEW_H
#define SWASHLOOP_RUN_VIEW_H

#include <stdbool.h>

#include "case.h"
#include "integrator.h"
#include "plant.h"

/* All that can be known of one instant. */
struct sample {
  double time;                        /* s */
  double state[PLANT_STATE_LIMIT];    /* active states */
  double signals[PLANT_SIGNAL_LIMIT]; /* SI */
  double events[PLANT_EVENT_LIMIT];   /* above zero while what a row calls rising holds */
  double guards[PLANT_GUARD_LIMIT];   /* positive while the mode holds */
  double powers[PLANT_LEDGER_LIMIT];  /* W */
};

/* One step as the observers see it: its ends and its middle. */
struct step {
  const struct sample *start;
  const struct sample *middle;
  const struct sample *end;
};

struct view {
  const struct case_data *data;
  const struct plant *plant;
  void *model;
  void *mode;
  struct integrator *integrator;
  int state_count;
  bool no_events; /* nobody observes them: they are left out of samples */
};

/* Fill in everything that follows from sample->time and sample->state. */
void view_evaluate(const struct view *view, struct sample *sample);
/* Only the signals at t, within the last step; fills time, state and signals. */
void view_signals_at(const struct view *view, double t, struct sample *sample);
/* The sample at t, within the last step. */
void view_at(const struct view *view, double t, struct sample *sample);

/* Is it so at this sample? And how far beyond where the answer changes, in whatever unit, below zero for a no: where to
 * look next goes by it, what is found does not. */
typedef bool view_question(const void *context, const struct sample *sample, double *beyond);

/* The first instant in (start, end] of a step at which the answer is yes, given that it is no at its start; to about
 * 1e-12 of the time. Asks at the middle, so that a yes that lasts half a step is never missed. False if there is none.
 */
bool view_first(const struct view *view, const struct step *step, view_question *question, const void *context,
                struct sample *found);

#endif
