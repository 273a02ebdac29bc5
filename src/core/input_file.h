/* A file that is read as text: opened so that a signal ends the waiting for a pipe, read whole, and known afterwards by
 * device and number, so that nothing is written over it under whatever name. */
#ifndef SWASHLOOP_CORE_INPUT_FILE_H
#define SWASHLOOP_CORE_INPUT_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/stat.h>

/* One of a list; the memory belongs to whoever keeps the list. */
struct input_file {
  const char *path;
  dev_t device;
  ino_t number;
  const struct input_file *next;
  const char *guessed; /* what the file does not say of itself and had to be guessed; NULL: nothing */
  const char *text;    /* as read, where it is still in memory; NULL: it is not */
  size_t length;
};

/* Files that another process has read and sent: they are looked for here by their paths, and nowhere else. */
struct carried_file {
  const char *path;
  const char *text;
  size_t length;
};

struct carried_files {
  const struct carried_file *list;
  int count;
};

/* The whole file, a zero behind its end, to be freed. Of a file larger than `limit` bytes no more than one byte beyond
 * the limit is read: `*length` tells. NULL with `*why` pointing to the reason, errno too: EINTR when a signal came
 * while nothing was there to read. `status`, if not NULL, becomes what the system says of the file. */
char *input_read(const char *path, size_t limit, size_t *length, struct stat *status, const char **why);

/* The name under which standard input is read; `-` on the command line. It lies in no folder: files that it names are
 * looked for in the present one. */
#define STANDARD_INPUT "/dev/stdin"

/* Does `file` lie outside both the folder of the file `named` on the command line and the present folder, and outside
 * all folders below them? Where the system does not say, it counts as outside. */
bool input_is_outside(const char *file, const char *named);

#endif
