#define _XOPEN_SOURCE 700 /* realpath */

#include "draft.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "output.h"

/* "NAME.part", to be freed; NULL when memory is out. */
static char *part_name(const char *path) {
  size_t size = strlen(path) + sizeof ".part";
  char *part = malloc(size);
  if (part != NULL) {
    (void)snprintf(part, size, "%s.part", path);
  }
  return part;
}

static void forget(struct draft *draft) {
  free(draft->path);
  free(draft->part);
  *draft = (struct draft){.descriptor = -1};
}

/* Both names; false with errno. */
static bool find_names(struct draft *draft, const char *path) {
  struct stat status;
  bool is_link = lstat(path, &status) == 0 && S_ISLNK(status.st_mode);
  *draft = (struct draft){is_link ? realpath(path, NULL) : strdup(path), NULL, -1};
  draft->part = draft->path != NULL ? part_name(draft->path) : NULL;
  return draft->part != NULL;
}

/* Locked by another process for longer than one that was just killed takes to end? */
static bool is_busy(int descriptor) {
  const struct timespec pause = {0, 20000000};
  for (int i = 0; flock(descriptor, LOCK_EX | LOCK_NB) != 0; i++) {
    if (errno != EWOULDBLOCK) {
      return false; /* a file system without locks */
    }
    if (i == 25) {
      return true;
    }
    (void)nanosleep(&pause, NULL);
  }
  return false;
}

/* What lies under the part's name was left by a process of this program that died: remove it. */
static bool clear_stale(const struct draft *draft, struct error *error) {
  struct stat status;
  int descriptor = open(draft->part, O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) {
    if (errno == ELOOP || errno == EISDIR) {
      return error_set(error, ERROR_OUTPUT, "%s is in the way: it is no regular file", draft->part);
    }
    return error_set(error, ERROR_OUTPUT, "%s could not be created: %s", draft->part, strerror(errno));
  }
  bool busy = is_busy(descriptor);
  bool regular = fstat(descriptor, &status) == 0 && S_ISREG(status.st_mode);
  bool ours = regular && (status.st_size == 0 || output_made_here(descriptor));
  bool good = ours && !busy && unlink(draft->part) == 0;
  (void)close(descriptor);
  if (busy) {
    return error_set(error, ERROR_OUTPUT, "%s is being written by another run", draft->part);
  }
  if (!ours) {
    return error_set(error, ERROR_OUTPUT, "%s is in the way: %s; remove it or choose another name", draft->part,
                     regular ? "this program did not make it" : "it is no regular file");
  }
  return good || error_set(error, ERROR_OUTPUT, "%s could not be replaced: %s", draft->part, strerror(errno));
}

static bool create(struct draft *draft, struct error *error) {
  struct stat status;
  if (stat(draft->path, &status) == 0 && !S_ISREG(status.st_mode)) {
    return error_set(error, ERROR_OUTPUT, "%s cannot be replaced: it is no regular file", draft->path);
  }
  const int flags = O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC;
  draft->descriptor = open(draft->part, flags, 0666);
  if (draft->descriptor < 0 && errno == EEXIST) {
    if (!clear_stale(draft, error)) {
      return false;
    }
    draft->descriptor = open(draft->part, flags, 0666);
  }
  if (draft->descriptor < 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be created: %s", draft->part, strerror(errno));
  }
  if (flock(draft->descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
    (void)close(draft->descriptor);
    return error_set(error, ERROR_OUTPUT, "%s is being written by another run", draft->part);
  }
  return true;
}

bool draft_open(struct draft *draft, const char *path, struct error *error) {
  bool good = find_names(draft, path);
  if (!good && (errno == ENOENT || errno == ELOOP)) {
    error_set(error, ERROR_OUTPUT, "%s cannot be written: it is a link to nothing", path);
  } else if (!good) {
    error_set(error, errno == ENOMEM ? ERROR_MEMORY : ERROR_OUTPUT, "%s cannot be written: %s", path, strerror(errno));
  }
  good = good && create(draft, error);
  if (!good) {
    forget(draft);
  }
  return good;
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

static bool name_it(const struct draft *draft, struct error *error) {
  struct stat earlier;
  if (stat(draft->path, &earlier) == 0) {
    (void)fchmod(draft->descriptor, earlier.st_mode & 07777U); /* a file system without permissions has none to keep */
  }
  if (rename(draft->part, draft->path) != 0) {
    return error_set(error, ERROR_OUTPUT, "%s could not be renamed to %s: %s", draft->part, draft->path,
                     strerror(errno));
  }
  sync_folder_of(draft->path);
  return true;
}

bool draft_close(struct draft *draft, enum draft_fate fate, struct error *error) {
  bool good = fate != DRAFT_REMOVE;
  /* On the disk before it gets its name. */
  if (good && fsync(draft->descriptor) != 0) {
    good = error_set(error, ERROR_OUTPUT, "%s could not be brought to the disk: %s", draft->part, strerror(errno));
  }
  good = good && (fate == DRAFT_LEAVE_PART || name_it(draft, error));
  if (!good) {
    (void)unlink(draft->part);
  }
  (void)close(draft->descriptor);
  forget(draft);
  return good;
}

void draft_clear(const char *path) {
  struct draft draft;
  struct stat status;
  if (find_names(&draft, path) && lstat(draft.part, &status) == 0) {
    (void)clear_stale(&draft, NULL);
  }
  forget(&draft);
}
