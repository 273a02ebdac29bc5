/* A plant linearised about one instant: the Jacobian of its rates, what it does by itself (eigenvalues, modes) and how
 * it answers an input. By central differences; where a kink is near, the two sides differ, and that is reported. */
#ifndef SWASHLOOP_ANALYSIS_LINEAR_H
#define SWASHLOOP_ANALYSIS_LINEAR_H

#include <stdbool.h>

#include "error.h"
#include "plant.h"

/* The instant. Nothing here changes model or mode. */
struct instant {
  const struct plant *plant;
  const void *model;
  const void *mode;
  double time; /* s */
  int state_count;
  int rows[PLANT_STATE_LIMIT];
  double state[PLANT_STATE_LIMIT]; /* active states */
};

/* At a time, s, and state of the plant; model and mode are not copied. */
void instant_of(const struct plant *plant, const void *model, const void *mode, double time, const double *state,
                struct instant *instant);
/* "pressure of line A" for the state called compression; else the state's own text. */
const char *instant_state_words(const struct instant *instant, int place);
int instant_place(const struct instant *instant, const char *name);

struct linear {
  int count;                                              /* states that take part */
  int places[PLANT_STATE_LIMIT];                          /* of them among the active states */
  double sizes[PLANT_STATE_LIMIT];                        /* typical sizes */
  double jacobian[PLANT_STATE_LIMIT * PLANT_STATE_LIMIT]; /* [row * count + column], SI */
};

/* A kink near the instant: moving a state by `distance` either way, one rate changes otherwise on each side. */
struct linear_kink {
  int state;       /* place */
  int rate;        /* place */
  double distance; /* SI, from the state to where the slopes were taken */
  double before;   /* slope on the low side, 1/s after scaling both to typical sizes */
  double after;    /* on the high side */
};

enum { KINK_LIMIT = 12 };

/* `take`: which active states take part, the others held; NULL: all but those that drift in steady drive (distance,
 * temperatures, tank oil). */
bool linear_make(const struct instant *instant, const bool *take, struct linear *linear, struct error *error);
/* The strongest kinks near, strongest first; returns how many. */
int linear_kinks(const struct instant *instant, const struct linear *linear, struct linear_kink *kinks);

/* A mode: one real eigenvalue, or a conjugate pair as one. */
struct mode {
  double real;                     /* 1/s; 0 where it cannot be told from zero */
  double imaginary;                /* rad/s, >= 0 */
  double share[PLANT_STATE_LIMIT]; /* by place in `linear`: how much each state takes part, sum 1 */
  double phase[PLANT_STATE_LIMIT]; /* rad, of each state's motion */
};

struct modes {
  int count;
  struct mode modes[PLANT_STATE_LIMIT];
};

/* Sorted by natural frequency, slowest first. */
bool modes_find(const struct linear *linear, struct modes *modes, struct error *error);
/* "pressure of line A against machine speed": who takes part, in words. */
const char *mode_words(const struct instant *instant, const struct linear *linear, const struct mode *mode,
                       char *buffer, int size);
/* Of a pair: |lambda| in rad/s and -Re/|lambda|; of a real one the corner frequency and 1 (or -1). */
double mode_frequency(const struct mode *mode);
double mode_damping(const struct mode *mode);

/* An input: what a small change of it does to rates and signals. A state may be one: it is then cut from the rest. */
struct linear_input {
  double by_rate[PLANT_STATE_LIMIT]; /* d(rate)/d(input), by place in `linear` */
  double by_signal;                  /* d(signal)/d(input), directly */
};

/* d(signal)/d(state), by place in `linear`. */
void linear_output(const struct instant *instant, const struct linear *linear, int signal, double *gradient);
/* The state at `place` as input to `linear`, of which it is no part. */
void linear_state_input(const struct instant *instant, const struct linear *linear, int place, int signal,
                        struct linear_input *input);
/* Response at `frequency`, rad/s: gain (signal over input, SI) and phase, rad. False where it is infinite. */
bool linear_response(const struct linear *linear, const struct linear_input *input, const double *output,
                     double frequency, double *gain, double *phase);

#endif
