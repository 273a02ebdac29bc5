/* swashloop fit */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "answers.h"
#include "case.h"
#include "commands.h"
#include "fitting.h"
#include "interrupt.h"
#include "options.h"
#include "units.h"
#include "text.h"

#define CLOSE 0.95 /* correlation from which a pair is reported */

struct request {
  struct asked asked;
  struct words parameters;
  struct words traces;
  struct fit_options options;
};
static bool read_starts(void *context, const char *text, struct error *error) {
  struct request *request = context;
  double count;
  if (!option_amount("starts", QUANTITY_NUMBER, text, 0.0, 1000.0, &count, error)) {
    return false;
  }
  request->options.starts = (int)count;
  return true;
}

static const struct option_row options[] = {
    OPTION_WORDS("parameters", 'p', "PATH[=LOW..HIGH]", parameters,
                 "a number to find, within bounds; may stand several times"),
    OPTION_INPUT("map", 'm', "MAPPING.yaml", options.mapping, "which column is which signal, as for compare"),
    OPTION_READ("starts", '\0', "COUNT", read_starts, "search from so many more places within the bounds; default 0"),
    OPTION_OUTPUT("the file; default: the name of the case with .fit.h5, in the current folder"),
    OPTION_SET,
    OPTION_JSON("print one JSON document, numbers in SI"),
    OPTION_QUIET,
    OPTION_HELP,
};

static bool take_word(void *context, const char *word, struct error *error) {
  struct request *request = context;
  if (request->asked.file == NULL) {
    request->asked.file = word;
    return true;
  }
  return words_add(&request->traces, word, error);
}

static bool check_request(void *context, struct error *error) {
  struct request *request = context;
  request->options.parameters = request->parameters.list;
  request->options.parameter_count = request->parameters.count;
  request->options.traces = request->traces.list;
  request->options.trace_count = request->traces.count;
  if (request->asked.file == NULL || request->options.trace_count == 0 || request->options.mapping == NULL) {
    return error_set(error, ERROR_USAGE, "%s? usage: swashloop fit CASE TRACE.csv... --map MAPPING.yaml",
                     request->asked.file == NULL         ? "which case"
                     : request->options.trace_count == 0 ? "which trace"
                                                         : "which mapping");
  }
  return true;
}

/* In the unit of the trade, with as many digits as the interval leaves. */
static const char *show(const struct fit_parameter *parameter, double si, char *text, int size) {
  enum quantity quantity = parameter->varied.ref.quantity;
  double trade = quantity_to_trade(quantity, si);
  double half = (parameter->to - parameter->value) / quantity_rows[quantity].scale;
  int digits = half > 0.0 && trade != 0.0 ? (int)ceil(log10(fabs(trade) / half)) + 1 : 4;
  const char *unit = quantity_rows[quantity].trade_unit;
  (void)snprintf(text, (size_t)size, "%.*g %s",
                 digits < 4    ? 4
                 : digits > 10 ? 10
                               : digits,
                 trade, strcmp(unit, "1") == 0 ? "" : unit);
  return text;
}

static void print_pairs(const struct fit *fit) {
  bool first = true;
  for (int i = 0; i < fit->parameter_count; i++) {
    for (int k = 0; k < i; k++) {
      if (fabs(fit->correlation[i][k]) > CLOSE) {
        (void)printf("%s  %s and %s: correlation %+.3f, the traces can hardly distinguish them\n",
                     first ? "\nWARNING\n" : "", fit->parameters[k].path, fit->parameters[i].path,
                     fit->correlation[i][k]);
        first = false;
      }
    }
  }
}

static void print_noise(const struct fit *fit) {
  (void)printf("\nleft over (standard deviation):");
  for (int s = 0; s < fit->mapping.count; s++) {
    char text[64];
    enum quantity quantity = fit->mapping.signals[s].row.quantity;
    quantity = quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
    (void)printf(" %s %s%s", fit->mapping.signals[s].row.name, units_show(quantity, fit->noise[s], text, sizeof text),
                 s + 1 < fit->mapping.count ? "," : "\n");
  }
  if (fit->memory > 0.2) {
    (void)printf("WARNING what is left over is no noise (correlation %.2f from sample to sample): the model misses\n"
                 "something that the trace has; the intervals are widened for it, and may still be too narrow\n",
                 fit->memory);
  }
}

static void print_answer(const struct request *request, const struct case_data *data, const struct fit *fit) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %ld numbers of %d traces, %ld runs%s\n\n", paint.strong, shown(data->title).text, paint.plain,
               fit->residual_count, fit->trace_count, fit->runs, fit->converged ? "" : ", NOT CONVERGED");
  (void)printf("  %-34s %14s   %-28s %14s\n", "number", "found", "95 % interval", "in the case");
  bool all = true;
  for (int i = 0; i < fit->parameter_count; i++) {
    const struct fit_parameter *parameter = &fit->parameters[i];
    char value[64];
    char from[64];
    char to[64];
    char interval[140];
    char start[64];
    show(parameter, parameter->varied.value, start, sizeof start);
    if (!parameter->identified) {
      (void)printf("  %-34s %s%14s%s   %s\n", parameter->path, paint.bad, "NOT TOLD", paint.plain, parameter->why);
      all = false;
      continue;
    }
    (void)snprintf(interval, sizeof interval, "%s to %s", show(parameter, parameter->from, from, sizeof from),
                   show(parameter, parameter->to, to, sizeof to));
    (void)printf("  %-34s %14s   %-28s %14s\n", parameter->path, show(parameter, parameter->value, value, sizeof value),
                 interval, start);
  }
  for (int trace = 0; fit->shifts_fitted && trace < fit->trace_count; trace++) {
    (void)printf("  shift of trace %d: %+.6g s\n", trace + 1, fit->shifts[trace]);
  }
  print_noise(fit);
  print_pairs(fit);
  if (!all) {
    (void)printf("\nThe traces do not identify every number (condition %.2g). Fix the others at what is known of them\n"
                 "(--set), or bring a trace in which they act.\n",
                 fit->condition);
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
               shown(request->asked.output).text);
}

static void json_parameter(struct json *json, const struct fit *fit, int i) {
  const struct fit_parameter *parameter = &fit->parameters[i];
  json_begin_object(json, NULL);
  json_text(json, "path", parameter->path);
  json_text(json, "unit", quantity_rows[parameter->varied.ref.quantity].si_unit);
  json_bool(json, "identified", parameter->identified);
  json_number(json, "value", parameter->identified ? parameter->value : NAN);
  json_number(json, "from", parameter->identified ? parameter->from : NAN);
  json_number(json, "to", parameter->identified ? parameter->to : NAN);
  json_number(json, "deviation", parameter->identified ? parameter->deviation : NAN);
  json_number(json, "start", parameter->varied.value);
  json_number(json, "low", parameter->low);
  json_number(json, "high", parameter->high);
  json_text(json, "why", parameter->why);
  json_begin_list(json, "correlation");
  for (int k = 0; k < fit->parameter_count; k++) {
    json_number(json, NULL, fit->correlation[i][k]);
  }
  json_end_list(json);
  json_end_object(json);
}

static void json_answer(const struct request *request, const struct case_data *data, const struct fit *fit) {
  struct json json = {.out = stdout};
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "fit");
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_bool(&json, "converged", fit->converged);
  json_integer(&json, "runs", fit->runs);
  json_integer(&json, "numbers", fit->residual_count);
  json_number(&json, "condition", fit->condition);
  json_number(&json, "memory", fit->memory);
  json_begin_list(&json, "parameters");
  for (int i = 0; i < fit->parameter_count; i++) {
    json_parameter(&json, fit, i);
  }
  json_end_list(&json);
  json_begin_list(&json, "directions");
  for (int d = 0; d < fit->direction_count; d++) {
    json_begin_object(&json, NULL);
    json_number(&json, "deviation", fit->directions[d].deviation);
    json_bool(&json, "undetermined", fit->directions[d].undetermined);
    json_begin_list(&json, "parts");
    for (int i = 0; i < fit->parameter_count; i++) {
      json_number(&json, NULL, fit->directions[d].parts[i]);
    }
    json_end_list(&json);
    json_end_object(&json);
  }
  json_end_list(&json);
  json_begin_list(&json, "shifts");
  for (int trace = 0; trace < fit->trace_count; trace++) {
    json_number(&json, NULL, fit->shifts[trace]);
  }
  json_end_list(&json);
  json_begin_object(&json, "noise");
  for (int s = 0; s < fit->mapping.count; s++) {
    json_number(&json, fit->mapping.signals[s].row.name, fit->noise[s]);
  }
  json_end_object(&json);
  answers_json_end(&json, request->asked.output);
}

static int find_answer(void *context, struct case_data *data, const char *command) {
  const struct request *request = context;
  struct error error = {0};
  interrupt_catch();
  struct fit *fit = calloc(1, sizeof *fit);
  if (fit == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for the fit");
    return terminal_error(&error);
  }
  struct progress progress = progress_start(request->asked.quiet);
  struct watcher watcher = {&progress, answers_tick};
  bool good = fit_find(data, &request->options, &watcher, fit, &error);
  progress_clear(&progress);
  good = good && fit_write(fit, data, request->asked.output, command, &error);
  if (good && request->asked.json && !request->asked.quiet) {
    json_answer(request, data, fit);
  } else if (good && !request->asked.quiet) {
    print_answer(request, data, fit);
  }
  fit_free(fit);
  free(fit);
  return good ? EXIT_DONE : answers_fail(&error);
}

int command_fit(int argument_count, char **arguments) {
  static const struct answer_command command = {
      .name = "fit",
      .table =
          {
              .rows = options,
              .row_count = (int)(sizeof options / sizeof options[0]),
              .head =
                  "usage: swashloop fit CASE TRACE.csv... --map MAPPING.yaml --parameters PATH[=LOW..HIGH]... "
                  "[--json]\n\n"
                  "Finds numbers of a case from measured traces by least squares within bounds, with 95 % intervals "
                  "and\n"
                  "correlations. What the traces cannot tell is not claimed: such a number is named with the reason.\n"
                  "docs/fit.md.\n\n"
                  "  swashloop fit cases/valve/step.yaml bench.csv --map bench.yaml \\\n"
                  "    --parameters relief.setting --parameters relief.poppet_damping=\"100 N s/m..5000 N s/m\"\n\n",
              .tail = "\n" CAUTION "\n",
              .take_word = take_word,
          },
      .makes = OUTPUT_ANSWER,
      .takes_case = true,
      .check = check_request,
      .answer = find_answer,
  };
  struct request request = {.asked.ending = ".fit.h5"};
  int code = answers_command(&command, &request.asked, argument_count, arguments);
  words_free(&request.traces);
  return code;
}
