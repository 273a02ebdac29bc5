/* swashloop run */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "answers.h"
#include "commands.h"
#include "forecast.h"
#include "guarded.h"
#include "interrupt.h"
#include "plan.h"
#include "result_file.h"
#include "summary.h"
#include "summary_limits.h"
#include "units.h"
#include "text.h"

struct request {
  struct asked asked;
  const char *study;
  int64_t study_case; /* -1: not given */
  bool whole;         /* the long form of the summary */
};

static bool read_case_number(void *context, const char *text, struct error *error) {
  struct request *request = context;
  return option_whole(text, 0, INT64_MAX, &request->study_case) ||
         error_set(error, ERROR_USAGE, "--case '%s': expected the number of a case, from 0", text);
}

static const struct option_row options[] = {
    OPTION_OUTPUT("the run file; default: the name of the case with .h5, in the current folder"),
    OPTION_SET,
    OPTION_INPUT("study", '\0', "STUDY", study, "run one case of a study, named by --case, as the sweep runs it"),
    OPTION_READ("case", '\0', "K", read_case_number, "which, counted from 0 as in the table"),
    OPTION_FLAG("long", whole, "print all: what happened, measures, every limit, energy, the solver's work"),
    OPTION_JSON("print the summary as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head =
        "usage: swashloop run CASE [-o FILE] [--set PATH=VALUE]... [--long] [--json] [--quiet]\n"
        "       swashloop run --study STUDY --case K [-o FILE] [--set PATH=VALUE]... [--json] [--quiet]\n\n"
        "Integrates a case, writes the run file (HDF5, opens as netCDF-4) and prints the verdict: limits kept, broken\n"
        "or not judged, the stop, peaks, hunting, balances. --long adds what happened, the measures, every limit,\n"
        "where the energy went and the solver's work.\n\n"
        "  swashloop run cases/baseline/downhill.yaml --set pump.displacement=\"110 cm3/rev\"\n\n",
    .tail = "\nThe file is written as FILE.part and gets its name only when it is whole. Ctrl-C ends a run cleanly:\n"
            "what was computed is kept, with status interrupted.\n\n" CAUTION "\n",
};

/* "cases/downhill.yaml" to "downhill.h5", a case of a study to "braking_case_000012.h5"; to be freed. */
static char *default_output(const struct request *request) {
  char ending[48] = ".h5";
  if (request->study_case >= 0) {
    (void)snprintf(ending, sizeof ending, "_case_%06" PRId64 ".h5", request->study_case);
  }
  return option_default_file(request->asked.file, ending);
}

static int exit_code_of(const struct outcome *outcome) {
  switch (outcome->status) {
  case RUN_INTERRUPTED:
    return EXIT_INTERRUPTED;
  case RUN_FAILED:
    return EXIT_RUN_FAILED;
  default:
    return summary_limits_exit(outcome);
  }
}

static int finish(const struct request *request, const struct case_data *data, const struct outcome *outcome,
                  struct result_file *file) {
  struct error error = {0};
  /* What is whole is not given up for what is not. */
  bool earlier = outcome->status == RUN_INTERRUPTED && access(request->asked.output, F_OK) == 0;
  enum draft_fate fate = earlier ? DRAFT_LEAVE_PART : DRAFT_NAME;
  char path[4200];
  (void)snprintf(path, sizeof path, "%.4096s%s", request->asked.output, earlier ? ".part" : "");
  /* The run ended because its output could not be written: there is nothing to keep. */
  if (outcome->error.code == ERROR_OUTPUT || outcome->error.code == ERROR_MEMORY) {
    result_file_abandon(file);
    return terminal_error(&outcome->error);
  }
  if (!result_file_close(file, data, outcome, fate, &error)) {
    int code = terminal_error(&error);
    return interrupt_seen() ? EXIT_INTERRUPTED : code;
  }
  if (request->asked.json && !request->asked.quiet) {
    summary_json(stdout, data, outcome, path);
  } else if (!request->asked.quiet) {
    summary_text(stdout, data, outcome, path, request->whole ? SUMMARY_LONG : SUMMARY_SHORT);
  }
  if (outcome->status == RUN_FAILED) {
    terminal_error(&outcome->error);
  }
  if (earlier) {
    (void)fprintf(stderr, "interrupted: %s is left as it was; what was computed is in %s\n",
                  shown(request->asked.output).text, shown(path).text);
  }
  return exit_code_of(outcome);
}

/* ---- how large and how long ---- */

#define LARGE_FILE 1e9       /* bytes */
#define LONG_RUN 120.0       /* s */
#define LOOK_AHEAD_AFTER 3.0 /* s, wall clock */

/* Warnings, and a file that is large or finds no room. Nothing is refused: a run may be stopped, and keeps what it has.
 */
static void tell_beforehand(const struct request *request, const struct case_data *data) {
  struct warnings warnings;
  plausibility_check(data, &warnings);
  terminal_warnings(&warnings);
  double rows = forecast_rows(&data->simulation);
  double bytes = result_file_bytes(data, rows, 0.0);
  double room = output_room(request->asked.output);
  char size[32];
  char left[32];
  if (bytes > room) {
    (void)fprintf(stderr, "warning: the file grows to about %s, its disk has room for %s (no_room)\n",
                  terminal_bytes(bytes, size, (int)sizeof size), terminal_bytes(room, left, (int)sizeof left));
  } else if (bytes > LARGE_FILE) {
    (void)fprintf(stderr, "%.0f samples of each signal: the file grows to about %s\n", rows,
                  terminal_bytes(bytes, size, (int)sizeof size));
  }
}

/* Progress, and once, when it can be seen, how long a long run takes. */
struct outlook {
  struct progress *progress;
  bool quiet;
  bool told;
};

static bool tick(void *context, double time, double end_time) {
  struct outlook *outlook = context;
  double took = progress_seconds(outlook->progress);
  if (!outlook->quiet && !outlook->told && took > LOOK_AHEAD_AFTER) {
    double whole = forecast_whole(took, time, end_time);
    outlook->told = true;
    if (whole > LONG_RUN) {
      char text[32];
      progress_clear(outlook->progress);
      (void)fprintf(stderr, "the run takes about %s\n", terminal_seconds(whole, text, (int)sizeof text));
    }
  }
  return answers_tick(outlook->progress, time, end_time);
}

static int run_loaded(const struct request *request, const struct case_data *data, const char *command) {
  struct error error = {0};
  if (!option_check_output(&request->asked, OUTPUT_RUN, false, data->inputs, &error)) {
    return terminal_error(&error);
  }
  struct result_file *file = result_file_open(request->asked.output, data, command, &error);
  if (file == NULL) {
    return terminal_error(&error);
  }
  if (!request->asked.quiet) {
    tell_beforehand(request, data);
  }
  interrupt_catch();
  struct progress progress = progress_start(request->asked.quiet);
  struct recorder recorder = {file, result_file_block};
  struct outlook outlook = {.progress = &progress, .quiet = request->asked.quiet};
  struct watcher watcher = {&outlook, tick, 0.0};
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
    if (request->asked.file == NULL) {
      error_set(error, ERROR_USAGE, "which case? usage: swashloop run CASE [-o FILE]");
    }
    return request->asked.file != NULL;
  }
  if (request->study == NULL || !numbered || request->asked.file != NULL) {
    error_set(error, ERROR_USAGE, "a case of a study is named by --study STUDY --case K together, without a case file");
    return false;
  }
  request->asked.file = request->study;
  return true;
}

/* A case of a study; of a study its first fault is told. */
static bool load_from_study(const struct request *request, struct case_data *data, struct error *error) {
  struct plan plan;
  if (!plan_load(request->study, NULL, &plan, error)) {
    return false;
  }
  bool good = request->study_case < plan.cases ||
              error_set(error, ERROR_USAGE, "the study has %" PRId64 " cases, 0 to %" PRId64 "; there is no %" PRId64,
                        plan.cases, plan.cases - 1, request->study_case);
  good = good && plan_case(&plan, request->study_case, data, error);
  plan_free(&plan);
  if (good && request->asked.sets.count > 0 &&
      !case_set(data, request->asked.sets.list, request->asked.sets.count, error)) {
    case_free(data);
    return false;
  }
  return good;
}

/* The exit code when there is nothing to run, or EXIT_DONE. */
static int load(const struct request *request, struct case_data *data) {
  struct error error = {0};
  struct faults faults;
  if (request->study != NULL) {
    return load_from_study(request, data, &error) ? EXIT_DONE : terminal_error(&error);
  }
  return case_load_telling(request->asked.file, request->asked.sets.list, request->asked.sets.count, data, &faults)
             ? EXIT_DONE
             : terminal_faults(&faults);
}

struct work {
  struct request *request;
  const char *command;
};

static int load_and_run(void *context) {
  const struct work *work = context;
  struct case_data data = {0};
  int code = load(work->request, &data);
  if (code == EXIT_DONE) {
    code = run_loaded(work->request, &data, work->command);
    case_free(&data);
  }
  return code;
}

static int run_request(struct request *request, int argument_count, char **arguments) {
  struct error error = {0};
  if (!options_read(&table, argument_count, arguments, request, &error)) {
    return terminal_error(&error);
  }
  if (request->asked.help) {
    options_help(&table);
    return EXIT_DONE;
  }
  if (!check_request(request, &error)) {
    return terminal_error(&error);
  }
  char *output = default_output(request);
  char *command = option_command_line("run", argument_count, arguments);
  int code;
  if (output == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else {
    request->asked.output = request->asked.output != NULL ? request->asked.output : output;
    struct work work = {request, command};
    struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
    code = guarded_run(load_and_run, &work, &guard);
  }
  free(command);
  free(output);
  return code;
}

int command_run(int argument_count, char **arguments) {
  struct request request = {.study_case = -1};
  int code = run_request(&request, argument_count, arguments);
  options_free(&table, &request);
  return code;
}
