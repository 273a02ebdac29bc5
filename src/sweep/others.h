/* What rank 0 knows of the other ranks: when it heard of each, which spans it gave them, the history that one is
 * sending. A rank that has not been heard of for long is given up, and its spans are dealt again. */
#ifndef SWASHLOOP_SWEEP_OTHERS_H
#define SWASHLOOP_SWEEP_OTHERS_H

#include "communicator.h"
#include "draft.h"
#include "pool.h"

/* s; a rank speaks every tenth of it at least. */
#define OTHERS_PATIENCE 60.0

struct other {
  double heard; /* s, by the clock of rank 0 */
  bool gone;    /* it has said goodbye, or is lost */
  bool lost;
  struct span *spans; /* dealt, rows not come */
  int span_count;
  int span_room;
  struct draft history; /* being received */
  bool receiving;
  int64_t left; /* bytes of it to come */
};

struct others {
  struct other *list; /* by rank; the first is rank 0 itself */
  int count;
  double patience; /* s */
  double looked;   /* s, when silence was last looked for */
};

/* All are there at `now`. Close it either way. */
bool others_open(struct others *others, int count, double patience, double now, struct error *error);
/* What a rank was still sending is dropped. */
void others_close(struct others *others);
/* A span was dealt to a rank; false: memory is out. */
bool others_gave(struct others *others, int rank, struct span span, struct error *error);
/* Its rows have come. */
void others_returned(struct others *others, int rank, int64_t first);
/* A rank that is to be given up now, or -1. Time in which nobody listened counts for nobody. */
int others_silent(struct others *others, double now);
/* A piece of a history into its file. */
bool others_take_history(struct others *others, int rank, const struct message_head *piece, const void *payload,
                         const char *folder, struct error *error);

#endif
