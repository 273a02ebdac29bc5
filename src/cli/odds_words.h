/* Odds for people and as JSON. */
#ifndef SWASHLOOP_CLI_ODDS_WORDS_H
#define SWASHLOOP_CLI_ODDS_WORDS_H

#include <stdio.h>

#include "json.h"
#include "odds_answer.h"

/* What was found, and what was not established. `allowed` NaN: nothing was said of it. */
void odds_print(FILE *out, const struct odds_answer *answer, double allowed);
/* Members of the open object. */
void odds_json(struct json *json, const struct odds_answer *answer, double allowed);
/* The exit code, by what the intervals say of `allowed`. */
int odds_exit(const struct odds_answer *answer, double allowed);

#endif
