/* The journal: whatever happens to the file, whole blocks are kept and nothing else is taken for one. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "journal.h"
#include "work_queue.h"

struct place {
  char folder[64];
  char path[96];
};

static const struct journal_head head = {
    .study = 42, .program = "program 1, build 1", .arithmetic = 7, .cases = 1000, .shards = 1};

static int set_up(void **state) {
  struct place *place = calloc(1, sizeof *place);
  (void)snprintf(place->folder, sizeof place->folder, "/tmp/swashloop-journal-XXXXXX");
  assert_non_null(mkdtemp(place->folder));
  (void)snprintf(place->path, sizeof place->path, "%s/j", place->folder);
  *state = place;
  return 0;
}

static int tear_down(void **state) {
  struct place *place = *state;
  (void)unlink(place->path);
  (void)rmdir(place->folder);
  free(place);
  return 0;
}

/* Blocks of 10, 3 and 25 rows; the payload of a block is its count, letter by letter. */
static const int64_t firsts[] = {20, 0, 100};
static const int64_t counts[] = {10, 3, 25};
enum { BLOCKS = 3 };

static void payload_of(int i, unsigned char *payload) {
  memset(payload, 'a' + i, (size_t)counts[i]);
}

static void write_three(const char *path, int64_t ends[BLOCKS + 1]) {
  struct journal journal;
  struct error error = {0};
  unsigned char payload[32];
  assert_true(journal_create(&journal, path, &head, &error));
  ends[0] = journal.length;
  for (int i = 0; i < BLOCKS; i++) {
    payload_of(i, payload);
    assert_true(journal_append(&journal, firsts[i], counts[i], payload, (size_t)counts[i], &error));
    ends[i + 1] = journal.length;
  }
  assert_true(journal_sync(&journal, &error));
  journal_close(&journal);
}

/* The first `blocks` blocks, and their payloads, are there. */
static void expect_blocks(const char *path, int blocks) {
  struct journal journal;
  struct error error = {0};
  unsigned char found[32];
  unsigned char wanted[32];
  int64_t rows = 0;
  assert_true(journal_open(&journal, path, &head, &error));
  assert_int_equal(journal.block_count, blocks);
  for (int i = 0; i < blocks; i++) {
    rows += counts[i];
    payload_of(i, wanted);
    assert_int_equal(journal.blocks[i].first, firsts[i]);
    assert_int_equal(journal.blocks[i].count, counts[i]);
    assert_true(journal_read(&journal, &journal.blocks[i], found, &error));
    assert_memory_equal(found, wanted, (size_t)counts[i]);
  }
  assert_int_equal(journal.rows, rows);
  journal_close(&journal);
}

static void test_what_is_written_is_read(void **state) {
  struct place *place = *state;
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  expect_blocks(place->path, BLOCKS);
}

/* Cut at every length: exactly the blocks that are whole remain, and writing goes on behind them. */
static void test_torn_anywhere(void **state) {
  struct place *place = *state;
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  for (int64_t length = ends[BLOCKS]; length >= ends[0]; length--) {
    struct journal journal;
    struct error error = {0};
    int whole = 0;
    while (whole < BLOCKS && ends[whole + 1] <= length) {
      whole++;
    }
    assert_int_equal(truncate(place->path, length), 0);
    expect_blocks(place->path, whole);
    /* The torn end is gone, so that a new block stands right behind. */
    assert_true(journal_open(&journal, place->path, &head, &error));
    assert_int_equal(journal.length, ends[whole]);
    unsigned char payload[32];
    for (int i = whole; i < BLOCKS; i++) {
      payload_of(i, payload);
      assert_true(journal_append(&journal, firsts[i], counts[i], payload, (size_t)counts[i], &error));
    }
    journal_close(&journal);
    expect_blocks(place->path, BLOCKS);
  }
}

static void flip(const char *path, int64_t at, int bit) {
  FILE *file = fopen(path, "r+b");
  assert_non_null(file);
  assert_int_equal(fseek(file, at, SEEK_SET), 0);
  int letter = fgetc(file);
  assert_int_equal(fseek(file, at, SEEK_SET), 0);
  (void)fputc(letter ^ 1 << bit, file);
  assert_int_equal(fclose(file), 0);
}

/* All blocks but `damaged` are there, in their order and with their payloads. */
static void expect_all_but(struct journal *journal, int damaged) {
  int place = 0;
  struct error error = {0};
  for (int i = 0; i < BLOCKS; i++) {
    unsigned char found[32];
    unsigned char wanted[32];
    if (i == damaged) {
      continue;
    }
    payload_of(i, wanted);
    assert_true(place < journal->block_count);
    assert_int_equal(journal->blocks[place].first, firsts[i]);
    assert_int_equal(journal->blocks[place].count, counts[i]);
    assert_true(journal_read(journal, &journal->blocks[place], found, &error));
    assert_memory_equal(found, wanted, (size_t)counts[i]);
    place++;
  }
  assert_int_equal(journal->block_count, place);
}

/* One wrong bit anywhere in the file: at most the block that it hits is lost, never the others, and how many rows it
 * held is told, once. */
static void test_a_wrong_bit_costs_one_block(void **state) {
  struct place *place = *state;
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  for (int64_t at = 0; at < ends[BLOCKS]; at++) {
    int hit = -1;
    for (int i = 0; i < BLOCKS; i++) {
      hit = at >= ends[i] && at < ends[i + 1] ? i : hit;
    }
    struct journal journal;
    struct error error = {0};
    (void)unlink(place->path);
    write_three(place->path, ends);
    flip(place->path, at, (int)(at % 8));
    assert_true(journal_open(&journal, place->path, &head, &error));
    expect_all_but(&journal, hit);
    bool of_known_size = hit >= 0 && (hit < BLOCKS - 1 || at >= ends[hit] + 24);
    if (of_known_size) {
      assert_int_equal(journal.lost, counts[hit]);
    }
    assert_int_equal(journal.damaged > 0 || journal.cut > 0, hit >= 0);
    journal_close(&journal);
    assert_true(journal_open(&journal, place->path, &head, &error));
    expect_all_but(&journal, hit);
    assert_int_equal(journal.damaged + journal.cut + journal.lost, 0);
    journal_close(&journal);
  }
}

static void test_an_empty_journal_is_begun_anew(void **state) {
  struct place *place = *state;
  struct journal journal;
  struct error error = {0};
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  assert_int_equal(truncate(place->path, 0), 0);
  assert_true(journal_open(&journal, place->path, &head, &error));
  assert_int_equal(journal.rows, 0);
  assert_true(journal_append(&journal, firsts[1], counts[1], "bbb", 3, &error));
  journal_close(&journal);
  assert_true(journal_open(&journal, place->path, &head, &error));
  assert_int_equal(journal.rows, 3);
  journal_close(&journal);
}

/* A journal is made beside its name first: nothing of others is lost there. */
static void test_what_is_in_the_way_stays(void **state) {
  struct place *place = *state;
  struct journal journal;
  struct error error = {0};
  char fresh[128];
  char other[128];
  char text[8] = "";
  (void)snprintf(fresh, sizeof fresh, "%s.new", place->path);
  (void)snprintf(other, sizeof other, "%s.other", place->path);
  FILE *file = fopen(other, "w");
  assert_non_null(file);
  (void)fputs("mine", file);
  (void)fclose(file);
  assert_int_equal(symlink(other, fresh), 0);
  assert_false(journal_create(&journal, place->path, &head, &error));
  assert_int_equal(unlink(fresh), 0);
  assert_int_equal(rename(other, fresh), 0);
  assert_false(journal_create(&journal, place->path, &head, &error));
  file = fopen(fresh, "r");
  assert_non_null(file);
  assert_non_null(fgets(text, sizeof text, file));
  (void)fclose(file);
  assert_string_equal(text, "mine");
  (void)unlink(fresh);
}

static void expect_refusal(const char *path, const struct journal_head *other, const char *words) {
  struct journal journal;
  struct error error = {0};
  assert_false(journal_open(&journal, path, other, &error));
  assert_non_null(strstr(error.text, words));
  assert_int_equal(error_exit_status(error.code), 2);
}

static void test_another_sweep_is_refused(void **state) {
  struct place *place = *state;
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  struct journal_head other = head;
  other.study = 43;
  expect_refusal(place->path, &other, "another study");
  other = head;
  (void)snprintf(other.program, sizeof other.program, "program 2");
  expect_refusal(place->path, &other, "program 1, build 1; this is program 2");
  (void)snprintf(other.program, sizeof other.program, "program 1, build 2");
  expect_refusal(place->path, &other, "program 1, build 1; this is program 1, build 2");
  other = head;
  other.shard = 1;
  other.shards = 4;
  expect_refusal(place->path, &other, "shard 0/1, not of 1/4");
  other = head;
  other.arithmetic = 8;
  expect_refusal(place->path, &other, "rounds otherwise");
  assert_int_equal(truncate(place->path, 50), 0);
  expect_refusal(place->path, &head, "damaged");
}

static void test_a_position_is_never_counted_twice(void **state) {
  struct place *place = *state;
  struct journal journal;
  struct error error = {0};
  assert_true(journal_create(&journal, place->path, &head, &error));
  assert_true(journal_append(&journal, 10, 5, "abcde", 5, &error));
  assert_true(journal_append(&journal, 0, 10, "abcdefghij", 10, &error));
  assert_true(journal_sort(&journal, &error));
  assert_true(journal_append(&journal, 14, 2, "ab", 2, &error));
  assert_false(journal_sort(&journal, &error));
  assert_non_null(strstr(error.text, "twice"));
  journal_close(&journal);
}

static void test_one_writer_at_a_time(void **state) {
  struct place *place = *state;
  struct journal first;
  struct journal second;
  struct error error = {0};
  assert_true(journal_create(&first, place->path, &head, &error));
  assert_false(journal_open(&second, place->path, &head, &error));
  assert_non_null(strstr(error.text, "another sweep"));
  journal_close(&first);
}

/* What the journal lacks is dealt out once, all of it, whatever the sizes of the spans. */
static void test_the_queue_deals_every_gap_once(void **state) {
  struct place *place = *state;
  struct journal journal;
  struct work_queue queue;
  struct span span;
  struct error error = {0};
  int times[1000] = {0};
  int64_t ends[BLOCKS + 1];
  write_three(place->path, ends);
  assert_true(journal_open(&journal, place->path, &head, &error));
  assert_true(journal_sort(&journal, &error));
  assert_true(work_queue_open(&queue, 1000, &journal, 2, 1, &error));
  assert_int_equal(queue.left, 1000 - 38);
  while (work_queue_take(&queue, &span)) {
    for (int64_t i = 0; i < span.count; i++) {
      times[span.first + i]++;
    }
    work_queue_learn(&queue, span.count, 0.004 * (double)span.count);
  }
  for (int64_t b = 0; b < journal.block_count; b++) {
    for (int64_t i = 0; i < journal.blocks[b].count; i++) {
      times[journal.blocks[b].first + i]++;
    }
  }
  for (int i = 0; i < 1000; i++) {
    assert_int_equal(times[i], 1);
  }
  work_queue_close(&queue);
  journal_close(&journal);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_what_is_written_is_read, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_torn_anywhere, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_a_wrong_bit_costs_one_block, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_an_empty_journal_is_begun_anew, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_what_is_in_the_way_stays, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_another_sweep_is_refused, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_a_position_is_never_counted_twice, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_one_writer_at_a_time, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_the_queue_deals_every_gap_once, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
