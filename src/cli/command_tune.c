/* swashloop tune */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "answers.h"
#include "commands.h"
#include "guarded.h"
#include "interrupt.h"
#include "options.h"
#include "review_warnings.h"
#include "terminal.h"
#include "text.h"
#include "tune_words.h"
#include "tuning.h"

struct request {
  struct asked asked; /* its file: the tuning */
  int jobs;           /* 0: as many as there are processors */
  bool resume;
};

static const struct option_row options[] = {
    OPTION_OUTPUT("the answer; default: the name of the tuning with .tune.h5, in the current folder"),
    OPTION_JOBS(jobs, JOB_LIMIT, "threads; default: one a processor that this process may use"),
    OPTION_FLAG("resume", resume, "go on with what an earlier tuning has run, if there is anything"),
    OPTION_WORDS("set", '\0', "PATH=VALUE", asked.sets,
                 "change a parameter of every case, below what cases and conditions set; may stand several times"),
    OPTION_JSON("print the answer as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head =
        "usage: swashloop tune TUNING [-o FILE] [--set PATH=VALUE]... [--jobs N] [--resume] [--json] [--quiet]\n\n"
        "Which settings keep every limit in every cell of a review, and are best by a goal? A file names the\n"
        "review, what may be set within which bounds and in which steps, and the goal. Tells the settings found,\n"
        "which limits bind there and what more of each would bring, and what each change did. The settings told\n"
        "can be made and were run. How many of several starts agreed is said; that nothing better exists is not.\n\n"
        "  swashloop tune cases/tunings/forwarder.yaml -o forwarder.tune.h5\n\n",
    .tail =
        "\nExit code 4: no settings were found that keep everything; 5, 6: nothing is broken there, but a run failed\n"
        "or is not judged. A pass in simulation proves nothing on a machine.\n\n" CAUTION "\n",
    .one = "tuning",
};

struct work {
  struct request *request;
  struct tuning tuning;
  const char *command;
  struct progress progress;
};

static void show_progress(void *context, const struct tuning *tuning) {
  struct work *work = context;
  char line[96];
  (void)snprintf(line, sizeof line, "%d points of %d cells", tuning->run_count, tuning->review.plan.cell_count);
  progress_line(&work->progress, line);
}

static int tell(struct work *work, const struct tuning_answer *answer, double seconds) {
  const struct request *request = work->request;
  struct error error = {0};
  if (!tuning_write(request->asked.output, &work->tuning, answer, work->command, &error)) {
    return terminal_error(&error);
  }
  if (request->asked.json) {
    struct json json = {.out = stdout};
    json_begin_object(&json, NULL);
    json_text(&json, "answer", "tuning");
    tune_json(&json, &work->tuning, answer);
    json_number(&json, "seconds", seconds);
    answers_json_end(&json, request->asked.output);
  } else if (!request->asked.quiet) {
    tune_print(stdout, &work->tuning, answer, seconds);
    (void)printf("file %s\n%s\n", shown(request->asked.output).text, CAUTION);
  }
  return tune_exit(&work->tuning, answer);
}

static int find(void *context) {
  struct work *work = context;
  const struct request *request = work->request;
  struct tuning *tuning = &work->tuning;
  struct error error = {0};
  struct tuning_answer answer = {0};
  size_t room = strlen(request->asked.output) + sizeof ".journal";
  char *journal = malloc(room);
  if (journal == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    return terminal_error(&error);
  }
  (void)snprintf(journal, room, "%s.journal", request->asked.output);
  interrupt_catch();
  work->progress = progress_start(request->asked.quiet);
  tuning->stop = interrupt_seen;
  tuning->heard = show_progress;
  tuning->context = work;
  bool good = tuning_begin(tuning, option_threads(request->jobs), journal, request->resume, &error) &&
              tuning_find(tuning, &answer, &error);
  double seconds = progress_seconds(&work->progress);
  progress_clear(&work->progress);
  int code = good ? tell(work, &answer, seconds) : answers_fail(&error);
  bool begun = tuning->journaled && tuning->journal.rows > 0;
  if (!good && begun && error.code != ERROR_INPUT) {
    (void)fprintf(stderr, "%d points are in %s; --resume goes on\n", (int)tuning->journal.rows, shown(journal).text);
  }
  /* Nothing to go on with, or what was asked cannot be answered. */
  bool vain = tuning->journaled && (!begun || (!good && error.code == ERROR_INPUT && !request->resume));
  bool done = (good && code != EXIT_NO_OUTPUT) || vain;
  tuning_end(tuning);
  if (done) {
    (void)unlink(journal);
  }
  tuning_answer_free(&answer);
  free(journal);
  return code;
}

static int run_request(struct request *request, const char *command) {
  struct error error = {0};
  struct work work = {.request = request, .command = command};
  char *output = option_default_file(request->asked.file, ".tune.h5");
  request->asked.output = request->asked.output != NULL ? request->asked.output : output;
  bool good = (output != NULL && command != NULL) || error_set(&error, ERROR_MEMORY, "no memory for names");
  bool loaded = good && tuning_load(request->asked.file, request->asked.sets.list, request->asked.sets.count,
                                    &work.tuning, &error);
  good = loaded && option_check_output(&request->asked, OUTPUT_ANSWER, request->resume,
                                       work.tuning.review.plan.base.inputs, &error);
  int code = EXIT_DONE;
  if (good) {
    struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
    if (!request->asked.quiet) {
      review_tell_warnings(stderr, &work.tuning.review);
    }
    code = guarded_run(find, &work, &guard);
  } else {
    code = terminal_error(&error);
  }
  if (loaded) {
    tuning_free(&work.tuning);
  }
  free(output);
  return code;
}

int command_tune(int argument_count, char **arguments) {
  struct request request = {0};
  struct error error = {0};
  int code = EXIT_DONE;
  if (!options_read(&table, argument_count, arguments, &request, &error)) {
    code = terminal_error(&error);
  } else if (request.asked.help) {
    options_help(&table);
  } else if (request.asked.file == NULL) {
    error_set(&error, ERROR_USAGE, "which tuning? usage: swashloop tune TUNING -o FILE");
    code = terminal_error(&error);
  } else {
    char *command = option_command_line("tune", argument_count, arguments);
    code = run_request(&request, command);
    free(command);
  }
  options_free(&table, &request);
  return code;
}
