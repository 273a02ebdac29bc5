/* The bytes are a polynomial over GF(2), the sum its remainder. Four pieces of 128 bits are each moved up by 512 bits
 * and added to the next four, until 512 bits are left with the same remainder; those go to zlib, with what is left
 * over. To move up by n bits is to multiply by x^n mod P: V. Gopal, E. Ozturk, J. Guilford and others, Fast CRC
 * Computation for Generic Polynomials Using PCLMULQDQ Instruction (2009), from memory, its constants, too. Checked
 * against zlib. */
#include "checksum.h"

#include <zlib.h>

#if defined(__x86_64__)
#include <immintrin.h>

enum { LANE = 16, FOLD = 4 * LANE };

/* `piece` moved up by 512 bits, and `next` added. */
__attribute__((target("pclmul"))) static __m128i folded(__m128i piece, __m128i next) {
  const __m128i by = _mm_set_epi64x(0x01c6e41596, 0x0154442bd4);
  __m128i low = _mm_clmulepi64_si128(piece, by, 0x00);
  __m128i high = _mm_clmulepi64_si128(piece, by, 0x11);
  return _mm_xor_si128(_mm_xor_si128(low, high), next);
}

/* Of whole folds, at least one: 64 bytes whose sum, begun anew, is that of all `count` bytes behind `sum`. */
__attribute__((target("pclmul"))) static void fold(uint32_t sum, const unsigned char *bytes, size_t count,
                                                   unsigned char *left) {
  __m128i piece[4];
  for (size_t i = 0; i < 4; i++) {
    piece[i] = _mm_loadu_si128((const __m128i *)(const void *)(bytes + i * LANE));
  }
  piece[0] = _mm_xor_si128(piece[0], _mm_cvtsi32_si128((int)~sum));
  for (size_t at = FOLD; at < count; at += FOLD) {
    for (size_t i = 0; i < 4; i++) {
      piece[i] = folded(piece[i], _mm_loadu_si128((const __m128i *)(const void *)(bytes + at + i * LANE)));
    }
  }
  for (size_t i = 0; i < 4; i++) {
    _mm_storeu_si128((__m128i *)(void *)(left + i * LANE), piece[i]);
  }
}

uint32_t checksum_add(uint32_t sum, const unsigned char *bytes, size_t count) {
  size_t whole = count - count % FOLD;
  if (whole > 0 && __builtin_cpu_supports("pclmul")) {
    unsigned char left[FOLD];
    fold(sum, bytes, whole, left);
    sum = (uint32_t)crc32_z(0xFFFFFFFF, left, FOLD); /* the register begins at zero: `sum` stands in `left` */
    bytes += whole;
    count -= whole;
  }
  return (uint32_t)crc32_z(sum, bytes, count);
}

#else

uint32_t checksum_add(uint32_t sum, const unsigned char *bytes, size_t count) {
  return (uint32_t)crc32_z(sum, bytes, count);
}

#endif
