/* swashloop response */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answer_file.h"
#include "answers.h"
#include "case.h"
#include "commands.h"
#include "interrupt.h"
#include "options.h"
#include "response_run.h"
#include "units.h"
#include "valve_curve.h"

static const struct option_row options[] = {
    {"curve", '\0', NULL, "the static flow-pressure curve of the valve, both ways, instead of the response"},
    {"flow", '\0', "FLOW", "with --curve: largest flow; default 120 L/min"},
    {"ramp-time", '\0', "TIME", "with --curve: time of the ramp each way; default 2 s"},
    {"band", '\0', "SHARE", "of settling, either way of the settled pressure; default 2 %"},
    {"from", '\0', "TIME", "look from here on; default the start"},
    {"to", '\0', "TIME", "and no further; default the end"},
    {"resolution", '\0', "TIME", "between samples; default a 200000th of the run"},
    {"output", 'o', "FILE", "the file; default: the name of the case with .response.h5, in the current folder"},
    {"set", '\0', "PATH=VALUE", "change a parameter after the case is read; may stand several times"},
    {"json", '\0', NULL, "print one JSON document, numbers in SI"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { CURVE, FLOW, RAMP_TIME, BAND, FROM, TO, RESOLUTION, OUTPUT, SET, JSON, QUIET, HELP, OPTION_COUNT };

struct request {
  const char *case_file;
  const char *output;
  const char **sets;
  int set_count;
  bool curve;
  double flow;
  double ramp_time;
  struct response_wishes wishes;
  bool json;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs("usage: swashloop response CASE [--curve] [--band SHARE] [--set PATH=VALUE]... [--json]\n\n"
              "How the relief valve answers: opening and response time, peak and overshoot, settling, reseat and\n"
              "hysteresis, oscillation and damping, heat, repeated opening and sticking; in a machine also when the\n"
              "pressure limiter takes over. Definitions and a worked example: docs/response.md.\n\n"
              "  swashloop response cases/valve/step.yaml\n"
              "  swashloop response cases/stall.yaml --set relief.law=poppet\n"
              "  swashloop response cases/valve/step.yaml --curve\n"
              "  tools/plot step.response.h5\n\n",
              stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs("\n" CAUTION "\n", stdout);
}

static bool read_option(int option, const char *value, struct request *request, struct error *error) {
  switch (option) {
  case CURVE:
    request->curve = true;
    return true;
  case FLOW:
    return answers_amount("flow", QUANTITY_FLOW, value, 1e-4, 1.0, &request->flow, error);
  case RAMP_TIME:
    return answers_amount("ramp-time", QUANTITY_TIME, value, 1e-3, 1e4, &request->ramp_time, error);
  case BAND:
    return answers_amount("band", QUANTITY_FRACTION, value, 1e-6, 0.5, &request->wishes.band, error);
  case FROM:
    return answers_amount("from", QUANTITY_TIME, value, 0.0, 1e7, &request->wishes.from, error);
  case TO:
    return answers_amount("to", QUANTITY_TIME, value, 0.0, 1e7, &request->wishes.to, error);
  case RESOLUTION:
    return answers_amount("resolution", QUANTITY_TIME, value, 1e-6, 1.0, &request->wishes.resolution, error);
  case OUTPUT:
    request->output = value;
    return true;
  case SET:
    request->sets[request->set_count++] = value;
    return true;
  case JSON:
    request->json = true;
    return true;
  case QUIET:
    request->quiet = true;
    return true;
  default:
    request->help = true;
    return true;
  }
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  while (!request->help) {
    int option = option_next(&reader, error);
    if (option == OPTION_END) {
      break;
    }
    if (option == OPTION_BAD) {
      return false;
    }
    if (option == OPTION_WORD) {
      if (request->case_file != NULL) {
        return error_set(error, ERROR_USAGE, "one case at a time: found '%s' behind '%s'", reader.value,
                         request->case_file);
      }
      request->case_file = reader.value;
    } else if (!read_option(option, reader.value, request, error)) {
      return false;
    }
  }
  return request->help || request->case_file != NULL ||
         error_set(error, ERROR_USAGE, "which case? usage: swashloop response CASE");
}

/* ---- the response ---- */

static void print_response(const struct request *request, const struct case_data *data,
                           const struct response_run *run) {
  struct paint paint = paint_for(stdout);
  char setting[64];
  units_show(QUANTITY_PRESSURE, run->setting, setting, sizeof setting);
  (void)printf("%s%s%s   %s %.6g s\n", paint.strong, data->title, paint.plain, run_status_names[run->outcome.status],
               run->outcome.end_time);
  for (int i = 0; i < run->valve_count; i++) {
    const struct response_valve *valve = &run->valves[i];
    (void)printf("\nrelief valve %c, set to %s\n", valve->letter - 'a' + 'A', setting);
    if (isnan(valve->response.values[RESPONSE_cracking_time])) {
      (void)printf("  %s\n", valve->response.absent[RESPONSE_cracking_time]);
    } else {
      answers_print(stdout, response_rows, RESPONSE_COUNT, valve->response.values, valve->response.absent);
    }
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", request->output, request->output);
}

static void json_response(const struct request *request, const struct case_data *data, const struct response_run *run) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "answer", "response");
  json_text(&json, "status", run_status_names[run->outcome.status]);
  json_number(&json, "end_time", run->outcome.end_time);
  json_number(&json, "setting", run->setting);
  json_number(&json, "band", request->wishes.band);
  json_begin_object(&json, "valves");
  for (int i = 0; i < run->valve_count; i++) {
    char letter[] = {run->valves[i].letter, '\0'};
    json_begin_object(&json, letter);
    answers_json(&json, response_rows, RESPONSE_COUNT, run->valves[i].response.values, run->valves[i].response.absent);
    json_end_object(&json);
  }
  json_end_object(&json);
  json_text(&json, "file", request->output);
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_text(&json, "caution", CAUTION);
  json_end_object(&json);
  (void)fputc('\n', stdout);
}

static int find_response(const struct request *request, struct case_data *data, const char *command) {
  struct error error = {0};
  struct progress progress = progress_start(request->quiet);
  struct watcher watcher = {&progress, answers_tick};
  struct response_run run;
  bool good = response_run(data, &request->wishes, &watcher, &run, &error);
  progress_clear(&progress);
  good = good && response_run_write(&run, data, request->output, command, &error);
  if (good && request->json && !request->quiet) {
    json_response(request, data, &run);
  } else if (good && !request->quiet) {
    print_response(request, data, &run);
  }
  response_run_free(&run);
  return good ? EXIT_DONE : answers_fail(&error);
}

/* ---- the curve ---- */

static bool write_curve(const struct request *request, const struct case_data *rig, const struct valve_curve *curve,
                        const char *command, struct error *error) {
  struct answer_file *file = answer_open(request->output, "valve_curve", rig->title, rig->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  enum reference none = REFERENCE_NONE;
  struct answer_meaning flow = {{"flow", QUANTITY_FLOW, none, "flow through the valve"}, NULL};
  struct answer_meaning columns[] = {
      {{"drop_up", QUANTITY_PRESSURE, none, "drop over the valve while the flow rises"}, NULL},
      {{"drop_down", QUANTITY_PRESSURE, none, "drop over the valve while the flow falls"}, NULL},
      {{"drop_balance", QUANTITY_PRESSURE, none, "drop by the static balance of the valve's law"}, NULL},
      {{"lift", curve->poppet ? QUANTITY_LENGTH : QUANTITY_PRESSURE, none, "opening while the flow rises"}, NULL},
  };
  const double *values[] = {curve->up, curve->down, curve->balance, curve->lift};
  answer_axis(file, &flow, VALVE_CURVE_POINTS, curve->flow);
  for (int i = 0; i < 4; i++) {
    answer_column(file, &columns[i], "flow", VALVE_CURVE_POINTS, values[i]);
  }
  answer_group(file, "valve", "numbers of the curve");
  for (int i = 0; i < CURVE_COUNT; i++) {
    struct answer_meaning meaning = {valve_curve_rows[i], NULL};
    answer_value(file, &meaning, curve->values[i], curve->absent[i]);
  }
  return answer_close(file, error);
}

static void tell_curve(const struct request *request, const struct case_data *rig, const struct valve_curve *curve) {
  if (!request->json) {
    struct paint paint = paint_for(stdout);
    (void)printf("%s%s%s   flow-pressure curve of the relief valve\n\n", paint.strong, rig->title, paint.plain);
    answers_print(stdout, valve_curve_rows, CURVE_COUNT, curve->values, curve->absent);
    (void)printf("\nfile %s   picture: tools/plot %s\n", request->output, request->output);
    return;
  }
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", rig->title);
  json_text(&json, "case", request->case_file);
  json_text(&json, "answer", "valve_curve");
  json_begin_object(&json, "valve");
  answers_json(&json, valve_curve_rows, CURVE_COUNT, curve->values, curve->absent);
  json_end_object(&json);
  static const char *const names[] = {"flow", "drop_up", "drop_down", "drop_balance", "lift"};
  const double *columns[] = {curve->flow, curve->up, curve->down, curve->balance, curve->lift};
  for (int i = 0; i < 5; i++) {
    json_begin_list(&json, names[i]);
    for (int k = 0; k < VALVE_CURVE_POINTS; k += 4) {
      json_number(&json, NULL, columns[i][k]);
    }
    json_end_list(&json);
  }
  json_text(&json, "file", request->output);
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_text(&json, "caution", CAUTION);
  json_end_object(&json);
  (void)fputc('\n', stdout);
}

static int find_curve(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  struct case_data rig;
  if (!valve_curve_rig(data, &rig, &error)) {
    return terminal_error(&error);
  }
  struct progress progress = progress_start(request->quiet);
  struct watcher watcher = {&progress, answers_tick};
  struct valve_curve *curve = calloc(1, sizeof *curve);
  if (curve == NULL) {
    case_free(&rig);
    return EXIT_RUN_FAILED;
  }
  bool good = valve_curve_find(&rig, request->flow, request->ramp_time, &watcher, curve, &error);
  progress_clear(&progress);
  good = good && case_rename(&rig, data->title, &error) && write_curve(request, &rig, curve, command, &error);
  if (good && !request->quiet) {
    tell_curve(request, &rig, curve);
  }
  free(curve);
  case_free(&rig);
  return good ? EXIT_DONE : answers_fail(&error);
}

int command_response(int argument_count, char **arguments) {
  struct error error = {0};
  struct case_data data;
  struct request request = {.flow = 120e-3 / 60.0, .ramp_time = 2.0, .wishes = {0.02, 0.0, HUGE_VAL, 0.0}};
  request.sets = calloc((size_t)argument_count + 1, sizeof *request.sets);
  char *command = option_command_line("swashloop response", argument_count, arguments);
  char *output = NULL;
  int code = EXIT_DONE;
  if (request.sets == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!read_request(argument_count, arguments, &request, &error) ||
             (!request.help && !case_load(request.case_file, request.sets, request.set_count, &data, &error))) {
    code = terminal_error(&error);
  } else if (request.help) {
    print_help();
  } else {
    output = answers_output(request.case_file, request.curve ? "curve" : "response");
    request.output = request.output != NULL ? request.output : output;
    interrupt_catch();
    code = request.curve ? find_curve(&request, &data, command) : find_response(&request, &data, command);
    case_free(&data);
  }
  units_close();
  free(output);
  free(command);
  free(request.sets);
  return code;
}
