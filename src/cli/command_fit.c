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

#define CLOSE 0.95 /* correlation from which a pair is told */

static const struct option_row options[] = {
    {"parameters", 'p', "PATH[=LOW..HIGH]", "a number to find, within bounds; may stand several times"},
    {"map", 'm', "MAPPING.yaml", "which column is which signal, as for compare"},
    {"starts", '\0', "COUNT", "search from so many more places within the bounds; default 0"},
    {"output", 'o', "FILE", "the file; default: the name of the case with .fit.h5, in the current folder"},
    {"set", '\0', "PATH=VALUE", "change a parameter after the case is read; may stand several times"},
    {"json", '\0', NULL, "print one JSON document, numbers in SI"},
    {"quiet", '\0', NULL, "print nothing but errors"},
    {"help", 'h', NULL, "print this"},
};

enum { PARAMETERS, MAP, STARTS, OUTPUT, SET, JSON, QUIET, HELP, OPTION_COUNT };

struct request {
  const char *case_file;
  const char *output;
  const char **sets;
  int set_count;
  const char **parameters;
  const char **traces;
  struct fit_wishes wishes;
  bool json;
  bool quiet;
  bool help;
};

static void print_help(void) {
  (void)fputs("usage: swashloop fit CASE TRACE.csv... --map MAPPING.yaml --parameters PATH[=LOW..HIGH]... [--json]\n\n"
              "Finds numbers of a case from measured traces by least squares within bounds, with 95 % intervals and\n"
              "correlations. What the traces cannot tell is not claimed: such a number is named with the reason.\n"
              "docs/fit.md.\n\n"
              "  swashloop fit cases/valve/step.yaml bench.csv --map bench.yaml \\\n"
              "    --parameters relief.setting --parameters relief.poppet_damping=\"100 N s/m..5000 N s/m\"\n\n",
              stdout);
  option_help(stdout, options, OPTION_COUNT);
  (void)fputs("\n" CAUTION "\n", stdout);
}

static bool read_starts(const char *text, struct request *request, struct error *error) {
  double count;
  if (!answers_amount("starts", QUANTITY_NUMBER, text, 0.0, 1000.0, &count, error)) {
    return false;
  }
  request->wishes.starts = (int)count;
  return true;
}

static bool read_request(int argument_count, char **arguments, struct request *request, struct error *error) {
  struct option_reader reader = {options, OPTION_COUNT, arguments, argument_count, 0, false, NULL};
  for (;;) {
    switch (option_next(&reader, error)) {
    case PARAMETERS:
      request->parameters[request->wishes.parameter_count++] = reader.value;
      break;
    case MAP:
      request->wishes.mapping = reader.value;
      break;
    case STARTS:
      if (!read_starts(reader.value, request, error)) {
        return false;
      }
      break;
    case OUTPUT:
      request->output = reader.value;
      break;
    case SET:
      request->sets[request->set_count++] = reader.value;
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
      if (request->case_file == NULL) {
        request->case_file = reader.value;
      } else {
        request->traces[request->wishes.trace_count++] = reader.value;
      }
      break;
    case OPTION_END:
      if (request->case_file == NULL || request->wishes.trace_count == 0 || request->wishes.mapping == NULL) {
        return error_set(error, ERROR_USAGE, "%s? usage: swashloop fit CASE TRACE.csv... --map MAPPING.yaml",
                         request->case_file == NULL         ? "which case"
                         : request->wishes.trace_count == 0 ? "which trace"
                                                            : "which mapping");
      }
      return true;
    default:
      return false;
    }
  }
}

/* In the unit of the trade, with as many digits as the interval leaves. */
static const char *show(const struct fit_parameter *parameter, double si, char *text, int size) {
  enum quantity quantity = parameter->chosen.slot.quantity;
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
        (void)printf("%s  %s and %s: correlation %+.3f, they are told apart only by little\n",
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
  (void)printf("%s%s%s   %ld numbers of %d traces, %ld runs%s\n\n", paint.strong, data->title, paint.plain,
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
    show(parameter, parameter->chosen.value, start, sizeof start);
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
    (void)printf(
        "\nThe traces do not tell every number (condition %.2g). Fix the ones not told at what is known of them\n"
        "(--set), or bring a trace in which they act.\n",
        fit->condition);
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", request->output, request->output);
}

static void json_parameter(struct json *json, const struct fit *fit, int i) {
  const struct fit_parameter *parameter = &fit->parameters[i];
  json_begin_object(json, NULL);
  json_text(json, "path", parameter->path);
  json_text(json, "unit", quantity_rows[parameter->chosen.slot.quantity].si_unit);
  json_bool(json, "identified", parameter->identified);
  json_number(json, "value", parameter->identified ? parameter->value : NAN);
  json_number(json, "from", parameter->identified ? parameter->from : NAN);
  json_number(json, "to", parameter->identified ? parameter->to : NAN);
  json_number(json, "deviation", parameter->identified ? parameter->deviation : NAN);
  json_number(json, "start", parameter->chosen.value);
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
  json_text(&json, "file", request->output);
  json_text(&json, "swashloop_version", SWASHLOOP_VERSION);
  json_text(&json, "caution", CAUTION);
  json_end_object(&json);
  (void)fputc('\n', stdout);
}

static int find_answer(const struct request *request, struct case_data *data, const char *command) {
  struct error error = {0};
  struct fit *fit = calloc(1, sizeof *fit);
  if (fit == NULL) {
    return EXIT_RUN_FAILED;
  }
  struct progress progress = progress_start(request->quiet);
  struct watcher watcher = {&progress, answers_tick};
  bool good = fit_find(data, &request->wishes, &watcher, fit, &error);
  progress_clear(&progress);
  good = good && fit_write(fit, data, request->output, command, &error);
  if (good && request->json && !request->quiet) {
    json_answer(request, data, fit);
  } else if (good && !request->quiet) {
    print_answer(request, data, fit);
  }
  fit_free(fit);
  free(fit);
  return good ? EXIT_DONE : answers_fail(&error);
}

int command_fit(int argument_count, char **arguments) {
  struct error error = {0};
  struct case_data data;
  struct request request = {0};
  size_t room = (size_t)argument_count + 1;
  const char **words = calloc(3 * room, sizeof *words);
  char *command = option_command_line("swashloop fit", argument_count, arguments);
  char *output = NULL;
  int code = EXIT_DONE;
  request.sets = words;
  request.parameters = words != NULL ? words + room : NULL;
  request.traces = words != NULL ? words + 2 * room : NULL;
  request.wishes.parameters = request.parameters;
  request.wishes.traces = request.traces;
  if (words == NULL || command == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!read_request(argument_count, arguments, &request, &error) ||
             (!request.help && !case_load(request.case_file, request.sets, request.set_count, &data, &error))) {
    code = terminal_error(&error);
  } else if (request.help) {
    print_help();
  } else {
    output = answers_output(request.case_file, "fit");
    request.output = request.output != NULL ? request.output : output;
    interrupt_catch();
    code = find_answer(&request, &data, command);
    case_free(&data);
  }
  units_close();
  free(output);
  free(command);
  free(words);
  return code;
}
