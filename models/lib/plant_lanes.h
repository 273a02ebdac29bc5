/* A plant in vector lanes: the same kernels as the plain plant's, on LANES cases at once, or on LANES instants or
 * states of one case. Every number is that of the plain function in that lane, to the last bit.
 *
 * Memory is the caller's: zero before the first load, aligned as `lanes`, and never moved. The first model and the
 * first mode that are loaded fill all lanes, so that a lane without a case computes something harmless. Tables of a
 * case and of its model (struct profile, struct map, the oil's) are not copied: a lane's case and plain model must live
 * until another is loaded into that lane, and the model may be prepared anew in between.
 *
 * Vectors are passed by address, because how they are passed by value depends on the instruction set compiled for. */
#ifndef SWASHLOOP_MODELS_PLANT_LANES_H
#define SWASHLOOP_MODELS_PLANT_LANES_H

#include <stddef.h>
#include <stdint.h>

enum { LANES = 8, LANES_ALL = -1 };

/* One number, [lane]. */
typedef double lanes __attribute__((vector_size(64)));

/* Where an evaluation at LANES instants puts its results, rows as in the plain plant; NULL: not wanted. */
struct lanes_evaluation {
  lanes *powers;
  lanes *signals;
  lanes *events;
  lanes *guards;
};

struct plant_lanes {
  const char *name; /* of the processor compiled for */
  int width;        /* doubles in one instruction; with 2 an evaluation costs as much as LANES plain ones */
  size_t model_size;
  size_t mode_size;
  /* A number that is the same for cases, given by their parameters, that may lie side by side, and hardly ever for
   * others. */
  uint64_t (*laws)(const void *parameters);
  /* A prepared plain model into one lane (or LANES_ALL). NULL, or why this case cannot join those that are in:
   * laws and which tables are there must be the same, numbers, the oil's too, may differ. */
  const char *(*load_model)(void *lane_model, int lane, const void *model);
  /* A plain mode into one lane (or LANES_ALL). */
  void (*load_mode)(void *lane_mode, int lane, const void *mode);
  /* As in struct plant; state and rates are [active state]. */
  void (*rates)(const void *lane_model, const void *lane_mode, const lanes *t, const lanes *state, lanes *rates);
  void (*evaluate)(const void *lane_model, const void *lane_mode, const lanes *t, const lanes *state,
                   const struct lanes_evaluation *to);
};

#endif
