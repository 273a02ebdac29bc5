#include "indices.h"

#include <math.h>

/* The three values of a group that an input needs. */
struct three {
  double a, b, ab;
};

static bool take(const double *values, int inputs, int input, long group, struct three *three) {
  const double *row = values + group * (inputs + 2);
  *three = (struct three){row[0], row[1], row[2 + input]};
  return !isnan(three->a) && !isnan(three->b) && !isnan(three->ab);
}

/* What a group adds to the means: numerators, and the variance below them. */
struct terms {
  double first, total, variance;
};

static struct terms terms_of(const struct three *f, double mean) {
  double a = f->a - mean;
  double b = f->b - mean;
  return (struct terms){b * (f->ab - f->a), 0.5 * (f->a - f->ab) * (f->a - f->ab), 0.5 * (a * a + b * b)};
}

struct index_estimate indices_estimate(const double *values, long groups, int inputs, int input) {
  struct index_estimate estimate = {NAN, NAN, NAN, NAN, 0};
  struct three three;
  double mean = 0.0;
  for (long g = 0; g < groups; g++) {
    if (take(values, inputs, input, g, &three)) {
      mean += three.a + three.b;
      estimate.used++;
    }
  }
  double n = (double)estimate.used;
  if (n < 2.0) {
    return estimate;
  }
  mean /= 2.0 * n;
  struct terms sum = {0.0, 0.0, 0.0};
  for (long g = 0; g < groups; g++) {
    if (take(values, inputs, input, g, &three)) {
      struct terms terms = terms_of(&three, mean);
      sum.first += terms.first / n;
      sum.total += terms.total / n;
      sum.variance += terms.variance / n;
    }
  }
  /* Values that differ by rounding alone do not vary. */
  if (!(sum.variance > 1e-24 * mean * mean) || !isfinite(sum.variance)) {
    return estimate;
  }
  estimate.first = sum.first / sum.variance;
  estimate.total = sum.total / sum.variance;
  double first_square = 0.0;
  double total_square = 0.0;
  for (long g = 0; g < groups; g++) {
    if (take(values, inputs, input, g, &three)) {
      struct terms terms = terms_of(&three, mean);
      double first = (terms.first - estimate.first * terms.variance) / sum.variance;
      double total = (terms.total - estimate.total * terms.variance) / sum.variance;
      first_square += first * first;
      total_square += total * total;
    }
  }
  estimate.first_error = sqrt(first_square / (n * (n - 1.0)));
  estimate.total_error = sqrt(total_square / (n * (n - 1.0)));
  return estimate;
}
