/* swashloop check */
#include <stdlib.h>

#include "answers.h"
#include "case.h"
#include "commands.h"
#include "text.h"

struct request {
  struct asked asked;
  bool resolved;
};

static const struct option_row options[] = {
    OPTION_SET,
    OPTION_FLAG("resolved", resolved, "print the whole case with every default"),
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

static int tell(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct error error = {0};
  (void)command;
  if (!laws_fit(data, &error)) {
    return terminal_error(&error);
  }
  if (request->resolved) {
    (void)fputs(data->resolved, stdout);
  } else {
    (void)printf("%s: good: %s (circuit %s, %g s, %d actions, %d limits)\n", shown(request->asked.file).text,
                 shown(data->title).text, data->plant->name, data->simulation.end_time, data->action_count,
                 data->limit_count);
  }
  return EXIT_DONE;
}

int command_check(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "check",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head = "usage: swashloop check CASE [--set PATH=VALUE]... [--resolved]\n\n"
                      "Reads a case and runs nothing. A fault is one line: file:line:column, what was found, what was "
                      "expected.\n\n",
              .tail = "",
          },
      .takes_case = true,
      .check = check_request,
      .answer = tell,
  };
  struct request request = {.resolved = false};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
