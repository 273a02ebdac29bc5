/* swashloop odds */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "draw.h"
#include "guarded.h"
#include "interrupt.h"
#include "odds_answer.h"
#include "odds_words.h"
#include "options.h"
#include "plan_plausibility.h"
#include "subset.h"
#include "terminal.h"
#include "text.h"

/* Runs at most where a width is wanted and no number is given. */
enum { MOST_FOR_A_WIDTH = 100000, SIMULATIONS = 10, SAMPLES = 1000, MOST_FOR_RARE = 1000000 };

struct request {
  struct asked asked; /* its file: the study */
  int64_t runs;       /* 0: as the study says, or MOST_FOR_A_WIDTH */
  double width;       /* 0: none is wanted */
  double allowed;     /* NaN: nothing is said of it */
  int64_t seed;       /* -1: the study's */
  int jobs;           /* 0: as many as there are processors */
  bool resume;
  bool rare;
  int64_t level_runs; /* of --rare: runs of a level of each simulation */
};

static bool read_runs(void *context, const char *text, struct error *error) {
  struct request *request = context;
  return option_whole(text, 1, PLAN_CASE_LIMIT / 4, &request->runs) ||
         error_set(error, ERROR_USAGE, "option '--runs': found '%s', expected a whole number from 1 to %" PRId64,
                   text_excerpt(text).text, PLAN_CASE_LIMIT / 4);
}

static bool read_level_runs(void *context, const char *text, struct error *error) {
  struct request *request = context;
  return (option_whole(text, 100, 100000, &request->level_runs) && request->level_runs % SUBSET_PART == 0) ||
         error_set(error, ERROR_USAGE, "option '--level-runs': found '%s', expected 100 to 100000, a multiple of %d",
                   text_excerpt(text).text, (int)SUBSET_PART);
}

static bool read_seed(void *context, const char *text, struct error *error) {
  struct request *request = context;
  return option_whole(text, 0, INT64_C(9007199254740992), &request->seed) ||
         error_set(error, ERROR_USAGE, "option '--seed': found '%s', expected a whole number, as in a study",
                   text_excerpt(text).text);
}

static const struct option_row options[] = {
    OPTION_READ("runs", '\0', "N", read_runs,
                "how many; with --width how many at most (default: the study's count; 100000)"),
    OPTION_AMOUNT("width", "SHARE", width, FRACTION, 1e-6, 1.0,
                  "go on until every interval of 95 % is as narrow as this, from end to end: 2 %"),
    OPTION_AMOUNT("allowed", "SHARE", allowed, FRACTION, 1e-12, 1.0,
                  "exit code 4 if any limit breaks more often, 6 if that is not established either way"),
    OPTION_FLAG("rare", rare, "for breaking of 1 in 1000 and rarer: ten independent subset simulations"),
    OPTION_READ("level-runs", '\0', "N", read_level_runs,
                "of --rare: runs of each level of each simulation (default 1000)"),
    OPTION_READ("seed", '\0', "N", read_seed, "of the lots; default: the study's"),
    OPTION_OUTPUT("the answer; default: the name of the study with .odds.h5, in the current folder"),
    OPTION_JOBS(jobs, JOB_LIMIT, "threads; default: one a processor that this process may use"),
    OPTION_FLAG("resume", resume, "go on with the runs that were made earlier, if there are any"),
    OPTION_SET,
    OPTION_JSON("print the answer as one JSON document"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head =
        "usage: swashloop odds STUDY [--runs N] [--width SHARE | --rare [--level-runs N]] [--allowed SHARE] [--seed "
        "N]\n"
        "                      [-o FILE] [--set PATH=VALUE]... [--jobs N] [--resume] [--json] [--quiet]\n\n"
        "How often do limits break when valves, oil, loads and operators scatter? Draws what the study varies from\n"
        "its distributions, every run by itself, and counts: the probability that each limit breaks and that any\n"
        "does, with intervals of 95 %, and which inputs drive it.\n\n"
        "  swashloop odds cases/studies/braking_odds.yaml --width 2%\n\n",
    .tail =
        "\nNo breaking in n runs is an upper bound, never 'it does not break'. The odds are those of the "
        "distributions\n"
        "in the study. What is done lies in FILE.journal until the answer is whole: --resume goes on after Ctrl-C.\n"
        "A pass in simulation proves nothing on a machine.\n\n" CAUTION "\n",
    .one = "study",
};

struct work {
  const struct request *request;
  struct review review;
  const char *command;
  struct progress progress;
  struct odds_question question;
};

static bool wants_stop(void *context) {
  (void)context;
  return interrupt_seen();
}

static void show_progress(void *context, int64_t points) {
  struct work *work = context;
  char line[96];
  (void)snprintf(line, sizeof line, "%" PRId64 " %s%" PRId64 " runs", points,
                 work->question.rule.width > 0.0 || work->request->rare ? "of at most " : "of ",
                 work->question.rule.most);
  progress_line(&work->progress, line);
}

/* ---- what is asked for ---- */

/* Only what is drawn from something has odds. */
static bool check_study(const struct plan *plan, struct error *error) {
  char name[32];
  (void)plan_arrangement(plan, name, (int)sizeof name);
  bool drawn = plan->arrangement == ARRANGE_RANDOM || plan->arrangement == ARRANGE_LATIN_HYPERCUBE ||
               plan->arrangement == ARRANGE_SOBOL || plan->arrangement == ARRANGE_SALTELLI;
  if (!drawn) {
    return error_at(error, plan->source, 0, 0,
                    "arrange: found '%s'; odds need a study that draws from distributions: arrange: random, with "
                    "'distribution:' in what varies",
                    name);
  }
  return plan->setting_count == 0 ||
         error_at(error, plan->source, 0, 0,
                  "compare: odds are of one setting; leave 'compare:' out and set it with --set PATH=VALUE");
}

static struct odds_question question_of(const struct request *request, const struct plan *plan) {
  struct odds_question question = {.seed = request->seed >= 0 ? (uint64_t)request->seed : plan->seed,
                                   .rule = {.most = request->runs, .width = request->width}};
  if (request->rare) {
    question.simulations = SIMULATIONS;
    question.samples = (int)request->level_runs;
    question.rule.most = request->runs > 0 ? request->runs : MOST_FOR_RARE;
  }
  if (question.rule.most == 0) {
    question.rule.most = request->width > 0.0 ? MOST_FOR_A_WIDTH : plan->samples;
  }
  return question;
}

/* ---- the answer ---- */

static int tell(struct work *work, const struct odds_answer *answer, int jobs) {
  const struct request *request = work->request;
  char text[64];
  if (request->asked.json) {
    struct json json = {.out = stdout};
    json_begin_object(&json, NULL);
    json_text(&json, "answer", "odds");
    odds_json(&json, answer, request->allowed);
    json_number(&json, "seconds", answer->seconds);
    answers_json_end(&json, request->asked.output);
  } else if (!request->asked.quiet) {
    odds_print(stdout, answer, request->allowed);
    (void)printf("%" PRId64 " runs, %" PRId64 " of them now, in %s, %d thread%s; seed %" PRIu64 "\nfile %s\n%s\n",
                 answer->runs, answer->runs - answer->before, terminal_seconds(answer->seconds, text, (int)sizeof text),
                 jobs, jobs == 1 ? "" : "s", answer->seed, shown(request->asked.output).text, CAUTION);
  }
  if (!answer->complete) {
    (void)fprintf(stderr, "interrupted after %" PRId64 " runs: %s tells them and is marked so; --resume goes on\n",
                  answer->runs, shown(request->asked.output).text);
    return EXIT_INTERRUPTED;
  }
  return odds_exit(answer, request->allowed);
}

static int run_odds(void *context) {
  struct work *work = context;
  const struct request *request = work->request;
  struct error error = {0};
  struct odds_answer answer = {0};
  int jobs = option_threads(request->jobs);
  const uint64_t method[2] = {work->question.seed, (uint64_t)work->question.samples};
  const struct odds_runs_order order = {.review = &work->review,
                                        .output = request->asked.output,
                                        .resume = request->resume,
                                        .method = draw_hash(DRAW_HASH_START, method, sizeof method),
                                        .jobs = jobs,
                                        .context = work,
                                        .stop = wants_stop,
                                        .progress = show_progress};
  interrupt_catch();
  work->progress = progress_start(request->asked.quiet);
  struct odds_runs *runs = odds_runs_open(&order, &error);
  bool good = runs != NULL && odds_answer_open(&answer, &work->review, &work->question, &error) &&
              (request->rare ? odds_rare(&answer, runs, &work->question, &error)
                             : odds_plain(&answer, runs, &work->question, &error));
  answer.seconds = progress_seconds(&work->progress);
  progress_clear(&work->progress);
  good = good && odds_write(request->asked.output, &answer, work->command, &error);
  if (good && answer.complete) {
    odds_runs_drop_journal(runs);
  }
  int code = good ? tell(work, &answer, jobs) : terminal_error(&error);
  odds_answer_free(&answer);
  odds_runs_close(runs);
  return code;
}

static bool load(struct work *work, struct error *error) {
  const struct request *request = work->request;
  const struct words *sets = &request->asked.sets;
  if (!review_of_study(request->asked.file, sets->list, sets->count, &work->review, error)) {
    return false;
  }
  const struct plan *plan = &work->review.plan;
  if (!check_study(plan, error) ||
      (work->review.limit_count == 0 &&
       !error_at(error, plan->source, 0, 0, "neither the study nor its case has 'limits:': nothing can break"))) {
    review_free(&work->review);
    return false;
  }
  return true;
}

static int run_request(struct request *request, const char *command) {
  struct error error = {0};
  struct work work = {.request = request, .command = command};
  char *output = option_default_file(request->asked.file, ".odds.h5");
  request->asked.output = request->asked.output != NULL ? request->asked.output : output;
  bool good = (output != NULL && command != NULL) || error_set(&error, ERROR_MEMORY, "no memory for names");
  bool loaded = good && load(&work, &error);
  good = loaded &&
         option_check_output(&request->asked, OUTPUT_ANSWER, request->resume, work.review.plan.base.inputs, &error);
  int code;
  if (good) {
    struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
    struct warnings warnings;
    work.question = question_of(request, &work.review.plan);
    if (!request->asked.quiet && plan_warnings(&work.review.plan, &warnings, &error)) {
      terminal_warnings(&warnings);
    }
    code = guarded_run(run_odds, &work, &guard);
  } else {
    code = terminal_error(&error);
  }
  if (loaded) {
    review_free(&work.review);
  }
  free(output);
  return code;
}

int command_odds(int argument_count, char **arguments) {
  struct request request = {.allowed = NAN, .seed = -1, .level_runs = SAMPLES};
  struct error error = {0};
  int code = EXIT_DONE;
  if (!options_read(&table, argument_count, arguments, &request, &error)) {
    code = terminal_error(&error);
  } else if (request.asked.help) {
    options_help(&table);
  } else if (request.rare && request.width > 0.0) {
    error_set(&error, ERROR_USAGE, "--width goes with counting; --rare has as many runs as its levels take");
    code = terminal_error(&error);
  } else if (request.asked.file == NULL) {
    error_set(&error, ERROR_USAGE, "which study? usage: swashloop odds STUDY [--runs N] [--width SHARE]");
    code = terminal_error(&error);
  } else {
    char *command = option_command_line("odds", argument_count, arguments);
    code = run_request(&request, command);
    free(command);
  }
  options_free(&table, &request);
  return code;
}
