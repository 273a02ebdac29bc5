/* Oil by grade and index: the standard's worked examples, its limits, and the way back. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "case.h"
#include "check.h"
#include "component.h"
#include "fluid.h"

/* P1.1: ASTM D2270 5.1.4. The example rounds L and H to two digits, the index to whole numbers. */
static void test_procedure_a(void **state) {
  (void)state;
  CHECK_NEAR(viscosity_index_l_at(8.86), 119.94, 0.005);
  CHECK_NEAR(viscosity_index_h_at(8.86), 69.48, 0.005);
  CHECK_NEAR(viscosity_index_of(73.30, 8.86), 92.43, 0.005);
}

/* P1.2: ASTM D2270 6.1.4 examples; H is 28.975 before it is rounded to 28.97, which moves the index by 0.06. */
static void test_procedure_b(void **state) {
  (void)state;
  CHECK_NEAR(viscosity_index_h_at(5.05), 28.975, 1e-9);
  CHECK_NEAR(viscosity_index_of(22.83, 5.05), 156.37, 0.06);
  CHECK_CLOSE(viscosity_index_h_at(7.80), 57.31, 1e-12);
  CHECK_NEAR(viscosity_index_of(53.47, 7.80), 111.0, 0.5);
}

/* P1.3: above 70 mm2/s. */
static void test_equations(void **state) {
  (void)state;
  CHECK_CLOSE(viscosity_index_l_at(75.0), 5582.8, 1e-4);
  CHECK_CLOSE(viscosity_index_h_at(75.0), 1739.0, 1e-4);
  /* where table and equations meet */
  CHECK_CLOSE(viscosity_index_l_at(70.0 + 1e-9), viscosity_index_l_at(70.0), 3e-4);
  CHECK_CLOSE(viscosity_index_h_at(70.0 + 1e-9), viscosity_index_h_at(70.0), 3e-4);
}

/* The table against what else the standard says of it: its quadratic fit from 2 to 3.8 mm2/s (appendix X2, within
 * 0.1 %), its worked number there for 8.86, and that both columns rise without a misprint. */
static void test_table(void **state) {
  (void)state;
  for (int i = 0; i <= 18; i++) {
    double y = 2.0 + 0.1 * i;
    CHECK_CLOSE(viscosity_index_l_at(y), 1.14673 * y * y + 1.7576 * y - 0.109, 1e-3);
    CHECK_CLOSE(viscosity_index_h_at(y), 0.84155 * y * y + 1.5521 * y - 0.077, 1e-3);
  }
  CHECK_CLOSE(viscosity_index_l_at(8.86), 119.9588, 1e-3);
  CHECK_CLOSE(viscosity_index_h_at(8.86), 69.4765, 1e-3);
  for (double y = 2.5; y < 69.0; y += 0.5) {
    /* the middle of a straight line of 1 mm2/s lies near the table */
    double bow_l = 0.5 * (viscosity_index_l_at(y - 0.5) + viscosity_index_l_at(y + 0.5)) / viscosity_index_l_at(y);
    double bow_h = 0.5 * (viscosity_index_h_at(y - 0.5) + viscosity_index_h_at(y + 0.5)) / viscosity_index_h_at(y);
    assert_true(bow_l > 0.995 && bow_l < 1.03);
    assert_true(bow_h > 0.997 && bow_h < 1.03);
  }
  for (double y = 2.0; y < 80.0; y += 0.05) {
    assert_true(viscosity_index_l_at(y + 0.05) > viscosity_index_l_at(y) - (y > 69.9 ? 2.0 : 0.0));
    assert_true(viscosity_index_h_at(y + 0.05) > viscosity_index_h_at(y) - (y > 69.9 ? 2.0 : 0.0));
    assert_true(viscosity_index_l_at(y) > viscosity_index_h_at(y));
  }
}

/* P1.7: the limits of the grades. */
static void test_grades(void **state) {
  (void)state;
  static const double limits[][3] = {{22, 19.8, 24.2}, {32, 28.8, 35.2}, {46, 41.4, 50.6},
                                     {68, 61.2, 74.8}, {100, 90, 110},   {150, 135, 165},
                                     {220, 198, 242},  {320, 288, 352},  {460, 414, 506}};
  for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
    DEFAULTS(fluid, oil);
    oil.viscosity_by = FLUID_GRADE_AND_INDEX;
    oil.grade = 1e-6 * limits[i][0];
    assert_null(fluid_refusal(&oil));
    oil.grade_deviation = -VISCOSITY_GRADE_TOLERANCE;
    CHECK_CLOSE(fluid_viscosity_at_40(&oil), 1e-6 * limits[i][1], 1e-12);
    oil.grade_deviation = VISCOSITY_GRADE_TOLERANCE;
    CHECK_CLOSE(fluid_viscosity_at_40(&oil), 1e-6 * limits[i][2], 1e-12);
  }
}

/* There and back, over the whole field. */
static void test_way_back(void **state) {
  (void)state;
  for (double index = 0.0; index <= 400.0; index += 20.0) {
    for (int i = 5; i < VISCOSITY_GRADES; i++) {
      double u = viscosity_grade_middle[i];
      double y = viscosity_at_100_for(index, u);
      if (isnan(y)) {
        assert_true(u < viscosity_at_40_for(index, 2.0));
        continue;
      }
      /* at 70 mm2/s table and equations leave a step, on which U of one Y stands for several */
      double allowed = fabs(y - 70.0) < 0.1 ? 1e-3 : 1e-9;
      CHECK_CLOSE(viscosity_at_40_for(index, y), u, allowed);
      CHECK_NEAR(viscosity_index_of(u, y), index, index > 0.0 ? 1e3 * allowed * index : 1e-7);
    }
  }
  assert_true(isnan(viscosity_at_100_for(100.0, 5.0)));
}

/* Oil by grade gives the same model as by the two points that it stands for; a better index is thinner in the cold and
 * thicker in the heat. */
static void test_oil(void **state) {
  (void)state;
  DEFAULTS(fluid, graded);
  graded.viscosity_by = FLUID_GRADE_AND_INDEX;
  DEFAULTS(fluid, pointed);
  pointed.viscosity_at_40 = fluid_viscosity_at_40(&graded);
  pointed.viscosity_at_100 = fluid_viscosity_at_100(&graded);
  /* VG 46 of index 100 has about 6.7 mm2/s at 100 degC: between the rows 6.7 (H 45.33) and 6.8 (H 46.44) */
  CHECK_NEAR(1e6 * pointed.viscosity_at_100, 6.7 + 0.1 * (46.0 - 45.33) / (46.44 - 45.33), 1e-9);
  struct fluid a;
  struct fluid b;
  struct fluid c;
  fluid_prepare(&graded, &a);
  fluid_prepare(&pointed, &b);
  assert_memory_equal(&a.viscosity, &b.viscosity, sizeof a.viscosity);
  graded.viscosity_index = 150.0;
  fluid_prepare(&graded, &c);
  assert_true(fluid_viscosity(&c.viscosity, 263.15) < 0.8 * fluid_viscosity(&a.viscosity, 263.15));
  assert_true(fluid_viscosity(&c.viscosity, 373.15) > 1.1 * fluid_viscosity(&a.viscosity, 373.15));
}

static void test_refusals(void **state) {
  (void)state;
  struct case_data data;
  struct error error = {0};
  assert_false(
      case_load_text("c.yaml", "fluid:\n  viscosity_by: grade_and_index\n  grade: 47 mm2/s\n", NULL, 0, &data, &error));
  assert_non_null(strstr(error.text, "fluid.grade is no grade of ISO 3448"));
  assert_int_equal(error.line, 3);
  error = (struct error){0};
  assert_false(case_load_text("c.yaml", "fluid:\n  viscosity_by: grade_and_index\n  grade: 4.6 mm2/s\n", NULL, 0, &data,
                              &error));
  assert_non_null(strstr(error.text, "less than 2 mm2/s at 100 degC"));
  error = (struct error){0};
  assert_false(case_load_text("c.yaml",
                              "circuit: valve_rig\nfluid:\n  viscosity_by: grade_and_index\n  grade: 47 cSt\n", NULL, 0,
                              &data, &error));
  error = (struct error){0};
  assert_true(case_load_text("c.yaml", "fluid:\n  viscosity_by: grade_and_index\n  grade: 6.8 mm2/s\n", NULL, 0, &data,
                             &error));
  case_free(&data);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_procedure_a), cmocka_unit_test(test_procedure_b), cmocka_unit_test(test_equations),
      cmocka_unit_test(test_table),       cmocka_unit_test(test_grades),      cmocka_unit_test(test_way_back),
      cmocka_unit_test(test_oil),         cmocka_unit_test(test_refusals),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
