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
#include "response_keep.h"
#include "response_run.h"
#include "summary_limits.h"
#include "units.h"
#include "valve_curve.h"
#include "text.h"

enum { SHOWN_OPENINGS = 10, KEEP_JOBS = 64 };

struct request {
  struct asked asked;
  bool curve;
  const char *keep; /* the sentence of a limit; NULL: not asked */
  int jobs;         /* 0: as many as there are processors */
  double flow;
  double ramp_time;
  struct response_options options;
};
static const struct option_row options[] = {
    OPTION_FLAG("curve", curve, "the static flow-pressure curve of the valve, both ways, instead of the response"),
    OPTION_TEXT(
        "keep", '\0', "LIMIT", keep,
        "is the valve fast enough for LIMIT, as \"line_a_pressure <= 480 bar\": margin, how far the valve may go,\n"
        "what the peak is made of"),
    OPTION_JOBS(jobs, KEEP_JOBS, "with --keep: threads; default: one a processor that this process may use"),
    OPTION_AMOUNT("flow", "FLOW", flow, FLOW, 1e-4, 1.0, "with --curve: largest flow; default 120 L/min"),
    OPTION_AMOUNT(
        "ramp-time", "TIME", ramp_time, TIME, 1e-3, 1e4,
        "with --curve: time of the ramp each way; default: as slow as the valve wants, tried by\nhalf the rate"),
    OPTION_AMOUNT("band", "SHARE", options.band, FRACTION, 1e-6, 0.5,
                  "of settling, of the settled drop over the setting, either way; default 5 %"),
    OPTION_AMOUNT("from", "TIME", options.from, TIME, 0.0, 1e7, "look from here on; default the start"),
    OPTION_AMOUNT("to", "TIME", options.to, TIME, 0.0, 1e7, "and no further; default the end"),
    OPTION_AMOUNT("resolution", "TIME", options.resolution, TIME, 1e-6, 1.0,
                  "between samples; default a 200000th of the run"),
    OPTION_OUTPUT("the file; default: the name of the case with .response.h5, in the current folder"),
    OPTION_SET,
    OPTION_JSON("print one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool check_request(void *context, struct error *error) {
  struct request *request = context;
  request->asked.ending = request->curve ? ".curve.h5" : request->keep != NULL ? ".keep.h5" : ".response.h5";
  if (request->curve && request->keep != NULL) {
    return error_set(error, ERROR_USAGE, "--curve and --keep ask for two answers: one at a time");
  }
  return request->asked.file != NULL || error_set(error, ERROR_USAGE, "which case? usage: swashloop response CASE");
}

/* ---- the response ---- */

/* The first time that a poppet met its lift stop, or NULL. */
static const struct run_event *find_stop(const struct outcome *outcome) {
  for (int i = 0; i < outcome->event_count; i++) {
    const struct run_event *event = &outcome->events[i];
    if ((strcmp(event->name, "relief_a_stop") == 0 || strcmp(event->name, "relief_b_stop") == 0) &&
        strstr(event->message, "meets") != NULL) {
      return event;
    }
  }
  return NULL;
}

/* Every opening a row; a dash where there is none, with the reasons below. */
static void print_openings(const struct response *response) {
  static const enum opening_id columns[] = {OPENING_cracking_time, OPENING_peak_drop,  OPENING_peak_flow,
                                            OPENING_response_time, OPENING_overshoot,  OPENING_settling_time,
                                            OPENING_reseat_time,   OPENING_reseat_drop};
  static const char *const heads[] = {"cracks at", "peak drop", "its flow",  "response",
                                      "overshoot", "settling",  "reseat at", "its drop"};
  enum { COLUMNS = sizeof columns / sizeof columns[0] };
  int shown_count = response->each_count < SHOWN_OPENINGS ? response->each_count : SHOWN_OPENINGS;
  (void)printf("\n  opening");
  for (int c = 0; c < COLUMNS; c++) {
    (void)printf("  %12s", heads[c]);
  }
  (void)printf("\n");
  for (int i = 0; i < shown_count; i++) {
    (void)printf("  %7d", i + 1);
    for (int c = 0; c < COLUMNS; c++) {
      double value = response->each[i].values[columns[c]];
      char text[48] = "-";
      if (!isnan(value)) {
        answers_show(opening_rows[columns[c]].quantity, value, text, sizeof text);
      }
      (void)printf("  %12s", text);
    }
    (void)printf("\n");
  }
  for (int c = 0; c < COLUMNS; c++) {
    const char *told = "";
    for (int i = 0; i < shown_count; i++) {
      const char *why = response->each[i].absent[columns[c]];
      if (why[0] != '\0' && strcmp(why, told) != 0) {
        (void)printf("  no %s (opening %d): %s\n", heads[c], i + 1, why);
        told = why;
      }
    }
  }
  if (response->values[RESPONSE_openings] > shown_count) {
    (void)printf("  and %.0f more, in the file\n", response->values[RESPONSE_openings] - shown_count);
  }
}

static void print_response(const struct request *request, const struct case_data *data,
                           const struct response_run *run) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %s %.6g s\n", paint.strong, shown(data->title).text, paint.plain,
               run_status_names[run->outcome.status], run->outcome.end_time);
  for (int i = 0; i < run->valve_count; i++) {
    const struct response_valve *valve = &run->valves[i];
    char setting[64];
    units_show(QUANTITY_PRESSURE, valve->setting, setting, sizeof setting);
    (void)printf("\nrelief valve %c, set to %s\n", valve->letter - 'a' + 'A', setting);
    if (isnan(valve->response.values[RESPONSE_cracking_time])) {
      (void)printf("  %s\n", valve->response.absent[RESPONSE_cracking_time]);
    } else {
      answers_print(stdout, response_rows, RESPONSE_COUNT, valve->response.values, valve->response.absent);
      print_openings(&valve->response);
    }
  }
  if (data->limit_count > 0) {
    (void)printf("\n");
    summary_limits(stdout, &paint, data, &run->outcome);
  }
  const struct run_event *stop = find_stop(&run->outcome);
  if (stop != NULL) {
    (void)printf("\nOVERLOADED from %.6g s: %s. What the pressure comes to beyond that is no\n"
                 "property of the valve; it needs more lift, a wider opening or a larger seat\n",
                 stop->time, stop->message);
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
               shown(request->asked.output).text);
}

/* A list with an object for each opening. */
static void json_openings(struct json *json, const struct response_valve *valve) {
  char letter[] = {valve->letter, '\0'};
  json_begin_list(json, letter);
  for (int i = 0; i < valve->response.each_count; i++) {
    const struct response_opening *row = &valve->response.each[i];
    json_begin_object(json, NULL);
    for (int id = 0; id < OPENING_COUNT; id++) {
      json_begin_object(json, opening_rows[id].name);
      json_number(json, "value", row->values[id]);
      json_text(json, "unit", quantity_rows[opening_rows[id].quantity].si_unit);
      if (isnan(row->values[id])) {
        json_text(json, "reason", row->absent[id]);
      }
      json_end_object(json);
    }
    json_end_object(json);
  }
  json_end_list(json);
}

static void json_response(const struct request *request, const struct case_data *data, const struct response_run *run) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "answer", "response");
  json_text(&json, "status", run_status_names[run->outcome.status]);
  json_number(&json, "end_time", run->outcome.end_time);
  json_number(&json, "setting", run->valves[0].setting);
  json_begin_object(&json, "settings");
  for (int i = 0; i < run->valve_count; i++) {
    char letter[] = {run->valves[i].letter, '\0'};
    json_number(&json, letter, run->valves[i].setting);
  }
  json_end_object(&json);
  json_number(&json, "band", request->options.band);
  json_number(&json, "lift_stop_time", find_stop(&run->outcome) != NULL ? find_stop(&run->outcome)->time : NAN);
  json_begin_object(&json, "valves");
  for (int i = 0; i < run->valve_count; i++) {
    char letter[] = {run->valves[i].letter, '\0'};
    json_begin_object(&json, letter);
    answers_json(&json, response_rows, RESPONSE_COUNT, run->valves[i].response.values, run->valves[i].response.absent);
    json_end_object(&json);
  }
  json_end_object(&json);
  json_begin_object(&json, "openings");
  for (int i = 0; i < run->valve_count; i++) {
    json_openings(&json, &run->valves[i]);
  }
  json_end_object(&json);
  summary_json_limits(&json, data, &run->outcome);
  answers_json_end(&json, request->asked.output);
}

static int find_response(const struct request *request, struct case_data *data, const char *command) {
  struct error error = {0};
  struct progress progress = progress_start(request->asked.quiet);
  struct watcher watcher = {&progress, answers_tick, 0.0};
  struct response_run run;
  bool good = response_run(data, &request->options, &watcher, &run, &error);
  progress_clear(&progress);
  good = good && response_run_write(&run, data, request->asked.output, command, &error);
  if (good && request->asked.json && !request->asked.quiet) {
    json_response(request, data, &run);
  } else if (good && !request->asked.quiet) {
    print_response(request, data, &run);
  }
  int code = good ? summary_limits_exit(&run.outcome) : answers_fail(&error);
  response_run_free(&run);
  return code;
}

/* ---- the curve ---- */

static bool write_curve(const struct request *request, const struct case_data *rig, const struct valve_curve *curve,
                        const char *command, struct error *error) {
  struct answer_file *file =
      answer_open(request->asked.output, "valve_curve", rig->title, rig->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  enum reference none = REFERENCE_NONE;
  struct answer_meaning flow = {{"flow", QUANTITY_FLOW, none, "flow through the valve"}, NULL};
  struct answer_meaning columns[] = {
      {{"drop_up", QUANTITY_PRESSURE, none, "drop over the valve while the flow rises"}, NULL},
      {{"drop_down", QUANTITY_PRESSURE, none, "drop over the valve while the flow falls"}, NULL},
      {{"drop_balance", QUANTITY_PRESSURE, none, "drop by the static balance of the valve's law"}, NULL},
      {{"lift", curve->lift_quantity, none, "opening while the flow rises"}, NULL},
  };
  const double *values[] = {curve->up, curve->down, curve->balance, curve->lift};
  answer_axis(file, &flow, VALVE_CURVE_POINTS, curve->flow);
  for (int i = 0; i < 4; i++) {
    answer_column(file, &columns[i], "flow", VALVE_CURVE_POINTS, values[i]);
  }
  answer_group(file, "valve", "numbers of the curve");
  answer_words(file, "ends_at_stop", curve->ends_at_stop ? "yes" : "no");
  for (int i = 0; i < CURVE_COUNT; i++) {
    struct answer_meaning meaning = {valve_curve_rows[i], NULL};
    answer_value(file, &meaning, curve->values[i], curve->absent[i]);
  }
  return answer_close(file, error);
}

static void tell_curve(const struct request *request, const struct case_data *rig, const struct valve_curve *curve) {
  if (!request->asked.json) {
    struct paint paint = paint_for(stdout);
    (void)printf("%s%s%s   flow-pressure curve of the relief valve\n\n", paint.strong, shown(rig->title).text,
                 paint.plain);
    answers_print(stdout, valve_curve_rows, CURVE_COUNT, curve->values, curve->absent);
    if (curve->ends_at_stop) {
      char wanted[48];
      char last[48];
      units_show(QUANTITY_FLOW, request->flow, wanted, sizeof wanted);
      units_show(QUANTITY_FLOW, curve->flow[VALVE_CURVE_POINTS - 1], last, sizeof last);
      (void)printf("\nThe curve ends at %s, where the poppet meets its lift stop; %s were asked for.\n", last, wanted);
    }
    (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
                 shown(request->asked.output).text);
    return;
  }
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", rig->title);
  json_text(&json, "case", request->asked.file);
  json_text(&json, "answer", "valve_curve");
  json_begin_object(&json, "valve");
  answers_json(&json, valve_curve_rows, CURVE_COUNT, curve->values, curve->absent);
  json_end_object(&json);
  json_bool(&json, "ends_at_stop", curve->ends_at_stop);
  static const char *const names[] = {"flow", "drop_up", "drop_down", "drop_balance", "lift"};
  const double *columns[] = {curve->flow, curve->up, curve->down, curve->balance, curve->lift};
  for (int i = 0; i < 5; i++) {
    json_begin_list(&json, names[i]);
    for (int k = 0; k < VALVE_CURVE_POINTS; k += 4) {
      json_number(&json, NULL, columns[i][k]);
    }
    json_end_list(&json);
  }
  answers_json_end(&json, request->asked.output);
}

static int find_curve(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  struct case_data rig;
  if (!valve_curve_rig(data, &rig, &error)) {
    return terminal_error(&error);
  }
  struct progress progress = progress_start(request->asked.quiet);
  struct watcher watcher = {&progress, answers_tick, 0.0};
  struct valve_curve *curve = calloc(1, sizeof *curve);
  if (curve == NULL) {
    case_free(&rig);
    return EXIT_RUN_FAILED;
  }
  bool good = valve_curve_find(&rig, request->flow, request->ramp_time, &watcher, curve, &error);
  progress_clear(&progress);
  good = good && case_rename(&rig, data->title, &error) && write_curve(request, &rig, curve, command, &error);
  if (good && !request->asked.quiet) {
    tell_curve(request, &rig, curve);
  }
  free(curve);
  case_free(&rig);
  return good ? EXIT_DONE : answers_fail(&error);
}

/* ---- fast enough? ---- */

static int find_keep(const struct request *request, struct case_data *data, const char *command) {
  struct error error = {0};
  if (!case_add_limit(data, request->keep, &error)) {
    char words[sizeof error.text];
    (void)snprintf(words, sizeof words, "%s", error.text);
    error_set(&error, error.code, "--keep: %.400s", words);
    return terminal_error(&error);
  }
  struct keep *keep = calloc(1, sizeof *keep);
  if (keep == NULL) {
    error_set(&error, ERROR_MEMORY, "out of memory for --keep");
    return terminal_error(&error);
  }
  struct progress progress = progress_start(request->asked.quiet);
  struct watcher watcher = {&progress, answers_tick, 0.0};
  int jobs = option_threads(request->jobs);
  bool good = keep_find(data, jobs, &watcher, keep, &error);
  progress_clear(&progress);
  good = good && keep_write(keep, data, request->asked.output, command, &error);
  if (good && !request->asked.quiet && request->asked.json) {
    response_keep_json(keep, data, request->asked.output);
  } else if (good && !request->asked.quiet) {
    response_keep_print(keep, data, request->asked.output);
  }
  int code = good ? summary_limits_exit(&keep->outcome) : answers_fail(&error);
  keep_free(keep);
  free(keep);
  return code;
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  interrupt_catch();
  if (request->keep != NULL) {
    return find_keep(request, data, command);
  }
  return request->curve ? find_curve(request, data, command) : find_response(request, data, command);
}

int command_response(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "response",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop response CASE [--curve | --keep LIMIT] [--band SHARE] [--set PATH=VALUE]... "
                  "[--json]\n\n"
                  "How the relief valve answers: opening and response time, peak and overshoot, settling, reseat and\n"
                  "hysteresis, oscillation and damping, heat, repeated opening and sticking; in a machine also when "
                  "the\n"
                  "pressure limiter takes over. Definitions and a worked example: docs/response.md.\n\n"
                  "  swashloop response cases/valve/step.yaml\n"
                  "  swashloop response cases/stall.yaml --set relief.law=poppet\n"
                  "  swashloop response cases/valve/step.yaml --curve\n"
                  "  swashloop response cases/stall.yaml --keep \"line_a_pressure <= 480 bar\"\n"
                  "  tools/plot step.response.h5\n\n",
              .tail = "\n" CAUTION "\n",
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {.flow = 120e-3 / 60.0, .ramp_time = 0.0, .options = {0.05, 0.0, HUGE_VAL, 0.0}};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
