/* The legs of a course, for people. */
#ifndef SWASHLOOP_CLI_SUMMARY_LEGS_H
#define SWASHLOOP_CLI_SUMMARY_LEGS_H

#include <stdio.h>

#include "run.h"

/* A line a leg, and what the whole course came to. */
void summary_legs(FILE *out, const struct plant *plant, const struct outcome *outcome);

#endif
