/* The event log of a run: its events, in time order, in words. Of an event that comes again and again (a valve that
 * chatters, a machine that hunts) the first 200 are kept and the last; one more, of the same name, tells how many came
 * in between and until when. What the operator does is always kept. */
#ifndef SWASHLOOP_RUN_EVENT_LOG_H
#define SWASHLOOP_RUN_EVENT_LOG_H

#include "run.h"
#include "stop.h"
#include "view.h"

/* Add an event; `signal` (-1 none) tells a value with it. `name` outlives the outcome. */
bool event_log_add(struct outcome *outcome, const struct plant *plant, double time, const char *name, const char *words,
                   int signal, double value, struct error *error);

/* An event that the run finds, whatever the plant. */
bool event_log_motion(struct outcome *outcome, const struct plant *plant, const struct motion *motion,
                      const struct motion_note *note, struct error *error);

/* The run is over: tell what was not kept. */
bool event_log_end(struct outcome *outcome, const struct plant *plant, struct error *error);

/* Report-only events of the plant: which side of zero each function was on. */
struct event_observer {
  bool above[PLANT_EVENT_LIMIT];
};

/* Before the first step; then each step: what crossed within it goes into the log. */
void event_observer_begin(struct event_observer *observer, const struct view *view, const struct sample *sample);
bool event_observer_observe(struct event_observer *observer, const struct view *view, const struct step *step,
                            struct outcome *outcome, struct error *error);

#endif
