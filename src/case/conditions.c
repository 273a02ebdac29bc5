/* The sentences of a case: what the operator does when, and what must hold. */
#include "loader.h"

#include <stdio.h>
#include <string.h>

#include "text.h"
#include "units.h"

enum { SENTENCE_LIMIT = 2 * CASE_NAME_LIMIT };

/* Characters of a sentence from `offset` on fail with this text. */
#define FAIL_IN(loader, node, offset, ...)                                                                             \
  error_at((loader)->error, (node)->file, (node)->line, node_column(node, (int)(offset)), __VA_ARGS__)

/* --- Names that a sentence may start with ---------------------------------------------------------------------------
 */

enum speaker { SPEAKER_ACTION, SPEAKER_LIMIT };

struct names {
  const struct plant *plant;
  enum speaker speaker;
};

static const char *name_at(const void *context, int index) {
  const struct names *names = context;
  if (index < names->plant->signal_count) {
    return names->plant->signals[index].name;
  }
  return names->speaker == SPEAKER_LIMIT ? measure_rows[index - names->plant->signal_count].name : "time";
}

static int name_count(const struct names *names) {
  return names->plant->signal_count + (names->speaker == SPEAKER_LIMIT ? (int)MEASURE_COUNT : 1);
}

static const char *channel_at(const void *context, int index) {
  return ((const struct plant *)context)->channels[index];
}

/* Signal, clock or measure of this name, and its quantity. */
static bool find_name(const struct loader *loader, enum speaker speaker, const struct node *node, size_t offset,
                      struct condition *condition, enum quantity *quantity) {
  const struct plant *plant = loader->data->plant;
  condition->measure = measure_find(condition->name);
  condition->signal = registry_signal(plant, condition->name);
  if (condition->signal >= 0) {
    condition->measure = -1;
    *quantity = plant->signals[condition->signal].quantity;
    return true;
  }
  if (speaker == SPEAKER_ACTION && strcmp(condition->name, "time") == 0) {
    condition->signal = CONDITION_CLOCK;
    *quantity = QUANTITY_TIME;
    return true;
  }
  if (speaker == SPEAKER_LIMIT && condition->measure >= 0) {
    condition->signal = CONDITION_MEASURE;
    *quantity = measure_rows[condition->measure].quantity;
    return true;
  }
  if (condition->measure >= 0) {
    return FAIL_IN(loader, node, offset, "'%s' is a measure, known at the end of the run; an action waits for a signal",
                   condition->name);
  }
  struct names names = {plant, speaker};
  return FAIL_IN(loader, node, offset, "'%s' is no signal%s of the circuit '%s'%s", text_excerpt(condition->name).text,
                 speaker == SPEAKER_LIMIT ? " or measure" : "", plant->name,
                 hint_nearest(condition->name, name_count(&names), name_at, &names).text);
}

/* --- NAME OP VALUE --------------------------------------------------------------------------------------------------
 */

/* Read `sentence`, the first characters of the node's text. */
static bool read_condition(const struct loader *loader, enum speaker speaker, const struct node *node,
                           const char *sentence, struct condition *condition) {
  size_t start = strspn(sentence, " ");
  size_t length = strcspn(sentence + start, " <>=");
  const char *shape = speaker == SPEAKER_LIMIT ? "NAME <= VALUE" : "SIGNAL > VALUE";
  if (length == 0) {
    return FAIL_IN(loader, node, start, "found '%s', expected a sentence '%s'", text_excerpt(sentence + start).text,
                   shape);
  }
  if (length >= sizeof condition->name) {
    return FAIL_IN(loader, node, start, "'%s' is too long for a name", text_excerpt(sentence + start).text);
  }
  memcpy(condition->name, sentence + start, length);
  condition->name[length] = '\0';
  enum quantity quantity = QUANTITY_NUMBER;
  if (!find_name(loader, speaker, node, start, condition, &quantity)) {
    return false;
  }
  size_t sign = start + length + strspn(sentence + start + length, " ");
  if (sentence[sign] != '<' && sentence[sign] != '>') {
    return FAIL_IN(loader, node, sign, "found '%s' behind '%s', expected %s", text_excerpt(sentence + sign).text,
                   condition->name, speaker == SPEAKER_LIMIT ? "<= or >=" : "<, <=, > or >=");
  }
  condition->above = sentence[sign] == '>';
  bool equal = sentence[sign + 1] == '=';
  if (speaker == SPEAKER_LIMIT && !equal) {
    return FAIL_IN(loader, node, sign, "a limit holds at its level, too; write %c= instead of %c", sentence[sign],
                   sentence[sign]);
  }
  size_t level = sign + (equal ? 2U : 1U);
  struct error inner = {0};
  if (!units_read(quantity, sentence + level, &condition->level, &inner)) {
    return FAIL_IN(loader, node, (int)level + inner.column - 1, "%s: %s", condition->name, inner.text);
  }
  return true;
}

static bool is_sentence(const struct loader *loader, const struct node *node, const char *what, size_t limit) {
  if (node->kind != NODE_TEXT) {
    return error_at(loader->error, node->file, node->line, node->column, "found %s, expected %s", node_kind_words(node),
                    what);
  }
  if (strlen(node->text) >= limit) {
    return error_at(loader->error, node->file, node->line, node->column, "%s of %zu bytes; at most %zu fit", what,
                    strlen(node->text), limit - 1);
  }
  return true;
}

static bool is_list(const struct loader *loader, const struct node *node) {
  return node->kind == NODE_LIST ||
         error_at(loader->error, node->file, node->line, node->column,
                  "found %s, expected a list: each entry of '%s' begins with '- '", node_kind_words(node), node->key);
}

/* --- Actions --------------------------------------------------------------------------------------------------------
 */

static const char *const action_keys[] = {"name", "when", "move", "to", "over"};
enum { ACTION_KEY_COUNT = sizeof action_keys / sizeof action_keys[0] };

static const char *action_key_at(const void *context, int index) {
  (void)context;
  return action_keys[index];
}

static bool check_action_keys(const struct loader *loader, const struct node *entry) {
  if (entry->kind != NODE_MAPPING) {
    return error_at(loader->error, entry->file, entry->line, entry->column,
                    "found %s, expected an action: when, move, to and, if wanted, over and name",
                    node_kind_words(entry));
  }
  for (const struct node *child = entry->first; child; child = child->next) {
    bool known = false;
    for (int i = 0; i < ACTION_KEY_COUNT; i++) {
      known = known || strcmp(child->key, action_keys[i]) == 0;
    }
    if (!known) {
      return error_at(loader->error, child->file, child->key_line, child->key_column,
                      "'%s' is no part of an action; expected name, when, move, to or over%s",
                      text_excerpt(child->key).text,
                      hint_nearest(child->key, ACTION_KEY_COUNT, action_key_at, NULL).text);
    }
  }
  static const char *const needed[] = {"when", "move", "to"};
  for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++) {
    if (!node_child(entry, needed[i])) {
      return error_at(loader->error, entry->file, entry->line, entry->column, "the action has no '%s:'", needed[i]);
    }
  }
  return true;
}

static bool read_quantity(const struct loader *loader, const struct node *node, enum quantity quantity, double *si) {
  if (node->kind != NODE_TEXT) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: found %s, expected one number with a unit", node->key, node_kind_words(node));
  }
  struct error inner = {0};
  return units_read(quantity, node->text, si, &inner) ||
         FAIL_IN(loader, node, inner.column - 1, "%s: %s", node->key, inner.text);
}

const struct field *action_table(const struct plant *plant, int channel) {
  for (int i = 0; i < plant->group_count; i++) {
    const struct field *field = registry_field(&plant->groups[i], plant->channels[channel]);
    if (field && field->kind == FIELD_TABLE && field->quantity == plant->channel_quantities[channel]) {
      return field;
    }
  }
  return NULL;
}

static bool read_move(const struct loader *loader, const struct node *entry, struct action *action) {
  const struct plant *plant = loader->data->plant;
  const struct node *move = node_child(entry, "move");
  if (!is_sentence(loader, move, "the name of a channel", CASE_NAME_LIMIT)) {
    return false;
  }
  action->channel = registry_channel(plant, move->text);
  if (action->channel < 0) {
    return error_at(loader->error, move->file, move->line, move->column, "'%s' is no channel of the circuit '%s'%s",
                    text_excerpt(move->text).text, plant->name,
                    hint_nearest(move->text, plant->channel_count, channel_at, plant).text);
  }
  const struct node *to = node_child(entry, "to");
  const struct field *table = action_table(plant, action->channel);
  if (!read_quantity(loader, to, plant->channel_quantities[action->channel], &action->target) ||
      (table && !value_check(loader, table, move->text, action->target, to))) {
    return false;
  }
  const struct node *over = node_child(entry, "over");
  if (!over) {
    return true;
  }
  return read_quantity(loader, over, QUANTITY_TIME, &action->duration) &&
         (action->duration >= 0.0 ||
          error_at(loader->error, over->file, over->line, over->column, "over: a movement cannot take less than 0 s"));
}

static bool read_action(const struct loader *loader, const struct node *entry, struct action *action) {
  if (!check_action_keys(loader, entry)) {
    return false;
  }
  const struct node *when = node_child(entry, "when");
  const struct node *name = node_child(entry, "name");
  if (!is_sentence(loader, when, "a sentence 'SIGNAL > VALUE'", CASE_NAME_LIMIT) ||
      (name && !is_sentence(loader, name, "a name", CASE_NAME_LIMIT)) ||
      !read_condition(loader, SPEAKER_ACTION, when, when->text, &action->when) || !read_move(loader, entry, action)) {
    return false;
  }
  (void)snprintf(action->name, sizeof action->name, "%s", name ? name->text : when->text);
  action->line = entry->line;
  return true;
}

bool actions_read(const struct loader *loader, const struct node *list) {
  if (!is_list(loader, list)) {
    return false;
  }
  struct case_data *data = loader->data;
  data->actions = arena_take(loader->arena, (size_t)list->count * sizeof *data->actions);
  if (!data->actions) {
    return loader_out_of_memory(loader);
  }
  for (const struct node *entry = list->first; entry; entry = entry->next) {
    if (!read_action(loader, entry, &data->actions[data->action_count++]) && !loader_goes_on(loader)) {
      return false;
    }
  }
  return true;
}

/* --- Limits ---------------------------------------------------------------------------------------------------------
 */

/* Offset of the word `within`, or of the end of the text. */
static size_t find_within(const char *text) {
  const char *word = strstr(text, " within ");
  return word ? (size_t)(word - text) : strlen(text);
}

static bool read_limit(const struct loader *loader, const struct node *node, struct limit *limit) {
  if (!is_sentence(loader, node, "a sentence 'NAME <= VALUE'", SENTENCE_LIMIT)) {
    return false;
  }
  char sentence[SENTENCE_LIMIT];
  size_t within = find_within(node->text);
  memcpy(sentence, node->text, within);
  sentence[within] = '\0';
  if (!read_condition(loader, SPEAKER_LIMIT, node, sentence, &limit->keep)) {
    return false;
  }
  if (node->text[within] != '\0') {
    size_t time = within + strlen(" within ");
    if (limit->keep.signal == -2) {
      return FAIL_IN(loader, node, within + 1,
                     "'within' has no meaning for '%s': a measure is one number for the whole run", limit->keep.name);
    }
    struct error inner = {0};
    if (!units_read(QUANTITY_TIME, node->text + time, &limit->within, &inner)) {
      return FAIL_IN(loader, node, (int)time + inner.column - 1, "within: %s", inner.text);
    }
    if (limit->within < 0.0) {
      return FAIL_IN(loader, node, time, "within: less than 0 s");
    }
  }
  (void)snprintf(limit->text, sizeof limit->text, "%s", node->text);
  limit->line = node->line;
  return true;
}

bool limits_read(const struct loader *loader, const struct node *list) {
  if (!is_list(loader, list)) {
    return false;
  }
  struct case_data *data = loader->data;
  size_t before = (size_t)data->limit_count;
  struct limit *limits = arena_take(loader->arena, (before + (size_t)list->count) * sizeof *limits);
  if (!limits) {
    return loader_out_of_memory(loader);
  }
  if (before > 0) {
    memcpy(limits, data->limits, before * sizeof *limits);
  }
  data->limits = limits;
  for (const struct node *node = list->first; node; node = node->next) {
    if (!read_limit(loader, node, &data->limits[data->limit_count++]) && !loader_goes_on(loader)) {
      return false;
    }
  }
  return true;
}

bool case_add_limit(struct case_data *data, const char *sentence, struct error *error) {
  struct error inner = {0};
  struct loader loader = {.arena = data->memory, .data = data, .error = &inner};
  struct node node = {.kind = NODE_TEXT, .file = "", .text = sentence, .column = 1, .verbatim = true};
  size_t count = (size_t)data->limit_count;
  struct limit *limits = arena_take(data->memory, (count + 1) * sizeof *limits);
  if (!limits) {
    return error_set(error, ERROR_MEMORY, "out of memory for a limit");
  }
  if (count > 0) {
    memcpy(limits, data->limits, count * sizeof *limits);
  }
  if (!read_limit(&loader, &node, &limits[count])) {
    return error_set(error, ERROR_USAGE, "'%s', character %d: %s", text_excerpt(sentence).text, inner.column,
                     inner.text);
  }
  data->limits = limits;
  data->limit_count++;
  return case_rename(data, data->title, error);
}

bool condition_read(const struct loader *loader, const struct node *node, struct condition *condition) {
  return is_sentence(loader, node, "a sentence 'NAME <= VALUE'", SENTENCE_LIMIT) &&
         read_condition(loader, SPEAKER_LIMIT, node, node->text, condition);
}
