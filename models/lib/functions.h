/* Functions of mathematics for kernels and tables: exponential, logarithms, powers, hyperbolic tangent, arc tangent,
 * sine, cosine and tangent made of operations that vector lanes have, so that plain kernels and lanes give the same
 * numbers, whatever library the program meets. Rational forms after S. L. Moshier, Methods and Programs for
 * Mathematical Functions (1989), from memory; the sine is its series. Right to some units of the last place
 * (tests/unit/test_models_functions.c). Included by real.h. */
#ifndef SWASHLOOP_MODELS_FUNCTIONS_H
#define SWASHLOOP_MODELS_FUNCTIONS_H

/* e^x for |x| up to 700. */
static inline real real_exp_within(real x) {
  const double shift = 6755399441055744.0; /* 1.5 * 2^52: adding it rounds to a whole number */
  real shifted = x * 1.4426950408889634074 + shift;
  real whole = shifted - shift;
  real rest = (x - whole * 6.93145751953125e-1) - whole * 1.42860682030941723212e-6;
  real z = rest * rest;
  real p = rest * ((1.26177193074810590878e-4 * z + 3.02994407707441961300e-2) * z + 9.99999999999999999910e-1);
  real q = ((3.00198505138664455042e-6 * z + 2.52448340349684104192e-3) * z + 2.27265548208155028766e-1) * z + 2.0;
  return real_times_power_of_two(1.0 + 2.0 * (p / (q - p)), shifted);
}

/* e^x, held at e^-700 and e^700. */
static inline real real_exp(real x) {
  x = select_where(x < -700.0, broadcast(-700.0), x);
  return real_exp_within(select_where(x > 700.0, broadcast(700.0), x));
}

/* Natural logarithm of a normal number above zero: of its part between the roots of 1/2 and 2 by the series of
 * 2 artanh((m - 1)/(m + 1)), whose first left-out term is 1e-18 of the sum. */
static inline real real_log(real x) {
  real m;
  real power = real_binary_exponent(x, &m);
  mask low = m < 0.70710678118654752440;
  m = select_where(low, m + m, m);
  power = select_where(low, power - 1.0, power);
  real s = (m - 1.0) / (m + 1.0);
  real z = s * s;
  real sum = broadcast(1.0 / 23.0);
  sum = sum * z + 1.0 / 21.0;
  sum = sum * z + 1.0 / 19.0;
  sum = sum * z + 1.0 / 17.0;
  sum = sum * z + 1.0 / 15.0;
  sum = sum * z + 1.0 / 13.0;
  sum = sum * z + 1.0 / 11.0;
  sum = sum * z + 1.0 / 9.0;
  sum = sum * z + 1.0 / 7.0;
  sum = sum * z + 1.0 / 5.0;
  sum = sum * z + 1.0 / 3.0;
  return power * 6.93147180369123816490e-1 + (2.0 * s * z * sum + power * 1.90821492927058770002e-10 + 2.0 * s);
}

/* Decimal logarithm of a normal number above zero. */
static inline real real_log10(real x) {
  return real_log(x) * 0.43429448190325182765;
}

/* x^y for a normal x above zero; as many digits less as y ln x has before its point. */
static inline real real_power(real x, real y) {
  return real_exp(y * real_log(x));
}

/* tanh x for |x| up to 350. */
static inline real real_tanh(real x) {
  real size = fabs(x);
  real z = x * x;
  real p = (-9.64399179425052238628e-1 * z - 9.92877231001918586564e1) * z - 1.61468768441708447952e3;
  real q = ((z + 1.12811678491632931402e2) * z + 2.23548839060100448583e3) * z + 4.84406305325125486048e3;
  return select_where_rare(size >= 0.625,
                           (1.0 - 2.0 / (real_exp_within(2.0 * size) + 1.0)) *
                               select_where(x < 0.0, broadcast(-1.0), broadcast(1.0)),
                           x + x * z * (p / q));
}

/* Between 0 and 0.66. */
static inline real real_atan_within(real x) {
  real z = x * x;
  real p = (((-8.750608600031904122785e-1 * z - 1.615753718733365076637e1) * z - 7.500855792314704667340e1) * z -
            1.228866684490136173410e2) *
               z -
           6.485021904942025371773e1;
  real q = ((((z + 2.485846490142306297962e1) * z + 1.650270098316988542046e2) * z + 4.328810604912902668951e2) * z +
            4.853903996359136964868e2) *
               z +
           1.945506571482613964425e2;
  return x + x * z * (p / q);
}

/* Above 0.66. */
static inline real real_atan_beyond(real x) {
  const double small_part = 6.123233995736765886130e-17; /* of pi/2 */
  mask far = x > 2.41421356237309504880;                 /* tan 3 pi/8 */
  real turned = select_where(far, broadcast(-1.0), x - 1.0) / select_where(far, x, x + 1.0);
  return select_where(far, broadcast(0.5 * REAL_PI), broadcast(0.25 * REAL_PI)) +
         (real_atan_within(turned) + select_where(far, broadcast(small_part), broadcast(0.5 * small_part)));
}

/* Arctangent, rad. */
static inline real real_atan(real x) {
  real size = fabs(x);
  real angle = select_where_rare(size > 0.66, real_atan_beyond(size), real_atan_within(size));
  return select_where(x < 0.0, -angle, angle);
}

/* sin x for |x| up to pi. */
static inline real real_sin(real x) {
  real size = fabs(x);
  real y = select_where(size > 0.5 * REAL_PI, (REAL_PI - size) + 1.2246467991473531772e-16, size);
  real z = y * y;
  real zz = z * z;
  real even = ((((1.0 / 51090942171709440000.0 * zz + 1.0 / 355687428096000.0) * zz + 1.0 / 6227020800.0) * zz +
                1.0 / 362880.0) *
                   zz +
               1.0 / 120.0);
  real odd = ((((1.0 / 25852016738884976640000.0 * zz + 1.0 / 121645100408832000.0) * zz + 1.0 / 1307674368000.0) * zz +
               1.0 / 39916800.0) *
                  zz +
              1.0 / 5040.0);
  /* y - y z/6 + y z^2 (1/5! + z^2/9! + ...) - y z^3 (1/7! + z^2/11! + ...) */
  real sine = y + y * z * (z * (even - z * odd) - 1.0 / 6.0);
  return select_where(x < 0.0, -sine, sine);
}

/* cos x for |x| up to pi. */
static inline real real_cos(real x) {
  return real_sin((0.5 * REAL_PI - fabs(x)) + 6.1232339957367660359e-17);
}

/* tan x for |x| below pi/2. */
static inline real real_tan(real x) {
  return real_sin(x) / real_cos(x);
}

/* Angle from -pi/2 to pi/2 whose sine is x, |x| below 1. */
static inline real real_asin(real x) {
  return real_atan(x / sqrt((1.0 - x) * (1.0 + x)));
}

#endif
