#include "summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "summary_energy.h"
#include "summary_events.h"
#include "terminal.h"
#include "units.h"
#include "text.h"

enum { SHOWN = 48 };

enum quantity summary_condition_quantity(const struct case_data *data, const struct condition *condition) {
  if (condition->signal >= 0) {
    return data->plant->signals[condition->signal].quantity;
  }
  return condition->signal == CONDITION_MEASURE ? measure_rows[condition->measure].quantity : QUANTITY_TIME;
}

static void print_head(FILE *out, const struct paint *paint, const struct case_data *data,
                       const struct outcome *outcome) {
  static const char *const words[] = {[RUN_COMPLETE] = "complete: ran to",
                                      [RUN_STOPPED] = "stopped by an event at",
                                      [RUN_FAILED] = "FAILED at",
                                      [RUN_INTERRUPTED] = "INTERRUPTED at"};
  bool good = outcome->status == RUN_COMPLETE || outcome->status == RUN_STOPPED;
  (void)fprintf(out, "%s%s%s\n", paint->strong, shown(data->title).text, paint->plain);
  (void)fprintf(out, "case %s, circuit %s\n", shown(data->source).text, data->plant->name);
  (void)fprintf(out, "%s%s %.6g s%s of %.6g s\n", good ? paint->good : paint->bad, words[outcome->status],
                outcome->end_time, paint->plain, data->simulation.end_time);
  if (outcome->status == RUN_FAILED) {
    (void)fprintf(out, "%s\n", outcome->error.text);
  }
}

static void print_title(FILE *out, const struct paint *paint, const char *title) {
  (void)fprintf(out, "\n%s%s%s\n", paint->strong, title, paint->plain);
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

/* Absent, amount elsewhere on the page, or of a relief valve that stayed shut. */
static bool is_left_out(const struct outcome *outcome, int measure) {
  const char *name = measure_rows[measure].name;
  bool shut_a = !(outcome->measures[MEASURE_relief_a_openings] > 0.0);
  bool shut_b = !(outcome->measures[MEASURE_relief_b_openings] > 0.0);
  return isnan(outcome->measures[measure]) || is_time_of_another(measure) || measure == MEASURE_energy_residual ||
         measure == MEASURE_oil_residual || measure == MEASURE_heat_residual ||
         (shut_a && strncmp(name, "relief_a_", 9) == 0) || (shut_b && strncmp(name, "relief_b_", 9) == 0);
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
    char amount[SHOWN];
    (void)fprintf(out, "  %-58s %14s", row->text, units_show(row->quantity, outcome->measures[m], amount, SHOWN));
    if (m == MEASURE_stop_from) {
      (void)fprintf(out, "  %s", outcome->braking_words);
    }
    int when = time_of(m);
    if (when >= 0 && !isnan(outcome->measures[when])) {
      (void)fprintf(out, "  at %.3f s", outcome->measures[when]);
    }
    (void)fputc('\n', out);
  }
}

static void print_limit(FILE *out, const struct case_data *data, int index, const struct limit_finding *found,
                        const char *colour, const char *word, const char *plain) {
  const struct limit *limit = &data->limits[index];
  enum quantity quantity = summary_condition_quantity(data, &limit->keep);
  (void)fprintf(out, "  %s%-10s%s  %s", colour, word, plain, shown(limit->text).text);
  const char *between = ": ";
  if (found->why[0] != '\0') {
    (void)fprintf(out, "%s%s", between, found->why);
    between = ", ";
  }
  if (!isnan(found->worst)) {
    char worst[SHOWN];
    bool is_measure = limit->keep.signal == CONDITION_MEASURE;
    (void)fprintf(out, "%s%s%s%s", between, is_measure ? "" : "worst ",
                  found->verdict == LIMIT_NOT_JUDGED ? "so far " : "",
                  units_show(quantity, found->worst, worst, SHOWN));
    if (!isnan(found->time)) {
      (void)fprintf(out, " at %.3f s", found->time);
    }
  }
  if (!isnan(found->first)) {
    (void)fprintf(out, ", first broken at %.3f s", found->first);
  }
  (void)fputc('\n', out);
}

/* A broken limit and by how much of its level it was broken. */
struct ranked {
  int index;
  double excess;
};

static int worst_first(const void *left, const void *right) {
  const struct ranked *a = left;
  const struct ranked *b = right;
  int by_excess = (a->excess < b->excess) - (a->excess > b->excess);
  return by_excess != 0 ? by_excess : (a->index > b->index) - (a->index < b->index);
}

static void print_all_broken(FILE *out, const struct paint *paint, const struct case_data *data,
                             const struct outcome *outcome) {
  struct ranked *ranks = calloc((size_t)data->limit_count + 1, sizeof *ranks);
  int count = 0;
  for (int i = 0; ranks != NULL && i < data->limit_count; i++) {
    const struct limit_finding *found = &outcome->limits[i];
    double level = data->limits[i].keep.level;
    double size = fabs(level) > 0.0 ? fabs(level) : 1.0;
    if (found->verdict == LIMIT_BROKEN) {
      ranks[count++] = (struct ranked){i, isnan(found->worst) ? (double)INFINITY : fabs(found->worst - level) / size};
    }
  }
  if (count > 0) {
    qsort(ranks, (size_t)count, sizeof *ranks, worst_first);
  }
  for (int i = 0; i < count; i++) {
    print_limit(out, data, ranks[i].index, &outcome->limits[ranks[i].index], paint->bad, "BROKEN", paint->plain);
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
  static const enum limit_verdict order[] = {LIMIT_NOT_JUDGED, LIMIT_KEPT};
  for (int pass = 0; pass < 2; pass++) {
    for (int i = 0; i < data->limit_count; i++) {
      if (outcome->limits[i].verdict == order[pass]) {
        print_limit(out, data, i, &outcome->limits[i], pass == 0 ? paint->strong : paint->good,
                    limit_verdict_names[order[pass]], paint->plain);
      }
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
  print_title(out, &paint, "What happened");
  summary_events(out, data, outcome);
  print_measures(out, &paint, outcome);
  print_limits(out, &paint, data, outcome);
  print_title(out, &paint, "Where the energy went");
  summary_energy(out, data->plant, outcome);
  print_solver(out, &paint, outcome);
  (void)fprintf(out, "\nfile %s\n", shown(file).text);
  (void)fprintf(out, "%s" CAUTION "%s\n", paint.faint, paint.plain);
}
