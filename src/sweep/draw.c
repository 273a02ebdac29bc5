#include "draw.h"

#include <math.h>

#include "sobol_numbers.h"

_Static_assert((int)DRAW_SOBOL_DIMENSIONS <= (int)SOBOL_DIMENSIONS, "each dimension has its numbers");

/* The finishing function of the splitmix generator (Steele, Lea and Flood 2014, variant 13 of Stafford): every bit of
 * the argument reaches every bit of the result. */
static uint64_t mix(uint64_t x) {
  x ^= x >> 30;
  x *= UINT64_C(0xbf58476d1ce4e5b9);
  x ^= x >> 27;
  x *= UINT64_C(0x94d049bb133111eb);
  x ^= x >> 31;
  return x;
}

#define GOLDEN UINT64_C(0x9e3779b97f4a7c15)

uint64_t draw_bits(uint64_t seed, uint64_t stream, uint64_t counter) {
  uint64_t key = mix(seed + GOLDEN);
  key = mix(key + GOLDEN * (stream + 1));
  return mix(key + GOLDEN * (counter + 1));
}

double draw_share(uint64_t seed, uint64_t stream, uint64_t counter) {
  return ((double)(draw_bits(seed, stream, counter) >> 12) + 0.5) * 0x1p-52;
}

enum { FEISTEL_ROUNDS = 6 };

/* Half of the smallest even number of bits that holds `count`. */
static int half_bits(uint64_t count) {
  int half = 1;
  while (half < 16 && (UINT64_C(1) << (2 * half)) < count) {
    half++;
  }
  return half;
}

/* Rounds of a Feistel network on the smallest even number of bits that holds `count`; what falls outside goes round
 * again, which must end as the network is a permutation. */
uint64_t draw_permuted(uint64_t seed, uint64_t stream, uint64_t count, uint64_t index) {
  int half = half_bits(count);
  uint64_t mask = (UINT64_C(1) << half) - 1;
  uint64_t x = index;
  do {
    uint64_t left = x >> half;
    uint64_t right = x & mask;
    for (uint64_t round = 0; round < FEISTEL_ROUNDS; round++) {
      uint64_t next = left ^ (draw_bits(seed, stream * FEISTEL_ROUNDS + round, right) & mask);
      left = right;
      right = next;
    }
    x = (left << half) | right;
  } while (x >= count);
  return x;
}

/* The index that draw_permuted takes to `value`: its rounds backwards. */
static uint64_t unpermuted(uint64_t seed, uint64_t stream, uint64_t count, uint64_t value) {
  int half = half_bits(count);
  uint64_t mask = (UINT64_C(1) << half) - 1;
  uint64_t x = value;
  do {
    uint64_t left = x >> half;
    uint64_t right = x & mask;
    for (uint64_t round = FEISTEL_ROUNDS; round-- > 0;) {
      uint64_t before = right ^ (draw_bits(seed, stream * FEISTEL_ROUNDS + round, left) & mask);
      right = left;
      left = before;
    }
    x = (left << half) | right;
  } while (x >= count);
  return x;
}

/* ---- Latin hypercubes that grow ---- */

/* A point on one axis: in which of how many equal shares it was put, and where in it. */
struct latin_point {
  int doublings; /* of the first design, when it was put there */
  uint64_t share;
  double within;
};

/* Two streams an axis, and a further one a doubling: which share of the axis, and where in it. */
static uint64_t share_stream(uint64_t axis, int doublings) {
  return ((uint64_t)doublings << 40) + 2 * axis;
}

static double within_share(uint64_t seed, uint64_t axis, uint64_t sample) {
  return draw_share(seed, UINT64_C(1) << 32 | axis, sample);
}

/* The share in which a point lies where the axis has been cut in two `doublings` times. */
static uint64_t share_at(const struct latin_point *point, int doublings) {
  int finer = doublings - point->doublings;
  return (point->share << finer) + (uint64_t)ldexp(point->within, finer);
}

/* The point of the design of first * 2^doublings samples that lies in the given share. */
static struct latin_point point_in(uint64_t seed, uint64_t axis, uint64_t first, int doublings, uint64_t share) {
  uint64_t coarse = share >> doublings;
  uint64_t sample = unpermuted(seed, share_stream(axis, 0), first, coarse);
  struct latin_point point = {0, coarse, within_share(seed, axis, sample)};
  for (int d = 1; d <= doublings; d++) {
    uint64_t cell = share >> (doublings - d);
    if (share_at(&point, d) != cell) {
      uint64_t before = first << (d - 1);
      sample = before + unpermuted(seed, share_stream(axis, d), before, cell >> 1);
      point = (struct latin_point){d, cell, within_share(seed, axis, sample)};
    }
  }
  return point;
}

double draw_latin(uint64_t seed, uint64_t axis, uint64_t first, uint64_t sample) {
  if (sample < first) {
    uint64_t share = draw_permuted(seed, share_stream(axis, 0), first, sample);
    return ((double)share + within_share(seed, axis, sample)) / (double)first;
  }
  int doublings = 1;
  while (sample >= first << doublings) {
    doublings++;
  }
  uint64_t before = first << (doublings - 1);
  uint64_t coarse = draw_permuted(seed, share_stream(axis, doublings), before, sample - before);
  struct latin_point held = point_in(seed, axis, first, doublings - 1, coarse);
  uint64_t share = share_at(&held, doublings) ^ 1; /* the other half */
  return ((double)share + within_share(seed, axis, sample)) / (double)(2 * before);
}

/* Direction number `bit` (0: the highest bit) of a dimension, by the recurrence of its polynomial. */
static void directions_of(int dimension, uint32_t *directions) {
  if (dimension == 0) {
    for (int bit = 0; bit < 32; bit++) {
      directions[bit] = UINT32_C(1) << (31 - bit);
    }
    return;
  }
  const struct sobol_row *row = &sobol_rows[dimension - 1];
  int degree = row->degree;
  for (int bit = 0; bit < degree; bit++) {
    directions[bit] = (uint32_t)row->first[bit] << (31 - bit);
  }
  for (int bit = degree; bit < 32; bit++) {
    uint32_t value = directions[bit - degree] ^ (directions[bit - degree] >> degree);
    for (int i = 1; i < degree; i++) {
      if ((row->inner >> (degree - 1 - i)) & 1U) {
        value ^= directions[bit - i];
      }
    }
    directions[bit] = value;
  }
}

uint32_t draw_sobol(int dimension, uint32_t index) {
  uint32_t directions[32] = {0};
  directions_of(dimension, directions);
  /* In the order of the Gray code, as the sequence is usually run through. */
  uint32_t code = index ^ (index >> 1);
  uint32_t bits = 0;
  for (int bit = 0; code != 0; bit++, code >>= 1) {
    if (code & 1U) {
      bits ^= directions[bit];
    }
  }
  return bits;
}

uint32_t draw_sobol_scrambled(uint64_t seed, int dimension, uint32_t index) {
  uint32_t plain = draw_sobol(dimension, index);
  uint32_t bits = 0;
  for (int bit = 0; bit < 32; bit++) {
    /* The bits above this one, with a leading 1 so that their number counts, too. */
    uint64_t above = (UINT64_C(1) << bit) | (bit > 0 ? plain >> (32 - bit) : 0);
    uint32_t mask_not = (uint32_t)(draw_bits(seed, (uint64_t)dimension, above) >> 63);
    bits |= (((plain >> (31 - bit)) & 1U) ^ mask_not) << (31 - bit);
  }
  return bits;
}

double draw_share_of_bits(uint32_t bits) {
  return ((double)bits + 0.5) * 0x1p-32;
}

double draw_normal_share(double z) {
  return 0.5 * erfc(-z * 0.70710678118654752440);
}

/* A rational start (Abramowitz and Stegun 26.2.23, good to 4.5e-4), then Halley's iteration on the share itself. */
double draw_normal_inverse(double p) {
  double tail = p < 0.5 ? p : 1.0 - p;
  double t = sqrt(-2.0 * log(tail));
  double z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
  /* z > 0 leaves `tail` above it. */
  for (int turn = 0; turn < 3; turn++) {
    double density = 0.39894228040143267794 * exp(-0.5 * z * z);
    double miss = (tail - draw_normal_share(-z)) / density;
    z -= miss / (1.0 + 0.5 * z * miss);
  }
  return p < 0.5 ? -z : z;
}

uint64_t draw_hash(uint64_t hash, const void *bytes, size_t size) {
  const unsigned char *byte = bytes;
  for (size_t i = 0; i < size; i++) {
    hash = (hash ^ byte[i]) * UINT64_C(0x100000001b3);
  }
  return hash;
}
