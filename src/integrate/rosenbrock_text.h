/* The text of rosenbrock.h, for one kind of number (plain_number.h, lane_number.h). No include guard: it is text. */

#define METHOD struct OF_KIND(rosenbrock, )
#define ALWAYS_INLINE __attribute__((always_inline))

/* Increments of differences: a share of the state's size that leaves half of the digits, and never less than a
 * hundredth of its tolerance. Time: 1e-7 s, or more where t is so large that a double would round that away. */
#define INCREMENT_RELATIVE 1.5e-8
#define INCREMENT_OF_TOLERANCE 0.01
#define INCREMENT_TIME 1e-7

bool OF_KIND(rosenbrock, _open)(METHOD *method) {
  size_t n = (size_t)method->differences.sparsity->size;
  size_t entries = (size_t)method->differences.sparsity->entry_count;
  NUMBER **arrays[] = {&method->end,        &method->rows[0],   &method->rows[1],   &method->rows[2],
                       &method->stages[0],  &method->stages[1], &method->stages[2], &method->stages[3],
                       &method->stages[4],  &method->stages[5], &method->work[0],   &method->work[1],
                       &method->reciprocals};
  size_t count = sizeof arrays / sizeof arrays[0];
  NUMBER *next = aligned_zeros((count * n + entries) * sizeof(NUMBER));
  method->memory = next;
  if (next == NULL || !OF_KIND(differences, _open)(&method->differences)) {
    OF_KIND(rosenbrock, _close)(method);
    return false;
  }
  for (size_t i = 0; i < count; i++, next += n) {
    *arrays[i] = next;
  }
  method->factors = next;
  return true;
}

void OF_KIND(rosenbrock, _close)(METHOD *method) {
  OF_KIND(differences, _close)(&method->differences);
  free(method->memory);
  method->memory = NULL;
}

VECTORS static void OF_KIND(rosenbrock, _choose_increments)(const METHOD *method, const NUMBER *state,
                                                            const NUMBER *absolute) {
  NUMBER *increments = method->differences.increments;
  for (int j = 0; j < method->differences.sparsity->size; j++) {
    increments[j] = LARGER(INCREMENT_RELATIVE * SIZE(state[j]), INCREMENT_OF_TOLERANCE * absolute[j]);
  }
}

/* `spoilt` is zero for good factors, HUGE_VAL where cancellation has spoilt them and the attempt fails. */
VECTORS static void OF_KIND(rosenbrock, _factor)(const METHOD *method, GIVEN width, NUMBER *spoilt) {
  NUMBER shift = 1.0 / (RODAS4_GAMMA * TAKE(width));
  NUMBER loss;
  OF_KIND(elimination, _factor)
  (method->differences.sparsity, -1.0, HAND(shift), method->differences.jacobian, method->factors, method->reciprocals,
   &loss);
  *spoilt = WHERE_ABOVE(loss, ELIMINATION_SPOILT, HUGE_VAL);
}

/* Sum of the first k stages, each times its factor, onto `sum`. With a k known when it is compiled: no loop is left. */
#define ADD_STAGES(sum, factors, k)                                                                                    \
  for (int j = 0; j < (k); j++) {                                                                                      \
    (sum) += (factors)[j] * method->stages[j][i];                                                                      \
  }

static inline ALWAYS_INLINE void OF_KIND(rosenbrock, _place_of)(const METHOD *method, int k, const NUMBER *state,
                                                                NUMBER *place) {
  int n = method->differences.sparsity->size;
  for (int i = 0; i < n; i++) {
    NUMBER sum = state[i];
    ADD_STAGES(sum, rodas4_a[k], k)
    place[i] = sum;
  }
}

static inline ALWAYS_INLINE void OF_KIND(rosenbrock, _stage_of)(const METHOD *method, int k, GIVEN width,
                                                                const NUMBER *rates) {
  int n = method->differences.sparsity->size;
  NUMBER over_width = 1.0 / TAKE(width);
  NUMBER time_part = rodas4_gamma[k] * TAKE(width);
  const NUMBER *by_time = method->differences.by_time;
  NUMBER *u = method->stages[k];
  for (int i = 0; i < n; i++) {
    NUMBER sum = 0.0 * over_width;
    ADD_STAGES(sum, rodas4_c[k], k)
    u[i] = rates[i] + time_part * by_time[i] + sum * over_width;
  }
}

/* Where stage k is evaluated. */
VECTORS static void OF_KIND(rosenbrock, _place)(const METHOD *method, int k, const NUMBER *state, NUMBER *place) {
  switch (k) {
  case 1:
    OF_KIND(rosenbrock, _place_of)(method, 1, state, place);
    break;
  case 2:
    OF_KIND(rosenbrock, _place_of)(method, 2, state, place);
    break;
  case 3:
    OF_KIND(rosenbrock, _place_of)(method, 3, state, place);
    break;
  case 4:
    OF_KIND(rosenbrock, _place_of)(method, 4, state, place);
    break;
  default:
    OF_KIND(rosenbrock, _place_of)(method, 5, state, place);
    break;
  }
}

VECTORS static void OF_KIND(rosenbrock, _stage)(const METHOD *method, int k, GIVEN width, const NUMBER *rates) {
  switch (k) {
  case 0:
    OF_KIND(rosenbrock, _stage_of)(method, 0, width, rates);
    break;
  case 1:
    OF_KIND(rosenbrock, _stage_of)(method, 1, width, rates);
    break;
  case 2:
    OF_KIND(rosenbrock, _stage_of)(method, 2, width, rates);
    break;
  case 3:
    OF_KIND(rosenbrock, _stage_of)(method, 3, width, rates);
    break;
  case 4:
    OF_KIND(rosenbrock, _stage_of)(method, 4, width, rates);
    break;
  default:
    OF_KIND(rosenbrock, _stage_of)(method, 5, width, rates);
    break;
  }
  OF_KIND(elimination, _solve)
  (method->differences.sparsity, method->factors, method->reciprocals, method->stages[k]);
}

VECTORS static void OF_KIND(rosenbrock, _finish)(METHOD *method, const NUMBER *state, const NUMBER *absolute,
                                                 const NUMBER *relative, const NUMBER *spoilt) {
  int n = method->differences.sparsity->size;
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

void OF_KIND(rosenbrock, _try)(METHOD *method, GIVEN t, GIVEN width, const NUMBER *state, const NUMBER *absolute,
                               const NUMBER *relative) {
  NUMBER later = TAKE(t) + LARGER(INCREMENT_RELATIVE * SIZE(TAKE(t)), INCREMENT_TIME + 0.0 * TAKE(t));
  NUMBER spoilt;
  OF_KIND(rosenbrock, _choose_increments)(method, state, absolute);
  OF_KIND(differences, _find)(&method->differences, t, HAND(later), state);
  OF_KIND(rosenbrock, _factor)(method, width, &spoilt);
  OF_KIND(rosenbrock, _stage)(method, 0, width, method->differences.rates);
  for (int k = 1; k < RODAS4_STAGES; k++) {
    NUMBER then = TAKE(t) + rodas4_alpha[k] * TAKE(width);
    OF_KIND(rosenbrock, _place)(method, k, state, method->work[0]);
    method->differences.rates_of(method->differences.context, HAND(then), method->work[0], method->work[1]);
    OF_KIND(rosenbrock, _stage)(method, k, width, method->work[1]);
  }
  OF_KIND(rosenbrock, _finish)(method, state, absolute, relative, &spoilt);
}
