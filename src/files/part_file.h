/* An HDF5 file of results while it is made: a draft (draft.h), sealed (seal.h) when it is closed. */
#ifndef SWASHLOOP_FILES_PART_FILE_H
#define SWASHLOOP_FILES_PART_FILE_H

#include "draft.h"
#include "h5_write.h"

struct part_file {
  struct draft draft;
  hid_t file;
  struct h5_log log;
};

/* Open a draft of `path`; false: it cannot be, and nothing is left. */
bool part_open(struct part_file *file, const char *path, struct error *error);
/* The error of the first failure, if there was one. */
bool part_good(const struct part_file *file, struct error *error);
/* Close, seal, bring to the disk, give it its name; or, when anything failed, remove the part. What is open in it must
 * be closed before. */
bool part_close(struct part_file *file, enum draft_fate fate, struct error *error);

#endif
