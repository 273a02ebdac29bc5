/* Files of kept time histories: TABLE.runs/case_000012.h5. */
#ifndef SWASHLOOP_SWEEP_HISTORIES_H
#define SWASHLOOP_SWEEP_HISTORIES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "error.h"

enum { HISTORIES_PATH = 4096 };

/* The folder of a table's histories, and the file of a case in it. False: the path is too long. */
bool histories_folder(const char *table, char folder[HISTORIES_PATH], struct error *error);
bool histories_file(const char *folder, int64_t k, char path[HISTORIES_PATH], struct error *error);
/* Make the folder, unless it is there. */
bool histories_make_folder(const char *folder, struct error *error);
bool histories_there(const char *path);
/* May the histories of a table be written: is what is there under such names a run file of ours? */
bool histories_may_be_written(const char *table, bool force, struct error *error);
/* All bytes to an open file; false with errno. */
bool histories_write(int descriptor, const void *bytes, size_t size);
/* Bytes of a file to another name, which it gets when it is whole; a link where the file system can. */
bool histories_copy(const char *from, const char *to, struct error *error);
/* The histories of cases first, first + every, ... below `cases` from one folder into another, which is made when there
 * are any; `count` grows by their number. */
bool histories_gather(const char *from, const char *to, int64_t first, int64_t every, int64_t cases, int64_t *count,
                      struct error *error);

#endif
