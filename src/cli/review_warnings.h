/* What is implausible about the cases of a review. */
#ifndef SWASHLOOP_CLI_REVIEW_WARNINGS_H
#define SWASHLOOP_CLI_REVIEW_WARNINGS_H

#include <stdio.h>

#include "review.h"

/* A line for each rule, with the first cell that it speaks of and how many more. */
void review_tell_warnings(FILE *out, const struct review *review);

#endif
