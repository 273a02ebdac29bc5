/* The list of the methods that make steps: one row each, the first is taken unless a case says otherwise. A new one is
 * a file that defines `integrator_NAME` (integrator_method.h), a row here and a word in the choices of
 * simulation.method. */
#ifndef SWASHLOOP_INTEGRATE_INTEGRATORS_H
#define SWASHLOOP_INTEGRATE_INTEGRATORS_H

#include <stdbool.h>

#define INTEGRATORS(ROW)                                                                                               \
  ROW(bdf)                                                                                                             \
  ROW(rosenbrock)

struct integrator_method;

/* The method at a place of the list, which is that of its name among the choices of a case; NULL behind the last. */
const struct integrator_method *integrator_listed(int place);
const char *integrator_name(const struct integrator_method *method);
/* What it is, in words. */
const char *integrator_text(const struct integrator_method *method);
/* Can it make the steps of several systems side by side (side_by_side.h)? */
bool integrator_goes_side_by_side(const struct integrator_method *method);

#endif
