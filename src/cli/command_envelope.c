/* swashloop envelope */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "envelope_told.h"
#include "envelope_words.h"
#include "guarded.h"
#include "interrupt.h"
#include "options.h"
#include "review_warnings.h"
#include "terminal.h"
#include "text.h"
#include "units.h"

enum { SCAN_ALONG = 17, SCAN_ACROSS = 9 };

struct request {
  struct asked asked; /* its file: a case or a review */
  struct words over;
  double accuracy;
  int scan; /* 0: by the number of quantities */
  int jobs; /* 0: as many as there are processors */
};

static bool read_scan(void *context, const char *text, struct error *error) {
  struct request *request = context;
  int64_t points = 0;
  if (!option_whole(text, 3, 1000, &points)) {
    return error_set(error, ERROR_USAGE, "option '--scan': found '%s', expected a whole number from 3 to 1000",
                     text_excerpt(text).text);
  }
  request->scan = (int)points;
  return true;
}

static const struct option_row options[] = {
    OPTION_WORDS("over", '\0', "PATH=LOW..HIGH", over,
                 "a quantity and its bounds: relief.setting=\"300 bar..450 bar\"; once or twice"),
    OPTION_AMOUNT("accuracy", "SHARE", accuracy, FRACTION, 1e-4, 0.2, "of each range (default 1 %)"),
    OPTION_READ("scan", '\0', "N", read_scan, "points of the scan along each quantity (default 17; 9 of two)"),
    OPTION_JOBS(jobs, JOB_LIMIT, "threads; default: one a processor that this process may use"),
    OPTION_OUTPUT("the answer; default: the name of the case or review with .envelope.h5, in the current folder"),
    OPTION_SET,
    OPTION_JSON("print the answer as one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static const struct option_table table = {
    .rows = options,
    .row_count = (int)(sizeof options / sizeof options[0]),
    .head = "usage: swashloop envelope CASE|REVIEW --over PATH=LOW..HIGH [--over PATH=LOW..HIGH] [--accuracy SHARE]\n"
            "                          [--scan N] [-o FILE] [--set PATH=VALUE]... [--jobs N] [--json] [--quiet]\n\n"
            "How far can one or two quantities go until a limit breaks, and which limit ends it where? One: scanned,\n"
            "then every change narrowed. Two: the boundary traced as a curve. Every point of the answer lies between\n"
            "two runs, one of which keeps every limit and the other does not.\n\n"
            "  swashloop envelope cases/braking.yaml --over \"ground.grade[1].value=-30 %..0 %\"\n\n",
    .tail = "\nWhat is smaller than the scan is not seen. A pass in simulation proves nothing on a machine.\n\n" CAUTION
            "\n",
    .one = "case or review",
};

struct work {
  const struct request *request;
  struct review review;
  struct probe_axis axes[ENVELOPE_AXES];
  struct probe *probe;
  const char *command;
  struct progress progress;
  long points;
};

/* ---- what is asked for ---- */

/* "300 bar..450 bar" of the number at `path`, in SI; the text is the axis's own. */
static bool read_bounds(const struct case_data *data, char *bounds, struct probe_axis *axis, struct error *error) {
  struct parameter_ref ref;
  struct error inner = {0};
  char *dots = strstr(bounds, "..");
  if (!parameter_ref_find(data, axis->path, &ref, &inner)) {
    return error_set(error, ERROR_USAGE, "--over '%s', character %d: %s", axis->path, inner.column, inner.text);
  }
  if (ref.choices != NULL) {
    return error_set(error, ERROR_USAGE, "--over '%s' is a choice; an envelope goes over numbers", axis->path);
  }
  if (dots != NULL) {
    *dots = '\0';
    if (units_read(ref.quantity, bounds, &axis->low, &inner) &&
        units_read(ref.quantity, dots + 2, &axis->high, &inner) && axis->low != axis->high) {
      return true;
    }
  }
  return error_set(error, ERROR_USAGE, "--over %s: expected two different amounts LOW..HIGH%s%s", axis->path,
                   inner.text[0] != '\0' ? ": " : "", inner.text);
}

static bool read_over(const struct work *work, const char *text, char *own, struct probe_axis *axis,
                      struct error *error) {
  char *equal = strchr(own, '=');
  if (equal == NULL || equal == own) {
    return error_set(error, ERROR_USAGE, "--over '%s': expected PATH=LOW..HIGH", text_excerpt(text).text);
  }
  *equal = '\0';
  axis->path = own;
  if (axis != work->axes && strcmp(axis->path, work->axes[0].path) == 0) {
    return error_set(error, ERROR_USAGE, "--over '%s' twice: expected two different quantities", axis->path);
  }
  return read_bounds(&work->review.plan.cells[0].data, equal + 1, axis, error);
}

static bool check_request(const struct request *request, struct error *error) {
  if (request->asked.file == NULL) {
    return error_set(error, ERROR_USAGE, "which case or review? usage: swashloop envelope CASE --over PATH=LOW..HIGH");
  }
  if (request->over.count < 1 || request->over.count > ENVELOPE_AXES) {
    return error_set(error, ERROR_USAGE, "over what? one or two of --over PATH=LOW..HIGH");
  }
  return true;
}

/* ---- the search ---- */

static bool ask(void *context, struct envelope_run *runs, int count, struct error *error) {
  struct work *work = context;
  int axes = work->request->over.count;
  double *values = calloc((size_t)count * (size_t)axes, sizeof *values);
  struct probe_answer *answers = calloc((size_t)count, sizeof *answers);
  if (values == NULL || answers == NULL) {
    free(values);
    free(answers);
    return error_set(error, ERROR_MEMORY, "no memory for the envelope");
  }
  for (int i = 0; i < count * axes; i++) {
    const struct probe_axis *axis = &work->axes[i % axes];
    values[i] = axis->low + runs[i / axes].at[i % axes] * (axis->high - axis->low);
  }
  bool good = probe_ask(work->probe, values, count, answers, interrupt_seen, error);
  for (int i = 0; good && i < count; i++) {
    const struct probe_answer *answer = &answers[i];
    runs[i].kept = answer->verdict == REVIEW_KEPT;
    runs[i].label = envelope_label_of(answer->verdict, answer->limit);
    runs[i].margin = answer->margin;
    runs[i].cell = answer->cell;
  }
  work->points += count;
  char line[64];
  (void)snprintf(line, sizeof line, "%ld points", work->points);
  progress_line(&work->progress, line);
  free(values);
  free(answers);
  return good;
}

static int tell(struct work *work, const struct envelope_question *question, const struct envelope *envelope,
                double seconds) {
  const struct request *request = work->request;
  struct error error = {0};
  struct envelope_told told = {&work->review, envelope, question, work->axes, {NULL}};
  for (int a = 0; a < question->dimensions; a++) {
    told.refs[a] = probe_quantity(work->probe, a);
  }
  if (!envelope_write(request->asked.output, &told, work->command, &error)) {
    return terminal_error(&error);
  }
  if (request->asked.json) {
    struct json json = {.out = stdout};
    json_begin_object(&json, NULL);
    json_text(&json, "answer", "envelope");
    envelope_json(&json, &told);
    json_number(&json, "seconds", seconds);
    answers_json_end(&json, request->asked.output);
  } else if (!request->asked.quiet) {
    envelope_print(stdout, &told, seconds);
    (void)printf("file %s\n%s\n", shown(request->asked.output).text, CAUTION);
  }
  return envelope_exit(envelope);
}

static int find(void *context) {
  struct work *work = context;
  const struct request *request = work->request;
  struct error error = {0};
  struct envelope envelope = {0};
  int jobs = option_threads(request->jobs);
  const struct envelope_question question = {.dimensions = request->over.count,
                                             .scan = request->scan > 0          ? request->scan
                                                     : request->over.count == 1 ? SCAN_ALONG
                                                                                : SCAN_ACROSS,
                                             .accuracy = request->accuracy,
                                             .context = work,
                                             .ask = ask};
  interrupt_catch();
  work->progress = progress_start(request->asked.quiet);
  work->probe = probe_open(&work->review, work->axes, request->over.count, jobs, &error);
  bool good = work->probe != NULL && envelope_find(&question, &envelope, &error);
  double seconds = progress_seconds(&work->progress);
  progress_clear(&work->progress);
  int code = good ? tell(work, &question, &envelope, seconds) : answers_fail(&error);
  if (work->probe != NULL) {
    probe_close(work->probe);
  }
  envelope_free(&envelope);
  return code;
}

static bool load(struct work *work, struct error *error) {
  const struct request *request = work->request;
  const struct words *sets = &request->asked.sets;
  return review_is(request->asked.file)
             ? review_load(request->asked.file, sets->list, sets->count, &work->review, error)
             : review_of_case(request->asked.file, sets->list, sets->count, &work->review, error);
}

static int run_request(struct request *request, const char *command) {
  struct error error = {0};
  struct work work = {.request = request, .command = command};
  char *output = option_default_file(request->asked.file, ".envelope.h5");
  char *texts[ENVELOPE_AXES] = {NULL, NULL}; /* freed below, however many were asked for */
  request->asked.output = request->asked.output != NULL ? request->asked.output : output;
  bool good = (output != NULL && command != NULL) || error_set(&error, ERROR_MEMORY, "no memory for names");
  bool loaded = good && load(&work, &error);
  good = loaded;
  for (int a = 0; good && a < request->over.count && a < ENVELOPE_AXES; a++) {
    texts[a] = strdup(request->over.list[a]);
    good = texts[a] != NULL ? read_over(&work, request->over.list[a], texts[a], &work.axes[a], &error)
                            : error_set(&error, ERROR_MEMORY, "no memory for names");
  }
  good = good && option_check_output(&request->asked, OUTPUT_ANSWER, false, work.review.plan.base.inputs, &error);
  int code = EXIT_DONE;
  if (good) {
    struct guard guard = {request->asked.reads.list, request->asked.reads.count, false};
    if (!request->asked.quiet) {
      review_tell_warnings(stderr, &work.review);
    }
    code = guarded_run(find, &work, &guard);
  } else {
    code = terminal_error(&error);
  }
  if (loaded) {
    review_free(&work.review);
  }
  free(texts[0]);
  free(texts[1]);
  free(output);
  return code;
}

int command_envelope(int argument_count, char **arguments) {
  struct request request = {.accuracy = 0.01};
  struct error error = {0};
  int code = EXIT_DONE;
  if (!options_read(&table, argument_count, arguments, &request, &error) ||
      (!request.asked.help && !check_request(&request, &error))) {
    code = terminal_error(&error);
  } else if (request.asked.help) {
    options_help(&table);
  } else {
    char *command = option_command_line("envelope", argument_count, arguments);
    code = run_request(&request, command);
    free(command);
  }
  options_free(&table, &request);
  return code;
}
