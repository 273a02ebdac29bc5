/* Oil: stiffness, viscosity, and the law between pressure and compression.
 *
 * Stiffness. Liquid modulus K_l = K_0 + m (p - p_0). Air of volume share a at p_0, polytropic exponent n, makes with
 * r = a/(1-a) (p_0/p)^(1/n) the mixture modulus K_m = K_l (1 + r)/(1 + r K_l/(n p)); a wall of modulus K_h acts in
 * series: 1/K = 1/K_m + 1/K_h. Source: the equal-pressure mixture of M. G. Rabie, Fluid Power Engineering, eqs (2.49)
 * to (2.57), p. 32; wall in series: H. Mann, course notes eq. (6.30), H. E. Merritt, Hydraulic Control Systems
 * (1967), sec. 2-4 (from memory).
 *
 * Compression. The state of a line is not its pressure but its compression w = integral of dp/K from p_0: oil beyond
 * what the line holds at p_0, over its volume. V w' = sum of flows is linear, so that the integrator keeps the oil to
 * rounding, and a line that has run empty remembers by w < 0 how much must come back. p(w) is read from a table made
 * once a case (cubic Hermite in 512 knots spaced evenly in log p, p and dp/dw = K exact at the knots; checked against
 * the integral in tests/unit/test_models_fluid.c). Below the floor pressure the gas law with the modulus at the floor
 * goes on as an exponential: p stays positive however empty the line. Above the last knot p goes on straight.
 *
 * Viscosity. Walther, ASTM D341 two-constant form: log10 log10(nu + 0.7) = A - B log10 T, nu in mm2/s, T in K; from
 * nu at 40 and 100 degC, given as such or made from the ISO grade and the viscosity index (viscosity_index.h). Read
 * from a table of 1 K steps over 200 to 460 K (cubic Hermite, exact at the knots), held outside. Valid above about 2
 * mm2/s.
 *
 * Sign: pressures absolute; w positive when compressed. */
#ifndef SWASHLOOP_MODELS_FLUID_H
#define SWASHLOOP_MODELS_FLUID_H

#include "field.h"
#if REAL_LANES == 1
#include "viscosity_index.h"
#endif

enum fluid_viscosity_by { FLUID_TWO_POINTS, FLUID_GRADE_AND_INDEX };

/* clang-format off */
#define FLUID_FIELDS(REAL, CHOICE, TABLE)                                                                              \
  REAL(density, DENSITY, 870.0, 600.0, 1500.0, NONE, "rho", "oil density")                                             \
  REAL(specific_heat, SPECIFIC_HEAT, 1.95, 0.5, 5.0, NONE, "cp", "oil heat capacity by mass")                          \
  REAL(viscosity_at_40, KINEMATIC_VISCOSITY, 46.0, 2.0, 1000.0, NONE, "nu40", "kinematic viscosity at 40 degC", "viscosity_by two_points") \
  REAL(viscosity_at_100, KINEMATIC_VISCOSITY, 6.8, 1.0, 200.0, NONE, "nu100", "kinematic viscosity at 100 degC", "viscosity_by two_points") \
  CHOICE(viscosity_by, FLUID_TWO_POINTS, "two_points|grade_and_index", "", "where the viscosity comes from")           \
  REAL(grade, KINEMATIC_VISCOSITY, 46.0, 2.0, 1500.0, NONE, "", "ISO 3448 grade: its mid-point at 40 degC", "viscosity_by grade_and_index") \
  REAL(grade_deviation, FRACTION, 0.0, -10.0, 10.0, NONE, "", "viscosity at 40 degC over the grade's mid-point; the grade allows 10 % either way", "viscosity_by grade_and_index") \
  REAL(viscosity_index, NUMBER, 100.0, 0.0, 400.0, NONE, "", "viscosity index by ASTM D2270", "viscosity_by grade_and_index") \
  REAL(bulk_modulus, PRESSURE, 15500.0, 1000.0, 50000.0, NONE, "K0", "bulk modulus of the liquid at ambient pressure") \
  REAL(bulk_modulus_slope, NUMBER, 9.0, 0.0, 20.0, NONE, "mK", "rise of the bulk modulus with pressure")               \
  REAL(air_content, FRACTION, 0.6, 0.0, 20.0, NONE, "alpha", "free air by volume at ambient pressure")                 \
  REAL(air_exponent, NUMBER, 1.4, 1.0, 1.67, NONE, "n_air", "polytropic exponent of the air")                          \
  REAL(wall_modulus, PRESSURE, 40000.0, 500.0, 1e7, NONE, "K_h", "modulus of hoses and pipes around the oil")          \
  REAL(floor_pressure, PRESSURE, 0.01, 1e-5, 0.5, ABSOLUTE, "p_min", "below this pressure the stiffness falls in proportion to pressure") \
  REAL(ambient_pressure, PRESSURE, 1.013, 0.3, 1.2, ABSOLUTE, "p0", "ambient pressure, also that of the tank; gauges read from here")
/* clang-format on */

struct fluid_parameters {
  FLUID_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct fluid_parameters
static const struct field fluid_fields[] = {FLUID_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

enum { FLUID_KNOTS = 512, FLUID_BINS = 4096, FLUID_TEMPERATURES = 261 };

/* A function of temperature by its values and slopes at 200 K, 201 K, ... */
struct fluid_viscosity_table {
  double value[FLUID_TEMPERATURES];
  double slope[FLUID_TEMPERATURES]; /* a kelvin */
};

/* Where a temperature lies in such tables. */
struct fluid_table_place {
  whole_number knot; /* the last knot at or below it */
  real along;        /* from that knot to the next, 0 to 1 */
};

/* The cubic of p between two knots, in the share of the way from one to the next. */
struct fluid_cubic {
  double start;          /* w of the left knot */
  double over_width;     /* 1 over the difference of w between the knots */
  double c0, c1, c2, c3; /* Pa, rising powers */
};

/* The oil as kernels need it, made once a case: tables, and constants that are asked for often. */
struct fluid {
  double density;         /* kg/m3 */
  double heat_per_volume; /* J/(m3 K) */
  double ambient;         /* Pa absolute */

  double compression[FLUID_KNOTS]; /* w of the knots */
  double pressure[FLUID_KNOTS];    /* Pa absolute */
  double modulus[FLUID_KNOTS];     /* dp/dw, Pa */
  double energy[FLUID_KNOTS];      /* integral of p dw from p_0 to the knot, J/m3 */
  struct fluid_cubic cubic[FLUID_KNOTS - 1];
  int bin[FLUID_BINS];         /* the last knot at or left of the bin's start */
  double bins_per_compression; /* bins over w */

  struct fluid_viscosity_table viscosity; /* dynamic, Pa s */
};

#if REAL_LANES == 1
typedef struct fluid fluid_each;
typedef struct fluid_viscosity_table fluid_viscosity_each;
#else

/* A table of viscosity in each lane: its address. */
typedef struct {
  mask address;
} fluid_viscosity_each;

/* An oil in each lane. */
typedef struct {
  real density;
  real heat_per_volume;
  real ambient;
  real bottom; /* w of the first knot and of the last */
  real top;
  real bins_per_compression;
  mask address; /* of the tables */
  fluid_viscosity_each viscosity;
} fluid_each;

#endif

#define FLUID_TOP_PRESSURE 5e8 /* Pa, last knot */
#define FLUID_COLDEST 200.0    /* K, first viscosity knot */

/* The cubic that has these values and slopes at the ends of a unit interval (slopes already times its width). */
static inline real fluid_hermite(real left, real right, real left_slope, real right_slope, real x) {
  real rise = right - left;
  real c2 = 3.0 * rise - 2.0 * left_slope - right_slope;
  real c3 = left_slope + right_slope - 2.0 * rise;
  return left + x * (left_slope + x * (c2 + x * c3));
}

#if REAL_LANES == 1

/* The interval of the table that holds compression w: its left knot. */
static inline int fluid_knot(const struct fluid *oil, double w) {
  double place = (w - oil->compression[0]) * oil->bins_per_compression;
  int bin = place > 0.0 ? (place < (double)(FLUID_BINS - 1) ? (int)place : FLUID_BINS - 1) : 0;
  int knot = oil->bin[bin];
  while (knot < FLUID_KNOTS - 2 && w >= oil->compression[knot + 1]) {
    knot++;
  }
  return knot;
}

/* Absolute pressure at compression w, Pa. */
static inline real fluid_pressure(const fluid_each *oil, real w) {
  if (w < oil->compression[0]) {
    return oil->pressure[0] * real_exp((w - oil->compression[0]) * oil->modulus[0] / oil->pressure[0]);
  }
  int last = FLUID_KNOTS - 1;
  if (!(w < oil->compression[last])) { /* also a NaN */
    return oil->pressure[last] + (w - oil->compression[last]) * oil->modulus[last];
  }
  const struct fluid_cubic *cubic = &oil->cubic[fluid_knot(oil, w)];
  double x = (w - cubic->start) * cubic->over_width;
  return cubic->c0 + x * (cubic->c1 + x * (cubic->c2 + x * cubic->c3));
}

#else

/* Takes a lane's table of viscosity. */
static inline void fluid_viscosity_take(fluid_viscosity_each *each, int lane,
                                        const struct fluid_viscosity_table *table) {
  lane_point(&each->address, lane, table);
}

/* Takes a lane's oil, whose tables must live on. */
static inline void fluid_take(fluid_each *each, int lane, const struct fluid *oil) {
  lane_set(&each->density, lane, oil->density);
  lane_set(&each->heat_per_volume, lane, oil->heat_per_volume);
  lane_set(&each->ambient, lane, oil->ambient);
  lane_set(&each->bottom, lane, oil->compression[0]);
  lane_set(&each->top, lane, oil->compression[FLUID_KNOTS - 1]);
  lane_set(&each->bins_per_compression, lane, oil->bins_per_compression);
  lane_point(&each->address, lane, oil);
  fluid_viscosity_take(&each->viscosity, lane, &oil->viscosity);
}

/* One number of each lane's oil. */
#define FLUID_READ(oil, member) lanes_read((oil)->address + (int64_t)offsetof(struct fluid, member))

/* Pressure outside of the tables, as in the plain function. */
static inline real fluid_pressure_outside(const fluid_each *oil, real w, mask below, real inside) {
  real first = FLUID_READ(oil, pressure[0]);
  real under = first * real_exp((w - oil->bottom) * FLUID_READ(oil, modulus[0]) / first);
  real over = FLUID_READ(oil, pressure[FLUID_KNOTS - 1]) + (w - oil->top) * FLUID_READ(oil, modulus[FLUID_KNOTS - 1]);
  return select_where(below, under, select_where(w < oil->top, inside, over));
}

/* Absolute pressure at compression w, Pa, each lane by its own oil. */
static inline real fluid_pressure(const fluid_each *oil, real w) {
  mask below = w < oil->bottom;
  mask outside = below | mask_not(w < oil->top); /* also a NaN */
  real in = select_where(outside, oil->bottom, w);
  real place = smaller((in - oil->bottom) * oil->bins_per_compression, (double)(FLUID_BINS - 1));
  mask bin = whole_wide(real_whole(place));
  mask knot = whole_wide(lanes_read_whole(oil->address + (int64_t)offsetof(struct fluid, bin) + bin * 4));
  mask compressions = oil->address + (int64_t)offsetof(struct fluid, compression[1]);
  for (;;) {
    mask further = in >= lanes_read(compressions + knot * 8);
    if (mask_none(further)) {
      break;
    }
    knot -= further;
  }
  mask cubic = oil->address + (int64_t)offsetof(struct fluid, cubic) + knot * (int64_t)sizeof(struct fluid_cubic);
  real x = (in - lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, start))) *
           lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, over_width));
  real pressure = lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, c0)) +
                  x * (lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, c1)) +
                       x * (lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, c2)) +
                            x * lanes_read(cubic + (int64_t)offsetof(struct fluid_cubic, c3))));
  return mask_none(outside) ? pressure : fluid_pressure_outside(oil, w, below, pressure);
}

#endif

/* Where a temperature, K, lies in the tables of viscosity; held at their ends. */
static inline struct fluid_table_place fluid_table_place_of(real temperature) {
  struct fluid_table_place table_place;
  real place = clamp(temperature - FLUID_COLDEST, 0.0, (double)(FLUID_TEMPERATURES - 1));
  table_place.knot = whole_up_to(real_whole(place), FLUID_TEMPERATURES - 2);
  table_place.along = place - whole_real(table_place.knot);
  return table_place;
}

/* Dynamic viscosity, Pa s. */
static inline real fluid_viscosity_at(const fluid_viscosity_each *table, const struct fluid_table_place *table_place) {
#if REAL_LANES == 1
  const double *value = table->value + table_place->knot;
  const double *slope = table->slope + table_place->knot;
  return fluid_hermite(value[0], value[1], slope[0], slope[1], table_place->along);
#else
  mask value = table->address + whole_wide(table_place->knot) * 8;
  mask slope = value + (int64_t)offsetof(struct fluid_viscosity_table, slope);
  return fluid_hermite(lanes_read(value), lanes_read(value + 8), lanes_read(slope), lanes_read(slope + 8),
                       table_place->along);
#endif
}

/* The same at temperature T, K. */
static inline real fluid_viscosity(const fluid_viscosity_each *table, real temperature) {
  struct fluid_table_place table_place = fluid_table_place_of(temperature);
  return fluid_viscosity_at(table, &table_place);
}

#if REAL_LANES == 1 /* made once a case */

/* Kinematic viscosity at 40 degC, m2/s. */
static inline real fluid_viscosity_at_40(const struct fluid_parameters *oil) {
  return oil->viscosity_by == FLUID_TWO_POINTS ? oil->viscosity_at_40 : oil->grade * (1.0 + oil->grade_deviation);
}

/* Kinematic viscosity at 100 degC, m2/s; NaN where the viscosity index is not defined. */
static inline real fluid_viscosity_at_100(const struct fluid_parameters *oil) {
  return oil->viscosity_by == FLUID_TWO_POINTS
             ? oil->viscosity_at_100
             : 1e-6 * viscosity_at_100_for(oil->viscosity_index, 1e6 * fluid_viscosity_at_40(oil));
}

/* Why this oil cannot be, or NULL. */
static inline const char *fluid_refusal(const struct fluid_parameters *oil) {
  if (oil->viscosity_by == FLUID_GRADE_AND_INDEX && !viscosity_is_grade(1e6 * oil->grade)) {
    return "fluid.grade is no grade of ISO 3448: 2.2, 3.2, 4.6, 6.8, 10, 15, 22, 32, 46, 68, 100, 150, 220, 320, 460, "
           "680, 1000 or 1500 mm2/s";
  }
  if (oil->viscosity_by == FLUID_GRADE_AND_INDEX && isnan(fluid_viscosity_at_100(oil))) {
    return "fluid.grade and fluid.viscosity_index make an oil of less than 2 mm2/s at 100 degC, where the index is not "
           "defined; use fluid.viscosity_by two_points";
  }
  return NULL;
}

/* Modulus of oil, air and wall together at absolute pressure p (floored). */
static inline real fluid_bulk_modulus(const struct fluid_parameters *oil, real p) {
  real pressure = larger(p, oil->floor_pressure);
  real liquid = oil->bulk_modulus + oil->bulk_modulus_slope * (pressure - oil->ambient_pressure);
  real air = oil->air_content / (1.0 - oil->air_content) *
             real_power(oil->ambient_pressure / pressure, 1.0 / oil->air_exponent);
  real mixture = liquid * (1.0 + air) / (1.0 + air * liquid / (oil->air_exponent * pressure));
  return 1.0 / (1.0 / mixture + 1.0 / oil->wall_modulus);
}

/* Kinematic viscosity, m2/s, from the two Walther constants at temperature T, K. */
static inline real fluid_walther(real a, real b, real temperature) {
  return 1e-6 * (real_power(10.0, real_power(10.0, a - b * real_log10(temperature))) - 0.7);
}

/* The Walther constants A and B from two viscosities (m2/s) at two temperatures (K). */
static inline void fluid_walther_fit(real nu1, real temperature1, real nu2, real temperature2, real *a, real *b) {
  real z1 = real_log10(real_log10(1e6 * nu1 + 0.7));
  real z2 = real_log10(real_log10(1e6 * nu2 + 0.7));
  *b = (z1 - z2) / (real_log10(temperature2) - real_log10(temperature1));
  *a = z1 + *b * real_log10(temperature1);
}

/* Energy stored by compression to w, J per m3 of line: the integral of fluid_pressure, term by term, so that the ledger
 * closes by construction. */
static inline real fluid_stored_energy(const struct fluid *oil, real w) {
  if (w < oil->compression[0]) {
    real rate = oil->modulus[0] / oil->pressure[0];
    return oil->energy[0] + oil->pressure[0] / rate * (real_exp((w - oil->compression[0]) * rate) - 1.0);
  }
  int last = FLUID_KNOTS - 1;
  if (!(w < oil->compression[last])) {
    real beyond = w - oil->compression[last];
    return oil->energy[last] + beyond * (oil->pressure[last] + 0.5 * beyond * oil->modulus[last]);
  }
  int knot = fluid_knot(oil, w);
  const struct fluid_cubic *cubic = &oil->cubic[knot];
  real along = w - cubic->start;
  real x = along * cubic->over_width;
  return oil->energy[knot] + along * (cubic->c0 + x * (cubic->c1 / 2.0 + x * (cubic->c2 / 3.0 + x * cubic->c3 / 4.0)));
}

/* Compression at an absolute pressure: the inverse of fluid_pressure, by bisection (used at start, never in a step). */
static inline real fluid_compression(const struct fluid *oil, real pressure) {
  if (pressure < oil->pressure[0]) {
    return oil->compression[0] + real_log(pressure / oil->pressure[0]) * oil->pressure[0] / oil->modulus[0];
  }
  if (pressure > oil->pressure[FLUID_KNOTS - 1]) {
    return oil->compression[FLUID_KNOTS - 1] +
           (pressure - oil->pressure[FLUID_KNOTS - 1]) / oil->modulus[FLUID_KNOTS - 1];
  }
  real low = oil->compression[0];
  real high = oil->compression[FLUID_KNOTS - 1];
  real middle = 0.5 * (low + high);
  while (middle > low && middle < high) {
    if (fluid_pressure(oil, middle) < pressure) {
      low = middle;
    } else {
      high = middle;
    }
    middle = 0.5 * (low + high);
  }
  return fabs(fluid_pressure(oil, low) - pressure) < fabs(fluid_pressure(oil, high) - pressure) ? low : high;
}

/* The viscosity that a lubricating film shows, mu_ref (mu/mu_ref)^exponent (rotary.h), as a table of its own. */
static inline void fluid_film_table(const struct fluid_viscosity_table *viscosity, real reference, real exponent,
                                    struct fluid_viscosity_table *film) {
  for (int i = 0; i < FLUID_TEMPERATURES; i++) {
    real mu = viscosity->value[i];
    film->value[i] = reference * real_power(mu / reference, exponent);
    film->slope[i] = exponent * film->value[i] / mu * viscosity->slope[i];
  }
}

/* dw between two pressures by Gauss-Legendre (3 points) in log p; between knots exact to rounding. */
static inline real fluid_compression_between(const struct fluid_parameters *oil, real low, real high) {
  static const real node[3] = {0.0, 0.7745966692414834, -0.7745966692414834};
  static const real weight[3] = {8.0 / 9.0, 5.0 / 9.0, 5.0 / 9.0};
  real middle = 0.5 * (real_log(high) + real_log(low));
  real half = 0.5 * (real_log(high) - real_log(low));
  real sum = 0.0;
  for (int i = 0; i < 3; i++) {
    real p = real_exp(middle + half * node[i]);
    sum += weight[i] * p / fluid_bulk_modulus(oil, p);
  }
  return sum * half;
}

/* Make the oil ready. */
static inline void fluid_prepare(const struct fluid_parameters *parameters, struct fluid *oil) {
  oil->density = parameters->density;
  oil->heat_per_volume = parameters->density * parameters->specific_heat;
  oil->ambient = parameters->ambient_pressure;

  real bottom = real_log(parameters->floor_pressure);
  real spacing = (real_log(FLUID_TOP_PRESSURE) - bottom) / (real)(FLUID_KNOTS - 1);
  oil->compression[0] = 0.0;
  for (int i = 0; i < FLUID_KNOTS; i++) {
    oil->pressure[i] = real_exp(bottom + spacing * (real)i);
    oil->modulus[i] = fluid_bulk_modulus(parameters, oil->pressure[i]);
    if (i > 0) {
      oil->compression[i] =
          oil->compression[i - 1] + fluid_compression_between(parameters, oil->pressure[i - 1], oil->pressure[i]);
    }
  }
  /* Count compression from the ambient pressure. */
  int below = 0;
  while (below < FLUID_KNOTS - 2 && oil->pressure[below + 1] <= parameters->ambient_pressure) {
    below++;
  }
  real zero = oil->compression[below] +
              fluid_compression_between(parameters, oil->pressure[below], parameters->ambient_pressure);
  for (int i = 0; i < FLUID_KNOTS; i++) {
    oil->compression[i] -= zero;
  }
  for (int i = 0; i + 1 < FLUID_KNOTS; i++) {
    real width = oil->compression[i + 1] - oil->compression[i];
    real rise = oil->pressure[i + 1] - oil->pressure[i];
    real left_slope = oil->modulus[i] * width;
    real right_slope = oil->modulus[i + 1] * width;
    struct fluid_cubic cubic = {oil->compression[i],
                                1.0 / width,
                                oil->pressure[i],
                                left_slope,
                                3.0 * rise - 2.0 * left_slope - right_slope,
                                left_slope + right_slope - 2.0 * rise};
    oil->cubic[i] = cubic;
  }
  real range = oil->compression[FLUID_KNOTS - 1] - oil->compression[0];
  oil->bins_per_compression = (real)FLUID_BINS / range;
  for (int bin = 0, knot = 0; bin < FLUID_BINS; bin++) {
    real start = oil->compression[0] + (real)bin / oil->bins_per_compression;
    while (knot < FLUID_KNOTS - 2 && oil->compression[knot + 1] <= start) {
      knot++;
    }
    oil->bin[bin] = knot;
  }
  /* Energy, first from the lowest knot, then counted from the ambient pressure. */
  oil->energy[0] = 0.0;
  for (int i = 1; i < FLUID_KNOTS; i++) {
    real width = oil->compression[i] - oil->compression[i - 1];
    oil->energy[i] = oil->energy[i - 1] + 0.5 * width * (oil->pressure[i - 1] + oil->pressure[i]) +
                     width * width * (oil->modulus[i - 1] - oil->modulus[i]) / 12.0;
  }
  real energy_zero = fluid_stored_energy(oil, 0.0);
  for (int i = 0; i < FLUID_KNOTS; i++) {
    oil->energy[i] -= energy_zero;
  }

  real a;
  real b;
  fluid_walther_fit(fluid_viscosity_at_40(parameters), 313.15, fluid_viscosity_at_100(parameters), 373.15, &a, &b);
  for (int i = 0; i < FLUID_TEMPERATURES; i++) {
    real temperature = FLUID_COLDEST + (real)i;
    real nu = fluid_walther(a, b, temperature);
    real inner = real_log10(1e6 * nu + 0.7);
    oil->viscosity.value[i] = parameters->density * nu;
    /* d nu/dT = -(nu + 0.7e-6) ln(10) inner B / T */
    oil->viscosity.slope[i] = -parameters->density * (nu + 0.7e-6) * real_log(10.0) * inner * b / temperature;
  }
}

#endif

#endif
