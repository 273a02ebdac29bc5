/* Eight numbers side by side: one of each of eight cases. */
#ifndef SWASHLOOP_LANES_LANES_H
#define SWASHLOOP_LANES_LANES_H

enum { LANES = 8 };
typedef double lanes __attribute__((vector_size(8 * LANES)));

#endif
