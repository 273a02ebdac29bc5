#include "supply.h"

#include <math.h>
#include <stdlib.h>

/* Wall time that a span should take, from few threads to many: the one who deals must keep up. */
#define SPAN_SECONDS_LEAST 0.25
#define SPAN_SECONDS_MOST 30.0
#define SPAN_SECONDS_WORKER 2e-3

bool supply_open(struct supply *supply, int64_t positions, const struct journal *journal, int workers, int64_t least,
                 struct error *error) {
  *supply = (struct supply){.workers = workers, .least = least};
  supply->gaps = calloc((size_t)journal->block_count + 1, sizeof *supply->gaps);
  if (!supply->gaps) {
    return error_set(error, ERROR_MEMORY, "no memory for the sweep");
  }
  int64_t next = 0;
  for (int64_t i = 0; i <= journal->block_count; i++) {
    int64_t until = i < journal->block_count ? journal->blocks[i].first : positions;
    if (until > next) {
      supply->gaps[supply->gap_count++] = (struct span){next, until - next};
      supply->left += until - next;
    }
    next = i < journal->block_count ? until + journal->blocks[i].count : next;
  }
  return true;
}

static int64_t wanted_size(const struct supply *supply) {
  double target = fmin(fmax(SPAN_SECONDS_WORKER * supply->workers, SPAN_SECONDS_LEAST), SPAN_SECONDS_MOST);
  int64_t size = 1;
  if (supply->case_seconds > 0.0) {
    size = (int64_t)fmin(target / supply->case_seconds, SPAN_LIMIT);
  }
  int64_t fair = supply->left / (3 * (int64_t)supply->workers);
  size = size < fair ? size : fair;
  return size > supply->least ? size : supply->least;
}

bool supply_take(struct supply *supply, struct span *span) {
  while (supply->gap < supply->gap_count && supply->used == supply->gaps[supply->gap].count) {
    supply->gap++;
    supply->used = 0;
  }
  if (supply->gap == supply->gap_count) {
    return false;
  }
  const struct span *gap = &supply->gaps[supply->gap];
  int64_t size = wanted_size(supply);
  size = size < gap->count - supply->used ? size : gap->count - supply->used;
  *span = (struct span){gap->first + supply->used, size};
  supply->used += size;
  supply->left -= size;
  return true;
}

void supply_learn(struct supply *supply, int64_t count, double seconds) {
  if (count < 1) {
    return;
  }
  double each = fmax(seconds / (double)count, 1e-6);
  double weight = fmin(1.0, 0.2 + 0.01 * (double)count);
  supply->case_seconds = supply->case_seconds > 0.0 ? (1.0 - weight) * supply->case_seconds + weight * each : each;
}

void supply_close(struct supply *supply) {
  free(supply->gaps);
  *supply = (struct supply){0};
}
