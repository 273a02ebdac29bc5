/* Plain views of a model and a mode of the transmission, from which a case is copied into a lane. Both the plain
 * kernels and those in lanes include this, and `real` means a different type in each, so nothing here is a real. */
#ifndef SWASHLOOP_MODELS_TRANSMISSION_OPEN_H
#define SWASHLOOP_MODELS_TRANSMISSION_OPEN_H

#include <stdbool.h>

struct fluid;
struct fluid_viscosity_table;
struct profile;

enum { OPEN_AXLES = 2, OPEN_NUMBERS = 320, OPEN_FLAGS = 13, OPEN_TABLES = 48 }; /* room */

struct transmission_open_model {
  const void *own; /* parameters, by the groups of the plain plant */
  const struct fluid *oil;
  const struct fluid_viscosity_table *pump_film;
  const struct fluid_viscosity_table *motor_films[OPEN_AXLES]; /* NULL: no motor */
  double filter_resistance;                                    /* 1/m3 */
  double relief_viscosity;                                     /* Pa s */
  int active_count;
  const int *active; /* states, rising */
  int leading_count;
};

/* In the order of transmission_mode_list. */
struct transmission_open_mode {
  double numbers[OPEN_NUMBERS];
  bool flags[OPEN_FLAGS];
  const struct profile *tables[OPEN_TABLES];
};

/* transmission_open.c */
void transmission_open_model(const void *model, struct transmission_open_model *open);
void transmission_open_mode(const void *mode, struct transmission_open_mode *open);

/* The kernels in lanes, compiled once for each instruction set: transmission_lanes.c. */
extern const struct plant_lanes transmission_lanes_plain;
extern const struct plant_lanes transmission_lanes_v3;
extern const struct plant_lanes transmission_lanes_v4;

#endif
