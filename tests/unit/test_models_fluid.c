/* The oil's tables against the laws they stand for. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "fluid.h"
#include "sample.h"
#include "volume.h"

/* Integral of f over [low, high] by Simpson's rule, the step halved until nothing changes. */
static double integral(double (*f)(const struct fluid_parameters *, double), const struct fluid_parameters *oil,
                       double low, double high) {
  double before = 0.0;
  double sum = 0.0;
  for (long pieces = 64; pieces <= 1L << 20; pieces *= 2) {
    double width = (high - low) / (double)pieces;
    sum = f(oil, low) + f(oil, high);
    for (long i = 1; i < pieces; i++) {
      sum += (i % 2 == 1 ? 4.0 : 2.0) * f(oil, low + width * (double)i);
    }
    sum *= width / 3.0;
    if (pieces > 64 && fabs(sum - before) <= 1e-13 * fabs(sum)) {
      break;
    }
    before = sum;
  }
  return sum;
}

/* dw/d(log p) and p dw/d(log p). */
static double compliance(const struct fluid_parameters *oil, double log_p) {
  return exp(log_p) / fluid_bulk_modulus(oil, exp(log_p));
}

static double work(const struct fluid_parameters *oil, double log_p) {
  return exp(log_p) * compliance(oil, log_p);
}

static const double pressures[] = {1.1e3, 5e3, 3e4, 0.9e5, 1.013e5, 2e5, 1e6, 3.3e6, 1e7, 4.5e7, 1.2e8, 4e8};
enum { PRESSURES = sizeof pressures / sizeof pressures[0] };

struct oil_case {
  double air, wall, slope;
};

static const struct oil_case oils[] = {{0.006, 4e9, 9.0}, {0.006, 0.9e9, 9.0}, {0.0, 1e12, 0.0}, {0.1, 1e9, 12.0}};

static struct fluid_parameters oil_of(int i) {
  DEFAULTS(fluid, parameters);
  parameters.air_content = oils[i].air;
  parameters.wall_modulus = oils[i].wall;
  parameters.bulk_modulus_slope = oils[i].slope;
  return parameters;
}

/* Interpolation between the knots of the table: 3e-8 of the pressure at worst with these oils. */
static void pressure_and_compression_follow_the_integral(void **state) {
  (void)state;
  for (int i = 0; i < 4; i++) {
    struct fluid_parameters parameters = oil_of(i);
    struct fluid oil;
    fluid_prepare(&parameters, &oil);
    CHECK_NEAR(fluid_pressure(&oil, 0.0), parameters.ambient_pressure, 1e-3);
    for (int k = 0; k < PRESSURES; k++) {
      double direct = integral(compliance, &parameters, log(parameters.ambient_pressure), log(pressures[k]));
      CHECK_CLOSE(fluid_pressure(&oil, direct), pressures[k], 3e-7);
      double w = fluid_compression(&oil, pressures[k]);
      CHECK_CLOSE(fluid_pressure(&oil, w), pressures[k], 1e-11);
    }
  }
}

static void energy_is_the_integral_of_pressure(void **state) {
  (void)state;
  for (int i = 0; i < 4; i++) {
    struct fluid_parameters parameters = oil_of(i);
    struct fluid oil;
    fluid_prepare(&parameters, &oil);
    CHECK_NEAR(fluid_stored_energy(&oil, 0.0), 0.0, 1e-9);
    for (int k = 0; k < PRESSURES; k++) {
      double w = fluid_compression(&oil, pressures[k]);
      double direct = integral(work, &parameters, log(parameters.ambient_pressure), log(pressures[k]));
      CHECK_WITHIN_(fluid_stored_energy(&oil, w), direct, 1e-6 * fabs(direct) + 1e-4, "stored energy");
    }
  }
}

/* Everywhere, the exponential tail and the straight top included: p is dE/dw, grows with w, and has no jumps. */
static void pressure_is_the_slope_of_energy(void **state) {
  (void)state;
  for (int i = 0; i < 4; i++) {
    struct fluid_parameters parameters = oil_of(i);
    struct fluid oil;
    fluid_prepare(&parameters, &oil);
    struct sampler sampler = {20260101u + (unsigned)i};
    double low = oil.compression[0];
    double high = oil.compression[FLUID_KNOTS - 1];
    double before = 0.0;
    for (int k = 0; k <= 4000; k++) {
      double w = low - 0.2 * (high - low) + 1.4 * (high - low) * (double)k / 4000.0;
      double p = fluid_pressure(&oil, w);
      assert_true(p > before || (w < low && p >= before));
      before = p;
    }
    for (int k = 0; k < 500; k++) {
      double w = sample_between(&sampler, low - 2.0 * fabs(low), high + 0.1);
      double h = 1e-6;
      double p = fluid_pressure(&oil, w);
      double slope = (fluid_stored_energy(&oil, w + h) - fluid_stored_energy(&oil, w - h)) / (2.0 * h);
      double bend = fabs(fluid_pressure(&oil, w + h) + fluid_pressure(&oil, w - h) - 2.0 * p);
      CHECK_NEAR(slope, p, bend + 1e-9 * p + 0.2);
    }
  }
}

static void an_empty_line_keeps_a_positive_pressure_and_remembers(void **state) {
  (void)state;
  DEFAULTS(fluid, parameters);
  struct fluid oil;
  fluid_prepare(&parameters, &oil);
  double edge = oil.compression[0];
  double at_edge = fluid_pressure(&oil, edge);
  CHECK_CLOSE(at_edge, parameters.floor_pressure, 1e-12);
  CHECK_CLOSE(fluid_pressure(&oil, edge - 1e-9), at_edge, 1e-5);
  assert_true(fluid_pressure(&oil, edge - 0.05) > 0.0);
  assert_true(fluid_pressure(&oil, edge - 0.05) < fluid_pressure(&oil, edge - 0.04));
  assert_true(fluid_pressure(&oil, -0.5) >= 0.0);
  /* exponential: equal steps of w, equal ratios of p */
  double first = fluid_pressure(&oil, edge - 0.01) / at_edge;
  double second = fluid_pressure(&oil, edge - 0.02) / fluid_pressure(&oil, edge - 0.01);
  CHECK_CLOSE(second, first, 1e-9);
  CHECK_CLOSE(fluid_compression(&oil, fluid_pressure(&oil, edge - 0.02)), edge - 0.02, 1e-9);
}

static void above_the_table_pressure_goes_on_straight(void **state) {
  (void)state;
  DEFAULTS(fluid, parameters);
  struct fluid oil;
  fluid_prepare(&parameters, &oil);
  double top = oil.compression[FLUID_KNOTS - 1];
  double k = fluid_bulk_modulus(&parameters, FLUID_TOP_PRESSURE);
  CHECK_CLOSE(fluid_pressure(&oil, top + 0.01), FLUID_TOP_PRESSURE + 0.01 * k, 1e-12);
  CHECK_CLOSE(fluid_compression(&oil, FLUID_TOP_PRESSURE + 0.01 * k), top + 0.01, 1e-12);
  assert_true(isnan(fluid_pressure(&oil, NAN)));
}

static void stiffness_has_its_limits(void **state) {
  (void)state;
  DEFAULTS(fluid, parameters);
  parameters.air_content = 0.0;
  parameters.wall_modulus = 1e30;
  CHECK_CLOSE(fluid_bulk_modulus(&parameters, parameters.ambient_pressure), parameters.bulk_modulus, 1e-12);
  CHECK_CLOSE(fluid_bulk_modulus(&parameters, parameters.ambient_pressure + 1e7),
              parameters.bulk_modulus + 1e7 * parameters.bulk_modulus_slope, 1e-12);
  parameters.wall_modulus = 1e9;
  CHECK_CLOSE(fluid_bulk_modulus(&parameters, parameters.ambient_pressure), 1.0 / (1.0 / 1.55e9 + 1.0 / 1e9), 1e-12);
  parameters.air_content = 0.01;
  double before = 0.0;
  for (double p = 2e3; p < 4e8; p *= 1.3) { // NOLINT(cert-flp30-c): evenly in the logarithm
    double k = fluid_bulk_modulus(&parameters, p);
    assert_true(k > before);
    before = k;
  }
  /* little pressure: only the gas yields, and it fills r of 1 + r: K = n p (1 + r)/r */
  parameters.air_content = 0.2;
  double gas = 0.25 * pow(101.3, 1.0 / parameters.air_exponent);
  CHECK_CLOSE(fluid_bulk_modulus(&parameters, 1e3), parameters.air_exponent * 1e3 * (1.0 + gas) / gas, 1e-5);
  CHECK_CLOSE(fluid_bulk_modulus(&parameters, 1.0), fluid_bulk_modulus(&parameters, parameters.floor_pressure), 1e-12);
}

static void viscosity_follows_walther(void **state) {
  (void)state;
  DEFAULTS(fluid, parameters);
  struct fluid oil;
  fluid_prepare(&parameters, &oil);
  double a;
  double b;
  fluid_walther_fit(parameters.viscosity_at_40, 313.15, parameters.viscosity_at_100, 373.15, &a, &b);
  CHECK_CLOSE(fluid_walther(a, b, 313.15), 46e-6, 1e-12);
  CHECK_CLOSE(fluid_walther(a, b, 373.15), 6.8e-6, 1e-12);
  double before = HUGE_VAL;
  for (int i = 0; i < 2500; i++) {
    double temperature = 230.0 + 0.09 * i;
    double mu = fluid_viscosity(&oil.viscosity, temperature);
    CHECK_CLOSE(mu, parameters.density * fluid_walther(a, b, temperature), 2e-5);
    if (temperature > 250.0) {
      CHECK_CLOSE(mu, parameters.density * fluid_walther(a, b, temperature), 2e-6);
    }
    assert_true(mu < before);
    before = mu;
  }
  CHECK_CLOSE(fluid_viscosity(&oil.viscosity, 150.0), fluid_viscosity(&oil.viscosity, 200.0), 1e-12);
  CHECK_CLOSE(fluid_viscosity(&oil.viscosity, 600.0), fluid_viscosity(&oil.viscosity, 460.0), 1e-12);
  CHECK_CLOSE(oil.heat_per_volume, 870.0 * 1950.0, 1e-12);
}

static void film_viscosity_is_a_power(void **state) {
  (void)state;
  DEFAULTS(fluid, parameters);
  struct fluid oil;
  struct fluid_viscosity_table film;
  fluid_prepare(&parameters, &oil);
  fluid_film_table(&oil.viscosity, 0.02, 0.4, &film);
  for (int i = 0; i < 300; i++) {
    double temperature = 255.0 + 0.41 * i;
    double mu = fluid_viscosity(&oil.viscosity, temperature);
    CHECK_CLOSE(fluid_viscosity(&film, temperature), 0.02 * pow(mu / 0.02, 0.4), 1e-6);
  }
  fluid_film_table(&oil.viscosity, 0.02, 1.0, &film);
  CHECK_CLOSE(fluid_viscosity(&film, 301.7), fluid_viscosity(&oil.viscosity, 301.7), 1e-12);
}

static void a_volume_fills_by_its_flow(void **state) {
  (void)state;
  CHECK_CLOSE(volume_compression_rate(2e-3, 1e-3), 0.5, 1e-15);
  CHECK_CLOSE(volume_compression_rate(2e-3, -1e-3), -0.5, 1e-15);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pressure_and_compression_follow_the_integral),
      cmocka_unit_test(energy_is_the_integral_of_pressure),
      cmocka_unit_test(pressure_is_the_slope_of_energy),
      cmocka_unit_test(an_empty_line_keeps_a_positive_pressure_and_remembers),
      cmocka_unit_test(above_the_table_pressure_goes_on_straight),
      cmocka_unit_test(stiffness_has_its_limits),
      cmocka_unit_test(viscosity_follows_walther),
      cmocka_unit_test(film_viscosity_is_a_power),
      cmocka_unit_test(a_volume_fills_by_its_flow),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
