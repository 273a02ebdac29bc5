#include "result_groups.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "registry.h"

void result_describe(hid_t dataset, enum quantity quantity, enum reference reference, const char *text,
                     struct h5_log *log) {
  h5_text_attribute(dataset, "units", quantity_rows[quantity].si_unit, log);
  h5_text_attribute(dataset, "long_name", text, log);
  h5_text_attribute(dataset, "trade_units", quantity_rows[quantity].trade_unit, log);
  if (reference != REFERENCE_NONE) {
    h5_text_attribute(dataset, "pressure_reference", reference_names[reference], log);
  }
}

void result_write_measures(hid_t file, const struct outcome *outcome, struct h5_log *log) {
  hid_t group = h5_group(file, "measures", "one number a run; NaN with a reason where there is none", log);
  for (int m = 0; m < MEASURE_COUNT; m++) {
    const struct signal *row = &measure_rows[m];
    hid_t dataset = h5_real(group, row->name, outcome->measures[m], log);
    result_describe(dataset, row->quantity, row->reference, row->text, log);
    if (isnan(outcome->measures[m])) {
      h5_text_attribute(dataset, "reason", outcome->absent[m], log);
    }
    h5_close_dataset(dataset, log);
  }
  h5_close_group(group, log);
}

/* A column of numbers along `dimension`, closed again. */
static void column(hid_t group, hid_t dimension, const char *name, int count, const double *values, const char *unit,
                   const char *text, struct h5_log *log) {
  hid_t dataset = h5_reals(group, name, count, values, dimension, log);
  if (unit != NULL) {
    h5_text_attribute(dataset, "units", unit, log);
  }
  h5_text_attribute(dataset, "long_name", text, log);
  h5_close_dataset(dataset, log);
}

static void text_column(hid_t group, hid_t dimension, const char *name, int count, const char *const *values,
                        const char *text, struct h5_log *log) {
  hid_t dataset = h5_texts(group, name, count, values, dimension, log);
  h5_text_attribute(dataset, "long_name", text, log);
  h5_close_dataset(dataset, log);
}

/* Columns of `count` rows in one piece of memory; NULL when there is none. */
struct columns {
  double *numbers;
  const char **texts;
  int count;
};

static bool columns_open(struct columns *columns, int count, int number_columns, int text_columns, struct h5_log *log) {
  size_t rows = (size_t)count + 1;
  columns->count = count;
  columns->numbers = calloc(rows * (size_t)number_columns, sizeof *columns->numbers);
  columns->texts = calloc(rows * (size_t)text_columns, sizeof *columns->texts);
  if (columns->numbers != NULL && columns->texts != NULL) {
    return true;
  }
  free(columns->numbers);
  free(columns->texts);
  log->failed = true;
  (void)snprintf(log->reason, sizeof log->reason, "out of memory");
  return false;
}

static double *numbers_of(const struct columns *columns, int column) {
  return columns->numbers + (size_t)column * (size_t)columns->count;
}

static const char **texts_of(const struct columns *columns, int column) {
  return columns->texts + (size_t)column * (size_t)columns->count;
}

static void columns_close(struct columns *columns) {
  free(columns->numbers);
  free(columns->texts);
}

void result_write_events(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log) {
  int count = outcome->event_count;
  struct columns columns;
  if (!columns_open(&columns, count, 2, 4, log)) {
    return;
  }
  for (int i = 0; i < count; i++) {
    const struct run_event *event = &outcome->events[i];
    const struct signal *signal = event->signal >= 0 ? &data->plant->signals[event->signal] : NULL;
    numbers_of(&columns, 0)[i] = event->time;
    numbers_of(&columns, 1)[i] = signal != NULL ? event->value : (double)NAN;
    texts_of(&columns, 0)[i] = event->name;
    texts_of(&columns, 1)[i] = event->message;
    texts_of(&columns, 2)[i] = signal != NULL ? signal->name : "";
    texts_of(&columns, 3)[i] = signal != NULL ? quantity_rows[signal->quantity].si_unit : "";
  }
  hid_t group = h5_group(file, "events", "what happened, in order of time", log);
  hid_t dimension = h5_dimension(group, "event", count, "number of the event, from 0", log);
  column(group, dimension, "time", count, numbers_of(&columns, 0), "s", "when it happened", log);
  text_column(group, dimension, "name", count, texts_of(&columns, 0), "which event", log);
  text_column(group, dimension, "message", count, texts_of(&columns, 1), "in words, values in trade units", log);
  text_column(group, dimension, "signal", count, texts_of(&columns, 2), "signal whose value is told", log);
  column(group, dimension, "value", count, numbers_of(&columns, 1), NULL, "value of that signal, in `unit`", log);
  text_column(group, dimension, "unit", count, texts_of(&columns, 3), "SI unit of the value", log);
  h5_close_dataset(dimension, log);
  hid_t left_out = h5_integer(group, "left_out", outcome->events_left_out, log);
  h5_text_attribute(left_out, "long_name", "events past the largest number kept", log);
  h5_close_dataset(left_out, log);
  h5_close_group(group, log);
  columns_close(&columns);
}

/* An amount of energy; the caller closes the dataset. */
static hid_t energy(hid_t group, const char *name, double value, const char *text, struct h5_log *log) {
  hid_t dataset = h5_real(group, name, value, log);
  result_describe(dataset, QUANTITY_ENERGY, REFERENCE_NONE, text, log);
  return dataset;
}

static void total(hid_t group, const char *name, double value, const char *text, struct h5_log *log) {
  h5_close_dataset(energy(group, name, value, text, log), log);
}

/* The rows of one balance into a group of their own, over the whole run and over the braking. */
static void write_balance(hid_t file, const struct plant *plant, const struct outcome *outcome,
                          enum ledger_balance balance, struct h5_log *log) {
  static const char *const groups[][2] = {
      [BALANCE_OF_ENERGY] = {"ledger", "where the energy went: sources - losses - stored = 0"},
      [BALANCE_OF_HEAT] = {"heat", "where the heat in the oil went: made - left - stored = 0"},
      [BALANCE_OF_FUEL] = {"fuel",
                           "where the energy of the fuel went: fuel_energy - work_of_combustion - fuel_heat = 0"}};
  hid_t group = h5_group(file, groups[balance][0], groups[balance][1], log);
  hid_t braking =
      h5_group(group, "from_release", "the same terms from the start of braking to the stop or the end", log);
  for (int i = 0; i < plant->ledger_count; i++) {
    const struct ledger_row *row = &plant->ledger[i];
    if (ledger_balance_of(row->kind) != balance) {
      continue;
    }
    hid_t into[] = {group, braking};
    double values[] = {outcome->ledger[i].energy, outcome->ledger[i].from_release};
    for (int k = 0; k < 2; k++) {
      hid_t dataset = energy(into[k], row->name, values[k], row->text, log);
      h5_text_attribute(dataset, "kind", ledger_kind_word(row->kind), log);
      if (row->kind == LEDGER_LOSS_TO_OIL) {
        h5_text_attribute(dataset, "heats", "oil", log);
      }
      h5_close_dataset(dataset, log);
    }
  }
  if (balance == BALANCE_OF_FUEL) {
    total(group, "work_of_combustion", outcome->fuel_work, "work of combustion, as in the ledger", log);
    total(group, "fuel_residual", outcome->fuel_residual, "what the terms do not explain, signed", log);
  } else if (balance == BALANCE_OF_HEAT) {
    total(group, "heat_made", outcome->heat_made, "made by the losses of the ledger that heat the oil", log);
    total(group, "heat_left", outcome->heat_left, "left to the air, by the cooler and with oil", log);
    total(group, "heat_stored", outcome->heat_stored, "stored at the end minus stored at the start", log);
    total(group, "heat_residual", outcome->heat_residual, "what the terms do not explain, signed", log);
  } else {
    total(group, "energy_in", outcome->energy_in, "positive parts of the sources, summed", log);
    total(group, "energy_lost", outcome->energy_lost, "losses, summed", log);
    total(group, "energy_stored", outcome->energy_stored, "stored at the end minus stored at the start", log);
    total(group, "energy_residual", outcome->energy_residual, "what the terms do not explain, signed", log);
  }
  h5_close_group(braking, log);
  h5_close_group(group, log);
}

void result_write_ledger(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log) {
  write_balance(file, data->plant, outcome, BALANCE_OF_ENERGY, log);
  if (outcome->has_heat) {
    write_balance(file, data->plant, outcome, BALANCE_OF_HEAT, log);
  }
  if (outcome->has_fuel) {
    write_balance(file, data->plant, outcome, BALANCE_OF_FUEL, log);
  }
}

static enum quantity quantity_of(const struct plant *plant, const struct condition *condition) {
  if (condition->signal >= 0) {
    return plant->signals[condition->signal].quantity;
  }
  return condition->signal == CONDITION_MEASURE ? measure_rows[condition->measure].quantity : QUANTITY_TIME;
}

void result_write_limits(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log) {
  int count = data->limit_count;
  struct columns columns;
  if (!columns_open(&columns, count, 4, 5, log)) {
    return;
  }
  for (int i = 0; i < count; i++) {
    const struct condition *keep = &data->limits[i].keep;
    texts_of(&columns, 0)[i] = data->limits[i].text;
    texts_of(&columns, 1)[i] = limit_verdict_names[outcome->limits[i].verdict];
    texts_of(&columns, 4)[i] = outcome->limits[i].why;
    texts_of(&columns, 2)[i] = keep->name;
    texts_of(&columns, 3)[i] = quantity_rows[quantity_of(data->plant, keep)].si_unit;
    numbers_of(&columns, 0)[i] = keep->level;
    numbers_of(&columns, 1)[i] = outcome->limits[i].worst;
    numbers_of(&columns, 2)[i] = outcome->limits[i].time;
    numbers_of(&columns, 3)[i] = outcome->limits[i].first;
  }
  hid_t group = h5_group(file, "limits", "what the case demands: kept, broken or not judged; values in SI", log);
  hid_t dimension = h5_dimension(group, "limit", count, "number of the limit, from 0", log);
  text_column(group, dimension, "sentence", count, texts_of(&columns, 0), "the limit as written", log);
  text_column(group, dimension, "result", count, texts_of(&columns, 1), "kept, broken or not judged", log);
  text_column(group, dimension, "reason", count, texts_of(&columns, 4),
              "why it is not judged, or broken without a value", log);
  text_column(group, dimension, "name", count, texts_of(&columns, 2), "signal or measure that is limited", log);
  text_column(group, dimension, "unit", count, texts_of(&columns, 3), "SI unit of level and worst", log);
  column(group, dimension, "level", count, numbers_of(&columns, 0), NULL, "the bound, in `unit`", log);
  column(group, dimension, "worst", count, numbers_of(&columns, 1), NULL,
         "the worst value, or of a limited measure the measure, in `unit`", log);
  column(group, dimension, "worst_time", count, numbers_of(&columns, 2), "s", "when it was worst", log);
  column(group, dimension, "first_time", count, numbers_of(&columns, 3), "s", "when it was first broken", log);
  h5_close_dataset(dimension, log);
  h5_close_group(group, log);
  columns_close(&columns);
}

/* What a dataset holds of a row of a map: of the column if the row has it, else no number. */
static double cell_of(const struct map *map, int row, int column, bool of_idle) {
  return column < MAP_VOLUMETRIC || map_row_idles(map, row) == of_idle ? map_cell(map, row, column) : NAN;
}

/* A map: its columns on a dimension of rows, and two more for what is lost at zero stroke if there are such rows. */
static void write_map(hid_t group, const char *path, const struct field *field, const struct map *map,
                      struct h5_log *log) {
  const struct map_form *form = map_form_of(field);
  int rows = map_rows(map);
  int columns = rows > 0 && map_row_idles(map, 0) ? MAP_COLUMNS + 2 : MAP_COLUMNS;
  double *cells = calloc((size_t)(rows > 0 ? rows : 1), sizeof *cells);
  if (cells == NULL) {
    log->failed = true;
    (void)snprintf(log->reason, sizeof log->reason, "no memory");
    return;
  }
  char name[160];
  (void)snprintf(name, sizeof name, "%s.row", path);
  hid_t dimension = h5_dimension(group, name, rows, field->text, log);
  for (int i = 0; i < columns; i++) {
    bool of_idle = i >= MAP_COLUMNS;
    int column_index = of_idle ? MAP_VOLUMETRIC + i - MAP_COLUMNS : i;
    if (form->names[column_index] == NULL) {
      continue;
    }
    for (int row = 0; row < rows; row++) {
      cells[row] = cell_of(map, row, column_index, of_idle);
    }
    (void)snprintf(name, sizeof name, "%s.%s", path,
                   of_idle ? map_idle_names[i - MAP_COLUMNS] : form->names[column_index]);
    hid_t dataset = h5_reals(group, name, rows, cells, dimension, log);
    result_describe(dataset, map_column_quantity(form, column_index, of_idle), REFERENCE_NONE, field->text, log);
    h5_close_dataset(dataset, log);
  }
  h5_close_dataset(dimension, log);
  free(cells);
}

static void write_parameter(hid_t group, const char *path, const struct field *field, const void *member,
                            struct h5_log *log) {
  if (field->kind == FIELD_TABLE) {
    const struct profile *table = member;
    char name[160];
    (void)snprintf(name, sizeof name, "%s.argument", path);
    hid_t argument = h5_reals(group, name, table->count, table->argument, H5I_INVALID_HID, log);
    result_describe(argument, field->argument, REFERENCE_NONE, "first column of the table", log);
    hid_t value = h5_reals(group, path, table->count, table->value, argument, log);
    result_describe(value, field->quantity, field->reference, field->text, log);
    if (table->smooth) {
      h5_text_attribute(value, "curve", "smooth", log);
    }
    h5_close_dataset(value, log);
    h5_close_dataset(argument, log);
    return;
  }
  if (field->kind == FIELD_MAP) {
    write_map(group, path, field, member, log);
    return;
  }
  hid_t dataset;
  if (field->kind == FIELD_CHOICE) {
    char choice[96];
    dataset =
        h5_text(group, path, registry_choice_name(field->choices, *(const int *)member, choice, sizeof choice), log);
    h5_text_attribute(dataset, "long_name", field->text, log);
    h5_text_attribute(dataset, "choices", field->choices, log);
  } else {
    dataset = h5_real(group, path, *(const real *)member, log);
    result_describe(dataset, field->quantity, field->reference, field->text, log);
  }
  h5_close_dataset(dataset, log);
}

static void write_parameter_group(hid_t group, const struct group *section, const void *base, struct h5_log *log) {
  for (int f = 0; f < section->field_count; f++) {
    const struct field *field = &section->fields[f];
    char path[128];
    (void)snprintf(path, sizeof path, "%s.%s", section->name, field->name);
    write_parameter(group, path, field, registry_member_const(base, (struct parameter){section, field}), log);
  }
}

void result_write_parameters(hid_t file, const struct case_data *data, struct h5_log *log) {
  hid_t group = h5_group(file, "parameters", "every parameter of the run, SI; defaults included", log);
  for (int g = 0; g < data->plant->group_count; g++) {
    write_parameter_group(group, &data->plant->groups[g], data->parameters, log);
  }
  write_parameter_group(group, &simulation_group, &data->simulation, log);
  h5_close_group(group, log);
}

static void count_of(hid_t group, const char *name, long value, const char *text, struct h5_log *log) {
  hid_t dataset = h5_integer(group, name, value, log);
  h5_text_attribute(dataset, "units", "1", log);
  h5_text_attribute(dataset, "long_name", text, log);
  h5_close_dataset(dataset, log);
}

/* Names and absolute tolerances of the states that were integrated; the rows of the plant hold for a pressure tolerance
 * of 100 Pa. */
static void write_states(hid_t group, const struct case_data *data, struct h5_log *log) {
  const struct plant *plant = data->plant;
  int rows[PLANT_STATE_LIMIT];
  int count = 0;
  void *model = calloc(1, plant->model_size > 0 ? plant->model_size : 1);
  if (model != NULL && plant->prepare(data->parameters, model) == NULL) {
    count = plant->active_states(model, rows);
  }
  free(model);
  double tolerances[PLANT_STATE_LIMIT];
  const char *names[PLANT_STATE_LIMIT];
  const char *units[PLANT_STATE_LIMIT];
  for (int i = 0; i < count; i++) {
    const struct state_row *row = &plant->states[rows[i]];
    names[i] = row->name;
    units[i] = row->unit;
    tolerances[i] = row->tolerance * plant_share(plant, rows[i]) * data->simulation.pressure_tolerance / 100.0;
  }
  hid_t dimension = h5_dimension(group, "state", count, "number of the state, from 0", log);
  text_column(group, dimension, "state_name", count, names, "states that were integrated", log);
  text_column(group, dimension, "state_unit", count, units, "SI units of the states", log);
  column(group, dimension, "absolute_tolerance", count, tolerances, NULL, "absolute tolerances, in `state_unit`", log);
  h5_close_dataset(dimension, log);
}

void result_write_solver(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log) {
  const struct run_counts *counts = &outcome->counts;
  hid_t group = h5_group(file, "solver", "settings and work of the integrator", log);
  count_of(group, "steps", counts->steps, "accepted steps", log);
  count_of(group, "rate_calls", counts->rate_calls, "right-hand sides, all causes", log);
  count_of(group, "jacobians", counts->jacobians, "Jacobian matrices", log);
  count_of(group, "jacobian_calls", counts->jacobian_calls, "right-hand sides spent on Jacobian matrices", log);
  count_of(group, "error_failures", counts->error_failures, "steps that failed the error test", log);
  count_of(group, "convergence_failures", counts->convergence_failures, "failures of the nonlinear solver", log);
  count_of(group, "restarts", counts->restarts, "re-initialisations at kinks and mode changes", log);
  hid_t dataset = h5_real(group, "cpu_seconds", counts->cpu_seconds, log);
  result_describe(dataset, QUANTITY_TIME, REFERENCE_NONE, "processor time of the run", log);
  h5_close_dataset(dataset, log);
  dataset = h5_real(group, "relative_tolerance", data->simulation.relative_tolerance, log);
  result_describe(dataset, QUANTITY_NUMBER, REFERENCE_NONE, "relative tolerance", log);
  h5_close_dataset(dataset, log);
  dataset = h5_real(group, "pressure_tolerance", data->simulation.pressure_tolerance, log);
  result_describe(dataset, QUANTITY_PRESSURE, REFERENCE_NONE, "absolute tolerance of pressures", log);
  h5_close_dataset(dataset, log);
  write_states(group, data, log);
  h5_close_group(group, log);
}
