#include "samples.h"

#include <stdlib.h>
#include <string.h>

/* Not a power of two: columns that share a cache line's place would push each other out. */
enum { STRIDE = SAMPLES_BLOCK + 24 };

static bool hand_over(struct samples *samples, struct error *error) {
  const double *columns[PLANT_SIGNAL_LIMIT];
  for (int i = 0; i < samples->signal_count; i++) {
    columns[i] = samples->columns + (size_t)i * STRIDE;
  }
  const struct recorder *recorder = samples->recorder;
  bool good = recorder->block(recorder->context, samples->count, samples->time, columns, error);
  samples->count = 0;
  return good;
}

bool samples_begin(struct samples *samples, const struct recorder *recorder, int signal_count, struct error *error) {
  samples->recorder = recorder;
  samples->signal_count = signal_count;
  samples->count = 0;
  samples->last_time = -1.0;
  samples->ride = NULL;
  if (recorder != NULL && samples->time == NULL) {
    samples->time = malloc(SAMPLES_BLOCK * sizeof *samples->time);
    samples->columns = malloc((size_t)signal_count * STRIDE * sizeof *samples->columns);
    if (samples->time == NULL || samples->columns == NULL) {
      samples_free(samples);
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
  }
  return true;
}

/* ---- in lanes ---- */

/* Instants whose signals have yet to be computed. */
struct samples_waiting {
  int count;
  lanes time;
  lanes state[PLANT_STATE_LIMIT];
  lanes signals[PLANT_SIGNAL_LIMIT];
};

bool samples_ride(struct samples *samples, struct ride *ride, struct error *error) {
  samples->ride = NULL;
  if (samples->recorder == NULL || ride->lanes == NULL) {
    return true;
  }
  if (samples->waiting == NULL) {
    samples->waiting = ride_memory(sizeof *samples->waiting);
    if (samples->waiting == NULL) {
      return error_set(error, ERROR_MEMORY, "out of memory for the run");
    }
    memset(samples->waiting, 0, sizeof *samples->waiting);
  }
  samples->waiting->count = 0;
  samples->ride = ride;
  return true;
}

/* Instants [first, first + count) of those that were computed, into the columns. */
static void put_columns(struct samples *samples, int first, int count) {
  const struct samples_waiting *waiting = samples->waiting;
  memcpy(samples->time + samples->count, (const double *)&waiting->time + first, (size_t)count * sizeof(double));
  double *columns = samples->columns + samples->count;
  for (int i = 0; i < samples->signal_count; i++) {
    const double *signals = (const double *)&waiting->signals[i];
    if (count == LANES) {
      memcpy(&columns[(size_t)i * STRIDE], signals, sizeof(lanes));
    } else {
      memcpy(&columns[(size_t)i * STRIDE], signals + first, (size_t)count * sizeof(double));
    }
  }
  samples->count += count;
}

/* Compute what waits. */
static bool compute(struct samples *samples, struct error *error) {
  struct samples_waiting *waiting = samples->waiting;
  const struct lanes_look look = {.signals = waiting->signals};
  int count = waiting->count;
  waiting->count = 0;
  if (count == 0) {
    return true;
  }
  const struct ride *ride = samples->ride;
  ride->lanes->look(ride->model, ride->mode, &waiting->time, waiting->state, &look);
  for (int done = 0; done < count;) {
    if (samples->count == SAMPLES_BLOCK && !hand_over(samples, error)) {
      return false;
    }
    int room = SAMPLES_BLOCK - samples->count;
    int now = count - done < room ? count - done : room;
    put_columns(samples, done, now);
    done += now;
  }
  return true;
}

int samples_room(const struct samples *samples) {
  return LANES - samples->waiting->count;
}

bool samples_take(struct samples *samples, struct integrator *integrator, const void *mode, const double *times,
                  int count, struct error *error) {
  struct samples_waiting *waiting = samples->waiting;
  ride_load_mode(samples->ride, mode);
  integrator_states_at(integrator, times, waiting->count, count, waiting->state);
  memcpy((double *)&waiting->time + waiting->count, times, (size_t)count * sizeof *times);
  waiting->count += count;
  samples->last_time = times[count - 1];
  return waiting->count < LANES || compute(samples, error);
}

bool samples_settle(struct samples *samples, struct error *error) {
  return samples->ride == NULL || compute(samples, error);
}

void samples_free(struct samples *samples) {
  free(samples->time);
  free(samples->columns);
  samples->time = NULL;
  samples->columns = NULL;
  free(samples->waiting);
  samples->waiting = NULL;
}

/* ---- one by one ---- */

/* The last samples, still rows, into the columns. */
static void turn_tile(struct samples *samples) {
  int count = samples->count % SAMPLES_TILE == 0 ? SAMPLES_TILE : samples->count % SAMPLES_TILE;
  double *columns = samples->columns + samples->count - count;
  for (int i = 0; i < samples->signal_count; i++) {
    for (int k = 0; k < count; k++) {
      columns[(size_t)i * STRIDE + (size_t)k] = samples->tile[k][i];
    }
  }
}

bool samples_flush(struct samples *samples, struct error *error) {
  if (samples->recorder == NULL) {
    return true;
  }
  if (samples->ride != NULL && !compute(samples, error)) {
    return false;
  }
  if (samples->count == 0) {
    return true;
  }
  if (samples->ride == NULL && samples->count % SAMPLES_TILE != 0) {
    turn_tile(samples);
  }
  return hand_over(samples, error);
}

/* One instant behind those that came in lanes. */
static void put_row(struct samples *samples, double time, const double *signals) {
  int place = samples->count++;
  samples->time[place] = time;
  samples->last_time = time;
  for (int i = 0; i < samples->signal_count; i++) {
    samples->columns[(size_t)i * STRIDE + (size_t)place] = signals[i];
  }
}

bool samples_put(struct samples *samples, double time, const double *signals, struct error *error) {
  if (samples->ride != NULL && !compute(samples, error)) {
    return false;
  }
  if (samples->count == SAMPLES_BLOCK && !hand_over(samples, error)) {
    return false;
  }
  if (samples->ride != NULL) {
    put_row(samples, time, signals);
    return true;
  }
  int place = samples->count++;
  samples->time[place] = time;
  samples->last_time = time;
  memcpy(samples->tile[place % SAMPLES_TILE], signals, (size_t)samples->signal_count * sizeof *signals);
  if (place % SAMPLES_TILE == SAMPLES_TILE - 1) {
    turn_tile(samples);
  }
  return true;
}
