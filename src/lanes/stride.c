#include "stride.h"

#include <math.h>

#define FIRST_WIDTH 1e-5
#define SAFETY 0.9
#define MOST_GROWTH 6.0
#define MOST_SHRINKING 0.2
#define LEAST_ERROR 0.01 /* below this the error of a step says nothing about the next */

static double grown(double ratio) {
  return fmin(MOST_GROWTH, fmax(MOST_SHRINKING, SAFETY * ratio));
}

/* The error goes by the fourth power of the step: one more than the embedded method's order. */
static double fourth_root(double x) {
  return sqrt(sqrt(x));
}

void stride_begin(struct stride *stride, double largest) {
  *stride = (struct stride){.wish = fmin(FIRST_WIDTH, largest), .largest = largest};
}

void stride_jump(struct stride *stride) {
  stride->last = 0.0;
  stride->failed = false;
}

void stride_aim(struct stride *stride, double t, double stop) {
  double left = stop - t;
  double width = fmin(stride->wish, stride->largest);
  stride->reaches = width * 1.0001 >= left;
  if (stride->reaches) {
    width = left;
  } else if (2.0 * width > left) {
    width = 0.5 * left; /* two alike rather than a long and a stump */
  }
  stride->width = width;
}

/* The classical rule, and the predictive one of K. Gustafsson (ACM Trans. Math. Softw. 20 (1994) 496), which sees the
 * error grow from step to step: the shorter of the two. */
bool stride_judge(struct stride *stride, double error) {
  if (!(error < 1e9)) { /* no number, or nearly none */
    error = 1e9;
  }
  double small = fmax(error, 1e-10);
  double growth = grown(1.0 / fourth_root(small));
  bool good = error <= 1.0;
  if (good) {
    if (stride->last > 0.0) {
      growth = fmin(growth, grown(stride->width / stride->last * fourth_root(stride->last_error / (small * small))));
    }
    if (stride->failed) {
      growth = fmin(growth, 1.0);
    }
    stride->last = stride->width;
    stride->last_error = fmax(error, LEAST_ERROR);
  }
  double wish = stride->width * growth;
  /* A step that was cut short by the stop says that the wish may grow, never that it must shrink to the stump. */
  stride->wish = good && stride->width < stride->wish ? fmax(stride->wish, wish) : wish;
  stride->failed = !good;
  return good;
}
