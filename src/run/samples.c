#include "samples.h"

#include <stdlib.h>
#include <string.h>

/* Not a power of two: columns that share a cache line's place would push each other out. */
enum { STRIDE = SAMPLES_BLOCK + 24 };

bool samples_begin(struct samples *samples, const struct recorder *recorder, int signal_count, struct error *error) {
  samples->recorder = recorder;
  samples->signal_count = signal_count;
  samples->count = 0;
  samples->last_time = -1.0;
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

void samples_free(struct samples *samples) {
  free(samples->time);
  free(samples->columns);
  samples->time = NULL;
  samples->columns = NULL;
}

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
  if (samples->recorder == NULL || samples->count == 0) {
    return true;
  }
  if (samples->count % SAMPLES_TILE != 0) {
    turn_tile(samples);
  }
  const double *columns[PLANT_SIGNAL_LIMIT];
  for (int i = 0; i < samples->signal_count; i++) {
    columns[i] = samples->columns + (size_t)i * STRIDE;
  }
  const struct recorder *recorder = samples->recorder;
  bool good = recorder->block(recorder->context, samples->count, samples->time, columns, error);
  samples->count = 0;
  return good;
}

bool samples_put(struct samples *samples, double time, const double *signals, struct error *error) {
  if (samples->count == SAMPLES_BLOCK && !samples_flush(samples, error)) {
    return false;
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
