/* A small strict JSON writer: one document, indented; it sets commas and quotes itself. `key` is NULL inside a list.
 * A number that is not finite becomes null; a byte that is no UTF-8 becomes the replacement character. A document for a
 * web page is written without blanks, and nothing in it can end or open a tag: '<', '>' and '&' are written as \u003c,
 * \u003e and \u0026, and so are the two line breaks that scripts know and JSON does not. */
#ifndef SWASHLOOP_CORE_JSON_H
#define SWASHLOOP_CORE_JSON_H

#include <stdbool.h>
#include <stdio.h>

struct json {
  FILE *out;
  int depth;
  bool filled;   /* the open object or list has something in it */
  bool for_page; /* compact, and safe inside a web page */
};

/* Begin and end an object or a list, and write values into the open one; `key` is NULL in a list. A NULL text and a
 * number that is not finite become null. */
void json_begin_object(struct json *json, const char *key);
void json_end_object(struct json *json);
void json_begin_list(struct json *json, const char *key);
void json_end_list(struct json *json);
void json_text(struct json *json, const char *key, const char *text); /* NULL becomes null */
void json_number(struct json *json, const char *key, double number);
void json_integer(struct json *json, const char *key, long number);
void json_bool(struct json *json, const char *key, bool value);

#endif
