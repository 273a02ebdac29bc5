/* Columns of numbers in HDF5 files that other programs wrote, netCDF-4 files among them: datasets of one axis, columns
 * of datasets of two, members of tables of records, in groups or not. Read by what the conventions for climate and
 * forecast metadata (CF 1.11, sections 2.5.1, 3.1, 4.4 and 8.1) say of units, fill values, packing and times since an
 * instant. */
#ifndef SWASHLOOP_FILES_H5_FOREIGN_H
#define SWASHLOOP_FILES_H5_FOREIGN_H

#include "h5_read.h"

enum { FOREIGN_NAME = 128, FOREIGN_COLUMNS = 4096 };

struct foreign_column {
  char name[FOREIGN_NAME];   /* groups and dataset parted by '/', then member or "[3]" */
  char path[FOREIGN_NAME];   /* of the dataset */
  char member[FOREIGN_NAME]; /* of its records; "": it has none */
  enum h5_kind kind;         /* H5_KIND_NUMBER or H5_KIND_TEXT */
  int rank;                  /* axes of the dataset, 1 or 2 */
  int axis;                  /* along which the samples lie */
  long count;                /* samples */
  long part;                 /* which column of two axes, from 0 */
  long parts;                /* of how many */
};

struct foreign_list {
  struct foreign_column *columns;
  int count;
};

/* All columns of the file. Give the list back with foreign_free, also after a failure. */
bool foreign_list(struct h5_reading *reading, struct foreign_list *list);
void foreign_free(struct foreign_list *list);

struct foreign_data {
  double *values;        /* as the file means them: unpacked, NaN for a gap; of a text NULL */
  struct h5_names texts; /* of a column of texts */
  char unit[FOREIGN_NAME];
  bool elapsed; /* times since some instant: counted from the first */
};

/* The numbers of a column. Give them back with foreign_data_free, also after a failure. */
bool foreign_read(struct h5_reading *reading, const struct foreign_column *column, struct foreign_data *data);
void foreign_data_free(struct foreign_data *data);
/* The path of the dimension scale along which the samples of the column lie; false: none is attached. */
bool foreign_scale(struct h5_reading *reading, const struct foreign_column *column, char *path, size_t size);

#endif
