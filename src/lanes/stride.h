/* How long the next step of one system is. It knows nothing but the errors of that system's own attempts. */
#ifndef SWASHLOOP_LANES_STRIDE_H
#define SWASHLOOP_LANES_STRIDE_H

#include <stdbool.h>

struct stride {
  double wish;       /* s: the length that the error asks for */
  double largest;    /* s: that the caller allows */
  double last;       /* length of the last good step, 0 after a restart */
  double last_error; /* of it */
  bool failed;       /* the last attempt did */
  double width;      /* of the present attempt */
  bool reaches;      /* it ends at the stop */
};

/* At the very start of a system. */
void stride_begin(struct stride *stride, double largest);
/* After its state or its rates have jumped. */
void stride_jump(struct stride *stride);
/* Length of an attempt from t that must not pass `stop`; into width and reaches. */
void stride_aim(struct stride *stride, double t, double stop);
/* The attempt's error: is it good? Sets the next wish. */
bool stride_judge(struct stride *stride, double error);

#endif
