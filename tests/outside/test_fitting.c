/* Least squares, profiles, losses and lags of the fit, held against reference data sets, an independent library and
 * closed forms. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "estimate.h"
#include "information.h"
#include "loss.h"
#include "rows.h"
#include "sensor.h"

enum { DATA = 16, LAGGED = 2001 };

/* ---- curves through data ---- */

struct data {
  int count;
  double x[DATA];
  double y[DATA];
  double (*curve)(const double *values, double x);
  double begin[2];
  enum loss loss;
  double scale;
  double half; /* half a quantum over the scale */
};

static double rise(const double *b, double x) {
  return b[0] * (1.0 - exp(-b[1] * x));
}

static double power(const double *b, double x) {
  return b[0] * pow(x, b[1]);
}

static double line(const double *b, double x) {
  return b[0] + b[1] * x;
}

static double level(const double *b, double x) {
  (void)x;
  return b[0] + 0.0 * b[1];
}

/* NIST StRD, nonlinear regression: Misra1a (D. Misra, dental research), DanWood (Daniel and Wood 1980), BoxBOD (Box,
 * Hunter and Hunter 1978). */
static const struct data misra1a = {
    14,
    {77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
    {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78},
    rise,
    {500.0, 1e-4},
    LOSS_NORMAL,
    1.0,
    0.0};
static const struct data danwood = {6,
                                    {1.309, 1.471, 1.490, 1.565, 1.611, 1.680},
                                    {2.138, 3.421, 3.597, 4.340, 4.882, 5.660},
                                    power,
                                    {1.0, 5.0},
                                    LOSS_NORMAL,
                                    1.0,
                                    0.0};
static const struct data boxbod = {6,
                                   {1.0, 2.0, 3.0, 5.0, 7.0, 10.0},
                                   {109.0, 149.0, 149.0, 191.0, 213.0, 224.0},
                                   rise,
                                   {100.0, 0.75},
                                   LOSS_NORMAL,
                                   1.0,
                                   0.0};
/* A line with two outliers; the same with another loss. */
static const struct data spiked = {10,
                                   {0, 1, 2, 3, 4, 5, 6, 7, 8, 9},
                                   {1.05, 1.4, 2.2, 2.45, 6.0, 3.6, 3.85, 4.5, 2.5, 5.6},
                                   line,
                                   {0.0, 0.0},
                                   LOSS_HUBER,
                                   0.2,
                                   0.0};
static const struct data heavy = {10,
                                  {0, 1, 2, 3, 4, 5, 6, 7, 8, 9},
                                  {1.05, 1.4, 2.2, 2.45, 6.0, 3.6, 3.85, 4.5, 2.5, 5.6},
                                  line,
                                  {0.5, 0.6},
                                  LOSS_STUDENT,
                                  0.2,
                                  0.0};
/* Normal numbers written in steps of 2.5. */
static const double rounded[12] = {0, 0, 2.5, 0, 2.5, 2.5, 5, 0, 2.5, -2.5, 2.5, 0};

static bool residuals(void *context, const double *values, double *out) {
  const struct data *data = context;
  for (int k = 0; k < data->count; k++) {
    double off = data->curve(values, data->x[k]) - data->y[k];
    out[k] = copysign(sqrt(2.0 * loss_at(data->loss, off / data->scale, data->half).cost), off);
  }
  return true;
}

/* By central differences: nothing of the curves is known here but their values. */
static bool jacobian(void *context, const double *values, const bool *held, double *out) {
  const struct data *data = context;
  (void)held;
  for (int i = 0; i < 2; i++) {
    double up[DATA] = {0};
    double down[DATA] = {0};
    double moved[2] = {values[0], values[1]};
    double step = 1e-5 * fmax(fabs(values[i]), 1e-3 * fabs(data->begin[i]) + 1e-6);
    double size = data->begin[i] != 0.0 ? fabs(data->begin[i]) : 1.0;
    moved[i] = values[i] + step;
    residuals(context, moved, up);
    moved[i] = values[i] - step;
    residuals(context, moved, down);
    for (int k = 0; k < data->count; k++) {
      out[i * data->count + k] = (up[k] - down[k]) / (2.0 * step) * size;
    }
  }
  return true;
}

static bool never(void *context) {
  (void)context;
  return false;
}

struct solved {
  struct estimate_model model;
  struct estimate_point point;
  double low[2];
  double high[2];
  double size[2];
  double variance;      /* of the errors */
  double covariance[3]; /* over the sizes: 00, 01, 11 */
};

static bool solve(const struct data *data, struct solved *solved) {
  union {
    const struct data *from;
    void *to;
  } context = {data};
  for (int i = 0; i < 2; i++) {
    solved->low[i] = -1e6;
    solved->high[i] = 1e6;
    solved->size[i] = data->begin[i] != 0.0 ? fabs(data->begin[i]) : 1.0;
  }
  solved->model = (struct estimate_model){context.to,   2,         data->count, solved->low, solved->high,
                                          solved->size, residuals, jacobian,    never};
  bool good = estimate_point_new(&solved->model, &solved->point);
  solved->point.values[0] = data->begin[0];
  solved->point.values[1] = data->begin[1];
  for (int i = 0; good && i < 3; i++) { /* once more from where it ended: to the last digits */
    good = estimate_descend(&solved->model, &solved->point, NULL, false, 0.0);
  }
  double a = 0.0;
  double b = 0.0;
  double c = 0.0;
  for (int k = 0; good && k < data->count; k++) {
    double one = solved->point.jacobian[k];
    double other = solved->point.jacobian[data->count + k];
    a += one * one;
    b += one * other;
    c += other * other;
  }
  double whole = a * c - b * b;
  solved->variance = solved->point.sum / (data->count - 2);
  solved->covariance[0] = c / whole;
  solved->covariance[1] = -b / whole;
  solved->covariance[2] = a / whole;
  return good;
}

enum asked {
  FIRST,
  SECOND,
  FIRST_DEVIATION,
  SECOND_DEVIATION,
  SQUARES,
  FIRST_LOW,
  FIRST_HIGH,
  SECOND_LOW,
  SECOND_HIGH
};

/* An end of a 95 % interval by the profile. */
static double profile_end(struct solved *solved, int i, int side, double freedom) {
  double student = information_student(freedom);
  double own = solved->covariance[i == 0 ? 0 : 2];
  double moves[2] = {i == 0 ? 1.0 : solved->covariance[1] / own, i == 1 ? 1.0 : solved->covariance[1] / own};
  struct estimate_profile profile;
  bool good = estimate_profile_find(&solved->model, &solved->point, i, side, student * student * solved->variance,
                                    sqrt(own) * solved->size[i], moves, &profile);
  return good && !profile.open ? profile.end : NAN;
}

static double ask(const struct data *data, enum asked asked) {
  struct solved solved = {0};
  double answer = NAN;
  if (solve(data, &solved)) {
    double freedom = data->count - 2;
    switch (asked) {
    case FIRST:
    case SECOND:
      answer = solved.point.values[asked == SECOND];
      break;
    case FIRST_DEVIATION:
      answer = sqrt(solved.variance * solved.covariance[0]) * solved.size[0];
      break;
    case SECOND_DEVIATION:
      answer = sqrt(solved.variance * solved.covariance[2]) * solved.size[1];
      break;
    case SQUARES:
      answer = solved.point.sum;
      break;
    default:
      answer = profile_end(&solved, asked >= SECOND_LOW, asked == FIRST_LOW || asked == SECOND_LOW ? -1 : 1, freedom);
    }
  }
  estimate_point_free(&solved.point);
  return answer;
}

static double of_misra1a(double asked) {
  return ask(&misra1a, (enum asked)asked);
}

static double of_danwood(double asked) {
  return ask(&danwood, (enum asked)asked);
}

static double of_boxbod(double asked) {
  return ask(&boxbod, (enum asked)asked);
}

static double of_spiked(double asked) {
  return ask(&spiked, (enum asked)asked);
}

static double of_heavy(double asked) {
  return ask(&heavy, (enum asked)asked);
}

/* ---- scales, losses ---- */

static double rounded_scale(double unused) {
  double off[12];
  double worth;
  (void)unused;
  for (int k = 0; k < 12; k++) {
    off[k] = rounded[k] - 1.25;
  }
  return loss_scale(LOSS_NORMAL, off, 12, 2.5, 0.0, &worth);
}

static double rounded_level(double unused) {
  struct data data = {.count = 12, .curve = level, .begin = {0.3, 0.0}, .loss = LOSS_NORMAL};
  (void)unused;
  data.scale = 1.764987618616317;
  data.half = 1.25 / data.scale;
  memcpy(data.y, rounded, sizeof rounded);
  return ask(&data, FIRST);
}

/* Curvature of the cost of an interval at its middle. */
static double interval_curve(double half) {
  return loss_at(LOSS_NORMAL, 0.0, half).curve;
}

/* Cost of an interval of Student's, by the probability of it and of the middle one. */
static double student_cost(double deviation) {
  return loss_at(LOSS_STUDENT, deviation, 1.0).cost;
}

static double student_quantile(double freedom) {
  return information_student(freedom);
}

/* ---- a lag ---- */

/* What a sensor of 2 ms shows of a ramp of 1 a second from 1 ms on, at 5 ms; `step` between samples, s. */
static double lag_of_ramp(double step) {
  double time[LAGGED];
  double values[LAGGED];
  double lagged[LAGGED];
  int count = (int)lround(0.005 / step) + 1;
  for (int k = 0; k < count; k++) {
    time[k] = k * step;
    values[k] = fmax(time[k] - 0.001, 0.0);
  }
  sensor_lag(time, values, count, 0.002, lagged);
  return lagged[count - 1];
}

#define LAW "fitting"
#define MISRA "NIST StRD, Misra1a, certified"
#define WOOD "NIST StRD, DanWood, certified"
#define BOD "NIST StRD, BoxBOD, certified"
#define PROFILED "scipy 1.10.1: least_squares and brentq on F(1, 4)"

static const struct row rows[] = {
    {"F1.1", LAW, "Misra1a, b1", "", 238.94212918, 1e-7, RELATIVE, MISRA, FROM_MEMORY, of_misra1a, FIRST, NULL},
    {"F1.2", LAW, "Misra1a, b2", "", 5.5015643181e-4, 1e-7, RELATIVE, MISRA, FROM_MEMORY, of_misra1a, SECOND, NULL},
    {"F1.3", LAW, "Misra1a, standard deviation of b1", "", 2.7070075241, 1e-5, RELATIVE, MISRA, FROM_MEMORY, of_misra1a,
     FIRST_DEVIATION, NULL},
    {"F1.4", LAW, "Misra1a, standard deviation of b2", "", 7.2668688436e-6, 1e-5, RELATIVE, MISRA, FROM_MEMORY,
     of_misra1a, SECOND_DEVIATION, NULL},
    {"F1.5", LAW, "Misra1a, sum of squares", "", 0.12455138894, 1e-8, RELATIVE, MISRA, FROM_MEMORY, of_misra1a, SQUARES,
     NULL},
    {"F1.6", LAW, "DanWood, b1", "", 0.76886226176, 1e-7, RELATIVE, WOOD, FROM_MEMORY, of_danwood, FIRST, NULL},
    {"F1.7", LAW, "DanWood, standard deviation of b2", "", 0.051726610913, 1e-5, RELATIVE, WOOD, FROM_MEMORY,
     of_danwood, SECOND_DEVIATION, NULL},
    {"F1.8", LAW, "BoxBOD, b2", "", 0.54723748542, 1e-6, RELATIVE, BOD, FROM_MEMORY, of_boxbod, SECOND, NULL},
    {"F1.9", LAW, "BoxBOD, standard deviation of b1", "", 12.354515176, 1e-5, RELATIVE, BOD, FROM_MEMORY, of_boxbod,
     FIRST_DEVIATION, NULL},
    {"F2.1", LAW, "BoxBOD, 95 % interval of b1 by the profile, lower end", "", 180.967, 4e-3, RELATIVE, PROFILED,
     CLOSED_FORM, of_boxbod, FIRST_LOW, NULL},
    {"F2.2", LAW, "upper end", "", 258.568, 4e-3, RELATIVE, PROFILED, CLOSED_FORM, of_boxbod, FIRST_HIGH, NULL},
    {"F2.3", LAW, "BoxBOD, 95 % interval of b2 by the profile, lower end", "", 0.302590, 0.02, RELATIVE, PROFILED,
     CLOSED_FORM, of_boxbod, SECOND_LOW, NULL},
    {"F2.4", LAW, "upper end (the linear one ends at 0.838)", "", 1.073053, 0.02, RELATIVE, PROFILED, CLOSED_FORM,
     of_boxbod, SECOND_HIGH, NULL},
    {"F3.1", LAW, "a line with two outliers, Huber's loss, level", "", 1.08132122, 1e-6, RELATIVE,
     "scipy 1.10.1: least_squares, loss='huber', f_scale=1.345", CLOSED_FORM, of_spiked, FIRST, NULL},
    {"F3.2", LAW, "slope", "", 0.48483122, 1e-6, RELATIVE, "scipy 1.10.1: least_squares, loss='huber', f_scale=1.345",
     CLOSED_FORM, of_spiked, SECOND, NULL},
    {"F3.3", LAW, "the same by Student's loss of four degrees, level", "", 1.02795158, 1e-6, RELATIVE,
     "scipy 1.10.1: minimize over stats.t.logpdf", CLOSED_FORM, of_heavy, FIRST, NULL},
    {"F3.4", LAW, "slope", "", 0.49743502, 1e-6, RELATIVE, "scipy 1.10.1: minimize over stats.t.logpdf", CLOSED_FORM,
     of_heavy, SECOND, NULL},
    {"F4.1", LAW, "twelve numbers written in steps of 2.5: scale before the step", "", 1.7649876, 1e-5, RELATIVE,
     "scipy 1.10.1: minimize over differences of norm.cdf", CLOSED_FORM, rounded_scale, 0, NULL},
    {"F4.2", LAW, "their level", "", 1.25, 1e-4, RELATIVE, "by symmetry, and scipy 1.10.1 the same", CLOSED_FORM,
     rounded_level, 0, NULL},
    {"F4.3", LAW, "curvature of an interval as wide as two scales: 2 h phi(h) / (2 Phi(h) - 1), h = 1", "", 0.708876,
     1e-5, RELATIVE, "by hand from tables of the normal distribution", CLOSED_FORM, interval_curve, 1.0, NULL},
    {"F4.4", LAW, "a narrow one: 1 / (1 + h^2/3), the variance of rounding added, h = 0.1", "", 0.996678, 1e-5,
     RELATIVE, "W. F. Sheppard 1898: q^2/12", CLOSED_FORM, interval_curve, 0.1, NULL},
    {"F4.5", LAW, "Student's interval from 2 to 4 against that from -1 to 1: log(0.626099/0.049993)", "", 2.527621,
     1e-5, RELATIVE, "scipy 1.10.1: stats.t.cdf", CLOSED_FORM, student_cost, 3.0, NULL},
    {"F5.1", LAW, "Student's quantile, 95 % both sides, 5 degrees", "", 2.5706, 1e-3, RELATIVE, "any table of t",
     FROM_MEMORY, student_quantile, 5.0, NULL},
    {"F5.2", LAW, "10 degrees", "", 2.2281, 1e-4, RELATIVE, "any table of t", FROM_MEMORY, student_quantile, 10.0,
     NULL},
    {"F5.3", LAW, "30 degrees", "", 2.0423, 1e-4, RELATIVE, "any table of t", FROM_MEMORY, student_quantile, 30.0,
     NULL},
    {"F6.1", LAW, "a lag of 2 ms after 4 ms of a ramp: 4 ms - 2 ms (1 - exp(-2)), samples 0.1 ms apart", "",
     0.00227067057, 1e-8, RELATIVE, "first-order lag of a ramp", CLOSED_FORM, lag_of_ramp, 1e-4, NULL},
    {"F6.2", LAW, "samples 1 ms apart", "", 0.00227067057, 1e-8, RELATIVE, "first-order lag of a ramp", CLOSED_FORM,
     lag_of_ramp, 1e-3, NULL},
};

ROWS_MAIN(rows)
