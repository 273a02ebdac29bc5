/* WIDE before a function: compiled twice, once for any processor and once for those with 256-bit vector registers;
 * which one runs is decided when the program starts. Same numbers to the last bit: each element is computed as before,
 * only more of them at once (sums keep the order that they are written in). */
#ifndef SWASHLOOP_CORE_WIDE_H
#define SWASHLOOP_CORE_WIDE_H

#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GNUC__) && !defined(__clang__) &&                       \
    defined(__OPTIMIZE__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define WIDE __attribute__((target_clones("avx2", "default")))
#else
#define WIDE
#endif

#endif
