/* One case's line of the table, and how it lies in the journal: the case number, the status, the numbers (measures,
 * worst value of each limit, steps and right-hand sides), how each limit fared, and the message. */
#ifndef SWASHLOOP_SWEEP_ROW_H
#define SWASHLOOP_SWEEP_ROW_H

#include <stddef.h>
#include <stdint.h>

#include "plan.h"
#include "run.h"

enum { ROW_MESSAGE_LIMIT = 400 };
enum row_limit { ROW_BROKEN = 0, ROW_KEPT = 1, ROW_NOT_JUDGED = 2 };

/* What every row of a study has. */
struct row_shape {
  int measures;
  int limits;
};

struct row {
  int64_t k;
  enum run_status status;
  bool side_by_side;         /* it ran beside others (batch.h) */
  const double *numbers;     /* measures, worst values, steps, right-hand sides */
  const unsigned char *kept; /* enum row_limit, one a limit */
  const char *message;
  int message_length;
};

/* What a study's rows have, and how many numbers that is. */
struct row_shape row_shape_of(const struct plan *plan);
int row_number_count(struct row_shape shape);
/* Bytes that no row exceeds. */
size_t row_bytes_limit(struct row_shape shape);
/* Write a row at `bytes`; returns how many it took. A run that failed, or was left
 * unfinished when its budget was spent, has no numbers: they are NaN; a limit
 * that it broke stays broken. */
size_t row_encode(const struct plan *plan, int64_t k, const struct outcome *outcome, const char *message,
                  unsigned char *bytes);
/* Read one at `bytes`, of which `left` remain, with its numbers into `numbers`; returns how many bytes it took, 0 if
 * it is no row. */
size_t row_decode(struct row_shape shape, const unsigned char *bytes, size_t left, double *numbers, struct row *row);

#endif
