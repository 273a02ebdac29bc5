/* Rows that an earlier table holds already: of the same case under the same values they are taken over, bit by bit, and
 * not run again. So a study gets more cases, another limit or a further measure for the cost of what is new. */
#ifndef SWASHLOOP_SWEEP_EARLIER_H
#define SWASHLOOP_SWEEP_EARLIER_H

#include "journal.h"
#include "plan.h"

struct earlier_order {
  const char *path; /* of the earlier table; its kept histories are in PATH.runs */
  const struct plan *plan;
  const struct journal_head *head;
  const char *runs_folder; /* where histories of this sweep go */
};

struct earlier_report {
  int64_t taken;
  int64_t again;     /* rows of this sweep's cases that lack something, so that their cases are run again */
  char lacking[200]; /* what they lack */
};

/* Append what can be taken to the journal, which may hold some already; NULL: only count. Fails when the table is of
 * another program, case, or of other things varied. */
bool earlier_take(const struct earlier_order *order, struct journal *journal, struct earlier_report *report,
                  struct error *error);

#endif
