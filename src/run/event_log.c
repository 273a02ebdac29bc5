#include "event_log.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "thresholds.h"
#include "units.h"

/* A valve that chatters would fill the memory. Even, so that what is kept of a pair ends as it began. */
enum { KEPT_OF_EACH = 200 };

/* A place for one more, in order of time. NULL when memory is out. */
static struct run_event *make_room(struct outcome *outcome, double time, struct error *error) {
  if (outcome->event_count == outcome->event_capacity) {
    int capacity = outcome->event_capacity > 0 ? 2 * outcome->event_capacity : 32;
    struct run_event *events = realloc(outcome->events, (size_t)capacity * sizeof *events);
    if (events == NULL) {
      error_set(error, ERROR_MEMORY, "out of memory for events");
      return NULL;
    }
    outcome->events = events;
    outcome->event_capacity = capacity;
  }
  int place = outcome->event_count++;
  while (place > 0 && outcome->events[place - 1].time > time) {
    outcome->events[place] = outcome->events[place - 1];
    place--;
  }
  return &outcome->events[place];
}

static void fill(struct run_event *event, const struct plant *plant, double time, const char *name, const char *words,
                 int signal, double value) {
  event->time = time;
  event->signal = signal;
  event->value = signal >= 0 ? value : NAN;
  (void)snprintf(event->name, sizeof event->name, "%s", name);
  if (signal >= 0) {
    char shown[64];
    units_show(plant->signals[signal].quantity, value, shown, sizeof shown);
    (void)snprintf(event->message, sizeof event->message, "%s (%s %s)", words, plant->signals[signal].text, shown);
  } else {
    (void)snprintf(event->message, sizeof event->message, "%s", words);
  }
}

/* NULL: all are kept. */
static struct event_tally *tally_of(struct outcome *outcome, const char *name) {
  if (strcmp(name, "action") == 0) {
    return NULL;
  }
  for (int i = 0; i < outcome->tally_count; i++) {
    if (strcmp(outcome->tallies[i].name, name) == 0) {
      return &outcome->tallies[i];
    }
  }
  if (outcome->tally_count == EVENT_TALLY_LIMIT) {
    return NULL;
  }
  struct event_tally *tally = &outcome->tallies[outcome->tally_count++];
  tally->name = name;
  return tally;
}

bool event_log_add(struct outcome *outcome, const struct plant *plant, double time, const char *name, const char *words,
                   int signal, double value, struct error *error) {
  struct event_tally *tally = tally_of(outcome, name);
  if (tally != NULL && tally->kept >= KEPT_OF_EACH) {
    if (tally->left_out++ == 0) {
      tally->left_out_from = time;
    } else {
      tally->left_out_until = tally->last.time;
    }
    fill(&tally->last, plant, time, name, words, signal, value);
    return true;
  }
  struct run_event *event = make_room(outcome, time, error);
  if (event == NULL) {
    return false;
  }
  fill(event, plant, time, name, words, signal, value);
  if (tally != NULL) {
    tally->kept++;
  }
  return true;
}

/* The last is kept after all, so that the log ends in the state in which the run does. */
bool event_log_end(struct outcome *outcome, const struct plant *plant, struct error *error) {
  for (int i = 0; i < outcome->tally_count; i++) {
    struct event_tally *tally = &outcome->tallies[i];
    if (tally->left_out == 0) {
      continue;
    }
    struct run_event *last = make_room(outcome, tally->last.time, error);
    if (last == NULL) {
      return false;
    }
    *last = tally->last;
    if (--tally->left_out == 0) {
      continue;
    }
    const struct run_event *shown = &tally->last;
    const char *bracket = shown->signal >= 0 ? strstr(shown->message, " (") : NULL;
    int length = (int)(bracket != NULL ? bracket - shown->message : (long)strlen(shown->message));
    char words[200];
    (void)snprintf(words, sizeof words, "%ld more of these until %.3f s, not kept one by one: %.*s", tally->left_out,
                   tally->left_out_until, length < 100 ? length : 100, shown->message);
    struct run_event *rest = make_room(outcome, tally->left_out_from, error);
    if (rest == NULL) {
      return false;
    }
    fill(rest, plant, tally->left_out_from, tally->name, words, -1, NAN);
    outcome->events_left_out += tally->left_out;
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

static bool is_above(const void *context, const struct sample *sample, double *beyond) {
  const struct side *side = context;
  *beyond = side->above ? sample->events[side->event] - side->level : side->level - sample->events[side->event];
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
  return event_log_add(outcome, view->plant, found->time, row->name, words, row->signal, found->signals[row->signal],
                       error);
}

/* The crossings of event function i within the step, first to last. */
static bool tell_crossings(struct event_observer *observer, const struct view *view, int i, const struct step *step,
                           struct outcome *outcome, struct error *error) {
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
  return true;
}

bool event_observer_observe(struct event_observer *observer, const struct view *view, const struct step *step,
                            struct outcome *outcome, struct error *error) {
  const double *middle = step->middle->events;
  const double *end = step->end->events;
  for (int i = 0; i < view->plant->event_count; i++) {
    bool above = observer->above[i];
    double level = above ? 0.0 : view->plant->events[i].hysteresis;
    if ((middle[i] > level) == above && (end[i] > level) == above) {
      continue; /* nearly always: nothing crosses */
    }
    if (!tell_crossings(observer, view, i, step, outcome, error)) {
      return false;
    }
  }
  return true;
}
