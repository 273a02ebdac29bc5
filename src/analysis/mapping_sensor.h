/* The sensors of a mapping (docs/compare.md): each term a value, `free`, or free within LOW..HIGH. */
#ifndef SWASHLOOP_ANALYSIS_MAPPING_SENSOR_H
#define SWASHLOOP_ANALYSIS_MAPPING_SENSOR_H

#include <stdbool.h>

#include "error.h"
#include "reader.h"
#include "sensor.h"

/* Every key of `node` is one of `known`; `where` is what the node is, for messages. */
bool mapping_check_keys(const struct node *node, const char *const *known, int count, const char *where,
                        struct error *error);
/* The child `sensor` of a channel of this quantity, neutral where there is none. */
bool mapping_read_sensor(const struct node *channel, enum quantity quantity, struct sensor *sensor,
                         struct error *error);
/* A term, the child of its name. */
bool mapping_read_term(const struct node *parent, enum sensor_term term, enum quantity quantity,
                       struct sensor_number *number, struct error *error);

#endif
