/* A tuning told: as text, as JSON. */
#ifndef SWASHLOOP_CLI_TUNE_WORDS_H
#define SWASHLOOP_CLI_TUNE_WORDS_H

#include <stdio.h>

#include "json.h"
#include "tuning.h"

/* The verdict first, then settings, what binds, what each change did, how the starts ended. */
void tune_print(FILE *out, const struct tuning *tuning, const struct tuning_answer *answer, double seconds);
/* Members of the open object. */
void tune_json(struct json *json, const struct tuning *tuning, const struct tuning_answer *answer);
/* Exit code of an answer. */
int tune_exit(const struct tuning *tuning, const struct tuning_answer *answer);

#endif
