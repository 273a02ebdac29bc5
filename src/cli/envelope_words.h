/* An envelope told: as text, as JSON. */
#ifndef SWASHLOOP_CLI_ENVELOPE_WORDS_H
#define SWASHLOOP_CLI_ENVELOPE_WORDS_H

#include <stdio.h>

#include "envelope_told.h"
#include "json.h"

/* Where every limit is kept, what ends it where, and what it took. */
void envelope_print(FILE *out, const struct envelope_told *told, double seconds);
/* Members of the open object. */
void envelope_json(struct json *json, const struct envelope_told *told);
/* Done where some point keeps every limit; else that a limit is broken, or nothing judged. */
int envelope_exit(const struct envelope *envelope);

#endif
