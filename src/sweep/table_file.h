/* A table file while it is made: PATH.part until it is whole. Shared by table.c and merge.c. */
#ifndef SWASHLOOP_SWEEP_TABLE_FILE_H
#define SWASHLOOP_SWEEP_TABLE_FILE_H

#include "error.h"
#include "h5_columns.h"

struct table_file {
  char path[4096];
  char part[4096];
  hid_t file;
  struct h5_log log;
};

bool table_file_open(struct table_file *table, const char *path, struct error *error);
/* The error of the first failure, if there was one. */
bool table_file_good(const struct table_file *table, struct error *error);
/* Close, bring to the disk, rename; or, when `keep` is false or anything fails, remove. */
bool table_file_close(struct table_file *table, bool keep, struct error *error);

#endif
