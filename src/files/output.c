#include "output.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define MARK "swashloop output: "

/* A mark stands within so many bytes. They are read piece by piece into a buffer of no great size, the end of each
 * piece once more before the next: whoever clears up after memory ran out gets none. */
enum { START_BYTES = 262144, PIECE_BYTES = 8192, MARK_BYTES = 64 };

static const struct {
  const char *mark;
  const char *text;
  bool replaced;
} kinds[OUTPUT_KIND_COUNT] = {
#define OUTPUT_ROW(id, word, text, replaced) {MARK word, text, replaced},
    OUTPUT_LIST(OUTPUT_ROW)
#undef OUTPUT_ROW
};

const char *output_mark(enum output_kind kind) {
  return kinds[kind].mark;
}

/* ---- whose file is it? ---- */

static bool starts_with(const char *bytes, size_t count, const char *start, size_t size) {
  return count >= size && memcmp(bytes, start, size) == 0;
}

/* A text that only quotes a mark is none of ours: the file must be of a format that we write. */
static bool format_is_ours(const char *bytes, size_t count) {
  static const char h5[] = "\x89HDF\r\n\x1a\n";
  static const char page[] = "<!doctype html>";
  return starts_with(bytes, count, h5, sizeof h5 - 1) || starts_with(bytes, count, page, sizeof page - 1);
}

/* Kind whose mark stands in the bytes, OUTPUT_KIND_COUNT if none does. */
static enum output_kind find_mark(const char *bytes, size_t count) {
  const char *at = bytes;
  while (count > 0 && (at = memchr(at, MARK[0], (size_t)(bytes + count - at))) != NULL) {
    for (int k = 0; k < OUTPUT_KIND_COUNT; k++) {
      if (starts_with(at, (size_t)(bytes + count - at), kinds[k].mark, strlen(kinds[k].mark))) {
        return (enum output_kind)k;
      }
    }
    at++;
  }
  return OUTPUT_KIND_COUNT;
}

/* False when it cannot be told, with errno. */
static bool find_kind(int descriptor, enum output_kind *kind) {
  char bytes[PIECE_BYTES];
  *kind = OUTPUT_KIND_COUNT;
  for (off_t at = 0; at < START_BYTES; at += PIECE_BYTES - MARK_BYTES) {
    ssize_t count = pread(descriptor, bytes, sizeof bytes, at);
    if (count <= 0 || (at == 0 && !format_is_ours(bytes, (size_t)count))) {
      return count >= 0;
    }
    *kind = find_mark(bytes, (size_t)count);
    if (*kind != OUTPUT_KIND_COUNT) {
      return true;
    }
  }
  return true;
}

bool output_made_here(int descriptor) {
  enum output_kind kind;
  return find_kind(descriptor, &kind) && kind != OUTPUT_KIND_COUNT;
}

/* ---- may it be replaced? ---- */

static bool same_file(const struct stat *a, dev_t device, ino_t number) {
  return a->st_dev == device && a->st_ino == number;
}

/* Is the file at `path` one of those that are read? */
static bool check_reads(const char *path, const char *const *named, int named_count, const struct input_file *read,
                        struct error *error) {
  struct stat status;
  struct stat other;
  if (stat(path, &status) != 0) {
    return true;
  }
  for (int i = 0; i < named_count; i++) {
    if (stat(named[i], &other) == 0 && same_file(&status, other.st_dev, other.st_ino)) {
      return error_set(error, ERROR_USAGE, "writing %s would lose %s, which this command reads; choose another name",
                       path, named[i]);
    }
  }
  for (; read != NULL; read = read->next) {
    if (same_file(&status, read->device, read->number)) {
      return error_set(error, ERROR_USAGE, "writing %s would lose %s, which this command reads; choose another name",
                       path, read->path);
    }
  }
  return true;
}

static bool check_earlier(const struct output *output, struct error *error) {
  struct stat status;
  enum output_kind kind = OUTPUT_KIND_COUNT;
  if (stat(output->path, &status) != 0) {
    return true;
  }
  if (!S_ISREG(status.st_mode)) {
    return error_set(error, ERROR_OUTPUT, "%s cannot be replaced: it is no regular file", output->path);
  }
  if (output->force || status.st_size == 0) {
    return true;
  }
  if ((status.st_mode & (S_IWUSR | S_IWGRP | S_IWOTH)) == 0) {
    return error_set(error, ERROR_USAGE, "%s is there and write-protected; --force replaces it", output->path);
  }
  int descriptor = open(output->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  bool told = descriptor >= 0 && find_kind(descriptor, &kind);
  if (!told) {
    error_set(error, ERROR_OUTPUT, "%s is there and cannot be read to see what it is: %s; --force replaces it",
              output->path, strerror(errno));
  }
  if (descriptor >= 0) {
    (void)close(descriptor);
  }
  if (!told || (kind == output->kind && (kinds[kind].replaced || output->again))) {
    return told;
  }
  if (kind == output->kind) {
    return error_set(error, ERROR_USAGE, "%s is there and a finished %s; --force replaces it", output->path,
                     kinds[kind].text);
  }
  return error_set(error, ERROR_USAGE, "%s is there and no %s of this program%s%s; --force replaces it", output->path,
                   kinds[output->kind].text, kind != OUTPUT_KIND_COUNT ? ", but a " : "",
                   kind != OUTPUT_KIND_COUNT ? kinds[kind].text : "");
}

bool output_check(const struct output *output, const char *const *named, int named_count, const struct input_file *read,
                  struct error *error) {
  /* The names under which a file is made, too. */
  static const char *const endings[] = {"", ".part", ".journal", ".journal.new"};
  size_t count = output->kind == OUTPUT_TABLE ? 4 : 2;
  for (size_t i = 0; i < count; i++) {
    size_t size = strlen(output->path) + 16;
    char *path = malloc(size);
    if (path == NULL) {
      return error_set(error, ERROR_MEMORY, "no memory for names");
    }
    (void)snprintf(path, size, "%s%s", output->path, endings[i]);
    bool good = check_reads(path, named, named_count, read, error);
    free(path);
    if (!good) {
      return false;
    }
  }
  return check_earlier(output, error);
}

double output_room(const char *path) {
  char folder[4096] = ".";
  const char *slash = strrchr(path, '/');
  if (slash != NULL) {
    (void)snprintf(folder, sizeof folder, "%.*s", slash == path ? 1 : (int)(slash - path), path);
  }
  struct statvfs disk;
  return statvfs(folder, &disk) == 0 && disk.f_blocks > 0 ? (double)disk.f_bavail * (double)disk.f_frsize : HUGE_VAL;
}
