/* Section 1 of the outside checks: the oil. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "component.h"
#include "fluid.h"
#include "rows.h"

static double walther_a(double nu1, double t1, double nu2, double t2) {
  double a;
  double b;
  fluid_walther_fit(1e-6 * nu1, t1, 1e-6 * nu2, t2, &a, &b);
  return a;
}

static double walther_b(double nu1, double t1, double nu2, double t2) {
  double a;
  double b;
  fluid_walther_fit(1e-6 * nu1, t1, 1e-6 * nu2, t2, &a, &b);
  return b;
}

static double walther_nu(double nu1, double t1, double nu2, double t2, double t) {
  double a;
  double b;
  fluid_walther_fit(1e-6 * nu1, t1, 1e-6 * nu2, t2, &a, &b);
  return 1e6 * fluid_walther(a, b, t);
}

static double p1_4_a(double zero) {
  return walther_a(32.0, zero + 40.0, 5.4, zero + 100.0);
}

static double p1_4_b(double zero) {
  return walther_b(32.0, zero + 40.0, 5.4, zero + 100.0);
}

static double p1_4_80(double zero) {
  return walther_nu(32.0, zero + 40.0, 5.4, zero + 100.0, zero + 80.0);
}

static double p1_5(double celsius) {
  return walther_nu(32.0, 313.15, 5.4, 373.15, 273.15 + celsius);
}

static double p1_6_a(double none) {
  (void)none;
  return walther_a(46.0, 313.15, 6.8, 373.15);
}

static double p1_6_b(double none) {
  (void)none;
  return walther_b(46.0, 313.15, 6.8, 373.15);
}

static double p1_6(double celsius) {
  return walther_nu(46.0, 313.15, 6.8, 373.15, 273.15 + celsius);
}

/* ---- viscosity index and grades ---- */

enum { COLUMN_L, COLUMN_H };

static double column(double which, double y) {
  return which == COLUMN_L ? viscosity_index_l_at(y) : viscosity_index_h_at(y);
}

static double p1_1_column(double which) {
  return column(which, 8.86);
}

static double p1_1(double none) {
  (void)none;
  return viscosity_index_of(73.30, 8.86);
}

static double p1_1_reported(double none) {
  return round(p1_1(none));
}

static double p1_2_h(double none) {
  (void)none;
  return column(COLUMN_H, 5.05);
}

static double p1_2(double none) {
  (void)none;
  return viscosity_index_of(22.83, 5.05);
}

static double p1_2_reported(double none) {
  return round(p1_2(none));
}

static double p1_3(double which) {
  return column(which, 75.0);
}

/* An oil's viscosity at 40 degC, of a grade, at the lower and at the upper end of what may be sold as that grade. */
static double p1_7(double grade, double side) {
  DEFAULTS(fluid, oil);
  oil.viscosity_by = FLUID_GRADE_AND_INDEX;
  oil.grade = 1e-6 * grade;
  oil.grade_deviation = side * VISCOSITY_GRADE_TOLERANCE;
  return fluid_refusal(&oil) == NULL ? 1e6 * fluid_viscosity_at_40(&oil) : NAN;
}

static double p1_7_least(double grade) {
  return p1_7(grade, -1.0);
}

static double p1_7_most(double grade) {
  return p1_7(grade, 1.0);
}

/* An oil of constant stiffness without air and with rigid walls. */
static struct fluid_parameters plain_oil(double modulus) {
  DEFAULTS(fluid, oil);
  oil.bulk_modulus = modulus;
  oil.bulk_modulus_slope = 0.0;
  oil.air_content = 0.0;
  oil.wall_modulus = 1e30;
  return oil;
}

static double p1_8(double none) {
  (void)none;
  struct fluid_parameters parameters = plain_oil(250e3 * PSI);
  struct fluid oil;
  fluid_prepare(&parameters, &oil);
  double w = fluid_compression(&oil, parameters.ambient_pressure + 2000.0 * PSI) -
             fluid_compression(&oil, parameters.ambient_pressure + 100.0 * PSI);
  return -w * 10.0 * INCH * INCH * INCH * 1e6;
}

static double p1_9(double none) {
  (void)none;
  DEFAULTS(fluid, oil);
  return oil.bulk_modulus * 1e-9;
}

/* Gas fraction at the pressure itself: the ambient pressure of the law put there. */
static double modulus_with_gas(double share, double liquid, double exponent, double pressure) {
  struct fluid_parameters oil = plain_oil(liquid);
  oil.air_content = share;
  oil.air_exponent = exponent;
  oil.ambient_pressure = pressure;
  return fluid_bulk_modulus(&oil, pressure);
}

static double p1_10(double bar) {
  return 1e-9 * modulus_with_gas(0.01, 1.4e9, 1.4, bar * BAR);
}

static double p1_11(double none) {
  (void)none;
  return modulus_with_gas(0.01, 220e3 * PSI, 1.4, 500.0 * PSI) / PSI;
}

static double p1_12(double none) {
  (void)none;
  struct fluid_parameters oil = plain_oil(1.4e9);
  oil.wall_modulus = 0.7e9;
  return 1e-9 * fluid_bulk_modulus(&oil, oil.ambient_pressure);
}

#define D341 "ASTM D341, two-constant form"
#define D341_SHEET "ASTM D341, public worked sheet \"Viscosity vs temperature calculator\""
#define RABIE "M. G. Rabie, Fluid Power Engineering, eqs (2.49) to (2.57), p. 32"

#define D2270 "ASTM D2270 (ISO 2909), "
#define ISO3448 "ISO 3448 limits, secondary chart"

static const struct row rows[] = {
    {"P1.4", "viscosity", "constant A, 32 and 5.4 mm2/s at 40 and 100 degC (+273)", "", 9.5259, 1e-4, ABSOLUTE,
     D341_SHEET, PUBLISHED, p1_4_a, 273.0, NULL},
    {"P1.4", "viscosity", "constant B, same oil", "", 3.7449, 1e-4, ABSOLUTE, D341_SHEET, PUBLISHED, p1_4_b, 273.0,
     NULL},
    {"P1.4", "viscosity", "viscosity at 80 degC, same oil (published as 8.5)", "mm2/s", 8.5331, 1e-4, RELATIVE,
     D341_SHEET, PUBLISHED, p1_4_80, 273.0, NULL},
    {"P1.5", "viscosity", "constant A, same oil with 273.15", "", 9.53082, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_4_a,
     273.15, NULL},
    {"P1.5", "viscosity", "constant B", "", 3.74658, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_4_b, 273.15, NULL},
    {"P1.5", "viscosity", "viscosity at 0 degC", "mm2/s", 336.00, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_5, 0.0, NULL},
    {"P1.5", "viscosity", "viscosity at 20 degC", "mm2/s", 86.278, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_5, 20.0, NULL},
    {"P1.5", "viscosity", "viscosity at 60 degC", "mm2/s", 15.186, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_5, 60.0, NULL},
    {"P1.5", "viscosity", "viscosity at 80 degC", "mm2/s", 8.5332, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_5, 80.0, NULL},
    {"P1.5", "viscosity", "viscosity at 120 degC", "mm2/s", 3.7239, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_5, 120.0,
     NULL},
    {"P1.6", "viscosity", "constant A, 46 and 6.8 mm2/s (the demo oil)", "", 9.417993, 1e-4, RELATIVE, D341,
     CLOSED_FORM, p1_6_a, 0.0, NULL},
    {"P1.6", "viscosity", "constant B", "", 3.684441, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6_b, 0.0, NULL},
    {"P1.6", "viscosity", "viscosity at -10 degC", "mm2/s", 1474.3, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, -10.0,
     NULL},
    {"P1.6", "viscosity", "viscosity at 0 degC", "mm2/s", 577.32, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, 0.0, NULL},
    {"P1.6", "viscosity", "viscosity at 20 degC", "mm2/s", 133.84, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, 20.0, NULL},
    {"P1.6", "viscosity", "viscosity at 50 degC", "mm2/s", 29.973, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, 50.0, NULL},
    {"P1.6", "viscosity", "viscosity at 60 degC", "mm2/s", 20.623, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, 60.0, NULL},
    {"P1.6", "viscosity", "viscosity at 80 degC", "mm2/s", 11.103, 1e-4, RELATIVE, D341, CLOSED_FORM, p1_6, 80.0, NULL},
    {"P1.1", "viscosity index", "L at 8.86 mm2/s (table between its points)", "mm2/s", 119.94, 0.005, ABSOLUTE,
     D2270 "5.1.4", PUBLISHED, p1_1_column, COLUMN_L, NULL},
    {"P1.1", "viscosity index", "H at 8.86 mm2/s", "mm2/s", 69.48, 0.005, ABSOLUTE, D2270 "5.1.4", PUBLISHED,
     p1_1_column, COLUMN_H, NULL},
    {"P1.1", "viscosity index", "index of 73.30 and 8.86 mm2/s at 40 and 100 degC", "", 92.43, 0.005, ABSOLUTE,
     D2270 "5.1.4", PUBLISHED, p1_1, 0.0, NULL},
    {"P1.1", "viscosity index", "as it is reported", "", 92.0, 0.0, ABSOLUTE, D2270 "5.1.4", PUBLISHED, p1_1_reported,
     0.0, NULL},
    {"P1.2", "viscosity index", "H at 5.05 mm2/s (28.975 before the standard rounds it to 28.97)", "mm2/s", 28.97,
     0.0051, ABSOLUTE, D2270 "6.1.4 (1)", PUBLISHED, p1_2_h, 0.0, NULL},
    {"P1.2", "viscosity index", "index of 22.83 and 5.05 mm2/s (rounding H moves it by 0.06)", "", 156.37, 0.06,
     ABSOLUTE, D2270 "6.1.4 (1)", PUBLISHED, p1_2, 0.0, NULL},
    {"P1.2", "viscosity index", "as it is reported", "", 156.0, 0.0, ABSOLUTE, D2270 "6.1.4 (1)", PUBLISHED,
     p1_2_reported, 0.0, NULL},
    {"P1.3", "viscosity index", "L at 75 mm2/s", "mm2/s", 5582.8, 1e-4, RELATIVE, D2270 "5.1.2", CLOSED_FORM, p1_3,
     COLUMN_L, NULL},
    {"P1.3", "viscosity index", "H at 75 mm2/s", "mm2/s", 1739.0, 1e-4, RELATIVE, D2270 "5.1.2", CLOSED_FORM, p1_3,
     COLUMN_H, NULL},
    {"P1.7", "viscosity index", "grade 22: least viscosity at 40 degC", "mm2/s", 19.8, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 22.0, NULL},
    {"P1.7", "viscosity index", "grade 22: largest", "mm2/s", 24.2, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     22.0, NULL},
    {"P1.7", "viscosity index", "grade 32: least viscosity at 40 degC", "mm2/s", 28.8, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 32.0, NULL},
    {"P1.7", "viscosity index", "grade 32: largest", "mm2/s", 35.2, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     32.0, NULL},
    {"P1.7", "viscosity index", "grade 46: least viscosity at 40 degC", "mm2/s", 41.4, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 46.0, NULL},
    {"P1.7", "viscosity index", "grade 46: largest", "mm2/s", 50.6, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     46.0, NULL},
    {"P1.7", "viscosity index", "grade 68: least viscosity at 40 degC", "mm2/s", 61.2, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 68.0, NULL},
    {"P1.7", "viscosity index", "grade 68: largest", "mm2/s", 74.8, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     68.0, NULL},
    {"P1.7", "viscosity index", "grade 100: least viscosity at 40 degC", "mm2/s", 90.0, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 100.0, NULL},
    {"P1.7", "viscosity index", "grade 100: largest", "mm2/s", 110.0, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     100.0, NULL},
    {"P1.7", "viscosity index", "grade 150: least viscosity at 40 degC", "mm2/s", 135.0, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 150.0, NULL},
    {"P1.7", "viscosity index", "grade 150: largest", "mm2/s", 165.0, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     150.0, NULL},
    {"P1.7", "viscosity index", "grade 220: least viscosity at 40 degC", "mm2/s", 198.0, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 220.0, NULL},
    {"P1.7", "viscosity index", "grade 220: largest", "mm2/s", 242.0, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     220.0, NULL},
    {"P1.7", "viscosity index", "grade 320: least viscosity at 40 degC", "mm2/s", 288.0, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 320.0, NULL},
    {"P1.7", "viscosity index", "grade 320: largest", "mm2/s", 352.0, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     320.0, NULL},
    {"P1.7", "viscosity index", "grade 460: least viscosity at 40 degC", "mm2/s", 414.0, 1e-12, RELATIVE, ISO3448,
     PUBLISHED, p1_7_least, 460.0, NULL},
    {"P1.7", "viscosity index", "grade 460: largest", "mm2/s", 506.0, 1e-12, RELATIVE, ISO3448, PUBLISHED, p1_7_most,
     460.0, NULL},
    {"P1.8", "stiffness", "volume given way, 10 in3 from 100 to 2000 psi at 250 000 psi", "cm3", -1.2454, 1e-3,
     RELATIVE, "A. Esposito, Fluid Power with Applications, Ex. 2-11, p. 57", PUBLISHED, p1_8, 0.0, NULL},
    {"P1.9", "stiffness", "default modulus of the liquid (rule: 0.5 % of volume for 1000 psi is 1.38)", "GPa", 1.2, 1.9,
     BETWEEN, "public hydraulic formula sheets", PUBLISHED, p1_9, 0.0, NULL},
    {"P1.10", "stiffness", "1 % gas at 10 bar, liquid 1.4 GPa", "GPa", 0.12739, 1e-4, RELATIVE, RABIE, PUBLISHED, p1_10,
     10.0, NULL},
    {"P1.10", "stiffness", "1 % gas at 100 bar", "GPa", 0.70352, 1e-4, RELATIVE, RABIE, PUBLISHED, p1_10, 100.0, NULL},
    {"P1.10", "stiffness", "1 % gas at 400 bar", "GPa", 1.12903, 1e-4, RELATIVE, RABIE, PUBLISHED, p1_10, 400.0, NULL},
    {"P1.11", "stiffness", "1 % gas at 500 psi, liquid 220 000 psi (the text: about 53 000)", "psi", 53000.0, 500.0,
     ABSOLUTE, "H. E. Merritt, Hydraulic Control Systems (1967), sec. 2-4", FROM_MEMORY, p1_11, 0.0, NULL},
    {"P1.12", "stiffness", "oil 1.4 GPa in a hose of 0.7 GPa", "GPa", 1.4 / 3.0, 1e-12, RELATIVE,
     "H. Mann, course notes eq. (6.30); Merritt sec. 2-4", CLOSED_FORM, p1_12, 0.0, NULL},
};

ROWS_MAIN(rows)
