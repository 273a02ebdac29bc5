/* A review told: as text, as JSON. */
#ifndef SWASHLOOP_CLI_REVIEW_WORDS_H
#define SWASHLOOP_CLI_REVIEW_WORDS_H

#include <stdio.h>

#include "json.h"
#include "review_answer.h"

/* The matrix, what is not established and why, each limit's worst place. */
void review_print(FILE *out, const struct review_answer *answer);
/* What changed since an older review, the gravest first; "nothing" where nothing did. */
void review_print_changes(FILE *out, const struct review_answer *answer, const struct review_answer *older,
                          const char *older_file);
/* Members of the open object; `older` may be NULL. */
void review_json(struct json *json, const struct review_answer *answer, const struct review_answer *older,
                 const char *older_file);

/* "-8.0 %", "broken" where it has no value, "" where there is none. Returns the buffer. */
const char *review_margin_text(double margin, char *buffer, int size);

#endif
