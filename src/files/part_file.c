#include "part_file.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

/* "NAME.part", to be freed; NULL when memory is out. */
static char *part_name(const char *path) {
  size_t size = strlen(path) + sizeof ".part";
  char *part = malloc(size);
  if (part != NULL) {
    (void)snprintf(part, size, "%s.part", path);
  }
  return part;
}

static bool can_create(const char *path, const char *part, struct error *error) {
  struct stat status;
  if (stat(path, &status) == 0 && !S_ISREG(status.st_mode)) {
    return error_set(error, ERROR_OUTPUT, "%s cannot be replaced: it is no regular file", path);
  }
  int descriptor = open(part, O_WRONLY | O_CREAT | O_CLOEXEC, 0666);
  if (descriptor < 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be created: %s", part, strerror(errno));
  }
  /* The file library would empty the part of another run before it finds the lock: look first. */
  bool busy = flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
  (void)close(descriptor);
  if (busy) {
    return error_set(error, ERROR_OUTPUT, "%s is being written by another run", part);
  }
  return true;
}

/* On the disk before it gets its name. */
static bool sync_path(const char *path) {
  int descriptor = open(path, O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) {
    return false;
  }
  int result = fsync(descriptor);
  int kept = errno;
  (void)close(descriptor);
  errno = kept;
  return result == 0;
}

/* The new name itself; not every file system can, and then nothing is lost by it. */
static void sync_folder_of(const char *path) {
  char *own = strdup(path);
  int descriptor = own != NULL ? open(dirname(own), O_RDONLY | O_CLOEXEC) : -1;
  if (descriptor >= 0) {
    (void)fsync(descriptor);
    (void)close(descriptor);
  }
  free(own);
}

static bool finish(const struct part_file *file, struct error *error) {
  if (!sync_path(file->part)) {
    return error_set(error, ERROR_OUTPUT, "%s could not be brought to the disk: %s", file->part, strerror(errno));
  }
  if (rename(file->part, file->path) != 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be renamed to %s: %s", file->part, file->path, strerror(errno));
  }
  sync_folder_of(file->path);
  return true;
}

static void forget(struct part_file *file) {
  free(file->path);
  free(file->part);
  *file = (struct part_file){.file = H5I_INVALID_HID};
}

bool part_open(struct part_file *file, const char *path, struct error *error) {
  *file = (struct part_file){.path = strdup(path), .part = part_name(path), .file = H5I_INVALID_HID};
  if (file->path == NULL || file->part == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for %s", path);
    forget(file);
    return false;
  }
  if (!can_create(file->path, file->part, error)) {
    forget(file);
    return false;
  }
  h5_start(&file->log);
  file->file = h5_create_file(file->part, &file->log);
  return file->file >= 0 || part_close(file, true, error);
}

bool part_good(const struct part_file *file, struct error *error) {
  return !file->log.failed || error_set(error, ERROR_OUTPUT, "%s could not be written: %s", file->part,
                                        file->log.reason[0] != '\0' ? file->log.reason : "no reason known");
}

bool part_close(struct part_file *file, bool keep, struct error *error) {
  if (file->file >= 0) {
    h5_note(&file->log, H5Fflush(file->file, H5F_SCOPE_GLOBAL));
    h5_note(&file->log, H5Fclose(file->file));
  }
  h5_stop(&file->log);
  bool good = keep && part_good(file, error) && finish(file, error);
  if (!good) {
    (void)unlink(file->part);
  }
  forget(file);
  return good;
}
