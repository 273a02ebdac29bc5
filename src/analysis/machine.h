/* A machine in steady drive: a case of the transmission whose pedal, grade, drawbar pull and levers are held at
 * chosen values, brought into balance at a given speed. Speeds, grades and pulls count forward and uphill positive. */
#ifndef SWASHLOOP_ANALYSIS_MACHINE_H
#define SWASHLOOP_ANALYSIS_MACHINE_H

#include <stdbool.h>

#include "balance.h"
#include "case.h"
#include "error.h"
#include "charge.h"
#include "controls.h"
#include "driveline.h"
#include "driver.h"
#include "engine.h"
#include "flushing.h"
#include "ground.h"
#include "limiter.h"
#include "motor.h"
#include "operator.h"
#include "pump.h"
#include "relief.h"
#include "transfer_case.h"
#include "tyre.h"
#include "vehicle.h"
#include "volume.h"

/* In place of a signal: how fast the loop warms up, K/s. */
enum { MACHINE_HEATING = -2 };

/* What can be asked of the machine. */
enum machine_input {
  MACHINE_PEDAL, /* net pedal, -1 to 1; by an accelerator, that, with the sign of the lever */
  MACHINE_GRADE, /* tangent */
  MACHINE_PULL,  /* at the drawbar, backward positive, N; besides a dragged load */
  MACHINE_BRAKE,
  MACHINE_EXHAUST_BRAKE,
  MACHINE_THROTTLE,
  MACHINE_INPUT_COUNT
};

/* What may stand in a machine's way; bits of a set, the first that is set is the first to name. */
#define MACHINE_BOUNDS(BOUND)                                                                                          \
  BOUND(grip, "grip")                                                                                                  \
  BOUND(relief, "relief valve")                                                                                        \
  BOUND(limiter, "pressure limiter")                                                                                   \
  BOUND(engine_power, "engine power")                                                                                  \
  BOUND(engine_overspeed, "engine braking")                                                                            \
  BOUND(gearing, "gearing")                                                                                            \
  BOUND(charge, "charge pressure")                                                                                     \
  BOUND(heat, "heat")                                                                                                  \
  BOUND(anti_stall, "anti-stall")

enum machine_bound {
#define MACHINE_BOUND_ID(name, words) BOUND_##name,
  MACHINE_BOUNDS(MACHINE_BOUND_ID)
#undef MACHINE_BOUND_ID
      BOUND_COUNT
};

extern const char *const machine_bound_names[BOUND_COUNT];
extern const char *const machine_bound_words[BOUND_COUNT];

enum { MACHINE_TABLE_LIMIT = 16 };

/* The signals of the transmission that the analyses of a machine read; found by name when the machine is opened. */
#define MACHINE_SIGNALS(READ)                                                                                          \
  READ(wheel_slip)                                                                                                     \
  READ(front_wheel_slip)                                                                                               \
  READ(relief_a_flow)                                                                                                  \
  READ(relief_b_flow)                                                                                                  \
  READ(limiter_a)                                                                                                      \
  READ(limiter_b)                                                                                                      \
  READ(fuel_fraction)                                                                                                  \
  READ(engine_speed)                                                                                                   \
  READ(engine_torque)                                                                                                  \
  READ(charge_pressure)                                                                                                \
  READ(loop_oil_temperature)                                                                                           \
  READ(line_pressure_difference)                                                                                       \
  READ(line_a_pressure)                                                                                                \
  READ(line_b_pressure)                                                                                                \
  READ(motor_speed)                                                                                                    \
  READ(motor_torque)                                                                                                   \
  READ(pump_torque)                                                                                                    \
  READ(pump_stroke)                                                                                                    \
  READ(motor_displacement)                                                                                             \
  READ(traction_force)                                                                                                 \
  READ(loop_heat)                                                                                                      \
  READ(pedal)                                                                                                          \
  READ(grade)                                                                                                          \
  READ(brake)                                                                                                          \
  READ(exhaust_brake)                                                                                                  \
  READ(implement_power)                                                                                                \
  READ(anti_stall_cut)                                                                                                 \
  READ(accelerator)                                                                                                    \
  READ(vehicle_speed)

enum machine_signal {
#define MACHINE_SIGNAL_ID(name) READ_##name,
  MACHINE_SIGNALS(MACHINE_SIGNAL_ID)
#undef MACHINE_SIGNAL_ID
      READ_COUNT
};

/* The components whose parameters they read, SI: SECTION(type, section of the case). */
#define MACHINE_SECTIONS(SECTION)                                                                                      \
  SECTION(lines, lines)                                                                                                \
  SECTION(engine, engine)                                                                                              \
  SECTION(pump, pump)                                                                                                  \
  SECTION(limiter, limiter)                                                                                            \
  SECTION(relief, relief)                                                                                              \
  SECTION(charge, charge)                                                                                              \
  SECTION(flushing, flushing)                                                                                          \
  SECTION(motor, motor)                                                                                                \
  SECTION(driveline, driveline)                                                                                        \
  SECTION(driveline, second_driveline)                                                                                 \
  SECTION(transfer_case, transfer_case)                                                                                \
  SECTION(tyre, tyre)                                                                                                  \
  SECTION(ground, ground)                                                                                              \
  SECTION(driver, driver)                                                                                              \
  SECTION(vehicle, vehicle)                                                                                            \
  SECTION(operator, operator)                                                                                          \
  SECTION(controls, controls)

struct machine_sections {
#define MACHINE_SECTION_MEMBER(type, name) struct type##_parameters *name;
  MACHINE_SECTIONS(MACHINE_SECTION_MEMBER)
#undef MACHINE_SECTION_MEMBER
};

/* One instant of balance. */
struct machine_point {
  double state[PLANT_STATE_LIMIT];    /* active states */
  double inputs[MACHINE_INPUT_COUNT]; /* by enum machine_input */
};

struct machine {
  struct case_data data; /* a copy, its tables pointing to `values` */
  void *model;
  void *mode;
  double zero;                        /* argument of the one point of each table */
  double values[MACHINE_TABLE_LIMIT]; /* one point each */
  double inputs[MACHINE_INPUT_COUNT]; /* as last set */
  double lever;                       /* how far the lever of an accelerator's layout is put, 0 neutral to 1 */
  double allowed_overspeed;           /* rad/s; an engine above it is over its bound */
  double hot;                         /* K; a loop above it is over its bound */
  bool warm;                          /* the loop is at `hot`, all behind it in thermal balance with it */
  struct nonlinear_counts counts;
  struct machine_sections own; /* parameters, in `data` */
  int signals[READ_COUNT];     /* places among the plant's */
  int steering;                /* place of the control pressure among the active states */
  int speed;                   /* of the machine's speed */
  int loop;                    /* of the loop's temperature */
  int wheel;                   /* of the speed of the wheels, of those behind if there are two axles */
  int front;                   /* of the speed of the front wheels, if there are two axles */
};

/* The machine of a case at its values of time zero and of the start of its tables. */
bool machine_open(const struct case_data *data, struct machine *machine, struct error *error);
void machine_close(struct machine *machine);

/* Place of a signal among the plant's. */
static inline int machine_signal(const struct machine *machine, enum machine_signal signal) {
  return machine->signals[signal];
}

/* Does an accelerator command the drive, through the engine's speed? It then stands in the place of the pedal. */
bool machine_by_accelerator(const struct machine *machine);
/* What the operator's foot is on: "pedal" or "accelerator". */
const char *machine_pedal_word(const struct machine *machine);

/* Hold an input at a value. */
void machine_set(struct machine *machine, enum machine_input input, double value);
/* All inputs at once, as kept in a point. */
void machine_set_all(struct machine *machine, const double *inputs);

/* A first guess for this speed: what the states settle to with the inputs as they are, the speed held. False if the
 * engine stalls or the like; `words` (may be NULL) then says what. */
bool machine_guess(struct machine *machine, double speed, struct machine_point *point, const char **words);
/* The balance at this speed with `freed` sought, near `point`, which holds the guess and then the answer. */
bool machine_find(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point);
/* The same from farther away: where the search fails, the states run from the guess until they settle, and it starts
 * again from there. */
bool machine_follow(struct machine *machine, double speed, enum machine_input freed, struct machine_point *point);
/* What the states settle to from the point with its inputs, the speed held; false if the engine stalls or the like. */
bool machine_settle(struct machine *machine, struct machine_point *point);
/* As machine_find with two inputs sought, and one signal given; or, of a warm machine, the loop's heating nothing. */
bool machine_find_edge(struct machine *machine, double speed, enum machine_input first, enum machine_input second,
                       struct balance_condition condition, struct machine_point *point);
/* The speed that belongs to the inputs of the point: near its speed; or from rest, where the machine comes by itself.
 */
bool machine_find_speed(struct machine *machine, struct machine_point *point);
/* The same near its speed with one input sought and one signal given. */
bool machine_find_speed_at(struct machine *machine, enum machine_input freed, struct balance_condition condition,
                           struct machine_point *point);
bool machine_settle_speed(struct machine *machine, struct machine_point *point, const char **words);

/* The loop's rise of temperature, K/s. */
double machine_heating(struct machine *machine, const struct machine_point *point);
void machine_signals(struct machine *machine, const struct machine_point *point, double *signals);
/* Power of every term of the ledger, W; the stored ones nothing. */
void machine_powers(struct machine *machine, const struct machine_point *point, double *powers);
/* Is the front axle driven, by a motor of its own or through a transfer case? */
bool machine_drives_front(const struct machine *machine);
/* The slip that is the larger, of the axles that are driven. */
enum machine_signal machine_slip(const struct machine *machine, const double *signals);
/* Which bounds are reached there: a set of bits 1 << BOUND_x. */
unsigned machine_bounds(struct machine *machine, const struct machine_point *point);

#endif
