/* The groups of a run file, one by one, to the page's JSON. */
#ifndef SWASHLOOP_REPORT_RUN_GROUPS_H
#define SWASHLOOP_REPORT_RUN_GROUPS_H

#include "curve.h"
#include "h5_read.h"
#include "json.h"
#include "plant.h"

/* Points of signals that the file knows more exactly than its histories do. */
struct known_points {
  struct {
    char signal[96];
    struct curve_point point;
  } * items;
  int count;
  int room;
};

/* Give back the points. */
void known_points_free(struct known_points *known);

/* Unit, trade unit, long name and reference of a number, into the open object. */
void run_group_describe(struct h5_reading *reading, hid_t dataset, struct json *json);

/* One group each: its members into the open object. `known` gathers points of signals on the way. */
void run_group_measures(struct h5_reading *reading, struct json *json, struct known_points *known);
void run_group_events(struct h5_reading *reading, const struct plant *plant, struct json *json,
                      struct known_points *known);
void run_group_ledger(struct h5_reading *reading, struct json *json);
void run_group_limits(struct h5_reading *reading, struct json *json, struct known_points *known);
void run_group_parameters(struct h5_reading *reading, const struct plant *plant, struct json *json);
void run_group_solver(struct h5_reading *reading, struct json *json);

#endif
