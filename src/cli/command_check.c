/* swashloop check: one case or several */
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "case.h"
#include "commands.h"
#include "forecast.h"
#include "input_file.h"
#include "result_file.h"
#include "text.h"

/* So long is a piece of the run tried. */
#define TRIAL_SECONDS 0.5 /* wall clock */

struct request {
  struct asked asked;
  struct words cases;
  bool resolved;
  bool strict;
};

static const struct option_row options[] = {
    OPTION_SET,
    OPTION_FLAG("resolved", resolved, "print the whole case with every default, and no forecast"),
    OPTION_FLAG("strict", strict, "exit code 2 where there is a warning"),
    OPTION_JSON("print what was found, faults too, as one JSON document, numbers in SI"),
    OPTION_FLAG("quiet", asked.quiet, "print nothing but faults and warnings"),
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  return words_add(&request->cases, strcmp(word, "-") == 0 ? STANDARD_INPUT : word, error);
}

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  if (request->cases.count == 0) {
    return error_set(error, ERROR_USAGE, "which case? usage: swashloop check CASE...");
  }
  return !(request->resolved && (request->asked.json || request->cases.count > 1)) ||
         error_set(error, ERROR_USAGE, "--resolved prints one case, as YAML; found %s",
                   request->asked.json ? "--json too" : "several cases");
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

static void json_good(struct json *json, const struct case_data *data, const struct warnings *warnings,
                      const struct forecast *forecast) {
  json_text(json, "title", data->title);
  json_text(json, "case", data->source);
  json_text(json, "plant", data->plant->name);
  json_number(json, "end_time", data->simulation.end_time);
  json_begin_list(json, "faults");
  json_end_list(json);
  answers_json_warnings(json, warnings);
  json_begin_object(json, "forecast");
  json_number(json, "rows", forecast->rows);
  json_number(json, "bytes", result_file_bytes(data, forecast->rows, forecast->events));
  json_number(json, "cpu_seconds", forecast->seconds);
  json_number(json, "tried", forecast->tried);
  json_end_object(json);
}

static void json_bad(struct json *json, const char *file, const struct faults *faults) {
  json_text(json, "case", file);
  json_begin_list(json, "faults");
  for (int i = 0; i < faults->count; i++) {
    const struct error *fault = &faults->at[i];
    json_begin_object(json, NULL);
    json_text(json, "file", fault->file[0] != '\0' ? fault->file : NULL);
    json_integer(json, "line", fault->line);
    json_integer(json, "column", fault->column);
    json_text(json, "text", fault->text);
    json_end_object(json);
  }
  json_end_list(json);
  json_integer(json, "faults_left_out", faults->left_out);
}

static void tell_page(const char *file, const struct case_data *data, const struct warnings *warnings,
                      const struct forecast *forecast) {
  char size[32];
  char time[32];
  char many[48] = "";
  if (warnings->count > 0) {
    int count = warnings->count + warnings->left_out;
    (void)snprintf(many, sizeof many, ", with %d warning%s", count, count == 1 ? "" : "s");
  }
  (void)printf("%s: good%s: %s (circuit %s, %g s, %d actions, %d limits)\n", shown(file).text, many,
               shown(data->title).text, data->plant->name, data->simulation.end_time, data->action_count,
               data->limit_count);
  (void)printf(
      "  a run to its end time makes %.0f samples of each signal, a file of %s, and takes about %s of processor time\n",
      forecast->rows, terminal_bytes(result_file_bytes(data, forecast->rows, forecast->events), size, (int)sizeof size),
      terminal_seconds(forecast->seconds, time, (int)sizeof time));
}

/* The case is read and good so far as its file goes. */
static int tell_good(const struct request *request, const char *file, const struct case_data *data, struct json *json,
                     struct faults *faults) {
  struct warnings warnings;
  struct forecast forecast = {0};
  if (!laws_fit(data, &faults->at[0]) || (!request->resolved && !find_forecast(data, &forecast, &faults->at[0]))) {
    faults->count = 1;
    return error_exit_status(faults->at[0].code);
  }
  plausibility_check(data, &warnings);
  if (request->resolved) {
    (void)fputs(data->resolved, stdout);
  } else if (json != NULL) {
    json_good(json, data, &warnings, &forecast);
  } else if (!request->asked.quiet) {
    tell_page(file, data, &warnings, &forecast);
  }
  terminal_warnings(&warnings);
  return request->strict && warnings.count > 0 ? EXIT_BAD_INPUT : EXIT_DONE;
}

static int tell_one(const struct request *request, const char *file, struct json *json) {
  struct case_data data;
  struct faults faults;
  int code = EXIT_BAD_INPUT;
  if (case_load_telling(file, request->asked.sets.list, request->asked.sets.count, &data, &faults)) {
    faults = (struct faults){0};
    code = tell_good(request, file, &data, json, &faults);
    case_free(&data);
  }
  if (faults.count > 0) {
    if (json != NULL) {
      json_bad(json, file, &faults);
    }
    code = terminal_faults(&faults);
  }
  return code;
}

/* The exit code is that of the worst case. A document of one case is that case's, of several a list of them. */
static int tell(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct json document = {.out = stdout};
  struct json *json = request->asked.json && !request->asked.quiet ? &document : NULL;
  bool several = request->cases.count > 1;
  int worst = EXIT_DONE;
  (void)data;
  (void)command;
  if (json != NULL) {
    json_begin_object(json, NULL);
  }
  if (json != NULL && several) {
    json_begin_list(json, "cases");
  }
  for (int i = 0; i < request->cases.count; i++) {
    if (json != NULL && several) {
      json_begin_object(json, NULL);
    }
    int code = tell_one(request, request->cases.list[i], json);
    worst = code > worst ? code : worst;
    if (json != NULL && several) {
      json_end_object(json);
    }
  }
  if (json != NULL && several) {
    json_end_list(json);
  }
  if (json != NULL) {
    answers_json_about(json);
    json_end_object(json);
  }
  return worst;
}

int command_check(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "check",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop check CASE... [--set PATH=VALUE]... [--resolved] [--strict] [--json] [--quiet]\n\n"
                  "Reads cases (- is standard input) and writes nothing. A fault is one line: file:line:column, what "
                  "was found, what was "
                  "expected.\nWhat can be but is seldom meant is a warning and no fault. How many samples, how "
                  "large and how long is told\nfrom a piece of the run, tried for half a second at the most.\n\n",
              .tail = "",
              .take_word = take_word,
          },
      .check = check_request,
      .answer = tell,
  };
  struct request request = {.resolved = false};
  int code = answers_command(&command, &request.asked, argument_count, arguments);
  words_free(&request.cases);
  return code;
}
