/* The file of a fit. */
#include "fitting.h"

#include <math.h>
#include <stdio.h>

#include "answer_file.h"

static void write_parameters(const struct fit *fit, struct answer_file *file) {
  int count = fit->parameter_count;
  double numbers[8][FIT_PARAMETERS];
  const char *paths[FIT_PARAMETERS];
  const char *units[FIT_PARAMETERS];
  const char *trade[FIT_PARAMETERS];
  const char *why[FIT_PARAMETERS];
  for (int i = 0; i < count; i++) {
    const struct fit_parameter *parameter = &fit->parameters[i];
    double row[] = {parameter->identified ? parameter->value : NAN,
                    parameter->value,
                    parameter->deviation,
                    parameter->from,
                    parameter->to,
                    parameter->low,
                    parameter->high,
                    parameter->varied.value};
    for (int c = 0; c < 8; c++) {
      numbers[c][i] = row[c];
    }
    paths[i] = parameter->path;
    units[i] = quantity_rows[parameter->varied.ref.quantity].si_unit;
    trade[i] = quantity_rows[parameter->varied.ref.quantity].trade_unit;
    why[i] = parameter->why;
  }
  struct answer_meaning axis = {{"parameter", QUANTITY_NUMBER, REFERENCE_NONE, "the numbers sought"}, NULL};
  struct answer_meaning columns[] = {
      {{"value", QUANTITY_NUMBER, REFERENCE_NONE, "found, SI; NaN where the traces do not tell it"}, "1"},
      {{"best", QUANTITY_NUMBER, REFERENCE_NONE, "where the search ended, SI, whether identified or not"}, "1"},
      {{"deviation", QUANTITY_NUMBER, REFERENCE_NONE, "one standard deviation, SI"}, "1"},
      {{"from", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval, SI"}, "1"},
      {{"to", QUANTITY_NUMBER, REFERENCE_NONE, "95 % interval, SI"}, "1"},
      {{"low", QUANTITY_NUMBER, REFERENCE_NONE, "lower bound, SI"}, "1"},
      {{"high", QUANTITY_NUMBER, REFERENCE_NONE, "upper bound, SI"}, "1"},
      {{"start", QUANTITY_NUMBER, REFERENCE_NONE, "in the case, SI"}, "1"},
  };
  answer_group(file, "parameters", "what was found");
  answer_axis(file, &axis, count, NULL);
  answer_texts(file, "path", "name of the number", "parameter", count, paths);
  answer_texts(file, "unit", "its SI unit", "parameter", count, units);
  answer_texts(file, "trade_unit", "its unit on the screen", "parameter", count, trade);
  answer_texts(file, "why", "why it is not identified", "parameter", count, why);
  for (int c = 0; c < 8; c++) {
    answer_column(file, &columns[c], "parameter", count, numbers[c]);
  }
  for (int i = 0; i < count; i++) {
    char name[32];
    (void)snprintf(name, sizeof name, "correlation_%d", i + 1);
    struct answer_meaning meaning = {{name, QUANTITY_NUMBER, REFERENCE_NONE, "with the number of this place"}, NULL};
    answer_column(file, &meaning, "parameter", count, fit->correlation[i]);
  }
}

static void write_directions(const struct fit *fit, struct answer_file *file) {
  double deviations[FIT_UNKNOWNS];
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
  for (int i = 0; i < fit->parameter_count; i++) {
    double parts[FIT_UNKNOWNS];
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
  const struct measured *measured = &fit->measured[trace];
  char name[32];
  (void)snprintf(name, sizeof name, "trace_%d", trace + 1);
  answer_group(file, name, "a trace, and the run with what was found at its instants");
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "of the trace"}, NULL};
  struct answer_meaning shift = {{"shift", QUANTITY_TIME, REFERENCE_NONE, "run time less trace time"}, NULL};
  answer_axis(file, &time, measured->count, measured->time);
  answer_value(file, &shift, fit->shifts[trace], NULL);
  for (int s = 0; s < fit->mapping.count; s++) {
    char run_name[TRACE_NAME + 8];
    struct answer_meaning seen = {fit->mapping.signals[s].row, NULL};
    struct answer_meaning made = seen;
    (void)snprintf(run_name, sizeof run_name, "%s_run", seen.row.name);
    made.row.name = run_name;
    answer_column(file, &seen, "time", measured->count, measured->values[s]);
    answer_column(file, &made, "time", measured->count, fit->models[trace][s]);
  }
}

bool fit_write(const struct fit *fit, const struct case_data *data, const char *path, const char *command,
               struct error *error) {
  struct answer_file *file = answer_open(path, "fit", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  write_parameters(fit, file);
  write_directions(fit, file);
  for (int trace = 0; trace < fit->trace_count; trace++) {
    write_trace(fit, trace, file);
  }
  return answer_close(file, error);
}
