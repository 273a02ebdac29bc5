/* Tractive effort and grade ability: the most that a machine pulls or climbs at each speed, what ends it, and the pull
 * of settings of pump and motor. */
#include <math.h>
#include <string.h>

#include "scan.h"
#include "steady.h"
#include "units.h"

enum { REPORTED_COUNT = 9 };

static const enum machine_signal reported[REPORTED_COUNT] = {
    READ_engine_speed, READ_fuel_fraction,  READ_pump_stroke, READ_motor_displacement, READ_line_a_pressure,
    READ_motor_speed,  READ_traction_force, READ_wheel_slip,  READ_loop_heat};

/* Columns of the envelope, filled place by place. */
struct envelope {
  enum machine_input freed;
  double *most;
  double *pedal;
  double *reported[REPORTED_COUNT];
  int signal[REPORTED_COUNT];
  const char **limits;
};

static void begin_envelope(const struct machine *machine, struct chart *chart, struct signal row,
                           enum machine_input freed, struct envelope *envelope) {
  struct signal pedal_row = {"pedal", QUANTITY_FRACTION, REFERENCE_NONE, "pedal that belongs to it"};
  envelope->freed = freed;
  envelope->most = chart_column(chart, 1, row);
  envelope->limits = chart_texts(chart, "limit", "what ends it");
  envelope->pedal = chart_column(chart, 1, pedal_row);
  for (int k = 0; k < REPORTED_COUNT; k++) {
    envelope->signal[k] = machine_signal(machine, reported[k]);
    envelope->reported[k] = chart_column(chart, 1, machine->data.plant->signals[envelope->signal[k]]);
  }
}

static void put_envelope(struct machine *machine, struct envelope *envelope, int i, const struct steady_most *most) {
  envelope->limits[i] = most->limit;
  if (!most->found) {
    return;
  }
  double signals[PLANT_SIGNAL_LIMIT];
  machine_signals(machine, &most->at, signals);
  envelope->most[i] = most->at.inputs[envelope->freed];
  envelope->pedal[i] = most->at.inputs[MACHINE_PEDAL];
  for (int k = 0; k < REPORTED_COUNT; k++) {
    envelope->reported[k][i] = signals[envelope->signal[k]];
  }
}

static struct machine_point level_inputs(const struct machine *machine) {
  struct machine_point from;
  memset(&from, 0, sizeof from);
  memcpy(from.inputs, machine->inputs, sizeof from.inputs);
  from.inputs[MACHINE_PULL] = 0.0;
  from.inputs[MACHINE_GRADE] = 0.0;
  from.inputs[MACHINE_BRAKE] = 0.0;
  return from;
}

/* Corner points of an envelope: both ends, and where what ends it changes, found by halving. */
enum { CORNER_LIMIT = 16, HALVINGS = 7 };

struct corner {
  double speed;
  double value;
  const char *below;
  const char *above;
};

static int find_corners(struct machine *machine, const struct envelope *envelope, const double *speeds, int count,
                        const struct machine_point *from, struct corner *corners) {
  int found = 0;
  for (int i = 0; i + 1 < count && found < CORNER_LIMIT; i++) {
    if (strcmp(envelope->limits[i], envelope->limits[i + 1]) == 0 || envelope->limits[i][0] == '\0' ||
        envelope->limits[i + 1][0] == '\0') {
      continue;
    }
    double low = speeds[i];
    double high = speeds[i + 1];
    const char *above = envelope->limits[i + 1];
    double value = envelope->most[i];
    for (int k = 0; k < HALVINGS; k++) {
      struct steady_most most;
      double middle = 0.5 * (low + high);
      steady_most(machine, middle, envelope->freed, from, &most);
      if (most.found && strcmp(most.limit, envelope->limits[i]) == 0) {
        low = middle;
        value = most.at.inputs[envelope->freed];
      } else {
        high = middle;
        above = most.found ? most.limit : above;
      }
    }
    corners[found++] = (struct corner){low, value, envelope->limits[i], above};
  }
  return found;
}

static void put_corners(struct steady_answer *answer, const struct corner *corners, int count, struct signal row,
                        const char *noun) {
  struct chart *chart = &answer->charts[answer->chart_count++];
  chart_begin(chart, "corners", "where what ends it changes");
  double *speed = chart_axis(chart, "corner_speed", QUANTITY_SPEED, "speed of the corner", count);
  double *value = chart_column(chart, 1, row);
  const char **below = chart_texts(chart, "below", "what ends it below this speed");
  const char **above = chart_texts(chart, "above", "what ends it above this speed");
  if (chart->failed) {
    return;
  }
  for (int i = 0; i < count; i++) {
    char at[48];
    char of[48];
    speed[i] = corners[i].speed;
    value[i] = corners[i].value;
    below[i] = corners[i].below;
    above[i] = corners[i].above;
    steady_say(answer, "corner at %s, %s of %s: ended by %s below, by %s above",
               units_show(QUANTITY_SPEED, corners[i].speed, at, sizeof at), noun,
               units_show(row.quantity, corners[i].value, of, sizeof of), corners[i].below, corners[i].above);
  }
}

/* Settings of the transmission whose pull is reported, as shares of the pedal's two parts; by an accelerator, which
 * sets neither, eight places of that. */
enum { SETTING_COUNT = 8 };

static const double setting_strokes[SETTING_COUNT] = {0.25, 0.5, 0.75, 1.0, 1.0, 1.0, 1.0, 1.0};
static const double setting_parts[SETTING_COUNT] = {0.0, 0.0, 0.0, 0.0, 0.25, 0.5, 0.75, 1.0};

static void put_settings(struct machine *machine, struct steady_answer *answer, const double *speeds, int count,
                         const struct machine_point *from, struct error *error) {
  struct chart *chart = &answer->charts[answer->chart_count++];
  bool of_accelerator = machine_by_accelerator(machine);
  chart_begin(chart, "settings",
              of_accelerator ? "pull at eight accelerators" : "pull at fixed settings of pump and motor");
  double *stroke_axis =
      chart_axis(chart, "setting", QUANTITY_NUMBER,
                 of_accelerator ? "accelerator, by number" : "setting of pump and motor", SETTING_COUNT);
  double *speed_axis = chart_axis(chart, "setting_speed", QUANTITY_SPEED, "steady speed", count);
  struct signal pedal_row = {"setting_pedal", QUANTITY_FRACTION, REFERENCE_NONE, "pedal of the setting"};
  struct signal stroke_row = {"setting_stroke", QUANTITY_FRACTION, REFERENCE_NONE, "pump stroke commanded"};
  struct signal motor_row = {"setting_motor", QUANTITY_FRACTION, REFERENCE_NONE, "motor displacement commanded"};
  struct signal pull_row = {"setting_pull", QUANTITY_FORCE, REFERENCE_NONE, "pull on the level"};
  double *pedals = chart_column(chart, 1, pedal_row);
  double *strokes = chart_column(chart, 1, stroke_row);
  double *motors = chart_column(chart, 1, motor_row);
  double *pulls = chart_column(chart, 2, pull_row);
  if (chart->failed) {
    (void)error_set(error, ERROR_MEMORY, "out of memory for the map");
    return;
  }
  double share = machine->own.operator->pump_share;
  double smallest = machine->own.motor->smallest;
  memcpy(speed_axis, speeds, (size_t)count * sizeof *speeds);
  for (int k = 0; k < SETTING_COUNT; k++) {
    stroke_axis[k] = k + 1;
    if (of_accelerator) { /* stroke and motor go with the engine's speed, which no foot holds */
      pedals[k] = (double)(k + 1) / SETTING_COUNT;
    } else {
      strokes[k] = setting_strokes[k];
      motors[k] = 1.0 - (1.0 - smallest) * setting_parts[k];
      pedals[k] = share * setting_strokes[k] + (1.0 - share) * setting_parts[k];
    }
    struct machine_point point = *from;
    point.inputs[MACHINE_PEDAL] = pedals[k];
    bool started = false;
    for (int i = count - 1; i >= 0; i--) {
      struct machine_point here = point;
      here.inputs[MACHINE_PULL] = started ? point.inputs[MACHINE_PULL] : 0.0;
      if (!started) {
        machine_set_all(machine, here.inputs);
        if (!machine_guess(machine, speeds[i], &here, NULL)) {
          continue;
        }
      }
      if (machine_find(machine, speeds[i], MACHINE_PULL, &here)) {
        started = true;
        point = here;
        if (here.inputs[MACHINE_PULL] >= 0.0) {
          pulls[k * count + i] = here.inputs[MACHINE_PULL];
        }
      } else if (started) {
        break; /* what may lie beyond belongs to an engine that has been dragged down */
      }
    }
  }
}

static bool make_envelope(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                          struct signal row, enum machine_input freed, const char *noun, struct error *error) {
  int count = options->speed_count;
  struct chart *chart = &answer->charts[answer->chart_count++];
  struct envelope envelope;
  struct corner corners[CORNER_LIMIT];
  chart_begin(chart, "", row.text);
  double *speeds = chart_axis(chart, "speed", QUANTITY_SPEED, "steady speed", count);
  begin_envelope(machine, chart, row, freed, &envelope);
  if (chart->failed) {
    return error_set(error, ERROR_MEMORY, "out of memory for the map");
  }
  if (!steady_speeds(machine, options, 1.0, speeds, error)) {
    return false;
  }
  struct machine_point from = level_inputs(machine);
  for (int i = 0; i < count; i++) {
    struct steady_most most;
    steady_most(machine, speeds[i], freed, &from, &most);
    put_envelope(machine, &envelope, i, &most);
  }
  int corner_count = find_corners(machine, &envelope, speeds, count, &from, corners);
  put_corners(answer, corners, corner_count, row, noun);
  double top = steady_top_speed(machine);
  char words[48];
  if (!isnan(top)) {
    steady_say(answer, "top speed on the level %s", units_show(QUANTITY_SPEED, top, words, sizeof words));
  }
  return true;
}

bool steady_tractive_effort(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                            struct error *error) {
  struct signal row = {"pull", QUANTITY_FORCE, REFERENCE_NONE, "most pull at the drawbar on the level"};
  if (!make_envelope(machine, options, answer, row, MACHINE_PULL, "a pull", error)) {
    return false;
  }
  struct machine_point from = level_inputs(machine);
  const struct chart *envelope = &answer->charts[0];
  error->code = ERROR_NONE;
  put_settings(machine, answer, envelope->axes[0].values, envelope->counts[0], &from, error);
  return error->code == ERROR_NONE;
}

bool steady_grade_ability(struct machine *machine, const struct steady_options *options, struct steady_answer *answer,
                          struct error *error) {
  struct signal row = {"grade", QUANTITY_FRACTION, REFERENCE_NONE, "steepest climb"};
  return make_envelope(machine, options, answer, row, MACHINE_GRADE, "a climb", error);
}
