#include "h5_columns.h"

#include <hdf5_hl.h>

static hid_t file_type(enum h5_kind kind, const struct h5_log *log) {
  switch (kind) {
  case H5_KIND_REAL:
    return H5T_IEEE_F64LE;
  case H5_KIND_INTEGER:
    return H5T_STD_I64LE;
  case H5_KIND_BYTE:
    return H5T_STD_I8LE;
  default:
    return log->text_type;
  }
}

static hid_t memory_type(enum h5_kind kind, const struct h5_log *log) {
  switch (kind) {
  case H5_KIND_REAL:
    return H5T_NATIVE_DOUBLE;
  case H5_KIND_INTEGER:
    return H5T_NATIVE_INT64;
  case H5_KIND_BYTE:
    return H5T_NATIVE_SCHAR;
  default:
    return log->text_type;
  }
}

hid_t h5_column(hid_t parent, const char *name, enum h5_kind kind, int64_t count, hid_t scale, struct h5_log *log) {
  hsize_t size = (hsize_t)count;
  hid_t space = H5Screate_simple(1, &size, NULL);
  hid_t column = H5Dcreate2(parent, name, file_type(kind, log), space, H5P_DEFAULT, log->dataset_creation, H5P_DEFAULT);
  if (h5_note(log, column)) {
    h5_note(log, scale == H5I_INVALID_HID ? H5DSset_scale(column, name) : H5DSattach_scale(column, scale, 0));
  }
  h5_note(log, H5Sclose(space));
  return column;
}

/* The piece of a column as a selection in the file and a plain array in memory. */
struct piece_spaces {
  hid_t file;
  hid_t memory;
};

static struct piece_spaces select_piece(hid_t column, int64_t start, int count, struct h5_log *log) {
  hsize_t from = (hsize_t)start;
  hsize_t length = (hsize_t)count;
  struct piece_spaces spaces = {H5Dget_space(column), H5Screate_simple(1, &length, NULL)};
  h5_note(log, H5Sselect_hyperslab(spaces.file, H5S_SELECT_SET, &from, NULL, &length, NULL));
  return spaces;
}

static void close_piece(struct piece_spaces spaces, struct h5_log *log) {
  h5_note(log, H5Sclose(spaces.memory));
  h5_note(log, H5Sclose(spaces.file));
}

void h5_column_put(hid_t column, enum h5_kind kind, int64_t start, int count, const void *values, struct h5_log *log) {
  struct piece_spaces spaces = select_piece(column, start, count, log);
  h5_note(log, H5Dwrite(column, memory_type(kind, log), spaces.memory, spaces.file, log->transfer, values));
  close_piece(spaces, log);
}

void h5_column_get(hid_t column, enum h5_kind kind, int64_t start, int count, void *values, struct h5_log *log) {
  struct piece_spaces spaces = select_piece(column, start, count, log);
  h5_note(log, H5Dread(column, memory_type(kind, log), spaces.memory, spaces.file, log->transfer, values));
  close_piece(spaces, log);
}

void h5_column_release(int count, char **texts, struct h5_log *log) {
  hsize_t length = (hsize_t)count;
  hid_t space = H5Screate_simple(1, &length, NULL);
  h5_note(log, H5Dvlen_reclaim(log->text_type, space, H5P_DEFAULT, texts));
  h5_note(log, H5Sclose(space));
}

void h5_integer_attribute(hid_t object, const char *name, int64_t value, struct h5_log *log) {
  hid_t attribute = H5Acreate2(object, name, H5T_STD_I64LE, log->scalar_space, H5P_DEFAULT, H5P_DEFAULT);
  if (h5_note(log, attribute)) {
    h5_note(log, H5Awrite(attribute, H5T_NATIVE_INT64, &value));
    h5_note(log, H5Aclose(attribute));
  }
}

void h5_bytes_attribute(hid_t object, const char *name, int count, const signed char *values, struct h5_log *log) {
  hsize_t size = (hsize_t)count;
  hid_t space = H5Screate_simple(1, &size, NULL);
  hid_t attribute = H5Acreate2(object, name, H5T_STD_I8LE, space, H5P_DEFAULT, H5P_DEFAULT);
  if (h5_note(log, attribute)) {
    h5_note(log, H5Awrite(attribute, H5T_NATIVE_SCHAR, values));
    h5_note(log, H5Aclose(attribute));
  }
  h5_note(log, H5Sclose(space));
}
