/* The linear system as four matrices: d(x)/dt = A x + B u, y = C x + D u, about an operating point; its zeros, and the
 * margins of a loop that is cut at one of its states. */
#ifndef SWASHLOOP_ANALYSIS_STATE_SPACE_H
#define SWASHLOOP_ANALYSIS_STATE_SPACE_H

#include "linear.h"
#include "machine.h"

enum { SPACE_INPUTS = 32, SPACE_NAME = 32 };

struct space_input {
  char name[SPACE_NAME];
  const char *unit; /* SI */
  double value;     /* at the operating point; NaN where it is not known */
};

struct state_space {
  int states;
  int inputs;
  int outputs;
  struct space_input input[SPACE_INPUTS];
  int signal[PLANT_SIGNAL_LIMIT];   /* which signal each output is */
  double state0[PLANT_STATE_LIMIT]; /* operating point, SI */
  double output0[PLANT_SIGNAL_LIMIT];
  double b[PLANT_STATE_LIMIT * SPACE_INPUTS];       /* [state * inputs + input] */
  double c[PLANT_SIGNAL_LIMIT * PLANT_STATE_LIMIT]; /* [output * states + state] */
  double d[PLANT_SIGNAL_LIMIT * SPACE_INPUTS];      /* [output * inputs + input] */
  double condition;                                 /* of A in SI */
  double scaled_condition;                          /* of A with every state in its typical size */
};

/* Of a linear system about an instant; A is linear->jacobian. Inputs are those of the machine (NULL: of a plant without
 * one, the channels that an action may move). Outputs are the signals that these parameters have. */
bool space_make(const struct instant *instant, const struct linear *linear, const void *parameters,
                struct machine *machine, struct state_space *space, struct error *error);
/* What an input of this name does to rates and to one signal; false: there is none of this name. */
bool space_input_of(const struct state_space *space, const char *name, int signal, struct linear_input *input);
/* Names of the inputs for a message: "pedal, grade and ...". */
const char *space_input_names(const struct state_space *space, char *text, size_t size);

/* Zeros of the path from an input to an output: the frequencies at which it passes nothing, poles of the inverse. The
 * output and the rates through which the input reaches it are held at nothing, what can still move are the zeros
 * (output-nulling subspace; the same numbers as the finite generalised eigenvalues of [A B; C D] and [I 0; 0 0]). */
struct space_zeros {
  int count;
  double real[PLANT_STATE_LIMIT];      /* 1/s */
  double imaginary[PLANT_STATE_LIMIT]; /* rad/s */
  int relative_degree;                 /* integrations between input and output; -1: no path */
  double gain;                         /* the first derivative of the output that the input moves, SI */
};
/* The path is that from `input` to the signal whose gradient by the states is `output`. */
bool space_zeros(const struct linear *linear, const struct linear_input *input, const double *output,
                 struct space_zeros *zeros, struct error *error);

/* A loop cut at a state: everything that reads the state reads a test signal u instead, while the state goes on by its
 * own rate (and what it does to itself). L(s) = x/u; joined again, 1 - L = 0. Margins are those of -L about -1, as of a
 * loop with negative feedback (Astrom and Murray, Feedback Systems, 2008, section 9.3; from memory): the gain margin is
 * 1/|L| where L is real and positive, the phase margin the turn that is left where |L| is 1. Of several the one that
 * is least is told. */
struct loop_margins {
  double gain;            /* factor that the loop's gain may grow by; infinite: any */
  double gain_down;       /* factor below 1 that it may fall to; 0: any */
  double gain_frequency;  /* rad/s, of `gain` */
  double phase;           /* rad; infinite: the loop's gain is 1 nowhere */
  double phase_frequency; /* rad/s */
  double delay;           /* s, that the loop bears: phase over its frequency, the least of all */
  bool open_loop_stable;  /* else margins by themselves tell nothing of stability (Nyquist) */
  bool closed_loop_stable;
};
enum { LOOP_FREQUENCIES = 4000 };
/* `cut`: index in `linear`. False: the state feeds nothing back. */
bool loop_margins_find(const struct linear *linear, int cut, struct loop_margins *margins, struct error *error);
/* L at a frequency, rad/s: its real part and its imaginary part. */
bool loop_response(const struct linear *linear, int cut, double frequency, double *along, double *across);

#endif
