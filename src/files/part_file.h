/* A file of results while it is made: written as NAME.part, it gets its name only when it is whole and on the disk. */
#ifndef SWASHLOOP_FILES_PART_FILE_H
#define SWASHLOOP_FILES_PART_FILE_H

#include "error.h"
#include "h5_write.h"

struct part_file {
  char *path; /* the file wanted */
  char *part; /* the file being written */
  hid_t file;
  struct h5_log log;
};

/* Create the part. The operating system is asked first: its words are better than those of the file library, and a
 * target that the last rename could not replace is found before the work instead of after it. */
bool part_open(struct part_file *file, const char *path, struct error *error);
/* The error of the first failure, if there was one. */
bool part_good(const struct part_file *file, struct error *error);
/* Close, bring to the disk, give it its name; or, when `keep` is false or anything fails, remove the part. What is open
 * in it must be closed before. */
bool part_close(struct part_file *file, bool keep, struct error *error);

#endif
