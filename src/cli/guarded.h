/* Work in a process of its own, so that whatever brings it down is reported and leaves nothing behind: a damaged or
 * hostile HDF5 file can crash the file library, keep it busy for ever or have it ask for all memory, and several
 * libraries end the process when memory is out. */
#ifndef SWASHLOOP_CLI_GUARDED_H
#define SWASHLOOP_CLI_GUARDED_H

#include <stdbool.h>

struct guard {
  const char *const *files; /* that are read */
  int file_count;
  bool bounded; /* in time and memory, by the size of the files */
};

/* The exit code, as `work` gives it. */
int guarded_run(int (*work)(void *context), void *context, const struct guard *guard);

#endif
