/* What the commands of analyses share: how one goes from its arguments to its exit code, lists of named values, the end
 * of a JSON document. */
#ifndef SWASHLOOP_CLI_ANSWERS_H
#define SWASHLOOP_CLI_ANSWERS_H

#include <stdio.h>

#include "error.h"
#include "field.h"
#include "json.h"
#include "options.h"
#include "run.h"
#include "terminal.h"
#include "told.h"

/* A value with its unit: short times in milliseconds, all else as everywhere. Returns the buffer. */
const char *answers_show(enum quantity quantity, double value, char *buffer, int size);
/* A list of values with units, those that are absent with the reason behind them. */
void answers_print(FILE *out, const struct signal *rows, int count, const double *values, const char (*absent)[96]);
void answers_json(struct json *json, const struct signal *rows, int count, const double *values,
                  const char (*absent)[96]);
/* The list `warnings`: name, words, source. */
void answers_json_warnings(struct json *json, const struct warnings *warnings);
/* What was guessed of a file, one line on standard error; nothing where nothing was. */
void answers_told(const char *file, const struct told *told);
/* What a comparison or a fit found of a sensor, into the open list. */
struct observation;
struct finding;
void answers_json_finding(struct json *json, const struct observation *observation, const struct finding *finding);
/* A watcher's tick: progress on the terminal, stops at Ctrl-C and when memory was refused; context is a struct
 * progress. */
bool answers_tick(void *context, double time, double end_time);
/* Exit code of an error, 130 when it came of Ctrl-C; prints it. */
int answers_fail(const struct error *error);

/* What made a document and how it is laid out. */
void answers_json_about(struct json *json);
/* The last members of a document, and its end. */
void answers_json_end(struct json *json, const char *file);

struct answer_command {
  const char *name;
  struct option_table table;
  enum output_kind makes;
  bool takes_case;
  bool guarded; /* reads files that may be anything: in a process of its own, guarded.h */
  /* Of what was asked, when it is no help: is it whole, does it go together? */
  bool (*check)(void *request, struct error *error);
  /* The exit code. The case is NULL for a command that takes none. */
  int (*answer)(void *request, struct case_data *data, const char *command_line);
};
/* Read the arguments into `request`, then answer. Returns the exit code. */
int answers_command(const struct answer_command *command, struct asked *request, int argument_count, char **arguments);

#endif
