/* What a run found, for people on one page (trade units) and for programs as JSON (SI). */
#ifndef SWASHLOOP_CLI_SUMMARY_H
#define SWASHLOOP_CLI_SUMMARY_H

#include <stdio.h>

#include "run.h"

/* `file` is where the run was written. */
void summary_text(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file);
void summary_json(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file);

/* Quantity of what a condition names: a signal, a measure or the clock. */
enum quantity summary_condition_quantity(const struct case_data *data, const struct condition *condition);

#endif
