#include "plan.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw.h"
#include "indices.h"
#include "near_file.h"

/* ---- reading ---- */

static void hash_text(uint64_t *hash, const char *text) {
  *hash = draw_hash(*hash, text, strlen(text) + 1);
}

static void hash_number(uint64_t *hash, double number) {
  *hash = draw_hash(*hash, &number, sizeof number);
}

static void hash_count(uint64_t *hash, int64_t count) {
  *hash = draw_hash(*hash, &count, sizeof count);
}

static void hash_axis(uint64_t *hash, const struct axis *axis) {
  for (int i = 0; i < axis->ref_count; i++) {
    hash_text(hash, axis->paths[i]);
  }
  hash_count(hash, (int64_t)axis->kind);
  hash_count(hash, axis->count);
  for (long i = 0; axis->kind == AXIS_LIST && i < axis->count; i++) {
    hash_number(hash, axis->values[i]);
  }
  const double numbers[] = {axis->from, axis->to, axis->centre, axis->width, axis->low, axis->high};
  *hash = draw_hash(*hash, numbers, sizeof numbers);
  hash_count(hash, axis->logarithmic);
  hash_count(hash, (int64_t)axis->distribution);
}

static void hash_setting(uint64_t *hash, const struct setting *setting) {
  hash_text(hash, setting->name ? setting->name : "");
  hash_count(hash, setting->count);
  for (int i = 0; i < setting->count; i++) {
    const struct parameter_ref *ref = &setting->refs[i];
    hash_count(hash, (int64_t)ref->kind);
    hash_count(hash, ref->index);
    hash_text(hash, ref->parameter.group ? ref->parameter.group->name : "");
    hash_text(hash, ref->parameter.field ? ref->parameter.field->name : "");
    hash_number(hash, setting->values[i]);
  }
}

/* All that decides about the table and the kept files; not where the files lie or how they are laid out. */
uint64_t plan_fingerprint(const struct plan *plan) {
  uint64_t hash = DRAW_HASH_START;
  hash_text(&hash, plan->base.resolved);
  hash_count(&hash, (int64_t)plan->arrangement);
  hash_count(&hash, plan->samples);
  if (plan->arrangement == ARRANGE_LATIN_HYPERCUBE && plan->first_samples != plan->samples) {
    hash_count(&hash, plan->first_samples);
  }
  hash_count(&hash, (int64_t)plan->seed);
  hash_count(&hash, plan->scramble);
  for (int i = 0; i < plan->axis_count; i++) {
    hash_axis(&hash, &plan->axes[i]);
  }
  for (int i = 0; i < plan->setting_count; i++) {
    hash_setting(&hash, &plan->settings[i]);
  }
  for (int i = 0; i < plan->cell_count; i++) {
    hash_text(&hash, plan->cells[i].case_name);
    hash_text(&hash, plan->cells[i].condition);
    hash_text(&hash, plan->cells[i].data.resolved);
  }
  if (plan->points) {
    hash = draw_hash(hash, plan->points, (size_t)plan->samples * (size_t)plan->axis_count * sizeof(double));
  }
  if (plan->case_budget > 0.0) {
    hash_number(&hash, plan->case_budget);
  }
  for (int i = 0; i < plan->measure_count; i++) {
    hash_text(&hash, measure_rows[plan->measures[i]].name);
  }
  const struct keep *keep = &plan->keep;
  hash_count(&hash, keep->all * 2 + keep->failed);
  if (keep->case_count > 0) {
    hash = draw_hash(hash, keep->cases, (size_t)keep->case_count * sizeof *keep->cases);
  }
  for (int i = 0; i < keep->condition_count; i++) {
    hash_text(&hash, keep->conditions[i].name);
    hash_count(&hash, keep->conditions[i].above);
    hash_number(&hash, keep->conditions[i].level);
  }
  return hash;
}

/* The resolved text without its title, its first line, and its limits, which stand last. */
uint64_t plan_base_fingerprint(const struct plan *plan) {
  static const char limits[] = "\nlimits:";
  const char *text = strchr(plan->base.resolved, '\n');
  text = text != NULL ? text : plan->base.resolved;
  const char *end = text + strlen(text);
  for (const char *at = strstr(text, limits); at != NULL; at = strstr(at + 1, limits)) {
    end = at;
  }
  return draw_hash(DRAW_HASH_START, text, (size_t)(end - text));
}

uint64_t plan_varied_fingerprint(const struct plan *plan) {
  uint64_t hash = DRAW_HASH_START;
  for (int i = 0; i < plan->axis_count; i++) {
    for (int p = 0; p < plan->axes[i].ref_count; p++) {
      hash_text(&hash, plan->axes[i].paths[p]);
    }
    hash_count(&hash, i);
  }
  for (int i = 0; i < plan->setting_count; i++) {
    hash_setting(&hash, &plan->settings[i]);
  }
  return hash;
}

/* The study is one of the files that its cases are made of. */
static bool note_study(struct plan *plan, const struct input_file *study, struct error *error) {
  struct input_file *file = arena_take(plan->memory, sizeof *file);
  if (!file) {
    return error_set(error, ERROR_MEMORY, "no memory for the study");
  }
  *file = *study;
  file->next = plan->base.inputs;
  plan->base.inputs = file;
  return true;
}

bool plan_load(const char *path, const struct carried_files *carried, struct plan *plan, struct error *error) {
  struct plan fresh = {.memory = arena_open()};
  if (!fresh.memory) {
    return error_set(error, ERROR_MEMORY, "no memory for the study");
  }
  size_t length = 0;
  const char *why = "";
  fresh.source = arena_text(fresh.memory, path, strlen(path));
  const struct input_file *study = NULL;
  char *text = reader_file(fresh.memory, carried, path, READER_FILE_LIMIT, &study, &length, &why);
  char near[NEAR_FILE_WORDS];
  bool good = fresh.source &&
              (text || error_at(error, path, 0, 0, "cannot be read: %s%s", why, near_file(path, near))) &&
              study_read(&fresh, carried, text, length, error) && note_study(&fresh, study, error);
  if (!good) {
    case_hide_outside(path, error);
    plan_free(&fresh);
    return false;
  }
  fresh.fingerprint = plan_fingerprint(&fresh);
  *plan = fresh;
  return true;
}

void plan_free(struct plan *plan) {
  if (plan->base.memory) {
    case_free(&plan->base);
  }
  for (int i = 0; i < plan->cell_count; i++) {
    case_free(&plan->cells[i].data);
  }
  arena_close(plan->memory);
  *plan = (struct plan){0};
}

/* ---- case k ---- */

static int64_t sample_of(const struct plan *plan, int64_t k) {
  return plan->setting_count > 0 ? k / plan->setting_count : k / plan_base_count(plan);
}

int plan_base_count(const struct plan *plan) {
  return plan->cell_count > 0 ? plan->cell_count : 1;
}

int plan_base(const struct plan *plan, int64_t k) {
  return (int)(plan->cell_count > 0 ? k % plan->cell_count : 0);
}

const struct case_data *plan_base_case(const struct plan *plan, int base) {
  return plan->cell_count > 0 ? &plan->cells[base].data : &plan->base;
}

int plan_limit_count(const struct plan *plan) {
  int most = 0;
  for (int i = 0; i < plan_base_count(plan); i++) {
    int count = plan_base_case(plan, i)->limit_count;
    most = count > most ? count : most;
  }
  return most;
}

int plan_setting(const struct plan *plan, int64_t k) {
  return plan->setting_count > 0 ? (int)(k % plan->setting_count) : -1;
}

static int64_t grid_index(const struct plan *plan, int64_t sample, int axis) {
  for (int i = plan->axis_count - 1; i > axis; i--) {
    sample /= plan->axes[i].count;
  }
  return sample % plan->axes[axis].count;
}

double plan_value(const struct plan *plan, int64_t k, int axis) {
  int64_t sample = sample_of(plan, k);
  const struct axis *a = &plan->axes[axis];
  uint64_t stream = (uint64_t)axis;
  switch (plan->arrangement) {
  case ARRANGE_GRID:
    return axis_at(a, (long)grid_index(plan, sample, axis));
  case ARRANGE_TOGETHER:
    return axis_at(a, (long)sample);
  case ARRANGE_LATIN_HYPERCUBE:
    return axis_of_share(a, draw_latin(plan->seed, stream, (uint64_t)plan->first_samples, (uint64_t)sample));
  case ARRANGE_SOBOL: {
    uint32_t bits =
        plan->scramble ? draw_sobol_scrambled(plan->seed, axis, (uint32_t)sample) : draw_sobol(axis, (uint32_t)sample);
    return axis_of_share(a, draw_share_of_bits(bits));
  }
  case ARRANGE_RANDOM:
    return axis_of_share(a, draw_share(plan->seed, stream, (uint64_t)sample));
  case ARRANGE_SALTELLI: {
    /* Matrix A has the first half of the dimensions, B the second. */
    int dimension = indices_from_b((long)sample, plan->axis_count, axis) ? plan->axis_count + axis : axis;
    uint32_t point = (uint32_t)indices_group((long)sample, plan->axis_count);
    return axis_of_share(a, draw_share_of_bits(draw_sobol_scrambled(plan->seed, dimension, point)));
  }
  default:
    return plan->points[sample * plan->axis_count + axis];
  }
}

static void put_setting(struct case_data *own, const struct setting *setting) {
  for (int i = 0; i < setting->count; i++) {
    parameter_ref_set(own, &setting->refs[i], setting->values[i]);
  }
}

bool plan_put(const struct plan *plan, int64_t k, struct case_data *own, struct error *error) {
  if (plan->setting_count > 0) {
    put_setting(own, &plan->unset);
    put_setting(own, &plan->settings[plan_setting(plan, k)]);
  }
  for (int a = 0; a < plan->axis_count; a++) {
    double value = plan_value(plan, k, a);
    for (int i = 0; i < plan->axes[a].ref_count; i++) {
      const struct parameter_ref *ref = &plan->axes[a].refs[i];
      bool as_is = isnan(value); /* no table has that: a search that leaves the case what it has */
      parameter_ref_set(own, ref, as_is ? parameter_ref_get(plan_base_case(plan, plan_base(plan, k)), ref) : value);
    }
  }
  for (int a = 0; a < plan->axis_count; a++) {
    for (int i = 0; i < plan->axes[a].ref_count; i++) {
      const char *disorder = parameter_ref_disorder(own, &plan->axes[a].refs[i]);
      if (disorder) {
        return error_set(error, ERROR_INPUT, "%s: %s", plan->axes[a].paths[i], disorder);
      }
    }
  }
  return true;
}

bool plan_case(const struct plan *plan, int64_t k, struct case_data *data, struct error *error) {
  char title[512];
  if (!case_copy(plan_base_case(plan, plan_base(plan, k)), data, error)) {
    return false;
  }
  if (plan->cell_count > 0 && plan->axis_count == 0) {
    return true; /* it has a title of its own */
  }
  int setting = plan_setting(plan, k);
  (void)snprintf(title, sizeof title, "%.300s, case %" PRId64 "%s%.100s", plan->title, k, setting >= 0 ? ", " : "",
                 setting >= 0 ? plan->settings[setting].name : "");
  if (!plan_put(plan, k, data, error) || !case_rename(data, title, error)) {
    case_free(data);
    return false;
  }
  return true;
}

bool plan_keeps(const struct plan *plan, int64_t k) {
  const struct keep *keep = &plan->keep;
  int low = 0;
  int high = keep->case_count;
  while (low < high) {
    int middle = (low + high) / 2;
    if (keep->cases[middle] < k) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return keep->all || (low < keep->case_count && keep->cases[low] == k);
}

void plan_describe(const struct plan *plan, int64_t k, char *buffer, int size) {
  int used = 0;
  buffer[0] = '\0';
  int setting = plan_setting(plan, k);
  if (setting >= 0) {
    used = snprintf(buffer, (size_t)size, "%s", plan->settings[setting].name);
  }
  if (plan->cell_count > 0) {
    const struct review_cell *cell = &plan->cells[plan_base(plan, k)];
    used = snprintf(buffer, (size_t)size, "%s, %s", cell->case_name, cell->condition);
  }
  for (int a = 0; a < plan->axis_count && used < size; a++) {
    char value[96];
    parameter_ref_show(&plan->axes[a].refs[0], plan_value(plan, k, a), value, sizeof value);
    used += snprintf(buffer + used, (size_t)(size - used), "%s%s %s", used > 0 ? ", " : "", plan->axes[a].path, value);
  }
}
