#include "axis_label.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "axis.h"

/* A copy with spaces for underscores and full stops. */
static void in_words(char *label, size_t size, const char *path, size_t length) {
  size_t i = 0;
  for (; i < length && i + 1 < size; i++) {
    label[i] = path[i] == '_' || path[i] == '.' ? ' ' : path[i];
  }
  label[i] = '\0';
}

static int points_of(const struct case_data *data, const struct parameter_ref *ref) {
  const void *base = ref->of_run ? (const void *)&data->simulation : data->parameters;
  const struct profile *table = registry_member_const(base, ref->parameter);
  return table->count;
}

static void label_action(const struct case_data *data, const struct parameter_ref *ref, char *label) {
  static const char *const parts[] = {[REF_TO] = "moved to", [REF_OVER] = "ramp", [REF_WHEN] = "moved when"};
  const struct action *action = &data->actions[ref->index];
  bool several = false;
  for (int i = 0; i < data->action_count; i++) {
    several = several || (i != ref->index && data->actions[i].channel == action->channel);
  }
  const char *channel = data->plant->channels[action->channel];
  in_words(label, AXIS_LABEL_SIZE, channel, strlen(channel));
  size_t used = strlen(label);
  (void)snprintf(label + used, AXIS_LABEL_SIZE - used, " %s", parts[ref->kind]);
  if (ref->kind == REF_WHEN) {
    used = strlen(label);
    (void)snprintf(label + used, AXIS_LABEL_SIZE - used, " %.60s", action->when.name);
    in_words(label + used, AXIS_LABEL_SIZE - used, label + used, strlen(label + used));
  }
  if (several) {
    used = strlen(label);
    (void)snprintf(label + used, AXIS_LABEL_SIZE - used, " (action %d)", ref->index + 1);
  }
}

const char *axis_label(const struct case_data *data, const char *path, const struct parameter_ref *ref,
                       char label[AXIS_LABEL_SIZE]) {
  const char *bracket = strchr(path, '[');
  in_words(label, AXIS_LABEL_SIZE, path, bracket ? (size_t)(bracket - path) : strlen(path));
  size_t used = strlen(label);
  char *rest = label + used;
  size_t room = AXIS_LABEL_SIZE - used;
  switch (ref->kind) {
  case REF_VALUE:
    if (points_of(data, ref) > 1) {
      (void)snprintf(rest, room, " at point %d", ref->index + 1);
    }
    break;
  case REF_ARGUMENT:
    (void)snprintf(rest, room, ": place of point %d", ref->index + 1);
    break;
  case REF_CELL:
    (void)snprintf(rest, room, ": %.40s of row %d", strrchr(path, '.') + 1, ref->index + 1);
    break;
  case REF_TO:
  case REF_OVER:
  case REF_WHEN:
    label_action(data, ref, label);
    break;
  default:
    break;
  }
  return label;
}

/* Do listed values grow in proportion, over a factor of four at least? */
static bool grows_in_proportion(const double *values, long count) {
  if (count < 3 || !(values[0] > 0.0) || !(values[count - 1] >= 4.0 * values[0])) {
    return false;
  }
  double ratio = values[1] / values[0];
  for (long i = 2; i < count; i++) {
    if (!(fabs(values[i] / values[i - 1] / ratio - 1.0) < 0.02)) {
      return false;
    }
  }
  return ratio > 1.0;
}

bool axis_is_logarithmic(const struct axis *axis) {
  switch (axis->kind) {
  case AXIS_LIST:
    return grows_in_proportion(axis->values, axis->count);
  case AXIS_RANGE:
    return axis->logarithmic;
  case AXIS_DISTRIBUTION:
    return axis->distribution == DISTRIBUTION_LOG_UNIFORM || axis->distribution == DISTRIBUTION_LOG_NORMAL;
  default:
    return false;
  }
}
