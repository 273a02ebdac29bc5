/* What a run found, for people on one page (trade units) and for programs as JSON (SI). */
#ifndef SWASHLOOP_CLI_SUMMARY_H
#define SWASHLOOP_CLI_SUMMARY_H

#include <stdio.h>

#include "run.h"

enum summary_form {
  SUMMARY_SHORT, /* the verdict */
  SUMMARY_LONG   /* and all that it rests on */
};

/* `file` is where the run was written. */
void summary_text(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file,
                  enum summary_form form);
void summary_json(FILE *out, const struct case_data *data, const struct outcome *outcome, const char *file);

#endif
