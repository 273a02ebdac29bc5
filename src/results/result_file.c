#include "result_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "h5_write.h"
#include "part_file.h"
#include "provenance.h"
#include "result_groups.h"

/* Samples in a chunk, but for short runs: every write but the last is one whole chunk, so nothing is read back. */
#define FLUSH_SECONDS 0.25 /* wall time between flushes */

enum { LARGEST_CHUNK = 4096, SMALLEST_CHUNK = 64 };

struct result_file {
  char *path; /* the file wanted */
  char *part; /* the file being written */
  hid_t file;
  hid_t time;
  hid_t signals[PLANT_SIGNAL_LIMIT]; /* of the signals that the case's laws have */
  int source[PLANT_SIGNAL_LIMIT];    /* their places among the plant's */
  int signal_count;
  hsize_t written; /* samples in the file */
  double flushed;  /* s, wall clock, when everything so far was last given to the operating system */
  int chunk;
  int held;       /* samples in the buffer */
  double *buffer; /* a chunk of time, then one of each signal */
  struct h5_log log;
};

static double *buffer_of(struct result_file *file, int column) {
  return file->buffer + (size_t)column * (size_t)file->chunk;
}

static void free_all(struct result_file *file) {
  free(file->path);
  free(file->part);
  free(file->buffer);
  free(file);
}

/* Close everything of HDF5, noting failures. */
static void close_file(struct result_file *file) {
  for (int s = 0; s < file->signal_count; s++) {
    h5_close_dataset(file->signals[s], &file->log);
  }
  h5_close_dataset(file->time, &file->log);
  if (file->file >= 0) {
    h5_note(&file->log, H5Fflush(file->file, H5F_SCOPE_GLOBAL));
    h5_note(&file->log, H5Fclose(file->file));
  }
  h5_stop(&file->log);
}

void result_file_abandon(struct result_file *file) {
  if (file == NULL) {
    return;
  }
  close_file(file);
  (void)unlink(file->part);
  free_all(file);
}

static bool write_error(const struct result_file *file, struct error *error) {
  return error_set(error, ERROR_OUTPUT, "%s could not be written: %s", file->part,
                   file->log.reason[0] != '\0' ? file->log.reason : "no reason known");
}

static void write_root_attributes(struct result_file *file, const struct case_data *data, const char *command) {
  struct h5_log *log = &file->log;
  provenance_write(file->file, data->title, command, log);
  h5_text_attribute(file->file, "plant", data->plant->name, log);
  h5_text_attribute(file->file, "case", data->resolved, log);
  h5_text_attribute(file->file, "status", "running", log);
  h5_text_attribute(file->file, "status_message", "the run is not over, or was killed", log);
}

static void create_histories(struct result_file *file, const struct case_data *data) {
  const struct plant *plant = data->plant;
  struct h5_log *log = &file->log;
  file->time = h5_growing_reals(file->file, "time", file->chunk, H5I_INVALID_HID, log);
  result_describe(file->time, QUANTITY_TIME, REFERENCE_NONE, "time since the start of the run", log);
  for (int s = 0; s < plant->signal_count; s++) {
    if (!plant->signal_active(data->parameters, s)) {
      continue;
    }
    const struct signal *row = &plant->signals[s];
    hid_t history = h5_growing_reals(file->file, row->name, file->chunk, file->time, log);
    result_describe(history, row->quantity, row->reference, row->text, log);
    file->source[file->signal_count] = s;
    file->signals[file->signal_count++] = history;
  }
}

/* A run shorter than a chunk gets a chunk of its own length, so that its file is not mostly empty. */
static int chunk_for(const struct simulation_parameters *simulation) {
  double samples = ceil(simulation->end_time / simulation->output_step) + 2.0;
  return (int)fmin(fmax(samples, SMALLEST_CHUNK), LARGEST_CHUNK);
}

static struct result_file *new_file(const char *path, int signal_count, int chunk) {
  struct result_file *file = calloc(1, sizeof *file);
  if (file == NULL) {
    return NULL;
  }
  file->chunk = chunk;
  file->file = H5I_INVALID_HID;
  file->time = H5I_INVALID_HID;
  file->path = strdup(path);
  file->part = part_name(path);
  file->buffer = malloc(((size_t)signal_count + 1) * (size_t)file->chunk * sizeof *file->buffer);
  if (file->path == NULL || file->part == NULL || file->buffer == NULL) {
    free_all(file);
    return NULL;
  }
  return file;
}

static double wall_clock(void) {
  struct timespec now = {0, 0};
  (void)clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void flush(struct result_file *file) {
  h5_note(&file->log, H5Fflush(file->file, H5F_SCOPE_GLOBAL));
  file->flushed = wall_clock();
}

struct result_file *result_file_open(const char *path, const struct case_data *data, const char *command,
                                     struct error *error) {
  struct result_file *file = new_file(path, data->plant->signal_count, chunk_for(&data->simulation));
  if (file == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for the buffers of %s", path);
    return NULL;
  }
  if (!part_can_create(file->path, file->part, error)) {
    free_all(file);
    return NULL;
  }
  h5_start(&file->log);
  file->file = h5_create_file(file->part, &file->log);
  if (file->file < 0) {
    write_error(file, error);
    result_file_abandon(file);
    return NULL;
  }
  write_root_attributes(file, data, command);
  create_histories(file, data);
  flush(file);
  if (file->log.failed) {
    write_error(file, error);
    result_file_abandon(file);
    return NULL;
  }
  return file;
}

/* `count` samples to the file, a column a signal of the file; flushed now and then, so that a killed run leaves a part
 * that can be read. */
static bool append(struct result_file *file, int count, const double *time, const double *const *values) {
  h5_append(file->time, file->written, count, time, &file->log);
  for (int s = 0; s < file->signal_count; s++) {
    h5_append(file->signals[s], file->written, count, values[s], &file->log);
  }
  file->written += (hsize_t)count;
  if (wall_clock() - file->flushed > FLUSH_SECONDS) {
    flush(file);
  }
  return !file->log.failed;
}

static bool append_held(struct result_file *file) {
  const double *columns[PLANT_SIGNAL_LIMIT] = {NULL};
  for (int s = 0; s < file->signal_count; s++) {
    columns[s] = buffer_of(file, s + 1);
  }
  int count = file->held;
  file->held = 0;
  return count == 0 || append(file, count, buffer_of(file, 0), columns);
}

bool result_file_block(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct result_file *file = context;
  int taken = 0;
  if (file->held == 0 && count == file->chunk) {
    const double *columns[PLANT_SIGNAL_LIMIT] = {NULL};
    for (int s = 0; s < file->signal_count; s++) {
      columns[s] = values[file->source[s]];
    }
    return append(file, count, time, columns) || write_error(file, error);
  }
  while (taken < count) {
    int room = file->chunk - file->held;
    int share = count - taken < room ? count - taken : room;
    size_t bytes = (size_t)share * sizeof(double);
    memcpy(buffer_of(file, 0) + file->held, time + taken, bytes);
    for (int s = 0; s < file->signal_count; s++) {
      memcpy(buffer_of(file, s + 1) + file->held, values[file->source[s]] + taken, bytes);
    }
    file->held += share;
    taken += share;
    if (file->held == file->chunk && !append_held(file)) {
      return write_error(file, error);
    }
  }
  return true;
}

bool result_file_close(struct result_file *file, const struct case_data *data, const struct outcome *outcome,
                       struct error *error) {
  struct h5_log *log = &file->log;
  (void)append_held(file);
  result_write_measures(file->file, outcome, log);
  result_write_events(file->file, data, outcome, log);
  result_write_ledger(file->file, data, outcome, log);
  result_write_limits(file->file, data, outcome, log);
  result_write_parameters(file->file, data, log);
  result_write_solver(file->file, data, outcome, log);
  h5_change_text_attribute(file->file, "status", run_status_names[outcome->status], log);
  h5_change_text_attribute(file->file, "status_message", outcome->status == RUN_FAILED ? outcome->error.text : "", log);
  close_file(file);
  bool good = !log->failed || write_error(file, error);
  if (good) {
    good = part_finish(file->path, file->part, error);
  } else {
    (void)unlink(file->part);
  }
  free_all(file);
  return good;
}
