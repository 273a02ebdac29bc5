#include "answers.h"

#include <math.h>
#include <stdlib.h>

#include "commands.h"
#include "diagnosis.h"
#include "guarded.h"
#include "interrupt.h"
#include "memory_watch.h"
#include "text.h"
#include "units.h"

const char *answers_show(enum quantity quantity, double value, char *buffer, int size) {
  if (quantity == QUANTITY_TIME && fabs(value) < 1.0) {
    (void)snprintf(buffer, (size_t)size, "%.4g ms", 1e3 * value);
    return buffer;
  }
  return units_show(quantity, value, buffer, size);
}

void answers_print(FILE *out, const struct signal *rows, int count, const double *values, const char (*absent)[96]) {
  for (int i = 0; i < count; i++) {
    char shown[64];
    if (isnan(values[i])) {
      (void)fprintf(out, "  %-22s %14s   %s\n", rows[i].name, "none", absent[i]);
    } else {
      answers_show(rows[i].quantity, values[i], shown, sizeof shown);
      (void)fprintf(out, "  %-22s %14s   %s\n", rows[i].name, shown, rows[i].text);
    }
  }
}

void answers_json(struct json *json, const struct signal *rows, int count, const double *values,
                  const char (*absent)[96]) {
  for (int i = 0; i < count; i++) {
    json_begin_object(json, rows[i].name);
    json_number(json, "value", values[i]);
    json_text(json, "unit", quantity_rows[rows[i].quantity].si_unit);
    if (rows[i].reference != REFERENCE_NONE) {
      json_text(json, "reference", reference_names[rows[i].reference]);
    }
    json_text(json, "text", rows[i].text);
    if (isnan(values[i])) {
      json_text(json, "reason", absent[i]);
    }
    json_end_object(json);
  }
}

void answers_json_warnings(struct json *json, const struct warnings *warnings) {
  json_begin_list(json, "warnings");
  for (int i = 0; i < warnings->count; i++) {
    json_begin_object(json, NULL);
    json_text(json, "name", warnings->at[i].name);
    json_text(json, "words", warnings->at[i].words);
    json_text(json, "source", warnings->at[i].source);
    json_end_object(json);
  }
  json_end_list(json);
}

void answers_told(const char *file, const struct told *told) {
  if (told->text[0] != '\0') {
    (void)fprintf(stderr, "%s: guessed: %s\n", shown(file).text, told->text);
  }
}

void answers_json_finding(struct json *json, const struct observation *observation, const struct finding *finding) {
  const struct unknown *unknown = &finding->unknown;
  bool of_channel = unknown->kind == UNKNOWN_SENSOR;
  json_begin_object(json, NULL);
  json_text(json, "words", finding->words);
  json_text(json, "signal",
            of_channel ? observation->mappings[unknown->place].signals[unknown->signal].row.name : NULL);
  json_text(json, "term", sensor_rows[unknown->term].name);
  json_text(json, "unit", quantity_rows[unknown->quantity].si_unit);
  json_number(json, "value", finding->value);
  json_number(json, "from", finding->from);
  json_number(json, "to", finding->to);
  json_end_object(json);
}

bool answers_tick(void *context, double time, double end_time) {
  progress_show(context, time, end_time);
  return !interrupt_seen() && memory_refusals() == 0;
}

int answers_fail(const struct error *error) {
  if (interrupt_seen()) {
    (void)fputs("interrupted; nothing was written\n", stderr);
    return EXIT_INTERRUPTED;
  }
  return terminal_error(error);
}

/* Of all documents: one more when a member changes its name, its unit or its meaning; members that are added change
 * nothing. */
enum { DOCUMENT_VERSION = 1 };

void answers_json_about(struct json *json) {
  json_text(json, "swashloop_version", SWASHLOOP_VERSION);
  json_integer(json, "document_version", DOCUMENT_VERSION);
}

void answers_json_end(struct json *json, const char *file) {
  json_text(json, "file", file);
  answers_json_about(json);
  json_text(json, "caution", CAUTION);
  json_end_object(json);
}

struct answering {
  const struct answer_command *command;
  struct asked *request;
  struct case_data *data;
  const char *command_line;
};

static int answer_now(void *context) {
  const struct answering *answering = context;
  return answering->command->answer(answering->request, answering->data, answering->command_line);
}

/* Everything is read and good. */
static int answer(const struct answer_command *command, struct asked *request, const char *command_line) {
  struct error error = {0};
  struct case_data data;
  char *output = NULL;
  struct faults faults;
  if (command->takes_case &&
      !case_load_telling(request->file, request->sets.list, request->sets.count, &data, &faults)) {
    return terminal_faults(&faults);
  }
  int code;
  if (request->output == NULL && request->ending != NULL) {
    output = option_default_file(request->file, request->ending);
    request->output = output;
  }
  if (request->output == NULL && request->ending != NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (request->output != NULL &&
             !option_check_output(request, command->makes, false, command->takes_case ? data.inputs : NULL, &error)) {
    code = terminal_error(&error);
  } else {
    struct answering answering = {command, request, command->takes_case ? &data : NULL, command_line};
    struct guard guard = {request->reads.list, request->reads.count, command->guarded};
    code = guarded_run(answer_now, &answering, &guard);
  }
  if (command->takes_case) {
    case_free(&data);
  }
  free(output);
  return code;
}

int answers_command(const struct answer_command *command, struct asked *request, int argument_count, char **arguments) {
  struct error error = {0};
  char *command_line = option_command_line(command->name, argument_count, arguments);
  int code = EXIT_DONE;
  if (command_line == NULL) {
    error_set(&error, ERROR_MEMORY, "no memory for names");
    code = terminal_error(&error);
  } else if (!options_read(&command->table, argument_count, arguments, request, &error) ||
             (!request->help && !command->check(request, &error))) {
    code = terminal_error(&error);
  } else if (request->help) {
    options_help(&command->table);
  } else {
    code = answer(command, request, command_line);
  }
  options_free(&command->table, request);
  free(command_line);
  return code;
}
