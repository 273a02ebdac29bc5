/* Careful reading of HDF5 files that may be anything: cut off, damaged, or made to mislead. Only plain datasets inside
 * the file itself are read; what is reported by a size is bounded before memory is asked for. What cannot be
 * read is a failure, never absence. The first failure is noted and later calls do nothing, so that a reader reads as a
 * list and asks once at the end. */
#ifndef SWASHLOOP_FILES_H5_READ_H
#define SWASHLOOP_FILES_H5_READ_H

#include <stdbool.h>

#include <hdf5.h>

#include "error.h"

struct h5_reading {
  const char *path;
  hid_t file;
  bool sealed; /* its checksum was there, and right */
  bool failed;
  struct error *error;
};

/* Open a file to read; false: it cannot be, and `error` says why. Close it either way. What carries a checksum is
 * verified; a file without one is taken, if nothing says that it had one. */
bool h5_reading_open(struct h5_reading *reading, const char *path, struct error *error);
/* The same, and it must carry one. */
bool h5_reading_open_sealed(struct h5_reading *reading, const char *path, struct error *error);
void h5_reading_close(struct h5_reading *reading);
/* Note that the file is not what it should be; `words` say where or why. */
void h5_reading_fail(struct h5_reading *reading, const char *words);
void *h5_reading_memory(struct h5_reading *reading, size_t count, size_t size);

/* The object of that name and kind, or H5I_INVALID_HID (no failure) if there is none. Close with h5_reading_shut. */
hid_t h5_reading_group(struct h5_reading *reading, hid_t parent, const char *name);
hid_t h5_reading_dataset(struct h5_reading *reading, hid_t parent, const char *name);
/* The object of that name, of whatever kind. */
hid_t h5_reading_object(struct h5_reading *reading, hid_t parent, const char *name);
void h5_reading_shut(hid_t object);

/* Names of what lies in a group, in the order of writing where the file keeps it. */
struct h5_names {
  char **items;
  int count;
};

/* The list is to be given back with h5_names_free. */
void h5_reading_names(struct h5_reading *reading, hid_t group, struct h5_names *names);
void h5_names_free(struct h5_names *names);

enum h5_kind { H5_KIND_OTHER, H5_KIND_NUMBER, H5_KIND_TEXT };

/* What a dataset holds, and how much: -1 for a scalar, -2 for more than one axis. */
enum h5_kind h5_reading_kind(struct h5_reading *reading, hid_t dataset, long *count);

/* An attribute as text, to be freed; "" where there is none. */
char *h5_reading_attribute(struct h5_reading *reading, hid_t object, const char *name);
/* An attribute as a number; NaN where there is none. */
double h5_reading_attribute_number(struct h5_reading *reading, hid_t object, const char *name);
/* A scalar; NaN after a failure. */
double h5_reading_number(struct h5_reading *reading, hid_t dataset);
/* All `count` numbers (1 for a scalar) of a dataset, to be freed; NULL after a failure. */
double *h5_reading_numbers(struct h5_reading *reading, hid_t dataset, long count);
/* The same for texts. */
struct h5_names h5_reading_texts(struct h5_reading *reading, hid_t dataset, long count);
/* Part of a column into `values`, which are of the memory type `type`. */
bool h5_reading_slab(struct h5_reading *reading, hid_t dataset, hid_t type, int64_t start, int count, void *values);

#endif
