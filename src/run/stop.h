/* How a machine comes to its stop, and whether it rests or creeps then.
 *
 * Stop: the first |speed| <= STANDSTILL_SPEED since braking began, unless the machine then goes faster than STOP_SPEED
 * for REST_TIME on end (it ran through zero). A machine that glides into creep and has not been that slow within
 * REST_TIME of going below STOP_SPEED, and stays below it that long, has stopped when it went below.
 * Rest: |speed| <= REST_SPEED for REST_TIME. Creep: between REST_SPEED and STOP_SPEED, one way and steady, for
 * REST_TIME. */
#ifndef SWASHLOOP_RUN_STOP_H
#define SWASHLOOP_RUN_STOP_H

#include "run_events.h"
#include "view.h"

struct stop_mark {
  double time;
  double distance;
  double ledger[PLANT_LEDGER_LIMIT];
};

enum stop_kind { STOP_NONE, STOP_AT_STANDSTILL, STOP_INTO_CREEP };

struct stop_observer {
  double from;     /* s; NaN while nothing brakes */
  const char *why; /* what began it */
  bool begun;      /* `from` has passed */
  double from_speed;
  struct stop_mark begin;
  bool slow; /* below the stop speed, since `slowed`; else faster since `fast_since` */
  struct stop_mark slowed;
  double fast_since;
  bool touched; /* the standstill speed was reached, and the machine has not gone on since */
  bool ran_on;  /* it was reached, but the machine went on */
  struct stop_mark touch;
  enum stop_kind kind; /* once it is sure */
  struct stop_mark stop;
};

enum motion_phase { MOTION_MOVES, MOTION_RESTS, MOTION_CREEPS };

struct motion_observer {
  enum motion_phase phase;
  double since; /* s: of the phase */
  int band;     /* of the present speed */
  double band_since;
  double band_distance;
  double window_start; /* of the time that is looked at for steadiness */
  double window_distance;
  double lowest; /* |speed| in it */
  double highest;
};

enum { MOTION_NEWS_LIMIT = 12 };

/* Something to report. */
struct motion_note {
  enum motion_news news;
  double time;
  double speed;    /* mean, of creep; else at `time` */
  double distance; /* along the ground */
};

struct motion {
  int speed; /* signals */
  int distance;
  struct stop_observer stop;
  struct motion_observer rest;
  struct motion_note notes[MOTION_NEWS_LIMIT]; /* since they were last taken; what does not fit is not told */
  int note_count;
};

/* Braking counts from `from` (s; NaN: nothing brakes). What was found of an earlier one is forgotten. */
void motion_brake(struct motion *motion, double from, const char *why);
void motion_begin(struct motion *motion, const struct view *view, const struct sample *sample);
void motion_observe(struct motion *motion, const struct view *view, const struct step *step);
/* A step by its times and speeds at start, middle and end. Is there nothing to be found in it? Then `glide` does all
 * that motion_observe would. */
bool motion_idle(const struct motion *motion, const double *times, const double *speeds);
void motion_glide(struct motion *motion, const double *speeds);
/* The run is over: a stop that was not yet sure counts if nothing contradicted it. */
void motion_end(struct motion *motion, const struct sample *sample);

/* Energies of the ledger up to `sample`, which lies in the last step. */
void ledger_at(const struct view *view, const struct sample *sample, double *ledger);

#endif
