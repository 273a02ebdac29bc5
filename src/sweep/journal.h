/* What is finished, safe against a kill at any moment: a file of blocks, each with a checksum, appended and brought to
 * the disk. A block holds rows of consecutive positions; a position is a case's number within its shard. A block's
 * checksum begins with that of the head, so that a block is known to belong to a study even if the head is damaged.
 * What is damaged is passed over, and reading goes on at the next whole block. */
#ifndef SWASHLOOP_SWEEP_JOURNAL_H
#define SWASHLOOP_SWEEP_JOURNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"

/* What must be the same when a sweep is taken up again. */
struct journal_head {
  uint64_t study;      /* fingerprint of the plan */
  char program[48];    /* with its build: other physics, other rows */
  uint64_t arithmetic; /* fingerprint of the mathematics library: other rounding gives other last digits */
  int64_t cases;       /* of the whole study */
  int64_t shard;
  int64_t shards;
  int32_t measures;
  int32_t limits;
};

struct journal_block {
  int64_t first; /* position */
  int64_t count;
  int64_t offset; /* of the payload in the file */
  uint32_t bytes; /* of the payload */
  int64_t rows_before;
  uint64_t checksum;
};

struct journal {
  int descriptor;
  char *path;
  int64_t length; /* of what is whole */
  struct journal_block *blocks;
  int64_t block_count;
  int64_t block_room;
  int64_t rows;
  uint64_t seed; /* of the checksums: that of the head */
  /* Found when it was opened: */
  int64_t cut;     /* bytes behind the last whole block, torn, dropped */
  int64_t damaged; /* bytes before it that are no whole block, passed over */
  int64_t lost;    /* rows that stood in them */
};

/* A new journal; fails if there is one already. */
bool journal_create(struct journal *journal, const char *path, const struct journal_head *head, struct error *error);
/* Take up an old one: its head must be the same, every block is verified, what is damaged is passed over and what is
 * torn at the end dropped. An empty file is begun anew. */
bool journal_open(struct journal *journal, const char *path, const struct journal_head *head, struct error *error);
/* A new journal where nothing stands yet; the one that is there when `resume` is wanted. Else it is in the way,
 * whatever it is: its text is not looked at. */
bool journal_begin(struct journal *journal, const char *path, bool resume, const struct journal_head *head,
                   struct error *error);
/* Append a block. A failure leaves the file as it was before. */
bool journal_append(struct journal *journal, int64_t first, int64_t count, const void *payload, size_t bytes,
                    struct error *error);
/* Bring all that was appended to the disk. */
bool journal_sync(struct journal *journal, struct error *error);
/* Bring the blocks into the order of their positions; fails if a position is in two of them. */
bool journal_sort(struct journal *journal, struct error *error);
/* The payload of a block into `payload`, verified. */
bool journal_read(const struct journal *journal, const struct journal_block *block, void *payload, struct error *error);
void journal_close(struct journal *journal);

/* Fingerprint of the bits that exp, log, pow and the like give here. */
uint64_t journal_arithmetic(void);

#endif
