/* Entries of the files that are read beside cases: studies and reviews. */
#include "loader.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "text.h"

static const char *key_at(const void *context, int index) {
  return ((const char *const *)context)[index];
}

bool entries_known(const struct loader *loader, const struct node *mapping, const char *what, const char *const *keys,
                   int count) {
  if (mapping->kind != NODE_MAPPING) {
    return error_at(loader->error, mapping->file, mapping->line, mapping->column, "found %s, expected %s",
                    mapping->kind == NODE_TEXT && mapping->text[0] == '\0' ? "nothing" : node_kind_words(mapping),
                    what);
  }
  for (const struct node *child = mapping->first; child; child = child->next) {
    bool known = false;
    for (int i = 0; i < count; i++) {
      known = known || strcmp(child->key, keys[i]) == 0;
    }
    if (!known) {
      return error_at(loader->error, child->file, child->key_line, child->key_column, "'%s' is no part of %s%s",
                      text_excerpt(child->key).text, what, hint_nearest(child->key, count, key_at, keys).text);
    }
  }
  return true;
}

bool entries_list(const struct loader *loader, const struct node *node, const char *entries) {
  if (node->kind == NODE_LIST && node->count > 0) {
    return true;
  }
  return error_at(loader->error, node->file, node->line, node->column, "%s: found %s, expected a list of %s",
                  node->key ? node->key : "list", node->kind == NODE_LIST ? "an empty list" : node_kind_words(node),
                  entries);
}

bool entry_word(const struct loader *loader, const struct node *node, const char *what) {
  if (node->kind == NODE_TEXT && node->text[0] != '\0') {
    return true;
  }
  return error_at(loader->error, node->file, node->line, node->column, "found %s, expected %s",
                  node->kind == NODE_TEXT ? "nothing" : node_kind_words(node), what);
}

bool entry_whole(const struct loader *loader, const struct node *node, double low, double high, int64_t *value) {
  double number = 0.0;
  if (!number_read(loader, node->key ? node->key : "case", QUANTITY_NUMBER, node, &number)) {
    return false;
  }
  if (!(number >= low && number <= high && number == floor(number))) {
    return error_at(loader->error, node->file, node->line, node->column,
                    "%s: expected a whole number from %.0f to %.0f", node->key ? node->key : "case", low, high);
  }
  *value = (int64_t)number;
  return true;
}
