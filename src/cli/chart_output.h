/* Charts for people as tables in trade units, for programs as JSON in SI, and into the file of an answer. */
#ifndef SWASHLOOP_CLI_CHART_OUTPUT_H
#define SWASHLOOP_CLI_CHART_OUTPUT_H

#include <stdio.h>

#include "answer_file.h"
#include "chart.h"
#include "json.h"

/* One row a place on the first axis; `names` of columns and texts, `heads` over them. */
void chart_print_table(FILE *out, const struct chart *chart, const char *const *names, const char *const *heads,
                       int count);
/* Single values, one a line. */
void chart_print_values(FILE *out, const struct chart *chart);
/* As members of the open object: "axes", "columns", "texts". */
void chart_json(struct json *json, const struct chart *chart);
void chart_write(struct answer_file *file, const struct chart *chart);

#endif
