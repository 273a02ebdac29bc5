/* swashloop compare */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "commands.h"
#include "comparison.h"
#include "interrupt.h"
#include "options.h"
#include "units.h"

static const struct option_row options[] = {
    {"map", 'm', "MAPPING.yaml", "which column is which signal, in what unit, and how near the run must come"},
    {"output", 'o', "FILE", "the file; default: the name of the run with .compare.h5, in the current folder"},
    {"json", '\0', NULL, "print one JSON document, numbers in SI"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { MAP, OUTPUT, JSON, QUIET, HELP, OPTION_COUNT };

struct request {
  const char *run;
  const char *trace;
  const char *map;
  const char *output;
  bool json;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs("usage: swashloop compare RUN.h5 TRACE.csv --map MAPPING.yaml [-o FILE] [--json]\n\n"
              "A run against a measured trace: the shift of the clocks, and for each signal mean, rms and largest\n"
              "deviation, correlation, and whether the bands of the mapping were kept (exit code 4 if one was not).\n"
              "docs/compare.md tells the mapping and a worked example.\n\n"
              "  swashloop compare step.h5 bench.csv --map bench.yaml\n"
              "  tools/plot step.compare.h5\n\n",
              stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs("\n" CAUTION "\n", stdout);
}

static bool take_word(struct request *request, const char *word, struct error *error) {
  if (request->run == NULL) {
    request->run = word;
  } else if (request->trace == NULL) {
    request->trace = word;
  } else {
    return error_set(error, ERROR_USAGE, "one run and one trace at a time: found '%s' behind '%s'", word,
                     request->trace);
  }
  return true;
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case MAP:
      request->map = reader.value;
      break;
    case OUTPUT:
      request->output = reader.value;
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
      if (!take_word(request, reader.value, error)) {
        return false;
      }
      break;
    case OPTION_END:
      if (request->trace == NULL || request->map == NULL) {
        return error_set(error, ERROR_USAGE, "%s? usage: swashloop compare RUN.h5 TRACE.csv --map MAPPING.yaml",
                         request->run == NULL     ? "which run"
                         : request->trace == NULL ? "which trace"
                                                  : "which mapping");
      }
      return true;
    default:
      return false;
    }
  }
}

/* A difference of the quantity, for people. */
static const char *show(enum quantity quantity, double si, char *text, int size) {
  return units_show(quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity, si, text, size);
}

static void print_answer(const struct request *request, const struct comparison *found) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %s against %s\n\n", paint.strong, found->title, paint.plain, request->run, request->trace);
  if (found->mapping.largest_shift > 0.0) {
    (void)printf("the trace is shifted by %+.6g s onto the run; likeness %.5f, without a shift %.5f\n\n", found->shift,
                 found->correlation, found->correlation_at_zero);
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
    } else {
      (void)printf("%sno band%s\n", paint.faint, paint.plain);
    }
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", request->output, request->output);
}

static void json_answer(const struct request *request, const struct comparison *found) {
  static const char *const verdicts[] = {"not asked", "kept", "broken"};
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "comparison");
  json_text(&json, "title", found->title);
  json_text(&json, "run", request->run);
  json_text(&json, "trace", request->trace);
  json_text(&json, "mapping", request->map);
  json_number(&json, "shift", found->shift);
  json_number(&json, "likeness", found->correlation);
  json_number(&json, "likeness_without_shift", found->correlation_at_zero);
  json_integer(&json, "broken", found->broken);
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
    json_text(&json, "verdict", verdicts[compared->verdict]);
    json_text(&json, "why", compared->why);
    json_end_object(&json);
  }
  json_end_object(&json);
  json_text(&json, "file", request->output);
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_text(&json, "caution", CAUTION);
  json_end_object(&json);
  (void)fputc('\n', stdout);
}

static int find_answer(const struct request *request, const char *command) {
  struct error error = {0};
  struct comparison *found = calloc(1, sizeof *found);
  if (found == NULL) {
    return EXIT_RUN_FAILED;
  }
  bool good = comparison_find(request->run, request->trace, request->map, found, &error) &&
              comparison_write(found, request->output, command, &error);
  int code = EXIT_DONE;
  if (!good) {
    code = terminal_error(&error);
  } else {
    if (request->json && !request->quiet) {
      json_answer(request, found);
    } else if (!request->quiet) {
      print_answer(request, found);
    }
    code = found->broken > 0 ? EXIT_LIMIT_BROKEN : EXIT_DONE;
  }
  comparison_free(found);
  free(found);
  return code;
}

int command_compare(int argument_count, char **arguments) {
  struct error error = {0};
  struct request request = {0};
  char *command = option_command_line("swashloop compare", argument_count, arguments);
  char *output = NULL;
  int code = EXIT_DONE;
  if (command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!read_request(argument_count, arguments, &request, &error)) {
    code = terminal_error(&error);
  } else if (request.help) {
    print_help();
  } else {
    output = answers_output(request.run, "compare");
    request.output = request.output != NULL ? request.output : output;
    interrupt_catch();
    code = find_answer(&request, command);
  }
  units_close();
  free(output);
  free(command);
  return code;
}
