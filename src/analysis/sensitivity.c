#include "sensitivity.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "answer_file.h"
#include "registry.h"
#include "tangent.h"

#define STEP_SHARE 1e-5 /* of the size: between the neighbours and the case */
/* The check: its larger step, share of the size, and the tolerances at which it runs, so that a difference is more than
 * the noise of two runs. */
#define CHECK_SHARE 2e-3
#define CHECK_TOLERANCE 1e-9
#define CHECK_PRESSURE 0.1   /* Pa */
#define JUMP_SHARE 0.01      /* of a measure, from a bound to two steps inside: no slope does that */
#define LARGEST_COUNT 5000.0 /* samples of a history */

_Static_assert((int)SENSITIVITY_PARAMETERS <= (int)TANGENT_PARAMETERS, "a run carries a tangent for each parameter");

static const int usual_measures[] = {
    MEASURE_peak_line_a_pressure,
    MEASURE_peak_line_b_pressure,
    MEASURE_lowest_low_side_pressure_after_settling,
    MEASURE_lowest_charge_pressure,
    MEASURE_engine_speed_max,
    MEASURE_engine_speed_min,
    MEASURE_vehicle_speed_max,
    MEASURE_stop_time,
    MEASURE_stop_distance,
    MEASURE_relief_a_open_time,
    MEASURE_relief_b_open_time,
    MEASURE_relief_a_peak_flow,
    MEASURE_relief_b_peak_flow,
    MEASURE_relief_heat,
    MEASURE_loop_oil_temperature_max,
};

static const char *const usual_signals[] = {"line_a_pressure", "line_b_pressure", "engine_speed", "vehicle_speed",
                                            "relief_a_flow"};

static const char *measure_name(const void *context, int index) {
  (void)context;
  return measure_rows[index].name;
}

static const char *signal_name(const void *context, int index) {
  return ((const struct plant *)context)->signals[index].name;
}

static bool has_signal(const struct case_data *data, int signal) {
  return signal >= 0 && data->plant->signal_active(data->parameters, signal);
}

static bool want_of(const struct case_data *data, const char *name, struct sensitivity *found, struct error *error) {
  int measure = measure_find(name);
  int signal = registry_signal(data->plant, name);
  if (measure >= 0 && found->measure_count < MEASURE_COUNT) {
    found->measures[found->measure_count++] = measure;
    return true;
  }
  if (has_signal(data, signal)) {
    if (found->signal_count == SENSITIVITY_SIGNALS) {
      return error_set(error, ERROR_USAGE, "--of: at most %d signals", SENSITIVITY_SIGNALS);
    }
    found->signals[found->signal_count++] = signal;
    return true;
  }
  const char *near = registry_nearest(name, MEASURE_COUNT, measure_name, NULL);
  if (near == NULL) {
    near = registry_nearest(name, data->plant->signal_count, signal_name, data->plant);
  }
  return error_set(error, ERROR_USAGE, "--of: '%s' is no measure and no signal of this circuit%s%s%s", name,
                   near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
}

static bool read_options(const struct case_data *data, const struct sensitivity_options *options,
                         struct sensitivity *found, struct error *error) {
  if (options->to_count == 0 || options->to_count > SENSITIVITY_PARAMETERS) {
    return error_set(error, ERROR_USAGE, "--to: found %d parameters, expected 1 to %d", options->to_count,
                     SENSITIVITY_PARAMETERS);
  }
  for (int i = 0; i < options->to_count; i++) {
    struct varied_parameter *varied = &found->varied[i];
    if (!varied_parameter_find(data, options->to[i], varied, error)) {
      return false;
    }
    double reach = (options->check ? CHECK_SHARE : STEP_SHARE) * varied->size;
    bool low = varied->value - reach < varied->ref.low;
    bool high = varied->value + reach > varied->ref.high;
    for (int k = 0; k < varied->other_count; k++) { /* what moves together stays within the bounds of all */
      low = low || varied->value - reach < varied->others[k].low;
      high = high || varied->value + reach > varied->others[k].high;
    }
    found->inside[i] = low && !high ? 1 : high && !low ? -1 : 0;
  }
  found->count = options->to_count;
  for (int i = 0; i < options->of_count; i++) {
    if (!want_of(data, options->of[i], found, error)) {
      return false;
    }
  }
  bool usual = found->signal_count == 0;
  for (size_t i = 0; usual && i < sizeof usual_signals / sizeof usual_signals[0]; i++) {
    int signal = registry_signal(data->plant, usual_signals[i]);
    if (has_signal(data, signal)) {
      found->signals[found->signal_count++] = signal;
    }
  }
  return true;
}

static bool take_sample(void *context, double time, const double *derivatives, struct error *error) {
  struct sensitivity *found = context;
  size_t row = (size_t)found->count * (size_t)found->signal_count;
  (void)time;
  if (found->sample_count == found->sample_capacity) {
    int capacity = found->sample_capacity > 0 ? 2 * found->sample_capacity : 1024;
    double *samples = realloc(found->samples, (size_t)capacity * row * sizeof *samples);
    if (samples == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for derivatives");
    }
    found->samples = samples;
    found->sample_capacity = capacity;
  }
  memcpy(found->samples + (size_t)found->sample_count++ * row, derivatives, row * sizeof *derivatives);
  return true;
}

/* The two cases beside each parameter. */
struct neighbours {
  struct case_data up[SENSITIVITY_PARAMETERS];
  struct case_data down[SENSITIVITY_PARAMETERS];
  double steps[SENSITIVITY_PARAMETERS];
  double scales[SENSITIVITY_PARAMETERS];
  int made; /* pairs */
};

static void free_neighbours(struct neighbours *neighbours) {
  for (int i = 0; i < neighbours->made; i++) {
    case_free(&neighbours->up[i]);
    case_free(&neighbours->down[i]);
  }
}

/* Where the derivative is taken. At a bound there is nothing on the other side, and the bound itself may mean something
 * else (no delay, no filter): two steps inside, so that what lies one step to either side is inside too. */
static double centre_of(const struct sensitivity *found, int i) {
  int steps = found->jumps[i] < 0 ? 2 * found->inside[i] : 0;
  return found->varied[i].value + steps * STEP_SHARE * found->varied[i].size;
}

static bool make_neighbours(const struct case_data *data, const struct sensitivity *found,
                            struct neighbours *neighbours, struct error *error) {
  for (int i = 0; i < found->count; i++) {
    const struct varied_parameter *varied = &found->varied[i];
    neighbours->steps[i] = STEP_SHARE * varied->size;
    neighbours->scales[i] = varied->size;
    double step = found->jumps[i] < 0 ? neighbours->steps[i] : 0.0; /* nothing beside it counts */
    if (!varied_parameter_put(data, varied, centre_of(found, i) + step, &neighbours->up[i], error)) {
      return false;
    }
    if (!varied_parameter_put(data, varied, centre_of(found, i) - step, &neighbours->down[i], error)) {
      case_free(&neighbours->up[i]);
      return false;
    }
    neighbours->made++;
  }
  return true;
}

static bool run_it(const struct case_data *data, const struct watcher *watcher, struct sensitivity *found,
                   struct error *error) {
  struct neighbours *neighbours = calloc(1, sizeof *neighbours);
  if (neighbours == NULL) {
    return error_set(error, ERROR_MEMORY, "out of memory for derivatives");
  }
  bool good = make_neighbours(data, found, neighbours, error);
  if (good) {
    struct sensitivity_request request = {
        .count = found->count,
        .up = neighbours->up,
        .down = neighbours->down,
        .steps = neighbours->steps,
        .scales = neighbours->scales,
        .signal_count = found->signal_count,
        .signals = found->signals,
        .context = found,
        .sample = take_sample,
    };
    for (int i = 0; good && i < found->signal_count; i++) {
      int column;
      good = history_want(&found->history, found->signals[i], &column, error);
    }
    struct recorder recorder = {&found->history, history_block};
    good = good && run_sensitive(data, &request, &recorder, watcher, &found->outcome, &found->result, error);
  }
  if (good && found->outcome.status == RUN_FAILED) {
    *error = found->outcome.error;
    good = false;
  } else if (good && found->outcome.status == RUN_INTERRUPTED) {
    good = error_set(error, ERROR_RUN, "interrupted");
  }
  free_neighbours(neighbours);
  free(neighbours);
  return good;
}

/* ---- the check ---- */

/* Measures of the case with a number moved; all NaN when that run fails. */
static bool measures_at(struct run_workspace *workspace, const struct case_data *data,
                        const struct varied_parameter *varied, double si, const struct watcher *watcher,
                        double *measures, struct error *error) {
  struct case_data moved;
  struct outcome outcome = {0};
  if (!varied_parameter_put(data, varied, si, &moved, error)) {
    return false;
  }
  moved.simulation.relative_tolerance = fmin(moved.simulation.relative_tolerance, CHECK_TOLERANCE);
  moved.simulation.pressure_tolerance = fmin(moved.simulation.pressure_tolerance, CHECK_PRESSURE);
  bool good = run_in(workspace, &moved, NULL, watcher, &outcome, error);
  if (good && outcome.status == RUN_INTERRUPTED) {
    good = error_set(error, ERROR_RUN, "interrupted");
  }
  for (int m = 0; good && m < MEASURE_COUNT; m++) {
    measures[m] = outcome.status == RUN_FAILED ? NAN : outcome.measures[m];
  }
  outcome_free(&outcome);
  case_free(&moved);
  return good;
}

/* Differences at a step and at half of it, put together so that the error of the larger goes out: central ones, of
 * which the next error is of fourth order; at a bound from where the derivative was taken inwards, of second. */
static bool check_one(struct run_workspace *workspace, const struct case_data *data, const struct watcher *watcher,
                      struct sensitivity *found, int i, struct error *error) {
  const struct varied_parameter *varied = &found->varied[i];
  bool central = found->inside[i] == 0;
  double values[4][MEASURE_COUNT];
  double centre = centre_of(found, i);
  double step = CHECK_SHARE * varied->size * (found->inside[i] < 0 ? -1.0 : 1.0);
  const double places[] = {step, central ? -step : 0.0, 0.5 * step, -0.5 * step};
  for (int k = 0; k < (central ? 4 : 3); k++) {
    if (!measures_at(workspace, data, varied, centre + places[k], watcher, values[k], error)) {
      return false;
    }
  }
  for (int m = 0; m < MEASURE_COUNT; m++) {
    double wide = (values[0][m] - values[1][m]) / (places[0] - places[1]);
    double near = central ? (values[2][m] - values[3][m]) / step : 2.0 * (values[2][m] - values[1][m]) / step;
    found->differences[i][m] = central ? (4.0 * near - wide) / 3.0 : 2.0 * near - wide;
    found->doubts[i][m] = fabs(near - wide);
  }
  return true;
}

/* ---- bounds that mean something else ---- */

/* Does a measure jump from the bound to where the derivative would be taken? The first of those asked for, or of the
 * usual ones, that does; -1: none. */
static int jump_of(const struct sensitivity *found, const double *at, const double *near) {
  int usual = (int)(sizeof usual_measures / sizeof usual_measures[0]);
  for (int k = 0; k < (found->measure_count > 0 ? found->measure_count : usual); k++) {
    int measure = found->measure_count > 0 ? found->measures[k] : usual_measures[k];
    double change = fabs(near[measure] - at[measure]);
    if (change > JUMP_SHARE * fmax(fabs(near[measure]), fabs(at[measure]))) {
      return measure;
    }
  }
  return -1;
}

static bool find_jumps(const struct case_data *data, const struct watcher *watcher, struct sensitivity *found,
                       struct error *error) {
  bool needed = false;
  for (int i = 0; i < found->count; i++) {
    found->jumps[i] = -1;
    needed = needed || found->inside[i] != 0;
  }
  if (!needed) {
    return true;
  }
  double at[MEASURE_COUNT];
  double near[MEASURE_COUNT];
  struct run_workspace *workspace = run_workspace_new(data->plant, false, error);
  bool good =
      workspace != NULL && measures_at(workspace, data, &found->varied[0], found->varied[0].value, watcher, at, error);
  for (int i = 0; good && i < found->count; i++) {
    if (found->inside[i] != 0) {
      good = measures_at(workspace, data, &found->varied[i], centre_of(found, i), watcher, near, error);
      found->jumps[i] = good ? jump_of(found, at, near) : -1;
    }
  }
  run_workspace_free(workspace);
  return good;
}

/* What was found of a parameter without a derivative is none. */
static void forget_jumps(struct sensitivity *found) {
  for (int i = 0; i < found->count; i++) {
    if (found->jumps[i] < 0) {
      continue;
    }
    for (int m = 0; m < MEASURE_COUNT; m++) {
      found->result.measures[i][m] = NAN;
    }
    for (int k = 0; k < found->sample_count; k++) {
      for (int s = 0; s < found->signal_count; s++) {
        size_t row = (size_t)k * (size_t)found->count + (size_t)i;
        found->samples[row * (size_t)found->signal_count + (size_t)s] = NAN;
      }
    }
  }
}

static bool check(const struct case_data *data, const struct watcher *watcher, struct sensitivity *found,
                  struct error *error) {
  found->differences = calloc((size_t)found->count, sizeof *found->differences);
  found->doubts = calloc((size_t)found->count, sizeof *found->doubts);
  struct run_workspace *workspace = run_workspace_new(data->plant, false, error);
  bool good = workspace != NULL;
  if (good && (found->differences == NULL || found->doubts == NULL)) {
    good = error_set(error, ERROR_MEMORY, "out of memory for the check");
  }
  for (int i = 0; good && i < found->count; i++) {
    good = found->jumps[i] >= 0 || check_one(workspace, data, watcher, found, i, error);
  }
  run_workspace_free(workspace);
  return good;
}

bool sensitivity_find(struct case_data *data, const struct sensitivity_options *options, const struct watcher *watcher,
                      struct sensitivity *found, struct error *error) {
  memset(found, 0, sizeof *found);
  data->simulation.output_step = fmax(data->simulation.output_step, data->simulation.end_time / LARGEST_COUNT);
  if (!read_options(data, options, found, error)) {
    return false;
  }
  if (!find_jumps(data, watcher, found, error)) {
    return false;
  }
  /* The run goes through where the derivatives are taken. */
  for (int i = 0; i < found->count; i++) {
    varied_parameter_write(data, &found->varied[i], centre_of(found, i));
  }
  bool good = run_it(data, watcher, found, error);
  for (int i = 0; i < found->count; i++) {
    varied_parameter_write(data, &found->varied[i], found->varied[i].value);
  }
  if (!good) {
    return false;
  }
  forget_jumps(found);
  if (found->measure_count == 0) {
    for (size_t k = 0; k < sizeof usual_measures / sizeof usual_measures[0]; k++) {
      int measure = usual_measures[k];
      bool moves = false;
      for (int i = 0; i < found->count; i++) {
        moves = moves || (isfinite(found->result.measures[i][measure]) && found->result.measures[i][measure] != 0.0);
      }
      if (moves && isfinite(found->outcome.measures[measure])) {
        found->measures[found->measure_count++] = measure;
      }
    }
  }
  return !options->check || check(data, watcher, found, error);
}

void sensitivity_free(struct sensitivity *found) {
  history_free(&found->history);
  outcome_free(&found->outcome);
  free(found->result.measures);
  free(found->differences);
  free(found->doubts);
  free(found->samples);
}

void sensitivity_rank(const struct sensitivity *found, int measure, int *order) {
  double size[SENSITIVITY_PARAMETERS];
  for (int i = 0; i < found->count; i++) {
    double effect = fabs(found->result.measures[i][measure] * found->varied[i].change);
    size[i] = isnan(effect) ? -1.0 : effect;
    int place = i;
    while (place > 0 && size[order[place - 1]] < size[i]) {
      order[place] = order[place - 1];
      place--;
    }
    order[place] = i;
  }
}

/* ---- the file ---- */

static void write_rank(const struct sensitivity *found, struct answer_file *file) {
  int rows = found->measure_count * found->count;
  const char **measures = calloc((size_t)rows + 1, sizeof *measures);
  const char **paths = calloc((size_t)rows + 1, sizeof *paths);
  const char **changes = calloc((size_t)rows + 1, sizeof *changes);
  double *numbers = calloc(4 * (size_t)rows + 1, sizeof *numbers);
  if (measures != NULL && paths != NULL && changes != NULL && numbers != NULL) {
    int row = 0;
    for (int m = 0; m < found->measure_count; m++) {
      int order[SENSITIVITY_PARAMETERS];
      int measure = found->measures[m];
      sensitivity_rank(found, measure, order);
      for (int k = 0; k < found->count; k++, row++) {
        const struct varied_parameter *varied = &found->varied[order[k]];
        measures[row] = measure_rows[measure].name;
        paths[row] = varied->path;
        changes[row] = varied->change_words;
        numbers[row] = found->result.measures[order[k]][measure];
        numbers[rows + row] = numbers[row] * varied->change;
        numbers[2 * rows + row] = found->outcome.measures[measure];
        numbers[3 * rows + row] = found->differences != NULL ? found->differences[order[k]][measure] : NAN;
      }
    }
    struct answer_meaning axis = {{"row", QUANTITY_NUMBER, REFERENCE_NONE, "measures, each with its parameters ranked"},
                                  NULL};
    struct answer_meaning columns[] = {
        {{"derivative", QUANTITY_NUMBER, REFERENCE_NONE, "derivative of the measure, SI over SI"}, "1"},
        {{"effect", QUANTITY_NUMBER, REFERENCE_NONE, "derivative times change, SI of the measure"}, "1"},
        {{"value", QUANTITY_NUMBER, REFERENCE_NONE, "the measure itself, SI"}, "1"},
        {{"difference", QUANTITY_NUMBER, REFERENCE_NONE, "derivative by whole runs; NaN without a check"}, "1"},
    };
    answer_group(file, "ranking", "what moves what");
    answer_axis(file, &axis, rows, NULL);
    answer_texts(file, "measure", "what moves", "row", rows, measures);
    answer_texts(file, "parameter", "what moves it", "row", rows, paths);
    answer_texts(file, "change", "by what the parameter is changed", "row", rows, changes);
    for (int c = 0; c < 4; c++) {
      answer_column(file, &columns[c], "row", rows, numbers + (size_t)c * (size_t)rows);
    }
    for (int m = 0; m < found->measure_count; m++) {
      const struct signal *row_of = &measure_rows[found->measures[m]];
      struct answer_meaning meaning = {*row_of, NULL};
      answer_value(file, &meaning, found->outcome.measures[found->measures[m]],
                   found->outcome.absent[found->measures[m]]);
    }
  }
  free(measures);
  free(paths);
  free(changes);
  free(numbers);
}

static void write_histories(const struct sensitivity *found, const struct case_data *data, struct answer_file *file) {
  int count = found->history.count < found->sample_count ? found->history.count : found->sample_count;
  double *buffer = calloc((size_t)count + 1, sizeof *buffer);
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "time since the start of the run"}, NULL};
  if (buffer == NULL) {
    return;
  }
  answer_axis(file, &time, count, found->history.time);
  for (int s = 0; s < found->signal_count; s++) {
    struct answer_meaning meaning = {data->plant->signals[found->signals[s]], NULL};
    answer_column(file, &meaning, "time", count, found->history.values[s]);
  }
  for (int i = 0; i < found->count; i++) {
    const struct varied_parameter *varied = &found->varied[i];
    answer_group(file, varied->path, varied->ref.text);
    answer_words(file, "change", varied->change_words);
    struct answer_meaning value = {{"value", varied->ref.quantity, varied->ref.reference, "of the parameter"}, NULL};
    struct answer_meaning change = {{"change_size", QUANTITY_NUMBER, REFERENCE_NONE, "the change, SI"},
                                    quantity_rows[varied->ref.quantity].si_unit};
    answer_value(file, &value, varied->value, NULL);
    answer_value(file, &change, varied->change, NULL);
    for (int s = 0; s < found->signal_count; s++) {
      const struct signal *signal = &data->plant->signals[found->signals[s]];
      char unit[64];
      char text[200];
      (void)snprintf(unit, sizeof unit, "(%s)/(%s)", quantity_rows[signal->quantity].si_unit,
                     quantity_rows[varied->ref.quantity].si_unit);
      (void)snprintf(text, sizeof text, "derivative of %s to %s", signal->text, varied->path);
      struct answer_meaning meaning = {{signal->name, signal->quantity, signal->reference, text}, unit};
      for (int k = 0; k < count; k++) {
        buffer[k] =
            found->samples[((size_t)k * (size_t)found->count + (size_t)i) * (size_t)found->signal_count + (size_t)s];
      }
      answer_column(file, &meaning, "time", count, buffer);
    }
  }
  free(buffer);
}

bool sensitivity_write(const struct sensitivity *found, const struct case_data *data, const char *path,
                       const char *command, struct error *error) {
  struct answer_file *file = answer_open(path, "sensitivity", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  write_histories(found, data, file);
  write_rank(found, file);
  return answer_close(file, error);
}
