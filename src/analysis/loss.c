#include "loss.h"

#include <math.h>
#include <stdbool.h>

#define HUBER 1.345 /* 95 % efficient where errors are normal (Huber) */
#define STUDENT 4.0 /* degrees of freedom */
#define ROOT_TWO 1.4142135623730951
#define NORMAL_TOP 0.3989422804014327 /* density of the normal at its middle */
#define STUDENT_TOP 0.375             /* of Student's with four degrees of freedom */
#define FAR_OFF 25.0                  /* deviations beyond which a tail is taken by its expansion */
#define LEAST_SCALE 0.03              /* of the quantum: below, a scale cannot be told from none */
#define SEARCH 44                     /* steps of a golden section */
#define CURVE_STEP 0.05               /* of the logarithm of a scale */

const char *const loss_names[] = {"normal", "student", "huber"};

/* Probability of a standard normal beyond x > 0, as a logarithm. */
static double log_normal_tail(double x) {
  if (x < FAR_OFF) {
    return log(0.5 * erfc(x / ROOT_TWO));
  }
  double over = 1.0 / (x * x);
  return -0.5 * x * x + log(NORMAL_TOP / x * (1.0 - over * (1.0 - 3.0 * over)));
}

/* Logarithm of the probability of the interval from z - half to z + half, z not negative. */
static double log_normal_interval(double z, double half) {
  double near = z - half;
  double far = z + half;
  if (near < 0.0) {
    return log1p(-0.5 * erfc(-near / ROOT_TWO) - 0.5 * erfc(far / ROOT_TWO));
  }
  double tail = log_normal_tail(near);
  return tail + log1p(-exp(log_normal_tail(far) - tail));
}

static double normal_density(double x) {
  return NORMAL_TOP * exp(-0.5 * x * x);
}

/* Of Student's: F = 1/2 + 3 x/4 - x^3/4 with x = t / sqrt(4 + t^2), so the tail is (1 - x)^2 (2 + x) / 4. */
static double student_tail(double t) {
  double root = sqrt(STUDENT + t * t);
  double x = t / root;
  double rest = t > 0.0 ? STUDENT / (root * (root + t)) : 1.0 - x;
  return 0.25 * rest * rest * (2.0 + x);
}

static double student_density(double t) {
  return STUDENT_TOP * pow(1.0 + t * t / STUDENT, -0.5 * (STUDENT + 1.0));
}

/* Slope of the density. */
static double student_slope(double t) {
  return -(STUDENT + 1.0) * t / (STUDENT + t * t) * student_density(t);
}

static struct loss_point normal_interval(double z, double half) {
  double probability = log_normal_interval(z, half);
  struct loss_point point = {.cost = log_normal_interval(0.0, half) - probability};
  if (z - half > FAR_OFF) { /* the tail falls like a normal's density does */
    point.score = z - half;
    point.curve = 1.0;
    return point;
  }
  double near = normal_density(z - half) * exp(-probability);
  double far = normal_density(z + half) * exp(-probability);
  point.score = near - far;
  point.curve = (z + half) * far - (z - half) * near + point.score * point.score;
  return point;
}

static struct loss_point student_interval(double z, double half) {
  double probability = student_tail(z - half) - student_tail(z + half);
  double middle = student_tail(-half) - student_tail(half);
  struct loss_point point = {.cost = log(middle / probability)};
  double score = (student_density(z - half) - student_density(z + half)) / probability;
  point.score = score;
  point.curve = (student_slope(z - half) - student_slope(z + half)) / probability + score * score;
  return point;
}

struct loss_point loss_at(enum loss loss, double deviation, double half) {
  double z = fabs(deviation);
  double sign = deviation < 0.0 ? -1.0 : 1.0;
  struct loss_point point = {0};
  bool fine = half < 0.5 * LOSS_FINE || half < 1e-4 * z;
  switch (loss) {
  case LOSS_NORMAL:
    point = fine ? (struct loss_point){0.5 * z * z, z, 1.0} : normal_interval(z, half);
    break;
  case LOSS_STUDENT:
    if (fine) {
      double over = STUDENT + z * z;
      point = (struct loss_point){0.5 * (STUDENT + 1.0) * log1p(z * z / STUDENT), (STUDENT + 1.0) * z / over,
                                  (STUDENT + 1.0) * (STUDENT - z * z) / (over * over)};
    } else {
      point = student_interval(z, half);
    }
    break;
  case LOSS_HUBER:
    point = z <= HUBER ? (struct loss_point){0.5 * z * z, z, 1.0}
                       : (struct loss_point){HUBER * z - 0.5 * HUBER * HUBER, HUBER, 0.0};
    break;
  }
  point.score *= sign;
  return point;
}

/* ---- the scale ---- */

/* What the logarithm of the likelihood lacks at no deviation: the interval's probability, or the density. */
static double cost_of_none(enum loss loss, double scale, double half) {
  if (half < 0.5 * LOSS_FINE) {
    return log(scale);
  }
  return loss == LOSS_NORMAL ? -log_normal_interval(0.0, half) : -log(student_tail(-half) - student_tail(half));
}

static double cost_at(enum loss loss, const double *deviations, long count, double quantum, double log_scale) {
  double scale = exp(log_scale);
  double half = 0.5 * quantum / scale;
  double sum = (double)count * cost_of_none(loss, scale, half);
  if (half < 0.5 * LOSS_FINE) {
    sum += 0.0;
  } else { /* both branches on one footing: a density times the quantum is a probability */
    sum += (double)count * log(quantum);
  }
  for (long k = 0; k < count; k++) {
    sum += loss_at(loss, deviations[k] / scale, half).cost;
  }
  return sum;
}

static double root_mean_square(const double *deviations, long count) {
  double sum = 0.0;
  for (long k = 0; k < count; k++) {
    sum += deviations[k] * deviations[k];
  }
  return count > 0 ? sqrt(sum / (double)count) : 0.0;
}

/* Huber's proposal 2: the scale at which the mean of the squared scores is what it is for normal errors. */
static double huber_scale(const double *deviations, long count, double freedom) {
  double expected =
      1.0 - erfc(HUBER / ROOT_TWO) - 2.0 * HUBER * normal_density(HUBER) + HUBER * HUBER * erfc(HUBER / ROOT_TWO);
  double scale = root_mean_square(deviations, count);
  for (int i = 0; i < SEARCH && scale > 0.0; i++) {
    double sum = 0.0;
    for (long k = 0; k < count; k++) {
      double score = fmin(fabs(deviations[k]) / scale, HUBER);
      sum += score * score;
    }
    scale *= sqrt(sum / (freedom * expected));
  }
  return scale;
}

double loss_scale(enum loss loss, const double *deviations, long count, double quantum, double unknowns,
                  double *worth) {
  double freedom = fmax((double)count - unknowns, 1.0);
  double rms = root_mean_square(deviations, count);
  *worth = freedom;
  if (!(rms > 0.0)) {
    return quantum > 0.0 ? LEAST_SCALE * quantum : 0.0;
  }
  if (loss == LOSS_HUBER) {
    return huber_scale(deviations, count, freedom);
  }
  if (loss == LOSS_NORMAL && quantum < LOSS_FINE * rms) {
    return rms * sqrt((double)count / freedom);
  }
  const double ratio = 0.6180339887498949;
  double low = log(fmax(1e-3 * rms, LEAST_SCALE * quantum));
  double high = fmax(log(2.0 * rms), low + 0.1);
  double from = low;
  for (int i = 0; i < SEARCH; i++) {
    double left = high - ratio * (high - low);
    double right = low + ratio * (high - low);
    if (cost_at(loss, deviations, count, quantum, left) < cost_at(loss, deviations, count, quantum, right)) {
      high = right;
    } else {
      low = left;
    }
  }
  double best = fmax(0.5 * (low + high), from);
  double curve = (cost_at(loss, deviations, count, quantum, best + CURVE_STEP) -
                  2.0 * cost_at(loss, deviations, count, quantum, best) +
                  cost_at(loss, deviations, count, quantum, best - CURVE_STEP)) /
                 (CURVE_STEP * CURVE_STEP);
  /* N normal errors know the logarithm of their scale with a curvature of 2 N. */
  *worth = fmax(fmin(0.5 * curve, (double)count) - unknowns, 0.0);
  return exp(best) * sqrt((double)count / freedom);
}
