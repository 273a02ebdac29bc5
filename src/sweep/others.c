#include "others.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "histories.h"

bool others_open(struct others *others, int count, double patience, double now, struct error *error) {
  *others = (struct others){calloc((size_t)count, sizeof *others->list), count, patience, now};
  for (int i = 0; others->list != NULL && i < count; i++) {
    others->list[i].heard = now;
  }
  return others->list != NULL || error_set(error, ERROR_MEMORY, "no memory for the ranks");
}

static void drop_history(struct other *other) {
  struct error ignored;
  if (other->receiving) {
    (void)draft_close(&other->history, DRAFT_REMOVE, &ignored);
    other->receiving = false;
  }
}

void others_close(struct others *others) {
  for (int i = 0; others->list != NULL && i < others->count; i++) {
    drop_history(&others->list[i]);
    free(others->list[i].spans);
  }
  free(others->list);
  *others = (struct others){0};
}

bool others_gave(struct others *others, int rank, struct span span, struct error *error) {
  struct other *other = &others->list[rank];
  if (other->span_count == other->span_room) {
    int room = 2 * other->span_room + 4;
    struct span *larger = realloc(other->spans, (size_t)room * sizeof *larger);
    if (larger == NULL) {
      return error_set(error, ERROR_MEMORY, "no memory for the ranks");
    }
    other->spans = larger;
    other->span_room = room;
  }
  other->spans[other->span_count++] = span;
  return true;
}

void others_returned(struct others *others, int rank, int64_t first) {
  struct other *other = &others->list[rank];
  for (int i = 0; i < other->span_count; i++) {
    if (other->spans[i].first == first) {
      other->spans[i] = other->spans[--other->span_count];
      return;
    }
  }
}

int others_silent(struct others *others, double now) {
  double away = now - others->looked > 1.0 ? now - others->looked : 0.0;
  others->looked = now;
  for (int rank = 1; rank < others->count; rank++) {
    others->list[rank].heard += away;
  }
  for (int rank = 1; rank < others->count; rank++) {
    struct other *other = &others->list[rank];
    if (!other->gone && now - other->heard > others->patience) {
      drop_history(other);
      other->gone = true;
      other->lost = true;
      return rank;
    }
  }
  return -1;
}

static bool begin_history(struct other *other, const struct message_head *piece, const char *folder,
                          struct error *error) {
  char path[HISTORIES_PATH];
  drop_history(other);
  other->receiving = histories_file(folder, piece->first, path, error) && draft_open(&other->history, path, error);
  other->left = piece->count;
  return other->receiving;
}

bool others_take_history(struct others *others, int rank, const struct message_head *piece, const void *payload,
                         const char *folder, struct error *error) {
  struct other *other = &others->list[rank];
  if (piece->flag != 0 && !begin_history(other, piece, folder, error)) {
    return false;
  }
  if (!other->receiving) {
    return true; /* the file failed before */
  }
  if (!histories_write(other->history.descriptor, payload, (size_t)piece->bytes)) {
    error_set(error, ERROR_OUTPUT, "%s could not be written: %s", other->history.path, strerror(errno));
    drop_history(other);
    return false;
  }
  other->left -= piece->bytes;
  if (other->left > 0) {
    return true;
  }
  other->receiving = false;
  return draft_close(&other->history, DRAFT_NAME, error);
}
