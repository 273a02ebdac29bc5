#include "table_file.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

bool table_file_open(struct table_file *table, const char *path, struct error *error) {
  *table = (struct table_file){.file = H5I_INVALID_HID};
  if (snprintf(table->path, sizeof table->path, "%s", path) >= (int)sizeof table->path ||
      snprintf(table->part, sizeof table->part, "%s.part", path) >= (int)sizeof table->part) {
    return error_set(error, ERROR_OUTPUT, "%s: the path is too long", path);
  }
  /* Asked of the operating system first, whose words are better than those of the file library. */
  int descriptor = open(table->part, O_WRONLY | O_CREAT | O_CLOEXEC, 0666);
  if (descriptor < 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be created: %s", table->part, strerror(errno));
  }
  (void)close(descriptor);
  h5_start(&table->log);
  table->file = h5_create_file(table->part, &table->log);
  return true;
}

bool table_file_good(const struct table_file *table, struct error *error) {
  return !table->log.failed || error_set(error, ERROR_OUTPUT, "%s could not be written: %s", table->part,
                                         table->log.reason[0] != '\0' ? table->log.reason : "no reason known");
}

static bool to_disk(struct table_file *table, struct error *error) {
  int descriptor = open(table->part, O_RDONLY | O_CLOEXEC);
  bool good = descriptor >= 0 && fsync(descriptor) == 0;
  int kept = errno;
  if (descriptor >= 0) {
    (void)close(descriptor);
  }
  if (!good) {
    return error_set(error, ERROR_OUTPUT, "%s could not be brought to the disk: %s", table->part, strerror(kept));
  }
  if (rename(table->part, table->path) != 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be renamed to %s: %s", table->part, table->path,
                     strerror(errno));
  }
  char folder[sizeof table->path];
  memcpy(folder, table->path, sizeof folder);
  descriptor = open(dirname(folder), O_RDONLY | O_CLOEXEC);
  if (descriptor >= 0) {
    (void)fsync(descriptor); /* not every file system can, and then nothing is lost by it */
    (void)close(descriptor);
  }
  return true;
}

bool table_file_close(struct table_file *table, bool keep, struct error *error) {
  if (table->file >= 0) {
    h5_note(&table->log, H5Fflush(table->file, H5F_SCOPE_GLOBAL));
    h5_note(&table->log, H5Fclose(table->file));
  }
  h5_stop(&table->log);
  bool good = keep && table_file_good(table, error) && to_disk(table, error);
  if (!good) {
    (void)unlink(table->part);
  }
  return good;
}
