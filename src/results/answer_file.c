#include "answer_file.h"

#include <math.h>
#include <stdlib.h>

#include "h5_columns.h"
#include "part_file.h"
#include "provenance.h"
#include "result_groups.h"

struct answer_file {
  struct part_file out;
  hid_t group; /* the present one; the file itself at the root */
  const char *status;
};

static void leave_group(struct answer_file *file) {
  if (file->group != file->out.file) {
    h5_close_group(file->group, &file->out.log);
  }
  file->group = file->out.file;
}

struct answer_file *answer_open(const char *path, const char *kind, const char *title, const char *case_text,
                                const char *command, struct error *error) {
  struct answer_file *file = calloc(1, sizeof *file);
  if (file == NULL) {
    error_set(error, ERROR_MEMORY, "no memory for %s", path);
    return NULL;
  }
  if (!part_open(&file->out, path, error)) {
    free(file);
    return NULL;
  }
  file->group = file->out.file;
  file->status = "complete";
  provenance_write(file->out.file, OUTPUT_ANSWER, title, command, &file->out.log);
  h5_text_attribute(file->out.file, "answer", kind, &file->out.log);
  if (case_text != NULL) {
    h5_text_attribute(file->out.file, "case", case_text, &file->out.log);
  }
  return file;
}

void answer_group(struct answer_file *file, const char *name, const char *text) {
  leave_group(file);
  if (name[0] != '\0') {
    file->group = h5_group(file->out.file, name, text, &file->out.log);
  }
}

static void describe(struct answer_file *file, hid_t dataset, const struct answer_meaning *meaning) {
  if (meaning->unit == NULL) {
    result_describe(dataset, meaning->row.quantity, meaning->row.reference, meaning->row.text, &file->out.log);
  } else {
    h5_text_attribute(dataset, "units", meaning->unit, &file->out.log);
    h5_text_attribute(dataset, "long_name", meaning->row.text, &file->out.log);
  }
}

/* To be closed with h5_close_dataset. */
static hid_t find_axis(struct answer_file *file, const char *name) {
  struct h5_log *log = &file->out.log;
  htri_t here = log->failed ? -1 : H5Lexists(file->group, name, H5P_DEFAULT);
  hid_t axis = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, here) &&
         h5_note(log, axis = H5Dopen2(here > 0 ? file->group : file->out.file, name, H5P_DEFAULT)));
  return axis;
}

void answer_axis(struct answer_file *file, const struct answer_meaning *meaning, int count, const double *values) {
  if (values == NULL) {
    h5_close_dataset(h5_dimension(file->group, meaning->row.name, count, meaning->row.text, &file->out.log),
                     &file->out.log);
    return;
  }
  hid_t dataset = h5_reals(file->group, meaning->row.name, count, values, H5I_INVALID_HID, &file->out.log);
  describe(file, dataset, meaning);
  h5_close_dataset(dataset, &file->out.log);
}

void answer_column(struct answer_file *file, const struct answer_meaning *meaning, const char *axis, int count,
                   const double *values) {
  hid_t scale = find_axis(file, axis);
  if (scale >= 0) {
    hid_t dataset = h5_reals(file->group, meaning->row.name, count, values, scale, &file->out.log);
    describe(file, dataset, meaning);
    h5_close_dataset(dataset, &file->out.log);
  }
  h5_close_dataset(scale, &file->out.log);
}

void answer_grid(struct answer_file *file, const struct answer_meaning *meaning, const char *const axes[2],
                 const int counts[2], const double *values) {
  hid_t scales[2] = {find_axis(file, axes[0]), find_axis(file, axes[1])};
  if (scales[0] >= 0 && scales[1] >= 0) {
    hid_t dataset = h5_real_grid(file->group, meaning->row.name, counts, values, scales, &file->out.log);
    describe(file, dataset, meaning);
    h5_close_dataset(dataset, &file->out.log);
  }
  h5_close_dataset(scales[0], &file->out.log);
  h5_close_dataset(scales[1], &file->out.log);
}

void answer_texts(struct answer_file *file, const char *name, const char *text, const char *axis, int count,
                  const char *const *values) {
  hid_t scale = find_axis(file, axis);
  if (scale >= 0) {
    hid_t dataset = h5_texts(file->group, name, count, values, scale, &file->out.log);
    h5_text_attribute(dataset, "long_name", text, &file->out.log);
    h5_close_dataset(dataset, &file->out.log);
  }
  h5_close_dataset(scale, &file->out.log);
}

void answer_value(struct answer_file *file, const struct answer_meaning *meaning, double value, const char *reason) {
  hid_t dataset = h5_real(file->group, meaning->row.name, value, &file->out.log);
  describe(file, dataset, meaning);
  if (isnan(value) && reason != NULL) {
    h5_text_attribute(dataset, "reason", reason, &file->out.log);
  }
  h5_close_dataset(dataset, &file->out.log);
}

void answer_words(struct answer_file *file, const char *name, const char *words) {
  h5_text_attribute(file->group, name, words, &file->out.log);
}

void answer_share(struct answer_file *file, const char *name, double share) {
  h5_real_attribute(file->group, name, share, &file->out.log);
}

void answer_count(struct answer_file *file, const char *name, int64_t count) {
  h5_integer_attribute(file->group, name, count, &file->out.log);
}

void answer_abandon(struct answer_file *file) {
  struct error ignored;
  leave_group(file);
  (void)part_close(&file->out, DRAFT_REMOVE, &ignored);
  free(file);
}

void answer_interrupted(struct answer_file *file) {
  file->status = "interrupted";
}

bool answer_close(struct answer_file *file, struct error *error) {
  leave_group(file);
  h5_text_attribute(file->out.file, "status", file->status, &file->out.log);
  bool good = part_close(&file->out, DRAFT_NAME, error);
  free(file);
  return good;
}
