/* The groups of a run file that are written once, at the end (layout: docs/files.md). */
#ifndef SWASHLOOP_RESULTS_RESULT_GROUPS_H
#define SWASHLOOP_RESULTS_RESULT_GROUPS_H

#include "h5_write.h"
#include "run.h"

/* The attributes that every number carries: units, trade_units, long_name and, for pressures, pressure_reference. */
void result_describe(hid_t dataset, enum quantity quantity, enum reference reference, const char *text,
                     struct h5_log *log);

/* One group each, by its name. */
void result_write_measures(hid_t file, const struct outcome *outcome, struct h5_log *log);
void result_write_events(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log);
void result_write_ledger(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log);
void result_write_limits(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log);
void result_write_parameters(hid_t file, const struct case_data *data, struct h5_log *log);
void result_write_solver(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log);

#endif
