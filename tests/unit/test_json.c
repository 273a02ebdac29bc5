/* The JSON writer: structure, quoting, numbers. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "json.h"

/* A writer into memory. */
struct sheet {
  char *text;
  size_t size;
  struct json json;
};

static void sheet_open(struct sheet *sheet) {
  FILE *out = open_memstream(&sheet->text, &sheet->size);
  assert_non_null(out);
  sheet->json = (struct json){.out = out};
}

static void sheet_expect(struct sheet *sheet, const char *expected) {
  assert_int_equal(fclose(sheet->json.out), 0);
  assert_string_equal(sheet->text, expected);
  free(sheet->text);
}

static void nests(void **state) {
  (void)state;
  struct sheet sheet;
  sheet_open(&sheet);
  json_begin_object(&sheet.json, NULL);
  json_begin_list(&sheet.json, "empty");
  json_end_list(&sheet.json);
  json_begin_list(&sheet.json, "list");
  json_integer(&sheet.json, NULL, -3);
  json_begin_object(&sheet.json, NULL);
  json_bool(&sheet.json, "yes", true);
  json_text(&sheet.json, "none", NULL);
  json_end_object(&sheet.json);
  json_end_list(&sheet.json);
  json_end_object(&sheet.json);
  sheet_expect(&sheet,
               "{\n  \"empty\": [],\n  \"list\": [\n    -3,\n    {\n      \"yes\": true,\n      \"none\": null\n"
               "    }\n  ]\n}\n");
}

static void quotes(void **state) {
  (void)state;
  struct sheet sheet;
  sheet_open(&sheet);
  json_text(&sheet.json, NULL, "a\"b\\c\nd\te\x01 25 \xc2\xb0 /");
  sheet_expect(&sheet, "\"a\\\"b\\\\c\\nd\\te\\u0001 25 \xc2\xb0 /\"");
}

/* Lone, overlong, cut and too large sequences are no UTF-8; good ones of 2, 3 and 4 bytes pass. */
static void replaces_what_is_no_utf8(void **state) {
  (void)state;
  struct sheet sheet;
  sheet_open(&sheet);
  json_text(&sheet.json, NULL, "\xff.\xc0\xaf.\xe0\x80\x80.\xed\xa0\x80.\xf4\x90\x80\x80.\xe2\x82");
  sheet_expect(&sheet, "\"\\ufffd.\\ufffd\\ufffd.\\ufffd\\ufffd\\ufffd.\\ufffd\\ufffd\\ufffd.\\ufffd\\ufffd\\ufffd"
                       "\\ufffd.\\ufffd\\ufffd\"");
  sheet_open(&sheet);
  json_text(&sheet.json, NULL, "\xc3\xa4\xe2\x82\xac\xf0\x9f\x9c\x81");
  sheet_expect(&sheet, "\"\xc3\xa4\xe2\x82\xac\xf0\x9f\x9c\x81\"");
}

static void numbers_read_back(void **state) {
  (void)state;
  const double numbers[] = {0.1, 1.0 / 3.0, 5e-324, 1.7976931348623157e308, -0.0, 452.7e5, 1e21};
  for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
    struct sheet sheet;
    sheet_open(&sheet);
    json_number(&sheet.json, NULL, numbers[i]);
    assert_int_equal(fclose(sheet.json.out), 0);
    double back = strtod(sheet.text, NULL);
    assert_memory_equal(&back, &numbers[i], sizeof back);
    free(sheet.text);
  }
}

static void no_number_is_null(void **state) {
  (void)state;
  struct sheet sheet;
  sheet_open(&sheet);
  json_begin_list(&sheet.json, NULL);
  json_number(&sheet.json, NULL, (double)NAN);
  json_number(&sheet.json, NULL, (double)-INFINITY);
  json_number(&sheet.json, NULL, 0.1);
  json_end_list(&sheet.json);
  sheet_expect(&sheet, "[\n  null,\n  null,\n  0.1\n]\n");
}

/* Inside a web page no text can end or open a tag, nor break a line of script. */
static void page_has_no_markup(void **state) {
  (void)state;
  struct sheet sheet;
  sheet_open(&sheet);
  sheet.json.for_page = true;
  json_begin_object(&sheet.json, NULL);
  json_text(&sheet.json, "a", "</script><!--&\xe2\x80\xa8\xe2\x80\xa9\xe2\x80\xaa");
  json_begin_list(&sheet.json, "b");
  json_number(&sheet.json, NULL, 1.5);
  json_number(&sheet.json, NULL, 2.0);
  json_end_list(&sheet.json);
  json_end_object(&sheet.json);
  sheet_expect(&sheet, "{\"a\":\"\\u003c/script\\u003e\\u003c!--\\u0026\\u2028\\u2029\\u202a\",\"b\":[1.5,2]}\n");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(nests),
      cmocka_unit_test(quotes),
      cmocka_unit_test(replaces_what_is_no_utf8),
      cmocka_unit_test(numbers_read_back),
      cmocka_unit_test(no_number_is_null),
      cmocka_unit_test(page_has_no_markup),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
