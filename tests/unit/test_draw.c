/* The numbers that studies draw: against published points and values, and their own promises. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "draw.h"

/* Points 1, 2, 3, 5, 8, 100 and 1000 of some dimensions, made with a general-purpose library:
 * scipy.stats.qmc.Sobol(64, scramble=False, bits=32).random(1024) * 2**32 (SciPy 1.10.1). */
struct known {
  int dimension;
  uint32_t bits[7];
};

static const uint32_t known_points[7] = {1, 2, 3, 5, 8, 100, 1000};
static const struct known known[] = {
    {0, {2147483648U, 3221225472U, 1073741824U, 3758096384U, 805306368U, 1778384896U, 943718400U}},
    {1, {2147483648U, 1073741824U, 3221225472U, 3758096384U, 1342177280U, 1107296256U, 415236096U}},
    {2, {2147483648U, 1073741824U, 3221225472U, 536870912U, 4026531840U, 3321888768U, 2227175424U}},
    {3, {2147483648U, 1073741824U, 3221225472U, 1610612736U, 1879048192U, 3120562176U, 2906652672U}},
    {4, {2147483648U, 3221225472U, 1073741824U, 3758096384U, 2415919104U, 3791650816U, 1203765248U}},
    {9, {2147483648U, 3221225472U, 1073741824U, 536870912U, 1342177280U, 2986344448U, 297795584U}},
    {20, {2147483648U, 1073741824U, 3221225472U, 2684354560U, 805306368U, 3254779904U, 2243952640U}},
    {40, {2147483648U, 1073741824U, 3221225472U, 1610612736U, 2415919104U, 3053453312U, 3921674240U}},
    {63, {2147483648U, 3221225472U, 1073741824U, 2684354560U, 2952790016U, 2785017856U, 1916796928U}},
};

static void test_sobol_points_are_the_published_ones(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
    assert_int_equal(draw_sobol(known[i].dimension, 0), 0);
    for (int p = 0; p < 7; p++) {
      assert_int_equal(draw_sobol(known[i].dimension, known_points[p]), known[i].bits[p]);
    }
  }
}

enum { POINTS = 1024 };

/* Does each of 1024 equal cells hold one of the first 1024 points? */
static bool one_in_each_cell(uint32_t (*point)(int dimension, uint32_t index), int dimension) {
  int held[POINTS] = {0};
  for (uint32_t i = 0; i < POINTS; i++) {
    held[point(dimension, i) >> 22]++;
  }
  for (int cell = 0; cell < POINTS; cell++) {
    if (held[cell] != 1) {
      return false;
    }
  }
  return true;
}

/* Does each of 32 x 32 cells of two dimensions hold one of the first 1024 points? True of the first two. */
static bool one_in_each_square(uint32_t (*point)(int dimension, uint32_t index)) {
  int held[32][32] = {{0}};
  for (uint32_t i = 0; i < POINTS; i++) {
    held[point(0, i) >> 27][point(1, i) >> 27]++;
  }
  for (int a = 0; a < 32; a++) {
    for (int b = 0; b < 32; b++) {
      if (held[a][b] != 1) {
        return false;
      }
    }
  }
  return true;
}

static uint32_t scrambled(int dimension, uint32_t index) {
  return draw_sobol_scrambled(7, dimension, index);
}

/* What makes a sample a Latin hypercube (McKay, Beckman and Conover, Technometrics 21, 1979: one value in each of as
 * many equal shares as there are samples) holds of the first design and of every doubling, and the samples before stay.
 */
static void test_a_latin_hypercube_grows(void **state) {
  (void)state;
  enum { DOUBLINGS = 6, MOST = 25 << DOUBLINGS };
  static const uint64_t firsts[] = {1, 2, 7, 25};
  for (size_t f = 0; f < sizeof firsts / sizeof firsts[0]; f++) {
    for (uint64_t axis = 0; axis < 3; axis++) {
      for (int d = 0; d <= DOUBLINGS; d++) {
        uint64_t count = firsts[f] << d;
        int held[MOST] = {0};
        for (uint64_t s = 0; s < count; s++) {
          held[(int)(draw_latin(11, axis, firsts[f], s) * (double)count)]++;
        }
        for (uint64_t share = 0; share < count; share++) {
          assert_int_equal(held[share], 1);
        }
      }
    }
  }
}

/* The axes are paired by chance in each doubling: correlations of ranks of n samples are within 4 / sqrt(n). */
static void test_a_grown_hypercube_is_no_diagonal(void **state) {
  (void)state;
  enum { FIRST = 100, COUNT = 1600 };
  for (int part = 0; part < 2; part++) {
    int from = part == 0 ? 0 : COUNT / 2;
    double sum = 0.0;
    for (int s = from; s < COUNT; s++) {
      sum += (draw_latin(3, 0, FIRST, (uint64_t)s) - 0.5) * (draw_latin(3, 1, FIRST, (uint64_t)s) - 0.5);
    }
    CHECK_NEAR(12.0 * sum / (COUNT - from), 0.0, 4.0 / sqrt(COUNT - from));
  }
}

static void test_every_dimension_is_evenly_filled(void **state) {
  (void)state;
  for (int dimension = 0; dimension < DRAW_SOBOL_DIMENSIONS; dimension++) {
    assert_true(one_in_each_cell(draw_sobol, dimension));
    assert_true(one_in_each_cell(scrambled, dimension));
  }
  assert_true(one_in_each_square(draw_sobol));
  assert_true(one_in_each_square(scrambled));
}

static void test_scrambling_depends_on_the_seed(void **state) {
  (void)state;
  int same = 0;
  for (uint32_t i = 0; i < 100; i++) {
    same += draw_sobol_scrambled(1, 3, i) == draw_sobol_scrambled(2, 3, i);
    same += draw_sobol_scrambled(1, 3, i) == draw_sobol(3, i);
  }
  assert_true(same < 5);
}

/* Two points that share their first bits still share as many when scrambled: that is what nested means. */
static void test_scrambling_is_nested(void **state) {
  (void)state;
  for (uint32_t i = 0; i < 200; i++) {
    uint32_t plain = draw_sobol(5, i) ^ draw_sobol(5, i + 7);
    uint32_t mixed = draw_sobol_scrambled(9, 5, i) ^ draw_sobol_scrambled(9, 5, i + 7);
    assert_int_equal(__builtin_clz(plain), __builtin_clz(mixed));
  }
}

static void test_permutations_meet_every_place_once(void **state) {
  (void)state;
  static const uint64_t counts[] = {1, 2, 3, 4, 5, 10, 255, 256, 257, 1000, 4097};
  char *seen = malloc(5000);
  for (size_t c = 0; c < sizeof counts / sizeof counts[0]; c++) {
    memset(seen, 0, 5000);
    for (uint64_t i = 0; i < counts[c]; i++) {
      uint64_t place = draw_permuted(3, 1, counts[c], i);
      assert_true(place < counts[c]);
      assert_int_equal(seen[place], 0);
      seen[place] = 1;
    }
  }
  free(seen);
  int same = 0;
  for (uint64_t i = 0; i < 1000; i++) {
    same += draw_permuted(3, 1, 1000, i) == draw_permuted(3, 2, 1000, i);
  }
  assert_true(same < 20);
  assert_true(draw_permuted(1, 0, UINT64_C(4294967296), 12345) < UINT64_C(4294967296));
}

static void test_shares_are_even_and_open(void **state) {
  (void)state;
  int tenths[10] = {0};
  for (uint64_t i = 0; i < 100000; i++) {
    double share = draw_share(5, 2, i);
    assert_true(share > 0.0 && share < 1.0);
    tenths[(int)(share * 10.0)]++;
  }
  for (int i = 0; i < 10; i++) {
    assert_in_range(tenths[i], 9600, 10400); /* four standard deviations are 380 */
  }
  assert_true(draw_share_of_bits(0) > 0.0 && draw_share_of_bits(UINT32_MAX) < 1.0);
}

/* A study must mean the same cases for ever: these numbers were frozen when they were first made. */
static void test_draws_never_change(void **state) {
  (void)state;
  assert_true(draw_bits(0, 0, 0) == UINT64_C(0x238275bc38fcbe91));
  assert_true(draw_bits(7, 3, 123456789) == UINT64_C(0x0e9b5bef24889701));
  assert_int_equal(draw_permuted(7, 2, 1000, 0), 163);
  assert_int_equal(draw_permuted(7, 2, 1000, 999), 704);
  assert_true(draw_sobol_scrambled(7, 0, 1) == 3133319450U);
  assert_true(draw_sobol_scrambled(7, 5, 12345) == 1805741713U);
}

/* Quantiles of the standard normal distribution, from tables (and to all digits from scipy.special.ndtri). */
static void test_normal_quantiles(void **state) {
  (void)state;
  CHECK_CLOSE(draw_normal_inverse(0.975), 1.959963984540054, 1e-15);
  CHECK_CLOSE(draw_normal_inverse(0.95), 1.6448536269514722, 1e-15);
  CHECK_CLOSE(draw_normal_inverse(0.1), -1.2815515655446004, 1e-15);
  CHECK_CLOSE(draw_normal_inverse(1e-10), -6.361340902404056, 1e-14);
  CHECK_NEAR(draw_normal_inverse(0.5), 0.0, 1e-16);
  for (double p = 0.001; p < 1.0; p += 0.0137) {
    CHECK_CLOSE(draw_normal_share(draw_normal_inverse(p)), p, 1e-14);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_sobol_points_are_the_published_ones),
      cmocka_unit_test(test_every_dimension_is_evenly_filled),
      cmocka_unit_test(test_a_latin_hypercube_grows),
      cmocka_unit_test(test_a_grown_hypercube_is_no_diagonal),
      cmocka_unit_test(test_scrambling_depends_on_the_seed),
      cmocka_unit_test(test_scrambling_is_nested),
      cmocka_unit_test(test_permutations_meet_every_place_once),
      cmocka_unit_test(test_shares_are_even_and_open),
      cmocka_unit_test(test_draws_never_change),
      cmocka_unit_test(test_normal_quantiles),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
