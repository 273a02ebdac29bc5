/* What a quadrature holds. Private to the files of quadratures. */
#ifndef SWASHLOOP_INTEGRATE_QUADRATURE_MEMORY_H
#define SWASHLOOP_INTEGRATE_QUADRATURE_MEMORY_H

#include "quadrature.h"

enum {
  DEEPEST = 12, /* halvings */
  POINTS = 5,   /* start and middle of the step before, start, middle and end of this one */
  KEPT = 5      /* other rows */
};

struct quadrature {
  int count;
  double relative;
  double absolute;
  double start; /* of the last step */
  double end;
  bool finished;     /* the last step is integrated */
  bool start_known;  /* rows[2] holds the powers at its start */
  bool before_known; /* rows[0] and rows[1] those at start and middle of the step before */
  double before_start;
  double *rows[POINTS]; /* powers */
  double *at_start;     /* integrals */
  double *at_end;
  double *aside[2]; /* powers at middle and end of a part of the step */
  double part_end;  /* of the part last asked for, NaN before; its integrals are kept, for the powers may have changed
                       since */
  double *at_part;
  double *quarters; /* [DEEPEST][2][count]: powers within halved pieces */
  double *memory;
};

#endif
