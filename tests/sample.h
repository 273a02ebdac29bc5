/* Seeded numbers for tests: the same on every machine. */
#ifndef SWASHLOOP_TESTS_SAMPLE_H
#define SWASHLOOP_TESTS_SAMPLE_H

#include <math.h>
#include <stdint.h>

struct sampler {
  uint64_t state;
};

/* Uniform in [0, 1): splitmix64. */
static inline double sample_unit(struct sampler *sampler) {
  sampler->state += 0x9E3779B97F4A7C15u;
  uint64_t z = sampler->state;
  z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
  z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
  z ^= z >> 31;
  return (double)(z >> 11) / 9007199254740992.0;
}

static inline double sample_between(struct sampler *sampler, double low, double high) {
  return low + (high - low) * sample_unit(sampler);
}

/* Evenly in the logarithm. */
static inline double sample_decades(struct sampler *sampler, double low, double high) {
  return exp(sample_between(sampler, log(low), log(high)));
}

/* 0 to count - 1. */
static inline int sample_choice(struct sampler *sampler, int count) {
  return (int)(sample_unit(sampler) * count);
}

#endif
