/* What the commands of analyses share: lists of named values, names of files, reading of an amount on the command line.
 */
#ifndef SWASHLOOP_CLI_ANSWERS_H
#define SWASHLOOP_CLI_ANSWERS_H

#include <stdio.h>

#include "error.h"
#include "field.h"
#include "json.h"
#include "run.h"
#include "terminal.h"

/* A list of values with units, those that are absent with the reason behind them. */
void answers_print(FILE *out, const struct signal *rows, int count, const double *values, const char (*absent)[96]);
void answers_json(struct json *json, const struct signal *rows, int count, const double *values,
                  const char (*absent)[96]);
/* "cases/downhill.yaml", "response" to "downhill.response.h5", to be freed. */
char *answers_output(const char *case_file, const char *kind);
/* Read the value of an option as an amount within bounds (SI), or fail naming the option. */
bool answers_amount(const char *option, enum quantity quantity, const char *text, double low, double high, double *si,
                    struct error *error);
/* A watcher's tick: progress on the terminal, stops at Ctrl-C; context is a struct progress. */
bool answers_tick(void *context, double time, double end_time);
/* Exit code of an error, 130 when it came of Ctrl-C; prints it. */
int answers_fail(const struct error *error);

#endif
