/* swashloop sensitivity */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "case.h"
#include "commands.h"
#include "interrupt.h"
#include "options.h"
#include "sensitivity.h"
#include "units.h"
#include "text.h"

struct request {
  struct asked asked;
  struct words to;
  struct words of;
  struct sensitivity_options options;
};
static const struct option_row options[] = {
    OPTION_WORDS("to", '\0', "PATH", to, "a number of the case that is moved; may stand several times"),
    OPTION_WORDS("of", '\0', "NAME", of,
                 "a measure or a signal; may stand several times; default: the usual ones that move"),
    OPTION_FLAG("check", options.check,
                "hold the derivatives against differences of whole runs (four runs a parameter)"),
    OPTION_OUTPUT("the file; default: the name of the case with .sensitivity.h5, in the current folder"),
    OPTION_SET,
    OPTION_JSON("print one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool check_request(void *context, struct error *error) {
  struct request *request = context;
  request->options.to = request->to.list;
  request->options.to_count = request->to.count;
  request->options.of = request->of.list;
  request->options.of_count = request->of.count;
  if (request->asked.file == NULL || request->options.to_count == 0) {
    return error_set(error, ERROR_USAGE, "%s? usage: swashloop sensitivity CASE --to PATH...",
                     request->asked.file == NULL ? "which case" : "to which parameter");
  }
  return true;
}

/* "12.3 bar": a change of a measure, without the offset that a temperature has. */
static const char *show_change(int measure, double change, char *text, int size) {
  const struct quantity_row *row = &quantity_rows[measure_rows[measure].quantity];
  const char *unit = row->offset != 0.0 ? "K" : row->trade_unit;
  double number = change / row->scale;
  (void)snprintf(text, (size_t)size, "%+.4g %s", number, strcmp(unit, "1") == 0 ? "" : unit);
  return text;
}

/* How far the check is off, as words. */
static void show_check(const struct sensitivity *found, int i, int measure, char *text, int size) {
  double derivative = found->result.measures[i][measure];
  double difference = found->differences[i][measure];
  if (isnan(difference)) {
    (void)snprintf(text, (size_t)size, "runs beside it lack it");
  } else if (difference == 0.0 && derivative == 0.0) {
    (void)snprintf(text, (size_t)size, "both zero");
  } else {
    double size_of = fmax(fabs(difference), fabs(derivative));
    (void)snprintf(text, (size_t)size, "%.1e off, differences differ by %.1e", fabs(derivative - difference) / size_of,
                   found->doubts[i][measure] / size_of);
  }
}

/* At which of its bounds a parameter stands, so that its derivative is taken to one side. */
static const char *bound_word(int inside) {
  return inside > 0 ? "lower" : inside < 0 ? "upper" : "none";
}

static void print_notes(const struct sensitivity *found) {
  for (int i = 0; i < found->count; i++) {
    if (found->jumps[i] >= 0) {
      (void)printf("\n%s stands at its %s bound, which means something else than what lies beside it: %s jumps there,\n"
                   "and no derivative holds; ask with a value inside\n",
                   found->varied[i].path, bound_word(found->inside[i]), measure_rows[found->jumps[i]].name);
    } else if (found->inside[i] != 0) {
      (void)printf("\n%s stands at its %s bound: its derivatives are one-sided, taken just inside\n",
                   found->varied[i].path, bound_word(found->inside[i]));
    }
  }
  if (found->result.moved > 0) {
    (void)printf("\n%ld changes of mode whose moment moves with a parameter, jumps taken into account\n",
                 found->result.moved);
  }
  if (found->result.unsure > 0) {
    (void)printf(
        "UNSURE from %.6g s on: %ld changes of mode only touch their level or fall together with another, so that\n"
        "a small change of a parameter may turn them on or off, or about; no derivative holds across that\n",
        found->result.first_unsure, found->result.unsure);
  }
}

static void print_answer(const struct request *request, const struct case_data *data, const struct sensitivity *found) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %s %.6g s, %.2f s of processor time\n", paint.strong, shown(data->title).text, paint.plain,
               run_status_names[found->outcome.status], found->outcome.end_time, found->outcome.counts.cpu_seconds);
  for (int m = 0; m < found->measure_count; m++) {
    int measure = found->measures[m];
    int order[SENSITIVITY_PARAMETERS];
    char value[64];
    sensitivity_rank(found, measure, order);
    if (isnan(found->outcome.measures[measure])) {
      (void)printf("\n%s: none, %s\n", measure_rows[measure].name, found->outcome.absent[measure]);
      continue;
    }
    units_show(measure_rows[measure].quantity, found->outcome.measures[measure], value, sizeof value);
    (void)printf("\n%s%s%s %s, %s\n", paint.strong, measure_rows[measure].name, paint.plain, value,
                 measure_rows[measure].text);
    bool still = false;
    for (int k = 0; k < found->count; k++) {
      const struct varied_parameter *varied = &found->varied[order[k]];
      double derivative = found->result.measures[order[k]][measure];
      if (derivative == 0.0) {
        (void)printf("%s %s", still ? "," : "  not moved by", varied->path);
        still = true;
        continue;
      }
      char effect[64] = "none: a run beside it lacks the measure";
      if (found->jumps[order[k]] >= 0) {
        (void)snprintf(effect, sizeof effect, "none: see below");
      }
      char checked[128] = "";
      if (!isnan(derivative)) {
        show_change(measure, derivative * varied->change, effect, sizeof effect);
      }
      if (found->differences != NULL && !isnan(derivative)) {
        show_check(found, order[k], measure, checked, sizeof checked);
      }
      (void)printf("  %18s per %-8s of %-34s %s%s%s\n", effect, varied->change_words, varied->path, paint.faint,
                   checked, paint.plain);
    }
    if (still) {
      (void)fputc('\n', stdout);
    }
  }
  print_notes(found);
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
               shown(request->asked.output).text);
}

static void json_answer(const struct request *request, const struct case_data *data, const struct sensitivity *found) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "answer", "sensitivity");
  json_text(&json, "status", run_status_names[found->outcome.status]);
  json_number(&json, "cpu_seconds", found->outcome.counts.cpu_seconds);
  json_integer(&json, "moved_changes", found->result.moved);
  json_integer(&json, "unsure_changes", found->result.unsure);
  json_begin_list(&json, "parameters");
  for (int i = 0; i < found->count; i++) {
    const struct varied_parameter *varied = &found->varied[i];
    json_begin_object(&json, NULL);
    json_text(&json, "path", varied->path);
    json_number(&json, "value", varied->value);
    json_text(&json, "unit", quantity_rows[varied->ref.quantity].si_unit);
    json_number(&json, "change", varied->change);
    json_text(&json, "change_words", varied->change_words);
    json_text(&json, "one_sided", bound_word(found->inside[i]));
    json_text(&json, "jumps", found->jumps[i] >= 0 ? measure_rows[found->jumps[i]].name : "");
    json_end_object(&json);
  }
  json_end_list(&json);
  json_begin_object(&json, "measures");
  for (int m = 0; m < found->measure_count; m++) {
    int measure = found->measures[m];
    int order[SENSITIVITY_PARAMETERS];
    sensitivity_rank(found, measure, order);
    json_begin_object(&json, measure_rows[measure].name);
    json_number(&json, "value", found->outcome.measures[measure]);
    json_text(&json, "unit", quantity_rows[measure_rows[measure].quantity].si_unit);
    json_begin_list(&json, "ranking");
    for (int k = 0; k < found->count; k++) {
      double derivative = found->result.measures[order[k]][measure];
      json_begin_object(&json, NULL);
      json_text(&json, "path", found->varied[order[k]].path);
      json_number(&json, "derivative", derivative);
      json_number(&json, "effect", derivative * found->varied[order[k]].change);
      if (found->differences != NULL) {
        json_number(&json, "difference", found->differences[order[k]][measure]);
        json_number(&json, "difference_doubt", found->doubts[order[k]][measure]);
      }
      json_end_object(&json);
    }
    json_end_list(&json);
    json_end_object(&json);
  }
  json_end_object(&json);
  answers_json_end(&json, request->asked.output);
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct error error = {0};
  interrupt_catch();
  struct sensitivity *found = calloc(1, sizeof *found);
  if (found == NULL) {
    return EXIT_RUN_FAILED;
  }
  struct progress progress = progress_start(request->asked.quiet);
  struct watcher watcher = {&progress, answers_tick, 0.0};
  bool good = sensitivity_find(data, &request->options, &watcher, found, &error);
  progress_clear(&progress);
  good = good && sensitivity_write(found, data, request->asked.output, command, &error);
  if (good && request->asked.json && !request->asked.quiet) {
    json_answer(request, data, found);
  } else if (good && !request->asked.quiet) {
    print_answer(request, data, found);
  }
  sensitivity_free(found);
  free(found);
  return good ? EXIT_DONE : answers_fail(&error);
}

int command_sensitivity(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "sensitivity",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop sensitivity CASE --to PATH... [--of NAME]... [--check] [--json]\n\n"
                  "Which setting moves what, and by how much: derivatives of measures and of time histories, "
                  "integrated\n"
                  "beside the run, given in units of an engineer (bar per 10 %), ranked. docs/sensitivity.md.\n\n"
                  "  swashloop sensitivity cases/stall.yaml --to relief.setting --to limiter.setting --to limiter.lag\n"
                  "  tools/plot stall.sensitivity.h5\n\n",
              .tail = "\n" CAUTION "\n",
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {.asked.ending = ".sensitivity.h5"};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
