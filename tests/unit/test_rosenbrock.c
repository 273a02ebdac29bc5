/* The linearly implicit method: its numbers against the conditions of order, its order and its error against problems
 * whose solutions are known, its polynomial, and eight systems side by side against each by itself. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "check.h"
#include "rodas4.h"
#include "rosenbrock.h"
#include "step_control.h"

enum { S = RODAS4_STAGES, MOST = 8 };

/* ---- the numbers ---- */

/* The method as published for theory: k_i with alpha_ij, gamma_ij, b_i; beta = alpha + gamma. */
struct theory {
  double alpha[S][S], beta[S][S], b[S], embedded[S];
  double alphas[S], betas[S];
};

/* x := x G, where G = (I/gamma - C)^-1 turns stages u into k: lower triangular, so by substitution from the right. */
static void turn(double *x) {
  for (int j = S - 1; j >= 0; j--) {
    double sum = x[j];
    for (int i = j + 1; i < S; i++) {
      sum += x[i] * rodas4_c[i][j]; /* -(I/gamma - C)_ij */
    }
    x[j] = sum * RODAS4_GAMMA;
  }
}

static struct theory theory_of(void) {
  struct theory t = {0};
  for (int i = 0; i < S; i++) {
    double unit[S] = {0.0};
    for (int j = 0; j < S; j++) {
      t.alpha[i][j] = rodas4_a[i][j];
      t.embedded[j] = rodas4_a[S - 1][j];
      t.b[j] = rodas4_a[S - 1][j] + (j == S - 1 ? 1.0 : 0.0);
    }
    unit[i] = 1.0;
    turn(unit);
    turn(t.alpha[i]);
    for (int j = 0; j < S; j++) {
      t.beta[i][j] = t.alpha[i][j] + unit[j];
      t.alphas[i] += t.alpha[i][j];
      t.betas[i] += t.beta[i][j];
    }
  }
  turn(t.b);
  turn(t.embedded);
  return t;
}

/* Sums over b of what the conditions of order ask for. */
struct conditions {
  double one, two, three_a, three_b, four_a, four_b, four_c, four_d;
};

static struct conditions conditions_of(const struct theory *t, const double *b) {
  struct conditions sum = {0};
  double second[S] = {0}; /* beta betas */
  for (int i = 0; i < S; i++) {
    for (int j = 0; j < S; j++) {
      second[i] += t->beta[i][j] * t->betas[j];
    }
  }
  for (int i = 0; i < S; i++) {
    sum.one += b[i];
    sum.two += b[i] * t->betas[i];
    sum.three_a += b[i] * t->alphas[i] * t->alphas[i];
    sum.three_b += b[i] * second[i];
    sum.four_a += b[i] * t->alphas[i] * t->alphas[i] * t->alphas[i];
    for (int j = 0; j < S; j++) {
      sum.four_b += b[i] * t->alphas[i] * t->alpha[i][j] * t->betas[j];
      sum.four_c += b[i] * t->beta[i][j] * t->alphas[j] * t->alphas[j];
      sum.four_d += b[i] * t->beta[i][j] * second[j];
    }
  }
  return sum;
}

static void test_conditions(void **state) {
  (void)state;
  struct theory t = theory_of();
  struct conditions full = conditions_of(&t, t.b);
  CHECK_NEAR(full.one, 1.0, 1e-13);
  CHECK_NEAR(full.two, 1.0 / 2.0, 1e-13);
  CHECK_NEAR(full.three_a, 1.0 / 3.0, 1e-13);
  CHECK_NEAR(full.three_b, 1.0 / 6.0, 1e-13);
  CHECK_NEAR(full.four_a, 1.0 / 4.0, 1e-13);
  CHECK_NEAR(full.four_b, 1.0 / 8.0, 1e-13);
  CHECK_NEAR(full.four_c, 1.0 / 12.0, 1e-13);
  CHECK_NEAR(full.four_d, 1.0 / 24.0, 1e-13);
  struct conditions embedded = conditions_of(&t, t.embedded);
  CHECK_NEAR(embedded.one, 1.0, 1e-13);
  CHECK_NEAR(embedded.two, 1.0 / 2.0, 1e-13);
  CHECK_NEAR(embedded.three_a, 1.0 / 3.0, 1e-13);
  CHECK_NEAR(embedded.three_b, 1.0 / 6.0, 1e-13);
  assert_true(fabs(embedded.four_a - 0.25) > 1e-3); /* or it would estimate nothing */
  for (int i = 0; i < S; i++) {
    CHECK_NEAR(t.alphas[i], rodas4_alpha[i], 1e-13);
    CHECK_NEAR(t.betas[i] - t.alphas[i], rodas4_gamma[i], 1e-13);
  }
}

/* Stages of y' = z y with h = 1, y = 1, by the formulas themselves; returns the step's end. */
static double scalar_step(double z, double *u) {
  double end = 1.0;
  for (int i = 0; i < S; i++) {
    double place = 1.0;
    double sum = 0.0;
    for (int j = 0; j < i; j++) {
      place += rodas4_a[i][j] * u[j];
      sum += rodas4_c[i][j] * u[j];
    }
    u[i] = (z * place + sum) / (1.0 / RODAS4_GAMMA - z);
    end = place + u[i];
  }
  return end;
}

static void test_stability(void **state) {
  (void)state;
  double u[S];
  CHECK_NEAR(scalar_step(-1e12, u), 0.0, 1e-10);
  CHECK_NEAR(scalar_step(-1e-2, u), exp(-1e-2), 1e-13);
  double largest = 0.0; /* along the left half plane's real axis */
  for (double z = -1e-3; z > -1e6; z *= 1.1) {
    largest = fmax(largest, fabs(scalar_step(z, u)));
  }
  assert_true(largest < 1.0);
}

/* ---- problems ---- */

struct problem {
  int size;
  double start[MOST], known[MOST];
  double from, to;
  void (*rates)(double t, const double *y, double *f);
};

static void robertson(double t, const double *y, double *f) {
  (void)t;
  f[0] = -0.04 * y[0] + 1e4 * y[1] * y[2];
  f[2] = 3e7 * y[1] * y[1];
  f[1] = -f[0] - f[2];
}

static void hires(double t, const double *y, double *f) {
  (void)t;
  f[0] = -1.71 * y[0] + 0.43 * y[1] + 8.32 * y[2] + 0.0007;
  f[1] = 1.71 * y[0] - 8.75 * y[1];
  f[2] = -10.03 * y[2] + 0.43 * y[3] + 0.035 * y[4];
  f[3] = 8.32 * y[1] + 1.71 * y[2] - 1.12 * y[3];
  f[4] = -1.745 * y[4] + 0.43 * y[5] + 0.43 * y[6];
  f[5] = -280.0 * y[5] * y[7] + 0.69 * y[3] + 1.71 * y[4] - 0.43 * y[5] + 0.69 * y[6];
  f[6] = 280.0 * y[5] * y[7] - 1.81 * y[6];
  f[7] = -f[6];
}

static void van_der_pol(double t, const double *y, double *f) {
  (void)t;
  f[0] = y[1];
  f[1] = ((1.0 - y[0] * y[0]) * y[1] - y[0]) / 1e-6;
}

/* y' = -4 (y - cos t) - sin t, y = cos t: driven. With a product beside it, so that it is not linear. */
static void time_dependent(double t, const double *y, double *f) {
  f[0] = -4.0 * (y[0] - cos(t)) - sin(t);
  f[1] = -y[1] * y[0] + cos(t) * (sin(t) + 1.0) - sin(t);
}

/* Solutions as published with the test set for solvers of initial value problems (F. Mazzia and C. Magherini,
 * University of Bari): HIRES and VDPOL at their ends, ROBERTSON at 1e11 s. Digits from memory. */
static const struct problem hires_problem = {8,
                                             {1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0057},
                                             {0.7371312573325668e-3, 0.1442485726316185e-3, 0.5888729740967575e-4,
                                              0.1175651343283149e-2, 0.2386356198831331e-2, 0.6238968252742796e-2,
                                              0.2849998395185769e-2, 0.2850001604814231e-2},
                                             0.0,
                                             321.8122,
                                             hires};
static const struct problem robertson_problem = {
    3, {1.0, 0.0, 0.0}, {0.2083340149701255e-7, 0.8333360770334713e-13, 0.9999999791665050}, 0.0, 1e11, robertson};
static const struct problem van_der_pol_problem = {2,   {2.0, 0.0}, {0.1706167732170483e1, -0.8928097010247975e0},
                                                   0.0, 2.0,        van_der_pol};

static void plain_rates(void *context, double t, const double *y, double *f) {
  const struct problem *problem = context;
  problem->rates(t, y, f);
}

static struct sparsity *full(int size) {
  uint64_t rows[MOST];
  for (int i = 0; i < size; i++) {
    rows[i] = ((UINT64_C(1) << size) - 1) | SPARSITY_TIME;
  }
  struct sparsity *sparsity = sparsity_new(size, rows, NULL);
  assert_non_null(sparsity);
  return sparsity;
}

/* Solve with a tolerance, or with `steps` steps alike. Returns how many steps. */
static int solve(const struct problem *problem, double tolerance, double floor, int steps, double *y) {
  double absolute[MOST];
  double relative[MOST];
  struct sparsity *sparsity = full(problem->size);
  struct rosenbrock_plain method = {.differences = {.sparsity = sparsity,
                                                    .rates_of = plain_rates,
                                                    .context = (void *)(uintptr_t)problem,
                                                    .time_dependent = true}};
  assert_true(rosenbrock_plain_open(&method));
  for (int i = 0; i < problem->size; i++) {
    absolute[i] = floor;
    relative[i] = tolerance;
    y[i] = problem->start[i];
  }
  struct step_control control;
  step_control_begin(&control, HUGE_VAL);
  double t = problem->from;
  int made = 0;
  for (int tries = 0; t < problem->to && tries < 100000; tries++) {
    if (steps > 0) {
      control.wanted = (problem->to - problem->from) / steps;
      control.width = control.wanted;
      control.reaches = made == steps - 1;
    } else {
      step_control_aim(&control, t, problem->to);
    }
    rosenbrock_plain_try(&method, t, control.width, y, absolute, relative);
    if (step_control_judge(&control, method.error) || steps > 0) {
      memcpy(y, method.end, (size_t)problem->size * sizeof *y);
      t = control.reaches ? problem->to : t + control.width;
      made++;
    }
  }
  assert_true(t == problem->to);
  rosenbrock_plain_close(&method);
  sparsity_free(sparsity);
  return made;
}

static double worst_share(const struct problem *problem, const double *y) {
  double worst = 0.0;
  for (int i = 0; i < problem->size; i++) {
    worst = fmax(worst, fabs(y[i] / problem->known[i] - 1.0));
  }
  return worst;
}

static void test_stiff_problems(void **state) {
  (void)state;
  double y[MOST] = {0};
  int loose = solve(&hires_problem, 1e-4, 1e-6, 0, y);
  assert_true(worst_share(&hires_problem, y) < 1e-2);
  int tight = solve(&hires_problem, 1e-7, 1e-9, 0, y);
  assert_true(worst_share(&hires_problem, y) < 1e-6);
  int corners = solve(&van_der_pol_problem, 1e-8, 1e-8, 0, y);
  assert_true(worst_share(&van_der_pol_problem, y) < 1e-6);
  int decades = solve(&robertson_problem, 1e-7, 1e-20, 0, y);
  assert_true(worst_share(&robertson_problem, y) < 1e-5);
  print_message("steps: HIRES %d and %d, van der Pol %d, Robertson %d\n", loose, tight, corners, decades);
  assert_true(loose < 70 && tight < 440 && corners < 6000 && decades < 1000);
}

/* Half the step, a sixteenth of the error. */
static void test_order(void **state) {
  (void)state;
  struct problem problem = {2, {1.0, 1.0}, {0.0}, 0.0, 1.0, time_dependent};
  problem.rates = time_dependent;
  double reference[MOST] = {0};
  double coarse[MOST] = {0};
  double fine[MOST] = {0};
  solve(&problem, 0.0, 1.0, 2000, reference);
  CHECK_NEAR(reference[0], cos(1.0), 1e-9);
  solve(&problem, 0.0, 1.0, 20, coarse);
  solve(&problem, 0.0, 1.0, 40, fine);
  double order = log2(fabs(coarse[1] - reference[1]) / fabs(fine[1] - reference[1]));
  print_message("order on a driven problem: %.2f\n", order);
  assert_true(order > 3.7);
}

/* A step's polynomial: its ends are the step's ends, and within it errs by the fourth power of the step. */
static void test_polynomial(void **state) {
  (void)state;
  struct problem problem = {2, {1.0, 1.0}, {0.0}, 0.0, 0.0, time_dependent};
  struct sparsity *sparsity = full(2);
  struct rosenbrock_plain method = {
      .differences = {.sparsity = sparsity, .rates_of = plain_rates, .context = &problem, .time_dependent = true}};
  const double absolute[2] = {1.0, 1.0};
  const double relative[2] = {0.0, 0.0};
  assert_true(rosenbrock_plain_open(&method));
  double errors[2];
  for (int k = 0; k < 2; k++) {
    double width = k == 0 ? 0.2 : 0.1;
    const double start[2] = {1.0, 1.0};
    rosenbrock_plain_try(&method, 0.0, width, start, absolute, relative);
    double y[2] = {0};
    for (int i = 0; i < 2; i++) {
      CHECK_NEAR(method.end[i] - method.rows[2][i] + method.rows[1][i] - method.rows[0][i], start[i], 1e-12);
      double x = -0.5;
      y[i] = method.end[i] + x * (method.rows[2][i] + x * (method.rows[1][i] + x * method.rows[0][i]));
    }
    struct problem half = problem;
    double exact[MOST] = {0};
    half.to = 0.5 * width;
    solve(&half, 1e-12, 1e-12, 0, exact);
    errors[k] = fabs(y[1] - exact[1]);
  }
  assert_true(errors[0] < 1e-4 && log2(errors[0] / errors[1]) > 3.5);
  rosenbrock_plain_close(&method);
  sparsity_free(sparsity);
}

/* ---- patterns ---- */

/* A chain with a corner: unknown i feels its neighbours, the first feels the last and time. */
enum { CHAIN = 12 };

static void chain(double t, const double *y, double *f) {
  for (int i = 0; i < CHAIN; i++) {
    f[i] = -(2.0 + i) * y[i] + (i > 0 ? 30.0 * y[i - 1] : 0.0) + (i + 1 < CHAIN ? 1e3 * (y[i + 1] - y[i]) : 0.0);
  }
  f[0] += sin(t) * y[CHAIN - 1];
}

static void chain_rates(void *context, double t, const double *y, double *f) {
  (void)context;
  chain(t, y, f);
}

static struct sparsity *chain_sparsity(bool all) {
  uint64_t rows[CHAIN];
  for (int i = 0; i < CHAIN; i++) {
    uint64_t self = UINT64_C(1) << i;
    rows[i] = all ? (UINT64_C(1) << CHAIN) - 1 : (self | self << 1 | self >> 1) & ((UINT64_C(1) << CHAIN) - 1);
  }
  rows[0] |= UINT64_C(1) << (CHAIN - 1) | SPARSITY_TIME;
  return sparsity_new(CHAIN, rows, NULL);
}

static void test_groups(void **state) {
  (void)state;
  double y[CHAIN];
  double absolute[CHAIN];
  double relative[CHAIN];
  struct sparsity *few = chain_sparsity(false);
  struct sparsity *all = chain_sparsity(true);
  assert_true(few->group_count <= 4);
  assert_int_equal(all->group_count, CHAIN);
  assert_true(few->entry_count < all->entry_count / 2);
  struct rosenbrock_plain sparse = {.differences = {.sparsity = few, .rates_of = chain_rates, .time_dependent = true}};
  struct rosenbrock_plain dense = {.differences = {.sparsity = all, .rates_of = chain_rates, .time_dependent = true}};
  assert_true(rosenbrock_plain_open(&sparse) && rosenbrock_plain_open(&dense));
  for (int i = 0; i < CHAIN; i++) {
    y[i] = cos(3.0 * i);
    absolute[i] = 1e-6;
    relative[i] = 1e-6;
  }
  rosenbrock_plain_try(&sparse, 0.3, 1e-2, y, absolute, relative);
  rosenbrock_plain_try(&dense, 0.3, 1e-2, y, absolute, relative);
  for (int i = 0; i < CHAIN; i++) {
    CHECK_NEAR(sparse.end[i], dense.end[i], 1e-10);
  }
  rosenbrock_plain_close(&sparse);
  rosenbrock_plain_close(&dense);
  sparsity_free(few);
  sparsity_free(all);
}

/* ---- eight side by side ---- */

static void lane_rates(void *context, const lanes *t, const lanes *y, lanes *f) {
  (void)context;
  for (int lane = 0; lane < LANES; lane++) {
    double own[CHAIN];
    double rates[CHAIN];
    for (int i = 0; i < CHAIN; i++) {
      own[i] = y[i][lane];
    }
    chain((*t)[lane], own, rates);
    for (int i = 0; i < CHAIN; i++) {
      f[i][lane] = rates[i];
    }
  }
}

/* Each lane with its own state, time, width and tolerances gives the plain one's bits, whatever the others do. */
static void test_lanes(void **state) {
  (void)state;
  struct sparsity *sparsity = chain_sparsity(false);
  struct rosenbrock_plain one = {
      .differences = {.sparsity = sparsity, .rates_of = chain_rates, .time_dependent = true}};
  struct rosenbrock_lanes eight = {
      .differences = {.sparsity = sparsity, .rates_of = lane_rates, .time_dependent = true}};
  assert_true(rosenbrock_plain_open(&one) && rosenbrock_lanes_open(&eight));
  lanes y[CHAIN];
  lanes absolute[CHAIN];
  lanes relative[CHAIN];
  lanes t;
  lanes width;
  for (int lane = 0; lane < LANES; lane++) {
    t[lane] = 0.1 * lane;
    width[lane] = pow(10.0, -lane);
    for (int i = 0; i < CHAIN; i++) {
      y[i][lane] = lane == 5 ? NAN : sin(1.0 + i * lane);
      absolute[i][lane] = 1e-6 * (1 + lane);
      relative[i][lane] = 1e-7;
    }
  }
  rosenbrock_lanes_try(&eight, &t, &width, y, absolute, relative);
  for (int lane = 0; lane < LANES; lane++) {
    double own[CHAIN];
    double own_absolute[CHAIN];
    double own_relative[CHAIN];
    for (int i = 0; i < CHAIN; i++) {
      own[i] = y[i][lane];
      own_absolute[i] = absolute[i][lane];
      own_relative[i] = relative[i][lane];
    }
    rosenbrock_plain_try(&one, t[lane], width[lane], own, own_absolute, own_relative);
    if (lane == 5) {
      assert_true(isnan(one.error) && isnan(eight.error[lane]));
      continue;
    }
    assert_true(one.error == eight.error[lane]);
    for (int i = 0; i < CHAIN; i++) {
      assert_true(one.end[i] == eight.end[i][lane]);
      for (int row = 0; row < ROSENBROCK_ROWS; row++) {
        assert_true(one.rows[row][i] == eight.rows[row][i][lane]);
      }
    }
  }
  rosenbrock_plain_close(&one);
  rosenbrock_lanes_close(&eight);
  sparsity_free(sparsity);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_conditions), cmocka_unit_test(test_stability),  cmocka_unit_test(test_stiff_problems),
      cmocka_unit_test(test_order),      cmocka_unit_test(test_polynomial), cmocka_unit_test(test_groups),
      cmocka_unit_test(test_lanes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
