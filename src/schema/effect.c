/* When a parameter can have an effect: the grammar of `acts` (models/lib/field.h), and its words. */
#include <stdio.h>
#include <string.h>

#include "registry.h"

const char *registry_clause(const char *from, struct clause *clause) {
  const char *joint = strstr(from, " and ");
  size_t length = joint != NULL ? (size_t)(joint - from) : strlen(from);
  char text[CLAUSE_LIMIT];
  (void)snprintf(text, sizeof text, "%.*s", (int)length, from);
  *clause = (struct clause){"", "", ""};
  const char *space = strchr(text, ' ');
  size_t path = space != NULL ? (size_t)(space - text) : strlen(text);
  if (space != NULL) {
    (void)snprintf(clause->choices, sizeof clause->choices, "%s", space + 1);
  }
  const char *dot = memchr(text, '.', path);
  size_t group = dot != NULL ? (size_t)(dot - text) : 0;
  (void)snprintf(clause->group, sizeof clause->group, "%.*s", (int)group, text);
  size_t before = dot != NULL ? group + 1 : 0;
  (void)snprintf(clause->name, sizeof clause->name, "%.*s", (int)(path - before), text + before);
  return joint != NULL ? joint + strlen(" and ") : NULL;
}

const char *registry_alternatives(const char *choices, char *buffer, int size) {
  int used = 0;
  for (; *choices != '\0' && used + (int)sizeof " or " < size; choices++) {
    if (*choices == '|') {
      memcpy(buffer + used, " or ", 4);
      used += 4;
    } else {
      buffer[used++] = *choices;
    }
  }
  buffer[used] = '\0';
  return buffer;
}

const char *registry_text(const struct group *group, const struct field *field, char *buffer, int size) {
  int used = snprintf(buffer, (size_t)size, "%s", field->text);
  const char *all[] = {group->acts, field->acts};
  bool open = false;
  for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
    struct clause clause;
    for (const char *from = all[i]; from != NULL && used < size;) {
      char words[CLAUSE_LIMIT + 32];
      from = registry_clause(from, &clause);
      if (clause.group[0] == '\0' && strcmp(clause.name, field->name) == 0) {
        continue;
      }
      used += snprintf(buffer + used, (size_t)(size - used), "%s%s%s%s%s%s", open ? " and " : " (", clause.group,
                       clause.group[0] != '\0' ? "." : "", clause.name, clause.choices[0] != '\0' ? " " : " not 0",
                       registry_alternatives(clause.choices, words, (int)sizeof words));
      open = true;
    }
  }
  if (open && used < size) {
    (void)snprintf(buffer + used, (size_t)(size - used), ")");
  }
  return buffer;
}
