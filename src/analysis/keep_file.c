#include <math.h>
#include <stdio.h>
#include <string.h>

#include "answer_file.h"
#include "keep.h"
#include "units.h"

static void put(struct answer_file *file, const char *name, enum quantity quantity, const char *text, double value,
                const char *reason) {
  struct answer_meaning meaning = {{name, quantity, REFERENCE_NONE, text}, NULL};
  answer_value(file, &meaning, value, reason);
}

/* The range that counts, of one judgement. */
static void put_range(struct answer_file *file, const char *prefix, enum quantity quantity,
                      const struct keep_ranges *ranges) {
  const struct keep_range *range = ranges->chosen >= 0 ? &ranges->at[ranges->chosen] : NULL;
  const char *none = "no value tried holds";
  char low[64];
  char high[64];
  char count[64];
  (void)snprintf(low, sizeof low, "%s_from", prefix);
  (void)snprintf(high, sizeof high, "%s_to", prefix);
  (void)snprintf(count, sizeof count, "%s_ranges", prefix);
  put(file, low, quantity, "smallest value of the range that holds", range != NULL ? range->low : NAN, none);
  put(file, high, quantity, "largest value of the range that holds", range != NULL ? range->high : NAN, none);
  put(file, count, QUANTITY_NUMBER, "ranges that hold, among the values tried", ranges->count, NULL);
  char open[64];
  (void)snprintf(open, sizeof open, "%s_ends", prefix);
  answer_words(file, open,
               range == NULL                         ? "none"
               : range->low_open && range->high_open ? "both as far as tried"
               : range->low_open                     ? "the lower as far as tried"
               : range->high_open                    ? "the upper as far as tried"
                                                     : "both found");
}

static void put_parameter(struct answer_file *file, const struct keep *keep, const struct keep_parameter *parameter) {
  double values[KEEP_TRIALS];
  double worst[KEEP_TRIALS];
  double kept[KEEP_TRIALS];
  double all_kept[KEEP_TRIALS];
  const char *why[KEEP_TRIALS];
  char name[64];
  enum quantity quantity = parameter->varied.ref.quantity;
  (void)snprintf(name, sizeof name, "%s", parameter->path);
  for (char *c = name; *c != '\0'; c++) {
    *c = *c == '.' ? '_' : *c;
  }
  for (int i = 0; i < parameter->count; i++) {
    values[i] = parameter->trials[i].value;
    worst[i] = parameter->trials[i].worst;
    kept[i] = parameter->trials[i].verdict == LIMIT_KEPT;
    all_kept[i] = kept[i] > 0.0 && parameter->trials[i].all_kept;
    why[i] = parameter->trials[i].why;
  }
  answer_group(file, name, "the limit over one number of the valve");
  answer_words(file, "path", parameter->path);
  struct answer_meaning axis = {{"value", quantity, REFERENCE_NONE, parameter->path}, NULL};
  struct answer_meaning columns[] = {
      {{"worst", keep->quantity, REFERENCE_NONE, "worst value of what the limit names"}, NULL},
      {{"kept", QUANTITY_NUMBER, REFERENCE_NONE, "1: the limit is kept"}, NULL},
      {{"all_kept", QUANTITY_NUMBER, REFERENCE_NONE, "1: so are the limits of the case"}, NULL}};
  answer_axis(file, &axis, parameter->count, values);
  answer_column(file, &columns[0], "value", parameter->count, worst);
  answer_column(file, &columns[1], "value", parameter->count, kept);
  answer_column(file, &columns[2], "value", parameter->count, all_kept);
  answer_texts(file, "worst_reason", "why there is none", "value", parameter->count, why);
  put(file, "as_is", quantity, "in the case", parameter->varied.value, NULL);
  put_range(file, "kept", quantity, &parameter->kept);
  put_range(file, "all_kept", quantity, &parameter->all_kept);
}

bool keep_write(const struct keep *keep, const struct case_data *data, const char *path, const char *command,
                struct error *error) {
  struct answer_file *file = answer_open(path, "keep", data->title, data->resolved, command, error);
  if (file == NULL) {
    return false;
  }
  const struct condition *condition = &keep->limit.keep;
  answer_words(file, "limit", keep->limit.text);
  answer_words(file, "limit_name", condition->name);
  answer_words(file, "limit_holds", condition->above ? "above" : "below");
  answer_group(file, "keep", "the limit as the case is");
  put(file, "level", keep->quantity, "of the limit", condition->level, NULL);
  put(file, "worst", keep->quantity, "worst value of what it names", keep->worst, "it is not judged");
  put(file, "margin", keep->quantity, "what is left to the level; less than zero: broken", keep->margin,
      "it is not judged");
  answer_group(file, "parts", "what the peak is made of");
  for (int i = 0; i < KEEP_PART_COUNT; i++) {
    put(file, keep_part_rows[i].name, QUANTITY_PRESSURE, keep_part_rows[i].text, keep->parts[i], keep->part_absent[i]);
  }
  answer_group(file, "what_if", "worst value with one thing changed");
  for (int i = 0; i < KEEP_WHAT_IF_COUNT; i++) {
    put(file, keep_what_if_names[i], keep->quantity, keep_what_if_texts[i], keep->what_ifs[i], keep->what_if_absent[i]);
  }
  for (int i = 0; i < keep->parameter_count; i++) {
    put_parameter(file, keep, &keep->parameters[i]);
  }
  return answer_close(file, error);
}
