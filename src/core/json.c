#include "json.h"
#include "text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Bytes of the UTF-8 character at `text`; 0 if there is none. */
static int character_length(const unsigned char *text) {
  if (text[0] < 0x80) {
    return 1;
  }
  int length = text[0] >= 0xf0 && text[0] <= 0xf4 ? 4 : text[0] >= 0xe0 ? 3 : text[0] >= 0xc2 ? 2 : 0;
  if (text[0] > 0xf4) {
    return 0;
  }
  for (int i = 1; i < length; i++) {
    if ((text[i] & 0xc0) != 0x80) {
      return 0;
    }
  }
  bool overlong = (text[0] == 0xe0 && text[1] < 0xa0) || (text[0] == 0xf0 && text[1] < 0x90);
  bool surrogate = text[0] == 0xed && text[1] > 0x9f;
  bool beyond = text[0] == 0xf4 && text[1] > 0x8f;
  return overlong || surrogate || beyond ? 0 : length;
}

/* U+2028 and U+2029 are E2 80 A8 and E2 80 A9. */
static bool ends_script_line(const unsigned char *text) {
  return text[0] == 0xe2 && text[1] == 0x80 && (text[2] == 0xa8 || text[2] == 0xa9);
}

static bool could_be_markup(unsigned char letter) {
  return letter == '<' || letter == '>' || letter == '&';
}

/* A document goes to a terminal, too: marks that turn the direction of writing, and control characters. */
static bool steers_terminal(const unsigned char *at, int length) {
  char letter[5] = "";
  char plain[16];
  memcpy(letter, at, (size_t)length);
  return strcmp(text_shown(letter, plain, sizeof plain), letter) != 0;
}

static void write_code(FILE *out, const unsigned char *at, int length) {
  unsigned long code = 0;
  if (text_decode((const char *)at, (size_t)length, &code) > 0) {
    (void)fprintf(out, "\\u%04lx", code);
  }
}

static void write_quoted(const struct json *json, const char *text) {
  FILE *out = json->out;
  (void)fputc('"', out);
  const unsigned char *at = (const unsigned char *)text;
  while (*at != '\0') {
    int length = character_length(at);
    if (length == 0) {
      (void)fputs("\\ufffd", out);
      at++;
      continue;
    }
    if (*at == '"' || *at == '\\') {
      (void)fprintf(out, "\\%c", *at);
    } else if (*at == '\n') {
      (void)fputs("\\n", out);
    } else if (*at == '\t') {
      (void)fputs("\\t", out);
    } else if (json->for_page && ends_script_line(at)) {
      (void)fprintf(out, "\\u20%02x", (unsigned)(at[2] - 0x80));
    } else if (*at < 0x20 || (json->for_page && could_be_markup(*at))) {
      (void)fprintf(out, "\\u%04x", (unsigned)*at);
    } else if (steers_terminal(at, length)) {
      write_code(out, at, length);
    } else {
      (void)fwrite(at, 1, (size_t)length, out);
    }
    at += length;
  }
  (void)fputc('"', out);
}

static void write_key(struct json *json, const char *key) {
  if (json->filled) {
    (void)fputc(',', json->out);
  }
  if (json->depth > 0 && !json->for_page) {
    (void)fprintf(json->out, "\n%*s", 2 * json->depth, "");
  }
  json->filled = true;
  if (key != NULL) {
    write_quoted(json, key);
    (void)fputs(json->for_page ? ":" : ": ", json->out);
  }
}

static void begin(struct json *json, const char *key, char mark) {
  write_key(json, key);
  (void)fputc(mark, json->out);
  json->depth++;
  json->filled = false;
}

static void end(struct json *json, char mark) {
  json->depth--;
  if (json->filled && !json->for_page) {
    (void)fprintf(json->out, "\n%*s", 2 * json->depth, "");
  }
  (void)fputc(mark, json->out);
  json->filled = true;
  if (json->depth == 0) {
    (void)fputc('\n', json->out);
  }
}

void json_begin_object(struct json *json, const char *key) {
  begin(json, key, '{');
}

void json_end_object(struct json *json) {
  end(json, '}');
}

void json_begin_list(struct json *json, const char *key) {
  begin(json, key, '[');
}

void json_end_list(struct json *json) {
  end(json, ']');
}

void json_text(struct json *json, const char *key, const char *text) {
  write_key(json, key);
  if (text == NULL) {
    (void)fputs("null", json->out);
  } else {
    write_quoted(json, text);
  }
}

/* The shortest text that reads back to the same double. */
void json_number(struct json *json, const char *key, double number) {
  write_key(json, key);
  if (!isfinite(number)) {
    (void)fputs("null", json->out);
    return;
  }
  char text[40];
  for (int digits = 15; digits <= 17; digits++) {
    (void)snprintf(text, sizeof text, "%.*g", digits, number);
    if (strtod(text, NULL) == number) {
      break;
    }
  }
  (void)fputs(text, json->out);
}

void json_integer(struct json *json, const char *key, long number) {
  write_key(json, key);
  (void)fprintf(json->out, "%ld", number);
}

void json_bool(struct json *json, const char *key, bool value) {
  write_key(json, key);
  (void)fputs(value ? "true" : "false", json->out);
}
