/* Several processes that share one sweep. Rank 0 deals out spans, keeps the journal and runs cases as well; the others
 * ask, run and send their rows. What carries the messages is given from outside: MPI (ranks.c), or a test. */
#ifndef SWASHLOOP_SWEEP_CREW_H
#define SWASHLOOP_SWEEP_CREW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum crew_kind {
  CREW_ASK,  /* a rank wants a span */
  CREW_SPAN, /* here is one */
  CREW_END,  /* there is none, and none will come */
  CREW_ROWS, /* a finished block */
  CREW_STOP, /* end after the case in hand */
  CREW_BYE   /* a rank has nothing left to send */
};

/* First in every message; the payload follows. */
struct crew_message {
  int64_t first; /* of CREW_ASK: fingerprint of the study, which all ranks must have read alike */
  int64_t count;
  int64_t failed;
  double seconds;
  double integration;
  int32_t flag; /* of CREW_BYE: 1 it was stopped, 2 its output could not be written */
  int32_t bytes;
  char text[256]; /* of CREW_BYE: why; of CREW_ASK: the program, which must be the same in all ranks */
};

struct crew {
  void *context;
  int rank;
  int size;
  void (*send)(void *context, int to, enum crew_kind kind, const struct crew_message *message, const void *payload);
  /* The next message if one has come: true, its payload in memory that lasts until the next call. */
  bool (*receive)(void *context, int *from, enum crew_kind *kind, struct crew_message *message, const void **payload);
};

#endif
