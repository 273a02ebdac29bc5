/* The events of a run in the summary: long repetitions of one are told once. */
#ifndef SWASHLOOP_CLI_SUMMARY_EVENTS_H
#define SWASHLOOP_CLI_SUMMARY_EVENTS_H

#include <stdio.h>

#include "case.h"
#include "run.h"

/* One line an event, or a repetition of one; the first and the last of many. */
void summary_events(FILE *out, const struct case_data *data, const struct outcome *outcome);

#endif
