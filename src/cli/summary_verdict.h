/* The verdict: what a run means for the case's limits, in about ten lines. */
#ifndef SWASHLOOP_CLI_SUMMARY_VERDICT_H
#define SWASHLOOP_CLI_SUMMARY_VERDICT_H

#include <stdio.h>

#include "run.h"
#include "terminal.h"

/* Limits and the narrowest margins, the stop, the peaks by the names that limits use, hunting, the three balances. */
void summary_verdict(FILE *out, const struct paint *paint, const struct case_data *data, const struct outcome *outcome);

#endif
