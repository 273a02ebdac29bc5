/* The parameters of one component at their defaults, as the registry sets them: DEFAULTS(pump, pump). */
#ifndef SWASHLOOP_TESTS_COMPONENT_H
#define SWASHLOOP_TESTS_COMPONENT_H

#include <string.h>

#include "registry.h"

#define DEFAULTS(component, variable)                                                                                  \
  struct component##_parameters variable;                                                                              \
  memset(&(variable), 0, sizeof(variable));                                                                            \
  const struct group variable##_group = {                                                                              \
      .name = #component, .fields = component##_fields, .field_count = FIELD_COUNT(component##_fields), .text = ""};   \
  registry_defaults(&variable##_group, 1, &(variable))

#endif
