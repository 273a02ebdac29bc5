#include "summary_verdict.h"

#include <math.h>
#include <stdlib.h>

#include "summary_limits.h"
#include "text.h"
#include "limit_margin.h"
#include "units.h"

enum {
  SHOWN = 48,
  WORST_BROKEN = 3,
  WORST_UNJUDGED = 2,
  NARROWEST = 2 /* kept limits whose margin is told */
};

/* "  (2 more)" behind the last of the lines of one verdict. */
static void print_more(FILE *out, int left, const char *word) {
  if (left > 0) {
    (void)fprintf(out, "  %d more %s\n", left, word);
  }
}

static void print_some(FILE *out, const struct paint *paint, const struct case_data *data,
                       const struct outcome *outcome, enum limit_verdict verdict, int most,
                       struct ranked_limit *ranks) {
  int count = summary_rank(data, outcome, verdict, ranks);
  for (int i = 0; i < count && i < most; i++) {
    summary_limit(out, paint, data, outcome, ranks[i].index);
  }
  print_more(out, count - most, verdict == LIMIT_BROKEN ? "BROKEN" : limit_verdict_names[verdict]);
}

/* What is left of a limit that was kept, in its own unit and as a share of its level. */
static void print_margin(FILE *out, const struct case_data *data, const struct outcome *outcome,
                         const struct ranked_limit *rank) {
  const struct limit *limit = &data->limits[rank->index];
  enum quantity quantity = condition_quantity(data, &limit->keep);
  quantity = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
  char amount[SHOWN];
  (void)fprintf(out, "  kept        %s: %s left", shown(limit->text).text,
                units_show(quantity, fabs(limit->keep.level - outcome->limits[rank->index].worst), amount, SHOWN));
  if (quantity != QUANTITY_FRACTION && fabs(limit->keep.level) > 0.0) {
    (void)fprintf(out, " (%.3g %%)", -100.0 * rank->excess);
  }
  (void)fputc('\n', out);
}

static void print_limits(FILE *out, const struct paint *paint, const struct case_data *data,
                         const struct outcome *outcome) {
  if (data->limit_count == 0) {
    (void)fprintf(out, "Limits     the case has none: nothing is judged\n");
    return;
  }
  if (outcome->limit_count < data->limit_count) {
    (void)fprintf(out, "Limits     not judged: the run ended before they could be\n");
    return;
  }
  struct ranked_limit *ranks = calloc((size_t)data->limit_count, sizeof *ranks);
  if (ranks == NULL) {
    return; /* the watch over memory has seen it */
  }
  int kept = summary_rank(data, outcome, LIMIT_KEPT, ranks);
  const char *colour = outcome->broken_count > 0     ? paint->bad
                       : outcome->unjudged_count > 0 ? paint->strong
                                                     : paint->good;
  (void)fprintf(out, "%sLimits     %d of %d kept", colour, kept, data->limit_count);
  if (outcome->broken_count > 0) {
    (void)fprintf(out, ", %d BROKEN", outcome->broken_count);
  }
  if (outcome->unjudged_count > 0) {
    (void)fprintf(out, ", %d not judged", outcome->unjudged_count);
  }
  (void)fprintf(out, "%s\n", paint->plain);
  print_some(out, paint, data, outcome, LIMIT_BROKEN, WORST_BROKEN, ranks);
  print_some(out, paint, data, outcome, LIMIT_NOT_JUDGED, WORST_UNJUDGED, ranks);
  kept = summary_rank(data, outcome, LIMIT_KEPT, ranks);
  for (int i = 0; i < kept && i < NARROWEST && isfinite(ranks[i].excess); i++) {
    print_margin(out, data, outcome, &ranks[i]);
  }
  free(ranks);
}

static void print_stop(FILE *out, const struct outcome *outcome) {
  const double *measures = outcome->measures;
  char amount[SHOWN];
  char other[SHOWN];
  if (isnan(measures[MEASURE_vehicle_speed_end])) {
    return; /* no machine */
  }
  if (isnan(measures[MEASURE_stop_from])) {
    (void)fprintf(out, "Stop       none: %s\n", outcome->absent[MEASURE_stop_from]);
    return;
  }
  if (isnan(measures[MEASURE_stop_time])) {
    (void)fprintf(out, "Stop       none: %s", outcome->absent[MEASURE_stop_time]);
  } else {
    (void)fprintf(out, "Stop       %s, %s", units_show(QUANTITY_TIME, measures[MEASURE_stop_time], amount, SHOWN),
                  units_show(QUANTITY_LENGTH, measures[MEASURE_stop_distance], other, SHOWN));
  }
  (void)fprintf(out, "; braking from %.3f s (%s)", measures[MEASURE_stop_from], outcome->braking_words);
  if (!isnan(measures[MEASURE_stop_from_speed])) {
    (void)fprintf(out, ", at %s", units_show(QUANTITY_SPEED, measures[MEASURE_stop_from_speed], amount, SHOWN));
  }
  (void)fputc('\n', out);
}

/* Extremes by the name of their signal, as limits name it. */
static const struct peak {
  const char *signal;
  const char *word;
  enum measure measure;
} peaks[] = {
    {"line_a_pressure", "to", MEASURE_peak_line_a_pressure},
    {"line_b_pressure", "to", MEASURE_peak_line_b_pressure},
    {"low_side_pressure", "down to", MEASURE_lowest_low_side_pressure},
    {"charge_pressure", "down to", MEASURE_lowest_charge_pressure},
    {"engine_speed", "to", MEASURE_engine_speed_max},
    {"engine_speed", "down to", MEASURE_engine_speed_min},
    {"motor_speed", "to", MEASURE_motor_speed_max},
    {"vehicle_speed", "to", MEASURE_vehicle_speed_max},
    {"wheel_slip", "to", MEASURE_largest_wheel_slip},
    {"loop_oil_temperature", "to", MEASURE_loop_oil_temperature_max},
    {"brake_temperature", "to", MEASURE_brake_temperature_max},
};

enum { PEAKS_A_LINE = 4 };

static void print_peaks(FILE *out, const struct outcome *outcome) {
  int told = 0;
  for (size_t i = 0; i < sizeof peaks / sizeof peaks[0]; i++) {
    double value = outcome->measures[peaks[i].measure];
    char amount[SHOWN];
    if (isnan(value)) {
      continue;
    }
    (void)fprintf(out, "%s%s %s %s",
                  told == 0                  ? "Peaks      "
                  : told % PEAKS_A_LINE == 0 ? "\n           "
                                             : ", ",
                  peaks[i].signal, peaks[i].word,
                  units_show(measure_rows[peaks[i].measure].quantity, value, amount, SHOWN));
    told++;
  }
  if (told > 0) {
    (void)fputc('\n', out);
  }
}

/* What was burnt, where it is counted. */
static void print_fuel(FILE *out, const struct outcome *outcome) {
  static const int shown[] = {MEASURE_fuel_volume, MEASURE_fuel_per_time, MEASURE_carbon_dioxide,
                              MEASURE_specific_consumption};
  static const char *const after[] = {"", "", " of carbon dioxide", " at the flywheel"};
  if (!outcome->has_fuel) {
    return;
  }
  (void)fputs("Fuel      ", out);
  for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++) {
    char amount[64];
    if (!isnan(outcome->measures[shown[i]])) {
      units_show(measure_rows[shown[i]].quantity, outcome->measures[shown[i]], amount, sizeof amount);
      (void)fprintf(out, "%s %s%s", i > 0 ? "," : "", amount, after[i]);
    }
  }
  (void)fputc('\n', out);
}

/* Swings that do not settle, and whether the extremes above can be relied on. */
static void print_hunting(FILE *out, const struct paint *paint, const struct outcome *outcome) {
  if (isnan(outcome->measures[MEASURE_hunts])) {
    return;
  }
  if (outcome->doubt[0] == '\0') {
    (void)fprintf(out, "Hunting    none seen\n");
  } else {
    (void)fprintf(out, "%sHunting    %s; extremes are not vouched for%s\n", paint->bad, outcome->doubt, paint->plain);
  }
}

static void print_balances(FILE *out, const struct outcome *outcome) {
  const double *measures = outcome->measures;
  (void)fprintf(out, "Balances   energy closes to %.2g", measures[MEASURE_energy_residual]);
  if (!isnan(measures[MEASURE_oil_residual])) {
    (void)fprintf(out, ", oil to %.2g m3", measures[MEASURE_oil_residual]);
  }
  if (!isnan(measures[MEASURE_heat_residual])) {
    (void)fprintf(out, ", heat to %.2g", measures[MEASURE_heat_residual]);
  }
  if (!isnan(measures[MEASURE_fuel_residual])) {
    (void)fprintf(out, ", fuel to %.2g", measures[MEASURE_fuel_residual]);
  }
  (void)fputc('\n', out);
}

void summary_verdict(FILE *out, const struct paint *paint, const struct case_data *data,
                     const struct outcome *outcome) {
  (void)fputc('\n', out);
  print_limits(out, paint, data, outcome);
  print_stop(out, outcome);
  print_peaks(out, outcome);
  print_fuel(out, outcome);
  print_hunting(out, paint, outcome);
  print_balances(out, outcome);
  (void)fputc('\n', out);
}
