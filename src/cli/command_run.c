/* swashloop run */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "commands.h"
#include "interrupt.h"
#include "options.h"
#include "plan.h"
#include "result_file.h"
#include "summary.h"
#include "terminal.h"
#include "units.h"

static const struct option_row options[] = {
    {"output", 'o', "FILE", "the run file; default: the name of the case with .h5, in the current folder"},
    {"set", '\0', "PATH=VALUE", "change a parameter after the case is read; may stand several times"},
    {"study", '\0', "STUDY", "run one case of a study, named by --case, as the sweep runs it"},
    {"case", '\0', "K", "which, counted from 0 as in the table"},
    {"json", '\0', NULL, "print the summary as one JSON document, numbers in SI"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { OUTPUT, SET, STUDY, CASE, JSON, QUIET, HELP, OPTION_COUNT };

struct request {
  const char *case_file;
  const char *study;
  int64_t study_case; /* -1: not given */
  const char *output;
  const char **sets; /* into the arguments */
  int set_count;
  bool json;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs(
      "usage: swashloop run CASE [-o FILE] [--set PATH=VALUE]... [--json] [--quiet]\n"
      "       swashloop run --study STUDY --case K [-o FILE] [--json] [--quiet]\n\n"
      "Integrates a case, writes the run file (HDF5, opens as netCDF-4) and prints what happened, the measures,\n"
      "the limits kept or broken, where the energy went and the solver's work.\n\n"
      "  swashloop run cases/baseline/downhill.yaml --set pump.displacement=\"110 cm3/rev\"\n\n",
      stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs("\nThe file is written as FILE.part and gets its name only when it is whole. Ctrl-C ends a run cleanly:\n"
              "what was computed is kept, with status interrupted.\n\n" CAUTION "\n",
              stdout);
}

static bool read_case_number(const char *text, int64_t *number, struct error *error) {
  size_t length = strspn(text, "0123456789");
  if (length == 0 || length > 12 || text[length] != '\0') {
    return error_set(error, ERROR_USAGE, "--case '%s': expected the number of a case, from 0", text);
  }
  *number = strtoll(text, NULL, 10);
  return true;
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case OUTPUT:
      request->output = reader.value;
      break;
    case SET:
      request->sets[request->set_count++] = reader.value;
      break;
    case STUDY:
      request->study = reader.value;
      break;
    case CASE:
      if (!read_case_number(reader.value, &request->study_case, error)) {
        return false;
      }
      break;
    case JSON:
      request->json = true;
      break;
    case QUIET:
      request->quiet = true;
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

/* "cases/downhill.yaml" to "downhill.h5", a case of a study to "braking_case_000012.h5"; to be freed. */
static char *default_output(const struct request *request) {
  const char *slash = strrchr(request->case_file, '/');
  const char *base = slash != NULL ? slash + 1 : request->case_file;
  const char *dot = strrchr(base, '.');
  int length = dot != NULL && dot != base ? (int)(dot - base) : (int)strlen(base);
  char number[32] = "";
  if (request->study_case >= 0) {
    (void)snprintf(number, sizeof number, "_case_%06" PRId64, request->study_case);
  }
  size_t size = (size_t)length + strlen(number) + sizeof ".h5";
  char *output = malloc(size);
  if (output != NULL) {
    (void)snprintf(output, size, "%.*s%s.h5", length, base, number);
  }
  return output;
}

/* `run x.yaml -o x.yaml` must not cost the user the case. */
static bool would_overwrite_case(const char *case_file, const char *output) {
  struct stat in;
  struct stat out;
  return stat(case_file, &in) == 0 && stat(output, &out) == 0 && in.st_dev == out.st_dev && in.st_ino == out.st_ino;
}

static bool tick(void *context, double time, double end_time) {
  progress_show(context, time, end_time);
  return !interrupt_seen();
}

static int exit_code_of(const struct outcome *outcome) {
  switch (outcome->status) {
  case RUN_INTERRUPTED:
    return EXIT_INTERRUPTED;
  case RUN_FAILED:
    return EXIT_RUN_FAILED;
  default:
    return outcome->broken_count > 0 ? EXIT_LIMIT_BROKEN : EXIT_DONE;
  }
}

static int finish(const struct request *request, const struct case_data *data, const struct outcome *outcome,
                  struct result_file *file) {
  struct error error = {0};
  /* The run ended because its output could not be written: there is nothing to keep. */
  if (outcome->error.code == ERROR_OUTPUT) {
    result_file_abandon(file);
    return terminal_error(&outcome->error);
  }
  if (!result_file_close(file, data, outcome, &error)) {
    int code = terminal_error(&error);
    return outcome->status == RUN_INTERRUPTED ? EXIT_INTERRUPTED : code;
  }
  if (request->json && !request->quiet) {
    summary_json(stdout, data, outcome, request->output);
  } else if (!request->quiet) {
    summary_text(stdout, data, outcome, request->output);
  }
  if (outcome->status == RUN_FAILED) {
    terminal_error(&outcome->error);
  }
  return exit_code_of(outcome);
}

static int run_loaded(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  if (would_overwrite_case(request->case_file, request->output)) {
    error_set(&error, ERROR_USAGE, "the run file %s would overwrite the case", request->output);
    return terminal_error(&error);
  }
  struct result_file *file = result_file_open(request->output, data, command, &error);
  if (file == NULL) {
    return terminal_error(&error);
  }
  interrupt_catch();
  struct progress progress = progress_start(request->quiet);
  struct recorder recorder = {file, result_file_block};
  struct watcher watcher = {&progress, tick};
  struct outcome outcome;
  memset(&outcome, 0, sizeof outcome);
  bool started = run_case(data, &recorder, &watcher, &outcome, &error);
  progress_clear(&progress);
  int code;
  if (started) {
    code = finish(request, data, &outcome, file);
  } else {
    result_file_abandon(file);
    code = terminal_error(&error);
  }
  outcome_free(&outcome);
  return code;
}

/* From here on case_file is the file that the user named: the case, or the study. */
static bool check_request(struct request *request, struct error *error) {
  bool numbered = request->study_case >= 0;
  if (request->study == NULL && !numbered) {
    if (request->case_file == NULL) {
      error_set(error, ERROR_USAGE, "which case? usage: swashloop run CASE [-o FILE]");
    }
    return request->case_file != NULL;
  }
  if (request->study == NULL || !numbered || request->case_file != NULL || request->set_count > 0) {
    error_set(error, ERROR_USAGE,
              "a case of a study is named by --study STUDY --case K together, without a case file and --set");
    return false;
  }
  request->case_file = request->study;
  return true;
}

static bool load(const struct request *request, struct case_data *data, struct error *error) {
  if (request->study == NULL) {
    return case_load(request->case_file, request->sets, request->set_count, data, error);
  }
  struct plan plan;
  if (!plan_load(request->study, &plan, error)) {
    return false;
  }
  bool good = request->study_case < plan.cases ||
              error_set(error, ERROR_USAGE, "the study has %" PRId64 " cases, 0 to %" PRId64 "; there is no %" PRId64,
                        plan.cases, plan.cases - 1, request->study_case);
  good = good && plan_case(&plan, request->study_case, data, error);
  plan_free(&plan);
  return good;
}

static int run_request(struct request *request, int argument_count, char **arguments) {
  struct error error = {0};
  struct case_data data;
  if (!read_request(argument_count, arguments, request, &error)) {
    return terminal_error(&error);
  }
  if (request->help) {
    print_help();
    return EXIT_DONE;
  }
  if (!check_request(request, &error)) {
    return terminal_error(&error);
  }
  char *output = default_output(request);
  char *command = option_command_line("swashloop run", argument_count, arguments);
  int code;
  if (output == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!load(request, &data, &error)) {
    code = terminal_error(&error);
  } else {
    request->output = request->output != NULL ? request->output : output;
    code = run_loaded(request, &data, command);
    case_free(&data);
  }
  units_close();
  free(command);
  free(output);
  return code;
}

int command_run(int argument_count, char **arguments) {
  struct request request = {.study_case = -1};
  request.sets = calloc((size_t)argument_count + 1, sizeof *request.sets);
  if (request.sets == NULL) {
    return EXIT_RUN_FAILED;
  }
  int code = run_request(&request, argument_count, arguments);
  free(request.sets);
  return code;
}
