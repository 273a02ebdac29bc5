/* The checksum of files against zlib's, a reference of its own: any length, any begin, in one go or in pieces. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <zlib.h>

#include "checksum.h"

enum { SIZE = 5000 };

/* Bytes of no pattern. */
static void fill(unsigned char *bytes) {
  uint32_t x = 12345;
  for (int i = 0; i < SIZE; i++) {
    x = x * 1664525U + 1013904223U;
    bytes[i] = (unsigned char)(x >> 24);
  }
}

/* The check value of the CRC-32 of ISO 3309 and ITU-T V.42: that of "123456789" (from memory). */
static void the_check_value_of_the_standard(void **state) {
  (void)state;
  assert_int_equal(checksum_add(0, (const unsigned char *)"123456789", 9), 0xCBF43926);
}

/* Every length through several folds, at every begin within a lane. */
static void every_length_is_as_zlib_has_it(void **state) {
  (void)state;
  unsigned char bytes[SIZE];
  fill(bytes);
  for (size_t begin = 0; begin < 17; begin++) {
    for (size_t count = 0; count < 400; count++) {
      uLong expected = crc32_z(0, bytes + begin, count);
      assert_int_equal(checksum_add(0, bytes + begin, count), expected);
    }
  }
  assert_int_equal(checksum_add(0, bytes, SIZE), crc32_z(0, bytes, SIZE));
}

/* Pieces add up to the whole, wherever it is cut. */
static void pieces_add_up(void **state) {
  (void)state;
  unsigned char bytes[SIZE];
  fill(bytes);
  for (size_t cut = 0; cut <= SIZE; cut += 7) {
    uint32_t sum = checksum_add(checksum_add(0, bytes, cut), bytes + cut, SIZE - cut);
    assert_int_equal(sum, crc32_z(0, bytes, SIZE));
  }
}

/* A bit that turned over is seen. */
static void a_changed_bit_changes_it(void **state) {
  (void)state;
  unsigned char bytes[SIZE];
  fill(bytes);
  uint32_t before = checksum_add(0, bytes, SIZE);
  for (int bit = 0; bit < SIZE * 8; bit += 97) {
    bytes[bit / 8] ^= (unsigned char)(1U << (bit % 8));
    assert_int_not_equal(checksum_add(0, bytes, SIZE), before);
    bytes[bit / 8] ^= (unsigned char)(1U << (bit % 8));
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_check_value_of_the_standard),
      cmocka_unit_test(every_length_is_as_zlib_has_it),
      cmocka_unit_test(pieces_add_up),
      cmocka_unit_test(a_changed_bit_changes_it),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
