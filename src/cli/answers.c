#include "answers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "interrupt.h"
#include "units.h"

/* Short times in milliseconds, all else as everywhere. */
static const char *show(enum quantity quantity, double value, char *buffer, int size) {
  if (quantity == QUANTITY_TIME && fabs(value) < 1.0) {
    (void)snprintf(buffer, (size_t)size, "%.4g ms", 1e3 * value);
    return buffer;
  }
  return units_show(quantity, value, buffer, size);
}

void answers_print(FILE *out, const struct signal *rows, int count, const double *values, const char (*absent)[96]) {
  for (int i = 0; i < count; i++) {
    char shown[64];
    if (isnan(values[i])) {
      (void)fprintf(out, "  %-22s %14s   %s\n", rows[i].name, "none", absent[i]);
    } else {
      show(rows[i].quantity, values[i], shown, sizeof shown);
      (void)fprintf(out, "  %-22s %14s   %s\n", rows[i].name, shown, rows[i].text);
    }
  }
}

void answers_json(struct json *json, const struct signal *rows, int count, const double *values,
                  const char (*absent)[96]) {
  for (int i = 0; i < count; i++) {
    json_begin_object(json, rows[i].name);
    json_number(json, "value", values[i]);
    json_text(json, "unit", quantity_rows[rows[i].quantity].si_unit);
    if (rows[i].reference != REFERENCE_NONE) {
      json_text(json, "reference", reference_names[rows[i].reference]);
    }
    json_text(json, "text", rows[i].text);
    if (isnan(values[i])) {
      json_text(json, "reason", absent[i]);
    }
    json_end_object(json);
  }
}

char *answers_output(const char *case_file, const char *kind) {
  const char *slash = strrchr(case_file, '/');
  const char *base = slash != NULL ? slash + 1 : case_file;
  const char *dot = strrchr(base, '.');
  int length = dot != NULL && dot != base ? (int)(dot - base) : (int)strlen(base);
  size_t size = (size_t)length + strlen(kind) + sizeof "..h5";
  char *output = malloc(size);
  if (output != NULL) {
    (void)snprintf(output, size, "%.*s.%s.h5", length, base, kind);
  }
  return output;
}

bool answers_amount(const char *option, enum quantity quantity, const char *text, double low, double high, double *si,
                    struct error *error) {
  struct error reason = {0};
  if (!units_read(quantity, text, si, &reason)) {
    return error_set(error, ERROR_USAGE, "--%s: %s", option, reason.text);
  }
  if (!(*si >= low && *si <= high)) {
    char from[64];
    char to[64];
    return error_set(error, ERROR_USAGE, "--%s: found '%s', expected %s to %s", option, text,
                     units_show(quantity, low, from, sizeof from), units_show(quantity, high, to, sizeof to));
  }
  return true;
}

bool answers_tick(void *context, double time, double end_time) {
  progress_show(context, time, end_time);
  return !interrupt_seen();
}

int answers_fail(const struct error *error) {
  if (interrupt_seen()) {
    (void)fputs("interrupted; nothing was written\n", stderr);
    return EXIT_INTERRUPTED;
  }
  return terminal_error(error);
}
