/* What may be and yet is seldom meant: settings that contradict each other, numbers beyond what machines have, and
 * parameters that can have no effect. It refuses nothing. */
#ifndef SWASHLOOP_PLAUSIBILITY_PLAUSIBILITY_H
#define SWASHLOOP_PLAUSIBILITY_PLAUSIBILITY_H

#include "case.h"

enum { WARNING_LIMIT = 48, WARNING_WORDS = 400 };

struct warning {
  const char *name;          /* of the rule */
  const char *source;        /* where the rule comes from */
  const char *file;          /* where the case says it, or NULL */
  int line;                  /* from 1, with `file`; 0: on the command line */
  int column;                /* from 1 */
  char words[WARNING_WORDS]; /* one sentence with numbers and units */
};

struct warnings {
  int count;
  int left_out; /* further ones */
  struct warning at[WARNING_LIMIT];
};

/* All that can be said of a case. The case must outlive the warnings. */
void plausibility_check(const struct case_data *data, struct warnings *warnings);
/* Can this parameter have no effect on the case? Then a warning is added that says who sets it: "is set", "is varied".
 */
void plausibility_no_effect(const struct case_data *data, const struct group *group, const struct field *field,
                            const char *who, struct warnings *warnings);
/* The next free place, or NULL when there is none. */
struct warning *plausibility_add(struct warnings *warnings, const char *name, const char *source);
/* "file:line:column: warning: words (name)" or without the place, into `buffer`. */
const char *plausibility_text(const struct warning *warning, char *buffer, int size);
/* All of them, a line each, to be freed; NULL when memory is out, "" without any. */
char *plausibility_lines(const struct warnings *warnings);

#endif
