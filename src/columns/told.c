#include "told.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "text.h"

static const char more[] = "; and more";

void told_add(struct told *told, const char *format, ...) {
  char remark[512];
  char plain[512];
  va_list arguments;
  va_start(arguments, format);
  (void)vsnprintf(remark, sizeof remark, format, arguments);
  va_end(arguments);
  (void)text_shown(remark, plain, sizeof plain);
  size_t used = strlen(told->text);
  size_t needed = strlen(plain) + (used > 0 ? 2 : 0);
  if (used + needed + sizeof more <= sizeof told->text) {
    (void)snprintf(told->text + used, sizeof told->text - used, "%s%s", used > 0 ? "; " : "", plain);
  } else if (strstr(told->text, more) == NULL) {
    (void)snprintf(told->text + used, sizeof told->text - used, "%s", more);
  }
}
