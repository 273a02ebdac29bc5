#include "sparsity.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

#define BIT(i) (UINT64_C(1) << (i))

static bool has(uint64_t set, int i) {
  return (set >> i & 1) != 0;
}

/* Markowitz: next the unknown whose row and column have least in common with the rest. Leaves in `rows` and `columns`
 * the places that the elimination fills, the diagonal among them. */
static void find_order(int n, uint64_t *rows, uint64_t *columns, int *order) {
  uint64_t left_rows[SPARSITY_LIMIT];
  uint64_t left_columns[SPARSITY_LIMIT];
  for (int i = 0; i < n; i++) {
    order[i] = i;
    left_rows[i] = rows[i] & ~BIT(i);
    left_columns[i] = columns[i] & ~BIT(i);
  }
  for (int k = 0; k < n; k++) {
    int at = k;
    int least = INT_MAX;
    for (int m = k; m < n; m++) {
      int i = order[m];
      int joins = __builtin_popcountll(left_rows[i]) * __builtin_popcountll(left_columns[i]);
      if (joins < least) {
        least = joins;
        at = m;
      }
    }
    int best = order[at];
    order[at] = order[k];
    order[k] = best;
    for (int m = k + 1; m < n; m++) {
      int i = order[m];
      if (has(left_rows[i], best)) {
        left_rows[i] |= left_rows[best];
        rows[i] |= left_rows[best];
      }
      if (has(left_columns[i], best)) {
        left_columns[i] |= left_columns[best];
        columns[i] |= left_columns[best];
      }
      left_rows[i] &= ~(BIT(best) | BIT(i));
      left_columns[i] &= ~(BIT(best) | BIT(i));
    }
  }
}

int sparsity_groups(int n, const uint64_t *rows, int *group) {
  uint64_t of_column[SPARSITY_LIMIT] = {0};
  uint64_t taken[SPARSITY_LIMIT] = {0};
  int count = 0;
  for (int i = 0; i < n; i++) {
    for (int j = 0; j < n; j++) {
      of_column[j] |= has(rows[i], j) ? BIT(i) : 0;
    }
  }
  for (int fullness = n; fullness > 0; fullness--) {
    for (int j = 0; j < n; j++) {
      if (__builtin_popcountll(of_column[j]) != fullness) {
        continue;
      }
      int g = 0;
      while ((taken[g] & of_column[j]) != 0) {
        g++;
      }
      taken[g] |= of_column[j];
      group[j] = g;
      count = g + 1 > count ? g + 1 : count;
    }
  }
  return count;
}

static void list_groups(struct sparsity *s, const uint64_t *rows, const int *group, const int *entry) {
  int n = s->size;
  int columns = 0;
  int finds = 0;
  for (int g = 0; g < s->group_count; g++) {
    s->group_first[g] = columns;
    s->find_first[g] = finds;
    for (int j = 0; j < n; j++) {
      if (group[j] != g) {
        continue;
      }
      s->group_columns[columns++] = j;
      for (int i = 0; i < n; i++) {
        if (has(rows[i], j)) {
          s->finds[finds++] = (struct sparsity_find){i, j, entry[i * n + j]};
        }
      }
    }
  }
  s->group_first[s->group_count] = columns;
  s->find_first[s->group_count] = finds;
  for (int i = 0; i < n; i++) {
    if ((rows[i] & SPARSITY_TIME) != 0) {
      s->timed[s->timed_count++] = i;
    }
  }
}

/* The elimination as lists of what to do. `place` of an unknown: where it stands in the order. */
static void list_elimination(struct sparsity *s, const uint64_t *filled, const int *entry, const int *place) {
  int n = s->size;
  int lowers = 0;
  int products = 0;
  for (int k = 0; k < n; k++) {
    int p = s->pivot_unknown[k];
    struct sparsity_pivot *pivot = &s->pivots[k];
    pivot->diagonal = entry[p * n + p];
    pivot->lower_first = lowers;
    pivot->product_first = products;
    for (int i = 0; i < n; i++) {
      if (place[i] <= k || !has(filled[i], p)) {
        continue;
      }
      int lower = entry[i * n + p];
      s->lowers[lowers++] = lower;
      s->forward[s->forward_count++] = (struct sparsity_term){i, p, lower};
      for (int j = 0; j < n; j++) {
        if (place[j] > k && has(filled[p], j)) {
          s->products[products++] = (struct sparsity_product){entry[i * n + j], lower, entry[p * n + j]};
        }
      }
    }
    pivot->lower_end = lowers;
    pivot->product_end = products;
  }
  int terms = 0;
  for (int m = 0; m < n; m++) {
    int k = n - 1 - m;
    int p = s->pivot_unknown[k];
    s->backward_first[m] = terms;
    for (int j = 0; j < n; j++) {
      if (place[j] > k && has(filled[p], j)) {
        s->backward[terms++] = (struct sparsity_term){p, j, entry[p * n + j]};
      }
    }
  }
  s->backward_first[n] = terms;
}

static bool make_room(struct sparsity *s, int n) {
  size_t size = (size_t)n;
  size_t all = size * size;
  s->group_columns = calloc(size, sizeof *s->group_columns);
  s->group_first = calloc(size + 1, sizeof *s->group_first);
  s->finds = calloc(all, sizeof *s->finds);
  s->find_first = calloc(size + 1, sizeof *s->find_first);
  s->timed = calloc(size, sizeof *s->timed);
  s->diagonal = calloc(size, sizeof *s->diagonal);
  s->pivots = calloc(size, sizeof *s->pivots);
  s->pivot_unknown = calloc(size, sizeof *s->pivot_unknown);
  s->lowers = calloc(all, sizeof *s->lowers);
  s->products = calloc(all * size, sizeof *s->products);
  s->forward = calloc(all, sizeof *s->forward);
  s->backward = calloc(all, sizeof *s->backward);
  s->backward_first = calloc(size + 1, sizeof *s->backward_first);
  return s->group_columns != NULL && s->group_first != NULL && s->finds != NULL && s->find_first != NULL &&
         s->timed != NULL && s->diagonal != NULL && s->pivots != NULL && s->pivot_unknown != NULL &&
         s->lowers != NULL && s->products != NULL && s->forward != NULL && s->backward != NULL &&
         s->backward_first != NULL;
}

static void settle(struct sparsity *s, const uint64_t *rows) {
  int n = s->size;
  uint64_t filled[SPARSITY_LIMIT];
  uint64_t columns[SPARSITY_LIMIT] = {0};
  int entry[SPARSITY_LIMIT * SPARSITY_LIMIT] = {0};
  int place[SPARSITY_LIMIT] = {0};
  int group[SPARSITY_LIMIT];
  for (int i = 0; i < n; i++) {
    filled[i] = (rows[i] & ~SPARSITY_TIME) | BIT(i);
    for (int j = 0; j < n; j++) {
      columns[j] |= has(filled[i], j) ? BIT(i) : 0;
    }
  }
  find_order(n, filled, columns, s->pivot_unknown);
  for (int k = 0; k < n; k++) {
    place[s->pivot_unknown[k]] = k;
  }
  for (int i = 0; i < n; i++) {
    for (int j = 0; j < n; j++) {
      entry[i * n + j] = has(filled[i], j) ? s->entry_count++ : -1;
    }
    s->diagonal[i] = entry[i * n + i];
  }
  for (int j = 0; j < n; j++) {
    group[j] = -1; /* a column that nothing depends on is in no group */
  }
  s->group_count = sparsity_groups(n, rows, group);
  list_groups(s, rows, group, entry);
  list_elimination(s, filled, entry, place);
}

void sparsity_all(int size, uint64_t *rows) {
  for (int i = 0; i < size; i++) {
    rows[i] = (BIT(size) - 1) | SPARSITY_TIME;
  }
}

struct sparsity *sparsity_new(int size, const uint64_t *rows, struct error *error) {
  struct sparsity *s = size > 0 && size <= SPARSITY_LIMIT ? calloc(1, sizeof *s) : NULL;
  if (s == NULL || !make_room(s, size)) {
    sparsity_free(s);
    error_set(error, ERROR_MEMORY, "no memory for a system of %d unknowns", size);
    return NULL;
  }
  s->size = size;
  memcpy(s->pattern, rows, (size_t)size * sizeof *rows);
  settle(s, rows);
  return s;
}

void sparsity_free(struct sparsity *s) {
  if (s == NULL) {
    return;
  }
  void *all[] = {s->group_columns, s->group_first, s->finds,    s->find_first, s->timed,    s->diagonal,      s->pivots,
                 s->pivot_unknown, s->lowers,      s->products, s->forward,    s->backward, s->backward_first};
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    free(all[i]);
  }
  free(s);
}
