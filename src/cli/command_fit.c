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

#define CLOSE 0.95      /* correlation from which a pair is reported */
#define RIVAL_TOLD 30.0 /* worse minima are counted only */

enum { OUTLIERS_TOLD = 6, USUAL_STARTS = 8 };

struct request {
  struct asked asked;
  struct words parameters;
  struct words traces;
  struct words tests;
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

static bool read_loss(void *context, const char *text, struct error *error) {
  struct request *request = context;
  for (int i = 0; i < LOSS_COUNT; i++) {
    if (strcmp(text, loss_names[i]) == 0) {
      request->options.loss = (enum loss)i;
      return true;
    }
  }
  return error_set(error, ERROR_USAGE, "--loss: found '%s', expected normal, student or huber", text);
}

static const struct option_row options[] = {
    OPTION_WORDS("parameters", 'p', "PATH[=LOW..HIGH]", parameters,
                 "a number to find, within bounds; may stand several times"),
    OPTION_INPUT("map", 'm', "MAPPING.yaml", options.mapping, "which column is which signal, as for compare"),
    OPTION_READ("starts", '\0', "COUNT", read_starts, "look at so many more places within the bounds; default 8"),
    OPTION_READ("loss", '\0', "LOSS", read_loss,
                "errors are normal (default), student or huber: the latter two bear spikes"),
    OPTION_WORDS("test", '\0', "CASE,TRACE...,MAPPING", tests,
                 "a further test that the same numbers must explain; may stand several times"),
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
  request->options.tests = request->tests.list;
  request->options.test_count = request->tests.count;
  request->options.sets = request->asked.sets.list;
  request->options.set_count = request->asked.sets.count;
  if (request->asked.file == NULL || request->options.trace_count == 0 || request->options.mapping == NULL) {
    return error_set(error, ERROR_USAGE, "%s? usage: swashloop fit CASE TRACE... --map MAPPING.yaml",
                     request->asked.file == NULL         ? "which case"
                     : request->options.trace_count == 0 ? "which trace"
                                                         : "which mapping");
  }
  return true;
}

/* In the unit of the trade, with as many digits as the interval leaves. */
static const char *show(const struct fit_number *number, double si, char *text, int size) {
  enum quantity quantity = number->unknown.quantity;
  double trade = quantity_to_trade(quantity, si);
  double half = 0.5 * (number->to - number->from) / quantity_rows[quantity].scale;
  int digits = half > 0.0 && trade != 0.0 ? (int)ceil(log10(fabs(trade) / half)) + 1 : 4;
  const char *unit = quantity_rows[quantity].trade_unit;
  bool small = quantity == QUANTITY_TIME && fabs(trade) < 0.1;
  (void)snprintf(text, (size_t)size, "%.*g %s",
                 digits < 4    ? 4
                 : digits > 10 ? 10
                               : digits,
                 small ? 1e3 * trade : trade,
                 small                    ? "ms"
                 : strcmp(unit, "1") == 0 ? ""
                                          : unit);
  return text;
}

static void print_pairs(const struct fit *fit) {
  bool first = true;
  for (int i = 0; i < fit->number_count; i++) {
    for (int k = 0; k < i; k++) {
      if (fabs(fit->correlation[i][k]) > CLOSE && fit->numbers[i].unknown.kind != UNKNOWN_SHIFT) {
        (void)printf("%s  %s and %s: correlation %+.3f, the traces can hardly distinguish them\n",
                     first ? "\nWARNING\n" : "", fit->numbers[k].unknown.name, fit->numbers[i].unknown.name,
                     fit->correlation[i][k]);
        first = false;
      }
    }
  }
}

static const struct mapped *channel_of(const struct fit *fit, int mapping, int signal) {
  return &fit->observation.mappings[mapping].signals[signal];
}

static enum quantity difference(enum quantity quantity) {
  return quantity == QUANTITY_TEMPERATURE ? QUANTITY_TEMPERATURE_DIFFERENCE : quantity;
}

static void print_noise(const struct fit *fit) {
  (void)printf("\nerrors of the traces (%s):", fit->observation.loss == LOSS_NORMAL ? "standard deviation" : "scale");
  for (int n = 0; n < fit->observation.noise_count; n++) {
    const struct observation_noise *noise = &fit->observation.noises[n];
    const struct mapped *channel = channel_of(fit, noise->mapping, noise->signal);
    char text[64];
    (void)printf("%s %s %s", n > 0 ? "," : "", channel->row.name,
                 units_show(difference(channel->row.quantity), noise->scale, text, sizeof text));
    if (noise->quantum > 0.5 * noise->scale) {
      (void)printf(" before it is written in steps of %s",
                   units_show(difference(channel->row.quantity), noise->quantum, text, sizeof text));
    }
  }
  (void)printf("\n");
  if (fit->memory > 0.2) {
    (void)printf("WARNING what is left over is no noise (correlation %.2f from sample to sample): the model misses\n"
                 "something that the trace has; the intervals are widened for it, and may still be too narrow\n",
                 fit->memory);
  }
}

/* What else could be, and what the sensors seem to do. */
static void print_doubts(const struct fit *fit) {
  int told = 0;
  for (int r = 0; r < fit->rival_count; r++) {
    const struct fit_rival *rival = &fit->rivals[r];
    if (rival->worse > RIVAL_TOLD) {
      continue;
    }
    (void)printf("%sanother minimum, worse by %.3g (twice the logarithm of the likelihood)%s:", told++ == 0 ? "\n" : "",
                 rival->worse, rival->excluded ? "" : ", NOT EXCLUDED");
    for (int i = 0; i < fit->parameter_count; i++) {
      char text[64];
      (void)printf(" %s %s%s", fit->numbers[i].unknown.name,
                   show(&fit->numbers[i], rival->values[i], text, sizeof text),
                   i + 1 < fit->parameter_count ? "," : "\n");
    }
  }
  if (fit->rival_count > told) {
    (void)printf("%s%d %sother minim%s, the nearest worse by %.3g\n", told == 0 ? "\n" : "", fit->rival_count - told,
                 told > 0 ? "further " : "", fit->rival_count - told == 1 ? "um" : "a", fit->rivals[told].worse);
  }
  for (int f = 0; f < fit->diagnosis.count; f++) {
    (void)printf("%s  %s\n", f == 0 ? "\nWARNING what is left over looks as if\n" : "",
                 fit->diagnosis.findings[f].words);
  }
}

static void print_outliers(const struct fit *fit) {
  if (fit->outlier_count == 0) {
    return;
  }
  (void)printf("\n%ld outliers, more than %.1f times the scatter off%s:\n", fit->outlier_count, fit->outlier_limit,
               fit->observation.loss == LOSS_NORMAL ? " (--loss student bears them)" : "");
  for (int i = 0; i < FIT_OUTLIERS && i < fit->outlier_count && i < OUTLIERS_TOLD; i++) {
    const struct outlier *outlier = &fit->outliers[i];
    int test = fit->observation.traces[outlier->trace].test;
    const struct mapped *channel = channel_of(fit, fit->observation.tests[test].mapping, outlier->signal);
    char off[64];
    (void)printf("  trace %d at %.6g s: %s is %s off, %.0f times the scatter\n", outlier->trace + 1, outlier->time,
                 channel->row.name, units_show(difference(channel->row.quantity), -outlier->off, off, sizeof off),
                 outlier->over);
  }
  if (fit->outlier_count > OUTLIERS_TOLD) {
    (void)printf("  ... the rest is in the file\n");
  }
}

static void print_number(const struct fit *fit, int i, const struct paint *paint) {
  const struct fit_number *number = &fit->numbers[i];
  char value[64];
  char from[64];
  char to[64];
  char interval[140];
  char linear[80] = "";
  char start[64] = "";
  if (i < fit->parameter_count) {
    show(number, fit->parameters[i].varied.value, start, sizeof start);
  }
  if (!number->identified) {
    (void)printf("  %-34s %s%14s%s   %s\n", number->unknown.name, paint->bad, "NOT TOLD", paint->plain, number->why);
    return;
  }
  show(number, number->value, value, sizeof value);
  if (!number->established) {
    (void)printf("  %-34s %14s   %-28s %14s %14s\n      %sinterval NOT ESTABLISHED%s: %s\n", number->unknown.name,
                 value, "not established", "", start, paint->bad, paint->plain, number->why);
    return;
  }
  (void)snprintf(interval, sizeof interval, "%s to %s", show(number, number->from, from, sizeof from),
                 show(number, number->to, to, sizeof to));
  double scale = quantity_rows[number->unknown.quantity].scale;
  bool small = number->unknown.quantity == QUANTITY_TIME && fabs(number->value) < 0.1;
  (void)snprintf(linear, sizeof linear, "+- %.3g",
                 0.5 * (number->linear_to - number->linear_from) / scale * (small ? 1e3 : 1.0));
  (void)printf("  %-34s %14s   %-28s %14s %14s\n", number->unknown.name, value, interval, linear, start);
}

static void print_answer(const struct request *request, const struct case_data *data, const struct fit *fit) {
  struct paint paint = paint_for(stdout);
  (void)printf("%s%s%s   %ld numbers of %d traces, %ld runs%s\n\n", paint.strong, shown(data->title).text, paint.plain,
               fit->observation.count, fit->observation.trace_count, fit->observation.runs,
               fit->converged ? "" : ", NOT CONVERGED");
  (void)printf("  %-34s %14s   %-28s %14s %14s\n", "number", "found", "95 % interval (profile)", "linear",
               "in the case");
  bool all = true;
  for (int i = 0; i < fit->number_count; i++) {
    if (fit->numbers[i].unknown.kind == UNKNOWN_SHIFT) {
      (void)printf("  shift of trace %d: %+.6g s\n", fit->numbers[i].unknown.place + 1, fit->numbers[i].value);
      continue;
    }
    print_number(fit, i, &paint);
    all = all && fit->numbers[i].identified;
  }
  print_noise(fit);
  print_doubts(fit);
  print_outliers(fit);
  print_pairs(fit);
  if (!all) {
    (void)printf("\nThe traces do not identify every number (condition %.2g). Fix the others at what is known of them\n"
                 "(--set), or bring a trace in which they act.\n",
                 fit->condition);
  }
  (void)printf("\nfile %s   picture: tools/plot %s\n", shown(request->asked.output).text,
               shown(request->asked.output).text);
}

static void json_number_found(struct json *json, const struct fit *fit, int i, int first, int count) {
  const struct fit_number *number = &fit->numbers[i];
  json_begin_object(json, NULL);
  json_text(json, "path", number->unknown.name);
  json_text(json, "unit", quantity_rows[number->unknown.quantity].si_unit);
  json_bool(json, "identified", number->identified);
  json_bool(json, "established", number->established);
  json_number(json, "value", number->identified ? number->value : NAN);
  json_number(json, "from", number->established ? number->from : NAN);
  json_number(json, "to", number->established ? number->to : NAN);
  json_number(json, "linear_from", number->identified ? number->linear_from : NAN);
  json_number(json, "linear_to", number->identified ? number->linear_to : NAN);
  json_number(json, "deviation", number->identified ? number->deviation : NAN);
  json_number(json, "start", i < fit->parameter_count ? fit->parameters[i].varied.value : NAN);
  json_number(json, "low", number->unknown.low);
  json_number(json, "high", number->unknown.high);
  json_text(json, "why", number->why);
  json_begin_list(json, "correlation");
  for (int k = first; k < first + count; k++) {
    json_number(json, NULL, fit->correlation[i][k]);
  }
  json_end_list(json);
  json_end_object(json);
}

static void json_doubts(struct json *json, const struct fit *fit) {
  json_begin_list(json, "rivals");
  for (int r = 0; r < fit->rival_count; r++) {
    json_begin_object(json, NULL);
    json_number(json, "worse", fit->rivals[r].worse);
    json_bool(json, "excluded", fit->rivals[r].excluded);
    json_begin_list(json, "values");
    for (int i = 0; i < fit->number_count; i++) {
      json_number(json, NULL, fit->rivals[r].values[i]);
    }
    json_end_list(json);
    json_end_object(json);
  }
  json_end_list(json);
  json_begin_list(json, "findings");
  for (int f = 0; f < fit->diagnosis.count; f++) {
    answers_json_finding(json, &fit->observation, &fit->diagnosis.findings[f]);
  }
  json_end_list(json);
  json_integer(json, "outlier_count", fit->outlier_count);
  json_begin_list(json, "outliers");
  for (int i = 0; i < FIT_OUTLIERS && i < fit->outlier_count; i++) {
    const struct outlier *outlier = &fit->outliers[i];
    int test = fit->observation.traces[outlier->trace].test;
    json_begin_object(json, NULL);
    json_integer(json, "trace", outlier->trace + 1);
    json_text(json, "signal", channel_of(fit, fit->observation.tests[test].mapping, outlier->signal)->row.name);
    json_number(json, "time", outlier->time);
    json_number(json, "off", outlier->off);
    json_number(json, "over", outlier->over);
    json_end_object(json);
  }
  json_end_list(json);
}

static void json_noise(struct json *json, const struct fit *fit) {
  json_begin_object(json, "noise");
  for (int n = 0; n < fit->observation.noise_count; n++) {
    const struct observation_noise *noise = &fit->observation.noises[n];
    char name[200];
    (void)snprintf(name, sizeof name, noise->mapping == 0 ? "%s" : "%s of %s",
                   channel_of(fit, noise->mapping, noise->signal)->row.name,
                   fit->observation.mappings[noise->mapping].file);
    json_number(json, name, noise->scale);
  }
  json_end_object(json);
  json_begin_object(json, "quantum");
  for (int n = 0; n < fit->observation.noise_count; n++) {
    const struct observation_noise *noise = &fit->observation.noises[n];
    if (noise->mapping == 0) {
      json_number(json, channel_of(fit, 0, noise->signal)->row.name, noise->quantum);
    }
  }
  json_end_object(json);
}

static void json_answer(const struct request *request, const struct case_data *data, const struct fit *fit) {
  struct json json = {.out = stdout};
  int others = fit->number_count - fit->parameter_count;
  json_begin_object(&json, NULL);
  json_text(&json, "answer", "fit");
  json_text(&json, "title", data->title);
  json_text(&json, "case", data->source);
  json_text(&json, "loss", loss_names[fit->observation.loss]);
  json_bool(&json, "converged", fit->converged);
  json_integer(&json, "runs", fit->observation.runs);
  json_integer(&json, "numbers", fit->observation.count);
  json_number(&json, "condition", fit->condition);
  json_number(&json, "memory", fit->memory);
  json_number(&json, "unrest", fit->unrest);
  json_begin_list(&json, "parameters");
  for (int i = 0; i < fit->parameter_count; i++) {
    json_number_found(&json, fit, i, 0, fit->parameter_count);
  }
  json_end_list(&json);
  json_begin_list(&json, "sensors");
  for (int i = fit->parameter_count; i < fit->number_count; i++) {
    json_number_found(&json, fit, i, fit->parameter_count, others);
  }
  json_end_list(&json);
  json_begin_list(&json, "directions");
  for (int d = 0; d < fit->direction_count; d++) {
    json_begin_object(&json, NULL);
    json_number(&json, "deviation", fit->directions[d].deviation);
    json_bool(&json, "undetermined", fit->directions[d].undetermined);
    json_begin_list(&json, "parts");
    for (int i = 0; i < fit->number_count; i++) {
      json_number(&json, NULL, fit->directions[d].parts[i]);
    }
    json_end_list(&json);
    json_end_object(&json);
  }
  json_end_list(&json);
  json_begin_list(&json, "shifts");
  for (int trace = 0; trace < fit->observation.trace_count; trace++) {
    json_number(&json, NULL, fit_shift(fit, trace));
  }
  json_end_list(&json);
  json_begin_list(&json, "guessed");
  for (int trace = 0; trace < fit->observation.trace_count; trace++) {
    json_text(&json, NULL, fit->observation.traces[trace].measured.told.text);
  }
  json_end_list(&json);
  json_noise(&json, fit);
  json_doubts(&json, fit);
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
  struct watcher watcher = {&progress, answers_tick, 0.0};
  bool good = fit_find(data, &request->options, &watcher, fit, &error);
  progress_clear(&progress);
  for (int trace = 0; good && !request->asked.quiet && trace < fit->observation.trace_count; trace++) {
    answers_told(fit->observation.traces[trace].file, &fit->observation.traces[trace].measured.told);
  }
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
                  "usage: swashloop fit CASE TRACE... --map MAPPING.yaml --parameters PATH[=LOW..HIGH]... "
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
  struct request request = {.asked.ending = ".fit.h5", .options.starts = USUAL_STARTS};
  int code = answers_command(&command, &request.asked, argument_count, arguments);
  words_free(&request.traces);
  return code;
}
