#include "sample_buffer.h"

#include <stdlib.h>
#include <string.h>

#include "aligned.h"

/* Not a power of two: columns that share a cache line's place would push each other out. */
enum { STRIDE = SAMPLE_BUFFER_BLOCK + 24 };

static bool hand_over(struct sample_buffer *buffer, struct error *error) {
  const double *columns[PLANT_SIGNAL_LIMIT];
  for (int i = 0; i < buffer->signal_count; i++) {
    columns[i] = buffer->columns + (size_t)i * STRIDE;
  }
  const struct recorder *recorder = buffer->recorder;
  bool good = recorder->block(recorder->context, buffer->count, buffer->time, columns, error);
  buffer->count = 0;
  return good;
}

bool sample_buffer_begin(struct sample_buffer *buffer, const struct recorder *recorder, int signal_count,
                         struct error *error) {
  buffer->recorder = recorder;
  buffer->signal_count = signal_count;
  buffer->count = 0;
  buffer->last_time = -1.0;
  buffer->evaluator = NULL;
  if (recorder != NULL && buffer->time == NULL) {
    buffer->time = malloc(SAMPLE_BUFFER_BLOCK * sizeof *buffer->time);
    buffer->columns = malloc((size_t)signal_count * STRIDE * sizeof *buffer->columns);
    if (buffer->time == NULL || buffer->columns == NULL) {
      sample_buffer_free(buffer);
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
  }
  return true;
}

/* ---- in lanes ---- */

/* Instants whose signals have yet to be computed. */
struct sample_buffer_waiting {
  int count;
  lanes time;
  lanes state[PLANT_STATE_LIMIT];
  lanes signals[PLANT_SIGNAL_LIMIT];
};

bool sample_buffer_use_lanes(struct sample_buffer *buffer, struct vector_evaluator *evaluator, struct error *error) {
  buffer->evaluator = NULL;
  if (buffer->recorder == NULL || evaluator->lanes == NULL) {
    return true;
  }
  if (buffer->waiting == NULL) {
    buffer->waiting = aligned_zeros(sizeof *buffer->waiting);
    if (buffer->waiting == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
    memset(buffer->waiting, 0, sizeof *buffer->waiting);
  }
  buffer->waiting->count = 0;
  buffer->evaluator = evaluator;
  return true;
}

/* Instants [first, first + count) of those that were computed, into the columns. */
static void put_columns(struct sample_buffer *buffer, int first, int count) {
  const struct sample_buffer_waiting *waiting = buffer->waiting;
  memcpy(buffer->time + buffer->count, (const double *)&waiting->time + first, (size_t)count * sizeof(double));
  double *columns = buffer->columns + buffer->count;
  for (int i = 0; i < buffer->signal_count; i++) {
    const double *signals = (const double *)&waiting->signals[i];
    if (count == LANES) {
      memcpy(&columns[(size_t)i * STRIDE], signals, sizeof(lanes));
    } else {
      memcpy(&columns[(size_t)i * STRIDE], signals + first, (size_t)count * sizeof(double));
    }
  }
  buffer->count += count;
}

/* Compute what waits. */
static bool compute(struct sample_buffer *buffer, struct error *error) {
  struct sample_buffer_waiting *waiting = buffer->waiting;
  const struct lanes_evaluation to = {.signals = waiting->signals};
  int count = waiting->count;
  waiting->count = 0;
  if (count == 0) {
    return true;
  }
  const struct vector_evaluator *evaluator = buffer->evaluator;
  evaluator->lanes->evaluate(evaluator->model, evaluator->mode, &waiting->time, waiting->state, &to);
  for (int done = 0; done < count;) {
    if (buffer->count == SAMPLE_BUFFER_BLOCK && !hand_over(buffer, error)) {
      return false;
    }
    int room = SAMPLE_BUFFER_BLOCK - buffer->count;
    int now = count - done < room ? count - done : room;
    put_columns(buffer, done, now);
    done += now;
  }
  return true;
}

int sample_buffer_room(const struct sample_buffer *buffer) {
  return LANES - buffer->waiting->count;
}

bool sample_buffer_take(struct sample_buffer *buffer, struct integrator *integrator, const void *mode,
                        const double *times, int count, struct error *error) {
  struct sample_buffer_waiting *waiting = buffer->waiting;
  vector_evaluator_load_mode(buffer->evaluator, mode);
  integrator_states_at(integrator, times, waiting->count, count, waiting->state);
  memcpy((double *)&waiting->time + waiting->count, times, (size_t)count * sizeof *times);
  waiting->count += count;
  buffer->last_time = times[count - 1];
  return waiting->count < LANES || compute(buffer, error);
}

bool sample_buffer_settle(struct sample_buffer *buffer, struct error *error) {
  return buffer->evaluator == NULL || compute(buffer, error);
}

void sample_buffer_free(struct sample_buffer *buffer) {
  free(buffer->time);
  free(buffer->columns);
  buffer->time = NULL;
  buffer->columns = NULL;
  free(buffer->waiting);
  buffer->waiting = NULL;
}

/* ---- one by one ---- */

/* The last samples, still rows, into the columns. */
static void turn_tile(struct sample_buffer *buffer) {
  int count = buffer->count % SAMPLE_BUFFER_TILE == 0 ? SAMPLE_BUFFER_TILE : buffer->count % SAMPLE_BUFFER_TILE;
  double *columns = buffer->columns + buffer->count - count;
  for (int i = 0; i < buffer->signal_count; i++) {
    for (int k = 0; k < count; k++) {
      columns[(size_t)i * STRIDE + (size_t)k] = buffer->tile[k][i];
    }
  }
}

bool sample_buffer_flush(struct sample_buffer *buffer, struct error *error) {
  if (buffer->recorder == NULL) {
    return true;
  }
  if (buffer->evaluator != NULL && !compute(buffer, error)) {
    return false;
  }
  if (buffer->count == 0) {
    return true;
  }
  if (buffer->evaluator == NULL && buffer->count % SAMPLE_BUFFER_TILE != 0) {
    turn_tile(buffer);
  }
  return hand_over(buffer, error);
}

/* One instant behind those that came in lanes. */
static void put_row(struct sample_buffer *buffer, double time, const double *signals) {
  int place = buffer->count++;
  buffer->time[place] = time;
  buffer->last_time = time;
  for (int i = 0; i < buffer->signal_count; i++) {
    buffer->columns[(size_t)i * STRIDE + (size_t)place] = signals[i];
  }
}

bool sample_buffer_put(struct sample_buffer *buffer, double time, const double *signals, struct error *error) {
  if (buffer->evaluator != NULL && !compute(buffer, error)) {
    return false;
  }
  if (buffer->count == SAMPLE_BUFFER_BLOCK && !hand_over(buffer, error)) {
    return false;
  }
  if (buffer->evaluator != NULL) {
    put_row(buffer, time, signals);
    return true;
  }
  int place = buffer->count++;
  buffer->time[place] = time;
  buffer->last_time = time;
  memcpy(buffer->tile[place % SAMPLE_BUFFER_TILE], signals, (size_t)buffer->signal_count * sizeof *signals);
  if (place % SAMPLE_BUFFER_TILE == SAMPLE_BUFFER_TILE - 1) {
    turn_tile(buffer);
  }
  return true;
}
