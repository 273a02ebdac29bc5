/* A file while it is made: written as NAME.part, it gets its name only when it is whole and on the disk. What stands
 * under the name before is either left as it is or replaced in one step, its permissions kept. A name that is a link is
 * written through: the file behind it is replaced, the link stays. */
#ifndef SWASHLOOP_FILES_DRAFT_H
#define SWASHLOOP_FILES_DRAFT_H

#include <stdbool.h>

#include "error.h"

struct open_draft;

struct draft {
  char *path;                /* the file wanted, links followed */
  char *part;                /* the file being written */
  int descriptor;            /* of the part; locked as long as it is open */
  struct open_draft *listed; /* its place in the list of draft_share; NULL: in none */
};

enum draft_fate {
  DRAFT_REMOVE,    /* nothing was made */
  DRAFT_NAME,      /* give it its name */
  DRAFT_LEAVE_PART /* it stays NAME.part, for something better has the name */
};

/* Create the part, so that a target that the last step could not replace is found before the work. What a killed
 * program left of its own is cleared away; anything else in the way (a link, a file of others, one that is being
 * written) is an error. */
bool draft_open(struct draft *draft, const char *path, struct error *error);
/* On failure nothing is left but what was there before. */
bool draft_close(struct draft *draft, enum draft_fate fate, struct error *error);
/* Lock an open file for this process alone; false: another has it, and for longer than one that was just killed takes
 * to end. */
bool draft_lock(int descriptor);

/* Keep a list of the drafts that are open, in memory that processes forked from now on share; false: there is none. */
bool draft_share(void);
/* Remove the parts that are on that list: those of a process that died. It asks for no memory. */
void draft_clear_shared(void);

#endif
