#include "ranks.h"

#include <mpi.h>
#include <stdlib.h>
#include <string.h>

/* A message is one piece: head and payload. */
struct buffers {
  unsigned char *out;
  size_t out_room;
  unsigned char *in;
  size_t in_room;
};

/* Memory gone in one rank ends them all; the journal holds what is done. */
static unsigned char *grow(unsigned char *bytes, size_t *room, size_t need) {
  if (need <= *room) {
    return bytes;
  }
  unsigned char *larger = realloc(bytes, 2 * need);
  if (larger == NULL) {
    MPI_Abort(MPI_COMM_WORLD, 1);
  }
  *room = 2 * need;
  return larger;
}

static void send_message(void *context, int to, enum message_kind kind, const struct message_head *message,
                         const void *payload) {
  struct buffers *buffers = context;
  size_t bytes = (size_t)message->bytes;
  buffers->out = grow(buffers->out, &buffers->out_room, sizeof *message + bytes);
  memcpy(buffers->out, message, sizeof *message);
  if (bytes > 0) {
    memcpy(buffers->out + sizeof *message, payload, bytes);
  }
  MPI_Send(buffers->out, (int)(sizeof *message + bytes), MPI_BYTE, to, (int)kind, MPI_COMM_WORLD);
}

static bool receive_message(void *context, int *from, enum message_kind *kind, struct message_head *message,
                            const void **payload) {
  struct buffers *buffers = context;
  MPI_Status status;
  int there = 0;
  int bytes = 0;
  MPI_Iprobe(MPI_ANY_SOURCE, MPI_ANY_TAG, MPI_COMM_WORLD, &there, &status);
  if (!there) {
    return false;
  }
  MPI_Get_count(&status, MPI_BYTE, &bytes);
  buffers->in = grow(buffers->in, &buffers->in_room, (size_t)bytes);
  MPI_Recv(buffers->in, bytes, MPI_BYTE, status.MPI_SOURCE, status.MPI_TAG, MPI_COMM_WORLD, &status);
  *from = status.MPI_SOURCE;
  *kind = (enum message_kind)status.MPI_TAG;
  memcpy(message, buffers->in, sizeof *message);
  *payload = buffers->in + sizeof *message;
  return true;
}

struct ranks {
  struct buffers buffers;
  struct communicator communicator;
};

struct ranks *ranks_begin(void) {
  struct ranks *ranks = calloc(1, sizeof *ranks);
  if (ranks != NULL) {
    int level = 0;
    ranks->communicator =
        (struct communicator){.context = &ranks->buffers, .send = send_message, .receive = receive_message};
    MPI_Init_thread(NULL, NULL, MPI_THREAD_FUNNELED, &level);
    MPI_Comm_rank(MPI_COMM_WORLD, &ranks->communicator.rank);
    MPI_Comm_size(MPI_COMM_WORLD, &ranks->communicator.size);
  }
  return ranks;
}

const struct communicator *ranks_communicator(const struct ranks *ranks) {
  return ranks->communicator.size > 1 ? &ranks->communicator : NULL;
}

void ranks_end(struct ranks *ranks) {
  MPI_Finalize();
  free(ranks->buffers.out);
  free(ranks->buffers.in);
  free(ranks);
}
