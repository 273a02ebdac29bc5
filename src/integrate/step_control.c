#include "step_control.h"

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

void step_control_begin(struct step_control *control, double largest) {
  *control = (struct step_control){.wanted = fmin(FIRST_WIDTH, largest), .largest = largest};
}

void step_control_jump(struct step_control *control) {
  control->last = 0.0;
  control->failed = false;
}

void step_control_aim(struct step_control *control, double t, double stop) {
  double left = stop - t;
  double width = fmin(control->wanted, control->largest);
  control->reaches = width * 1.0001 >= left;
  if (control->reaches) {
    width = left;
  } else if (2.0 * width > left) {
    width = 0.5 * left; /* two alike rather than a long and a stump */
  }
  control->width = width;
}

/* The classical rule, and the predictive one of K. Gustafsson (ACM Trans. Math. Softw. 20 (1994) 496), which sees the
 * error grow from step to step: the shorter of the two. */
bool step_control_judge(struct step_control *control, double error) {
  if (!(error < 1e9)) { /* no number, or nearly none */
    error = 1e9;
  }
  double small = fmax(error, 1e-10);
  double growth = grown(1.0 / fourth_root(small));
  bool good = error <= 1.0;
  if (good) {
    if (control->last > 0.0) {
      growth = fmin(growth, grown(control->width / control->last * fourth_root(control->last_error / (small * small))));
    }
    if (control->failed) {
      growth = fmin(growth, 1.0);
    }
    control->last = control->width;
    control->last_error = fmax(error, LEAST_ERROR);
  }
  double wanted = control->width * growth;
  /* A step that was cut short by the stop says that the wish may grow, never that it must shrink to the stump. */
  control->wanted = good && control->width < control->wanted ? fmax(control->wanted, wanted) : wanted;
  control->failed = !good;
  return good;
}
