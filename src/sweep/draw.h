/* Numbers for studies. Every one is a pure function of what it is asked for: no sequence has to be run through, so that
 * any thread on any machine finds the same number for the same case. */
#ifndef SWASHLOOP_SWEEP_DRAW_H
#define SWASHLOOP_SWEEP_DRAW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* 64 well-mixed bits from two counters and a seed. */
uint64_t draw_bits(uint64_t seed, uint64_t stream, uint64_t counter);
/* In (0, 1), never 0 or 1. */
double draw_share(uint64_t seed, uint64_t stream, uint64_t counter);
/* A permutation of 0 to count - 1, one for each seed and stream; count up to 2^32. */
uint64_t draw_permuted(uint64_t seed, uint64_t stream, uint64_t count, uint64_t index);

/* Sample number `sample` of a Latin hypercube on one axis, in (0, 1). The first `first` samples are a design of that
 * size: each of as many equal shares of the axis holds one. Each doubling is one, too: every share is cut in two, and
 * the new samples lie in the halves that were empty (Sallaberry, Helton and Hora 2008, without their correlations; Qian
 * 2009 calls such designs nested). */
double draw_latin(uint64_t seed, uint64_t axis, uint64_t first, uint64_t sample);

enum { DRAW_SOBOL_DIMENSIONS = 64 };
/* The 32 bits of point `index` of the Sobol sequence in dimension 0 to 63; the first point is zero. */
uint32_t draw_sobol(int dimension, uint32_t index);
/* The same with Owen's nested scrambling: each bit is flipped or not by a draw that all higher bits decide. */
uint32_t draw_sobol_scrambled(uint64_t seed, int dimension, uint32_t index);
/* The middle of the cell that 32 bits name, in (0, 1). */
double draw_share_of_bits(uint32_t bits);

/* Standard normal distribution and its inverse; p in (0, 1). */
double draw_normal_share(double z);
double draw_normal_inverse(double p);

/* A running fingerprint of bytes, 64 bits; start with DRAW_HASH_START. */
#define DRAW_HASH_START UINT64_C(0xcbf29ce484222325)
/* The fingerprint with `size` bytes more. */
uint64_t draw_hash(uint64_t hash, const void *bytes, size_t size);

#endif
