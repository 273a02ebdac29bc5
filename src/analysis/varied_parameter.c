#include "varied_parameter.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "units.h"

#define USUAL_SHARE 0.1
#define USUAL_TIME 0.1     /* s, of a point of a table or a time that an action waits for */
#define USUAL_LENGTH 1.0   /* m */
#define USUAL_WARMING 10.0 /* K */

static void set_change(struct varied_parameter *varied, double change, const char *words) {
  varied->change = change;
  varied->size = 10.0 * change;
  (void)snprintf(varied->change_words, sizeof varied->change_words, "%s", words);
}

/* What a share of the value means nothing for: points in time and place, temperatures, what stands at zero. */
static void find_change(struct varied_parameter *varied) {
  enum quantity quantity = varied->ref.quantity;
  bool place = varied->ref.kind == REF_ARGUMENT || varied->ref.kind == REF_WHEN;
  if (quantity == QUANTITY_TEMPERATURE) {
    set_change(varied, USUAL_WARMING, "10 K");
  } else if (place && quantity == QUANTITY_TIME) {
    set_change(varied, USUAL_TIME, "0.1 s");
  } else if (place && quantity == QUANTITY_LENGTH) {
    set_change(varied, USUAL_LENGTH, "1 m");
  } else if (varied->value > 0.0) {
    set_change(varied, USUAL_SHARE * varied->value, "10 %");
  } else if (varied->value < 0.0) { /* "10 % more" of a downgrade would be read both ways */
    char words[48];
    double change = -USUAL_SHARE * varied->value;
    units_show(quantity, change, words, sizeof words);
    set_change(varied, change, words);
  } else {
    /* One unit of the trade is what one would try. */
    char words[48];
    double change = quantity_rows[quantity].scale;
    bool plain = quantity == QUANTITY_NUMBER;
    (void)snprintf(words, sizeof words, "1%s%s", plain ? "" : " ", plain ? "" : quantity_rows[quantity].trade_unit);
    set_change(varied, change, words);
  }
}

static bool find_one(const struct case_data *data, const char *path, struct parameter_ref *ref, struct error *error) {
  struct error reason = {0};
  if (!parameter_ref_find(data, path, ref, &reason)) {
    return error_set(error, ERROR_USAGE, "%s", reason.text);
  }
  if (ref->choices != NULL) {
    return error_set(error, ERROR_USAGE,
                     "%s is a choice (%s): nothing lies between its values; compare runs with --set", path,
                     ref->choices);
  }
  return !ref->of_run || error_set(error, ERROR_USAGE, "%s is a setting of the run, no number of the machine", path);
}

bool varied_parameter_find(const struct case_data *data, const char *path, struct varied_parameter *varied,
                           struct error *error) {
  memset(varied, 0, sizeof *varied);
  varied->path = path;
  int count = 0;
  for (const char *part = path; part != NULL && *part != '\0'; count++) {
    char name[256];
    size_t length = strcspn(part, "+");
    if (length >= sizeof name || count == VARIED_TOGETHER) {
      return error_set(error, ERROR_USAGE, "'%.60s': at most %d numbers move together", path, VARIED_TOGETHER);
    }
    memcpy(name, part, length);
    name[length] = '\0';
    struct parameter_ref *ref = count == 0 ? &varied->ref : &varied->others[varied->other_count++];
    if (!find_one(data, name, ref, error)) {
      return false;
    }
    double value = parameter_ref_get(data, ref);
    if (count > 0 && (value != varied->value || ref->quantity != varied->ref.quantity)) {
      return error_set(error, ERROR_USAGE, "%s: what moves together must have one value", path);
    }
    varied->value = value;
    part = part[length] == '+' ? part + length + 1 : NULL;
  }
  find_change(varied);
  return true;
}

void varied_parameter_write(struct case_data *copy, const struct varied_parameter *varied, double si) {
  parameter_ref_set(copy, &varied->ref, si);
  for (int i = 0; i < varied->other_count; i++) {
    parameter_ref_set(copy, &varied->others[i], si);
  }
}

bool varied_parameter_put(const struct case_data *data, const struct varied_parameter *varied, double si,
                          struct case_data *copy, struct error *error) {
  if (!(si >= varied->ref.low && si <= varied->ref.high)) {
    char shown[64];
    char low[64];
    char high[64];
    return error_set(error, ERROR_USAGE, "%s: %s is outside its bounds %s to %s", varied->path,
                     units_show(varied->ref.quantity, si, shown, sizeof shown),
                     units_show(varied->ref.quantity, varied->ref.low, low, sizeof low),
                     units_show(varied->ref.quantity, varied->ref.high, high, sizeof high));
  }
  if (!case_copy(data, copy, error)) {
    return false;
  }
  varied_parameter_write(copy, varied, si);
  const char *disorder = parameter_ref_disorder(copy, &varied->ref);
  if (disorder != NULL) {
    case_free(copy);
    return error_set(error, ERROR_USAGE, "%s: %s", varied->path, disorder);
  }
  return true;
}
