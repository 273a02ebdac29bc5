/* A number of a case that an analysis moves; or several that move together, `lines.volume_a+lines.volume_b`. */
#ifndef SWASHLOOP_ANALYSIS_VARIED_PARAMETER_H
#define SWASHLOOP_ANALYSIS_VARIED_PARAMETER_H

#include "case.h"
#include "parameter_ref.h"

enum { VARIED_TOGETHER = 4 };

struct varied_parameter {
  const char *path;         /* belongs to the caller */
  struct parameter_ref ref; /* the first */
  struct parameter_ref others[VARIED_TOGETHER - 1];
  int other_count;
  double value;          /* SI, in the case */
  double size;           /* SI, what counts as large: the value, or a fixed amount where a share means nothing */
  double change;         /* SI, by what an engineer would change it: a tenth, 10 K, 0.1 s */
  char change_words[48]; /* "10 %" */
};

/* Fails for what is no number of the machine: choices, settings of the run. */
bool varied_parameter_find(const struct case_data *data, const char *path, struct varied_parameter *varied,
                           struct error *error);
/* Move the number in a copy of the case that is the caller's own; no check. */
void varied_parameter_write(struct case_data *copy, const struct varied_parameter *varied, double si);
/* A copy of the case with the number moved to `si`; case_free it. Fails where a table's points would fall out of order.
 */
bool varied_parameter_put(const struct case_data *data, const struct varied_parameter *varied, double si,
                          struct case_data *copy, struct error *error);

#endif
