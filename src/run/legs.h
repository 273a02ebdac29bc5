/* The legs of a course, one after the other: when and where each began and ended, and what the ledger took meanwhile.
 */
#ifndef SWASHLOOP_RUN_LEGS_H
#define SWASHLOOP_RUN_LEGS_H

#include "workspace.h"

/* Signals that are read at the ends of legs. */
bool legs_open(struct run_workspace *run, struct error *error);
/* After the mode may have changed at the instant `at`: a phase that has ended is closed, the next one opened. */
bool legs_note(struct run_workspace *run, const struct sample *at, struct error *error);
/* The run is over: what is under way ends here, unfinished. */
void legs_end(struct run_workspace *run, const struct sample *at);

#endif
