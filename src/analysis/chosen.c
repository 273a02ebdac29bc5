#include "chosen.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "units.h"

#define USUAL_SHARE 0.1
#define USUAL_TIME 0.1     /* s, of a point of a table or a time that an action waits for */
#define USUAL_LENGTH 1.0   /* m */
#define USUAL_WARMING 10.0 /* K */

static void set_change(struct chosen *chosen, double change, const char *words) {
  chosen->change = change;
  chosen->size = 10.0 * change;
  (void)snprintf(chosen->change_words, sizeof chosen->change_words, "%s", words);
}

/* What a share of the value means nothing for: points in time and place, temperatures, what stands at zero. */
static void find_change(struct chosen *chosen) {
  enum quantity quantity = chosen->slot.quantity;
  bool place = chosen->slot.kind == SLOT_ARGUMENT || chosen->slot.kind == SLOT_WHEN;
  if (quantity == QUANTITY_TEMPERATURE) {
    set_change(chosen, USUAL_WARMING, "10 K");
  } else if (place && quantity == QUANTITY_TIME) {
    set_change(chosen, USUAL_TIME, "0.1 s");
  } else if (place && quantity == QUANTITY_LENGTH) {
    set_change(chosen, USUAL_LENGTH, "1 m");
  } else if (chosen->value > 0.0) {
    set_change(chosen, USUAL_SHARE * chosen->value, "10 %");
  } else if (chosen->value < 0.0) { /* "10 % more" of a downgrade would be read both ways */
    char words[48];
    double change = -USUAL_SHARE * chosen->value;
    units_show(quantity, change, words, sizeof words);
    set_change(chosen, change, words);
  } else {
    /* One unit of the trade is what one would try. */
    char words[48];
    double change = quantity_rows[quantity].scale;
    (void)snprintf(words, sizeof words, "1 %s", quantity_rows[quantity].trade_unit);
    set_change(chosen, change, words);
  }
}

static bool find_one(const struct case_data *data, const char *path, struct slot *slot, struct error *error) {
  struct error reason = {0};
  if (!slot_find(data, path, slot, &reason)) {
    return error_set(error, ERROR_USAGE, "%s", reason.text);
  }
  if (slot->choices != NULL) {
    return error_set(error, ERROR_USAGE,
                     "%s is a choice (%s): nothing lies between its values; compare runs with --set", path,
                     slot->choices);
  }
  return !slot->of_run || error_set(error, ERROR_USAGE, "%s is a setting of the run, no number of the machine", path);
}

bool chosen_find(const struct case_data *data, const char *path, struct chosen *chosen, struct error *error) {
  memset(chosen, 0, sizeof *chosen);
  chosen->path = path;
  int count = 0;
  for (const char *part = path; part != NULL && *part != '\0'; count++) {
    char name[256];
    size_t length = strcspn(part, "+");
    if (length >= sizeof name || count == CHOSEN_TOGETHER) {
      return error_set(error, ERROR_USAGE, "'%.60s': at most %d numbers move together", path, CHOSEN_TOGETHER);
    }
    memcpy(name, part, length);
    name[length] = '\0';
    struct slot *slot = count == 0 ? &chosen->slot : &chosen->others[chosen->other_count++];
    if (!find_one(data, name, slot, error)) {
      return false;
    }
    double value = slot_get(data, slot);
    if (count > 0 && (value != chosen->value || slot->quantity != chosen->slot.quantity)) {
      return error_set(error, ERROR_USAGE, "%s: what moves together must have one value", path);
    }
    chosen->value = value;
    part = part[length] == '+' ? part + length + 1 : NULL;
  }
  find_change(chosen);
  return true;
}

void chosen_write(struct case_data *copy, const struct chosen *chosen, double si) {
  slot_set(copy, &chosen->slot, si);
  for (int i = 0; i < chosen->other_count; i++) {
    slot_set(copy, &chosen->others[i], si);
  }
}

bool chosen_put(const struct case_data *data, const struct chosen *chosen, double si, struct case_data *copy,
                struct error *error) {
  if (!(si >= chosen->slot.low && si <= chosen->slot.high)) {
    char shown[64];
    char low[64];
    char high[64];
    return error_set(error, ERROR_USAGE, "%s: %s is outside its bounds %s to %s", chosen->path,
                     units_show(chosen->slot.quantity, si, shown, sizeof shown),
                     units_show(chosen->slot.quantity, chosen->slot.low, low, sizeof low),
                     units_show(chosen->slot.quantity, chosen->slot.high, high, sizeof high));
  }
  if (!case_copy(data, copy, error)) {
    return false;
  }
  chosen_write(copy, chosen, si);
  const char *disorder = slot_disorder(copy, &chosen->slot);
  if (disorder != NULL) {
    case_free(copy);
    return error_set(error, ERROR_USAGE, "%s: %s", chosen->path, disorder);
  }
  return true;
}
