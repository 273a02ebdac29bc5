/* Small helpers over HDF5 for files that also open as netCDF-4: every dataset is a scalar or has a dimension scale on
 * its axis, creation order is tracked, texts are variable-length UTF-8. The first failure is noted in a log, and no
 * helper calls the file library after it (it may crash on what the failure left): a writer reads as a list and asks
 * once at the end. What was open then stays open; the process or the draft's removal ends it. */
#ifndef SWASHLOOP_FILES_H5_WRITE_H
#define SWASHLOOP_FILES_H5_WRITE_H

#include <stdbool.h>

#include <hdf5.h>

struct h5_log {
  bool failed;
  bool out_of_memory; /* why it failed */
  char reason[192];   /* of the first failure, in words of the operating system where there are any */
  /* What every call needs, made once. */
  hid_t text_type;
  hid_t scalar_space;
  hid_t dataset_creation;
  hid_t scalar_creation;
  hid_t empty_creation;
  hid_t transfer;
};

/* Before anything else of HDF5: no handler at exit (it may crash after a full disk), no error printing. */
void h5_start(struct h5_log *log);
void h5_stop(struct h5_log *log);
/* Note a returned identifier or status; true if it and all before were good. */
bool h5_note(struct h5_log *log, hid_t result);
/* Note that memory is out; returns false. */
bool h5_out_of_memory(struct h5_log *log);

/* A new file at `path`, replacing what is there. */
hid_t h5_create_file(const char *path, struct h5_log *log);
void h5_flush_file(hid_t file, struct h5_log *log);
void h5_close_file(hid_t file, struct h5_log *log);
hid_t h5_group(hid_t parent, const char *name, const char *text, struct h5_log *log);
void h5_close_group(hid_t group, struct h5_log *log);
void h5_close_dataset(hid_t dataset, struct h5_log *log);

/* A new attribute; another text for one that is there. */
void h5_text_attribute(hid_t object, const char *name, const char *text, struct h5_log *log);
void h5_real_attribute(hid_t object, const char *name, double value, struct h5_log *log);
void h5_change_text_attribute(hid_t object, const char *name, const char *text, struct h5_log *log);

/* Scalars. The returned dataset is open for attributes; close it with h5_close_dataset. */
hid_t h5_real(hid_t parent, const char *name, double value, struct h5_log *log);
hid_t h5_integer(hid_t parent, const char *name, long value, struct h5_log *log);
hid_t h5_text(hid_t parent, const char *name, const char *value, struct h5_log *log);

/* One rule for the whole file: an axis has a scale, its own (`scale` H5I_INVALID_HID) or another's. */
bool h5_give_scale(hid_t dataset, const char *name, hid_t scale, struct h5_log *log);

/* Arrays of `count` on one axis. `scale` is the dimension scale to attach, or H5I_INVALID_HID to make the array itself
 * the scale of a new dimension of its own name. */
hid_t h5_reals(hid_t parent, const char *name, int count, const double *values, hid_t scale, struct h5_log *log);
/* The same on two axes, the second running fastest; both scales must be given. */
hid_t h5_real_grid(hid_t parent, const char *name, const int counts[2], const double *values, const hid_t scales[2],
                   struct h5_log *log);
hid_t h5_texts(hid_t parent, const char *name, int count, const char *const *values, hid_t scale, struct h5_log *log);
/* A dimension without numbers of its own: an index 0, 1, 2 ... as its scale. */
hid_t h5_dimension(hid_t parent, const char *name, int count, const char *text, struct h5_log *log);

/* An array that grows in pieces of `chunk`; empty at first. `scale` as above. */
hid_t h5_growing_reals(hid_t parent, const char *name, int chunk, hid_t scale, struct h5_log *log);
/* Write the chunk that begins behind the first `start` values, a multiple of `chunk`: `count` values, and what else
 * there is room for in `values` up to a whole chunk, which no reader sees. By the machine's own bytes, without a copy.
 */
void h5_append_chunk(hid_t dataset, hsize_t start, int count, int chunk, const double *values, struct h5_log *log);

#endif
