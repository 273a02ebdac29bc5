#define _XOPEN_SOURCE 700 /* realpath */

#include "input_file.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { FIRST_ROOM = 16384 };

/* Opened without waiting, for a pipe may have nobody at its other end; the waiting is done in `wait_for_bytes`. */
static int open_file(const char *path, struct stat *status) {
  int descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
  if (descriptor >= 0 && fstat(descriptor, status) == 0 && !S_ISDIR(status->st_mode)) {
    return descriptor;
  }
  if (descriptor >= 0) {
    int kept = S_ISDIR(status->st_mode) ? EISDIR : errno;
    (void)close(descriptor);
    errno = kept;
  }
  return -1;
}

/* poll() is never taken up again after a signal, read() and open() are: Ctrl-C must end the waiting. */
static bool wait_for_bytes(int descriptor) {
  struct pollfd wanted = {.fd = descriptor, .events = POLLIN};
  return poll(&wanted, 1, -1) > 0;
}

/* Bytes read, 0 at the end, -1 with errno. */
static ssize_t read_some(int descriptor, char *to, size_t room) {
  for (;;) {
    ssize_t got = read(descriptor, to, room);
    if (got >= 0 || errno != EAGAIN) {
      return got;
    }
    if (!wait_for_bytes(descriptor)) {
      return -1;
    }
  }
}

static char *read_all(int descriptor, size_t limit, size_t *length) {
  size_t room = FIRST_ROOM;
  char *text = malloc(room);
  *length = 0;
  while (text != NULL) {
    size_t free_room = room - 1 - *length;
    ssize_t got = read_some(descriptor, text + *length, free_room);
    if (got < 0) {
      break;
    }
    *length += (size_t)got;
    if (got == 0 || *length > limit) {
      text[*length] = '\0';
      return text;
    }
    if (*length == room - 1) {
      char *larger = realloc(text, 2 * room);
      if (larger == NULL) {
        break;
      }
      text = larger;
      room *= 2;
    }
  }
  int kept = text != NULL ? errno : ENOMEM;
  free(text);
  errno = kept;
  return NULL;
}

char *input_read(const char *path, size_t limit, size_t *length, struct stat *status, const char **why) {
  struct stat own;
  struct stat *seen = status != NULL ? status : &own;
  int descriptor = open_file(path, seen);
  char *text = NULL;
  if (descriptor >= 0 && (!S_ISFIFO(seen->st_mode) || wait_for_bytes(descriptor))) {
    text = read_all(descriptor, limit, length);
  }
  int kept = errno;
  if (descriptor >= 0) {
    (void)close(descriptor);
  }
  errno = kept;
  if (text == NULL) {
    *why = errno == ENOMEM ? "no memory" : strerror(errno);
  }
  return text;
}

/* The folder of a file, links followed, to be freed; NULL where there is none. */
static char *folder_of(const char *file) {
  char *path = realpath(file, NULL);
  char *slash = path != NULL ? strrchr(path, '/') : NULL;
  if (slash != NULL) {
    *slash = '\0';
  }
  return path;
}

/* The root of the file system is no folder of anybody's. */
static bool is_below(const char *folder, const char *top) {
  size_t length = top != NULL ? strlen(top) : 0;
  return length > 1 && strncmp(folder, top, length) == 0 && (folder[length] == '\0' || folder[length] == '/');
}

bool input_is_outside(const char *file, const char *named) {
  char *folder = folder_of(file);
  char *beside = folder_of(named);
  char *present = realpath(".", NULL);
  bool inside = folder != NULL && (is_below(folder, beside) || is_below(folder, present));
  free(folder);
  free(beside);
  free(present);
  return !inside;
}
