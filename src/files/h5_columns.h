/* Columns of a table whose length is known from the start, written in pieces. */
#ifndef SWASHLOOP_FILES_H5_COLUMNS_H
#define SWASHLOOP_FILES_H5_COLUMNS_H

#include <stdint.h>

#include "h5_write.h"

/* double, int64_t, signed char, const char * */
enum h5_column_kind { COLUMN_OF_REALS, COLUMN_OF_INTEGERS, COLUMN_OF_BYTES, COLUMN_OF_TEXTS };

/* A column of `count` of them on one axis; `scale` as in h5_write.h. */
hid_t h5_column(hid_t parent, const char *name, enum h5_column_kind kind, int64_t count, hid_t scale,
                struct h5_log *log);
void h5_column_put(hid_t column, enum h5_column_kind kind, int64_t start, int count, const void *values,
                   struct h5_log *log);

/* Attributes that are no text. */
void h5_integer_attribute(hid_t object, const char *name, int64_t value, struct h5_log *log);
void h5_bytes_attribute(hid_t object, const char *name, int count, const signed char *values, struct h5_log *log);

#endif
