#include "sha256.h"

#include <string.h>

static const uint32_t round_constants[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

static uint32_t rotate(uint32_t word, int by) {
  return word >> by | word << (32 - by);
}

static void schedule_from(const unsigned char block[64], uint32_t schedule[64]) {
  for (size_t i = 0; i < 16; i++) {
    const unsigned char *at = block + 4 * i;
    schedule[i] = (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | (uint32_t)at[3];
  }
  for (int i = 16; i < 64; i++) {
    uint32_t far = schedule[i - 15];
    uint32_t near = schedule[i - 2];
    schedule[i] = schedule[i - 16] + (rotate(far, 7) ^ rotate(far, 18) ^ far >> 3) + schedule[i - 7] +
                  (rotate(near, 17) ^ rotate(near, 19) ^ near >> 10);
  }
}

static void take_block(struct sha256 *hash) {
  uint32_t schedule[64];
  uint32_t now[8];
  schedule_from(hash->block, schedule);
  memcpy(now, hash->state, sizeof now);
  for (int i = 0; i < 64; i++) {
    uint32_t e = now[4];
    uint32_t a = now[0];
    uint32_t choice = (e & now[5]) ^ (~e & now[6]);
    uint32_t majority = (a & now[1]) ^ (a & now[2]) ^ (now[1] & now[2]);
    uint32_t first =
        now[7] + (rotate(e, 6) ^ rotate(e, 11) ^ rotate(e, 25)) + choice + round_constants[i] + schedule[i];
    uint32_t second = (rotate(a, 2) ^ rotate(a, 13) ^ rotate(a, 22)) + majority;
    memmove(now + 1, now, 7 * sizeof now[0]);
    now[4] += first;
    now[0] = first + second;
  }
  for (int i = 0; i < 8; i++) {
    hash->state[i] += now[i];
  }
}

void sha256_start(struct sha256 *hash) {
  *hash = (struct sha256){
      .state = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19}};
}

void sha256_add(struct sha256 *hash, const void *bytes, size_t count) {
  const unsigned char *at = bytes;
  while (count > 0) {
    size_t held = (size_t)(hash->length % 64);
    size_t share = count < 64 - held ? count : 64 - held;
    memcpy(hash->block + held, at, share);
    hash->length += share;
    at += share;
    count -= share;
    if (hash->length % 64 == 0) {
      take_block(hash);
    }
  }
}

void sha256_end(struct sha256 *hash, unsigned char digest[32]) {
  static const unsigned char padding[64] = {0x80};
  uint64_t bits = hash->length * 8;
  size_t held = (size_t)(hash->length % 64);
  sha256_add(hash, padding, held < 56 ? 56 - held : 120 - held);
  unsigned char length[8];
  for (int i = 0; i < 8; i++) {
    length[i] = (unsigned char)(bits >> (56 - 8 * i));
  }
  sha256_add(hash, length, sizeof length);
  for (int i = 0; i < 32; i++) {
    digest[i] = (unsigned char)(hash->state[i / 4] >> (24 - 8 * (i % 4)));
  }
}

void sha256_hex(const unsigned char digest[32], char text[65]) {
  static const char digits[] = "0123456789abcdef";
  for (size_t i = 0; i < 32; i++) {
    text[2 * i] = digits[digest[i] >> 4];
    text[2 * i + 1] = digits[digest[i] & 15];
  }
  text[64] = '\0';
}

void sha256_of_text(const char *words, char text[65]) {
  struct sha256 hash;
  unsigned char digest[32];
  sha256_start(&hash);
  sha256_add(&hash, words, strlen(words));
  sha256_end(&hash, digest);
  sha256_hex(digest, text);
}

bool sha256_of_file(const char *path, char text[65]) {
  FILE *file = fopen(path, "rb");
  if (file == NULL) {
    return false;
  }
  struct sha256 hash;
  unsigned char digest[32];
  unsigned char block[16384];
  sha256_start(&hash);
  for (size_t taken = 0; (taken = fread(block, 1, sizeof block, file)) > 0;) {
    sha256_add(&hash, block, taken);
  }
  bool good = ferror(file) == 0;
  (void)fclose(file);
  sha256_end(&hash, digest);
  sha256_hex(digest, text);
  return good;
}
