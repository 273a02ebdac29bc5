#define _GNU_SOURCE /* realpath, memory without a file */

#include "draft.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "memory_watch.h"
#include "output.h"

/* ---- the list of open drafts ---- */

enum { OPEN_LIMIT = 4200 }; /* more than a sweep has threads; pages that are not used cost nothing */

/* Named before the part is made: whoever dies between the two leaves a part that is on the list. */
enum { FREE, TAKEN, NAMED, MADE };

struct open_draft {
  atomic_int state;
  dev_t device; /* of a part that is made */
  ino_t number;
  char part[PATH_MAX];
};

/* What a process leaves must be found by the one that outlives it: it lies where both see it. */
static struct open_draft *open_drafts;

bool draft_share(void) {
  void *shared = mmap(NULL, OPEN_LIMIT * sizeof *open_drafts, PROT_READ | PROT_WRITE,
                      MAP_SHARED | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
  open_drafts = shared != MAP_FAILED ? shared : NULL;
  return open_drafts != NULL;
}

static void put_on_list(struct draft *draft) {
  for (int i = 0; open_drafts != NULL && i < OPEN_LIMIT; i++) {
    int vacant = FREE;
    if (atomic_compare_exchange_strong(&open_drafts[i].state, &vacant, TAKEN)) {
      draft->listed = &open_drafts[i];
      (void)snprintf(draft->listed->part, sizeof draft->listed->part, "%s", draft->part);
      atomic_store(&draft->listed->state, NAMED);
      return;
    }
  }
}

static void note_made(const struct draft *draft) {
  struct stat status;
  if (draft->listed != NULL && fstat(draft->descriptor, &status) == 0) {
    draft->listed->device = status.st_dev;
    draft->listed->number = status.st_ino;
    atomic_store(&draft->listed->state, MADE);
  }
}

static bool lies_at(const char *path, dev_t device, ino_t number) {
  struct stat status;
  return lstat(path, &status) == 0 && S_ISREG(status.st_mode) && status.st_dev == device && status.st_ino == number;
}

/* ---- one draft ---- */

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
  if (draft->listed != NULL) {
    atomic_store(&draft->listed->state, FREE);
  }
  *draft = (struct draft){.descriptor = -1};
}

/* Both names; false with errno. */
static bool find_names(struct draft *draft, const char *path) {
  struct stat status;
  bool is_link = lstat(path, &status) == 0 && S_ISLNK(status.st_mode);
  *draft = (struct draft){is_link ? realpath(path, NULL) : strdup(path), NULL, -1, NULL};
  draft->part = draft->path != NULL ? part_name(draft->path) : NULL;
  return draft->part != NULL;
}

bool draft_lock(int descriptor) {
  /* The process of a killed owner may take a while to go: some three seconds are waited for. */
  const struct timespec pause = {0, 20000000};
  for (int i = 0; flock(descriptor, LOCK_EX | LOCK_NB) != 0; i++) {
    if (errno != EWOULDBLOCK) {
      return true; /* a file system without locks */
    }
    if (i == 150) {
      return false;
    }
    (void)nanosleep(&pause, NULL);
  }
  return true;
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
  bool busy = !draft_lock(descriptor);
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
  if (good) {
    put_on_list(draft);
    good = create(draft, error);
  }
  if (good) {
    note_made(draft);
  } else {
    forget(draft);
  }
  return good;
}

/* The new name itself; not every file system can, and then nothing is lost by it. */
static void sync_folder_of(const char *path) {
  char folder[PATH_MAX];
  const char *slash = strrchr(path, '/');
  int length = slash == path ? 1 : slash != NULL ? (int)(slash - path) : 0;
  (void)snprintf(folder, sizeof folder, "%.*s", slash != NULL ? length : 1, slash != NULL ? path : ".");
  int descriptor = open(folder, O_RDONLY | O_CLOEXEC);
  if (descriptor >= 0) {
    (void)fsync(descriptor);
    (void)close(descriptor);
  }
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
  bool good = fate != DRAFT_REMOVE && memory_suffices(error);
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

void draft_clear_shared(void) {
  for (int i = 0; open_drafts != NULL && i < OPEN_LIMIT; i++) {
    struct open_draft *slot = &open_drafts[i];
    int state = atomic_exchange(&slot->state, FREE);
    if (state == NAMED) {
      struct draft named = {.part = slot->part, .descriptor = -1};
      (void)clear_stale(&named, NULL);
    } else if (state == MADE && lies_at(slot->part, slot->device, slot->number)) {
      (void)unlink(slot->part);
    }
  }
}
