#include "summary.h"

#include <math.h>
#include <string.h>

#include "summary_energy.h"
#include "summary_events.h"
#include "summary_legs.h"
#include "summary_limits.h"
#include "summary_verdict.h"
#include "terminal.h"
#include "units.h"
#include "text.h"

enum { SHOWN = 48 };

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
         measure == MEASURE_oil_residual || measure == MEASURE_heat_residual || measure == MEASURE_fuel_residual ||
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

/* Everything: the story, the measures, each limit, the energy and the solver's work. */
static void print_long_form(FILE *out, const struct paint *paint, const struct case_data *data,
                            const struct outcome *outcome) {
  print_title(out, paint, "What happened");
  summary_events(out, data, outcome);
  if (outcome->leg_count > 0) {
    print_title(out, paint, "Legs of the course");
    summary_legs(out, data->plant, outcome);
  }
  print_measures(out, paint, outcome);
  if (outcome->limit_count > 0) {
    print_title(out, paint, "Limits");
    summary_limits(out, paint, data, outcome);
  }
  print_title(out, paint, "Where the energy went");
  summary_energy(out, data->plant, outcome);
  print_solver(out, paint, outcome);
  (void)fputc('\n', out);
}

void summary_text(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file,
                  enum summary_form form) {
  struct paint paint = paint_for(out);
  print_head(out, &paint, data, outcome);
  summary_verdict(out, &paint, data, outcome);
  if (form == SUMMARY_LONG) {
    print_long_form(out, &paint, data, outcome);
  }
  (void)fprintf(out, "file %s%s\n", shown(file).text,
                form == SUMMARY_LONG ? "" : "; the story, measures, every limit and the energy: --long");
  (void)fprintf(out, "%s" CAUTION "%s\n", paint.faint, paint.plain);
}
