#include "state_space_output.h"

#include <math.h>
#include <stdio.h>

#define TO_DEGREES (360.0 / TWO_PI)

static const struct state_row *state_of(const struct instant *instant, const struct linear *linear, int i) {
  return &instant->plant->states[instant->rows[linear->places[i]]];
}

static const struct signal *output_of(const struct instant *instant, const struct state_space *space, int i) {
  return &instant->plant->signals[space->signal[i]];
}

/* ---- the file ---- */

static void write_names(const struct instant *instant, const struct linear *linear, const struct state_space *space,
                        struct answer_file *file) {
  const char *names[PLANT_SIGNAL_LIMIT];
  const char *units[PLANT_SIGNAL_LIMIT];
  struct answer_meaning from = {{"from_state", QUANTITY_NUMBER, REFERENCE_NONE, "the state that acts"}, NULL};
  struct answer_meaning input = {{"input", QUANTITY_NUMBER, REFERENCE_NONE, "inputs"}, NULL};
  struct answer_meaning output = {{"output", QUANTITY_NUMBER, REFERENCE_NONE, "outputs: the signals"}, NULL};
  answer_axis(file, &from, space->states, NULL);
  answer_axis(file, &input, space->inputs, NULL);
  answer_axis(file, &output, space->outputs, NULL);
  for (int i = 0; i < space->states; i++) {
    names[i] = state_of(instant, linear, i)->name;
    units[i] = state_of(instant, linear, i)->unit;
  }
  answer_texts(file, "state_name", "names of the states", "from_state", space->states, names);
  answer_texts(file, "state_unit", "SI units of the states", "from_state", space->states, units);
  for (int i = 0; i < space->inputs; i++) {
    names[i] = space->input[i].name;
    units[i] = space->input[i].unit;
  }
  answer_texts(file, "input_name", "names of the inputs", "input", space->inputs, names);
  answer_texts(file, "input_unit", "SI units of the inputs", "input", space->inputs, units);
  for (int i = 0; i < space->outputs; i++) {
    names[i] = output_of(instant, space, i)->name;
    units[i] = quantity_rows[output_of(instant, space, i)->quantity].si_unit;
  }
  answer_texts(file, "output_name", "names of the signals", "output", space->outputs, names);
  answer_texts(file, "output_unit", "SI units of the signals", "output", space->outputs, units);
}

void space_write(const struct instant *instant, const struct linear *linear, const struct state_space *space,
                 struct answer_file *file) {
  static const char *const a_axes[2] = {"state", "from_state"};
  static const char *const b_axes[2] = {"state", "input"};
  static const char *const c_axes[2] = {"output", "from_state"};
  static const char *const d_axes[2] = {"output", "input"};
  int n = space->states;
  int m = space->inputs;
  int p = space->outputs;
  double values[SPACE_INPUTS];
  answer_group(file, "state_space",
               "d(x)/dt = A x + B u, y = C x + D u for small x, u, y about the operating point, SI");
  write_names(instant, linear, space, file);
  struct answer_meaning a = {{"A", QUANTITY_NUMBER, REFERENCE_NONE, "d(rate of a state)/d(state)"}, NULL};
  struct answer_meaning b = {{"B", QUANTITY_NUMBER, REFERENCE_NONE, "d(rate of a state)/d(input)"}, NULL};
  struct answer_meaning c = {{"C", QUANTITY_NUMBER, REFERENCE_NONE, "d(signal)/d(state)"}, NULL};
  struct answer_meaning d = {{"D", QUANTITY_NUMBER, REFERENCE_NONE, "d(signal)/d(input)"}, NULL};
  answer_grid(file, &a, a_axes, (const int[2]){n, n}, linear->jacobian);
  answer_grid(file, &b, b_axes, (const int[2]){n, m}, space->b);
  answer_grid(file, &c, c_axes, (const int[2]){p, n}, space->c);
  answer_grid(file, &d, d_axes, (const int[2]){p, m}, space->d);
  struct answer_meaning x0 = {{"x0", QUANTITY_NUMBER, REFERENCE_NONE, "states at the operating point, SI"}, NULL};
  struct answer_meaning u0 = {
      {"u0", QUANTITY_NUMBER, REFERENCE_NONE, "inputs at the operating point, SI; NaN: not known"}, NULL};
  struct answer_meaning y0 = {{"y0", QUANTITY_NUMBER, REFERENCE_NONE, "signals at the operating point, SI"}, NULL};
  struct answer_meaning size = {{"state_size", QUANTITY_NUMBER, REFERENCE_NONE, "typical size of each state, SI"},
                                NULL};
  for (int k = 0; k < m; k++) {
    values[k] = space->input[k].value;
  }
  answer_column(file, &x0, "from_state", n, space->state0);
  answer_column(file, &u0, "input", m, values);
  answer_column(file, &y0, "output", p, space->output0);
  answer_column(file, &size, "from_state", n, linear->sizes);
  answer_share(file, "time", instant->time);
  answer_share(file, "condition", space->condition);
  answer_share(file, "condition_scaled", space->scaled_condition);
}

void zeros_write(const struct space_zeros *zeros, struct answer_file *file) {
  struct answer_meaning axis = {{"zero", QUANTITY_NUMBER, REFERENCE_NONE, "zeros of the path"}, NULL};
  struct answer_meaning along = {{"zero_real_part", QUANTITY_RATE, REFERENCE_NONE, "real part of the zero"}, NULL};
  struct answer_meaning across = {
      {"zero_imaginary_part", QUANTITY_ANGULAR_RATE, REFERENCE_NONE, "imaginary part of the zero"}, NULL};
  answer_share(file, "relative_degree", zeros->relative_degree);
  if (zeros->count > 0) {
    answer_axis(file, &axis, zeros->count, NULL);
    answer_column(file, &along, "zero", zeros->count, zeros->real);
    answer_column(file, &across, "zero", zeros->count, zeros->imaginary);
  }
}

void cut_write(const struct linear *linear, const struct cut_answer *answer, const double *frequency, int count,
               struct answer_file *file) {
  double gain[LOOP_FREQUENCIES];
  double phase[LOOP_FREQUENCIES];
  double before = 0.0;
  for (int i = 0; i < count; i++) {
    double along;
    double across;
    bool good = loop_response(linear, answer->cut, frequency[i], &along, &across);
    double turned = atan2(-across, -along); /* of -L, whose margins are about -1 */
    turned += i > 0 ? TWO_PI * round((before - turned) / TWO_PI) : 0.0;
    gain[i] = good ? hypot(along, across) : NAN;
    phase[i] = good ? turned : NAN;
    before = turned;
  }
  const struct loop_margins *margins = &answer->margins;
  struct answer_meaning axis = {{"loop_frequency", QUANTITY_ANGULAR_RATE, REFERENCE_NONE, "frequency"}, NULL};
  struct answer_meaning gains = {{"loop_gain", QUANTITY_NUMBER, REFERENCE_NONE, "|L|"}, NULL};
  struct answer_meaning phases = {{"loop_phase", QUANTITY_ANGLE, REFERENCE_NONE, "angle of -L"}, NULL};
  answer_group(file, "loop", "the loop cut at a state: L, the state over the test signal that is read instead of it");
  answer_words(file, "cut", answer->name);
  answer_share(file, "gain_margin", margins->gain);
  answer_share(file, "gain_margin_down", margins->gain_down);
  answer_share(file, "gain_frequency", margins->gain_frequency);
  answer_share(file, "phase_margin", margins->phase);
  answer_share(file, "phase_frequency", margins->phase_frequency);
  answer_share(file, "delay_margin", margins->delay);
  answer_axis(file, &axis, count, frequency);
  answer_column(file, &gains, "loop_frequency", count, gain);
  answer_column(file, &phases, "loop_frequency", count, phase);
}

/* ---- JSON ---- */

static void json_matrix(struct json *json, const char *name, const double *matrix, int rows, int columns) {
  json_begin_list(json, name);
  for (int i = 0; i < rows; i++) {
    json_begin_list(json, NULL);
    for (int k = 0; k < columns; k++) {
      json_number(json, NULL, matrix[i * columns + k]);
    }
    json_end_list(json);
  }
  json_end_list(json);
}

static void json_named(struct json *json, const char *name, const char *unit, double value) {
  json_begin_object(json, NULL);
  json_text(json, "name", name);
  json_text(json, "unit", unit);
  json_number(json, "value", value);
}

void space_json(struct json *json, const struct instant *instant, const struct linear *linear,
                const struct state_space *space) {
  json_begin_object(json, "state_space");
  json_number(json, "time", instant->time);
  json_begin_list(json, "states");
  for (int i = 0; i < space->states; i++) {
    const struct state_row *row = state_of(instant, linear, i);
    json_named(json, row->name, row->unit, space->state0[i]);
    json_number(json, "size", linear->sizes[i]);
    json_end_object(json);
  }
  json_end_list(json);
  json_begin_list(json, "inputs");
  for (int i = 0; i < space->inputs; i++) {
    json_named(json, space->input[i].name, space->input[i].unit, space->input[i].value);
    json_end_object(json);
  }
  json_end_list(json);
  json_begin_list(json, "outputs");
  for (int i = 0; i < space->outputs; i++) {
    const struct signal *row = output_of(instant, space, i);
    json_named(json, row->name, quantity_rows[row->quantity].si_unit, space->output0[i]);
    json_end_object(json);
  }
  json_end_list(json);
  json_matrix(json, "A", linear->jacobian, space->states, space->states);
  json_matrix(json, "B", space->b, space->states, space->inputs);
  json_matrix(json, "C", space->c, space->outputs, space->states);
  json_matrix(json, "D", space->d, space->outputs, space->inputs);
  json_number(json, "condition", space->condition);
  json_number(json, "condition_scaled", space->scaled_condition);
  json_end_object(json);
}

void zeros_json(struct json *json, const struct space_zeros *zeros) {
  json_integer(json, "relative_degree", zeros->relative_degree);
  json_begin_list(json, "zeros");
  for (int i = 0; i < zeros->count; i++) {
    json_begin_object(json, NULL);
    json_number(json, "real_part", zeros->real[i]);
    json_number(json, "imaginary_part", zeros->imaginary[i]);
    json_end_object(json);
  }
  json_end_list(json);
}

void cut_json(struct json *json, const struct cut_answer *answer) {
  const struct loop_margins *margins = &answer->margins;
  json_begin_object(json, "loop");
  json_text(json, "cut", answer->name);
  json_number(json, "gain_margin", margins->gain);
  json_number(json, "gain_margin_down", margins->gain_down);
  json_number(json, "gain_frequency", margins->gain_frequency);
  json_number(json, "phase_margin", margins->phase);
  json_number(json, "phase_frequency", margins->phase_frequency);
  json_number(json, "delay_margin", margins->delay);
  json_bool(json, "open_loop_stable", margins->open_loop_stable);
  json_bool(json, "closed_loop_stable", margins->closed_loop_stable);
  json_end_object(json);
}

/* ---- the screen ---- */

void zeros_print(const struct space_zeros *zeros) {
  if (zeros->relative_degree < 0) {
    (void)printf("\nthe input does not reach the signal\n");
    return;
  }
  (void)printf("\nzeros (relative degree %d):%s", zeros->relative_degree, zeros->count == 0 ? " none\n" : "\n ");
  for (int i = 0; i < zeros->count; i++) {
    if (zeros->imaginary[i] > 0.0) {
      (void)printf("  %.4g +- %.4g j", zeros->real[i], zeros->imaginary[i]);
    } else if (zeros->imaginary[i] == 0.0) {
      (void)printf("  %.4g", zeros->real[i]);
    }
  }
  (void)printf("%s", zeros->count == 0 ? "" : "  1/s\n");
}

void cut_print(const struct cut_answer *answer, const char *words) {
  const struct loop_margins *margins = &answer->margins;
  (void)printf("\nloop cut at %s (%s)\n", answer->name, words);
  if (isfinite(margins->gain)) {
    (void)printf("  gain margin   %.4g (%.3g dB) at %.4g Hz\n", margins->gain, 20.0 * log10(margins->gain),
                 margins->gain_frequency / TWO_PI);
  } else {
    (void)printf("  gain margin   any: no gain brings the loop to -1\n");
  }
  if (margins->gain_down > 0.0) {
    (void)printf("  and it must not fall below %.4g of its gain\n", margins->gain_down);
  }
  if (isfinite(margins->phase)) {
    (void)printf("  phase margin  %.4g deg at %.4g Hz, a delay of %.4g ms\n", margins->phase * TO_DEGREES,
                 margins->phase_frequency / TWO_PI, 1e3 * margins->delay);
  } else {
    (void)printf("  phase margin  any: the loop's gain is 1 nowhere\n");
  }
  if (!margins->open_loop_stable) {
    (void)printf("  the cut loop by itself grows: these margins alone tell nothing of stability\n");
  }
  if (!margins->closed_loop_stable) {
    (void)printf("  the whole grows: it has no margin, these are distances to the limit\n");
  }
}
