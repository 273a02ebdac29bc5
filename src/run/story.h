/* The story of a run: its events, in time order, in words. */
#ifndef SWASHLOOP_RUN_STORY_H
#define SWASHLOOP_RUN_STORY_H

#include "run.h"
#include "view.h"

/* Add an event; `signal` (-1 none) tells a value with it. Drops what is beyond a bound and counts it. */
bool story_add(struct outcome *outcome, const struct plant *plant, double time, const char *name, const char *words,
               int signal, double value, struct error *error);

/* Report-only events of the plant: which side of zero each function was on. */
struct event_watch {
  bool above[PLANT_EVENT_LIMIT];
  int told[PLANT_EVENT_LIMIT];
};

void event_watch_begin(struct event_watch *watch, const struct view *view, const struct moment *moment);
bool event_watch_follow(struct event_watch *watch, const struct view *view, const struct stretch *stretch,
                        struct outcome *outcome, struct error *error);

#endif
