#include "near_file.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "registry.h"

static const char *entry_name(const void *context, int index) {
  struct dirent *const *entries = context;
  return entries[index]->d_name;
}

const char *near_file(const char *path, char words[NEAR_FILE_WORDS]) {
  words[0] = '\0';
  int kept = errno;
  const char *slash = strrchr(path, '/');
  int length = slash != NULL ? (int)(slash - path) + 1 : 0;
  char folder[1024];
  if (kept != ENOENT || length >= (int)sizeof folder) {
    return words;
  }
  (void)snprintf(folder, sizeof folder, "%.*s", length > 0 ? length : 1, length > 0 ? path : ".");
  struct dirent **entries = NULL;
  /* In the order of names, so that the hint is the same everywhere. */
  int count = scandir(folder, &entries, NULL, alphasort);
  const char *near = count > 0 ? registry_nearest(path + length, count, entry_name, entries) : NULL;
  /* A hint that does not fit whole is none. */
  if (near != NULL && (size_t)length + strlen(near) + sizeof "; did you mean ''?" <= NEAR_FILE_WORDS) {
    (void)snprintf(words, NEAR_FILE_WORDS, "; did you mean '%.*s%s'?", length, path, near);
  }
  for (int i = 0; i < count; i++) {
    free(entries[i]);
  }
  free(entries);
  errno = kept;
  return words;
}
