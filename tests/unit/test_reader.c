/* The strict subset of YAML: what it gives, and every refusal with its line and column. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "arena.h"
#include "reader.h"

static struct arena *arena;

static int open_arena(void **state) {
  (void)state;
  arena = arena_open();
  return arena ? 0 : 1;
}

static int close_arena(void **state) {
  (void)state;
  arena_close(arena);
  return 0;
}

static const struct node *parse(const char *text) {
  struct error error = {0};
  const struct node *root = reader_parse(arena, "t.yaml", text, strlen(text), -1, &error);
  if (!root) {
    char message[1024];
    fail_msg("%s", error_text(&error, message, sizeof message));
  }
  return root;
}

static void refused_bytes(const char *text, size_t length, const char *message) {
  struct error error = {0};
  char found[2048];
  assert_null(reader_parse(arena, "t.yaml", text, length, -1, &error));
  assert_string_equal(error_text(&error, found, sizeof found), message);
}

static void refused(const char *text, const char *message) {
  refused_bytes(text, strlen(text), message);
}

static void a_tree_with_places(void **state) {
  (void)state;
  const struct node *root = parse("# comment\n"
                                  "pump:\n"
                                  "  displacement: 125 cm3/rev   # comment\n"
                                  "  \"name\": 'a text'\n"
                                  "list: [[0 s, 25 %], [1 s, -5.5 %]]\n"
                                  "empty:\n"
                                  "dashes:\n"
                                  "- one\n"
                                  "- two\n"
                                  "folded: two\n"
                                  "  lines\n");
  assert_int_equal(root->kind, NODE_MAPPING);
  assert_int_equal(root->count, 5);
  const struct node *pump = node_child(root, "pump");
  assert_int_equal(pump->count, 2);
  assert_int_equal(pump->key_line, 2);
  assert_int_equal(pump->key_column, 1);
  const struct node *value = node_child(pump, "displacement");
  assert_string_equal(value->text, "125 cm3/rev");
  assert_int_equal(value->line, 3);
  assert_int_equal(value->column, 17);
  assert_int_equal(value->key_column, 3);
  assert_int_equal(node_column(value, 4), 21);
  const struct node *quoted = node_child(pump, "name");
  assert_string_equal(quoted->text, "a text");
  assert_int_equal(node_column(quoted, 4), quoted->column);
  const struct node *list = node_child(root, "list");
  assert_int_equal(list->kind, NODE_LIST);
  assert_int_equal(list->count, 2);
  const struct node *last = list->first->next->first->next;
  assert_string_equal(last->text, "-5.5 %");
  assert_int_equal(last->line, 5);
  assert_int_equal(last->column, 27);
  assert_string_equal(node_child(root, "empty")->text, "");
  assert_string_equal(node_child(root, "dashes")->first->next->text, "two");
  const struct node *folded = node_child(root, "folded");
  assert_string_equal(folded->text, "two lines");
  assert_int_equal(node_column(folded, 4), folded->column);
  assert_null(node_child(root, "nothing"));
  assert_string_equal(node_kind_words(root), "a mapping");
  assert_string_equal(node_kind_words(list), "a list");
  assert_string_equal(node_kind_words(value), "a text");
}

static void harmless_forms(void **state) {
  (void)state;
  assert_string_equal(node_child(parse("a: yes\n"), "a")->text, "yes");
  assert_string_equal(node_child(parse("a: 010\n"), "a")->text, "010");
  assert_string_equal(node_child(parse("a: 12:30\n"), "a")->text, "12:30");
  assert_string_equal(node_child(parse("\xEF\xBB\xBF"
                                       "a: b\n"),
                                 "a")
                          ->text,
                      "b");
  assert_string_equal(node_child(parse("a: b\r\nc: d\r\n"), "c")->text, "d");
  assert_string_equal(node_child(parse("---\na: b\n...\n"), "a")->text, "b");
  assert_string_equal(node_child(parse("a: \xC3\xA4\n"), "a")->text, "\xC3\xA4");
  assert_string_equal(node_child(parse("a: b"), "a")->text, "b");
}

static void columns_count_characters(void **state) {
  (void)state;
  const struct node *root = parse("a: {\xC3\xA4: b, c: d}\n");
  assert_int_equal(node_child(node_child(root, "a"), "c")->column, 14);
}

static void references_are_refused(void **state) {
  (void)state;
  refused("a: &x b\n", "t.yaml:1:4: error: an anchor (&); a case spells every value out");
  refused("a: &x [b]\n", "t.yaml:1:4: error: an anchor (&); a case spells every value out");
  refused("a: b\nc: *x\n", "t.yaml:2:4: error: an alias (*); a case spells every value out");
  refused("*x : b\n", "t.yaml:1:1: error: an alias (*); a case spells every value out");
  refused("&x a: b\n", "t.yaml:1:1: error: an anchor (&) or tag (!); a case has neither");
  refused("a: !!int 5\n", "t.yaml:1:4: error: a tag (!); a value's kind follows from its name");
  refused("a: !x {b: c}\n", "t.yaml:1:4: error: a tag (!); a value's kind follows from its name");
  refused("a: b\n<<: {c: d}\n",
          "t.yaml:2:1: error: a merge key (<<); a case has none, 'machine:' brings in other files");
  refused("%YAML 1.1\n---\na: b\n", "t.yaml:1:1: error: a directive (%); a case has none");
  refused("%TAG ! tag:x,2000:\n---\na: b\n", "t.yaml:1:1: error: a directive (%); a case has none");
}

static void keys_are_names_and_single(void **state) {
  (void)state;
  refused("a: 1\nb: 2\na: 3\n", "t.yaml:3:1: error: 'a' is here twice, first in line 1");
  refused("a:\n  b: 2\n  c: 2\n  \"b\": 3\n", "t.yaml:4:3: error: 'b' is here twice, first in line 2");
  refused("[a]: 1\n", "t.yaml:1:1: error: a list or mapping as a key; a key is a name");
  refused("{a: b}: 1\n", "t.yaml:1:1: error: a list or mapping as a key; a key is a name");
  refused("'': 1\n", "t.yaml:1:1: error: a value without a name before the colon");
}

static void one_document_only(void **state) {
  (void)state;
  refused("a: b\n---\nc: d\n", "t.yaml:2:1: error: a second document (---); a file holds one case");
  refused("", "t.yaml:1:1: error: nothing is written here");
  refused("# only a comment\n", "t.yaml:2:1: error: nothing is written here");
}

static void characters_are_refused_where_they_stand(void **state) {
  (void)state;
  refused("a:\n\tb: c\n", "t.yaml:2:1: error: a tab; indent and separate with blanks");
  refused("a: b\tc\n", "t.yaml:1:5: error: a tab; indent and separate with blanks");
  refused("a: \xC3\xA4\xFF\n", "t.yaml:1:5: error: this byte is no UTF-8 text");
  refused("a: b\nc: \xC0\xAF\n", "t.yaml:2:4: error: this byte is no UTF-8 text");
  refused("a: b\x01\n", "t.yaml:1:5: error: a control character (U+0001)");
  refused("a: b\rc: d\n", "t.yaml:1:5: error: a control character (U+000D)");
  refused("a: b\xE2\x80\xA8"
          "c\n",
          "t.yaml:1:5: error: a control character (U+2028)");
  refused_bytes("a: b\0c\n", 7, "t.yaml:1:5: error: a control character (U+0000)");
  refused_bytes("\xFF\xFE"
                "a\0",
                4, "t.yaml:1:1: error: this byte is no UTF-8 text");
  const char *text = "error: a line break or control character in a text; texts have one line";
  char message[128];
  (void)snprintf(message, sizeof message, "t.yaml:1:4: %s", text);
  refused("a: \"b\\tc\"\n", message);
  refused("a: \"b\\0c\"\n", message);
  refused("a: \"\\uFEFF\"\n", message);
  refused("a: |\n  b\n  c\n", message);
  (void)snprintf(message, sizeof message, "t.yaml:1:1: %s", text);
  refused("\"b\\nc\": d\n", message);
}

static void syntax_errors_have_a_place(void **state) {
  (void)state;
  refused("a: b: c\n", "t.yaml:1:5: error: no well-formed YAML: mapping values are not allowed in this context");
  refused("a: [b\nc: d\n",
          "t.yaml:2:2: error: no well-formed YAML: while parsing a flow sequence, did not find expected ',' or ']'");
  refused("a: @b\n", "t.yaml:1:4: error: no well-formed YAML: while scanning for the next token, found character that "
                     "cannot start any token");
  refused("a: %\n", "t.yaml:1:4: error: no well-formed YAML: while scanning for the next token, found character that "
                    "cannot start any token");
  refused("a: 'b\n",
          "t.yaml:2:1: error: no well-formed YAML: while scanning a quoted scalar, found unexpected end of stream");
}

static char *repeated(const char *piece, size_t times, const char *end) {
  size_t length = strlen(piece) * times;
  char *text = arena_take(arena, length + strlen(end) + 1);
  assert_non_null(text);
  for (size_t i = 0; i < length; i++) {
    text[i] = piece[i % strlen(piece)];
  }
  memcpy(text + length, end, strlen(end) + 1);
  return text;
}

static void sizes_are_bounded(void **state) {
  (void)state;
  /* The root is level 1. */
  char *deep = repeated("[", 64, "");
  refused(repeated("[", 65, ""), "t.yaml:1:65: error: nested deeper than 64 levels");
  struct error error = {0};
  char *closed = repeated("]", 64, "");
  char both[129];
  memcpy(both, deep, 64);
  memcpy(both + 64, closed, 65);
  assert_non_null(reader_parse(arena, "t.yaml", both, 128, -1, &error));
  refused(repeated("[", 100000, ""), "t.yaml:1:65: error: nested deeper than 64 levels");

  char *most = repeated("x", READER_TEXT_LIMIT, "");
  assert_int_equal(strlen(parse(most)->text), READER_TEXT_LIMIT);
  refused(repeated("x", READER_TEXT_LIMIT + 1, ""), "t.yaml:1:1: error: a text of 4097 bytes; at most 4096 are read");

  assert_int_equal(parse(repeated("#\n", (READER_FILE_LIMIT - 2) / 2, "a:"))->count, 1);
  refused(repeated("#\n", READER_FILE_LIMIT / 2, "a:"), "t.yaml: error: larger than 16 MiB; a case is smaller");

  char *keys = repeated("         \n", READER_KEY_LIMIT + 1, "");
  for (size_t i = 0; i <= READER_KEY_LIMIT; i++) {
    (void)snprintf(keys + 10 * i, 10, "k%05zu: x", i);
    keys[10 * i + 9] = '\n';
  }
  refused(keys, "t.yaml:1001:1: error: more than 1000 keys in one mapping");
}

static void one_line_texts_count_from_their_shift(void **state) {
  (void)state;
  struct error error = {0};
  char message[256];
  const char *value = "[[0 s, 5 %]]";
  const struct node *node = reader_parse(arena, "--set 'a.b=[[0 s, 5 %]]'", value, strlen(value), 4, &error);
  assert_non_null(node);
  assert_int_equal(node->line, 0);
  assert_int_equal(node->first->first->next->column, 12);
  assert_null(reader_parse(arena, "--set 'a=*x'", "*x", 2, 2, &error));
  assert_string_equal(error_text(&error, message, sizeof message),
                      "--set 'a=*x', column 3: error: an alias (*); a case spells every value out");
  assert_null(reader_parse(arena, "--set", "a\nb", 3, 2, &error));
  assert_int_equal(error.column, 4);
}

static void files_are_read_or_the_reason_told(void **state) {
  (void)state;
  const char *why = NULL;
  size_t length = 0;
  assert_null(reader_file(arena, NULL, "no/such/file.yaml", READER_FILE_LIMIT, NULL, &length, &why));
  assert_string_equal(why, "No such file or directory");
  assert_null(reader_file(arena, NULL, ".", READER_FILE_LIMIT, NULL, &length, &why));
  assert_string_equal(why, "Is a directory");
  char path[] = "/tmp/swashloop-reader-XXXXXX";
  int number = mkstemp(path);
  assert_true(number >= 0);
  FILE *file = fdopen(number, "wb");
  assert_non_null(file);
  for (int i = 0; i < 20000; i++) {
    assert_true(fputs("0123456789", file) >= 0);
  }
  assert_int_equal(fclose(file), 0);
  const char *text = reader_file(arena, NULL, path, READER_FILE_LIMIT, NULL, &length, &why);
  assert_non_null(text);
  assert_int_equal(length, 200000);
  assert_memory_equal(text + 199990, "0123456789", 10);
  assert_int_equal(unlink(path), 0);
}

static void the_arena_aligns_and_clears(void **state) {
  (void)state;
  for (size_t size = 0; size < 40000; size += 1237) {
    unsigned char *bytes = arena_take(arena, size);
    assert_non_null(bytes);
    assert_int_equal((uintptr_t)bytes % _Alignof(max_align_t), 0);
    for (size_t i = 0; i < size; i++) {
      assert_int_equal(bytes[i], 0);
    }
    memset(bytes, 0xFF, size);
  }
  assert_null(arena_take(arena, SIZE_MAX));
  assert_string_equal(arena_text(arena, "abc", 2), "ab");
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_tree_with_places),
      cmocka_unit_test(harmless_forms),
      cmocka_unit_test(columns_count_characters),
      cmocka_unit_test(references_are_refused),
      cmocka_unit_test(keys_are_names_and_single),
      cmocka_unit_test(one_document_only),
      cmocka_unit_test(characters_are_refused_where_they_stand),
      cmocka_unit_test(syntax_errors_have_a_place),
      cmocka_unit_test(sizes_are_bounded),
      cmocka_unit_test(one_line_texts_count_from_their_shift),
      cmocka_unit_test(files_are_read_or_the_reason_told),
      cmocka_unit_test(the_arena_aligns_and_clears),
  };
  return cmocka_run_group_tests(tests, open_arena, close_arena);
}
