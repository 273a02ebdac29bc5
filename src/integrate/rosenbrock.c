#include "rosenbrock.h"

#include <math.h>
#include <stdlib.h>

#include "aligned.h"
#include "elimination.h"
#include "plain_number.h"
#include "rodas4.h"

#include "rosenbrock_text.h"

int rosenbrock_evaluations(const struct sparsity *sparsity, bool time_dependent) {
  return differences_evaluations(sparsity, time_dependent) + RODAS4_STAGES;
}
