/* Sparsity of a Jacobian: which entries can be other than zero, which columns one evaluation can find together, and in
 * which order the Newton matrix is eliminated so that few entries fill in. All of it is settled
 * once for a system, by its equations and never by its numbers, so that no case decides how another's sums are ordered.
 */
#ifndef SWASHLOOP_LINEAR_SPARSITY_H
#define SWASHLOOP_LINEAR_SPARSITY_H

#include <stdbool.h>
#include <stdint.h>

#include "error.h"

enum { SPARSITY_LIMIT = 63 }; /* unknowns; time has the bit behind them */

#define SPARSITY_TIME (UINT64_C(1) << SPARSITY_LIMIT)

/* An entry of the Jacobian that a group of columns finds. */
struct sparsity_find {
  int row;
  int column;
  int entry; /* where it lies among the values */
};

/* values[target] -= values[left] * values[right] */
struct sparsity_product {
  int target, left, right;
};

/* One unknown's elimination: values[each of `lowers`] times its pivot's reciprocal, then products. */
struct sparsity_pivot {
  int diagonal;
  int lower_first, lower_end;     /* in `lowers` */
  int product_first, product_end; /* in `products` */
};

/* x[target] -= values[entry] * x[source] */
struct sparsity_term {
  int target, source, entry;
};

struct sparsity {
  int size;
  uint64_t pattern[SPARSITY_LIMIT]; /* as given to sparsity_new */
  int entry_count;                  /* entries, with those that elimination fills in */
  int group_count;
  int *group_columns; /* columns by groups */
  int *group_first;   /* [group_count + 1] in group_columns */
  struct sparsity_find *finds;
  int *find_first; /* [group_count + 1] in finds */
  int *timed;      /* rows that depend on time */
  int timed_count;
  int *diagonal;                 /* [size] entry of each unknown's diagonal */
  struct sparsity_pivot *pivots; /* in the order of elimination */
  int *pivot_unknown;            /* [size] which unknown each eliminates */
  int *lowers;
  struct sparsity_product *products;
  struct sparsity_term *forward;
  int forward_count;
  struct sparsity_term *backward; /* after all that, by pivots from the last: its row of U */
  int *backward_first;            /* [size + 1] by pivots from the last */
};

/* rows[i]: bit j is set where the i-th rate depends on unknown j, SPARSITY_TIME where it depends on time. NULL without
 * memory, or when the system is too large. */
struct sparsity *sparsity_new(int size, const uint64_t *rows, struct error *error);
/* The rows of a system in which all depend on all, and on time. */
void sparsity_all(int size, uint64_t *rows);
void sparsity_free(struct sparsity *sparsity);
/* Columns that share no row, which one evaluation can find together: the fullest first, each into the first group that
 * has room. Into group[column], which stays as it is for a column that nothing depends on; returns how many. */
int sparsity_groups(int n, const uint64_t *rows, int *group);

#endif
