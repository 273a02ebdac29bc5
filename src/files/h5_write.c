#include "h5_write.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <hdf5_hl.h>

/* Keep the operating system's words ("error message = 'No space left on device'") if this entry of the error stack has
 * them; else the deepest description. */
static herr_t keep_reason(unsigned depth, const H5E_error2_t *entry, void *context) {
  (void)depth;
  struct h5_log *log = context;
  if (entry->desc == NULL) {
    return 0;
  }
  static const char mark[] = "error message = '";
  const char *words = strstr(entry->desc, mark);
  if (words != NULL) {
    words += sizeof mark - 1;
    int length = (int)strcspn(words, "'");
    (void)snprintf(log->reason, sizeof log->reason, "%.*s", length, words);
    return 1;
  }
  if (log->reason[0] == '\0') {
    (void)snprintf(log->reason, sizeof log->reason, "%s", entry->desc);
  }
  return 0;
}

bool h5_note(struct h5_log *log, hid_t result) {
  if (result >= 0) {
    return !log->failed;
  }
  if (!log->failed) {
    int system_said = errno;
    log->failed = true;
    log->reason[0] = '\0';
    H5Ewalk2(H5E_DEFAULT, H5E_WALK_UPWARD, keep_reason, log);
    log->out_of_memory = system_said == ENOMEM || strstr(log->reason, "memory allocation failed") != NULL;
    if (log->out_of_memory) {
      (void)snprintf(log->reason, sizeof log->reason, "out of memory");
    }
  }
  return false;
}

bool h5_out_of_memory(struct h5_log *log) {
  if (!log->failed) {
    log->failed = true;
    log->out_of_memory = true;
    (void)snprintf(log->reason, sizeof log->reason, "out of memory");
  }
  return false;
}

static const unsigned creation_order = H5P_CRT_ORDER_TRACKED | H5P_CRT_ORDER_INDEXED;

void h5_start(struct h5_log *log) {
  *log = (struct h5_log){.text_type = H5I_INVALID_HID,
                         .scalar_space = H5I_INVALID_HID,
                         .dataset_creation = H5I_INVALID_HID,
                         .scalar_creation = H5I_INVALID_HID,
                         .empty_creation = H5I_INVALID_HID,
                         .transfer = H5I_INVALID_HID};
  (void)H5dont_atexit(); /* it complains of a second call */
  errno = 0;
  (void)(h5_note(log, H5Eset_auto2(H5E_DEFAULT, NULL, NULL)) && h5_note(log, log->text_type = H5Tcopy(H5T_C_S1)) &&
         h5_note(log, H5Tset_size(log->text_type, H5T_VARIABLE)) &&
         h5_note(log, H5Tset_cset(log->text_type, H5T_CSET_UTF8)) &&
         h5_note(log, log->scalar_space = H5Screate(H5S_SCALAR)) &&
         /* Attributes in the order of writing, as netCDF-4 does. */
         h5_note(log, log->dataset_creation = H5Pcreate(H5P_DATASET_CREATE)) &&
         h5_note(log, H5Pset_attr_creation_order(log->dataset_creation, creation_order)) &&
         /* A scalar lies in its own description: no place in the file to be found, nor to be written by itself. */
         h5_note(log, log->scalar_creation = H5Pcopy(log->dataset_creation)) &&
         h5_note(log, H5Pset_layout(log->scalar_creation, H5D_COMPACT)) &&
         /* An axis of fixed size zero does not exist in netCDF-4: an empty one may grow. */
         h5_note(log, log->empty_creation = H5Pcopy(log->dataset_creation)) &&
         h5_note(log, H5Pset_chunk(log->empty_creation, 1, &(hsize_t){1})) &&
         /* Writing a text clears a buffer of this size each time; the usual one is a megabyte. */
         h5_note(log, log->transfer = H5Pcreate(H5P_DATASET_XFER)) &&
         h5_note(log, H5Pset_buffer(log->transfer, 16384, NULL, NULL)));
}

void h5_stop(struct h5_log *log) {
  (void)(!log->failed && h5_note(log, H5Pclose(log->transfer)) && h5_note(log, H5Pclose(log->empty_creation)) &&
         h5_note(log, H5Pclose(log->scalar_creation)) && h5_note(log, H5Pclose(log->dataset_creation)) &&
         h5_note(log, H5Sclose(log->scalar_space)) && h5_note(log, H5Tclose(log->text_type)));
}

hid_t h5_create_file(const char *path, struct h5_log *log) {
  hid_t creation = H5I_INVALID_HID;
  hid_t access = H5I_INVALID_HID;
  hid_t file = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, creation = H5Pcreate(H5P_FILE_CREATE)) &&
         h5_note(log, access = H5Pcreate(H5P_FILE_ACCESS)) &&
         h5_note(log, H5Pset_link_creation_order(creation, creation_order)) &&
         h5_note(log, H5Pset_attr_creation_order(creation, creation_order)) &&
         /* After a failure some objects may stay open: the file must close all the same. */
         h5_note(log, H5Pset_fclose_degree(access, H5F_CLOSE_STRONG)) &&
         /* The draft is locked already, by its own descriptor. */
         h5_note(log, H5Pset_file_locking(access, false, true)) &&
         h5_note(log, file = H5Fcreate(path, H5F_ACC_TRUNC, creation, access)) && h5_note(log, H5Pclose(creation)) &&
         h5_note(log, H5Pclose(access)));
  return log->failed ? H5I_INVALID_HID : file;
}

void h5_flush_file(hid_t file, struct h5_log *log) {
  (void)(!log->failed && h5_note(log, H5Fflush(file, H5F_SCOPE_GLOBAL)));
}

void h5_close_file(hid_t file, struct h5_log *log) {
  h5_flush_file(file, log);
  (void)(!log->failed && h5_note(log, H5Fclose(file)));
}

hid_t h5_group(hid_t parent, const char *name, const char *text, struct h5_log *log) {
  hid_t creation = H5I_INVALID_HID;
  hid_t group = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, creation = H5Pcreate(H5P_GROUP_CREATE)) &&
         h5_note(log, H5Pset_link_creation_order(creation, creation_order)) &&
         h5_note(log, H5Pset_attr_creation_order(creation, creation_order)) &&
         h5_note(log, group = H5Gcreate2(parent, name, H5P_DEFAULT, creation, H5P_DEFAULT)) &&
         h5_note(log, H5Pclose(creation)));
  h5_text_attribute(group, "long_name", text, log);
  return group;
}

void h5_close_group(hid_t group, struct h5_log *log) {
  (void)(!log->failed && group >= 0 && h5_note(log, H5Gclose(group)));
}

void h5_close_dataset(hid_t dataset, struct h5_log *log) {
  (void)(!log->failed && dataset >= 0 && h5_note(log, H5Dclose(dataset)));
}

void h5_text_attribute(hid_t object, const char *name, const char *text, struct h5_log *log) {
  hid_t attribute = H5I_INVALID_HID;
  (void)(!log->failed && object >= 0 &&
         h5_note(log,
                 attribute = H5Acreate2(object, name, log->text_type, log->scalar_space, H5P_DEFAULT, H5P_DEFAULT)) &&
         h5_note(log, H5Awrite(attribute, log->text_type, &text)) && h5_note(log, H5Aclose(attribute)));
}

void h5_real_attribute(hid_t object, const char *name, double value, struct h5_log *log) {
  hid_t attribute = H5I_INVALID_HID;
  (void)(!log->failed && object >= 0 &&
         h5_note(log,
                 attribute = H5Acreate2(object, name, H5T_IEEE_F64LE, log->scalar_space, H5P_DEFAULT, H5P_DEFAULT)) &&
         h5_note(log, H5Awrite(attribute, H5T_NATIVE_DOUBLE, &value)) && h5_note(log, H5Aclose(attribute)));
}

void h5_change_text_attribute(hid_t object, const char *name, const char *text, struct h5_log *log) {
  hid_t attribute = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, attribute = H5Aopen(object, name, H5P_DEFAULT)) &&
         h5_note(log, H5Awrite(attribute, log->text_type, &text)) && h5_note(log, H5Aclose(attribute)));
}

static hid_t scalar(hid_t parent, const char *name, hid_t file_type, hid_t memory_type, const void *value,
                    struct h5_log *log) {
  hid_t dataset = H5I_INVALID_HID;
  (void)(!log->failed &&
         h5_note(log, dataset = H5Dcreate2(parent, name, file_type, log->scalar_space, H5P_DEFAULT,
                                           log->scalar_creation, H5P_DEFAULT)) &&
         h5_note(log, H5Dwrite(dataset, memory_type, H5S_ALL, H5S_ALL, log->transfer, value)));
  return dataset;
}

hid_t h5_real(hid_t parent, const char *name, double value, struct h5_log *log) {
  return scalar(parent, name, H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, &value, log);
}

hid_t h5_integer(hid_t parent, const char *name, long value, struct h5_log *log) {
  return scalar(parent, name, H5T_STD_I64LE, H5T_NATIVE_LONG, &value, log);
}

hid_t h5_text(hid_t parent, const char *name, const char *value, struct h5_log *log) {
  return scalar(parent, name, log->text_type, log->text_type, &value, log);
}

bool h5_give_scale(hid_t dataset, const char *name, hid_t scale, struct h5_log *log) {
  return !log->failed &&
         h5_note(log, scale == H5I_INVALID_HID ? H5DSset_scale(dataset, name) : H5DSattach_scale(dataset, scale, 0));
}

static hid_t array(hid_t parent, const char *name, hid_t file_type, hid_t memory_type, int count, const void *values,
                   hid_t scale, struct h5_log *log) {
  hsize_t size = (hsize_t)count;
  hsize_t unlimited = H5S_UNLIMITED;
  hid_t space = H5I_INVALID_HID;
  hid_t dataset = H5I_INVALID_HID;
  bool empty = count == 0;
  hid_t creation = empty ? log->empty_creation : log->dataset_creation;
  (void)(!log->failed && h5_note(log, space = H5Screate_simple(1, &size, empty ? &unlimited : NULL)) &&
         h5_note(log, dataset = H5Dcreate2(parent, name, file_type, space, H5P_DEFAULT, creation, H5P_DEFAULT)) &&
         (empty || h5_note(log, H5Dwrite(dataset, memory_type, H5S_ALL, H5S_ALL, log->transfer, values))) &&
         h5_give_scale(dataset, name, scale, log) && h5_note(log, H5Sclose(space)));
  return dataset;
}

hid_t h5_reals(hid_t parent, const char *name, int count, const double *values, hid_t scale, struct h5_log *log) {
  return array(parent, name, H5T_IEEE_F64LE, H5T_NATIVE_DOUBLE, count, values, scale, log);
}

hid_t h5_real_grid(hid_t parent, const char *name, const int counts[2], const double *values, const hid_t scales[2],
                   struct h5_log *log) {
  hsize_t sizes[2] = {(hsize_t)counts[0], (hsize_t)counts[1]};
  hid_t space = H5I_INVALID_HID;
  hid_t dataset = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, space = H5Screate_simple(2, sizes, NULL)) &&
         h5_note(log, dataset = H5Dcreate2(parent, name, H5T_IEEE_F64LE, space, H5P_DEFAULT, log->dataset_creation,
                                           H5P_DEFAULT)) &&
         h5_note(log, H5Dwrite(dataset, H5T_NATIVE_DOUBLE, H5S_ALL, H5S_ALL, log->transfer, values)) &&
         h5_note(log, H5DSattach_scale(dataset, scales[0], 0)) &&
         h5_note(log, H5DSattach_scale(dataset, scales[1], 1)) && h5_note(log, H5Sclose(space)));
  return dataset;
}

hid_t h5_texts(hid_t parent, const char *name, int count, const char *const *values, hid_t scale, struct h5_log *log) {
  return array(parent, name, log->text_type, log->text_type, count, values, scale, log);
}

hid_t h5_dimension(hid_t parent, const char *name, int count, const char *text, struct h5_log *log) {
  int *index = calloc((size_t)count + 1, sizeof *index);
  if (index == NULL) {
    h5_out_of_memory(log);
    return H5I_INVALID_HID;
  }
  for (int i = 0; i < count; i++) {
    index[i] = i;
  }
  hid_t dataset = array(parent, name, H5T_STD_I32LE, H5T_NATIVE_INT, count, index, H5I_INVALID_HID, log);
  h5_text_attribute(dataset, "long_name", text, log);
  free(index);
  return dataset;
}

hid_t h5_growing_reals(hid_t parent, const char *name, int chunk, hid_t scale, struct h5_log *log) {
  hsize_t size = 0;
  hsize_t unlimited = H5S_UNLIMITED;
  hsize_t chunk_size = (hsize_t)chunk;
  hid_t space = H5I_INVALID_HID;
  hid_t creation = H5I_INVALID_HID;
  hid_t access = H5I_INVALID_HID;
  hid_t dataset = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, space = H5Screate_simple(1, &size, &unlimited)) &&
         h5_note(log, creation = H5Pcopy(log->dataset_creation)) &&
         h5_note(log, H5Pset_chunk(creation, 1, &chunk_size)) &&
         /* Chunks are written whole, past the cache: it needs no room. */
         h5_note(log, access = H5Pcreate(H5P_DATASET_ACCESS)) && h5_note(log, H5Pset_chunk_cache(access, 0, 0, 1.0)) &&
         h5_note(log, dataset = H5Dcreate2(parent, name, H5T_NATIVE_DOUBLE, space, H5P_DEFAULT, creation, access)) &&
         h5_give_scale(dataset, name, scale, log) && h5_note(log, H5Pclose(access)) &&
         h5_note(log, H5Pclose(creation)) && h5_note(log, H5Sclose(space)));
  return dataset;
}

void h5_append_chunk(hid_t dataset, hsize_t start, int count, int chunk, const double *values, struct h5_log *log) {
  hsize_t size = start + (hsize_t)count;
  (void)(!log->failed && h5_note(log, H5Dset_extent(dataset, &size)) &&
         h5_note(log, H5Dwrite_chunk(dataset, H5P_DEFAULT, 0, &start, (size_t)chunk * sizeof *values, values)));
}
