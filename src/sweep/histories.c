#include "histories.h"

#include <dirent.h>
#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "draft.h"
#include "input_file.h"
#include "output.h"

static bool too_long(const char *path, struct error *error) {
  return error_set(error, ERROR_OUTPUT, "%s: the path is too long", path);
}

bool histories_folder(const char *table, char folder[HISTORIES_PATH], struct error *error) {
  return snprintf(folder, HISTORIES_PATH, "%s.runs", table) < HISTORIES_PATH || too_long(table, error);
}

bool histories_file(const char *folder, int64_t k, char path[HISTORIES_PATH], struct error *error) {
  return snprintf(path, HISTORIES_PATH, "%s/case_%06" PRId64 ".h5", folder, k) < HISTORIES_PATH ||
         too_long(folder, error);
}

bool histories_make_folder(const char *folder, struct error *error) {
  return mkdir(folder, 0777) == 0 || errno == EEXIST ||
         error_set(error, ERROR_OUTPUT, "%s could not be created: %s", folder, strerror(errno));
}

bool histories_there(const char *path) {
  struct stat status;
  return stat(path, &status) == 0;
}

/* case_000012.h5 */
static int is_history(const struct dirent *entry) {
  static const char start[] = "case_";
  size_t digits = strspn(entry->d_name + (strncmp(entry->d_name, start, 5) == 0 ? 5 : 0), "0123456789");
  return strncmp(entry->d_name, start, 5) == 0 && digits > 0 && strcmp(entry->d_name + 5 + digits, ".h5") == 0;
}

bool histories_may_be_written(const char *table, bool force, struct error *error) {
  char folder[HISTORIES_PATH];
  struct dirent **entries = NULL;
  if (!histories_folder(table, folder, error)) {
    return false;
  }
  int count = scandir(folder, &entries, is_history, alphasort);
  if (count < 0 && errno != ENOENT) {
    return error_set(error, ERROR_OUTPUT, "%s is there and cannot be looked into: %s", folder, strerror(errno));
  }
  bool good = true;
  for (int i = 0; i < count; i++) {
    char path[HISTORIES_PATH + 260];
    (void)snprintf(path, sizeof path, "%s/%s", folder, entries[i]->d_name);
    const struct output output = {path, OUTPUT_RUN, force, false};
    good = good && output_check(&output, NULL, 0, NULL, error);
    free(entries[i]);
  }
  free(entries);
  return good;
}

bool histories_write(int descriptor, const void *bytes, size_t size) {
  const char *at = bytes;
  while (size > 0) {
    ssize_t wrote = write(descriptor, at, size);
    if (wrote < 0 && errno != EINTR) {
      return false;
    }
    if (wrote > 0) {
      at += wrote;
      size -= (size_t)wrote;
    }
  }
  return true;
}

bool histories_copy(const char *from, const char *to, struct error *error) {
  if (link(from, to) == 0) {
    return true;
  }
  size_t length = 0;
  const char *why = "";
  char *bytes = input_read(from, SIZE_MAX / 4, &length, NULL, &why);
  if (bytes == NULL) {
    return error_set(error, ERROR_INPUT, "%s cannot be read: %s", from, why);
  }
  struct draft draft;
  bool good = draft_open(&draft, to, error);
  if (good && !histories_write(draft.descriptor, bytes, length)) {
    error_set(error, ERROR_OUTPUT, "%s could not be written: %s", to, strerror(errno));
    struct error ignored;
    (void)draft_close(&draft, DRAFT_REMOVE, &ignored);
    good = false;
  } else if (good) {
    good = draft_close(&draft, DRAFT_NAME, error);
  }
  free(bytes);
  return good;
}

bool histories_gather(const char *from, const char *to, int64_t first, int64_t every, int64_t cases, int64_t *count,
                      struct error *error) {
  if (!histories_there(from)) {
    return true;
  }
  for (int64_t k = first; k < cases; k += every) {
    char source[HISTORIES_PATH];
    char target[HISTORIES_PATH];
    if (!histories_file(from, k, source, error) || !histories_file(to, k, target, error)) {
      return false;
    }
    if (!histories_there(source)) {
      continue;
    }
    if ((*count == 0 && !histories_make_folder(to, error)) || !histories_copy(source, target, error)) {
      return false;
    }
    (*count)++;
  }
  return true;
}
