/* What people look at in a table, made once from its rows and kept in the file, so that the picture and the page show
 * the same: the steps of everything varied (group `steps`), how the cases fared by region with the probability that a
 * limit breaks (group `regions`), and for a Saltelli design Sobol's indices (group `indices`). */
#ifndef SWASHLOOP_SWEEP_TABLE_VIEWS_H
#define SWASHLOOP_SWEEP_TABLE_VIEWS_H

#include <stdint.h>

#include "h5_read.h"
#include "h5_write.h"

/* Is it the name of one of these groups? */
bool table_views_group(const char *name);

/* Read the columns of the table back that lies in `file`, which is still open to write, and write the groups. `path`
 * stands in messages. False: it could not be read, and `error` says why; what could not be written stands in `log`. */
bool table_views_write(hid_t file, const char *path, int64_t rows, struct h5_log *log, struct error *error);

#endif
