/* Where a file of results comes from: the attributes that every one of them begins with. */
#ifndef SWASHLOOP_RESULTS_PROVENANCE_H
#define SWASHLOOP_RESULTS_PROVENANCE_H

#include "h5_write.h"
#include "output.h"
#include "plausibility.h"

enum { PROVENANCE_SIZE = 48 };

/* "swashloop 1.2.3, build 3f2a91c04d77-8b1e90". Rows of one table come from programs that say the same. */
const char *provenance_program(char buffer[PROVENANCE_SIZE]);
/* The mark of what is written, title, conventions, history, program, version and build; brought to the file at once, so
 * that a part is known for what it is. */
void provenance_write(hid_t file, enum output_kind kind, const char *title, const char *command, struct h5_log *log);
/* What is implausible about the case, a line each, as attribute `warnings`; none: an empty text. */
void provenance_warnings(hid_t file, const struct case_data *data, struct h5_log *log);
void provenance_warning_lines(hid_t file, const struct warnings *warnings, struct h5_log *log);
/* "2026-01-31T12:00:00Z: command", above the history of the file that this one was made of, if any. */
void provenance_history(hid_t file, const char *command, const char *earlier, struct h5_log *log);

#endif
