#include "integrators.h"

#include "integrator_method.h"

#define DECLARE(name) extern const struct integrator_method integrator_##name;
INTEGRATORS(DECLARE)

#define PLACE(name) &integrator_##name,
static const struct integrator_method *const list[] = {INTEGRATORS(PLACE)};

const struct integrator_method *integrator_listed(int place) {
  return place >= 0 && place < (int)(sizeof list / sizeof list[0]) ? list[place] : NULL;
}

const char *integrator_name(const struct integrator_method *method) {
  return method->name;
}

const char *integrator_text(const struct integrator_method *method) {
  return method->text;
}

bool integrator_goes_side_by_side(const struct integrator_method *method) {
  return method->side_by_side != NULL;
}
