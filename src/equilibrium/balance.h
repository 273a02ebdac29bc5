/* A plant in balance: states and inputs at which chosen rates are zero. Distance, temperatures and the tank's oil
 * drift in every steady drive, so they are held at given values; any other state may be held instead (a speed that is
 * prescribed), an input freed (the grade that belongs to it), and a signal given a value. */
#ifndef SWASHLOOP_EQUILIBRIUM_BALANCE_H
#define SWASHLOOP_EQUILIBRIUM_BALANCE_H

#include <stdbool.h>

#include "plant.h"
#include "nonlinear.h"

enum { BALANCE_EXTRA_LIMIT = 4 };

/* An input that is sought: `set` puts a value into model or mode. */
struct balance_input {
  double value; /* SI */
  double size;  /* typical */
  void (*set)(void *context, double value);
  void *context;
};

/* A signal that shall have a value. */
struct balance_condition {
  int signal;
  double level; /* SI */
  double size;  /* typical */
};

struct balance {
  const struct plant *plant;
  const void *model;
  void *mode;
  double time; /* s */
  int state_count;
  int rows[PLANT_STATE_LIMIT];
  bool sought[PLANT_STATE_LIMIT]; /* by place among the active states: the state is an unknown */
  bool still[PLANT_STATE_LIMIT];  /* its rate shall be zero */
  int input_count;
  struct balance_input inputs[BALANCE_EXTRA_LIMIT];
  int condition_count;
  struct balance_condition conditions[BALANCE_EXTRA_LIMIT];
  struct nonlinear_counts counts;
};

/* The plain balance of a plant: every state sought, every rate still, but for those that drift. */
void balance_begin(struct balance *balance, const struct plant *plant, const void *model, void *mode, double time);
/* The states that drift: their places; returns how many. */
int balance_drifting(const struct balance *balance, int *places);

/* From the state and the inputs' values as guess to balance. The mode is made right for the state found. False if there
 * is none near; state and inputs are then where the search ended. */
bool balance_find(struct balance *balance, double *state);
/* Let the states that are sought run for some seconds, the others held; false if the integrator fails. `words` gets
 * what the plant said if it wanted to end there (an engine that stalls), else NULL. */
bool balance_settle(struct balance *balance, double seconds, double *state, const char **words);

#endif
