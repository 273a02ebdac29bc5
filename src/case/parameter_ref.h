/* One number, or one choice, of a case that is set by itself:
 *
 *   group.field              a parameter, or a setting of the run
 *   group.table[i].value     the value of a table's point i, counted from 1
 *   group.table[i].argument  its argument
 *   group.map[i].volumetric, .hydromechanical  an efficiency of a map's row i; rows are counted along the pressures of
 *                            the lowest speed, then of the next, from the lowest stroke on (as `check --resolved`
 * writes them); a row of zero stroke has .lost_flow and .lost_torque actions[i].to            where action i, counted
 * from 1, moves its channel actions[i].over          how long it takes actions[i].when          the level that it waits
 * for
 */
#ifndef SWASHLOOP_CASE_PARAMETER_REF_H
#define SWASHLOOP_CASE_PARAMETER_REF_H

#include <stdbool.h>

#include "case.h"
#include "registry.h"

struct loader;
struct node;

enum parameter_ref_kind { REF_FIELD, REF_ARGUMENT, REF_VALUE, REF_CELL, REF_TO, REF_OVER, REF_WHEN };

struct parameter_ref {
  enum parameter_ref_kind kind;
  struct parameter parameter; /* of the kinds before REF_TO */
  bool of_run;                /* the parameter is a setting of the run */
  int index;                  /* of the point or the action, from 0 */
  int column;                 /* of a map's cell */
  enum quantity quantity;
  enum reference reference;
  double low;          /* SI; a number outside is refused */
  double high;         /* SI */
  const char *choices; /* "first|second" if it is a choice, whose value is its index; else NULL */
  const char *text;    /* what it is */
};

/* The reference of this path. The column of the error counts in the path, from 1. */
bool parameter_ref_find(const struct case_data *data, const char *path, struct parameter_ref *ref, struct error *error);
double parameter_ref_get(const struct case_data *data, const struct parameter_ref *ref);
/* No check: `si` is within the bounds. The case's memory is written: give a case_copy what must not be shared. */
void parameter_ref_set(struct case_data *data, const struct parameter_ref *ref, double si);
/* Read a node as a value of the reference and check it against its bounds; `path` stands in messages. */
bool parameter_ref_read(const struct loader *loader, const struct parameter_ref *ref, const char *path,
                        const struct node *node, double *si);
/* NULL if the table that holds it is in order, else what is wrong: arguments must not fall. */
const char *parameter_ref_disorder(const struct case_data *data, const struct parameter_ref *ref);
/* For people: "420 bar", "rigid". */
const char *parameter_ref_show(const struct parameter_ref *ref, double si, char *buffer, int size);

#endif
