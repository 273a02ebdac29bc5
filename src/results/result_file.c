#include "result_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "part_file.h"
#include "provenance.h"
#include "result_groups.h"
#include "result_legs.h"

/* Samples in a chunk, but for short runs: every write but the last is one whole chunk, so nothing is read back. */
#define FLUSH_SECONDS 0.25 /* wall time between flushes */

enum { LARGEST_CHUNK = 4096, SMALLEST_CHUNK = 64 };

struct result_file {
  struct part_file out;
  hid_t time;
  hid_t signals[PLANT_SIGNAL_LIMIT]; /* of the signals that the case's laws have */
  int source[PLANT_SIGNAL_LIMIT];    /* their places among the plant's */
  int signal_count;
  hsize_t written; /* samples in the file */
  double flushed;  /* s, wall clock, when everything so far was last given to the operating system */
  int chunk;
  int held;       /* samples in the buffer */
  double *buffer; /* a chunk of time, then one of each signal */
};

static double *buffer_of(struct result_file *file, int column) {
  return file->buffer + (size_t)column * (size_t)file->chunk;
}

static void free_all(struct result_file *file) {
  free(file->buffer);
  free(file);
}

static void close_histories(struct result_file *file) {
  for (int s = 0; s < file->signal_count; s++) {
    h5_close_dataset(file->signals[s], &file->out.log);
  }
  h5_close_dataset(file->time, &file->out.log);
}

void result_file_abandon(struct result_file *file) {
  if (file == NULL) {
    return;
  }
  close_histories(file);
  (void)part_close(&file->out, DRAFT_REMOVE, NULL);
  free_all(file);
}

static void write_root_attributes(struct result_file *file, const struct case_data *data, const char *command) {
  struct h5_log *log = &file->out.log;
  provenance_write(file->out.file, OUTPUT_RUN, data->title, command, log);
  h5_text_attribute(file->out.file, "plant", data->plant->name, log);
  h5_text_attribute(file->out.file, "case", data->resolved, log);
  provenance_warnings(file->out.file, data, log);
  h5_text_attribute(file->out.file, "status", "running", log);
  h5_text_attribute(file->out.file, "status_message", "the run is not over, or was killed", log);
}

static void create_histories(struct result_file *file, const struct case_data *data) {
  const struct plant *plant = data->plant;
  struct h5_log *log = &file->out.log;
  file->time = h5_growing_reals(file->out.file, "time", file->chunk, H5I_INVALID_HID, log);
  result_describe(file->time, QUANTITY_TIME, REFERENCE_NONE, "time since the start of the run", log);
  for (int s = 0; s < plant->signal_count; s++) {
    if (!plant->signal_active(data->parameters, s)) {
      continue;
    }
    const struct signal *row = &plant->signals[s];
    hid_t history = h5_growing_reals(file->out.file, row->name, file->chunk, file->time, log);
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

/* What a file holds besides its samples, bytes: attributes and groups, the description of each signal and of each
 * parameter, the place of each chunk, each event. Counted on files of this program; tests/cli/forecast.py holds it
 * against them. */
enum {
  BYTES_OF_FILE = 66000,
  BYTES_OF_SIGNAL = 3000,
  BYTES_OF_PARAMETER = 950,
  BYTES_OF_CHUNK = 56,
  BYTES_OF_EVENT = 220
};

double result_file_bytes(const struct case_data *data, double rows, double events) {
  const struct plant *plant = data->plant;
  int columns = 1;
  int parameters = simulation_group.field_count;
  for (int s = 0; s < plant->signal_count; s++) {
    columns += plant->signal_active(data->parameters, s);
  }
  for (int g = 0; g < plant->group_count; g++) {
    parameters += plant->groups[g].field_count;
  }
  double chunk = chunk_for(&data->simulation);
  double chunks = ceil(rows / chunk);
  return BYTES_OF_FILE + (double)BYTES_OF_PARAMETER * parameters + BYTES_OF_EVENT * events +
         columns * (BYTES_OF_SIGNAL + chunks * (BYTES_OF_CHUNK + chunk * (double)sizeof(double)));
}

double result_file_seconds(double bytes) {
  return 1.7e-9 * bytes;
}

static struct result_file *new_file(int signal_count, int chunk) {
  struct result_file *file = calloc(1, sizeof *file);
  if (file == NULL) {
    return NULL;
  }
  file->chunk = chunk;
  file->time = H5I_INVALID_HID;
  file->buffer = malloc(((size_t)signal_count + 1) * (size_t)file->chunk * sizeof *file->buffer);
  if (file->buffer == NULL) {
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
  h5_flush_file(file->out.file, &file->out.log);
  file->flushed = wall_clock();
}

struct result_file *result_file_open(const char *path, const struct case_data *data, const char *command,
                                     struct error *error) {
  struct result_file *file = new_file(data->plant->signal_count, chunk_for(&data->simulation));
  if (file == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for the buffers of %s", path);
    return NULL;
  }
  if (!part_open(&file->out, path, error)) {
    free_all(file);
    return NULL;
  }
  write_root_attributes(file, data, command);
  create_histories(file, data);
  flush(file);
  if (!part_good(&file->out, error)) {
    result_file_abandon(file);
    return NULL;
  }
  return file;
}

/* `count` samples to the file, all of a chunk but at the end; a column a signal of the file, each with room for a
 * chunk; flushed now and then, so that a killed run leaves a part that can be read. */
static bool append(struct result_file *file, int count, const double *time, const double *const *values) {
  h5_append_chunk(file->time, file->written, count, file->chunk, time, &file->out.log);
  for (int s = 0; s < file->signal_count; s++) {
    h5_append_chunk(file->signals[s], file->written, count, file->chunk, values[s], &file->out.log);
  }
  file->written += (hsize_t)count;
  if (wall_clock() - file->flushed > FLUSH_SECONDS) {
    flush(file);
  }
  return !file->out.log.failed;
}

static bool append_held(struct result_file *file) {
  const double *columns[PLANT_SIGNAL_LIMIT] = {NULL};
  int count = file->held;
  size_t rest = (size_t)(file->chunk - count) * sizeof(double); /* of the last chunk: nothing */
  memset(buffer_of(file, 0) + count, 0, rest);
  for (int s = 0; s < file->signal_count; s++) {
    memset(buffer_of(file, s + 1) + count, 0, rest);
    columns[s] = buffer_of(file, s + 1);
  }
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
    return append(file, count, time, columns) || part_good(&file->out, error);
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
      return part_good(&file->out, error);
    }
  }
  return true;
}

bool result_file_close(struct result_file *file, const struct case_data *data, const struct outcome *outcome,
                       enum draft_fate fate, struct error *error) {
  struct h5_log *log = &file->out.log;
  (void)append_held(file);
  result_write_measures(file->out.file, outcome, log);
  result_write_events(file->out.file, data, outcome, log);
  result_write_legs(file->out.file, data, outcome, log);
  result_write_ledger(file->out.file, data, outcome, log);
  result_write_limits(file->out.file, data, outcome, log);
  result_write_parameters(file->out.file, data, log);
  result_write_solver(file->out.file, data, outcome, log);
  h5_change_text_attribute(file->out.file, "status", run_status_names[outcome->status], log);
  h5_change_text_attribute(file->out.file, "status_message", outcome->status == RUN_FAILED ? outcome->error.text : "",
                           log);
  close_histories(file);
  bool good = part_close(&file->out, fate, error);
  free_all(file);
  return good;
}
