/* What a thing varied is called on axes and in tables: its own words in place of its path. */
#ifndef SWASHLOOP_SWEEP_AXIS_LABEL_H
#define SWASHLOOP_SWEEP_AXIS_LABEL_H

#include "case.h"
#include "parameter_ref.h"

enum { AXIS_LABEL_SIZE = 160 };

/* "vehicle mass" for vehicle.mass; "ground grade" for ground.grade[1].value where the table has one point, else with
 * "at point 1"; "pedal ramp" for actions[1].over, with "(action 1)" where several move that channel. */
const char *axis_label(const struct case_data *data, const char *path, const struct parameter_ref *ref,
                       char label[AXIS_LABEL_SIZE]);

/* Is a logarithmic scale the natural one: does the study space or draw it so, or list values that grow in proportion?
 */
struct axis;
bool axis_is_logarithmic(const struct axis *axis);

#endif
