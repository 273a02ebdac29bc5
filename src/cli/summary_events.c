#include "summary_events.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "units.h"

enum { EVENT_LINES = 24, EVENT_LINES_AT_END = 3, SINGLES = 12, SHOWN = 48, REPETITION = 4 };

/* s: what comes again later than this is told anew; where the lines are too many, later than twice that, and so on */
#define REPETITION_GAP 1.0

/* Occurrences of one event that follow each other: what it says going one way, and the other. */
struct told {
  const struct run_event *first; /* in words, with its value, when it happened but once each way */
  const struct run_event *other; /* the first that says something else, or NULL */
  int times;                     /* that it said what the first says */
  int others;
  double last;
  double last_same; /* that said what the first says */
  double low;       /* of the values with the first's words */
  double high;
};

/* Length of what a message says before its value in brackets. */
static size_t words_length(const struct run_event *event) {
  const char *bracket = event->signal >= 0 ? strstr(event->message, " (") : NULL;
  return bracket != NULL ? (size_t)(bracket - event->message) : strlen(event->message);
}

static bool same_words(const struct run_event *a, const struct run_event *b) {
  size_t length = words_length(a);
  return length == words_length(b) && strncmp(a->message, b->message, length) == 0;
}

/* What happens once, by its nature, is told each time. */
static bool is_single(const struct run_event *event) {
  static const char *const singles[] = {"action", "mode", "braking", "stop", "hunting"};
  for (size_t i = 0; i < sizeof singles / sizeof singles[0]; i++) {
    if (strcmp(event->name, singles[i]) == 0) {
      return true;
    }
  }
  return false;
}

/* Can this event be one more of a repetition? */
static bool continues(const struct told *told, const struct run_event *event, double gap) {
  return !is_single(event) && strcmp(told->first->name, event->name) == 0 && event->time - told->last <= gap &&
         (same_words(told->first, event) || told->other == NULL || same_words(told->other, event));
}

static void add(struct told *told, const struct run_event *event) {
  told->last = event->time;
  if (same_words(told->first, event)) {
    told->times++;
    told->last_same = event->time;
    told->low = fmin(told->low, event->value);
    told->high = fmax(told->high, event->value);
  } else {
    told->other = told->other != NULL ? told->other : event;
    told->others++;
  }
}

/* Events into lines; returns how many. `told` has room for one an event. */
static int gather(const struct outcome *outcome, double gap, struct told *told, int *line_of) {
  int count = 0;
  for (int i = 0; i < outcome->event_count; i++) {
    const struct run_event *event = &outcome->events[i];
    int place = count - 1;
    while (place >= 0 && !continues(&told[place], event, gap)) {
      place--;
    }
    if (place < 0) {
      place = count++;
      told[place] = (struct told){event, NULL, 0, 0, event->time, event->time, (double)INFINITY, -(double)INFINITY};
    }
    add(&told[place], event);
    line_of[i] = place;
  }
  return count;
}

static void print_plain(FILE *out, const struct run_event *event) {
  (void)fprintf(out, "  %9.3f s  %s\n", event->time, event->message[0] != '\0' ? event->message : event->name);
}

static void print_repetition(FILE *out, const struct case_data *data, const struct told *told) {
  const struct run_event *first = told->first;
  (void)fprintf(out, "  %9.3f s  %.*s", first->time, (int)words_length(first), first->message);
  if (told->other != NULL) {
    (void)fprintf(out, ", %.*s", (int)words_length(told->other), told->other->message);
  }
  (void)fprintf(out, ": %d times, until %.3f s", told->times, told->last);
  if (told->times > 1 && told->last_same > first->time) {
    (void)fprintf(out, ", %.3g Hz", (told->times - 1) / (told->last_same - first->time));
  }
  if (first->signal >= 0) {
    const struct signal *signal = &data->plant->signals[first->signal];
    char low[SHOWN];
    char high[SHOWN];
    units_show(signal->quantity, told->low, low, SHOWN);
    units_show(signal->quantity, told->high, high, SHOWN);
    (void)fprintf(out, strcmp(low, high) == 0 ? " (%s %s)" : " (%s %s to %s)", signal->text, low, high);
  }
  (void)fputc('\n', out);
}

/* A line of the summary: a repetition, at its first event, or one event that is none. */
static bool is_line(const struct told *told, const struct run_event *event) {
  return told->times + told->others < 2 * REPETITION || told->first == event;
}

/* Lines, with what follows within `gap` gathered; returns how many. */
static int count_lines(const struct outcome *outcome, double gap, struct told *told, int *line_of) {
  int lines = 0;
  (void)gather(outcome, gap, told, line_of);
  for (int i = 0; i < outcome->event_count; i++) {
    lines += is_line(&told[line_of[i]], &outcome->events[i]);
  }
  return lines;
}

/* Of the lines from `from` to before `until`, those that are told even where the others are not. */
static int count_singles(const struct outcome *outcome, const struct told *told, const int *line_of, int from,
                         int until) {
  int line = 0;
  int singles = 0;
  for (int i = 0; i < outcome->event_count; i++) {
    if (is_line(&told[line_of[i]], &outcome->events[i])) {
      singles += line >= from && line < until && is_single(&outcome->events[i]);
      line++;
    }
  }
  return singles < SINGLES ? singles : SINGLES;
}

void summary_events(FILE *out, const struct case_data *data, const struct outcome *outcome) {
  if (outcome->event_count == 0) {
    (void)fputs("  nothing to report\n", out);
    return;
  }
  struct told *told = calloc((size_t)outcome->event_count, sizeof *told);
  int *line_of = calloc((size_t)outcome->event_count, sizeof *line_of);
  int lines = 0;
  if (told != NULL && line_of != NULL) {
    double gap = REPETITION_GAP;
    lines = count_lines(outcome, gap, told, line_of);
    while (lines > EVENT_LINES + 1 && gap < data->simulation.end_time) {
      gap *= 2.0;
      lines = count_lines(outcome, gap, told, line_of);
    }
  }
  bool all = lines <= EVENT_LINES + 1;
  int first_lines = EVENT_LINES - EVENT_LINES_AT_END;
  int singles = all ? 0 : count_singles(outcome, told, line_of, first_lines, lines - EVENT_LINES_AT_END);
  first_lines -= singles;
  int line = 0;
  bool cut = false;
  for (int i = 0; lines > 0 && i < outcome->event_count; i++) {
    const struct run_event *event = &outcome->events[i];
    const struct told *own = &told[line_of[i]];
    if (!is_line(own, event)) {
      continue;
    }
    bool single = line >= first_lines && is_single(event) && singles-- > 0;
    bool shown = all || single || line < first_lines || line >= lines - EVENT_LINES_AT_END;
    if (shown && own->times + own->others >= 2 * REPETITION) {
      print_repetition(out, data, own);
    } else if (shown) {
      print_plain(out, event);
    } else if (!cut) {
      cut = true;
      (void)fprintf(out, "             ... %d more are in the file (group events) ...\n", lines - EVENT_LINES);
    }
    line++;
  }
  free(told);
  free(line_of);
}
