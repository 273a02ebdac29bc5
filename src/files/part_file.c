#include "part_file.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "seal.h"

/* By its descriptor where the system can, so that nothing put under the name in between is opened. */
static hid_t create_in(const struct draft *draft, struct h5_log *log) {
  char path[64];
  (void)snprintf(path, sizeof path, "/proc/self/fd/%d", draft->descriptor);
  return h5_create_file(access(path, W_OK) == 0 ? path : draft->part, log);
}

bool part_open(struct part_file *file, const char *path, struct error *error) {
  *file = (struct part_file){.file = H5I_INVALID_HID};
  if (!draft_open(&file->draft, path, error)) {
    return false;
  }
  h5_start(&file->log);
  file->file = create_in(&file->draft, &file->log);
  return file->file >= 0 || part_close(file, DRAFT_NAME, error);
}

bool part_good(const struct part_file *file, struct error *error) {
  return !file->log.failed ||
         error_set(error, file->log.out_of_memory ? ERROR_MEMORY : ERROR_OUTPUT, "%s could not be written: %s",
                   file->draft.part, file->log.reason[0] != '\0' ? file->log.reason : "no reason known");
}

bool part_close(struct part_file *file, enum draft_fate fate, struct error *error) {
  struct h5_log *log = &file->log;
  if (fate != DRAFT_REMOVE) {
    h5_text_attribute(file->file, SEAL_ATTRIBUTE, SEAL_WORDS, log);
  }
  h5_close_file(file->file, log);
  h5_stop(log);
  bool good = fate != DRAFT_REMOVE && part_good(file, error);
  if (good && !seal_put(file->draft.descriptor)) {
    good = error_set(error, ERROR_OUTPUT, "%s could not be sealed: %s", file->draft.part, strerror(errno));
  }
  good = draft_close(&file->draft, good ? fate : DRAFT_REMOVE, error) && good;
  *file = (struct part_file){.file = H5I_INVALID_HID};
  return good;
}
