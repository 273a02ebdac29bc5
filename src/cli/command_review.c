/* swashloop review */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "guarded.h"
#include "histories.h"
#include "interrupt.h"
#include "options.h"
#include "review_answer.h"
#include "review_warnings.h"
#include "review_words.h"
#include "sweep.h"
#include "terminal.h"
#include "text.h"

enum { HISTORY_SAMPLES = 1000 };

struct request {
  struct asked asked; /* its file: the review */
  const char *against;
  int jobs; /* 0: as many as there are processors */
  bool resume;
  bool no_runs;
};

static const struct option_row options[] = {
    OPTION_OUTPUT("the answer; default: the name of the review with .h5, in the current folder"),
    OPTION_INPUT("against", '\0', "OLD.h5", against,
                 "an earlier review: says what became better, worse, broken or mended since"),
    OPTION_JOBS(jobs, JOB_LIMIT, "threads; default: one a processor that this process may use"),
    OPTION_FLAG("resume", resume, "go on with what an earlier review has done, if there is anything"),
    OPTION_FLAG("no-runs", no_runs, "keep no histories: the page then tells the matrix alone"),
    OPTION_WORDS("set", '\0', "PATH=VALUE", asked.sets,
                 "change a parameter of every case, below what cases and conditions set; may stand several times"),
    OPTION_JSON("print the answer as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head = "usage: swashloop review REVIEW [-o FILE] [--against OLD.h5] [--set PATH=VALUE]... [--jobs N] [--resume]\n"
            "                        [--no-runs] [--json] [--quiet]\n\n"
            "Does the machine keep every limit in every case under every condition? Runs all pairs of the cases and\n"
            "conditions that the file names; prints the worst margin of each and which limit it is, and for each\n"
            "limit where it is worst. What a run does not establish is said, and is no pass.\n\n"
            "  swashloop review cases/reviews/forwarder.yaml -o forwarder.h5\n"
            "  swashloop report forwarder.h5 -o forwarder.html\n\n",
    .tail = "\nHistories go to FILE.runs/case_K.h5. Exit code 4: a limit is broken; 5: a run failed; 6: something is\n"
            "not judged, or a cell has no limits. A pass in simulation proves nothing on a machine.\n\n" CAUTION "\n",
    .one = "review",
};

struct work {
  struct request *request;
  struct review review;
  const char *command;
};

static bool wants_stop(void *context) {
  (void)context;
  return interrupt_seen();
}

/* The order's context: what the writer and the progress line need. */
struct context {
  struct work *work;
  struct progress progress;
};

static void show_progress(void *context, const struct sweep_progress *progress) {
  struct context *own = context;
  char line[128];
  (void)snprintf(line, sizeof line, "%" PRId64 " of %" PRId64 " cells%s", progress->done, progress->wanted,
                 progress->failed > 0 ? ", some failed" : "");
  progress_line(&own->progress, line);
}

static bool write_answer(const struct sweep_order *order, const struct journal_head *head,
                         const struct journal *journal, int64_t *failed, struct error *error) {
  const struct context *own = order->context;
  return review_answer_write(order->output, &own->work->review, order->command, !own->work->request->no_runs, head,
                             journal, failed, error);
}

static int exit_of(const struct review_answer *answer) {
  return answer->counts[REVIEW_BROKEN] > 0                  ? EXIT_LIMIT_BROKEN
         : answer->counts[REVIEW_FAILED] > 0                ? EXIT_CASES_FAILED
         : answer->counts[REVIEW_KEPT] < answer->cell_count ? EXIT_LIMIT_NOT_JUDGED
                                                            : EXIT_DONE;
}

static void tell(const struct request *request, const struct review_answer *answer, const struct review_answer *older,
                 const struct sweep_report *report, int jobs) {
  char text[64];
  if (request->asked.json) {
    struct json json = {.out = stdout};
    json_begin_object(&json, NULL);
    json_text(&json, "answer", "review");
    review_json(&json, answer, older, request->against);
    json_number(&json, "seconds", report->seconds);
    json_integer(&json, "runs", (long)(report->done - report->before));
    answers_json_end(&json, request->asked.output);
    return;
  }
  if (request->asked.quiet) {
    return;
  }
  review_print(stdout, answer);
  if (older != NULL) {
    review_print_changes(stdout, answer, older, request->against);
  }
  (void)printf("\n%" PRId64 " runs in %s, %d thread%s%s\nfile %s\n%s\n", report->done - report->before,
               terminal_seconds(report->seconds, text, (int)sizeof text), jobs, jobs == 1 ? "" : "s",
               report->there ? "; the file was there already" : "", shown(request->asked.output).text, CAUTION);
}

/* The sweep is done: what its file says. */
static int finish(const struct request *request, const struct sweep_report *report, int jobs) {
  struct error error = {0};
  struct review_answer answer = {0};
  struct review_answer older = {0};
  if (report->stopped) {
    (void)fprintf(stderr, "interrupted: %" PRId64 " of %" PRId64 " cells are in %s.journal; --resume goes on\n",
                  report->done, report->wanted, shown(request->asked.output).text);
    return EXIT_INTERRUPTED;
  }
  bool good = review_answer_read(request->asked.output, &answer, &error) &&
              (request->against == NULL || review_answer_read(request->against, &older, &error));
  if (good) {
    tell(request, &answer, request->against != NULL ? &older : NULL, report, jobs);
  }
  int code = good ? exit_of(&answer) : terminal_error(&error);
  review_answer_free(&answer);
  review_answer_free(&older);
  return code;
}

static int run_review(void *context) {
  struct work *work = context;
  const struct request *request = work->request;
  struct error error = {0};
  struct sweep_report report = {0};
  int jobs = option_threads(request->jobs);
  struct context own = {work, progress_start(request->asked.quiet)};
  work->review.plan.keep.all = !request->no_runs;
  work->review.plan.keep.samples = HISTORY_SAMPLES;
  const struct sweep_order order = {.plan = &work->review.plan,
                                    .output = request->asked.output,
                                    .command = work->command,
                                    .jobs = jobs,
                                    .shards = 1,
                                    .resume = request->resume,
                                    .context = &own,
                                    .stop = wants_stop,
                                    .progress = show_progress,
                                    .write = write_answer};
  if (!request->asked.quiet) {
    review_tell_warnings(stderr, &work->review);
  }
  interrupt_catch();
  bool good = sweep_run(&order, &report, &error);
  progress_clear(&own.progress);
  return good ? finish(request, &report, jobs) : terminal_error(&error);
}

static int run_request(struct request *request, const char *command) {
  struct error error = {0};
  struct work work = {.request = request, .command = command};
  char *output = option_default_file(request->asked.file, ".h5");
  int code;
  request->asked.output = request->asked.output != NULL ? request->asked.output : output;
  if (output == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!review_load(request->asked.file, request->asked.sets.list, request->asked.sets.count, &work.review,
                          &error)) {
    code = terminal_error(&error);
  } else {
    if (!option_check_output(&request->asked, OUTPUT_ANSWER, request->resume, work.review.plan.base.inputs, &error) ||
        (!request->no_runs && !histories_may_be_written(request->asked.output, request->asked.force, &error))) {
      code = terminal_error(&error);
    } else {
      struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
      code = guarded_run(run_review, &work, &guard);
    }
    review_free(&work.review);
  }
  free(output);
  return code;
}

int command_review(int argument_count, char **arguments) {
  struct request request = {0};
  struct error error = {0};
  int code = EXIT_DONE;
  if (!options_read(&table, argument_count, arguments, &request, &error)) {
    code = terminal_error(&error);
  } else if (request.asked.help) {
    options_help(&table);
  } else if (request.asked.file == NULL) {
    error_set(&error, ERROR_USAGE, "which review? usage: swashloop review REVIEW -o FILE");
    code = terminal_error(&error);
  } else {
    char *command = option_command_line("review", argument_count, arguments);
    code = run_request(&request, command);
    free(command);
  }
  options_free(&table, &request);
  return code;
}
