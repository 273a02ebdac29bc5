#include "h5_foreign.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEPTH = 8, OBJECTS = 20000, PARTS = 512, ROWS = 1 << 28, VALID_LIMIT = 64 };

struct walk {
  struct h5_reading *reading;
  struct foreign_list *list;
  int objects;
};

/* ---- what there is ---- */

/* One more column; false: no memory, or more than can be. */
static bool add(struct walk *walk, const struct foreign_column *column) {
  struct foreign_list *list = walk->list;
  if (list->count == FOREIGN_COLUMNS) {
    h5_reading_fail(walk->reading, "it holds more columns than a trace can");
    return false;
  }
  list->columns[list->count++] = *column;
  return true;
}

/* Axes of a dataset of one or two, the samples along the longer; false: it has none or more. */
static bool read_shape(hid_t dataset, struct foreign_column *column) {
  hsize_t sizes[2] = {0, 1};
  hid_t space = H5Dget_space(dataset);
  int rank = space >= 0 && H5Sget_simple_extent_type(space) == H5S_SIMPLE ? H5Sget_simple_extent_ndims(space) : 0;
  bool good = (rank == 1 || rank == 2) && H5Sget_simple_extent_dims(space, sizes, NULL) == rank && sizes[0] < ROWS &&
              sizes[1] < ROWS;
  (void)H5Sclose(space);
  column->rank = rank;
  column->axis = sizes[1] > sizes[0] && rank == 2;
  column->count = (long)sizes[column->axis];
  column->parts = rank == 2 ? (long)sizes[1 - column->axis] : 1;
  return good;
}

static enum h5_kind kind_of(hid_t type) {
  H5T_class_t class = H5Tget_class(type);
  return class == H5T_INTEGER || class == H5T_FLOAT ? H5_KIND_NUMBER
         : class == H5T_STRING                      ? H5_KIND_TEXT
                                                    : H5_KIND_OTHER;
}

/* Each member of a table of records that is a number is a column. */
static void take_members(struct walk *walk, hid_t type, const struct foreign_column *whole) {
  int count = H5Tget_nmembers(type);
  for (int m = 0; m < count && m < FOREIGN_COLUMNS; m++) {
    struct foreign_column column = *whole;
    char *name = H5Tget_member_name(type, (unsigned)m);
    hid_t own = H5Tget_member_type(type, (unsigned)m);
    column.kind = own >= 0 ? kind_of(own) : H5_KIND_OTHER;
    int length = name != NULL ? snprintf(column.member, sizeof column.member, "%s", name) : 0;
    bool fits = length > 0 && length < FOREIGN_NAME &&
                snprintf(column.name, sizeof column.name, "%s/%s", whole->path, name) < FOREIGN_NAME;
    (void)H5Tclose(own);
    (void)H5free_memory(name);
    if (fits && column.kind == H5_KIND_NUMBER && !add(walk, &column)) {
      return;
    }
  }
}

/* The names of the columns of "X_values", where a list of as many texts "X_items" stands beside it: so are tables of
 * columns often kept. Without: none. */
static struct h5_names names_beside(struct h5_reading *reading, hid_t group, const char *name, long parts) {
  static const char ending[] = "_values";
  struct h5_names names = {NULL, 0};
  char beside[FOREIGN_NAME];
  size_t stem = strlen(name) >= sizeof ending - 1 ? strlen(name) - (sizeof ending - 1) : 0;
  if (stem == 0 || strcmp(name + stem, ending) != 0) {
    return names;
  }
  (void)snprintf(beside, sizeof beside, "%.*s_items", (int)stem, name);
  hid_t items = h5_reading_dataset(reading, group, beside);
  long count;
  if (items >= 0 && h5_reading_kind(reading, items, &count) == H5_KIND_TEXT && count == parts) {
    names = h5_reading_texts(reading, items, count);
  }
  h5_reading_shut(items);
  return names;
}

/* The columns of a dataset of two axes. */
static void take_parts(struct walk *walk, hid_t group, const char *name, const struct foreign_column *whole) {
  long parts = whole->parts;
  struct h5_names names = names_beside(walk->reading, group, name, parts);
  int stem = (int)(strlen(whole->path) - strlen(name));
  for (long part = 0; part < parts; part++) {
    struct foreign_column column = *whole;
    column.part = part;
    int length = names.count == parts
                     ? snprintf(column.name, sizeof column.name, "%.*s%s", stem, whole->path, names.items[part])
                 : parts > 1 ? snprintf(column.name, sizeof column.name, "%s[%ld]", whole->path, part + 1)
                             : snprintf(column.name, sizeof column.name, "%s", whole->path);
    if (length < FOREIGN_NAME && !add(walk, &column)) {
      break;
    }
  }
  h5_names_free(&names);
}

static void take_dataset(struct walk *walk, hid_t group, hid_t dataset, const char *name, const char *path) {
  struct foreign_column column = {.kind = H5_KIND_OTHER};
  hid_t type = H5Dget_type(dataset);
  (void)snprintf(column.path, sizeof column.path, "%s", path);
  (void)snprintf(column.name, sizeof column.name, "%s", path);
  if (type >= 0 && read_shape(dataset, &column)) {
    column.kind = kind_of(type);
    if (H5Tget_class(type) == H5T_COMPOUND && column.rank == 1) {
      take_members(walk, type, &column);
    } else if (column.kind == H5_KIND_NUMBER && column.rank == 2 && column.parts <= PARTS) {
      take_parts(walk, group, name, &column);
    } else if (column.kind != H5_KIND_OTHER && column.rank == 1) {
      (void)add(walk, &column);
    }
  }
  (void)H5Tclose(type);
}

/* All below a group; what is named with "_i_" in front holds an index of a table and no numbers of anybody. */
static void take_group(struct walk *walk, hid_t group, const char *prefix, int depth) {
  struct h5_names names;
  h5_reading_names(walk->reading, group, &names);
  for (int i = 0; i < names.count && !walk->reading->failed; i++) {
    char path[FOREIGN_NAME];
    int length = snprintf(path, sizeof path, "%s%s%s", prefix, prefix[0] != '\0' ? "/" : "", names.items[i]);
    if (length >= FOREIGN_NAME || strncmp(names.items[i], "_i_", 3) == 0) {
      continue;
    }
    if (++walk->objects > OBJECTS) {
      h5_reading_fail(walk->reading, "it holds more objects than a trace can");
      break;
    }
    hid_t object = h5_reading_object(walk->reading, group, names.items[i]);
    H5I_type_t kind = object >= 0 ? H5Iget_type(object) : H5I_BADID;
    if (kind == H5I_GROUP && depth < DEPTH) {
      take_group(walk, object, path, depth + 1);
    } else if (kind == H5I_DATASET) {
      take_dataset(walk, group, object, names.items[i], path);
    }
    h5_reading_shut(object);
  }
  h5_names_free(&names);
}

bool foreign_list(struct h5_reading *reading, struct foreign_list *list) {
  *list = (struct foreign_list){h5_reading_memory(reading, FOREIGN_COLUMNS, sizeof *list->columns), 0};
  struct walk walk = {reading, list, 0};
  hid_t root = list->columns != NULL ? H5Gopen2(reading->file, "/", H5P_DEFAULT) : H5I_INVALID_HID;
  if (root >= 0) {
    take_group(&walk, root, "", 0);
  } else {
    h5_reading_fail(reading, "it is damaged or cut off");
  }
  h5_reading_shut(root);
  return !reading->failed;
}

void foreign_free(struct foreign_list *list) {
  free(list->columns);
  *list = (struct foreign_list){NULL, 0};
}

/* ---- attributes ---- */

/* The text of an attribute; "" where there is none, or it is no text. */
static void attribute_text(struct h5_reading *reading, hid_t object, const char *name, char *text, size_t size) {
  text[0] = '\0';
  if (reading->failed || H5Aexists(object, name) <= 0) {
    return;
  }
  hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
  hid_t type = attribute >= 0 ? H5Aget_type(attribute) : H5I_INVALID_HID;
  hid_t space = attribute >= 0 ? H5Aget_space(attribute) : H5I_INVALID_HID;
  bool plain = type >= 0 && space >= 0 && H5Tget_class(type) == H5T_STRING && H5Sget_simple_extent_npoints(space) == 1;
  (void)H5Sclose(space);
  (void)H5Tclose(type);
  (void)H5Aclose(attribute);
  if (plain) {
    char *found = h5_reading_attribute(reading, object, name);
    (void)snprintf(text, size, "%s", found != NULL ? found : "");
    free(found);
  }
}

/* The numbers of an attribute, `room` at most; how many. What is there and is no number is a failure: a factor that is
 * left out would make another pressure. */
static int attribute_numbers(struct h5_reading *reading, hid_t object, const char *name, double *numbers, int room) {
  if (reading->failed || H5Aexists(object, name) <= 0) {
    return 0;
  }
  hid_t attribute = H5Aopen(object, name, H5P_DEFAULT);
  hid_t type = attribute >= 0 ? H5Aget_type(attribute) : H5I_INVALID_HID;
  hid_t space = attribute >= 0 ? H5Aget_space(attribute) : H5I_INVALID_HID;
  hssize_t count = space >= 0 ? H5Sget_simple_extent_npoints(space) : -1;
  bool good = type >= 0 && kind_of(type) == H5_KIND_NUMBER && count >= 1 && count <= room &&
              H5Aread(attribute, H5T_NATIVE_DOUBLE, numbers) >= 0;
  (void)H5Sclose(space);
  (void)H5Tclose(type);
  (void)H5Aclose(attribute);
  if (!good) {
    char words[200];
    (void)snprintf(words, sizeof words, "its attribute '%.60s' is no number", name);
    h5_reading_fail(reading, words);
    return 0;
  }
  return (int)count;
}

static void read_unit(struct h5_reading *reading, hid_t dataset, struct foreign_data *data) {
  static const char *const names[] = {"units", "unit", "Units", "Unit"};
  char kind[32];
  for (size_t i = 0; i < sizeof names / sizeof names[0] && data->unit[0] == '\0'; i++) {
    attribute_text(reading, dataset, names[i], data->unit, sizeof data->unit);
  }
  char *since = strstr(data->unit, " since ");
  if (since != NULL) {
    *since = '\0';
    data->elapsed = true;
  }
  attribute_text(reading, dataset, "kind", kind, sizeof kind);
  if (strcmp(kind, "datetime64") == 0 && data->unit[0] == '\0') {
    (void)snprintf(data->unit, sizeof data->unit, "ns");
    data->elapsed = true;
  }
}

/* ---- numbers ---- */

/* The column's part of its dataset, as the memory type says. */
static bool read_raw(const struct foreign_column *column, hid_t dataset, hid_t type, void *values) {
  hsize_t start[2] = {0, 0};
  hsize_t count[2] = {1, 1};
  hsize_t length = (hsize_t)column->count;
  count[column->axis] = length;
  start[1 - column->axis] = (hsize_t)column->part;
  hid_t file = H5Dget_space(dataset);
  hid_t memory = file >= 0 ? H5Screate_simple(1, &length, NULL) : H5I_INVALID_HID;
  bool good = memory >= 0 && H5Sselect_hyperslab(file, H5S_SELECT_SET, start, NULL, count, NULL) >= 0 &&
              H5Dread(dataset, type, memory, file, H5P_DEFAULT, values) >= 0;
  (void)H5Sclose(memory);
  (void)H5Sclose(file);
  return good;
}

static bool read_numbers(const struct foreign_column *column, hid_t dataset, double *values) {
  if (column->member[0] == '\0') {
    return read_raw(column, dataset, H5T_NATIVE_DOUBLE, values);
  }
  hid_t member = H5Tcreate(H5T_COMPOUND, sizeof(double));
  bool good = member >= 0 && H5Tinsert(member, column->member, 0, H5T_NATIVE_DOUBLE) >= 0 &&
              read_raw(column, dataset, member, values);
  (void)H5Tclose(member);
  return good;
}

/* Whole ticks since an instant long ago have more digits than a double: what is kept is the count from the first. */
static bool read_ticks(struct h5_reading *reading, const struct foreign_column *column, hid_t dataset, double *values) {
  int64_t *ticks = h5_reading_memory(reading, (size_t)column->count, sizeof *ticks);
  bool good = ticks != NULL && read_raw(column, dataset, H5T_NATIVE_INT64, ticks);
  int64_t first = INT64_MIN;
  for (long k = 0; good && k < column->count; k++) {
    bool gap = ticks[k] == INT64_MIN;
    first = first == INT64_MIN ? ticks[k] : first;
    values[k] = gap ? (double)NAN : (double)ticks[k] - (double)first;
    /* Exactly where the difference fits, as it does unless the numbers are nonsense. */
    if (!gap && fabs(values[k]) < 4e18) {
      values[k] = (double)(ticks[k] - first);
    }
  }
  free(ticks);
  return good;
}

static bool is_long_whole(hid_t dataset) {
  hid_t type = H5Dget_type(dataset);
  bool found = type >= 0 && H5Tget_class(type) == H5T_INTEGER && H5Tget_size(type) == 8;
  (void)H5Tclose(type);
  return found;
}

/* Fill values and what lies outside the valid range are gaps; then numbers that are packed are unpacked
 * (CF 2.5.1, 8.1). */
static void unpack(struct h5_reading *reading, hid_t dataset, double *values, long count) {
  double gaps[VALID_LIMIT];
  double range[2] = {-HUGE_VAL, HUGE_VAL};
  double scale = 1.0;
  double offset = 0.0;
  int gap_count = attribute_numbers(reading, dataset, "_FillValue", gaps, 1);
  gap_count += attribute_numbers(reading, dataset, "missing_value", gaps + gap_count, VALID_LIMIT - 1);
  (void)attribute_numbers(reading, dataset, "valid_min", &range[0], 1);
  (void)attribute_numbers(reading, dataset, "valid_max", &range[1], 1);
  (void)attribute_numbers(reading, dataset, "valid_range", range, 2);
  (void)attribute_numbers(reading, dataset, "scale_factor", &scale, 1);
  (void)attribute_numbers(reading, dataset, "add_offset", &offset, 1);
  for (long k = 0; k < count; k++) {
    bool gap = !isfinite(values[k]) || values[k] < range[0] || values[k] > range[1];
    for (int g = 0; g < gap_count; g++) {
      gap = gap || values[k] == gaps[g];
    }
    values[k] = gap ? (double)NAN : scale * values[k] + offset;
  }
}

static void count_from_first(double *values, long count) {
  double first = NAN;
  for (long k = 0; k < count; k++) {
    first = isnan(first) ? values[k] : first;
    values[k] -= first;
  }
}

static void read_values(struct h5_reading *reading, const struct foreign_column *column, hid_t dataset,
                        struct foreign_data *data) {
  data->values = h5_reading_memory(reading, (size_t)column->count, sizeof *data->values);
  if (data->values == NULL) {
    return;
  }
  bool whole = column->member[0] == '\0';
  if (whole) {
    read_unit(reading, dataset, data);
  }
  bool ticks = data->elapsed && is_long_whole(dataset);
  if (!(ticks ? read_ticks(reading, column, dataset, data->values) : read_numbers(column, dataset, data->values))) {
    char words[200];
    (void)snprintf(words, sizeof words, "the numbers of '%.100s' (damaged, or packed by a filter that is not here)",
                   column->name);
    h5_reading_fail(reading, words);
    return;
  }
  if (whole && !ticks) {
    unpack(reading, dataset, data->values, column->count);
  }
  if (data->elapsed) {
    count_from_first(data->values, column->count);
  }
}

bool foreign_read(struct h5_reading *reading, const struct foreign_column *column, struct foreign_data *data) {
  memset(data, 0, sizeof *data);
  hid_t dataset = h5_reading_dataset(reading, reading->file, column->path);
  if (dataset < 0) {
    h5_reading_fail(reading, "a dataset is gone");
  } else if (column->kind == H5_KIND_TEXT) {
    data->texts = h5_reading_texts(reading, dataset, column->count);
  } else {
    read_values(reading, column, dataset, data);
  }
  h5_reading_shut(dataset);
  return !reading->failed;
}

void foreign_data_free(struct foreign_data *data) {
  free(data->values);
  data->values = NULL;
  h5_names_free(&data->texts);
}

/* ---- dimension scales ---- */

/* The first of the scales of an axis, from the list of references that the standard of dimension scales keeps. */
static bool scale_of(hid_t dataset, hid_t attribute, hid_t type, int axis, char *path, size_t size) {
  hvl_t scales[2] = {{0, NULL}, {0, NULL}};
  hid_t space = H5Aget_space(attribute);
  hssize_t axes = space >= 0 ? H5Sget_simple_extent_npoints(space) : -1;
  ssize_t length = 0;
  if (axis < axes && axes <= 2 && H5Aread(attribute, type, scales) >= 0) {
    const hobj_ref_t *first = scales[axis].p;
    hid_t scale = scales[axis].len >= 1 && first != NULL ? H5Rdereference2(dataset, H5P_DEFAULT, H5R_OBJECT, first)
                                                         : H5I_INVALID_HID;
    length = scale >= 0 ? H5Iget_name(scale, path, size) : 0;
    h5_reading_shut(scale);
    (void)H5Dvlen_reclaim(type, space, H5P_DEFAULT, scales);
  }
  (void)H5Sclose(space);
  return length > 1 && (size_t)length < size;
}

bool foreign_scale(struct h5_reading *reading, const struct foreign_column *column, char *path, size_t size) {
  static const char list[] = "DIMENSION_LIST";
  hid_t dataset = h5_reading_dataset(reading, reading->file, column->path);
  bool found = false;
  if (dataset >= 0 && H5Aexists(dataset, list) > 0) {
    hid_t attribute = H5Aopen(dataset, list, H5P_DEFAULT);
    hid_t type = attribute >= 0 ? H5Aget_type(attribute) : H5I_INVALID_HID;
    hid_t base = type >= 0 && H5Tget_class(type) == H5T_VLEN ? H5Tget_super(type) : H5I_INVALID_HID;
    found = base >= 0 && H5Tequal(base, H5T_STD_REF_OBJ) > 0 &&
            scale_of(dataset, attribute, type, column->axis, path, size);
    (void)H5Tclose(base);
    (void)H5Tclose(type);
    (void)H5Aclose(attribute);
  }
  h5_reading_shut(dataset);
  if (found && path[0] == '/') {
    memmove(path, path + 1, strlen(path));
  }
  return found;
}
