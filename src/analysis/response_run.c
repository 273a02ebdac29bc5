#include "response_run.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "answer_file.h"
#include "fluid.h"
#include "registry.h"
#include "relief.h"

#define THIN_SHARE 2e-4 /* of a column's range, what thinning for the file may lose */

/* Asks for a signal of a valve (`format` has a %c for its letter). */
static bool want(struct response_run *run, const struct case_data *data, const char *format, char letter, int *column,
                 struct error *error) {
  char name[64];
  (void)snprintf(name, sizeof name, format, letter);
  return history_need(&run->history, data->plant, name, column, error);
}

static const double *column(const struct response_run *run, int index) {
  return run->history.values[index];
}

/* The drop over a valve: by its return path in a machine, over the case on the rig. */
static bool make_drop(struct response_run *run, const struct case_data *data, const struct relief_parameters *relief,
                      int i, struct error *error) {
  struct response_valve *valve = &run->valves[i];
  valve->drop = malloc((size_t)(run->history.count + 1) * sizeof *valve->drop);
  if (valve->drop == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for the drop over a valve");
  }
  const double *own = column(run, valve->pressure);
  if (data->plant == &valve_rig_plant) {
    const double *case_pressure = registry_need_parameter(data->plant, data->parameters, "rig", "case_pressure", error);
    for (int k = 0; case_pressure != NULL && k < run->history.count; k++) {
      valve->drop[k] = own[k] - *case_pressure;
    }
    return case_pressure != NULL;
  }
  const double *other = column(run, run->valves[1 - i].pressure);
  const double *gallery = relief->return_to == RELIEF_TO_GALLERY ? column(run, run->gallery) : other;
  for (int k = 0; k < run->history.count; k++) {
    valve->drop[k] = relief_drop(relief, own[k], other[k], gallery[k]);
  }
  return true;
}

/* The static curve of a valve in its oil. */
struct still_valve {
  const struct relief_parameters *relief;
  double density;
};

static double still_drop(const void *valve_, double flow) {
  const struct still_valve *valve = valve_;
  double position;
  return relief_balance_drop(valve->relief, flow, valve->density, &position);
}

static bool run_it(struct case_data *data, const struct watcher *watcher, struct response_run *run,
                   struct error *error) {
  struct recorder recorder = {&run->history, history_block};
  if (!run_case(data, &recorder, watcher, &run->outcome, error)) {
    return false;
  }
  if (run->outcome.status == RUN_FAILED) {
    *error = run->outcome.error;
    return false;
  }
  return run->outcome.status != RUN_INTERRUPTED || error_set(error, ERROR_RUN, "interrupted");
}

/* Asks for all that the answers of the valves are read from. */
static bool want_all(struct response_run *run, const struct case_data *data, const struct relief_parameters *relief,
                     struct error *error) {
  const char *lift = relief_position_signals[relief_law_of(relief)->position];
  bool rig = data->plant == &valve_rig_plant;
  bool good = true;
  for (int i = 0; good && i < run->valve_count; i++) {
    struct response_valve *valve = &run->valves[i];
    valve->letter = (char)('a' + i);
    good = want(run, data, "line_%c_pressure", valve->letter, &valve->pressure, error) &&
           want(run, data, "relief_%c_flow", valve->letter, &valve->flow, error) &&
           want(run, data, lift, valve->letter, &valve->lift, error) &&
           (rig || want(run, data, "limiter_%c", valve->letter, &valve->limiter, error));
  }
  good = good && (relief->return_to != RELIEF_TO_GALLERY ||
                  history_need(&run->history, data->plant, "charge_pressure", &run->gallery, error));
  return good && (!rig || history_need(&run->history, data->plant, "feed_flow", &run->feed, error));
}

bool response_run(struct case_data *data, const struct response_options *options, const struct watcher *watcher,
                  struct response_run *run, struct error *error) {
  memset(run, 0, sizeof *run);
  const struct relief_parameters *relief = registry_need_section(data->plant, data->parameters, "relief", error);
  if (relief == NULL) {
    return false;
  }
  bool rig = data->plant == &valve_rig_plant;
  const struct fluid_parameters *fluid = registry_need_section(data->plant, data->parameters, "fluid", error);
  if (fluid == NULL) {
    return false;
  }
  run->valve_count = rig ? 1 : RESPONSE_VALVES;
  data->simulation.output_step =
      options->resolution > 0.0 ? options->resolution : fmax(data->simulation.end_time / 200000.0, 1e-6);
  if (!want_all(run, data, relief, error) || !run_it(data, watcher, run, error)) {
    return false;
  }
  for (int i = 0; i < run->valve_count; i++) {
    struct response_valve *valve = &run->valves[i];
    if (!make_drop(run, data, relief, i, error)) {
      return false;
    }
    bool by_lift = relief_law_of(relief)->position == RELIEF_BY_LIFT;
    struct response_history history = {
        .count = run->history.count,
        .time = run->history.time,
        .pressure = column(run, valve->pressure),
        .drop = valve->drop,
        .flow = column(run, valve->flow),
        .opening = by_lift ? column(run, valve->lift) : NULL,
        .feed = rig ? column(run, run->feed) : NULL,
        .limiter = rig ? NULL : column(run, valve->limiter),
    };
    const struct relief_parameters own = i == 0 ? *relief : relief_valve_b(relief);
    const struct still_valve still = {&own, fluid->density};
    valve->setting = own.setting;
    struct response_settings settings = {.setting = own.setting,
                                         .stop = relief_stop_position(relief),
                                         .band = options->band,
                                         .from = options->from,
                                         .to = options->to,
                                         .static_drop = still_drop,
                                         .valve = &still};
    if (!response_find(&history, &settings, &valve->response, error)) {
      return false;
    }
  }
  return true;
}

void response_run_free(struct response_run *run) {
  for (int i = 0; i < run->valve_count; i++) {
    free(run->valves[i].drop);
  }
  history_free(&run->history);
  outcome_free(&run->outcome);
}

/* ---- the file ---- */

static void write_histories(const struct response_run *run, const struct case_data *data, struct answer_file *file,
                            int *kept, double *buffer) {
  const struct history *history = &run->history;
  const double *columns[HISTORY_SIGNALS];
  int column_count = history->signal_count + run->valve_count;
  for (int c = 0; c < column_count; c++) { /* the drops stand behind the signals */
    columns[c] = c < history->signal_count ? history->values[c] : run->valves[c - history->signal_count].drop;
  }
  int count = history_thin(history->time, columns, column_count, history->count, THIN_SHARE, kept);
  for (int k = 0; k < count; k++) {
    buffer[k] = history->time[kept[k]];
  }
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "time since the start of the run"}, NULL};
  answer_axis(file, &time, count, buffer);
  /* A line drawn to a sample within the tolerance stays within twice of it. */
  answer_share(file, ANSWER_STRAIGHT_LINES, 2.0 * THIN_SHARE);
  static const struct signal drops[RESPONSE_VALVES] = {
      {"relief_a_drop", QUANTITY_PRESSURE, REFERENCE_NONE, "drop over relief valve A"},
      {"relief_b_drop", QUANTITY_PRESSURE, REFERENCE_NONE, "drop over relief valve B"}};
  for (int c = 0; c < column_count; c++) {
    struct answer_meaning meaning = {
        c < history->signal_count ? data->plant->signals[history->signals[c]] : drops[c - history->signal_count], NULL};
    for (int k = 0; k < count; k++) {
      buffer[k] = columns[c][kept[k]];
    }
    answer_column(file, &meaning, "time", count, buffer);
  }
}

static void write_marks(const struct response *response, struct answer_file *file) {
  static const char *const curves[] = {"drop", "flow"};
  double times[RESPONSE_MARKS];
  double values[RESPONSE_MARKS];
  const char *names[RESPONSE_MARKS];
  const char *on[RESPONSE_MARKS];
  for (int i = 0; i < response->mark_count; i++) {
    times[i] = response->marks[i].time;
    values[i] = response->marks[i].value;
    names[i] = response->marks[i].name;
    on[i] = curves[response->marks[i].curve];
  }
  struct answer_meaning axis = {{"mark", QUANTITY_NUMBER, REFERENCE_NONE, "where the numbers come from"}, NULL};
  struct answer_meaning time = {{"mark_time", QUANTITY_TIME, REFERENCE_NONE, "when"}, NULL};
  struct answer_meaning value = {{"mark_value", QUANTITY_NUMBER, REFERENCE_NONE, "Pa or m3/s by the curve"}, "1"};
  answer_axis(file, &axis, response->mark_count, NULL);
  answer_column(file, &time, "mark", response->mark_count, times);
  answer_column(file, &value, "mark", response->mark_count, values);
  answer_texts(file, "mark_name", "what it marks", "mark", response->mark_count, names);
  answer_texts(file, "mark_curve", "the curve that it stands on", "mark", response->mark_count, on);
}

/* A row an opening; why a number of it is missing stands in words beside it. */
static void write_openings(const struct response *response, struct answer_file *file) {
  double values[RESPONSE_OPENINGS];
  const char *reasons[RESPONSE_OPENINGS];
  struct answer_meaning axis = {{"opening", QUANTITY_NUMBER, REFERENCE_NONE, "openings, in their order"}, NULL};
  answer_axis(file, &axis, response->each_count, NULL);
  for (int id = 0; id < OPENING_COUNT; id++) {
    char name[64];
    char reason[80];
    (void)snprintf(name, sizeof name, "each_%s", opening_rows[id].name);
    (void)snprintf(reason, sizeof reason, "%s_reason", name);
    for (int i = 0; i < response->each_count; i++) {
      values[i] = response->each[i].values[id];
      reasons[i] = response->each[i].absent[id];
    }
    struct answer_meaning meaning = {{name, opening_rows[id].quantity, REFERENCE_NONE, opening_rows[id].text}, NULL};
    answer_column(file, &meaning, "opening", response->each_count, values);
    answer_texts(file, reason, "why there is none", "opening", response->each_count, reasons);
  }
}

bool response_run_write(const struct response_run *run, const struct case_data *data, const char *path,
                        const char *command, struct error *error) {
  int *kept = malloc((size_t)(run->history.count + 1) * sizeof *kept);
  double *buffer = malloc((size_t)(run->history.count + 1) * sizeof *buffer);
  struct answer_file *file = NULL;
  bool good = false;
  if (kept == NULL || buffer == NULL) {
    error_set(error, ERROR_MEMORY, "out of memory for %s", path);
  } else {
    file = answer_open(path, "response", data->title, data->resolved, command, error);
  }
  if (file != NULL) {
    write_histories(run, data, file, kept, buffer);
    for (int i = 0; i < run->valve_count; i++) {
      const struct response *response = &run->valves[i].response;
      char name[] = {'v', 'a', 'l', 'v', 'e', '_', run->valves[i].letter, '\0'};
      answer_group(file, name, "how the relief valve answered");
      for (int id = 0; id < RESPONSE_COUNT; id++) {
        struct answer_meaning meaning = {response_rows[id], NULL};
        answer_value(file, &meaning, response->values[id], response->absent[id]);
      }
      struct answer_meaning setting = {
          {"setting", QUANTITY_PRESSURE, REFERENCE_LINE_TO_LINE, "drop at which the valve cracks"}, NULL};
      struct answer_meaning low = {{"band_low", QUANTITY_PRESSURE, REFERENCE_NONE, "settled from this drop"}, NULL};
      struct answer_meaning high = {{"band_high", QUANTITY_PRESSURE, REFERENCE_NONE, "to here"}, NULL};
      struct answer_meaning from = {
          {"settled_from", QUANTITY_TIME, REFERENCE_NONE, "start of the tenth that settled values are means of"}, NULL};
      struct answer_meaning to = {{"settled_to", QUANTITY_TIME, REFERENCE_NONE, "its end"}, NULL};
      answer_value(file, &setting, run->valves[i].setting, NULL);
      answer_value(file, &low, response->band_low, response->absent[RESPONSE_settled_drop]);
      answer_value(file, &high, response->band_high, response->absent[RESPONSE_settled_drop]);
      answer_value(file, &from, response->settled_from, response->absent[RESPONSE_settled_drop]);
      answer_value(file, &to, response->settled_to, response->absent[RESPONSE_settled_drop]);
      write_marks(response, file);
      write_openings(response, file);
    }
    good = answer_close(file, error);
  }
  free(kept);
  free(buffer);
  return good;
}
