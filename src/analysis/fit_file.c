/* The file of a fit. */
#include "fitting.h"

#include <math.h>
#include <stdio.h>

#include "answer_file.h"

/* One group for the parameters, one for what was found of sensors and clocks, with the same columns. */
static void write_numbers(const struct fit *fit, struct answer_file *file, const char *group, const char *text,
                          const char *axis_name, int first, int count) {
  enum { NUMBERS = 12 };
  static const char *const correlation = "with the number of this place";
  double numbers[NUMBERS][ESTIMATE_UNKNOWNS];
  const char *paths[ESTIMATE_UNKNOWNS];
  const char *units[ESTIMATE_UNKNOWNS];
  const char *trade[ESTIMATE_UNKNOWNS];
  const char *why[ESTIMATE_UNKNOWNS];
  for (int i = 0; i < count; i++) {
    const struct fit_number *number = &fit->numbers[first + i];
    double start = first + i < fit->parameter_count ? fit->parameters[first + i].varied.value : NAN;
    double row[] = {number->identified ? number->value : NAN,
                    number->value,
                    number->deviation,
                    number->established ? number->from : NAN,
                    number->established ? number->to : NAN,
                    number->unknown.low,
                    number->unknown.high,
                    start,
                    number->linear_from,
                    number->linear_to,
                    number->from,
                    number->to};
    for (int c = 0; c < NUMBERS; c++) {
      numbers[c][i] = row[c];
    }
    paths[i] = number->unknown.name;
    units[i] = quantity_rows[number->unknown.quantity].si_unit;
    trade[i] = quantity_rows[number->unknown.quantity].trade_unit;
    why[i] = number->why;
  }
  struct answer_meaning axis = {{axis_name, QUANTITY_NUMBER, REFERENCE_NONE, "the numbers sought"}, NULL};
  struct answer_meaning columns[NUMBERS] = {
      {{"value", QUANTITY_NUMBER, REFERENCE_NONE, "found, SI; NaN where the traces do not tell it"}, "1"},
      {{"best", QUANTITY_NUMBER, REFERENCE_NONE, "where the search ended, SI, whether identified or not"}, "1"},
      {{"deviation", QUANTITY_NUMBER, REFERENCE_NONE, "one standard deviation, SI"}, "1"},
      {{"from", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval by the profile, SI; NaN where it is not established"},
       "1"},
      {{"to", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval by the profile, SI; NaN where it is not established"},
       "1"},
      {{"low", QUANTITY_NUMBER, REFERENCE_NONE, "lower bound, SI"}, "1"},
      {{"high", QUANTITY_NUMBER, REFERENCE_NONE, "upper bound, SI"}, "1"},
      {{"start", QUANTITY_NUMBER, REFERENCE_NONE, "in the case, SI"}, "1"},
      {{"linear_from", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval by the curvature, SI"}, "1"},
      {{"linear_to", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval by the curvature, SI"}, "1"},
      {{"profile_from", QUANTITY_NUMBER, REFERENCE_NONE, "end of the profile, whether claimed or not, SI"}, "1"},
      {{"profile_to", QUANTITY_NUMBER, REFERENCE_NONE, "end of the profile, whether claimed or not, SI"}, "1"},
  };
  answer_group(file, group, text);
  answer_axis(file, &axis, count, NULL);
  answer_texts(file, "path", "name of the number", axis_name, count, paths);
  answer_texts(file, "unit", "its SI unit", axis_name, count, units);
  answer_texts(file, "trade_unit", "its unit on the screen", axis_name, count, trade);
  answer_texts(file, "why", "why it is not identified, or its interval not established", axis_name, count, why);
  for (int c = 0; c < NUMBERS; c++) {
    answer_column(file, &columns[c], axis_name, count, numbers[c]);
  }
  for (int i = 0; i < count; i++) {
    char name[32];
    double row[ESTIMATE_UNKNOWNS];
    (void)snprintf(name, sizeof name, "correlation_%d", i + 1);
    struct answer_meaning meaning = {{name, QUANTITY_NUMBER, REFERENCE_NONE, correlation}, NULL};
    for (int k = 0; k < count; k++) {
      row[k] = fit->correlation[first + i][first + k];
    }
    answer_column(file, &meaning, axis_name, count, row);
  }
}

static void write_directions(const struct fit *fit, struct answer_file *file) {
  double deviations[ESTIMATE_UNKNOWNS];
  struct answer_meaning axis = {{"direction", QUANTITY_NUMBER, REFERENCE_NONE, "of the numbers, the best known first"},
                                NULL};
  struct answer_meaning deviation = {
      {"direction_deviation", QUANTITY_NUMBER, REFERENCE_NONE, "standard deviation along it, of the numbers' size"},
      NULL};
  answer_group(file, "directions", "what the traces tell, from the singular values of the Jacobian");
  answer_axis(file, &axis, fit->direction_count, NULL);
  for (int d = 0; d < fit->direction_count; d++) {
    deviations[d] = fit->directions[d].deviation;
  }
  answer_column(file, &deviation, "direction", fit->direction_count, deviations);
  for (int i = 0; i < fit->number_count; i++) {
    double parts[ESTIMATE_UNKNOWNS];
    char name[32];
    (void)snprintf(name, sizeof name, "part_%d", i + 1);
    struct answer_meaning meaning = {{name, QUANTITY_NUMBER, REFERENCE_NONE, "share of the number of this place"},
                                     NULL};
    for (int d = 0; d < fit->direction_count; d++) {
      parts[d] = fit->directions[d].parts[i];
    }
    answer_column(file, &meaning, "direction", fit->direction_count, parts);
  }
}

static void write_trace(const struct fit *fit, int trace, struct answer_file *file) {
  const struct observation *observation = &fit->observation;
  const struct observation_trace *own = &observation->traces[trace];
  const struct mapping *mapping = &observation->mappings[observation->tests[own->test].mapping];
  char name[32];
  (void)snprintf(name, sizeof name, "trace_%d", trace + 1);
  answer_group(file, name, "a trace, and what it would show of the run with what was found, at its instants");
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "of the trace"}, NULL};
  struct answer_meaning shift = {{"shift", QUANTITY_TIME, REFERENCE_NONE, "run time less trace time"}, NULL};
  answer_axis(file, &time, own->measured.count, own->measured.time);
  answer_words(file, "guessed", own->measured.told.text);
  answer_value(file, &shift, fit_shift(fit, trace), NULL);
  for (int s = 0; s < mapping->count; s++) {
    char run_name[TRACE_NAME + 8];
    struct answer_meaning seen = {mapping->signals[s].row, NULL};
    struct answer_meaning made = seen;
    (void)snprintf(run_name, sizeof run_name, "%s_run", seen.row.name);
    made.row.name = run_name;
    answer_column(file, &seen, "time", own->measured.count, own->measured.values[s]);
    answer_column(file, &made, "time", own->measured.count, fit->models[trace][s]);
  }
}

/* The farthest outliers. */
static void write_outliers(const struct fit *fit, struct answer_file *file) {
  int count = fit->outlier_count < FIT_OUTLIERS ? (int)fit->outlier_count : FIT_OUTLIERS;
  double numbers[4][FIT_OUTLIERS];
  const char *channels[FIT_OUTLIERS];
  for (int i = 0; i < count; i++) {
    const struct outlier *outlier = &fit->outliers[i];
    const struct observation_test *test = &fit->observation.tests[fit->observation.traces[outlier->trace].test];
    numbers[0][i] = outlier->trace + 1;
    numbers[1][i] = outlier->time;
    numbers[2][i] = outlier->off;
    numbers[3][i] = outlier->over;
    channels[i] = fit->observation.mappings[test->mapping].signals[outlier->signal].row.name;
  }
  struct answer_meaning axis = {{"outlier", QUANTITY_NUMBER, REFERENCE_NONE, "the farthest first"}, NULL};
  struct answer_meaning columns[] = {
      {{"outlier_trace", QUANTITY_NUMBER, REFERENCE_NONE, "which trace, from 1"}, NULL},
      {{"outlier_time", QUANTITY_TIME, REFERENCE_NONE, "of the trace"}, NULL},
      {{"outlier_off", QUANTITY_NUMBER, REFERENCE_NONE, "run less trace, SI"}, "1"},
      {{"outlier_over", QUANTITY_NUMBER, REFERENCE_NONE, "over the scatter of the other errors"}, NULL},
  };
  answer_group(file, "outliers", "numbers that are no noise of the rest");
  answer_axis(file, &axis, count, NULL);
  answer_texts(file, "channel", "name of the signal", "outlier", count, channels);
  for (int c = 0; c < 4; c++) {
    answer_column(file, &columns[c], "outlier", count, numbers[c]);
  }
}

bool fit_write(const struct fit *fit, const struct case_data *data, const char *path, const char *command,
               struct error *error) {
  struct answer_file *file = answer_open(path, "fit", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  int others = fit->number_count - fit->parameter_count;
  if (fit->parameter_count > 0) {
    write_numbers(fit, file, "parameters", "what was found", "parameter", 0, fit->parameter_count);
  }
  if (others > 0) {
    write_numbers(fit, file, "sensors", "what was found of sensors and clocks", "sensor", fit->parameter_count, others);
  }
  write_directions(fit, file);
  if (fit->outlier_count > 0) {
    write_outliers(fit, file);
  }
  for (int trace = 0; trace < fit->observation.trace_count; trace++) {
    write_trace(fit, trace, file);
  }
  return answer_close(file, error);
}
