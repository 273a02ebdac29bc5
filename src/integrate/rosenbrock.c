#include "rosenbrock.h"

#include <math.h>
#include <stdlib.h>

#include "aligned.h"
#include "elimination.h"
#include "plain_number.h"
#include "rodas4.h"

#include "rosenbrock_text.h"

_Static_assert(sizeof((struct rosenbrock_plain *)0)->stages / sizeof(double *) == RODAS4_STAGES,
               "an attempt has room for every stage");

int rosenbrock_evaluations(const struct sparsity *sparsity, bool time_dependent) {
  return differences_evaluations(sparsity, time_dependent) + RODAS4_STAGES;
}
