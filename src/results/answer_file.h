/* The file of an analysis: axes, columns along them, single values, in groups; the rules of a run file (docs/files.md)
 * hold for it. Failures are noted and reported at the end, so that a writer reads as a list. */
#ifndef SWASHLOOP_RESULTS_ANSWER_FILE_H
#define SWASHLOOP_RESULTS_ANSWER_FILE_H

#include <stdbool.h>
#include <stdint.h>

#include "error.h"
#include "field.h"

struct answer_file;

/* What a number is: name, quantity, pressure reference and long name as of a signal; `unit` NULL, or the SI unit where
 * no quantity has it (a derivative). */
struct answer_meaning {
  struct signal row;
  const char *unit;
};

/* `kind` says which answer it is ("response"); `case_text` is the resolved case or NULL; `command` the command line. */
struct answer_file *answer_open(const char *path, const char *kind, const char *title, const char *case_text,
                                const char *command, struct error *error);
/* Everything below lies in the group opened last; "" is the root. Groups do not nest. */
void answer_group(struct answer_file *file, const char *name, const char *text);
/* An axis; `values` NULL: counted from 0. Columns find it by its name in their own group or the root. */
void answer_axis(struct answer_file *file, const struct answer_meaning *meaning, int count, const double *values);
void answer_column(struct answer_file *file, const struct answer_meaning *meaning, const char *axis, int count,
                   const double *values);
/* Along two axes, the second running fastest. */
void answer_grid(struct answer_file *file, const struct answer_meaning *meaning, const char *const axes[2],
                 const int counts[2], const double *values);
void answer_texts(struct answer_file *file, const char *name, const char *text, const char *axis, int count,
                  const char *const *values);
/* `reason`: why the value is NaN, or NULL. */
void answer_value(struct answer_file *file, const struct answer_meaning *meaning, double value, const char *reason);
/* Attribute of a file whose samples were thinned: straight lines between them stay within this share of each signal's
 * range. */
#define ANSWER_STRAIGHT_LINES "straight_lines_within"
/* A number, attribute of the group (or the file, before the first). */
void answer_share(struct answer_file *file, const char *name, double share);
/* A whole number, likewise. */
void answer_count(struct answer_file *file, const char *name, int64_t count);
/* A text, likewise. */
void answer_words(struct answer_file *file, const char *name, const char *words);
/* It holds less than was asked for: the attribute `status` says interrupted in place of complete. */
void answer_interrupted(struct answer_file *file);
/* Close and give the file its name. Frees in any case; on failure nothing is left behind. */
bool answer_close(struct answer_file *file, struct error *error);
/* Give it up: nothing is left. */
void answer_abandon(struct answer_file *file);

#endif
