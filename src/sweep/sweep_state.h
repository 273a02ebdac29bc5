/* Inside the sweep: what the parts of a sweep under way share. */
#ifndef SWASHLOOP_SWEEP_SWEEP_STATE_H
#define SWASHLOOP_SWEEP_SWEEP_STATE_H

#include <time.h>

#include "histories.h"
#include "journal.h"
#include "others.h"
#include "pool.h"
#include "sweep.h"
#include "work_queue.h"

enum { PATH_LIMIT = HISTORIES_PATH };

/* How long the dealing thread sleeps while nothing finishes. Alone it checks only for a wish to stop; in a communicator
 * for messages, too, which costs: often after something came, then ever less often. */
#define SLEEP_ALONE 0.1
#define SLEEP_RANKS_LEAST 1e-3
#define SLEEP_RANKS_MOST 0.05
#define SLEEP_RANKS_FED 0.5

/* An ask and its answer take a few of the shortest naps: a span between ranks should take longer, s. */
#define SPAN_SECONDS_RANKS 5e-3

/* Between two times that the journal is brought to the disk, s. */
#define SYNC_SECONDS 0.25

struct sweep {
  const struct sweep_order *order;
  struct sweep_report *report;
  struct error *error;
  char journal_path[PATH_LIMIT];
  char runs_folder[PATH_LIMIT];
  struct journal_head head;
  struct journal journal;
  struct work_queue queue;
  struct pool *pool;
  bool stopping;
  bool broken;   /* error is filled: no more is written */
  bool unsynced; /* something was appended since the last sync */
  int away;      /* other ranks that have not said goodbye and are not lost */
  struct others others;
  bool told;      /* they were told to stop */
  double pause;   /* s, between two looks for messages */
  double synced;  /* s, when the journal was last brought to the disk */
  double alive;   /* s, when rank 0 last told all that it is there */
  double began;   /* s, on the clock */
  double dealing; /* s of processor time of the main thread when it began */
};

/* Seconds of a clock of the system. */
double sweep_clock(clockid_t clock);
/* How long a rank that says nothing is waited for, s. */
double sweep_patience(const struct sweep_order *order);
/* Has the user or the cluster asked to end? */
bool sweep_stops(const struct sweep_order *order);
/* What the journal of this sweep begins with. */
void sweep_head(struct sweep *sweep);
struct message_head sweep_message(const struct pool_block *block);
/* The next pause between looks for messages: short while something is under way, then ever longer. */
double sweep_pause(const struct sweep *sweep);
struct pool *sweep_pool(struct sweep *sweep);

/* sweep_rank.c: a rank that runs for rank 0; its last words, with processor s of its main thread and the reason where
 * it ends early. */
bool sweep_rank_run(struct sweep *sweep);
void sweep_say_bye(const struct communicator *communicator, int flag, double seconds, const char *why);

#endif
