/* The text of rosenbrock.h, for one kind of number. Before it stands what NUMBER is, what METHOD is called, and
 *     GIVEN           how a number is given to a function
 *     TAKE(x)         a number so given, HAND(x) the other way
 *     LARGER(a, b), SIZE(a), TAKE_ROOT(a), SPOILT(pivot, diagonal)  of numbers
 *     RATES(method, t, state, rates)  asks for the rates
 *     AHEAD(method, t, state, absolute)  may ask for all that the differences will ask for
 *     LOOK(method, k, t, state, rates)   gives the k-th of those, or asks for it
 *     VECTORS         attributes of functions that are to be compiled for several widths of vectors
 * No include guard: it is text. */

#define ALWAYS_INLINE __attribute__((always_inline))
#define JOIN_(a, b) a##b
#define JOIN(a, b) JOIN_(a, b)

/* Increments of differences: a share of the state's size that leaves half of the digits, and never less than a
 * hundredth of its tolerance. Time: 1e-7 s, as long as a double of that size feels it. */
#define INCREMENT_RELATIVE 1.5e-8
#define INCREMENT_OF_TOLERANCE 0.01
#define INCREMENT_TIME 1e-7

/* The time of the look that finds what depends on time. */
#define LATER(t) ((t) + LARGER(INCREMENT_RELATIVE * SIZE(t), INCREMENT_TIME + 0.0 * (t)))

static bool JOIN(METHOD, _open_memory)(struct METHOD *method) {
  size_t n = (size_t)method->sparsity->size;
  size_t entries = (size_t)method->sparsity->entry_count;
  size_t count = n * (1 + ROSENBROCK_ROWS + 2 + RODAS4_STAGES + 2 + 1) + 2 * entries;
  size_t bytes = (count * sizeof(NUMBER) + 63) / 64 * 64;
  NUMBER *next = aligned_alloc(64, bytes);
  method->memory = next;
  if (next == NULL) {
    return false;
  }
  memset(next, 0, bytes);
  NUMBER **arrays[] = {&method->end,       &method->rows[0],   &method->rows[1],   &method->rows[2],
                       &method->rates,     &method->by_time,   &method->stages[0], &method->stages[1],
                       &method->stages[2], &method->stages[3], &method->stages[4], &method->stages[5],
                       &method->work[0],   &method->work[1],   &method->over};
  for (size_t i = 0; i < sizeof arrays / sizeof arrays[0]; i++, next += n) {
    *arrays[i] = next;
  }
  method->jacobian = next;
  method->values = next + entries;
  return true;
}

static void JOIN(METHOD, _close_memory)(struct METHOD *method) {
  free(method->memory);
  method->memory = NULL;
}

/* Shift the columns of one group; `shifted` is the state before and, put back, after. */
VECTORS static void JOIN(METHOD, _shift)(const struct METHOD *method, int g, const NUMBER *state, NUMBER *shifted,
                                         const NUMBER *absolute) {
  const struct sparsity *s = method->sparsity;
  for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
    int j = s->group_columns[c];
    NUMBER increment = LARGER(INCREMENT_RELATIVE * SIZE(state[j]), INCREMENT_OF_TOLERANCE * absolute[j]);
    shifted[j] = state[j] + increment;
    method->over[j] = 1.0 / (shifted[j] - state[j]);
  }
}

/* What that says of those columns. */
VECTORS static void JOIN(METHOD, _find)(const struct METHOD *method, int g, const NUMBER *state, NUMBER *shifted,
                                        const NUMBER *there) {
  const struct sparsity *s = method->sparsity;
  for (int f = s->find_first[g]; f < s->find_first[g + 1]; f++) {
    const struct sparsity_find *find = &s->finds[f];
    method->jacobian[find->entry] = (there[find->row] - method->rates[find->row]) * method->over[find->column];
  }
  for (int c = s->group_first[g]; c < s->group_first[g + 1]; c++) {
    int j = s->group_columns[c];
    shifted[j] = state[j];
  }
}

static void JOIN(METHOD, _differ_by_time)(struct METHOD *method, GIVEN t, const NUMBER *state) {
  const struct sparsity *s = method->sparsity;
  memset(method->by_time, 0, (size_t)s->size * sizeof *method->by_time);
  if (method->time_dependent) {
    NUMBER later = LATER(TAKE(t));
    NUMBER over = 1.0 / (later - TAKE(t));
    EVALUATE(method, 1, HAND(later), state, method->work[1]);
    for (int i = 0; i < s->timed_count; i++) {
      int row = s->timed[i];
      method->by_time[row] = (method->work[1][row] - method->rates[row]) * over;
    }
  }
}

/* Looks: at the state itself, at a later time if that matters, then at the groups of columns. */
static void JOIN(METHOD, _differ)(struct METHOD *method, GIVEN t, const NUMBER *state, const NUMBER *absolute) {
  EVALUATE_AHEAD(method, t, state, absolute);
  EVALUATE(method, 0, t, state, method->rates);
  JOIN(METHOD, _differ_by_time)(method, t, state);
  memcpy(method->work[0], state, (size_t)method->sparsity->size * sizeof *state);
  for (int g = 0; g < method->sparsity->group_count; g++) {
    JOIN(METHOD, _shift)(method, g, state, method->work[0], absolute);
    EVALUATE(method, g + (method->time_dependent ? 2 : 1), t, method->work[0], method->work[1]);
    JOIN(METHOD, _find)(method, g, state, method->work[0], method->work[1]);
  }
}

/* The Newton matrix and its factors. Returns how spoilt the worst pivot is: not zero, the attempt is worth nothing. */
VECTORS static void JOIN(METHOD, _factor)(const struct METHOD *method, GIVEN width, NUMBER *spoilt) {
  const struct sparsity *s = method->sparsity;
  NUMBER *values = method->values;
  NUMBER own = 1.0 / (RODAS4_GAMMA * TAKE(width));
  NUMBER worst = 0.0 * own;
  for (int e = 0; e < s->entry_count; e++) {
    values[e] = -method->jacobian[e];
  }
  for (int i = 0; i < s->size; i++) {
    values[s->diagonal[i]] += own;
    method->over[i] = values[s->diagonal[i]];
  }
  for (int k = 0; k < s->size; k++) {
    const struct sparsity_pivot *pivot = &s->pivots[k];
    int p = s->pivot_unknown[k];
    worst = LARGER(worst, SPOILT(values[pivot->diagonal], method->over[p]));
    NUMBER over = 1.0 / values[pivot->diagonal];
    method->over[p] = over;
    for (int l = pivot->lower_first; l < pivot->lower_end; l++) {
      values[s->lowers[l]] *= over;
    }
    for (int m = pivot->product_first; m < pivot->product_end; m++) {
      const struct sparsity_product *product = &s->products[m];
      values[product->target] -= values[product->left] * values[product->right];
    }
  }
  *spoilt = worst;
}

static inline void JOIN(METHOD, _solve)(const struct METHOD *method, NUMBER *x) {
  const struct sparsity *s = method->sparsity;
  const NUMBER *values = method->values;
  for (int f = 0; f < s->forward_count; f++) {
    const struct sparsity_term *term = &s->forward[f];
    x[term->target] -= values[term->entry] * x[term->source];
  }
  for (int m = 0; m < s->size; m++) {
    int p = s->pivot_unknown[s->size - 1 - m];
    NUMBER sum = x[p];
    for (int b = s->backward_first[m]; b < s->backward_first[m + 1]; b++) {
      const struct sparsity_term *term = &s->backward[b];
      sum -= values[term->entry] * x[term->source];
    }
    x[p] = sum * method->over[p];
  }
}

/* Sum of the first k stages, each times its factor, onto `sum`. With a k known when it is compiled: no loop is left. */
#define ADD_STAGES(sum, factors, k)                                                                                    \
  for (int j = 0; j < (k); j++) {                                                                                      \
    (sum) += (factors)[j] * method->stages[j][i];                                                                      \
  }

static inline ALWAYS_INLINE void JOIN(METHOD, _place_of)(const struct METHOD *method, int k, const NUMBER *state,
                                                         NUMBER *place) {
  int n = method->sparsity->size;
  for (int i = 0; i < n; i++) {
    NUMBER sum = state[i];
    ADD_STAGES(sum, rodas4_a[k], k)
    place[i] = sum;
  }
}

static inline ALWAYS_INLINE void JOIN(METHOD, _stage_of)(const struct METHOD *method, int k, GIVEN width,
                                                         const NUMBER *rates) {
  int n = method->sparsity->size;
  NUMBER over_width = 1.0 / TAKE(width);
  NUMBER time_part = rodas4_gamma[k] * TAKE(width);
  NUMBER *u = method->stages[k];
  for (int i = 0; i < n; i++) {
    NUMBER sum = 0.0 * over_width;
    ADD_STAGES(sum, rodas4_c[k], k)
    u[i] = rates[i] + time_part * method->by_time[i] + sum * over_width;
  }
  JOIN(METHOD, _solve)(method, u);
}

/* Where stage k is evaluated. */
VECTORS static void JOIN(METHOD, _place)(const struct METHOD *method, int k, const NUMBER *state, NUMBER *place) {
  switch (k) {
  case 1:
    JOIN(METHOD, _place_of)(method, 1, state, place);
    break;
  case 2:
    JOIN(METHOD, _place_of)(method, 2, state, place);
    break;
  case 3:
    JOIN(METHOD, _place_of)(method, 3, state, place);
    break;
  case 4:
    JOIN(METHOD, _place_of)(method, 4, state, place);
    break;
  default:
    JOIN(METHOD, _place_of)(method, 5, state, place);
    break;
  }
}

VECTORS static void JOIN(METHOD, _stage)(const struct METHOD *method, int k, GIVEN width, const NUMBER *rates) {
  switch (k) {
  case 0:
    JOIN(METHOD, _stage_of)(method, 0, width, rates);
    break;
  case 1:
    JOIN(METHOD, _stage_of)(method, 1, width, rates);
    break;
  case 2:
    JOIN(METHOD, _stage_of)(method, 2, width, rates);
    break;
  case 3:
    JOIN(METHOD, _stage_of)(method, 3, width, rates);
    break;
  case 4:
    JOIN(METHOD, _stage_of)(method, 4, width, rates);
    break;
  default:
    JOIN(METHOD, _stage_of)(method, 5, width, rates);
    break;
  }
}

VECTORS static void JOIN(METHOD, _finish)(struct METHOD *method, const NUMBER *state, const NUMBER *absolute,
                                          const NUMBER *relative, const NUMBER *spoilt) {
  int n = method->sparsity->size;
  NUMBER *const *u = method->stages;
  NUMBER sum = 0.0 * *spoilt;
  for (int i = 0; i < n; i++) {
    NUMBER end = method->work[0][i] + u[RODAS4_STAGES - 1][i]; /* where the last stage was evaluated, and its part */
    NUMBER scale = relative[i] * LARGER(SIZE(state[i]), SIZE(end)) + absolute[i];
    NUMBER share = u[RODAS4_STAGES - 1][i] / scale;
    sum += share * share;
    NUMBER p = rodas4_p[0] * u[0][i];
    NUMBER q = rodas4_q[0] * u[0][i];
    for (int j = 1; j < RODAS4_STAGES - 1; j++) {
      p += rodas4_p[j] * u[j][i];
      q += rodas4_q[j] * u[j][i];
    }
    method->end[i] = end;
    method->rows[0][i] = -q;
    method->rows[1][i] = -p - 2.0 * q;
    method->rows[2][i] = end - state[i] - p - q;
  }
  sum /= (double)n;
  TAKE_ROOT(sum);
  method->error = sum + *spoilt;
}

void JOIN(METHOD, _try)(struct METHOD *method, GIVEN t, GIVEN width, const NUMBER *state, const NUMBER *absolute,
                        const NUMBER *relative) {
  NUMBER spoilt;
  JOIN(METHOD, _differ)(method, t, state, absolute);
  JOIN(METHOD, _factor)(method, width, &spoilt);
  JOIN(METHOD, _stage)(method, 0, width, method->rates);
  for (int k = 1; k < RODAS4_STAGES; k++) {
    NUMBER then = TAKE(t) + rodas4_alpha[k] * TAKE(width);
    JOIN(METHOD, _place)(method, k, state, method->work[0]);
    RATES(method, HAND(then), method->work[0], method->work[1]);
    JOIN(METHOD, _stage)(method, k, width, method->work[1]);
  }
  JOIN(METHOD, _finish)(method, state, absolute, relative, &spoilt);
}
