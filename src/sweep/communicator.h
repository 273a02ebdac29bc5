/* Several processes that share one sweep. Rank 0 deals out spans, keeps the journal and runs cases as well; the others
 * ask, run and send their rows. What carries the messages is given from outside: MPI (ranks.c), or a test. */
#ifndef SWASHLOOP_SWEEP_COMMUNICATOR_H
#define SWASHLOOP_SWEEP_COMMUNICATOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum message_kind {
  MESSAGE_ASK,     /* a rank wants a span */
  MESSAGE_SPAN,    /* here is one */
  MESSAGE_END,     /* there is none, and none will come */
  MESSAGE_ROWS,    /* a finished block */
  MESSAGE_HISTORY, /* a piece of a kept history, before the rows of its case */
  MESSAGE_ALIVE,   /* nothing to say */
  MESSAGE_STOP,    /* end after the case in hand */
  MESSAGE_BYE      /* a rank has nothing left to send */
};

/* First in every message; the payload follows. Small: what fits into the library's short messages is there at once, and
 * does not wait until the other side looks. Of MESSAGE_ASK the payload is the program's name, in a rank's first; of
 * MESSAGE_BYE why it ends early. */
struct message_head {
  int64_t first; /* of MESSAGE_ASK: fingerprint of the study, which all ranks must have read alike */
  int64_t count;
  int64_t failed;
  double seconds;     /* of processor time, of a thread; of MESSAGE_BYE: of the rank's main thread */
  double integration; /* s of those within the runs */
  double wall;        /* s of wall time, of a thread */
  int32_t flag;       /* of MESSAGE_BYE: 1 it was stopped, 2 its output could not be written, 3 memory ran out;
                       * of MESSAGE_HISTORY: 1 the first piece. There `first` is the case, `count` the file's bytes */
  int32_t bytes;
};
_Static_assert(sizeof(struct message_head) <= 64, "a short message");

struct communicator {
  void *context;
  int rank;
  int size;
  /* Begins a send; head and payload are the caller's again at once. */
  void (*send)(void *context, int to, enum message_kind kind, const struct message_head *message, const void *payload);
  /* The next message if one has come whole: true, its payload in memory that lasts until the next call. What one rank
   * sends comes in its order. Looks after what is under way. */
  bool (*receive)(void *context, int *from, enum message_kind *kind, struct message_head *message,
                  const void **payload);
  /* Bytes of rank 0 to all: there they are given and stay the caller's, elsewhere they are to be freed. Every rank
   * calls it once, before anything else; false: memory is out. */
  bool (*share)(void *context, unsigned char **bytes, int64_t *length);
  /* That rank is gone: the end waits for nobody. May be NULL. */
  void (*lose)(void *context, int rank);
  /* Something is under way, so that the next look should come soon. */
  bool (*busy)(void *context);
};

#endif
