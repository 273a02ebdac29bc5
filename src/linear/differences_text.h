/* The text of differences.h, for one kind of number (plain_number.h, lane_number.h). Before it stands as well
 *     EVALUATE_AHEAD(differences, t, later, state)   may make all evaluations that will be asked for
 *     EVALUATE(differences, k, t, state, rates)      gives the k-th of those, or makes it
 * No include guard: it is text. */

#define DIFFERENCES struct OF_KIND(differences, )

static bool OF_KIND(differences, _open_memory)(DIFFERENCES *differences) {
  size_t n = (size_t)differences->sparsity->size;
  size_t entries = (size_t)differences->sparsity->entry_count;
  NUMBER **arrays[] = {&differences->increments, &differences->rates, &differences->by_time,
                       &differences->shifted,    &differences->there, &differences->over};
  size_t count = sizeof arrays / sizeof arrays[0];
  NUMBER *next = aligned_zeros((count * n + entries) * sizeof(NUMBER));
  differences->memory = next;
  for (size_t i = 0; next != NULL && i < count; i++, next += n) {
    *arrays[i] = next;
  }
  differences->jacobian = next;
  return next != NULL;
}

static void OF_KIND(differences, _close_memory)(DIFFERENCES *differences) {
  free(differences->memory);
  differences->memory = NULL;
}

/* Shift the columns of one group; `shifted` is the state before. */
VECTORS static void OF_KIND(differences, _shift)(const DIFFERENCES *differences, int g, const NUMBER *state,
                                                 NUMBER *shifted) {
  const struct sparsity *s = differences->sparsity;
  for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
    int j = s->group_columns[c];
    shifted[j] = state[j] + differences->increments[j];
    differences->over[j] = 1.0 / (shifted[j] - state[j]);
  }
}

/* What the rates there say of those columns; `shifted` is the state again. */
VECTORS static void OF_KIND(differences, _take)(const DIFFERENCES *differences, int g, const NUMBER *state,
                                                NUMBER *shifted, const NUMBER *there) {
  const struct sparsity *s = differences->sparsity;
  for (int f = s->find_first[g]; f < s->find_first[g + 1]; f++) {
    const struct sparsity_find *find = &s->finds[f];
    differences->jacobian[find->entry] =
        (there[find->row] - differences->rates[find->row]) * differences->over[find->column];
  }
  for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
    int j = s->group_columns[c];
    shifted[j] = state[j];
  }
}

static void OF_KIND(differences, _by_time)(const DIFFERENCES *differences, int k, GIVEN t, GIVEN later,
                                           const NUMBER *state) {
  const struct sparsity *s = differences->sparsity;
  NUMBER over = 1.0 / (TAKE(later) - TAKE(t));
  EVALUATE(differences, k, later, state, differences->there);
  for (int i = 0; i < s->timed_count; i++) {
    int row = s->timed[i];
    differences->by_time[row] = (differences->there[row] - differences->rates[row]) * over;
  }
}

/* Evaluations: at the state itself unless known, later if that matters, then where each group is shifted. */
void OF_KIND(differences, _find)(DIFFERENCES *differences, GIVEN t, GIVEN later, const NUMBER *state) {
  const struct sparsity *s = differences->sparsity;
  int k = 0;
  EVALUATE_AHEAD(differences, t, later, state);
  if (!differences->rates_known) {
    EVALUATE(differences, k++, t, state, differences->rates);
  }
  memset(differences->by_time, 0, (size_t)s->size * sizeof *state);
  if (differences->time_dependent) {
    OF_KIND(differences, _by_time)(differences, k++, t, later, state);
  }
  memcpy(differences->shifted, state, (size_t)s->size * sizeof *state);
  for (int g = 0; g < s->group_count; g++) {
    OF_KIND(differences, _shift)(differences, g, state, differences->shifted);
    EVALUATE(differences, k++, t, differences->shifted, differences->there);
    OF_KIND(differences, _take)(differences, g, state, differences->shifted, differences->there);
  }
}
