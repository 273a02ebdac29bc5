/* swashloop linear */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "chart_output.h"
#include "commands.h"
#include "linear.h"
#include "registry.h"
#include "state_space_output.h"
#include "steady.h"
#include "units.h"
#include "window.h"
#include "text.h"

struct request {
  struct asked asked;
  const char *states;
  const char *input;
  const char *signal;
  const char *cut;
  double at;
  double from;
  double to;
  struct steady_given given;
};
static const struct option_row options[] = {
    OPTION_ANY_AMOUNT("at", "TIME", at, TIME, "about the instant of a run: the case is run so far"),
    OPTION_ANY_AMOUNT("speed", "SPEED", given.speed, SPEED, "about steady drive: the speed"),
    OPTION_ANY_AMOUNT("grade", "GRADE", given.grade, FRACTION, "about steady drive: the grade"),
    OPTION_ANY_AMOUNT("pull", "FORCE", given.pull, FORCE, "about steady drive: pull at the drawbar"),
    OPTION_ANY_AMOUNT("pedal", "SHARE", given.pedal, FRACTION, "about steady drive: the pedal, or the accelerator"),
    OPTION_TEXT("states", '\0', "NAMES", states, "only these states take part, separated by commas, the others held"),
    OPTION_TEXT(
        "input", '\0', "NAME", input,
        "frequency response from: pedal, grade, pull, brake, exhaust_brake, throttle (of a rig: feed), or a state"),
    OPTION_TEXT("signal", '\0', "NAME", signal, "frequency response to this signal"),
    OPTION_TEXT("cut", '\0', "STATE", cut, "gain and phase margins of the loop cut at this state"),
    OPTION_ANY_AMOUNT("from", "TIME", from, TIME, "a window of a run: its start"),
    OPTION_ANY_AMOUNT("to", "TIME", to, TIME, "a window of a run: its end; says whether the machine hunts"),
    OPTION_OUTPUT("also write the answer as a file (HDF5, opens as netCDF-4; tools/plot draws it)"),
    OPTION_SET,
    OPTION_JSON("print the answer as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

enum { FREQUENCIES = 200, WINDOW_SAMPLES = 1000 };

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  if (request->asked.file == NULL) {
    return error_set(error, ERROR_USAGE, "which case? usage: swashloop linear CASE [--at TIME]");
  }
  bool steady = !isnan(request->given.speed) || !isnan(request->given.grade) || !isnan(request->given.pull) ||
                !isnan(request->given.pedal);
  if ((steady || !isnan(request->to)) && !isnan(request->at)) {
    return error_set(error, ERROR_USAGE, "--at stands alone: without a steady drive and without a window");
  }
  if ((request->input == NULL) != (request->signal == NULL)) {
    return error_set(error, ERROR_USAGE, "--input and --signal belong together");
  }
  if (isnan(request->from) != isnan(request->to) || request->from < 0.0 || request->to <= request->from) {
    return error_set(error, ERROR_USAGE, "a window needs --from and a later --to");
  }
  return true;
}

/* ---- the linear system about an instant ---- */

/* What the command works on. */
struct work {
  struct machine machine; /* of a transmission: frozen at the instant */
  bool has_machine;
  struct run_workspace *run;
  struct instant instant;
  struct linear linear;
  struct modes modes;
  struct linear_kink kinks[KINK_LIMIT];
  int kink_count;
  struct linear_input input;
  double gradient[PLANT_STATE_LIMIT];
  struct state_space space;
  struct space_zeros zeros;
  struct cut_answer cut;
  struct chart main;
  struct chart response;
  bool has_response;
};

static const char *state_name(const void *context, int index) {
  const struct instant *instant = context;
  return instant->plant->states[instant->rows[index]].name;
}

static const char *signal_name(const void *context, int index) {
  return ((const struct plant *)context)->signals[index].name;
}

static bool read_states(const char *names, const struct instant *instant, bool *take, struct error *error) {
  for (const char *name = names; *name != '\0';) {
    size_t length = strcspn(name, ",");
    char one[64];
    (void)snprintf(one, sizeof one, "%.*s", (int)length, name);
    int place = instant_place(instant, one);
    if (place < 0) {
      const char *near = registry_nearest(one, instant->state_count, state_name, instant);
      return error_set(error, ERROR_USAGE, "no state '%s' here%s%s%s", one, near != NULL ? "; did you mean '" : "",
                       near != NULL ? near : "", near != NULL ? "'?" : "");
    }
    take[place] = true;
    name += length + (name[length] == ',' ? 1 : 0);
  }
  return true;
}

/* A machine held at what the run does at its instant, to nudge its inputs. Where a driver has the pedals there is none:
 * what an operator's channel does is found by moving it. */
static bool freeze(const struct case_data *data, struct work *work, struct error *error) {
  double signals[PLANT_SIGNAL_LIMIT];
  struct instant *instant = &work->instant;
  bool held = data->plant == &transmission_plant && instant_place(instant, "driver_pedal") < 0;
  if (!held || !machine_open(data, &work->machine, error)) {
    return !held;
  }
  work->has_machine = true;
  struct machine *machine = &work->machine;
  instant->plant->signals_at(instant->model, instant->mode, instant->time, instant->state, signals);
  double pedal = signals[machine_signal(machine, READ_pedal)];
  if (machine_by_accelerator(machine)) {
    double pressed = signals[machine_signal(machine, READ_accelerator)];
    machine->lever = pressed > 0.0 ? fabs(pedal) / pressed : 1.0; /* in neutral: none */
    pedal = copysign(pressed, pedal);
  }
  machine_set(machine, MACHINE_PEDAL, pedal);
  machine_set(machine, MACHINE_GRADE, signals[machine_signal(machine, READ_grade)]);
  machine_set(machine, MACHINE_BRAKE, signals[machine_signal(machine, READ_brake)]);
  machine_set(machine, MACHINE_EXHAUST_BRAKE, signals[machine_signal(machine, READ_exhaust_brake)]);
  return true;
}

static bool find_instant(const struct request *request, const struct case_data *data, struct work *work,
                         struct error *error) {
  if (!isnan(request->at)) {
    work->run = window_run_to(data, request->at, &work->instant, error);
    return work->run != NULL && freeze(data, work, error);
  }
  struct machine_point point;
  if (!machine_open(data, &work->machine, error)) {
    return false;
  }
  work->has_machine = true;
  if (!steady_find(&work->machine, &request->given, &point, error)) {
    return false;
  }
  machine_set_all(&work->machine, point.inputs);
  instant_of(data->plant, work->machine.model, work->machine.mode, 0.0, point.state, &work->instant);
  return true;
}

/* The input of a response made ready; a state that is one is cut from the system. */
static bool make_input(const char *name, int signal, struct work *work, bool *take, struct error *error) {
  int place = instant_place(&work->instant, name);
  char names[256];
  if (space_input_of(&work->space, name, signal, &work->input)) {
    return true;
  }
  if (place < 0) {
    return error_set(error, ERROR_USAGE,
                     "no input '%s'; there are %s, and every state (swashloop linear CASE lists those that take part)",
                     name, space_input_names(&work->space, names, sizeof names));
  }
  for (int i = 0; i < work->instant.state_count; i++) {
    take[i] = false;
  }
  for (int i = 0; i < work->linear.count; i++) {
    take[work->linear.places[i]] = work->linear.places[i] != place;
  }
  if (!linear_make(&work->instant, take, &work->linear, error)) {
    return false;
  }
  linear_state_input(&work->instant, &work->linear, place, signal, &work->input);
  return true;
}

/* Decades that hold the modes, and one more on each side. */
static void frequency_range(const struct modes *modes, double *low, double *high) {
  *low = HUGE_VAL;
  *high = 0.0;
  for (int k = 0; k < modes->count; k++) {
    double frequency = mode_frequency(&modes->modes[k]);
    if (frequency > 1e-3) {
      *low = fmin(*low, frequency);
      *high = fmax(*high, fmin(frequency, 1e4));
    }
  }
  *low = *high > 0.0 ? 0.1 * *low : 0.1;
  *high = *high > 0.0 ? 3.0 * *high : 1e3;
}

static bool make_response(const struct request *request, struct work *work, struct error *error) {
  const struct plant *plant = work->instant.plant;
  int signal = registry_signal(plant, request->signal);
  bool take[PLANT_STATE_LIMIT] = {false};
  double low;
  double high;
  if (signal < 0) {
    const char *near = registry_nearest(request->signal, plant->signal_count, signal_name, plant);
    return error_set(error, ERROR_USAGE, "no signal '%s'%s%s%s", request->signal,
                     near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
  }
  if (!make_input(request->input, signal, work, take, error)) {
    return false;
  }
  linear_output(&work->instant, &work->linear, signal, work->gradient);
  if (!space_zeros(&work->linear, &work->input, work->gradient, &work->zeros, error)) {
    return false;
  }
  frequency_range(&work->modes, &low, &high);
  struct chart *chart = &work->response;
  chart_begin(chart, "response", "frequency response");
  double *frequency = chart_axis(chart, "frequency", QUANTITY_ANGULAR_RATE, "frequency of the input", FREQUENCIES);
  struct signal gain_row = {"gain", QUANTITY_NUMBER, REFERENCE_NONE, "signal over input, both in SI"};
  struct signal phase_row = {"phase", QUANTITY_ANGLE, REFERENCE_NONE, "signal after input"};
  double *gain = chart_column_in(chart, 1, gain_row, "1");
  double *phase = chart_column(chart, 1, phase_row);
  if (chart->failed) {
    return error_set(error, ERROR_MEMORY, "out of memory for the response");
  }
  double before = 0.0;
  for (int i = 0; i < FREQUENCIES; i++) {
    frequency[i] = low * pow(high / low, (double)i / (FREQUENCIES - 1));
    double turned;
    if (linear_response(&work->linear, &work->input, work->gradient, frequency[i], &gain[i], &turned)) {
      /* No jumps by a whole turn from one frequency to the next. */
      turned += i > 0 ? TWO_PI * round((before - turned) / TWO_PI) : 0.0;
      phase[i] = turned;
      before = turned;
    }
  }
  work->has_response = true;
  return true;
}

/* ---- the answer as charts ---- */

static bool make_chart(struct work *work, struct error *error) {
  struct chart *chart = &work->main;
  const struct modes *modes = &work->modes;
  chart_begin(chart, "", "modes");
  double *number = chart_axis(chart, "mode", QUANTITY_NUMBER, "mode, slowest first", modes->count);
  double *state = chart_axis(chart, "state", QUANTITY_NUMBER, "state that takes part", work->linear.count);
  struct signal real_row = {"real_part", QUANTITY_RATE, REFERENCE_NONE, "real part of the eigenvalue"};
  struct signal imaginary_row = {"imaginary_part", QUANTITY_ANGULAR_RATE, REFERENCE_NONE,
                                 "imaginary part of the eigenvalue"};
  struct signal frequency_row = {"natural_frequency", QUANTITY_ANGULAR_RATE, REFERENCE_NONE, "natural frequency"};
  struct signal damping_row = {"damping_ratio", QUANTITY_NUMBER, REFERENCE_NONE, "damping ratio"};
  struct signal share_row = {"participation", QUANTITY_FRACTION, REFERENCE_NONE, "part of each state in the mode"};
  double *real_part = chart_column(chart, 1, real_row);
  double *imaginary = chart_column(chart, 1, imaginary_row);
  double *frequency = chart_column(chart, 1, frequency_row);
  double *damping = chart_column(chart, 1, damping_row);
  double *share = chart_column(chart, 2, share_row);
  if (chart->failed) {
    return error_set(error, ERROR_MEMORY, "out of memory for the modes");
  }
  for (int i = 0; i < work->linear.count; i++) {
    state[i] = i;
  }
  for (int k = 0; k < modes->count; k++) {
    const struct mode *mode = &modes->modes[k];
    number[k] = k + 1;
    real_part[k] = mode->real;
    imaginary[k] = mode->imaginary;
    frequency[k] = mode_frequency(mode);
    damping[k] = mode_damping(mode);
    for (int i = 0; i < work->linear.count; i++) {
      share[k * work->linear.count + i] = mode->share[i];
    }
  }
  return true;
}

static void print_modes(FILE *out, const struct work *work) {
  (void)fprintf(out, "  mode      eigenvalue 1/s        natural       damping  who takes part\n");
  for (int k = 0; k < work->modes.count; k++) {
    const struct mode *mode = &work->modes.modes[k];
    char words[256];
    char value[64];
    if (mode->imaginary > 0.0) {
      (void)snprintf(value, sizeof value, "%.4g +- %.4g j", mode->real, mode->imaginary);
    } else {
      (void)snprintf(value, sizeof value, "%.4g", mode->real);
    }
    (void)fprintf(out, "  %4d  %24s  %8.3g Hz  %8.3g  %s%s\n", k + 1, value, mode_frequency(mode) / TWO_PI,
                  mode_damping(mode), mode_words(&work->instant, &work->linear, mode, words, sizeof words),
                  mode->real > 0.0    ? "  (grows)"
                  : mode->real == 0.0 ? "  (neither grows nor decays)"
                                      : "");
  }
}

static void print_kinks(FILE *out, const struct work *work) {
  if (work->kink_count == 0) {
    (void)fprintf(out, "\nno kink is near\n");
    return;
  }
  (void)fprintf(out, "\nkinks near: the rate changes otherwise on the two sides\n");
  for (int i = 0; i < work->kink_count; i++) {
    const struct linear_kink *kink = &work->kinks[i];
    const char *unit = work->instant.plant->states[work->instant.rows[kink->state]].unit;
    bool share = strcmp(unit, "1") == 0;
    (void)fprintf(out, "  %s, within %.3g %s: rate of %s (%.3g below, %.3g above, scaled, 1/s)\n",
                  instant_state_words(&work->instant, kink->state), (share ? 100.0 : 1.0) * kink->distance,
                  share ? "%" : unit, instant_state_words(&work->instant, kink->rate), kink->before, kink->after);
  }
}

static void print_text(const struct request *request, const struct case_data *data, const struct work *work) {
  (void)printf("%s\ncase %s\n\n", shown(data->title).text, shown(data->source).text);
  if (!isnan(request->at)) {
    (void)printf("Linear about t = %.6g s of the run\n", request->at);
  } else {
    char speed[48];
    char grade[48];
    char pedal[48];
    const struct machine *machine = &work->machine;
    (void)printf("Linear about steady drive at %s, grade %s, pedal %s\n",
                 units_show(QUANTITY_SPEED, work->instant.state[machine->speed], speed, sizeof speed),
                 units_show(QUANTITY_FRACTION, machine->inputs[MACHINE_GRADE], grade, sizeof grade),
                 units_show(QUANTITY_FRACTION, machine->inputs[MACHINE_PEDAL], pedal, sizeof pedal));
  }
  print_modes(stdout, work);
  print_kinks(stdout, work);
  (void)printf("\ncondition of the Jacobian %.2g in SI, %.2g with each state in its typical size\n",
               work->space.condition, work->space.scaled_condition);
  if (work->cut.name != NULL) {
    cut_print(&work->cut, instant_state_words(&work->instant, work->linear.places[work->cut.cut]));
  }
  if (work->has_response) {
    const struct chart_column *frequency = chart_find(&work->response, "frequency");
    const struct chart_column *gain = chart_find(&work->response, "gain");
    const struct chart_column *phase = chart_find(&work->response, "phase");
    (void)printf("\nfrequency response from %s to %s (SI)\n", request->input, request->signal);
    for (int i = 0; i < FREQUENCIES; i += 20) {
      (void)printf("  %9.4g rad/s  gain %11.4g  phase %7.1f deg\n", frequency->values[i], gain->values[i],
                   phase->values[i] * 360.0 / TWO_PI);
    }
    zeros_print(&work->zeros);
  }
  if (request->asked.output != NULL) {
    (void)printf("\nfile %s\n", shown(request->asked.output).text);
  }
}

static void print_json(const struct request *request, const struct case_data *data, const struct work *work) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "linear");
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_number(&json, "at", request->at);
  json_begin_list(&json, "modes");
  for (int k = 0; k < work->modes.count; k++) {
    const struct mode *mode = &work->modes.modes[k];
    char words[256];
    json_begin_object(&json, NULL);
    json_number(&json, "real_part", mode->real);
    json_number(&json, "imaginary_part", mode->imaginary);
    json_number(&json, "natural_frequency", mode_frequency(mode));
    json_number(&json, "damping_ratio", mode_damping(mode));
    json_text(&json, "words", mode_words(&work->instant, &work->linear, mode, words, sizeof words));
    json_begin_object(&json, "participation");
    for (int i = 0; i < work->linear.count; i++) {
      json_number(&json, work->instant.plant->states[work->instant.rows[work->linear.places[i]]].name, mode->share[i]);
    }
    json_end_object(&json);
    json_end_object(&json);
  }
  json_end_list(&json);
  json_begin_list(&json, "kinks");
  for (int i = 0; i < work->kink_count; i++) {
    const struct linear_kink *kink = &work->kinks[i];
    json_begin_object(&json, NULL);
    json_text(&json, "state", work->instant.plant->states[work->instant.rows[kink->state]].name);
    json_text(&json, "rate", work->instant.plant->states[work->instant.rows[kink->rate]].name);
    json_number(&json, "distance", kink->distance);
    json_number(&json, "before", kink->before);
    json_number(&json, "after", kink->after);
    json_end_object(&json);
  }
  json_end_list(&json);
  if (work->has_response) {
    json_begin_object(&json, "response");
    json_text(&json, "input", request->input);
    json_text(&json, "signal", request->signal);
    chart_json(&json, &work->response);
    zeros_json(&json, &work->zeros);
    json_end_object(&json);
  }
  if (work->cut.name != NULL) {
    cut_json(&json, &work->cut);
  }
  space_json(&json, &work->instant, &work->linear, &work->space);
  answers_json_end(&json, request->asked.output);
}

static bool write_file(const struct request *request, const struct case_data *data, const struct work *work,
                       const char *command, struct error *error) {
  struct answer_file *file = answer_open(request->asked.output, "linear", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  chart_write(file, &work->main);
  const char *names[PLANT_STATE_LIMIT];
  const char *who[PLANT_STATE_LIMIT];
  char words[PLANT_STATE_LIMIT][256];
  for (int i = 0; i < work->linear.count; i++) {
    names[i] = instant_state_words(&work->instant, work->linear.places[i]);
  }
  for (int k = 0; k < work->modes.count; k++) {
    who[k] = mode_words(&work->instant, &work->linear, &work->modes.modes[k], words[k], sizeof words[k]);
  }
  answer_texts(file, "state_words", "names of the states", "state", work->linear.count, names);
  answer_texts(file, "mode_words", "who takes part", "mode", work->modes.count, who);
  if (work->has_response) {
    chart_write(file, &work->response);
    answer_words(file, "input", request->input);
    answer_words(file, "signal", request->signal);
    zeros_write(&work->zeros, file);
  }
  if (work->cut.name != NULL) {
    double low;
    double high;
    double frequency[FREQUENCIES];
    frequency_range(&work->modes, &low, &high);
    for (int i = 0; i < FREQUENCIES; i++) {
      frequency[i] = low * pow(high / low, (double)i / (FREQUENCIES - 1));
    }
    cut_write(&work->linear, &work->cut, frequency, FREQUENCIES, file);
  }
  space_write(&work->instant, &work->linear, &work->space, file);
  return answer_close(file, error);
}

/* The loop that is to be cut. */
static bool cut_loop(const struct request *request, struct work *work, struct error *error) {
  if (request->cut == NULL) {
    return true;
  }
  int place = instant_place(&work->instant, request->cut);
  int cut = -1;
  for (int i = 0; i < work->linear.count; i++) {
    cut = work->linear.places[i] == place ? i : cut;
  }
  if (cut < 0) {
    const char *near = registry_nearest(request->cut, work->instant.state_count, state_name, &work->instant);
    return error_set(error, ERROR_USAGE, "no state '%s' takes part here%s%s%s", request->cut,
                     near != NULL ? "; did you mean '" : "", near != NULL ? near : "", near != NULL ? "'?" : "");
  }
  work->cut.name = request->cut;
  work->cut.cut = cut;
  return loop_margins_find(&work->linear, cut, &work->cut.margins, error);
}

static bool about_instant(const struct request *request, const struct case_data *data, struct work *work,
                          struct error *error) {
  bool take[PLANT_STATE_LIMIT] = {false};
  if (!find_instant(request, data, work, error)) {
    return false;
  }
  if (request->states != NULL && !read_states(request->states, &work->instant, take, error)) {
    return false;
  }
  if (!linear_make(&work->instant, request->states != NULL ? take : NULL, &work->linear, error) ||
      !modes_find(&work->linear, &work->modes, error) || !make_chart(work, error) ||
      !space_make(&work->instant, &work->linear, data->parameters, work->has_machine ? &work->machine : NULL,
                  &work->space, error) ||
      !cut_loop(request, work, error)) {
    return false;
  }
  work->kink_count = linear_kinks(&work->instant, &work->linear, work->kinks);
  return true;
}

static int tell_instant(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  struct work *work = calloc(1, sizeof *work);
  int code = EXIT_DONE;
  if (work == NULL) {
    error_set(&error, ERROR_MEMORY, "out of memory");
    return terminal_error(&error);
  }
  bool good = about_instant(request, data, work, &error);
  if (good && request->input != NULL) {
    /* The response may cut a state from the system: the modes are reported of the whole. */
    struct linear whole = work->linear;
    good = make_response(request, work, &error);
    work->linear = whole;
  }
  if (!good || (request->asked.output != NULL && !write_file(request, data, work, command, &error))) {
    code = terminal_error(&error);
  } else if (request->asked.json && !request->asked.quiet) {
    print_json(request, data, work);
  } else if (!request->asked.quiet) {
    print_text(request, data, work);
  }
  chart_free(&work->main);
  chart_free(&work->response);
  if (work->has_machine) {
    machine_close(&work->machine);
  }
  run_workspace_free(work->run);
  free(work);
  return code;
}

/* ---- a window ---- */

static bool write_window(const struct request *request, const struct case_data *data, const struct window *window,
                         const char *command, struct error *error) {
  struct answer_file *file = answer_open(request->asked.output, "window", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  struct answer_meaning time = {{"time", QUANTITY_TIME, REFERENCE_NONE, "time since the start of the run"}, NULL};
  struct answer_meaning growth = {
      {"growth", QUANTITY_RATE, REFERENCE_NONE, "largest real part of the eigenvalues, mean over a swing"}, NULL};
  struct answer_meaning highest = {
      {"growth_highest", QUANTITY_RATE, REFERENCE_NONE, "the largest of it within that swing"}, NULL};
  struct answer_meaning frequency = {
      {"frequency", QUANTITY_ANGULAR_RATE, REFERENCE_NONE, "imaginary part of that eigenvalue"}, NULL};
  struct answer_meaning swing = {{"swing", QUANTITY_PRESSURE, REFERENCE_LINE_TO_LINE, "line A over line B"}, NULL};
  answer_axis(file, &time, window->taken, window->time);
  answer_column(file, &growth, "time", window->taken, window->mean);
  answer_column(file, &highest, "time", window->taken, window->highest);
  answer_column(file, &frequency, "time", window->taken, window->frequency);
  answer_column(file, &swing, "time", window->taken, window->swing);
  answer_words(file, "verdict", window->words);
  answer_share(file, "mean_over", window->span);
  return answer_close(file, error);
}

static const char *const verdicts[] = {"sound", "in_passing", "grows", "hunts"};

static void print_window(const struct request *request, const struct case_data *data, const struct window *window) {
  if (request->asked.quiet) {
    return;
  }
  if (!request->asked.json) {
    (void)printf("%s\ncase %s\n\nfrom %.4g s to %.4g s: %s\n", shown(data->title).text, shown(data->source).text,
                 window->from, window->to, window->words);
    return;
  }
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "window");
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_number(&json, "from", window->from);
  json_number(&json, "to", window->to);
  json_text(&json, "verdict", verdicts[window->verdict]);
  json_text(&json, "words", window->words);
  json_number(&json, "growing_time", window->growing_time);
  json_number(&json, "longest_growing_time", window->longest_time);
  json_integer(&json, "turning_points", window->turns);
  json_number(&json, "swing_amplitude", window->amplitude);
  json_number(&json, "swing_frequency", window->swing_frequency);
  json_number(&json, "mean_over", window->span);
  answers_json_end(&json, request->asked.output);
}

static int tell_window(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  struct window window;
  int code = EXIT_DONE;
  if (!window_evaluate(data, request->from, request->to, WINDOW_SAMPLES, &window, &error) ||
      (request->asked.output != NULL && !write_window(request, data, &window, command, &error))) {
    code = terminal_error(&error);
  } else {
    print_window(request, data, &window);
  }
  window_free(&window);
  return code;
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  return isnan(request->to) ? tell_instant(request, data, command) : tell_window(request, data, command);
}

int command_linear(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "linear",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop linear CASE [--at TIME | --speed V --grade G | --pedal P --grade G] [options]\n"
                  "       swashloop linear CASE --from TIME --to TIME\n\n"
                  "The machine linearised: eigenvalues, natural frequencies, damping, and which states take part in "
                  "which mode;\n"
                  "with --input and --signal the frequency response and its zeros; with --cut the margins of a loop; "
                  "with -o the matrices\n"
                  "A, B, C, D. About an instant of a run, or about steady drive "
                  "(default: "
                  "with\n"
                  "pedals and grade of the case at time zero). Distance, temperatures and the tank's oil are held. "
                  "With --from "
                  "and\n"
                  "--to the modes are followed along the run, and persistent instability is distinguished from growth "
                  "in "
                  "passing.\n\n"
                  "  swashloop linear cases/climb.yaml --speed \"8 km/h\" --grade \"15 %\"\n"
                  "  swashloop linear cases/climb.yaml --at \"20 s\" --input grade --signal engine_speed -o bode.h5\n"
                  "  swashloop linear cases/stall.yaml --from \"3 s\" --to \"6 s\" --set limiter.band=\"10 bar\"\n\n",
              .tail = "\n" CAUTION "\n",
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {.at = NAN, .from = NAN, .to = NAN, .given = {NAN, NAN, NAN, NAN}};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
