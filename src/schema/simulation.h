/* Settings of a run (end time, method, tolerances): the case's `simulation` section, declared by rows like those of the
 * components. */
#ifndef SWASHLOOP_SCHEMA_SIMULATION_H
#define SWASHLOOP_SCHEMA_SIMULATION_H

#include "field.h"

enum simulation_start { START_AT_REST, START_STEADY };

/* clang-format off */
#define SIMULATION_FIELDS(REAL, CHOICE, TABLE)                                                                         \
  REAL(end_time, TIME, 20.0, 1e-6, 1e7, NONE, "", "how long the run lasts")                                            \
  REAL(output_step, TIME, 1e-3, 1e-6, 1e6, NONE, "", "spacing of the time histories; measures do not depend on it")    \
  CHOICE(method, 0, "bdf|rosenbrock", "", "how steps are made: multistep, or linearly implicit, which in sweeps runs eight cases at once") \
  REAL(relative_tolerance, NUMBER, 5e-7, 1e-13, 1e-2, NONE, "", "relative tolerance of the integrator")                \
  REAL(pressure_tolerance, PRESSURE, 3e-3, 1e-9, 1.0, NONE, "", "absolute tolerance of pressures; other states scale with it") \
  REAL(nonlinear_tolerance, NUMBER, 0.01, 1e-6, 1.0, NONE, "", "share of the error test left to the nonlinear solver", "method bdf") \
  REAL(largest_order, NUMBER, 5.0, 1.0, 5.0, NONE, "", "largest order of the integration formula", "method bdf") \
  REAL(largest_step, TIME, 1e6, 1e-7, 1e6, NONE, "", "largest step of the integrator")                                 \
  CHOICE(start, START_AT_REST, "rest|steady", "", "how the run begins: as set, or in balance with pedals and grade of time zero") \
  REAL(stop_from, TIME, -1.0, -1.0, 1e7, NONE, "", "when braking starts; below zero: start of the last fall of the pedal to zero") \
  REAL(work_limit, NUMBER, 2e7, 1e3, 1e12, NONE, "", "steps after which a run gives up")
/* clang-format on */

struct simulation_parameters {
  SIMULATION_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

/* One group named "simulation", offset 0. */
extern const struct group simulation_group;

#endif
