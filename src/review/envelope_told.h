/* An envelope with what its numbers mean: written, printed. */
#ifndef SWASHLOOP_REVIEW_ENVELOPE_TOLD_H
#define SWASHLOOP_REVIEW_ENVELOPE_TOLD_H

#include "envelope.h"
#include "probe.h"

struct envelope_told {
  const struct review *review;
  const struct envelope *envelope;
  const struct envelope_question *question;
  const struct probe_axis *axes;
  const struct parameter_ref *refs[ENVELOPE_AXES];
};

/* The value of a quantity at a place from 0 to 1, SI. */
double envelope_value(const struct envelope_told *told, int axis, double place);
/* What ends a run that is not kept: the sentence of a limit, or "not judged", "failed", "no limits". */
const char *envelope_label(const struct envelope_told *told, int label);
/* The label of a verdict; of a broken limit its number. */
int envelope_label_of(enum review_verdict verdict, int limit);
/* The file (layout: docs/files.md). */
bool envelope_write(const char *path, const struct envelope_told *told, const char *command, struct error *error);

#endif
