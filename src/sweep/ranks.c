/* Messages by MPI, none of which makes a rank wait: sends and receipts are begun, and looked after whenever the rank
 * looks for messages. The calls that wait in this library spin, and a rank that spins takes the processor from one that
 * computes. */
#include "ranks.h"

#include <mpi.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* One message under way: head and payload are one piece. */
struct parcel {
  unsigned char *bytes;
  size_t room;
  MPI_Request request;
  MPI_Status status; /* of one that comes in: from whom, what */
  bool under_way;
  bool arrived; /* whole, and not yet given to the sweep */
};

struct parcels {
  struct parcel *list;
  int count;
};

struct buffers {
  struct parcels out;
  struct parcels in; /* in the order in which they were announced */
  int given;         /* place in `in` of the message that the sweep looks at, or -1 */
};

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
      MPI_Test(&parcel->request, &done, MPI_STATUS_IGNORE);
      parcel->under_way = done == 0;
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
  (void)look_after_sends(&buffers->out);
  struct parcel *parcel = free_parcel(&buffers->out);
  make_room(parcel, sizeof *message + bytes);
  memcpy(parcel->bytes, message, sizeof *message);
  if (bytes > 0) {
    memcpy(parcel->bytes + sizeof *message, payload, bytes);
  }
  parcel->under_way = true;
  /* look_after_sends asks for its end, as wait_for_all does at last. */
  MPI_Isend(parcel->bytes, (int)(sizeof *message + bytes), MPI_BYTE, to, (int)kind, MPI_COMM_WORLD, &parcel->request);
} /* NOLINT(clang-analyzer-optin.mpi.MPI-Checker): it knows waits that spin, and no tests */

/* ---- in ---- */

/* Begin to receive whatever has been announced. A list in the order of arrival: free parcels lie behind the others. */
static void take_announced(struct parcels *in, int *waiting) {
  for (;;) {
    MPI_Message message;
    MPI_Status status;
    int there = 0;
    int bytes = 0;
    MPI_Improbe(MPI_ANY_SOURCE, MPI_ANY_TAG, MPI_COMM_WORLD, &there, &message, &status);
    if (!there) {
      return;
    }
    MPI_Get_count(&status, MPI_BYTE, &bytes);
    struct parcel *parcel = *waiting < in->count ? &in->list[*waiting] : another(in);
    (*waiting)++;
    make_room(parcel, (size_t)bytes + 1);
    parcel->status = status;
    parcel->under_way = true;
    parcel->arrived = false;
    MPI_Imrecv(parcel->bytes, bytes, MPI_BYTE, &message, &parcel->request);
  }
}

static bool has_arrived(struct parcel *parcel) {
  int done = 0;
  if (!parcel->arrived) {
    MPI_Test(&parcel->request, &done, MPI_STATUS_IGNORE);
    parcel->arrived = done != 0;
  }
  return parcel->arrived;
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

static bool receive_message(void *context, int *from, enum message_kind *kind, struct message_head *message,
                            const void **payload) {
  struct buffers *buffers = context;
  struct parcels *in = &buffers->in;
  put_back(buffers, count_waiting(in));
  int waiting = count_waiting(in);
  (void)look_after_sends(&buffers->out);
  take_announced(in, &waiting);
  for (int i = 0; i < waiting; i++) {
    struct parcel *parcel = &in->list[i];
    if (!has_arrived(parcel) || waits_for_earlier(in, i)) {
      continue;
    }
    *from = parcel->status.MPI_SOURCE;
    *kind = (enum message_kind)parcel->status.MPI_TAG;
    memcpy(message, parcel->bytes, sizeof *message);
    *payload = parcel->bytes + sizeof *message;
    buffers->given = i;
    return true;
  }
  return false;
}

/* Something is on its way and wants looking after soon. */
static bool is_busy(void *context) {
  struct buffers *buffers = context;
  return look_after_sends(&buffers->out) > 0 || count_waiting(&buffers->in) > (buffers->given >= 0 ? 1 : 0);
}

/* ---- start and end ---- */

struct ranks {
  struct buffers buffers;
  struct communicator communicator;
};

struct ranks *ranks_begin(void) {
  struct ranks *ranks = calloc(1, sizeof *ranks);
  if (ranks != NULL) {
    int level = 0;
    ranks->buffers.given = -1;
    ranks->communicator = (struct communicator){
        .context = &ranks->buffers, .send = send_message, .receive = receive_message, .busy = is_busy};
    MPI_Init_thread(NULL, NULL, MPI_THREAD_FUNNELED, &level);
    MPI_Comm_rank(MPI_COMM_WORLD, &ranks->communicator.rank);
    MPI_Comm_size(MPI_COMM_WORLD, &ranks->communicator.size);
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

/* Asleep until the last rank is here: rank 0 may still write the table, and the library's own end spins. */
static void wait_for_all(struct parcels *out) {
  const struct timespec nap = {0, 2000000};
  MPI_Request all;
  int there = 0;
  while (look_after_sends(out) > 0) {
    (void)nanosleep(&nap, NULL);
  }
  MPI_Ibarrier(MPI_COMM_WORLD, &all);
  for (MPI_Test(&all, &there, MPI_STATUS_IGNORE); !there; MPI_Test(&all, &there, MPI_STATUS_IGNORE)) {
    (void)nanosleep(&nap, NULL);
  }
}

void ranks_end(struct ranks *ranks) {
  wait_for_all(&ranks->buffers.out);
  MPI_Finalize();
  free_parcels(&ranks->buffers.out);
  free_parcels(&ranks->buffers.in);
  free(ranks);
}
