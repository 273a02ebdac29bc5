#include "steady_start.h"

#include <math.h>

#include "balance.h"

#define SETTLING_SECONDS 30.0 /* a heavy machine reaches its speed in less */

enum { ROUNDS = 4 };

/* A search may end at another balance that the plant would never come to; near where it settles it cannot. */
bool steady_start(const struct plant *plant, const void *model, void *mode, double *state, struct error *error) {
  struct balance balance;
  const char *words = NULL;
  balance_begin(&balance, plant, model, mode, 0.0);
  for (int round = 0; round < ROUNDS; round++) {
    if (!balance_settle(&balance, SETTLING_SECONDS, state, &words)) {
      return error_set(error, ERROR_RUN, "no steady start: with what is asked at time zero %s",
                       words != NULL ? words : "the machine leaves what can be computed");
    }
    double found[PLANT_STATE_LIMIT];
    for (int i = 0; i < balance.state_count; i++) {
      found[i] = state[i];
    }
    if (balance_find(&balance, found)) {
      for (int i = 0; i < balance.state_count; i++) {
        state[i] = found[i];
      }
      return true;
    }
  }
  return error_set(error, ERROR_RUN,
                   "no steady start: with the pedals and the grade of time zero the machine does not come to a steady "
                   "speed within %.0f s",
                   ROUNDS * SETTLING_SECONDS);
}
