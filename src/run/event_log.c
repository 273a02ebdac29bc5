#include "event_log.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "thresholds.h"
#include "units.h"

/* A valve that chatters would fill the memory: beyond these an event is only counted. */
enum { EVENT_LOG_LIMIT = 2000, EVENT_LOG_LIMIT_EACH = 200 };

bool event_log_add(struct outcome *outcome, const struct plant *plant, double time, const char *name, const char *words,
                   int signal, double value, struct error *error) {
  if (outcome->event_count >= EVENT_LOG_LIMIT) {
    outcome->events_left_out++;
    return true;
  }
  if (outcome->event_count == outcome->event_capacity) {
    int capacity = outcome->event_capacity > 0 ? 2 * outcome->event_capacity : 32;
    struct run_event *events = realloc(outcome->events, (size_t)capacity * sizeof *events);
    if (events == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for events");
    }
    outcome->events = events;
    outcome->event_capacity = capacity;
  }
  int place = outcome->event_count++;
  while (place > 0 && outcome->events[place - 1].time > time) {
    outcome->events[place] = outcome->events[place - 1];
    place--;
  }
  struct run_event *event = &outcome->events[place];
  event->time = time;
  event->signal = signal;
  event->value = signal >= 0 ? value : NAN;
  snprintf(event->name, sizeof event->name, "%s", name);
  if (signal >= 0) {
    char shown[64];
    units_show(plant->signals[signal].quantity, value, shown, sizeof shown);
    snprintf(event->message, sizeof event->message, "%s (%s %s)", words, plant->signals[signal].text, shown);
  } else {
    snprintf(event->message, sizeof event->message, "%s", words);
  }
  return true;
}

bool event_log_motion(struct outcome *outcome, const struct plant *plant, const struct motion *motion,
                      const struct motion_note *note, struct error *error) {
  const struct motion_words *row = &motion_words[note->news];
  const struct stop_observer *stop = &motion->stop;
  bool by_speed = note->news == NEWS_BRAKING || note->news == NEWS_CREEPS;
  char words[200];
  switch (note->news) {
  case NEWS_BRAKING:
    (void)snprintf(words, sizeof words, "%s: %s", row->words, stop->why);
    break;
  case NEWS_STOP:
    (void)snprintf(words, sizeof words, "%s %.4g m and %.4g s after braking started%s", row->words,
                   fabs(stop->stop.distance - stop->begin.distance), stop->stop.time - stop->from,
                   stop->kind == STOP_INTO_CREEP ? ", below " STOP_SPEED_WORDS " from here on" : "");
    break;
  default:
    (void)snprintf(words, sizeof words, "%s", row->words);
    break;
  }
  return event_log_add(outcome, plant, note->time, row->name, words, by_speed ? motion->speed : motion->distance,
                       by_speed ? note->speed : note->distance, error);
}

struct side {
  int event;
  bool above;
  double level; /* zero going down, the hysteresis going up */
};

static bool is_above(const void *context, const struct sample *sample) {
  const struct side *side = context;
  return (sample->events[side->event] > side->level) == side->above;
}

void event_observer_begin(struct event_observer *observer, const struct view *view, const struct sample *sample) {
  memset(observer, 0, sizeof *observer);
  for (int i = 0; i < view->plant->event_count; i++) {
    observer->above[i] = sample->events[i] > 0.0;
  }
}

static bool tell(struct event_observer *observer, const struct view *view, int i, const struct sample *found,
                 struct outcome *outcome, struct error *error) {
  const struct event_row *row = &view->plant->events[i];
  observer->above[i] = !observer->above[i];
  const char *words = observer->above[i] ? row->rising : row->falling;
  if (words[0] == '\0') {
    return true;
  }
  if (observer->reported[i]++ >= EVENT_LOG_LIMIT_EACH) {
    outcome->events_left_out++;
    return true;
  }
  return event_log_add(outcome, view->plant, found->time, row->name, words, row->signal, found->signals[row->signal],
                       error);
}

bool event_observer_observe(struct event_observer *observer, const struct view *view, const struct step *step,
                            struct outcome *outcome, struct error *error) {
  for (int i = 0; i < view->plant->event_count; i++) {
    struct step part = *step;
    for (int crossing = 0; crossing < 2; crossing++) {
      bool above = !observer->above[i];
      struct side side = {i, above, above ? view->plant->events[i].hysteresis : 0.0};
      struct sample found;
      if (!view_first(view, &part, is_above, &side, &found)) {
        break;
      }
      if (!tell(observer, view, i, &found, outcome, error)) {
        return false;
      }
      part.start = step->middle; /* the second search is in the rest of the step only */
      part.middle = step->end;
    }
  }
  return true;
}
