#include "h5_columns.h"

#include <hdf5_hl.h>

static hid_t file_type(enum h5_column_kind kind, const struct h5_log *log) {
  switch (kind) {
  case COLUMN_OF_REALS:
    return H5T_IEEE_F64LE;
  case COLUMN_OF_INTEGERS:
    return H5T_STD_I64LE;
  case COLUMN_OF_BYTES:
    return H5T_STD_I8LE;
  default:
    return log->text_type;
  }
}

static hid_t memory_type(enum h5_column_kind kind, const struct h5_log *log) {
  switch (kind) {
  case COLUMN_OF_REALS:
    return H5T_NATIVE_DOUBLE;
  case COLUMN_OF_INTEGERS:
    return H5T_NATIVE_INT64;
  case COLUMN_OF_BYTES:
    return H5T_NATIVE_SCHAR;
  default:
    return log->text_type;
  }
}

hid_t h5_column(hid_t parent, const char *name, enum h5_column_kind kind, int64_t count, hid_t scale,
                struct h5_log *log) {
  hsize_t size = (hsize_t)count;
  hid_t space = H5I_INVALID_HID;
  hid_t column = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, space = H5Screate_simple(1, &size, NULL)) &&
         h5_note(log, column = H5Dcreate2(parent, name, file_type(kind, log), space, H5P_DEFAULT, log->dataset_creation,
                                          H5P_DEFAULT)) &&
         h5_give_scale(column, name, scale, log) && h5_note(log, H5Sclose(space)));
  return column;
}

void h5_column_put(hid_t column, enum h5_column_kind kind, int64_t start, int count, const void *values,
                   struct h5_log *log) {
  hsize_t from = (hsize_t)start;
  hsize_t length = (hsize_t)count;
  hid_t file = H5I_INVALID_HID;
  hid_t memory = H5I_INVALID_HID;
  (void)(!log->failed && h5_note(log, file = H5Dget_space(column)) &&
         h5_note(log, memory = H5Screate_simple(1, &length, NULL)) &&
         h5_note(log, H5Sselect_hyperslab(file, H5S_SELECT_SET, &from, NULL, &length, NULL)) &&
         h5_note(log, H5Dwrite(column, memory_type(kind, log), memory, file, log->transfer, values)) &&
         h5_note(log, H5Sclose(memory)) && h5_note(log, H5Sclose(file)));
}

void h5_integer_attribute(hid_t object, const char *name, int64_t value, struct h5_log *log) {
  hid_t attribute = H5I_INVALID_HID;
  (void)(!log->failed && object >= 0 &&
         h5_note(log,
                 attribute = H5Acreate2(object, name, H5T_STD_I64LE, log->scalar_space, H5P_DEFAULT, H5P_DEFAULT)) &&
         h5_note(log, H5Awrite(attribute, H5T_NATIVE_INT64, &value)) && h5_note(log, H5Aclose(attribute)));
}

void h5_bytes_attribute(hid_t object, const char *name, int count, const signed char *values, struct h5_log *log) {
  hsize_t size = (hsize_t)count;
  hid_t space = H5I_INVALID_HID;
  hid_t attribute = H5I_INVALID_HID;
  (void)(!log->failed && object >= 0 && h5_note(log, space = H5Screate_simple(1, &size, NULL)) &&
         h5_note(log, attribute = H5Acreate2(object, name, H5T_STD_I8LE, space, H5P_DEFAULT, H5P_DEFAULT)) &&
         h5_note(log, H5Awrite(attribute, H5T_NATIVE_SCHAR, values)) && h5_note(log, H5Aclose(attribute)) &&
         h5_note(log, H5Sclose(space)));
}
