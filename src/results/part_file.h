/* A file that is written as NAME.part and gets its name only when it is whole and on the disk. */
#ifndef SWASHLOOP_RESULTS_PART_FILE_H
#define SWASHLOOP_RESULTS_PART_FILE_H

#include <stdbool.h>

#include "error.h"

/* "NAME.part", to be freed; NULL when memory is out. */
char *part_name(const char *path);
/* Ask the operating system first: its words are better than those of the file library, and a target that the last
 * rename could not replace is found before the work instead of after it. */
bool part_can_create(const char *path, const char *part, struct error *error);
/* Bring the part to the disk and give it its name. The part is removed on failure. */
bool part_finish(const char *path, const char *part, struct error *error);

#endif
