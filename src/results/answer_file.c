#include "answer_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "h5_write.h"
#include "part_file.h"
#include "provenance.h"
#include "result_groups.h"

struct answer_file {
  char *path;
  char *part;
  hid_t file;
  hid_t group; /* the present one; the file itself at the root */
  struct h5_log log;
};

static void free_all(struct answer_file *file) {
  free(file->path);
  free(file->part);
  free(file);
}

static void leave_group(struct answer_file *file) {
  if (file->group != file->file) {
    h5_close_group(file->group, &file->log);
  }
  file->group = file->file;
}

struct answer_file *answer_open(const char *path, const char *kind, const char *title, const char *case_text,
                                const char *command, struct error *error) {
  struct answer_file *file = calloc(1, sizeof *file);
  if (file != NULL) {
    file->path = strdup(path);
    file->part = part_name(path);
  }
  if (file == NULL || file->path == NULL || file->part == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for %s", path);
  } else if (part_can_create(file->path, file->part, error)) {
    h5_start(&file->log);
    file->file = h5_create_file(file->part, &file->log);
    file->group = file->file;
    provenance_write(file->file, title, command, &file->log);
    h5_text_attribute(file->file, "answer", kind, &file->log);
    if (case_text != NULL) {
      h5_text_attribute(file->file, "case", case_text, &file->log);
    }
    return file;
  }
  if (file != NULL) {
    free_all(file);
  }
  return NULL;
}

void answer_group(struct answer_file *file, const char *name, const char *text) {
  leave_group(file);
  if (name[0] != '\0') {
    file->group = h5_group(file->file, name, text, &file->log);
  }
}

static void describe(struct answer_file *file, hid_t dataset, const struct answer_meaning *meaning) {
  if (meaning->unit == NULL) {
    result_describe(dataset, meaning->row.quantity, meaning->row.reference, meaning->row.text, &file->log);
  } else {
    h5_text_attribute(dataset, "units", meaning->unit, &file->log);
    h5_text_attribute(dataset, "long_name", meaning->row.text, &file->log);
  }
}

/* To be closed with h5_close_dataset. */
static hid_t find_axis(struct answer_file *file, const char *name) {
  hid_t place = H5Lexists(file->group, name, H5P_DEFAULT) > 0 ? file->group : file->file;
  hid_t axis = H5Dopen2(place, name, H5P_DEFAULT);
  h5_note(&file->log, axis);
  return axis;
}

void answer_axis(struct answer_file *file, const struct answer_meaning *meaning, int count, const double *values) {
  if (values == NULL) {
    h5_close_dataset(h5_dimension(file->group, meaning->row.name, count, meaning->row.text, &file->log), &file->log);
    return;
  }
  hid_t dataset = h5_reals(file->group, meaning->row.name, count, values, H5I_INVALID_HID, &file->log);
  describe(file, dataset, meaning);
  h5_close_dataset(dataset, &file->log);
}

void answer_column(struct answer_file *file, const struct answer_meaning *meaning, const char *axis, int count,
                   const double *values) {
  hid_t scale = find_axis(file, axis);
  if (scale >= 0) {
    hid_t dataset = h5_reals(file->group, meaning->row.name, count, values, scale, &file->log);
    describe(file, dataset, meaning);
    h5_close_dataset(dataset, &file->log);
  }
  h5_close_dataset(scale, &file->log);
}

void answer_grid(struct answer_file *file, const struct answer_meaning *meaning, const char *const axes[2],
                 const int counts[2], const double *values) {
  hid_t scales[2] = {find_axis(file, axes[0]), find_axis(file, axes[1])};
  if (scales[0] >= 0 && scales[1] >= 0) {
    hid_t dataset = h5_real_grid(file->group, meaning->row.name, counts, values, scales, &file->log);
    describe(file, dataset, meaning);
    h5_close_dataset(dataset, &file->log);
  }
  h5_close_dataset(scales[0], &file->log);
  h5_close_dataset(scales[1], &file->log);
}

void answer_texts(struct answer_file *file, const char *name, const char *text, const char *axis, int count,
                  const char *const *values) {
  hid_t scale = find_axis(file, axis);
  if (scale >= 0) {
    hid_t dataset = h5_texts(file->group, name, count, values, scale, &file->log);
    h5_text_attribute(dataset, "long_name", text, &file->log);
    h5_close_dataset(dataset, &file->log);
  }
  h5_close_dataset(scale, &file->log);
}

void answer_value(struct answer_file *file, const struct answer_meaning *meaning, double value, const char *reason) {
  hid_t dataset = h5_real(file->group, meaning->row.name, value, &file->log);
  describe(file, dataset, meaning);
  if (isnan(value) && reason != NULL) {
    h5_text_attribute(dataset, "reason", reason, &file->log);
  }
  h5_close_dataset(dataset, &file->log);
}

void answer_words(struct answer_file *file, const char *name, const char *words) {
  h5_text_attribute(file->group, name, words, &file->log);
}

bool answer_close(struct answer_file *file, struct error *error) {
  leave_group(file);
  h5_text_attribute(file->file, "status", "complete", &file->log);
  if (file->file >= 0) {
    h5_note(&file->log, H5Fflush(file->file, H5F_SCOPE_GLOBAL));
    h5_note(&file->log, H5Fclose(file->file));
  }
  h5_stop(&file->log);
  bool good = !file->log.failed;
  if (good) {
    good = part_finish(file->path, file->part, error);
  } else {
    error_set(error, ERROR_OUTPUT, "%s could not be written: %s", file->part,
              file->log.reason[0] != '\0' ? file->log.reason : "no reason known");
    (void)unlink(file->part);
  }
  free_all(file);
  return good;
}
