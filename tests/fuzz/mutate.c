/* Drives a fuzz target without a fuzzer: PROGRAM TIMES FILE... gives it every file, and TIMES variations of each, the
 * same ones every time. A target that ends the program has found something; the last line says on which input. */
#include <dirent.h>
#include <signal.h>
#include <stdio.h>
#include <unistd.h>

#include "fuzz.h"

enum { SIZE_LIMIT = 1 << 20, LABEL_LIMIT = 512 };

static char label[LABEL_LIMIT]; /* of the input in hand, for the signal handler */

static void tell(int number) {
  ssize_t ignored = write(STDERR_FILENO, label, strlen(label));
  (void)ignored;
  (void)signal(number, SIG_DFL);
  (void)raise(number);
}

struct input {
  uint8_t *bytes;
  size_t size;
};

/* The next of a fixed sequence of numbers (xorshift). */
static uint32_t draw(uint64_t *state, uint32_t below) {
  *state ^= *state << 13;
  *state ^= *state >> 7;
  *state ^= *state << 17;
  return below > 0 ? (uint32_t)((*state >> 16) % below) : 0;
}

/* Cut `count` bytes out at `at`, put `put` bytes in there. */
static void replace(struct input *input, size_t at, size_t count, const uint8_t *put, size_t put_count) {
  size_t behind = input->size - at - count;
  if (input->size - count + put_count > SIZE_LIMIT) {
    return;
  }
  memmove(input->bytes + at + put_count, input->bytes + at + count, behind);
  memcpy(input->bytes + at, put, put_count);
  input->size += put_count - count;
}

static void vary(struct input *input, uint64_t *state) {
  static const char *const words[] = {",",     ";",
                                      "\n",    "\r\n",
                                      "\"",    "[",
                                      "]",     " ",
                                      "\t",    "#",
                                      "-",     ".",
                                      "1e308", "nan",
                                      "0",     "99999999999999999999",
                                      ":",     "{",
                                      "}",     "- ",
                                      "bar",   "\xef\xbb\xbf",
                                      "\xff"};
  uint8_t copy[64];
  uint32_t size = (uint32_t)input->size;
  size_t at = draw(state, size + 1);
  size_t span = draw(state, (uint32_t)(size - at < sizeof copy ? size - at : sizeof copy) + 1);
  switch (draw(state, 5)) {
  case 0:
    if (at < size) {
      input->bytes[at] = (uint8_t)(input->bytes[at] ^ (1U << draw(state, 8)));
    }
    break;
  case 1:
    replace(input, at, span, copy, 0);
    break;
  case 2:
    memcpy(copy, input->bytes + at, span);
    replace(input, draw(state, size + 1), 0, copy, span);
    break;
  case 3:
    input->size = at;
    break;
  default: {
    const char *word = words[draw(state, (uint32_t)(sizeof words / sizeof words[0]))];
    replace(input, at, at < size ? draw(state, 2) : 0, (const uint8_t *)word, strlen(word));
  }
  }
}

static bool read_input(const char *path, struct input *input) {
  FILE *file = fopen(path, "rb");
  if (!file) {
    return false;
  }
  input->size = fread(input->bytes, 1, SIZE_LIMIT, file);
  bool good = ferror(file) == 0;
  (void)fclose(file);
  return good;
}

/* One file and its variations; the number of inputs tried, -1 if it cannot be read. */
static long drive(const char *path, long times, struct input *input) {
  uint64_t state = UINT64_C(0x9e3779b97f4a7c15);
  for (long n = 0; n <= times; n++) {
    if (!read_input(path, input)) {
      return -1;
    }
    (void)snprintf(label, sizeof label, "found: variation %ld of %s\n", n, path);
    for (uint32_t changes = n > 0 ? 1 + draw(&state, 4) : 0; changes > 0; changes--) {
      vary(input, &state);
    }
    (void)LLVMFuzzerTestOneInput(input->bytes, input->size);
  }
  return times + 1;
}

int main(int count, char **words) {
  struct input input = {malloc(SIZE_LIMIT), 0};
  long times = count > 2 ? strtol(words[1], NULL, 10) : 0;
  long tried = 0;
  check(input.bytes && times > 0);
  (void)signal(SIGABRT, tell);
  (void)signal(SIGSEGV, tell);
  for (int i = 2; i < count && tried >= 0; i++) {
    long more = drive(words[i], times, &input);
    tried = more < 0 ? -1 : tried + more;
    if (more < 0) {
      (void)fprintf(stderr, "%s cannot be read\n", words[i]);
    }
  }
  free(input.bytes);
  (void)printf("%ld inputs\n", tried);
  return tried > 0 ? 0 : 1;
}
