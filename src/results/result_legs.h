/* The legs of a course as columns: in the run file (docs/files.md), and for who writes them elsewhere. */
#ifndef SWASHLOOP_RESULTS_RESULT_LEGS_H
#define SWASHLOOP_RESULTS_RESULT_LEGS_H

#include "result_groups.h"

/* The group `legs`; none where no driver follows a course. */
void result_write_legs(hid_t file, const struct case_data *data, const struct outcome *outcome, struct h5_log *log);
/* How many columns a phase has beside its energies; the name of one, and its value in SI. */
int result_leg_columns(void);
const char *result_leg_column(int column, const struct run_leg *leg, double *value);

#endif
