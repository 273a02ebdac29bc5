/* Numbers with units, at the edge only. The factors come from UDUNITS when the program is built (factors/make.c). */
#ifndef SWASHLOOP_SCHEMA_UNITS_H
#define SWASHLOOP_SCHEMA_UNITS_H

#include <stdbool.h>

#include "error.h"
#include "quantity.h"

/* Read `text` ("420 bar") as a value of `quantity` into *si. Accepted units: the quantity's list, nothing else.
 * A NUMBER may stand without a unit. Fails with what was found, what units fit, and a nearest name if one is close. */
bool units_read(enum quantity quantity, const char *text, double *si, struct error *error);
/* `value trade-unit`, shortest text that reads back to the same double, into `buffer`. */
const char *units_write(enum quantity quantity, double si, char *buffer, int size);
/* For people: trade unit, about four figures: "452.7 bar". */
const char *units_show(enum quantity quantity, double si, char *buffer, int size);

#endif
