/* swashloop compare */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "comparison.h"
#include "options.h"
#include "units.h"
#include "text.h"

#define DOUBT_TOLD 0.25 /* of the largest deviation */

struct request {
  struct asked asked;
  const char *trace;
  const char *map;
};
static const struct option_row options[] = {
    OPTION_INPUT("map", 'm', "MAPPING.yaml", map,
                 "which column is which signal, in what unit, and how near the run must come"),
    OPTION_OUTPUT("the file; default: the name of the run with .compare.h5, in the current folder"),
    OPTION_JSON("print one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  if (request->asked.file == NULL) {
    request->asked.file = word;
  } else if (request->trace == NULL) {
    request->trace = word;
  } else {
    return error_set(error, ERROR_USAGE, "one run and one trace at a time: found '%s' behind '%s'", word,
                     request->trace);
  }
  return true;
}

static bool check_request(void *context, struct error *error) {
  const struct request *request = context;
  if (request->trace == NULL || request->map == NULL) {
    return error_set(error, ERROR_USAGE, "%s? usage: swashloop compare RUN.h5 TRACE --map MAPPING.yaml",
                     request->asked.file == NULL ? "which run"
                     : request->trace == NULL    ? "which trace"
                                                 : "which mapping");
  }
  return true;
}

/* A difference of the quantity, for people. */
static const char *show(enum quantity quantity, double si, char *text, int size) {
  return units_show(quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity, si, text, size);
}

/* The run lies in the file at its samples only: where that hides much of what was found, or a verdict. */
static void print_doubt(const struct comparison *found) {
  double longest = 0.0;
  for (int k = 1; k < found->run_count; k++) {
    longest = fmax(longest, found->run_time[k] - found->run_time[k - 1]);
  }
  for (int i = 0; i < found->mapping.count; i++) {
    const struct compared *compared = &found->compared[i];
    char doubt[64];
    if (compared->deviation.doubt > DOUBT_TOLD * compared->deviation.largest ||
        compared->verdict == VERDICT_NOT_JUDGED) {
      (void)printf("\n%s: the run's samples are up to %.3g s apart, between them it is known to %s only;\n"
                   "run it with a finer simulation.output_step\n",
                   found->mapping.signals[i].row.name, longest,
                   show(found->mapping.signals[i].row.quantity, compared->deviation.doubt, doubt, sizeof doubt));
    }
  }
}

/* What was found of free terms, and what stands out though nobody asked for it. */
static void print_sensors(const struct comparison *found) {
  for (int i = 0; i < found->found_count; i++) {
    (void)printf("%sfound: %s\n", i == 0 ? "\n" : "", found->found[i].words);
  }
  for (int i = 0; i < found->diagnosis.count; i++) {
    (void)printf("%s  %s\n", i == 0 ? "\nif the run is right,\n" : "", found->diagnosis.findings[i].words);
  }
}

static void print_answer(const struct request *request, const struct comparison *found) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %s against %s\n\n", paint.strong, shown(found->title).text, paint.plain,
               shown(request->asked.file).text, shown(request->trace).text);
  if (found->mapping.largest_shift > 0.0 || found->shift != 0.0) {
    (void)printf("the trace is shifted by %+.6g s onto the run; correlation %.5f, without a shift %.5f\n\n",
                 found->shift, found->correlation, found->correlation_at_zero);
  }
  (void)printf("  %-24s %14s %14s %14s %10s %9s\n", "signal", "mean", "rms", "largest", "at", "explained");
  for (int i = 0; i < found->mapping.count; i++) {
    const struct mapped *mapped = &found->mapping.signals[i];
    const struct compared *compared = &found->compared[i];
    char mean[64];
    char rms[64];
    char largest[64];
    enum quantity quantity = mapped->row.quantity;
    (void)printf("  %-24s %14s %14s %14s %8.4g s %7.2f %%  ", mapped->row.name,
                 show(quantity, compared->deviation.mean, mean, sizeof mean),
                 show(quantity, compared->deviation.rms, rms, sizeof rms),
                 show(quantity, compared->deviation.largest, largest, sizeof largest), compared->deviation.largest_time,
                 100.0 * compared->deviation.explained);
    if (compared->verdict == VERDICT_KEPT) {
      (void)printf("%skept%s\n", paint.good, paint.plain);
    } else if (compared->verdict == VERDICT_BROKEN) {
      (void)printf("%sBROKEN%s %s\n", paint.bad, paint.plain, compared->why);
    } else if (compared->verdict == VERDICT_NOT_JUDGED) {
      (void)printf("%snot judged%s %s\n", paint.strong, paint.plain, compared->why);
    } else {
      (void)printf("%sno band%s\n", paint.faint, paint.plain);
    }
  }
  print_doubt(found);
  print_sensors(found);
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
               shown(request->asked.output).text);
}

static void json_answer(const struct request *request, const struct comparison *found) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "comparison");
  json_text(&json, "title", found->title);
  json_text(&json, "run", request->asked.file);
  json_text(&json, "trace", request->trace);
  json_text(&json, "mapping", request->map);
  json_text(&json, "guessed", found->measured.told.text);
  json_number(&json, "shift", found->shift);
  json_number(&json, "correlation", found->correlation);
  json_number(&json, "correlation_without_shift", found->correlation_at_zero);
  json_integer(&json, "broken", found->broken);
  json_integer(&json, "not_judged", found->unjudged);
  json_begin_object(&json, "signals");
  for (int i = 0; i < found->mapping.count; i++) {
    const struct compared *compared = &found->compared[i];
    json_begin_object(&json, found->mapping.signals[i].row.name);
    json_text(&json, "unit", quantity_rows[found->mapping.signals[i].row.quantity].si_unit);
    json_integer(&json, "count", compared->deviation.count);
    json_number(&json, "mean", compared->deviation.mean);
    json_number(&json, "rms", compared->deviation.rms);
    json_number(&json, "largest", compared->deviation.largest);
    json_number(&json, "largest_time", compared->deviation.largest_time);
    json_number(&json, "correlation", compared->deviation.correlation);
    json_number(&json, "explained", compared->deviation.explained);
    json_number(&json, "doubt", compared->deviation.doubt);
    json_text(&json, "verdict", verdict_names[compared->verdict]);
    json_text(&json, "why", compared->why);
    json_end_object(&json);
  }
  json_end_object(&json);
  struct observation *names = calloc(1, sizeof *names); /* of channels, for what was found */
  if (names != NULL) {
    names->mappings[0] = found->mapping;
  }
  json_begin_list(&json, "sensors");
  for (int i = 0; names != NULL && i < found->found_count; i++) {
    answers_json_finding(&json, names, &found->found[i]);
  }
  json_end_list(&json);
  json_begin_list(&json, "findings");
  for (int i = 0; names != NULL && i < found->diagnosis.count; i++) {
    answers_json_finding(&json, names, &found->diagnosis.findings[i]);
  }
  json_end_list(&json);
  free(names);
  answers_json_end(&json, request->asked.output);
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  (void)data;
  struct error error = {0};
  struct comparison *found = calloc(1, sizeof *found);
  if (found == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for the comparison");
    return terminal_error(&error);
  }
  bool good = comparison_find(request->asked.file, request->trace, request->map, found, &error) &&
              comparison_write(found, request->asked.output, command, &error);
  int code = EXIT_DONE;
  if (!good) {
    code = terminal_error(&error);
  } else {
    if (!request->asked.quiet) {
      answers_told(request->trace, &found->measured.told);
    }
    if (request->asked.json && !request->asked.quiet) {
      json_answer(request, found);
    } else if (!request->asked.quiet) {
      print_answer(request, found);
    }
    code = found->broken > 0 ? EXIT_LIMIT_BROKEN : found->unjudged > 0 ? EXIT_LIMIT_NOT_JUDGED : EXIT_DONE;
  }
  comparison_free(found);
  free(found);
  return code;
}

int command_compare(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "compare",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head = "usage: swashloop compare RUN.h5 TRACE --map MAPPING.yaml [-o FILE] [--json]\n\n"
                      "A run against a measured trace (CSV, HDF5, netCDF-4): the shift of the clocks, and for each\n"
                      "signal mean, rms and largest deviation, correlation, and whether the bands of the mapping were "
                      "kept (exit code 4 if one was "
                      "not, 6 if one could not be judged).\n"
                      "docs/compare.md tells the mapping and a worked example.\n\n"
                      "  swashloop compare step.h5 bench.csv --map bench.yaml\n"
                      "  tools/plot step.compare.h5\n\n",
              .tail = "\n" CAUTION "\n",
              .take_word = take_word,
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = false,
      .guarded = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {.asked.ending = ".compare.h5"};
  return answers_command(&command, &request.asked, argument_count, arguments);
}
