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

char *part_name(const char *path) {
  size_t size = strlen(path) + sizeof ".part";
  char *part = malloc(size);
  if (part != NULL) {
    (void)snprintf(part, size, "%s.part", path);
  }
  return part;
}

bool part_can_create(const char *path, const char *part, struct error *error) {
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

bool part_finish(const char *path, const char *part, struct error *error) {
  bool good = true;
  if (!sync_path(part)) {
    good = error_set(error, ERROR_OUTPUT, "%s could not be brought to the disk: %s", part, strerror(errno));
  } else if (rename(part, path) != 0) {
    good = error_set(error, ERROR_OUTPUT, "%s could not be renamed to %s: %s", part, path, strerror(errno));
  }
  if (good) {
    sync_folder_of(path);
  } else {
    (void)unlink(part);
  }
  return good;
}
