/* Can a parameter have an effect on a case, under the laws that the case chooses? */
#ifndef SWASHLOOP_CASE_EFFECT_H
#define SWASHLOOP_CASE_EFFECT_H

#include "case.h"
#include "registry.h"

/* False: it cannot, and `why` says what stands in the way: "relief.law is first_order, not poppet". */
bool case_acts(const struct case_data *data, struct parameter parameter, char *why, int size);

#endif
