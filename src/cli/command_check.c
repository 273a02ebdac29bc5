/* swashloop check */
#include <stdlib.h>

#include "answers.h"
#include "case.h"
#include "commands.h"
#include "forecast.h"
#include "result_file.h"
#include "text.h"

/* So long is a piece of the run tried. */
#define TRIAL_SECONDS 0.5 /* wall clock */

struct request {
  struct asked asked;
  bool resolved;
  bool strict;
};

static const struct option_row options[] = {
    OPTION_SET,
    OPTION_FLAG("resolved", resolved, "print the whole case with every default, and no forecast"),
    OPTION_FLAG("strict", strict, "exit code 2 where there is a warning"),
    OPTION_JSON("print what was found as one JSON document, numbers in SI"),
    OPTION_HELP,
};

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  return request->asked.file != NULL || error_set(error, ERROR_USAGE, "which case? usage: swashloop check CASE");
}

/* Each value may be good and the combination of laws still impossible: the plant knows. */
static bool laws_fit(const struct case_data *data, struct error *error) {
  void *model = calloc(1, data->plant->model_size > 0 ? data->plant->model_size : 1);
  if (model == NULL) {
    return error_set(error, ERROR_MEMORY, "no memory for the model");
  }
  const char *reason = data->plant->prepare(data->parameters, model);
  free(model);
  if (reason != NULL) {
    return error_at(error, data->source, 0, 0, "%s", reason);
  }
  return true;
}

static bool find_forecast(const struct case_data *data, struct forecast *forecast, struct error *error) {
  struct outcome outcome = {0};
  struct run_workspace *workspace = run_workspace_new(data->plant, true, error);
  bool good = workspace != NULL && forecast_run(workspace, data, TRIAL_SECONDS, NULL, &outcome, forecast, error);
  if (good) {
    forecast->seconds += result_file_seconds(result_file_bytes(data, forecast->rows, forecast->events));
  }
  outcome_free(&outcome);
  run_workspace_free(workspace);
  return good;
}

static void tell_json(const struct case_data *data, const struct warnings *warnings, const struct forecast *forecast) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "plant", data->plant->name);
  json_number(&json, "end_time", data->simulation.end_time);
  answers_json_warnings(&json, warnings);
  json_begin_object(&json, "forecast");
  json_number(&json, "rows", forecast->rows);
  json_number(&json, "bytes", result_file_bytes(data, forecast->rows, forecast->events));
  json_number(&json, "cpu_seconds", forecast->seconds);
  json_number(&json, "tried", forecast->tried);
  json_end_object(&json);
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_end_object(&json);
}

static void tell_page(const struct request *request, const struct case_data *data, const struct warnings *warnings,
                      const struct forecast *forecast) {
  char size[32];
  char time[32];
  char many[48] = "";
  if (warnings->count > 0) {
    int count = warnings->count + warnings->left_out;
    (void)snprintf(many, sizeof many, ", with %d warning%s", count, count == 1 ? "" : "s");
  }
  (void)printf("%s: good%s: %s (circuit %s, %g s, %d actions, %d limits)\n", shown(request->asked.file).text, many,
               shown(data->title).text, data->plant->name, data->simulation.end_time, data->action_count,
               data->limit_count);
  (void)printf("  a run makes %.0f samples of each signal, a file of %s, and takes about %s of processor time\n",
               forecast->rows,
               terminal_bytes(result_file_bytes(data, forecast->rows, forecast->events), size, (int)sizeof size),
               terminal_seconds(forecast->seconds, time, (int)sizeof time));
}

static int tell(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct error error = {0};
  struct warnings warnings;
  struct forecast forecast = {0};
  (void)command;
  if (!laws_fit(data, &error) || (!request->resolved && !find_forecast(data, &forecast, &error))) {
    return terminal_error(&error);
  }
  plausibility_check(data, &warnings);
  if (request->resolved) {
    (void)fputs(data->resolved, stdout);
  } else if (request->asked.json) {
    tell_json(data, &warnings, &forecast);
  } else {
    tell_page(request, data, &warnings, &forecast);
  }
  terminal_warnings(&warnings);
  return request->strict && warnings.count > 0 ? EXIT_BAD_INPUT : EXIT_DONE;
}

int command_check(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "check",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop check CASE [--set PATH=VALUE]... [--resolved] [--strict] [--json]\n\n"
                  "Reads a case and writes nothing. A fault is one line: file:line:column, what was found, what was "
                  "expected.\nWhat can be but is seldom meant is a warning and no fault. How many samples, how "
                  "large and how long is told\nfrom a piece of the run, tried for half a second at the most.\n\n",
              .tail = "",
          },
      .takes_case = true,
      .check = check_request,
      .answer = tell,
  };
  struct request request = {.resolved = false};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
