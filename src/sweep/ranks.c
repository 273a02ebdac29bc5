/* Messages by MPI, none of which makes a rank wait: sends and receipts are begun, and looked after whenever the rank
 * looks for messages. The calls that wait in this library spin, and a rank that spins takes the processor from one that
 * computes. And a call that finds nothing may give its own processor away (see ranks_begin), which can take long to
 * come back: the library is asked for more only when all that has arrived is dealt with. */
#include "ranks.h"

#include <mpi.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* The checker knows waits, which spin, and no tests. NOLINTBEGIN(clang-analyzer-optin.mpi.MPI-Checker) */

/* One message under way: head and payload are one piece. */
struct parcel {
  unsigned char *bytes;
  size_t room;
  MPI_Request request;
  MPI_Status status; /* of one that comes in: from whom, what */
  bool under_way;
  bool arrived; /* whole, and not yet given to the sweep */
  bool torn;    /* it will never be whole */
};

struct parcels {
  struct parcel *list;
  int count;
};

struct buffers {
  struct parcels out;
  struct parcels in; /* in the order in which they were announced */
  int given;         /* place in `in` of the message that the sweep looks at, or -1 */
  bool *lost;        /* by rank: given up, or out of reach */
  int lost_count;
};

/* s of the system's clock. */
static double now(void) {
  struct timespec time = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &time);
  return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

/* Whoever has waited long, since then, looks more seldom: many ranks that look often take time from those that work. */
static void nap(double since) {
  double gone = now() - since;
  double seconds = gone < 16e-3 ? 2e-3 : gone < 0.4 ? gone / 8.0 : 0.05;
  const struct timespec pause = {0, (long)(seconds * 1e9)};
  (void)nanosleep(&pause, NULL);
}

/* Memory gone in one rank ends them all; the journal holds what is done. */
static void *grown(void *memory, size_t size) {
  void *larger = realloc(memory, size);
  if (larger == NULL) {
    MPI_Abort(MPI_COMM_WORLD, 1);
  }
  return larger;
}

static void make_room(struct parcel *parcel, size_t need) {
  if (need > parcel->room) {
    parcel->bytes = grown(parcel->bytes, 2 * need);
    parcel->room = 2 * need;
  }
}

static struct parcel *another(struct parcels *parcels) {
  parcels->list = grown(parcels->list, ((size_t)parcels->count + 1) * sizeof *parcels->list);
  struct parcel *fresh = &parcels->list[parcels->count++];
  memset(fresh, 0, sizeof *fresh);
  return fresh;
}

/* ---- out ---- */

/* How many sends are still under way. */
static int look_after_sends(struct parcels *out) {
  int busy = 0;
  for (int i = 0; i < out->count; i++) {
    struct parcel *parcel = &out->list[i];
    int done = 0;
    if (parcel->under_way) {
      /* What cannot be sent is given up: silence tells that the other is gone. */
      bool failed = MPI_Test(&parcel->request, &done, MPI_STATUS_IGNORE) != MPI_SUCCESS;
      parcel->under_way = done == 0 && !failed;
      busy += parcel->under_way;
    }
  }
  return busy;
}

static struct parcel *free_parcel(struct parcels *out) {
  for (int i = 0; i < out->count; i++) {
    if (!out->list[i].under_way) {
      return &out->list[i];
    }
  }
  return another(out);
}

static void send_message(void *context, int to, enum message_kind kind, const struct message_head *message,
                         const void *payload) {
  struct buffers *buffers = context;
  size_t bytes = (size_t)message->bytes;
  struct parcel *parcel = free_parcel(&buffers->out);
  make_room(parcel, sizeof *message + bytes);
  memcpy(parcel->bytes, message, sizeof *message);
  if (bytes > 0) {
    memcpy(parcel->bytes + sizeof *message, payload, bytes);
  }
  /* look_after_sends asks for its end, as end_together does at last. */
  parcel->under_way = MPI_Isend(parcel->bytes, (int)(sizeof *message + bytes), MPI_BYTE, to, (int)kind, MPI_COMM_WORLD,
                                &parcel->request) == MPI_SUCCESS;
}

/* ---- in ---- */

/* Begin to receive whatever has been announced. A list in the order of arrival: free parcels lie behind the others. */
static void take_announced(struct parcels *in, int *waiting) {
  for (;;) {
    MPI_Message message;
    MPI_Status status;
    int there = 0;
    int bytes = 0;
    bool failed = MPI_Improbe(MPI_ANY_SOURCE, MPI_ANY_TAG, MPI_COMM_WORLD, &there, &message, &status) != MPI_SUCCESS;
    if (failed || !there) {
      return;
    }
    MPI_Get_count(&status, MPI_BYTE, &bytes);
    struct parcel *parcel = *waiting < in->count ? &in->list[*waiting] : another(in);
    (*waiting)++;
    make_room(parcel, (size_t)bytes + 1);
    parcel->status = status;
    parcel->under_way = true;
    parcel->arrived = parcel->torn =
        MPI_Imrecv(parcel->bytes, bytes, MPI_BYTE, &message, &parcel->request) != MPI_SUCCESS;
  }
}

/* Which of them have come meanwhile? */
static void look_after_receipts(struct parcels *in, int waiting) {
  for (int i = 0; i < waiting; i++) {
    struct parcel *parcel = &in->list[i];
    int done = 0;
    if (!parcel->arrived) {
      parcel->torn = MPI_Test(&parcel->request, &done, MPI_STATUS_IGNORE) != MPI_SUCCESS;
      parcel->arrived = done != 0 || parcel->torn;
    }
  }
}

/* Does one of the first `place` parcels, not yet whole, come from the same rank? What a rank says later must not be
 * heard first: its goodbye, say, before its rows. */
static bool waits_for_earlier(const struct parcels *in, int place) {
  for (int i = 0; i < place; i++) {
    if (in->list[i].status.MPI_SOURCE == in->list[place].status.MPI_SOURCE) {
      return true;
    }
  }
  return false;
}

static int count_waiting(const struct parcels *in) {
  int waiting = 0;
  while (waiting < in->count && in->list[waiting].under_way) {
    waiting++;
  }
  return waiting;
}

/* The message that was given is done with: its parcel goes behind those that are under way. */
static void put_back(struct buffers *buffers, int waiting) {
  struct parcels *in = &buffers->in;
  if (buffers->given < 0) {
    return;
  }
  struct parcel done = in->list[buffers->given];
  done.under_way = false;
  done.arrived = false;
  memmove(&in->list[buffers->given], &in->list[buffers->given + 1],
          (size_t)(waiting - 1 - buffers->given) * sizeof *in->list);
  in->list[waiting - 1] = done;
  buffers->given = -1;
}

/* The first that is known to be whole, or never to be; -1. */
static int first_arrived(const struct parcels *in, int waiting) {
  for (int i = 0; i < waiting; i++) {
    if (in->list[i].arrived && !waits_for_earlier(in, i)) {
      return i;
    }
  }
  return -1;
}

static int next_arrived(struct buffers *buffers, int *waiting) {
  int place = first_arrived(&buffers->in, *waiting);
  if (place >= 0) {
    return place;
  }
  (void)look_after_sends(&buffers->out);
  take_announced(&buffers->in, waiting);
  look_after_receipts(&buffers->in, *waiting);
  return first_arrived(&buffers->in, *waiting);
}

static bool receive_message(void *context, int *from, enum message_kind *kind, struct message_head *message,
                            const void **payload) {
  struct buffers *buffers = context;
  struct parcels *in = &buffers->in;
  put_back(buffers, count_waiting(in));
  int waiting = count_waiting(in);
  while ((buffers->given = next_arrived(buffers, &waiting)) >= 0) {
    struct parcel *parcel = &in->list[buffers->given];
    if (!parcel->torn) {
      *from = parcel->status.MPI_SOURCE;
      *kind = (enum message_kind)parcel->status.MPI_TAG;
      memcpy(message, parcel->bytes, sizeof *message);
      *payload = parcel->bytes + sizeof *message;
      return true;
    }
    put_back(buffers, waiting--);
  }
  return false;
}

/* Something is on its way and wants looking after soon. */
static bool is_busy(void *context) {
  struct buffers *buffers = context;
  return look_after_sends(&buffers->out) > 0 || count_waiting(&buffers->in) > (buffers->given >= 0 ? 1 : 0);
}

/* ---- one piece for all ---- */

/* Naps until it has come; the library's own wait spins. */
static void wait_for(MPI_Request *request) {
  int there = 0;
  double since = now();
  for (MPI_Test(request, &there, MPI_STATUS_IGNORE); !there; MPI_Test(request, &there, MPI_STATUS_IGNORE)) {
    nap(since);
  }
}

static void spread(void *bytes, int count) {
  MPI_Request request;
  MPI_Ibcast(bytes, count, MPI_BYTE, 0, MPI_COMM_WORLD, &request);
  wait_for(&request);
}

static bool share_bytes(void *context, unsigned char **bytes, int64_t *length) {
  enum { PIECE = 1 << 26 };
  (void)context;
  int rank = 0;
  MPI_Comm_rank(MPI_COMM_WORLD, &rank);
  spread(length, (int)sizeof *length);
  *bytes = rank == 0 ? *bytes : grown(NULL, (size_t)*length + 1);
  for (int64_t at = 0; at < *length; at += PIECE) {
    spread(*bytes + at, *length - at < PIECE ? (int)(*length - at) : PIECE);
  }
  return true;
}

/* ---- start and end ---- */

struct ranks {
  struct buffers buffers;
  struct communicator communicator;
};

static void lose_rank(void *context, int rank) {
  struct buffers *buffers = context;
  buffers->lost[rank] = true;
  buffers->lost_count++;
}

struct ranks *ranks_begin(void) {
  struct ranks *ranks = calloc(1, sizeof *ranks);
  if (ranks != NULL) {
    int level = 0;
    ranks->buffers.given = -1;
    ranks->communicator = (struct communicator){.context = &ranks->buffers,
                                                .send = send_message,
                                                .receive = receive_message,
                                                .share = share_bytes,
                                                .lose = lose_rank,
                                                .busy = is_busy};
    /* On a machine with more ranks than processors Open MPI has every call that finds nothing yield; the others then
     * compute for a time slice each. This program sleeps by itself, unless the user wants it otherwise. */
    (void)setenv("OMPI_MCA_mpi_yield_when_idle", "0", 0);
    MPI_Init_thread(NULL, NULL, MPI_THREAD_FUNNELED, &level);
    MPI_Comm_rank(MPI_COMM_WORLD, &ranks->communicator.rank);
    MPI_Comm_size(MPI_COMM_WORLD, &ranks->communicator.size);
    /* Where the library can, the loss of a rank is an answer, not the end. */
    MPI_Comm_set_errhandler(MPI_COMM_WORLD, MPI_ERRORS_RETURN);
    ranks->buffers.lost = grown(NULL, (size_t)ranks->communicator.size * sizeof(bool));
    memset(ranks->buffers.lost, 0, (size_t)ranks->communicator.size * sizeof(bool));
  }
  return ranks;
}

const struct communicator *ranks_communicator(const struct ranks *ranks) {
  return ranks->communicator.size > 1 ? &ranks->communicator : NULL;
}

static void free_parcels(struct parcels *parcels) {
  for (int i = 0; i < parcels->count; i++) {
    free(parcels->list[i].bytes);
  }
  free(parcels->list);
}

/* s: how long rank 0 waits at the end for ranks that have said goodbye, and they for rank 0, which may write a table.
 */
#define WAIT_FOR_OTHERS 60.0
#define WAIT_FOR_FIRST 3600.0

enum { TAG_LEAVE = 1000 }; /* a rank is lost: end without the library's own end, which waits for all */

/* Asleep until the last rank is here: rank 0 may still write the table, and the library's own end spins. False: some
 * are lost, and nobody waits for them. */
static bool end_together(struct ranks *ranks) {
  struct buffers *buffers = &ranks->buffers;
  double since = now();
  double until = since + (ranks->communicator.rank == 0 ? WAIT_FOR_OTHERS : WAIT_FOR_FIRST);
  MPI_Request all;
  bool barrier = false;
  int there = 0;
  int leave = 0;
  while (buffers->lost_count == 0 && !there && !leave && now() < until) {
    bool sent = look_after_sends(&buffers->out) == 0;
    if (sent && !barrier) {
      barrier = true;
      MPI_Ibarrier(MPI_COMM_WORLD, &all);
    }
    if (barrier) {
      MPI_Test(&all, &there, MPI_STATUS_IGNORE);
    }
    if (!there && ranks->communicator.rank > 0) {
      MPI_Iprobe(0, TAG_LEAVE, MPI_COMM_WORLD, &leave, MPI_STATUS_IGNORE);
    }
    if (!there) {
      nap(since);
    }
  }
  return there != 0;
}

/* Rank 0 tells those that are left. */
static void send_away(struct ranks *ranks) {
  struct message_head nothing = {0};
  for (int rank = 1; ranks->communicator.rank == 0 && rank < ranks->communicator.size; rank++) {
    if (!ranks->buffers.lost[rank]) {
      send_message(&ranks->buffers, rank, (enum message_kind)TAG_LEAVE, &nothing, NULL);
    }
  }
  double since = now();
  while (now() < since + 1.0 && look_after_sends(&ranks->buffers.out) > 0) {
    nap(since);
  }
}

bool ranks_end(struct ranks *ranks) {
  bool together = end_together(ranks);
  if (together) {
    MPI_Finalize();
  } else {
    send_away(ranks);
  }
  free_parcels(&ranks->buffers.out);
  free_parcels(&ranks->buffers.in);
  free(ranks->buffers.lost);
  free(ranks);
  return together;
}

/* NOLINTEND(clang-analyzer-optin.mpi.MPI-Checker) */
