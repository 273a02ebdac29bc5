#include "summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "summary_energy.h"
#include "terminal.h"
#include "units.h"

enum { EVENT_LINES = 24, EVENT_LINES_AT_END = 3, SHOWN = 48 };

enum quantity summary_condition_quantity(const struct case_data *data, const struct condition *condition) {
  if (condition->signal >= 0) {
    return data->plant->signals[condition->signal].quantity;
  }
  return condition->signal == CONDITION_MEASURE ? measure_rows[condition->measure].quantity : QUANTITY_TIME;
}

bool summary_is_broken(const struct outcome *outcome, int limit) {
  for (int i = 0; i < outcome->broken_count; i++) {
    if (outcome->broken[i].limit == limit) {
      return true;
    }
  }
  return false;
}

static void print_head(FILE *out, const struct paint *paint, const struct case_data *data,
                       const struct outcome *outcome) {
  static const char *const words[] = {[RUN_COMPLETE] = "complete: ran to",
                                      [RUN_STOPPED] = "stopped by an event at",
                                      [RUN_FAILED] = "FAILED at",
                                      [RUN_INTERRUPTED] = "INTERRUPTED at"};
  bool good = outcome->status == RUN_COMPLETE || outcome->status == RUN_STOPPED;
  (void)fprintf(out, "%s%s%s\n", paint->strong, data->title, paint->plain);
  (void)fprintf(out, "case %s, circuit %s\n", data->source, data->plant->name);
  (void)fprintf(out, "%s%s %.6g s%s of %.6g s\n", good ? paint->good : paint->bad, words[outcome->status],
                outcome->end_time, paint->plain, data->simulation.end_time);
  if (outcome->status == RUN_FAILED) {
    (void)fprintf(out, "%s\n", outcome->error.text);
  }
}

static void print_title(FILE *out, const struct paint *paint, const char *title) {
  (void)fprintf(out, "\n%s%s%s\n", paint->strong, title, paint->plain);
}

static void print_event(FILE *out, const struct run_event *event) {
  (void)fprintf(out, "  %9.3f s  %s\n", event->time, event->message[0] != '\0' ? event->message : event->name);
}

static void print_events(FILE *out, const struct paint *paint, const struct outcome *outcome) {
  print_title(out, paint, "What happened");
  int count = outcome->event_count;
  if (count == 0) {
    (void)fputs("  nothing worth telling\n", out);
    return;
  }
  bool all = count <= EVENT_LINES + 1;
  int head = all ? count : EVENT_LINES - EVENT_LINES_AT_END;
  for (int i = 0; i < head; i++) {
    print_event(out, &outcome->events[i]);
  }
  if (!all) {
    (void)fprintf(out, "             ... %d more are in the file (group events) ...\n",
                  count - head - EVENT_LINES_AT_END);
    for (int i = count - EVENT_LINES_AT_END; i < count; i++) {
      print_event(out, &outcome->events[i]);
    }
  }
  if (outcome->events_left_out > 0) {
    (void)fprintf(out, "             %ld beyond the largest number kept were not recorded\n", outcome->events_left_out);
  }
}

/* The measure NAME_time of a measure NAME, or -1. */
static int time_of(int measure) {
  char name[96];
  (void)snprintf(name, sizeof name, "%s_time", measure_rows[measure].name);
  for (int m = 0; m < MEASURE_COUNT; m++) {
    if (strcmp(measure_rows[m].name, name) == 0) {
      return m;
    }
  }
  return -1;
}

static bool is_time_of_another(int measure) {
  const char *name = measure_rows[measure].name;
  for (int m = 0; m < MEASURE_COUNT; m++) {
    size_t length = strlen(measure_rows[m].name);
    if (m != measure && strncmp(name, measure_rows[m].name, length) == 0 && strcmp(name + length, "_time") == 0) {
      return true;
    }
  }
  return false;
}

/* Absent, shown elsewhere on the page, or of a relief valve that stayed shut. */
static bool is_left_out(const struct outcome *outcome, int measure) {
  const char *name = measure_rows[measure].name;
  bool shut_a = !(outcome->measures[MEASURE_relief_a_openings] > 0.0);
  bool shut_b = !(outcome->measures[MEASURE_relief_b_openings] > 0.0);
  return isnan(outcome->measures[measure]) || is_time_of_another(measure) || measure == MEASURE_energy_residual ||
         measure == MEASURE_oil_residual || (shut_a && strncmp(name, "relief_a_", 9) == 0) ||
         (shut_b && strncmp(name, "relief_b_", 9) == 0);
}

static void print_measures(FILE *out, const struct paint *paint, const struct outcome *outcome) {
  print_title(out, paint, "Measures (pressures are gauge)");
  for (int m = 0; m < MEASURE_COUNT; m++) {
    const struct signal *row = &measure_rows[m];
    bool has_vehicle = !isnan(outcome->measures[MEASURE_vehicle_speed_end]);
    if (m == MEASURE_stop_time && has_vehicle && isnan(outcome->measures[m])) {
      (void)fprintf(out, "  %-58s none: %s\n", row->text, outcome->absent[m]);
    }
    if (is_left_out(outcome, m)) {
      continue;
    }
    char shown[SHOWN];
    (void)fprintf(out, "  %-58s %14s", row->text, units_show(row->quantity, outcome->measures[m], shown, SHOWN));
    int when = time_of(m);
    if (when >= 0 && !isnan(outcome->measures[when])) {
      (void)fprintf(out, "  at %.3f s", outcome->measures[when]);
    }
    (void)fputc('\n', out);
  }
}

static void print_limit(FILE *out, const struct case_data *data, const struct broken_limit *near, const char *colour,
                        const char *word, const char *plain) {
  const struct limit *limit = &data->limits[near->limit];
  enum quantity quantity = summary_condition_quantity(data, &limit->keep);
  (void)fprintf(out, "  %s%-6s%s  %s: ", colour, word, plain, limit->text);
  if (isnan(near->worst)) {
    (void)fputs("there is no value", out);
  } else {
    char worst[SHOWN];
    bool is_measure = limit->keep.signal == CONDITION_MEASURE;
    (void)fprintf(out, "%s%s", is_measure ? "" : "worst ", units_show(quantity, near->worst, worst, SHOWN));
  }
  if (!isnan(near->time)) {
    (void)fprintf(out, " at %.3f s", near->time);
  }
  if (!isnan(near->first)) {
    (void)fprintf(out, ", first broken at %.3f s", near->first);
  }
  (void)fputc('\n', out);
}

/* A broken limit and by how much of its level it was broken. */
struct ranked {
  const struct broken_limit *broken;
  double excess;
};

static int worst_first(const void *left, const void *right) {
  double a = ((const struct ranked *)left)->excess;
  double b = ((const struct ranked *)right)->excess;
  return (a < b) - (a > b);
}

static void print_all_broken(FILE *out, const struct paint *paint, const struct case_data *data,
                             const struct outcome *outcome) {
  struct ranked *ranks = calloc((size_t)outcome->broken_count + 1, sizeof *ranks);
  if (ranks == NULL) {
    return;
  }
  for (int i = 0; i < outcome->broken_count; i++) {
    const struct broken_limit *broken = &outcome->broken[i];
    double level = data->limits[broken->limit].keep.level;
    double size = fabs(level) > 0.0 ? fabs(level) : 1.0;
    ranks[i].broken = broken;
    ranks[i].excess = isnan(broken->worst) ? (double)INFINITY : fabs(broken->worst - level) / size;
  }
  qsort(ranks, (size_t)outcome->broken_count, sizeof *ranks, worst_first);
  for (int i = 0; i < outcome->broken_count; i++) {
    print_limit(out, data, ranks[i].broken, paint->bad, "BROKEN", paint->plain);
  }
  free(ranks);
}

static void print_limits(FILE *out, const struct paint *paint, const struct case_data *data,
                         const struct outcome *outcome) {
  if (data->limit_count == 0) {
    return;
  }
  print_title(out, paint, "Limits");
  print_all_broken(out, paint, data, outcome);
  for (int i = 0; i < data->limit_count; i++) {
    if (!summary_is_broken(outcome, i)) {
      print_limit(out, data, &outcome->worst[i], paint->good, "kept", paint->plain);
    }
  }
}

static void print_solver(FILE *out, const struct paint *paint, const struct outcome *outcome) {
  const struct run_counts *counts = &outcome->counts;
  print_title(out, paint, "Solver");
  double per_call = counts->rate_calls > 0 ? 1e9 * counts->cpu_seconds / (double)counts->rate_calls : 0.0;
  (void)fprintf(out,
                "  %ld steps, %ld right-hand sides (%ld for %ld Jacobians), %ld restarts, %ld error-test and %ld "
                "convergence failures\n",
                counts->steps, counts->rate_calls, counts->jacobian_calls, counts->jacobians, counts->restarts,
                counts->error_failures, counts->convergence_failures);
  (void)fprintf(out, "  %.3f s of processor time, %.0f ns for each right-hand side with everything counted in\n",
                counts->cpu_seconds, per_call);
}

void summary_text(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file) {
  struct paint paint = paint_for(out);
  print_head(out, &paint, data, outcome);
  print_events(out, &paint, outcome);
  print_measures(out, &paint, outcome);
  print_limits(out, &paint, data, outcome);
  print_title(out, &paint, "Where the energy went");
  summary_energy(out, data->plant, outcome);
  print_solver(out, &paint, outcome);
  (void)fprintf(out, "\nfile %s\n", file);
  (void)fprintf(out, "%s" CAUTION "%s\n", paint.faint, paint.plain);
}
