/* What the rest of the program sees of a plant: tables, sizes and pure functions. A plant is constant data; its
 * parameters, its model (parameters made ready: derived constants, tables, chosen laws) and its mode (what changes only
 * between steps) are plain memory that the caller owns and passes in. No function here fails, allocates or prints; a
 * state outside the physics gives NaN, which the run reports by name. All numbers SI, pressures absolute, kelvin. */
#ifndef SWASHLOOP_MODELS_PLANT_H
#define SWASHLOOP_MODELS_PLANT_H

#include <stdbool.h>
#include <stdint.h>

#include "field.h"
#include "plant_lanes.h"

/* A state of the largest state vector; the model says which are active. */
struct state_row {
  const char *name;
  const char *unit;
  double tolerance; /* absolute tolerance of the integrator, in `unit`, at a pressure tolerance of 100 Pa */
  const char *text;
};

/* Balances share one table. Mechanical energy: sources - losses - stored = 0. Heat in the oil: what the losses of
 * kind LOSS_TO_OIL (to the oil, or to the brakes) make - heat that leaves - heat stored = 0. Where fuel is counted, a
 * third: its energy (FUEL_SPENT) - the work of combustion, the first source - FUEL_HEAT = 0.
 *
 * Sources, losses, HEAT_LEAVES and FUEL_HEAT are integrals of `powers`; so is a store whose content has no closed form
 * (STORED_RATE, HEAT_STORED_RATE); the content of a plain STORED, FUEL_SPENT or HEAT_STORED term is a function of the
 * state.
 * OIL_LOST is no energy, and a function of the state: oil that has left the plant for good, m3, so that the audit of
 * oil can close when a hose bursts. */
enum ledger_kind {
  LEDGER_SOURCE,
  LEDGER_LOSS,        /* its heat goes elsewhere than into the oil */
  LEDGER_LOSS_TO_OIL, /* its heat goes into the oil, or the brakes: the balance of heat follows it */
  LEDGER_STORED_RATE,
  LEDGER_HEAT_LEAVES,
  LEDGER_HEAT_STORED_RATE,
  LEDGER_FUEL_HEAT,
  LEDGER_STORED,
  LEDGER_OIL_LOST,
  LEDGER_FUEL_SPENT,
  LEDGER_HEAT_STORED,
  LEDGER_KIND_COUNT
};

/* Does a row of this kind take mechanical energy for good? */
static inline bool ledger_is_loss(enum ledger_kind kind) {
  return kind == LEDGER_LOSS || kind == LEDGER_LOSS_TO_OIL;
}

enum ledger_balance { BALANCE_OF_ENERGY, BALANCE_OF_HEAT, BALANCE_OF_FUEL, BALANCE_OF_OIL };

/* Which balance a row of this kind counts in. */
static inline enum ledger_balance ledger_balance_of(enum ledger_kind kind) {
  switch (kind) {
  case LEDGER_HEAT_LEAVES:
  case LEDGER_HEAT_STORED_RATE:
  case LEDGER_HEAT_STORED:
    return BALANCE_OF_HEAT;
  case LEDGER_FUEL_HEAT:
  case LEDGER_FUEL_SPENT:
    return BALANCE_OF_FUEL;
  case LEDGER_OIL_LOST:
    return BALANCE_OF_OIL;
  default:
    return BALANCE_OF_ENERGY;
  }
}

/* A term of the ledger, J (its power in W). Sources are positive into the plant, losses positive when oil or parts are
 * heated, stored terms positive when the store fills, heat that leaves positive when it leaves. Rows of kind STORED,
 * OIL_LOST, FUEL_SPENT and HEAT_STORED come last. */
struct ledger_row {
  const char *name;
  enum ledger_kind kind;
  const char *text;
};

/* Something worth reporting. The function falls through zero, and rises again through `hysteresis`, so that a value
 * that plays about zero is reported once; `rising` and `falling` are the words for each way ("" = say nothing).
 * `signal` is the index of the signal whose value is reported with the event. */
struct event_row {
  const char *name;
  const char *rising;
  const char *falling;
  int signal;
  double hysteresis;
};

enum {
  PLANT_STATE_LIMIT = 63,
  PLANT_SIGNAL_LIMIT = 128,
  PLANT_LEDGER_LIMIT = 64,
  PLANT_EVENT_LIMIT = 48,
  PLANT_GUARD_LIMIT = 48
};

/* Why a plant wants the run to end, or PLANT_GOES_ON. PLANT_COMPLETES_RUN: all that was to be done is done, before the
 * end of the time. PLANT_FAILS_RUN: the state has left the range of a table that it
 * was given, a measured map for one (`excess` says which and by how much). */
enum plant_verdict { PLANT_GOES_ON, PLANT_ENDS_RUN, PLANT_FAILS_RUN, PLANT_COMPLETES_RUN };

/* Where a run stands on a course. */
struct plant_leg {
  int number;     /* that is driven or has ended here, from 1; 0: there is no course */
  int repeat;     /* of the course, from 1 */
  bool stands;    /* it has ended here, and the machine stands */
  bool over;      /* so has the course */
  double place;   /* m, along the ground from the start of the run: where the leg ends */
  int brake_uses; /* so far */
};

/* A quantity that has left the range of the data given for it. */
struct plant_excess {
  enum quantity quantity;
  double value; /* SI */
  double edge;  /* SI, the edge of that range */
};

/* Result of a duty: the run taken as one cycle and repeated for hours (contamination.h). Size classes 4, 6, 14 um(c).
 * NaN: it does not happen within the duty. */
enum { PLANT_DUTY_CLASSES = 3, PLANT_DUTY_RATES = 4 };
struct plant_duty {
  double particles[PLANT_DUTY_CLASSES]; /* per m3 at the end */
  double code[PLANT_DUTY_CLASSES];      /* ISO 4406 */
  double cleaning_time;                 /* s */
  double element_dirt;                  /* kg */
  double bypass_time;                   /* s */
};

/* A state that carries much of the energy is held to a share of its tolerances, so that the balance of energy
 * closes. It costs few steps, because other states limit the step length. */
struct strict_row {
  int state;    /* of `states` */
  double share; /* of its tolerances, 0 to 1 */
};

/* In a pattern: the rate depends on time itself. */
#define PLANT_TIME (UINT64_C(1) << 63)
_Static_assert(PLANT_STATE_LIMIT <= 63, "each state has a bit of its own below that of time");

/* Where an evaluation at one instant puts its results. */
struct plant_evaluation {
  double *powers;  /* W, ledger rows that are integrated */
  double *signals; /* SI */
  double *events;  /* NULL: not wanted */
  double *guards;  /* positive while the mode holds */
};

struct plant {
  const char *name;
  const char *text;

  const struct group *groups; /* sections of the case file */
  int group_count;
  size_t parameter_size;
  size_t model_size;
  size_t mode_size;

  const struct state_row *states;
  int state_count;                 /* rows of the largest vector */
  const struct strict_row *strict; /* states that are held tighter than the rest */
  int strict_count;
  const struct signal *signals;
  int signal_count;
  /* Signals and ledger rows that the program reads of some plants, by name, and that this one has none of by design.
   * A name that is neither here nor among the plant's own is a mistake, and no run starts (registry_place). */
  const char *const *lacks;
  int lack_count;
  const struct ledger_row *ledger;
  int ledger_count;
  int ledger_integrated; /* how many rows, from the first, are integrals of `powers` */
  int stopping_loss;     /* the one of them that takes the energy of what `change` brings to rest */
  const struct event_row *events;
  int event_count;
  const char *const *channels;      /* operator inputs that an action may move */
  const char *const *channel_texts; /* what each is */
  const enum quantity *channel_quantities;
  int channel_count;

  /* Does this combination of laws have this signal? (A machine with one motor has no second motor's speed.) */
  bool (*signal_active)(const void *parameters, int signal);
  /* Parameters (SI) to model, whose memory is zero or holds the model of another case: what was made for that one and
   * is the same for this one (an oil's tables) is kept. Returns NULL, or why this combination of laws cannot be. */
  const char *(*prepare)(const void *parameters, void *model);
  /* Which rows of `states` are integrated, in order; returns how many. */
  int (*active_states)(const void *model, int *rows);
  /* State (active rows) and mode at time zero. */
  void (*start)(const void *model, void *mode, double *state);

  /* d(state)/dt at (t, state). */
  void (*rates)(const void *model, const void *mode, double t, const double *state, double *rates);
  /* Which rates depend on what: bit j of rows[i] is set where the rate of active row i may depend on active row j, and
   * PLANT_TIME where it may depend on time. It goes by the laws chosen, not by numbers. NULL: all on everything. */
  void (*sparsity_pattern)(const void *model, uint64_t *rows);
  /* Do any rates depend on time itself until the mode next changes? NULL: they may. */
  bool (*time_dependent)(const void *mode);
  /* Power of every ledger row that is integrated, W. */
  void (*powers)(const void *model, const void *mode, double t, const double *state, double *powers);
  /* Every signal, SI; pressures by the reference of the signal's row. */
  void (*signals_at)(const void *model, const void *mode, double t, const double *state, double *signals);
  /* Every event function. Cheap: no signal is computed. */
  void (*events_at)(const void *model, const void *mode, double t, const double *state, double *values);
  /* All that a run asks of one instant, from one pass over the circuit: the same numbers as powers, signals_at,
   * events_at and guards give. NULL: a run asks those. */
  void (*evaluate)(const void *model, const void *mode, double t, const double *state,
                   const struct plant_evaluation *to);
  /* Energy in every STORED row, J (oil in an OIL_LOST row, heat in a HEAT_STORED row), in order; and oil in the plant,
   * m3 at ambient pressure. */
  void (*stored)(const void *model, const double *state, double *energies);
  double (*oil)(const void *model, const double *state);

  /* A duty: the run as one cycle of hours. `duty_rates` tells how many numbers of an instant count (0: no duty is asked
   * for; `signals` may then be NULL) and what they are; their means over the run make the `duty`. NULL: has none. */
  int (*duty_rates)(const void *model, const double *signals, double *rates);
  void (*duty)(const void *model, const double *means, struct plant_duty *duty);

  /* Modes. `next_time`: when the mode must next change by the clock (HUGE_VAL: never). `guards`: functions that are
   * positive while the mode holds; when one falls through zero the mode must change. `change`: make the mode right for
   * (t, state) after `which` fell (-1: the clock); it may adjust the state (a shaft that has come to rest). */
  int guard_count;
  double (*next_time)(const void *mode);
  void (*guards)(const void *model, const void *mode, const double *state, double *values);
  enum plant_verdict (*change)(const void *model, void *mode, double t, double *state, int which, const char **message);
  /* After `change` failed the run by `which`: what lies beyond what. A plant that fails no run has none. */
  void (*excess)(const void *model, const double *state, int which, struct plant_excess *excess);
  /* An action of the operator: move `channel` from its present value to `target` within `duration` (0: at once). */
  void (*move)(const void *model, void *mode, double t, int channel, double target, double duration);
  /* Time from which braking is counted in this mode, and why in words; NaN while nothing brakes. */
  double (*braking_from)(const void *mode, const char **why);

  /* Where a mode stands on a course. NULL: the plant has none. */
  void (*leg)(const void *mode, struct plant_leg *leg);

  /* The plant in vector lanes, as this processor has them (plant_lanes.h). NULL: has none. */
  const struct plant_lanes *(*lanes)(void);
};

/* The share of its tolerances to which a row of `states` is held. */
static inline double plant_share(const struct plant *plant, int row) {
  for (int i = 0; i < plant->strict_count; i++) {
    if (plant->strict[i].state == row) {
      return plant->strict[i].share;
    }
  }
  return 1.0;
}

extern const struct plant transmission_plant;
extern const struct plant valve_rig_plant;

#endif
