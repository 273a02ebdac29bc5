/* The table of a sweep: HDF5, one row a case (layout: docs/sweeps.md). */
#ifndef SWASHLOOP_SWEEP_TABLE_H
#define SWASHLOOP_SWEEP_TABLE_H

#include "journal.h"
#include "plan.h"

/* Write the rows of a whole journal, sorted, as PATH: first as PATH.part, renamed when all is on the disk. On failure
 * nothing is left under either name and the journal is as it was. `failed` becomes the number of failed cases,
 * `side_by_side` that of those that ran beside others (batch.h). */
bool table_write(const char *path, const struct plan *plan, const struct journal_head *head,
                 const struct journal *journal, const char *command, int64_t *failed, int64_t *side_by_side,
                 struct error *error);

/* What a table that is there already says of itself; it must be whole. */
struct table_facts {
  uint64_t study;
  char program[48];
  int64_t shard;
  int64_t shards;
  int64_t failed;
  int64_t side_by_side; /* -1: the table does not say */
};
/* Fills `facts` from the table at `path`. */
bool table_facts(const char *path, struct table_facts *facts, struct error *error);

/* Tables of all shards of one study into one; refuses what does not belong together. */
struct merge_report {
  int64_t cases;
  int64_t failed;
  int64_t histories;     /* files of kept histories, now in PATH.runs */
  bool mixed_arithmetic; /* the shards ran where mathematics libraries round differently */
};
/* Writes the whole table, and brings the kept histories together; the parts stay. */
bool table_merge(const char *path, const char *const *parts, int part_count, const char *command,
                 struct merge_report *report, struct error *error);

#endif
