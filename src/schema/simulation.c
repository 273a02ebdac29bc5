#include "simulation.h"

#define FIELD_OWNER struct simulation_parameters
static const struct field simulation_fields[] = {SIMULATION_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

const struct group simulation_group = {.name = "simulation",
                                       .fields = simulation_fields,
                                       .field_count = FIELD_COUNT(simulation_fields),
                                       .text = "settings of the run"};
