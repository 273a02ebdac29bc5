/* A whole sweep: cases dealt out, rows into the journal, the table at the end. */
#ifndef SWASHLOOP_SWEEP_SWEEP_H
#define SWASHLOOP_SWEEP_SWEEP_H

#include "communicator.h"
#include "earlier.h"
#include "plan.h"

struct sweep_progress {
  int64_t done; /* of this shard, earlier ones included */
  int64_t wanted;
  int64_t failed; /* of this time */
  double rate;    /* cases a second of wall time; 0 unknown */
  double left;    /* s; NaN unknown */
};

struct journal;
struct journal_head;

struct sweep_order {
  const struct plan *plan;
  const char *output;  /* the table; the journal is OUTPUT.journal, histories go to OUTPUT.runs */
  const char *command; /* for `history` */
  const char *earlier; /* a table whose rows are taken where they are this study's; NULL: none */
  int jobs;
  int64_t shard; /* 0 to shards - 1 */
  int64_t shards;
  bool resume;
  const struct communicator *communicator; /* NULL: alone */
  double patience;                         /* s, with a rank that is not heard of; 0: OTHERS_PATIENCE */
  void *context;
  bool (*stop)(void *context); /* has the user or the cluster asked to end? */
  void (*progress)(void *context, const struct sweep_progress *progress);
  /* Writes the output from the whole, sorted journal, as table_write does, which is taken where this is NULL. */
  bool (*write)(const struct sweep_order *order, const struct journal_head *head, const struct journal *journal,
                int64_t *failed, struct error *error);
};

struct sweep_report {
  int64_t wanted;                /* cases of this shard */
  int64_t before;                /* of them found in the journal */
  int64_t done;                  /* all in all */
  struct earlier_report earlier; /* rows of an earlier table */
  int64_t failed;                /* all in all once the table is written, else of this time */
  int64_t side_by_side;          /* of those in the table, cases that ran beside others */
  int64_t dropped_bytes;         /* torn end of the journal */
  int64_t damaged_bytes;         /* of the journal before its end, passed over */
  int64_t lost_cases;            /* that stood in both, as far as can be told; they are run again */
  int lost_ranks;                /* given up; others ran their cases */
  bool stopped;                  /* asked to end before all was done */
  bool there;                    /* the table was there already */
  double seconds;                /* wall time */
  double busy;                   /* processor s of all threads on all ranks, journal and table included */
  double integration;            /* s of those within the runs */
  double worked;                 /* wall s that threads were at work; they waited for the rest of theirs */
};

/* Are histories of any of its cases kept? */
bool sweep_keeps_any(const struct plan *plan);
/* Returns false when the output could not be written or nothing could be started; what was finished is kept in the
 * journal. */
bool sweep_run(const struct sweep_order *order, struct sweep_report *report, struct error *error);

/* How many rows of order->earlier would be taken. */
bool sweep_count_earlier(const struct sweep_order *order, struct earlier_report *report, struct error *error);

/* For a rank that cannot take part at all (its study could not be read): the others are told, and end. */
void sweep_absent(const struct communicator *communicator, const char *why);

/* Positions of a shard. */
int64_t sweep_shard_size(int64_t cases, int64_t shard, int64_t shards);

#endif
