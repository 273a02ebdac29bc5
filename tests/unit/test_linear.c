/* Systems of equations (src/linear): elimination against LAPACK's dense one with exchange of rows, what it says of its
 * pivots, differences of rates whose derivatives are known, and both in lanes. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "differences.h"
#include "elimination.h"
#include "sample.h"

enum { MOST = 24, ALL = MOST * MOST };

struct matrix {
  struct sparsity *sparsity;
  double dense[ALL];   /* [column][row] */
  double entries[ALL]; /* as the sparsity has them */
};

/* Where entry (row, column) of a matrix lies, -1 outside the sparsity. */
static int entry_of(const struct sparsity *s, int row, int column) {
  for (int f = 0; f < s->find_first[s->group_count]; f++) {
    if (s->finds[f].row == row && s->finds[f].column == column) {
      return s->finds[f].entry;
    }
  }
  return -1;
}

/* A matrix with a full diagonal, a fifth of the other places taken. */
static void make_matrix(struct matrix *matrix, int n, struct sampler *sampler) {
  uint64_t rows[MOST] = {0};
  memset(matrix, 0, sizeof *matrix);
  for (int i = 0; i < n; i++) {
    rows[i] = UINT64_C(1) << i;
    for (int j = 0; j < n; j++) {
      rows[i] |= sample_unit(sampler) < 0.2 ? UINT64_C(1) << j : 0;
    }
  }
  matrix->sparsity = sparsity_new(n, rows, NULL);
  assert_non_null(matrix->sparsity);
  for (int i = 0; i < n; i++) {
    for (int j = 0; j < n; j++) {
      int entry = entry_of(matrix->sparsity, i, j);
      if (entry >= 0) {
        matrix->dense[j * n + i] = i == j ? sample_between(sampler, -9.0, -3.0) : sample_between(sampler, -1.0, 1.0);
        matrix->entries[entry] = matrix->dense[j * n + i];
      }
    }
  }
}

static void test_against_lapack(void **state) {
  (void)state;
  struct sampler sampler = {17};
  for (int trial = 0; trial < 200; trial++) {
    int n = 1 + trial % MOST;
    struct matrix matrix;
    double factors[ALL];
    double reciprocals[MOST];
    double x[MOST];
    double expected[MOST];
    double system[ALL];
    lapack_int exchanges[MOST];
    double loss;
    make_matrix(&matrix, n, &sampler);
    double scale = sample_between(&sampler, -2.0, -0.1);
    double shift = sample_between(&sampler, 0.5, 2.0);
    for (int k = 0; k < n * n; k++) {
      system[k] = scale * matrix.dense[k] + (k % (n + 1) == 0 ? shift : 0.0);
    }
    for (int i = 0; i < n; i++) {
      x[i] = sample_between(&sampler, -1.0, 1.0);
      expected[i] = x[i];
    }
    assert_int_equal(LAPACKE_dgesv(LAPACK_COL_MAJOR, n, 1, system, n, exchanges, expected, n), 0);
    elimination_plain_factor(matrix.sparsity, scale, shift, matrix.entries, factors, reciprocals, &loss);
    elimination_plain_solve(matrix.sparsity, factors, reciprocals, x);
    assert_true(loss >= 0.0 && loss < ELIMINATION_SPOILT);
    for (int i = 0; i < n; i++) {
      CHECK_NEAR(x[i], expected[i], 1e-11 * loss);
    }
    sparsity_free(matrix.sparsity);
  }
}

/* Other units for every unknown, by powers of two: all digits stay, and so does what is said of the pivots. */
static void test_units(void **state) {
  (void)state;
  struct sampler sampler = {5};
  for (int trial = 0; trial < 50; trial++) {
    int n = 12;
    struct matrix matrix;
    double factors[ALL];
    double reciprocals[MOST];
    double loss[2];
    double x[2][MOST];
    double units[MOST];
    make_matrix(&matrix, n, &sampler);
    for (int i = 0; i < n; i++) {
      units[i] = ldexp(1.0, (int)sample_between(&sampler, -40.0, 40.0));
      x[0][i] = sample_between(&sampler, -1.0, 1.0);
      x[1][i] = units[i] * x[0][i];
    }
    for (int k = 0; k < 2; k++) {
      elimination_plain_factor(matrix.sparsity, -0.25, 1.0, matrix.entries, factors, reciprocals, &loss[k]);
      elimination_plain_solve(matrix.sparsity, factors, reciprocals, x[k]);
      for (int f = 0; f < matrix.sparsity->find_first[matrix.sparsity->group_count]; f++) {
        const struct sparsity_find *find = &matrix.sparsity->finds[f];
        matrix.entries[find->entry] *= units[find->row] / units[find->column];
      }
    }
    assert_true(loss[0] == loss[1]);
    for (int i = 0; i < n; i++) {
      assert_true(x[1][i] == units[i] * x[0][i]);
    }
    sparsity_free(matrix.sparsity);
  }
}

/* Loss of [[a, b], [c, d]] times scale plus shift. */
static double loss_of(double a, double b, double c, double d, double scale, double shift) {
  const uint64_t rows[2] = {3, 3};
  struct sparsity *sparsity = sparsity_new(2, rows, NULL);
  assert_non_null(sparsity);
  double jacobian[4];
  double factors[4];
  double reciprocals[2];
  double loss;
  jacobian[entry_of(sparsity, 0, 0)] = a;
  jacobian[entry_of(sparsity, 0, 1)] = b;
  jacobian[entry_of(sparsity, 1, 0)] = c;
  jacobian[entry_of(sparsity, 1, 1)] = d;
  elimination_plain_factor(sparsity, scale, shift, jacobian, factors, reciprocals, &loss);
  sparsity_free(sparsity);
  return loss;
}

static void test_loss(void **state) {
  (void)state;
  CHECK_CLOSE(loss_of(0.0, 0.0, 0.0, 0.0, 1.0, 1.0), 1.0, 1e-15);             /* nothing taken away */
  CHECK_CLOSE(loss_of(1.0, 1.0, 1.0, 1.0 + 1e-6, 1.0, 0.0), 1e6 + 1.0, 1e-9); /* 1 + 1e-6 less 1 */
  CHECK_CLOSE(loss_of(0.999, 0.0, 0.0, 0.0, -1.0, 1.0), 1e3, 1e-12);          /* shift and diagonal cancel */
  CHECK_CLOSE(loss_of(4e3 - 1.0, 0.0, 0.0, 0.0, 1.0, -4e3), 4e3, 1e-12);
  CHECK_CLOSE(loss_of(-3.0, 0.0, 0.0, -3.0, -1.0, 1.0), 0.75, 1e-15);
  assert_true(loss_of(1.0, 1.0, 1.0, 1.0, 1.0, 0.0) == HUGE_VAL); /* singular */
  assert_true(loss_of(1.0, 0.0, 0.0, 0.0, -1.0, 1.0) == HUGE_VAL);
}

static void test_lanes(void **state) {
  (void)state;
  struct sampler sampler = {3};
  int n = MOST;
  struct matrix matrix;
  make_matrix(&matrix, n, &sampler);
  static lanes entries[ALL];
  static lanes factors[ALL];
  lanes reciprocals[MOST];
  lanes x[MOST];
  lanes shift;
  lanes loss;
  lanes right[MOST];
  for (int lane = 0; lane < LANES; lane++) {
    shift[lane] = lane == 6 ? 0.0 : pow(10.0, lane);
    for (int e = 0; e < matrix.sparsity->entry_count; e++) {
      entries[e][lane] = lane == 6 ? 0.0 : matrix.entries[e] * (1.0 + lane);
    }
    for (int i = 0; i < n; i++) {
      right[i][lane] = sample_between(&sampler, -1.0, 1.0);
      x[i][lane] = right[i][lane];
    }
  }
  elimination_lanes_factor(matrix.sparsity, -1.0, &shift, entries, factors, reciprocals, &loss);
  elimination_lanes_solve(matrix.sparsity, factors, reciprocals, x);
  for (int lane = 0; lane < LANES; lane++) {
    double own_entries[ALL];
    double own_factors[ALL];
    double own_reciprocals[MOST];
    double own[MOST];
    double own_loss;
    for (int e = 0; e < matrix.sparsity->entry_count; e++) {
      own_entries[e] = entries[e][lane];
    }
    for (int i = 0; i < n; i++) {
      own[i] = right[i][lane];
    }
    elimination_plain_factor(matrix.sparsity, -1.0, shift[lane], own_entries, own_factors, own_reciprocals, &own_loss);
    elimination_plain_solve(matrix.sparsity, own_factors, own_reciprocals, own);
    assert_memory_equal(&own_loss, (double *)&loss + lane, sizeof own_loss);
    for (int i = 0; i < n && lane != 6; i++) {
      assert_true(own[i] == x[i][lane]);
    }
  }
  sparsity_free(matrix.sparsity);
}

/* ---- differences ---- */

/* Rates A y + b t + y_0^2, of MOST unknowns. */
struct system {
  struct matrix matrix;
  double by_time[MOST];
  int calls;
};

static void rates_of(void *context, double t, const double *y, double *rates) {
  struct system *system = context;
  int n = system->matrix.sparsity->size;
  system->calls++;
  for (int i = 0; i < n; i++) {
    rates[i] = system->by_time[i] * t + (i == 0 ? y[0] * y[0] : 0.0);
    for (int j = 0; j < n; j++) {
      rates[i] += system->matrix.dense[j * n + i] * y[j];
    }
  }
}

static void rates_in_lanes(void *context, const lanes *t, const lanes *y, lanes *rates) {
  for (int lane = 0; lane < LANES; lane++) {
    double own[MOST];
    double found[MOST];
    for (int i = 0; i < MOST; i++) {
      own[i] = y[i][lane];
    }
    rates_of(context, (*t)[lane], own, found);
    for (int i = 0; i < MOST; i++) {
      rates[i][lane] = found[i];
    }
  }
}

static void make_system(struct system *system, struct sampler *sampler) {
  make_matrix(&system->matrix, MOST, sampler);
  uint64_t rows[MOST];
  memcpy(rows, system->matrix.sparsity->pattern, sizeof rows);
  for (int i = 0; i < MOST; i++) {
    system->by_time[i] = i % 3 == 1 ? 0.5 + i : 0.0;
    rows[i] |= i % 3 == 1 ? SPARSITY_TIME : 0;
  }
  sparsity_free(system->matrix.sparsity);
  system->matrix.sparsity = sparsity_new(MOST, rows, NULL);
  assert_non_null(system->matrix.sparsity);
}

static void test_differences(void **state) {
  (void)state;
  struct sampler sampler = {29};
  struct system system = {.calls = 0};
  make_system(&system, &sampler);
  const struct sparsity *s = system.matrix.sparsity;
  struct differences_plain one = {.sparsity = s, .rates_of = rates_of, .context = &system, .time_dependent = true};
  struct differences_plain ahead = one;
  ahead.rates_of = NULL;
  ahead.rates_of_lanes = rates_in_lanes;
  if (!differences_plain_open(&one) || !differences_plain_open(&ahead)) {
    fail_msg("out of memory");
    return;
  }
  double y[MOST];
  for (int i = 0; i < MOST; i++) {
    y[i] = sample_between(&sampler, -1.0, 1.0);
    one.increments[i] = 1e-6 * (1.0 + i);
    ahead.increments[i] = one.increments[i];
  }
  for (int known = 0; known < 2; known++) {
    one.rates_known = known == 1;
    ahead.rates_known = known == 1;
    memset(one.jacobian, 0, (size_t)s->entry_count * sizeof *one.jacobian);
    system.calls = 0;
    differences_plain_find(&one, 2.0, 2.5, y);
    assert_int_equal(system.calls, differences_evaluations(s, true) + (known ? 0 : 1));
    differences_plain_find(&ahead, 2.0, 2.5, y);
    assert_memory_equal(one.jacobian, ahead.jacobian, (size_t)s->entry_count * sizeof(double));
    assert_memory_equal(one.by_time, ahead.by_time, MOST * sizeof(double));
    assert_memory_equal(one.rates, ahead.rates, MOST * sizeof(double));
    double within = 0.0;
    for (int i = 0; i < MOST; i++) {
      CHECK_NEAR(one.by_time[i], system.by_time[i], 1e-12 * 100.0);
      for (int j = 0; j < MOST; j++) {
        int entry = entry_of(s, i, j);
        double exact = system.matrix.dense[j * MOST + i] + (i == 0 && j == 0 ? 2.0 * y[0] + one.increments[0] : 0.0);
        if (entry >= 0) {
          CHECK_NEAR(one.jacobian[entry], exact, 1e-8);
          within += fabs(one.jacobian[entry]);
        } else {
          assert_true(exact == 0.0);
        }
      }
    }
    double all = 0.0;
    for (int e = 0; e < s->entry_count; e++) {
      all += fabs(one.jacobian[e]);
    }
    CHECK_CLOSE(all, within, 1e-12); /* nothing where elimination alone puts something */
  }
  one.time_dependent = false;
  differences_plain_find(&one, 2.0, 2.5, y);
  for (int i = 0; i < MOST; i++) {
    assert_true(one.by_time[i] == 0.0);
  }
  differences_plain_close(&one);
  differences_plain_close(&ahead);
  sparsity_free(system.matrix.sparsity);
}

/* Columns found together are what each alone is, to the last bit. */
static void test_groups(void **state) {
  (void)state;
  struct sampler sampler = {37};
  struct system system = {.calls = 0};
  make_system(&system, &sampler);
  const struct sparsity *few = system.matrix.sparsity;
  uint64_t rows[MOST];
  sparsity_all(MOST, rows);
  struct sparsity *all = sparsity_new(MOST, rows, NULL);
  assert_non_null(all);
  assert_int_equal(differences_evaluations(all, false), MOST);
  assert_true(differences_evaluations(few, false) < MOST);
  struct differences_plain grouped = {.sparsity = few, .rates_of = rates_of, .context = &system};
  struct differences_plain alone = {.sparsity = all, .rates_of = rates_of, .context = &system};
  if (!differences_plain_open(&grouped) || !differences_plain_open(&alone)) {
    fail_msg("out of memory");
    return;
  }
  double y[MOST];
  for (int i = 0; i < MOST; i++) {
    y[i] = sample_between(&sampler, -1.0, 1.0);
    grouped.increments[i] = 1e-7 * (1.0 + i);
    alone.increments[i] = grouped.increments[i];
  }
  differences_plain_find(&grouped, 1.0, 1.0, y);
  differences_plain_find(&alone, 1.0, 1.0, y);
  for (int i = 0; i < MOST; i++) {
    for (int j = 0; j < MOST; j++) {
      int entry = entry_of(few, i, j);
      assert_true(alone.jacobian[entry_of(all, i, j)] == (entry >= 0 ? grouped.jacobian[entry] : 0.0));
    }
  }
  differences_plain_close(&grouped);
  differences_plain_close(&alone);
  sparsity_free(all);
  sparsity_free(system.matrix.sparsity);
}

static void test_differences_in_lanes(void **state) {
  (void)state;
  struct sampler sampler = {31};
  struct system system = {.calls = 0};
  make_system(&system, &sampler);
  const struct sparsity *s = system.matrix.sparsity;
  struct differences_plain one = {.sparsity = s, .rates_of = rates_of, .context = &system, .time_dependent = true};
  struct differences_lanes eight = {
      .sparsity = s, .rates_of = rates_in_lanes, .context = &system, .time_dependent = true};
  if (!differences_plain_open(&one) || !differences_lanes_open(&eight)) {
    fail_msg("out of memory");
    return;
  }
  lanes y[MOST];
  lanes t;
  for (int lane = 0; lane < LANES; lane++) {
    t[lane] = lane;
    for (int i = 0; i < MOST; i++) {
      y[i][lane] = sample_between(&sampler, -1.0, 1.0);
      eight.increments[i][lane] = 1e-7 * (1.0 + i + lane);
    }
  }
  const lanes later = t + 0.25;
  differences_lanes_find(&eight, &t, &later, y);
  for (int lane = 0; lane < LANES; lane++) {
    double own[MOST];
    for (int i = 0; i < MOST; i++) {
      own[i] = y[i][lane];
      one.increments[i] = eight.increments[i][lane];
    }
    differences_plain_find(&one, t[lane], later[lane], own);
    for (int e = 0; e < s->entry_count; e++) {
      assert_true(one.jacobian[e] == eight.jacobian[e][lane]);
    }
    for (int i = 0; i < MOST; i++) {
      assert_true(one.by_time[i] == eight.by_time[i][lane] && one.rates[i] == eight.rates[i][lane]);
    }
  }
  differences_plain_close(&one);
  differences_lanes_close(&eight);
  sparsity_free(system.matrix.sparsity);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_against_lapack), cmocka_unit_test(test_units),
      cmocka_unit_test(test_loss),           cmocka_unit_test(test_lanes),
      cmocka_unit_test(test_differences),    cmocka_unit_test(test_differences_in_lanes),
      cmocka_unit_test(test_groups),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
