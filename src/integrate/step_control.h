/* How long the next step of one system is. It knows nothing but the errors of that system's own attempts. */
#ifndef SWASHLOOP_INTEGRATE_STEP_CONTROL_H
#define SWASHLOOP_INTEGRATE_STEP_CONTROL_H

#include <stdbool.h>

struct step_control {
  double wanted;     /* s: the length that the error asks for */
  double largest;    /* s: that the caller allows */
  double last;       /* length of the last good step, 0 after a restart */
  double last_error; /* of it */
  bool failed;       /* the last attempt did */
  double width;      /* of the present attempt */
  bool reaches;      /* it ends at the stop */
};

/* At the very start of a system. */
void step_control_begin(struct step_control *control, double largest);
/* After its state or its rates have jumped. */
void step_control_jump(struct step_control *control);
/* Length of an attempt from t that must not pass `stop`; into width and reaches. */
void step_control_aim(struct step_control *control, double t, double stop);
/* Is an attempt with this error good? Sets `wanted` for the next. */
bool step_control_judge(struct step_control *control, double error);

#endif
