#include "limit_margin.h"

#include <math.h>

#include "measures.h"
#include "plant.h"

enum quantity condition_quantity(const struct case_data *data, const struct condition *condition) {
  if (condition->signal >= 0) {
    return data->plant->signals[condition->signal].quantity;
  }
  return condition->signal == CONDITION_MEASURE ? measure_rows[condition->measure].quantity : QUANTITY_TIME;
}

enum reference condition_reference(const struct case_data *data, const struct condition *condition) {
  if (condition->signal >= 0) {
    return data->plant->signals[condition->signal].reference;
  }
  return condition->signal == CONDITION_MEASURE ? measure_rows[condition->measure].reference : REFERENCE_NONE;
}

double limit_margin(const struct case_data *data, const struct limit *limit, double worst) {
  const struct condition *keep = &limit->keep;
  double zero = quantity_rows[condition_quantity(data, keep)].offset;
  double size = fabs(keep->level - zero);
  double left = keep->above ? worst - keep->level : keep->level - worst;
  return left / (size > 0.0 ? size : 1.0);
}
