/* A journal in which any bytes are changed: it is refused with a reason, or what is read from it are blocks that were
 * written, none twice.
 *
 * The input is a list of changes to a good journal of three blocks, three bytes each: where (two bytes) and what is put
 * there. Where 0xff stands first the file is cut at the place that follows, in a quarter of a byte's range each. */
#include "fuzz.h"

#include <stdio.h>
#include <unistd.h>

#include "journal.h"

enum { BLOCKS = 3, CHANGE_BYTES = 3 };

static const struct journal_head head = {
    .study = 42, .program = "program 1, build 1", .arithmetic = 7, .cases = 1000, .shards = 1};
static const int64_t firsts[BLOCKS] = {20, 0, 100};
static const int64_t counts[BLOCKS] = {10, 3, 25};

static void payload_of(int i, unsigned char *payload) {
  memset(payload, 'a' + i, (size_t)counts[i]);
}

static void make_journal(const char *path) {
  struct journal journal;
  struct error error = {0};
  unsigned char payload[32];
  (void)unlink(path);
  check(journal_create(&journal, path, &head, &error));
  for (int i = 0; i < BLOCKS; i++) {
    payload_of(i, payload);
    check(journal_append(&journal, firsts[i], counts[i], payload, (size_t)counts[i], &error));
  }
  journal_close(&journal);
}

/* The bytes of a good journal, made once. */
static size_t good_bytes(const char *path, unsigned char *bytes, size_t room) {
  make_journal(path);
  FILE *file = fopen(path, "rb");
  check(file);
  size_t size = fread(bytes, 1, room, file);
  check(size > 0 && size < room);
  (void)fclose(file);
  return size;
}

static size_t change(unsigned char *file, size_t length, const uint8_t *bytes, size_t size) {
  for (size_t i = 0; i + CHANGE_BYTES <= size; i += CHANGE_BYTES) {
    size_t place = (size_t)bytes[i] << 8 | bytes[i + 1];
    if (bytes[i] == 0xff) {
      length = length * bytes[i + 1] / 256;
    } else if (length > 0) {
      file[place % length] = bytes[i + 2];
    }
  }
  return length;
}

/* Each block is one that was written, with its payload, and no block stands there twice. */
static void check_blocks(struct journal *journal) {
  bool seen[BLOCKS] = {false};
  struct error error = {0};
  unsigned char found[32];
  unsigned char payload[32];
  int64_t rows = 0;
  for (int64_t b = 0; b < journal->block_count; b++) {
    const struct journal_block *block = &journal->blocks[b];
    int i = 0;
    while (i < BLOCKS && (firsts[i] != block->first || counts[i] != block->count)) {
      i++;
    }
    check(i < BLOCKS && !seen[i] && block->bytes == counts[i]);
    seen[i] = true;
    rows += block->count;
    payload_of(i, payload);
    check(journal_read(journal, block, found, &error));
    check(memcmp(found, payload, (size_t)counts[i]) == 0);
  }
  check(rows == journal->rows);
  check(journal_sort(journal, &error));
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size) {
  static char path[64];
  static unsigned char good[1 << 16];
  static size_t good_size;
  if (good_size == 0) {
    (void)snprintf(path, sizeof path, "/tmp/swashloop-fuzz-journal-%ld", (long)getpid());
    good_size = good_bytes(path, good, sizeof good);
  }
  unsigned char *file = malloc(good_size);
  check(file);
  memcpy(file, good, good_size);
  size_t length = change(file, good_size, bytes, size);
  FILE *out = fopen(path, "wb");
  check(out && fwrite(file, 1, length, out) == length && fclose(out) == 0);
  free(file);

  struct journal journal;
  struct error error = {0};
  if (journal_open(&journal, path, &head, &error)) {
    check_blocks(&journal);
    /* It can be written on, and what was added is found again. */
    int64_t before = journal.rows;
    check(journal_append(&journal, 500, 1, "x", 1, &error));
    journal_close(&journal);
    check(journal_open(&journal, path, &head, &error) && journal.rows == before + 1);
    journal_close(&journal);
  } else {
    check(error.text[0] != '\0' && !strpbrk(error.text, "\n\r\t"));
  }
  (void)unlink(path);
  return 0;
}
