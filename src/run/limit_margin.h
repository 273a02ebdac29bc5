/* How much of a limit is left. */
#ifndef SWASHLOOP_RUN_LIMIT_MARGIN_H
#define SWASHLOOP_RUN_LIMIT_MARGIN_H

#include "case.h"
#include "quantity.h"

/* What a condition names is told in this quantity and, for pressures, by this reference. */
enum quantity condition_quantity(const struct case_data *data, const struct condition *condition);
enum reference condition_reference(const struct case_data *data, const struct condition *condition);
/* What is left of the limit when the worst value is `worst`, as a share of the limit's level; less than 0: broken by so
 * much. Temperatures count from 0 degC, as they are read; a level of 0 counts as 1 of the SI unit. NaN for NaN. */
double limit_margin(const struct case_data *data, const struct limit *limit, double worst);

#endif
