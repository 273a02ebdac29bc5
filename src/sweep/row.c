#include "row.h"

#include <math.h>
#include <string.h>

/* Beside the status. */
#define ROW_SIDE_BY_SIDE 0x100u

struct row_head {
  int64_t k;
  uint32_t status;
  uint32_t message_length;
};

struct row_shape row_shape_of(const struct plan *plan) {
  return (struct row_shape){plan->measure_count, plan_limit_count(plan)};
}

int row_number_count(struct row_shape shape) {
  return shape.measures + shape.limits + 2;
}

static size_t fixed_bytes(struct row_shape shape) {
  return sizeof(struct row_head) + (size_t)row_number_count(shape) * sizeof(double) + (size_t)shape.limits;
}

size_t row_bytes_limit(struct row_shape shape) {
  return fixed_bytes(shape) + ROW_MESSAGE_LIMIT;
}

static unsigned char *put_number(unsigned char *at, double number) {
  memcpy(at, &number, sizeof number);
  return at + sizeof number;
}

size_t row_encode(const struct plan *plan, int64_t k, const struct outcome *outcome, const char *message,
                  unsigned char *bytes) {
  struct row_shape shape = row_shape_of(plan);
  static const unsigned char flags[] = {
      [LIMIT_NOT_JUDGED] = ROW_NOT_JUDGED, [LIMIT_KEPT] = ROW_KEPT, [LIMIT_BROKEN] = ROW_BROKEN};
  bool known = outcome->status == RUN_COMPLETE || outcome->status == RUN_STOPPED;
  int judged = outcome->limit_count; /* none if the case could not start; a review's cells have as many as they have */
  size_t length = strnlen(message, ROW_MESSAGE_LIMIT);
  struct row_head head = {k, (uint32_t)outcome->status | (outcome->side_by_side ? ROW_SIDE_BY_SIDE : 0),
                          (uint32_t)length};
  unsigned char *at = bytes;
  memcpy(at, &head, sizeof head);
  at += sizeof head;
  for (int i = 0; i < shape.measures; i++) {
    at = put_number(at, known ? outcome->measures[plan->measures[i]] : (double)NAN);
  }
  for (int i = 0; i < shape.limits; i++) {
    at = put_number(at, known && i < judged ? outcome->limits[i].worst : (double)NAN);
  }
  at = put_number(at, (double)outcome->counts.steps);
  at = put_number(at, (double)outcome->counts.rate_calls);
  for (int i = 0; i < shape.limits; i++) {
    at[i] = i < judged ? flags[outcome->limits[i].verdict] : ROW_NOT_JUDGED;
  }
  at += shape.limits;
  memcpy(at, message, length);
  return (size_t)(at - bytes) + length;
}

size_t row_decode(struct row_shape shape, const unsigned char *bytes, size_t left, double *numbers, struct row *row) {
  struct row_head head;
  size_t fixed = fixed_bytes(shape);
  if (left < fixed) {
    return 0;
  }
  memcpy(&head, bytes, sizeof head);
  row->side_by_side = (head.status & ROW_SIDE_BY_SIDE) != 0;
  head.status &= ~ROW_SIDE_BY_SIDE;
  if (head.status > RUN_INTERRUPTED || head.message_length > ROW_MESSAGE_LIMIT || left < fixed + head.message_length) {
    return 0;
  }
  size_t number_bytes = (size_t)row_number_count(shape) * sizeof(double);
  memcpy(numbers, bytes + sizeof head, number_bytes);
  row->k = head.k;
  row->status = (enum run_status)head.status;
  row->numbers = numbers;
  row->kept = bytes + sizeof head + number_bytes;
  row->message = (const char *)bytes + fixed;
  row->message_length = (int)head.message_length;
  return fixed + head.message_length;
}
