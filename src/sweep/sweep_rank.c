/* A rank that runs cases for rank 0: it asks for spans, runs them, sends histories and rows. */
#include "sweep_state.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "input_file.h"

void sweep_say_bye(const struct communicator *communicator, int flag, double seconds, const char *why) {
  char words[256] = "";
  int length = why[0] != '\0' ? snprintf(words, sizeof words, "rank %d: %.200s", communicator->rank, why) : 0;
  struct message_head bye = {.flag = flag, .bytes = length, .seconds = seconds};
  communicator->send(communicator->context, 0, MESSAGE_BYE, &bye, words);
}

/* Rank 0 may be long in opening a journal. */
#define PATIENCE_WITH_FIRST 10.0

struct worker_rank {
  struct sweep *sweep;
  int asked;     /* spans asked for and not come */
  bool named;    /* rank 0 knows the program */
  double heard;  /* s, when rank 0 was heard of */
  double spoken; /* s, when it was last told something */
  bool ended;
  bool stopped;
  bool broken;
  bool alone; /* rank 0 is gone */
};

static void tell(struct worker_rank *rank, enum message_kind kind, const struct message_head *head,
                 const void *payload) {
  const struct communicator *communicator = rank->sweep->order->communicator;
  communicator->send(communicator->context, 0, kind, head, payload);
  rank->spoken = sweep_clock(CLOCK_MONOTONIC);
}

static void receive_orders(struct worker_rank *rank) {
  struct sweep *sweep = rank->sweep;
  const struct communicator *communicator = sweep->order->communicator;
  struct message_head message;
  enum message_kind kind;
  const void *payload;
  int from;
  sweep->pause = sweep_pause(sweep);
  while (communicator->receive(communicator->context, &from, &kind, &message, &payload)) {
    sweep->pause = kind == MESSAGE_ALIVE ? sweep->pause : SLEEP_RANKS_LEAST;
    rank->heard = sweep_clock(CLOCK_MONOTONIC);
    rank->asked -= kind == MESSAGE_SPAN || kind == MESSAGE_END;
    rank->ended = rank->ended || kind == MESSAGE_END || kind == MESSAGE_STOP;
    if (kind == MESSAGE_STOP) {
      pool_stop(sweep->pool);
    } else if (kind == MESSAGE_SPAN) {
      pool_give(sweep->pool, (struct span){message.first, message.count});
    }
  }
}

/* One history, in pieces; then until they are on their way, so that no more than one waits. */
static bool send_history(struct worker_rank *rank, int64_t k, const char *path) {
  enum { PIECE = 1 << 22 };
  struct sweep *sweep = rank->sweep;
  const struct communicator *communicator = sweep->order->communicator;
  size_t length = 0;
  const char *why = "";
  char *bytes = input_read(path, SIZE_MAX / 4, &length, NULL, &why);
  if (bytes == NULL) {
    return error_set(sweep->error, ERROR_OUTPUT, "%s cannot be read: %s", path, why);
  }
  for (size_t at = 0; at < length; at += PIECE) {
    struct message_head piece = {.first = k,
                                 .count = (int64_t)length,
                                 .flag = at == 0,
                                 .bytes = (int32_t)(length - at < PIECE ? length - at : PIECE)};
    tell(rank, MESSAGE_HISTORY, &piece, bytes + at);
  }
  free(bytes);
  (void)unlink(path);
  while (communicator->busy != NULL && communicator->busy(communicator->context) && !sweep_stops(sweep->order)) {
    const struct timespec pause = {0, 2000000};
    receive_orders(rank);
    (void)nanosleep(&pause, NULL);
  }
  return true;
}

/* Before the rows, so that whoever has the rows has these. */
static bool send_histories(struct worker_rank *rank, const struct pool_block *block) {
  struct sweep *sweep = rank->sweep;
  for (int64_t i = 0; sweep_keeps_any(sweep->order->plan) && i < block->count; i++) {
    int64_t k = sweep->order->shard + (block->first + i) * sweep->order->shards;
    char path[HISTORIES_PATH];
    if (!histories_file(sweep->runs_folder, k, path, sweep->error) ||
        (histories_there(path) && !send_history(rank, k, path))) {
      return false;
    }
  }
  return true;
}

static void send_finished(struct worker_rank *rank, double seconds) {
  struct sweep *sweep = rank->sweep;
  struct pool_block *block;
  while ((block = pool_take(sweep->pool, seconds)) != NULL) {
    struct message_head message = sweep_message(block);
    if (!rank->broken && send_histories(rank, block)) {
      tell(rank, MESSAGE_ROWS, &message, block->payload);
    } else {
      rank->broken = true;
    }
    sweep->pause = SLEEP_RANKS_LEAST;
    if (block->broken) {
      rank->broken = true;
      *sweep->error = block->error;
    }
    pool_return(sweep->pool, block);
    seconds = 0.0;
  }
}

static void ask_for_span(struct worker_rank *rank) {
  const struct sweep *sweep = rank->sweep;
  struct message_head ask = {.first = (int64_t)sweep->order->plan->fingerprint};
  ask.bytes = rank->named ? 0 : (int32_t)strlen(sweep->head.program);
  tell(rank, MESSAGE_ASK, &ask, sweep->head.program);
  rank->named = true;
  rank->asked++;
  rank->sweep->pause = SLEEP_RANKS_LEAST;
}

/* A sign of life now and then; and is rank 0 there? */
static void mind_silence(struct worker_rank *rank) {
  const struct communicator *communicator = rank->sweep->order->communicator;
  double patience = sweep_patience(rank->sweep->order);
  double now = sweep_clock(CLOCK_MONOTONIC);
  if (now - rank->spoken > 0.1 * patience) {
    struct message_head nothing = {0};
    tell(rank, MESSAGE_ALIVE, &nothing, NULL);
  }
  if (now - rank->heard > PATIENCE_WITH_FIRST * patience) {
    rank->alone = true;
    rank->broken = true;
    error_set(rank->sweep->error, ERROR_OUTPUT, "rank 0 is not heard of any more");
    if (communicator->lose != NULL) {
      communicator->lose(communicator->context, 0);
    }
  }
}

/* While the threads have work a block that ends wakes this rank; until then there is little to hear. */
static double pause_of(const struct worker_rank *rank) {
  const struct sweep *sweep = rank->sweep;
  const struct communicator *communicator = sweep->order->communicator;
  bool busy = communicator->busy != NULL && communicator->busy(communicator->context);
  return !busy && pool_is_fed(sweep->pool) ? fmin(SLEEP_RANKS_FED, 0.05 * sweep_patience(sweep->order)) : sweep->pause;
}

static void serve(struct worker_rank *rank) {
  struct sweep *sweep = rank->sweep;
  for (;;) {
    if (!rank->stopped && (rank->broken || sweep_stops(sweep->order))) {
      rank->stopped = true;
      rank->ended = true;
      pool_stop(sweep->pool);
    }
    for (int wanted = pool_wants(sweep->pool); !rank->ended && wanted > rank->asked;) {
      ask_for_span(rank);
    }
    receive_orders(rank);
    mind_silence(rank);
    if (rank->ended && (rank->asked <= 0 || rank->alone) && pool_idle(sweep->pool)) {
      break;
    }
    send_finished(rank, pause_of(rank));
  }
}

/* Histories wait in a folder of this rank's own machine until they are sent. */
static bool make_waiting_room(struct sweep *sweep) {
  const char *place = getenv("TMPDIR");
  if (!sweep_keeps_any(sweep->order->plan)) {
    return true;
  }
  int length = snprintf(sweep->runs_folder, PATH_LIMIT, "%s/swashloop-XXXXXX", place != NULL ? place : "/tmp");
  return (length < PATH_LIMIT && mkdtemp(sweep->runs_folder) != NULL) ||
         error_set(sweep->error, ERROR_OUTPUT, "no folder for histories could be made in %s: %s",
                   place != NULL ? place : "/tmp", strerror(errno));
}

bool sweep_rank_run(struct sweep *sweep) {
  const struct communicator *communicator = sweep->order->communicator;
  struct worker_rank rank = {.sweep = sweep, .heard = sweep_clock(CLOCK_MONOTONIC)};
  sweep_head(sweep);
  sweep->pool = make_waiting_room(sweep) ? sweep_pool(sweep) : NULL;
  rank.broken = sweep->pool == NULL;
  if (sweep->pool != NULL) {
    serve(&rank);
    send_finished(&rank, 0.0);
    pool_free(sweep->pool);
  }
  if (sweep_keeps_any(sweep->order->plan)) {
    (void)rmdir(sweep->runs_folder);
  }
  int flag = !rank.broken ? rank.stopped : sweep->error->code == ERROR_MEMORY ? 3 : 2;
  if (!rank.alone) {
    sweep_say_bye(communicator, flag, sweep_clock(CLOCK_THREAD_CPUTIME_ID) - sweep->dealing,
                  rank.broken ? sweep->error->text : "");
  }
  return !rank.alone; /* rank 0 tells of what went wrong */
}
