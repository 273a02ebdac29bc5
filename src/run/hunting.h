/* Does the machine hunt, and may its numbers be vouched for? Two things are watched along a run:
 *
 *  - the swing of the pressure: its turning points, at the ends and middles of the steps. Twelve swings in a row that
 * do not get smaller, with no grade or pedal moving, are hunting.
 *  - modes that grow: below some hundred tolerances a method damps them, or pumps them up, whatever the machine does
 *    (long steps, the formula's own damping, ringing.h), so the eigenvalues of the rates tell. Looked at now and then
 *    only, so that a run that does not hunt pays next to nothing; the instants follow from the run's own steps, so that
 * a case gives the same bits alone and in a batch.
 *
 * Where either is found, extremes depend on what disturbs the machine, and on the solver's own errors: such a run is
 * not vouched for. Nor is one at tolerances looser than its method was tried at. */
#ifndef SWASHLOOP_RUN_HUNTING_H
#define SWASHLOOP_RUN_HUNTING_H

#include "registry.h"
#include "run.h"
#include "view.h"

enum { HUNTING_SWINGS = 12 };

struct hunting {
  struct row_place pressure; /* signal whose swing is watched */
  struct row_place grade;
  /* The swing. */
  int way;                       /* the pressure rises (1) or falls (-1) since its last turn; 0: not known yet */
  double extremum;               /* since then */
  double extremum_time;          /* s */
  double last_turn;              /* value at the last turn */
  double grade_then;             /* where the swings began that are counted */
  int swings;                    /* counted so far, in a row */
  double halves[HUNTING_SWINGS]; /* half of each swing, Pa; the k-th stands at k % HUNTING_SWINGS */
  double times[HUNTING_SWINGS];  /* when each ended */
  bool hunts;
  double from;      /* s: the start of the first swing that did not get smaller */
  double half;      /* Pa: the largest half swing while it hunted */
  double frequency; /* Hz, there */
  /* Growth. */
  int places[PLANT_STATE_LIMIT]; /* of the states that do not drift */
  int place_count;
  double sizes[PLANT_STATE_LIMIT];
  int steps_between;     /* looks at the eigenvalues, at least */
  int steps;             /* since the last look at the eigenvalues */
  double looked;         /* s: when; below zero: never */
  double growth_then;    /* 1/s, as found there; below zero: no mode grew */
  double frequency_then; /* Hz */
  double folds;          /* by how much a mode has grown in a row: logarithm */
  double most_folds;
  double growth; /* 1/s and Hz of the mode that grew most */
  double growth_frequency;
};

/* Begin with the run's first sample. */
bool hunting_begin(struct hunting *hunting, const struct view *view, const struct sample *sample, struct error *error);
/* Marks the signals that are read of samples. */
void hunting_follow(const struct hunting *hunting, bool *needed);
/* An accepted step. */
void hunting_observe(struct hunting *hunting, const struct view *view, const struct step *step);
/* A step by its times at start, middle and end and the pressures there. Does nothing turn in it, and is no look due?
 * Then `glide` does all that hunting_observe would. */
bool hunting_idle(const struct hunting *hunting, const struct view *view, const double *times, const double *pressures);
void hunting_glide(struct hunting *hunting, const double *times, const double *pressures);
/* Fill the measures of hunting and, where somebody reads events, tell what was found. `sample` is the last. */
bool hunting_end(struct hunting *hunting, const struct view *view, const struct sample *sample, struct outcome *outcome,
                 struct error *error);

#endif
