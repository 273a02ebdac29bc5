/* Makes the measures of a run: follows extremes and spans, the stop after the pedal's release, the ledger, the limits.
 */
#ifndef SWASHLOOP_RUN_MEASURER_H
#define SWASHLOOP_RUN_MEASURER_H

#include "follow.h"
#include "run.h"
#include "view.h"

enum { MEASURER_EXTREMES = 24, MEASURER_SPANS = 2 };

/* The stop: from when braking starts to the first standstill. */
struct stop_watch {
  double from;  /* s; NaN while nothing brakes */
  bool begun;   /* `from` has passed */
  bool stopped; /* standstill reached since */
  double from_distance;
  double from_speed;
  double stop_time;
  double stop_distance;
  double ledger_from[PLANT_LEDGER_LIMIT];
  double ledger_to[PLANT_LEDGER_LIMIT];
};

struct limit_watch {
  struct extreme worst; /* of the signal, on the side that breaks */
  bool broken;
  double first;
};

struct measurer {
  struct extreme extremes[MEASURER_EXTREMES];
  struct span spans[MEASURER_SPANS];
  bool has_span[MEASURER_SPANS];
  struct stop_watch stop;
  int speed; /* signal indices, -1 where the plant has none */
  int distance;
  double creep_from;                  /* s: start of the last second */
  double creep_path;                  /* m: integral of |speed| from there */
  int duty_count;                     /* numbers that a duty goes by */
  double duty_sums[PLANT_DUTY_RATES]; /* their integrals over the run */
  double oil_start;
  double stored_start[PLANT_LEDGER_LIMIT];
  struct limit_watch *limits;
  int limit_capacity;
};

/* `measurer` is all zero, or of an earlier run, whose memory is used again. */
bool measurer_begin(struct measurer *measurer, const struct view *view, const struct moment *moment,
                    struct error *error);
/* Braking starts at `from` (NaN: not known yet); may be told again when an action releases the pedal. */
void measurer_release(struct measurer *measurer, const struct view *view, double from);
/* When the follower must see an end of a step: the start of braking, if it lies ahead; HUGE_VAL otherwise. */
double measurer_next_time(const struct measurer *measurer, double t);
void measurer_follow(struct measurer *measurer, const struct view *view, const struct stretch *stretch);
/* Fill outcome: measures, ledger, limits. `moment` is the last. */
bool measurer_end(struct measurer *measurer, const struct view *view, const struct moment *moment,
                  struct outcome *outcome, struct error *error);
void measurer_free(struct measurer *measurer);

#endif
