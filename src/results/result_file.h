/* The run file: HDF5 that opens as netCDF-4 (layout: docs/files.md). Written as NAME.part, flushed in blocks, renamed
 * only when closed. */
#ifndef SWASHLOOP_RESULTS_RESULT_FILE_H
#define SWASHLOOP_RESULTS_RESULT_FILE_H

#include "draft.h"
#include "run.h"

struct result_file;

/* Create PATH.part and its datasets. `command` is the command line for `history`. */
struct result_file *result_file_open(const char *path, const struct case_data *data, const char *command,
                                     struct error *error);
/* A recorder's block function: context is the struct result_file. */
bool result_file_block(void *context, int count, const double *time, const double *const *values, struct error *error);
/* Write measures, events, ledger, parameters, solver and status; close; rename to PATH or, as `fate` says, leave it at
 * PATH.part. Frees in any case. On failure PATH.part is removed (nothing that looks complete is left) and the error
 * says why. */
bool result_file_close(struct result_file *file, const struct case_data *data, const struct outcome *outcome,
                       enum draft_fate fate, struct error *error);
/* How long the file of a run becomes, bytes, with so many samples and events. */
double result_file_bytes(const struct case_data *data, double rows, double events);
/* Processor time that writing so many bytes takes, s, as measured on one machine of today: by the file library and the
 * system, without what the disk lets one wait. */
double result_file_seconds(double bytes);
/* Give up: close and remove PATH.part. */
void result_file_abandon(struct result_file *file);

#endif
