/* swashloop check */
#include <stdlib.h>

#include "case.h"
#include "commands.h"
#include "options.h"
#include "terminal.h"
#include "units.h"

static const struct option_row options[] = {
    {"set", '\0', "PATH=VALUE", "change a parameter after the case is read; may stand several times"},
    {"resolved", '\0', NULL, "print the whole case with every default"},
    {"help", 'h', NULL, "print this"},
};

enum { SET, RESOLVED, HELP, OPTION_COUNT };

struct request {
  const char *case_file;
  const char **sets;
  int set_count;
  bool resolved;
  bool help;
};

static void print_help(void) {
  (void)fputs(
      "usage: swashloop check CASE [--set PATH=VALUE]... [--resolved]\n\n"
      "Reads a case and runs nothing. A fault is one line: file:line:column, what was found, what was expected.\n\n",
      stdout);
  option_help(stdout, options, OPTION_COUNT);
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case SET:
      request->sets[request->set_count++] = reader.value;
      break;
    case RESOLVED:
      request->resolved = true;
      break;
    case HELP:
      request->help = true;
      return true;
    case OPTION_WORD:
      if (request->case_file != NULL) {
        return error_set(error, ERROR_USAGE, "one case at a time: found '%s' behind '%s'", reader.value,
                         request->case_file);
      }
      request->case_file = reader.value;
      break;
    case OPTION_END:
      return true;
    default:
      return false;
    }
  }
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

static int check_request(struct request *request, int argument_count, char **arguments) {
  struct error error = {0};
  struct case_data data;
  if (!read_request(argument_count, arguments, request, &error)) {
    return terminal_error(&error);
  }
  if (request->help) {
    print_help();
    return EXIT_DONE;
  }
  if (request->case_file == NULL) {
    error_set(&error, ERROR_USAGE, "which case? usage: swashloop check CASE");
    return terminal_error(&error);
  }
  if (!case_load(request->case_file, request->sets, request->set_count, &data, &error)) {
    return terminal_error(&error);
  }
  int code = EXIT_DONE;
  if (!laws_fit(&data, &error)) {
    code = terminal_error(&error);
  } else if (request->resolved) {
    (void)fputs(data.resolved, stdout);
  } else {
    (void)printf("%s: good: %s (circuit %s, %g s, %d actions, %d limits)\n", request->case_file, data.title,
                 data.plant->name, data.simulation.end_time, data.action_count, data.limit_count);
  }
  case_free(&data);
  units_close();
  return code;
}

int command_check(int argument_count, char **arguments) {
  struct request request = {0};
  request.sets = calloc((size_t)argument_count + 1, sizeof *request.sets);
  if (request.sets == NULL) {
    return EXIT_RUN_FAILED;
  }
  int code = check_request(&request, argument_count, arguments);
  free(request.sets);
  return code;
}
