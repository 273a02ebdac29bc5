/* The limits of a case in the summary: each with what was found, the worst first. */
#ifndef SWASHLOOP_CLI_SUMMARY_LIMITS_H
#define SWASHLOOP_CLI_SUMMARY_LIMITS_H

#include <stdio.h>

#include "json.h"
#include "run.h"
#include "terminal.h"

/* A limit and by how much of its level it is broken; less than 0: what is left of it. */
struct ranked_limit {
  int index;
  double excess;
};

/* Those with this verdict, the worst first; returns how many. `ranks` has room for all limits of the case. */
int summary_rank(const struct case_data *data, const struct outcome *outcome, enum limit_verdict verdict,
                 struct ranked_limit *ranks);
/* One line: verdict, sentence, the worst value and when. */
void summary_limit(FILE *out, const struct paint *paint, const struct case_data *data, const struct outcome *outcome,
                   int index);
/* All of them: broken, not judged, kept. */
void summary_limits(FILE *out, const struct paint *paint, const struct case_data *data, const struct outcome *outcome);

/* The list `limits` of a JSON document (summary_json.c). */
void summary_json_limits(struct json *json, const struct case_data *data, const struct outcome *outcome);
/* What a finished run's limits make of the exit code: broken, not judged, or done. */
int summary_limits_exit(const struct outcome *outcome);

#endif
