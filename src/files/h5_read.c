#include "h5_read.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "seal.h"

/* Far beyond any run, far below what would take a machine down. */
enum { NAME_COUNT_LIMIT = 4096, TEXT_SIZE_LIMIT = 4 << 20, ROW_COUNT_LIMIT = 1 << 28 };

static bool memory_is_out(struct h5_reading *reading) {
  if (!reading->failed) {
    reading->failed = true;
    error_set(reading->error, ERROR_MEMORY, "no memory to read %s", reading->path);
  }
  return false;
}

void h5_reading_fail(struct h5_reading *reading, const char *words) {
  if (!reading->failed) {
    reading->failed = true;
    error_set(reading->error, ERROR_INPUT, "%s cannot be read: %s", reading->path, words);
  }
}

/* Reading failed at the object or attribute `name`: what the system said is a better reason than that it is damaged. */
static void fail_at(struct h5_reading *reading, const char *name) {
  char words[320];
  if (errno == ENOMEM) {
    (void)memory_is_out(reading);
    return;
  }
  (void)snprintf(words, sizeof words, "%s (at '%.100s')", errno != 0 ? strerror(errno) : "it is damaged or cut off",
                 name);
  h5_reading_fail(reading, words);
}

void *h5_reading_memory(struct h5_reading *reading, size_t count, size_t size) {
  void *memory = reading->failed || count > SIZE_MAX / (size + 1) ? NULL : calloc(count + 1, size);
  if (memory == NULL && !reading->failed) {
    reading->failed = true;
    error_set(reading->error, ERROR_MEMORY, "no memory to read %s", reading->path);
  }
  return memory;
}

static char *copy_text(struct h5_reading *reading, const char *text, size_t length) {
  char *copy = h5_reading_memory(reading, length, 1);
  if (copy != NULL) {
    memcpy(copy, text, length);
  }
  return copy;
}

/* Ask the operating system first: its words are better than those of the file library, and a file whose seal is broken
 * must not reach that library at all. */
static bool check_bytes(struct h5_reading *reading, int descriptor) {
  struct stat status;
  if (descriptor < 0 || fstat(descriptor, &status) != 0) {
    h5_reading_fail(reading, strerror(errno));
    return false;
  }
  if (!S_ISREG(status.st_mode)) {
    h5_reading_fail(reading, "it is no regular file");
    return false;
  }
  switch (seal_check(descriptor)) {
  case SEAL_GOOD:
    reading->sealed = true;
    return true;
  case SEAL_NONE:
    return true;
  case SEAL_UNREADABLE:
    errno == ENOMEM ? (void)memory_is_out(reading) : h5_reading_fail(reading, strerror(errno));
    return false;
  default:
    h5_reading_fail(reading, "it is damaged: its bytes are not those that were written (checksum)");
    return false;
  }
}

static void open_h5(struct h5_reading *reading) {
  errno = 0;
  htri_t is_h5 = H5Fis_hdf5(reading->path);
  if (is_h5 < 0 && errno != 0) {
    fail_at(reading, "its start");
    return;
  }
  if (is_h5 <= 0) {
    h5_reading_fail(reading, "it is no HDF5 file; expected a run file that 'swashloop run' wrote");
    return;
  }
  reading->file = H5Fopen(reading->path, H5F_ACC_RDONLY, H5P_DEFAULT);
  if (reading->file < 0) {
    fail_at(reading, "its start");
    return;
  }
  htri_t had_seal = reading->sealed ? 1 : H5Aexists(reading->file, SEAL_ATTRIBUTE);
  if (had_seal < 0) {
    fail_at(reading, SEAL_ATTRIBUTE);
  } else if (had_seal > 0 && !reading->sealed) {
    h5_reading_fail(reading, "it was cut off, or changed by another program after it was written; whoever changes one "
                             "on purpose removes its attribute '" SEAL_ATTRIBUTE "'");
  }
}

bool h5_reading_open(struct h5_reading *reading, const char *path, struct error *error) {
  *reading = (struct h5_reading){path, H5I_INVALID_HID, false, false, error};
  (void)H5dont_atexit();
  (void)H5Eset_auto2(H5E_DEFAULT, NULL, NULL);
  int descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  bool good = check_bytes(reading, descriptor);
  if (descriptor >= 0) {
    (void)close(descriptor);
  }
  if (good) {
    open_h5(reading);
  }
  return !reading->failed;
}

bool h5_reading_open_sealed(struct h5_reading *reading, const char *path, struct error *error) {
  if (h5_reading_open(reading, path, error) && !reading->sealed) {
    h5_reading_fail(reading, "it carries no checksum: this program did not write it, or an older version did");
  }
  return !reading->failed;
}

void h5_reading_close(struct h5_reading *reading) {
  if (reading->file >= 0) {
    (void)H5Fclose(reading->file);
    reading->file = H5I_INVALID_HID;
  }
}

/* The object of that name, H5I_INVALID_HID if there is none. A link is left alone: a run file has none, and it could
 * lead to any file of the reader's machine. */
hid_t h5_reading_object(struct h5_reading *reading, hid_t parent, const char *name) {
  H5L_info_t link;
  errno = 0;
  htri_t there = reading->failed || parent < 0 ? 0 : H5Lexists(parent, name, H5P_DEFAULT);
  if (there == 0) {
    return H5I_INVALID_HID;
  }
  if (there < 0 || H5Lget_info(parent, name, &link, H5P_DEFAULT) < 0) {
    fail_at(reading, name);
    return H5I_INVALID_HID;
  }
  if (link.type != H5L_TYPE_HARD) {
    return H5I_INVALID_HID;
  }
  hid_t object = H5Oopen(parent, name, H5P_DEFAULT);
  if (object < 0) {
    fail_at(reading, name);
  }
  return object;
}

hid_t h5_reading_group(struct h5_reading *reading, hid_t parent, const char *name) {
  hid_t group = h5_reading_object(reading, parent, name);
  if (group >= 0 && H5Iget_type(group) != H5I_GROUP) {
    h5_reading_fail(reading, "a dataset stands where a group is expected");
    (void)H5Oclose(group);
    return H5I_INVALID_HID;
  }
  return group;
}

/* Data that lies in other files could be any file of the reader's machine. */
static bool data_inside(hid_t dataset) {
  hid_t creation = H5Dget_create_plist(dataset);
  bool inside = creation >= 0 && H5Pget_external_count(creation) == 0 && H5Pget_layout(creation) != H5D_VIRTUAL;
  (void)H5Pclose(creation);
  return inside;
}

hid_t h5_reading_dataset(struct h5_reading *reading, hid_t parent, const char *name) {
  hid_t dataset = h5_reading_object(reading, parent, name);
  if (dataset >= 0 && H5Iget_type(dataset) != H5I_DATASET) {
    (void)H5Oclose(dataset);
    return H5I_INVALID_HID;
  }
  if (dataset >= 0 && !data_inside(dataset)) {
    h5_reading_fail(reading, "it points to data in other files");
    (void)H5Oclose(dataset);
    return H5I_INVALID_HID;
  }
  return dataset;
}

void h5_reading_shut(hid_t object) {
  if (object >= 0) {
    (void)H5Oclose(object);
  }
}

struct name_list {
  struct h5_reading *reading;
  struct h5_names *names;
};

static herr_t add_name(hid_t group, const char *name, const H5L_info_t *link, void *context) {
  (void)group;
  struct name_list *list = context;
  if (link->type != H5L_TYPE_HARD) {
    return 0;
  }
  if (list->names->count == NAME_COUNT_LIMIT) {
    h5_reading_fail(list->reading, "it holds more objects than a run file can");
    return -1;
  }
  char *copy = copy_text(list->reading, name, strlen(name));
  if (copy == NULL) {
    return -1;
  }
  list->names->items[list->names->count++] = copy;
  return 0;
}

/* The order of writing where the file keeps it; H5_INDEX_UNKNOWN when it cannot be told. */
static H5_index_t order_of(hid_t group) {
  unsigned flags = 0;
  /* A file stands for its first group, but the file library tells the order only of what was opened as a group. */
  hid_t opened = H5Gopen2(group, ".", H5P_DEFAULT);
  hid_t creation = opened >= 0 ? H5Gget_create_plist(opened) : H5I_INVALID_HID;
  bool good = creation >= 0 && H5Pget_link_creation_order(creation, &flags) >= 0 && H5Pclose(creation) >= 0 &&
              H5Gclose(opened) >= 0;
  return !good ? H5_INDEX_UNKNOWN : (flags & H5P_CRT_ORDER_INDEXED) != 0 ? H5_INDEX_CRT_ORDER : H5_INDEX_NAME;
}

void h5_reading_names(struct h5_reading *reading, hid_t group, struct h5_names *names) {
  *names = (struct h5_names){NULL, 0};
  if (reading->failed || group < 0) {
    return;
  }
  names->items = h5_reading_memory(reading, NAME_COUNT_LIMIT, sizeof *names->items);
  struct name_list list = {reading, names};
  errno = 0;
  H5_index_t order = names->items != NULL ? order_of(group) : H5_INDEX_UNKNOWN;
  if (names->items != NULL &&
      (order == H5_INDEX_UNKNOWN || H5Literate(group, order, H5_ITER_INC, NULL, add_name, &list) < 0)) {
    fail_at(reading, "a list of its objects");
  }
}

void h5_names_free(struct h5_names *names) {
  for (int i = 0; i < names->count; i++) {
    free(names->items[i]);
  }
  free(names->items);
  *names = (struct h5_names){NULL, 0};
}

static enum h5_kind kind_of_type(hid_t type) {
  switch (H5Tget_class(type)) {
  case H5T_INTEGER:
  case H5T_FLOAT:
    return H5_KIND_NUMBER;
  case H5T_STRING:
    return H5_KIND_TEXT;
  default:
    return H5_KIND_OTHER;
  }
}

static long count_in(hid_t space) {
  hsize_t length = 0;
  if (H5Sget_simple_extent_type(space) == H5S_SCALAR) {
    return -1;
  }
  if (H5Sget_simple_extent_ndims(space) != 1 || H5Sget_simple_extent_dims(space, &length, NULL) != 1 ||
      length > ROW_COUNT_LIMIT) {
    return -2;
  }
  return (long)length;
}

enum h5_kind h5_reading_kind(struct h5_reading *reading, hid_t dataset, long *count) {
  errno = 0;
  hid_t type = H5Dget_type(dataset);
  hid_t space = H5Dget_space(dataset);
  enum h5_kind kind = H5_KIND_OTHER;
  *count = -2;
  if (type < 0 || space < 0) {
    fail_at(reading, "the type of a dataset");
  } else {
    kind = kind_of_type(type);
    *count = count_in(space);
  }
  (void)H5Tclose(type);
  (void)H5Sclose(space);
  return kind;
}

/* A text of variable length that reads what `type` describes. */
static hid_t variable_text_like(hid_t type) {
  hid_t wanted = H5Tcopy(H5T_C_S1);
  (void)H5Tset_size(wanted, H5T_VARIABLE);
  (void)H5Tset_cset(wanted, H5Tget_cset(type));
  return wanted;
}

/* One attribute or one dataset: the two differ only in the call that reads them. */
struct text_source {
  hid_t id;
  hid_t type;
  bool is_attribute;
};

static bool read_raw(const struct text_source *source, hid_t wanted, void *buffer) {
  return (source->is_attribute ? H5Aread(source->id, wanted, buffer)
                               : H5Dread(source->id, wanted, H5S_ALL, H5S_ALL, H5P_DEFAULT, buffer)) >= 0;
}

static void take_text(struct h5_reading *reading, const char *text, size_t room, struct h5_names *texts) {
  size_t length = text != NULL ? strnlen(text, room) : 0;
  if (length >= TEXT_SIZE_LIMIT) {
    h5_reading_fail(reading, "it holds a text longer than a run file can");
  }
  char *copy = copy_text(reading, text != NULL ? text : "", length);
  if (copy != NULL) {
    texts->items[texts->count++] = copy;
  }
}

static bool read_variable(struct h5_reading *reading, const struct text_source *source, long count,
                          struct h5_names *texts) {
  char **raw = h5_reading_memory(reading, (size_t)count, sizeof *raw);
  hid_t wanted = variable_text_like(source->type);
  bool good = raw != NULL && read_raw(source, wanted, raw);
  for (long i = 0; good && i < count; i++) {
    take_text(reading, raw[i], TEXT_SIZE_LIMIT, texts);
  }
  for (long i = 0; raw != NULL && i < count; i++) {
    (void)H5free_memory(raw[i]);
  }
  (void)H5Tclose(wanted);
  free(raw);
  return good;
}

static bool read_fixed(struct h5_reading *reading, const struct text_source *source, long count,
                       struct h5_names *texts) {
  size_t size = H5Tget_size(source->type);
  if (size == 0 || size > TEXT_SIZE_LIMIT || (size_t)count > (size_t)ROW_COUNT_LIMIT / size) {
    return false;
  }
  char *raw = h5_reading_memory(reading, (size_t)count * size, 1);
  bool good = raw != NULL && read_raw(source, source->type, raw);
  for (long i = 0; good && i < count; i++) {
    take_text(reading, raw + (size_t)i * size, size, texts);
  }
  free(raw);
  return good;
}

static struct h5_names read_texts(struct h5_reading *reading, const struct text_source *source, long count,
                                  const char *name) {
  struct h5_names texts = {h5_reading_memory(reading, (size_t)count, sizeof(char *)), 0};
  errno = 0;
  if (texts.items == NULL || count == 0) {
    return texts;
  }
  bool good = H5Tis_variable_str(source->type) > 0 ? read_variable(reading, source, count, &texts)
                                                   : read_fixed(reading, source, count, &texts);
  if (!good) {
    fail_at(reading, name);
  }
  return texts;
}

/* Is there such an attribute? What cannot be told is a failure, not absence. */
static bool is_there(struct h5_reading *reading, hid_t object, const char *name) {
  errno = 0;
  htri_t there = reading->failed || object < 0 ? 0 : H5Aexists(object, name);
  if (there < 0) {
    fail_at(reading, name);
  }
  return there > 0;
}

char *h5_reading_attribute(struct h5_reading *reading, hid_t object, const char *name) {
  struct h5_names texts = {NULL, 0};
  if (is_there(reading, object, name)) {
    hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
    hid_t type = H5Aget_type(attribute);
    hid_t space = H5Aget_space(attribute);
    if (attribute < 0 || type < 0 || space < 0 || kind_of_type(type) != H5_KIND_TEXT ||
        H5Sget_simple_extent_npoints(space) != 1) {
      fail_at(reading, name);
    } else {
      texts = read_texts(reading, &(struct text_source){attribute, type, true}, 1, name);
    }
    (void)H5Sclose(space);
    (void)H5Tclose(type);
    (void)H5Aclose(attribute);
  }
  char *text = NULL;
  if (texts.count == 1) {
    text = texts.items[0];
    texts.count = 0;
  }
  h5_names_free(&texts);
  return text != NULL ? text : calloc(1, 1);
}

double h5_reading_attribute_number(struct h5_reading *reading, hid_t object, const char *name) {
  double number = (double)NAN;
  if (!is_there(reading, object, name)) {
    return number;
  }
  hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
  hid_t type = H5Aget_type(attribute);
  hid_t space = H5Aget_space(attribute);
  if (attribute < 0 || type < 0 || space < 0 || kind_of_type(type) != H5_KIND_NUMBER ||
      H5Sget_simple_extent_npoints(space) != 1 || H5Aread(attribute, H5T_NATIVE_DOUBLE, &number) < 0) {
    fail_at(reading, name);
  }
  (void)H5Sclose(space);
  (void)H5Tclose(type);
  (void)H5Aclose(attribute);
  return number;
}

double *h5_reading_numbers(struct h5_reading *reading, hid_t dataset, long count) {
  double *values = h5_reading_memory(reading, (size_t)count, sizeof *values);
  errno = 0;
  if (values != NULL && count > 0 && H5Dread(dataset, H5T_NATIVE_DOUBLE, H5S_ALL, H5S_ALL, H5P_DEFAULT, values) < 0) {
    fail_at(reading, "numbers");
    free(values);
    return NULL;
  }
  return values;
}

double h5_reading_number(struct h5_reading *reading, hid_t dataset) {
  double *value = h5_reading_numbers(reading, dataset, 1);
  double number = value != NULL ? value[0] : (double)NAN;
  free(value);
  return number;
}

struct h5_names h5_reading_texts(struct h5_reading *reading, hid_t dataset, long count) {
  hid_t type = H5Dget_type(dataset);
  struct h5_names texts = read_texts(reading, &(struct text_source){dataset, type, false}, count, "a text");
  (void)H5Tclose(type);
  return texts;
}

bool h5_reading_slab(struct h5_reading *reading, hid_t dataset, hid_t type, int64_t start, int count, void *values) {
  hsize_t from = (hsize_t)start;
  hsize_t length = (hsize_t)count;
  errno = 0;
  hid_t file = reading->failed ? H5I_INVALID_HID : H5Dget_space(dataset);
  hid_t memory = file >= 0 ? H5Screate_simple(1, &length, NULL) : H5I_INVALID_HID;
  bool good = memory >= 0 && H5Sselect_hyperslab(file, H5S_SELECT_SET, &from, NULL, &length, NULL) >= 0 &&
              H5Dread(dataset, type, memory, file, H5P_DEFAULT, values) >= 0;
  (void)H5Sclose(memory);
  (void)H5Sclose(file);
  if (!good) {
    fail_at(reading, "a piece of a column");
  }
  return good;
}
