/* What an integrator holds. Private to integrator.c and linear_steps.c. */
#ifndef SWASHLOOP_INTEGRATE_INTEGRATOR_BODY_H
#define SWASHLOOP_INTEGRATE_INTEGRATOR_BODY_H

#include <cvodes/cvodes.h>

#include "integrator.h"
#include "jacobian.h"
#include "linear_steps.h"
#include "lu.h"
#include "quadrature.h"
#include "ringing.h"
#include "vecops.h"

/* Below this the step is no step: a state has left the numbers or the problem has no solution from here. */
#define SMALLEST_STEP 1e-12

struct integrator {
  struct integrator_problem problem;
  struct linear_steps *linear_steps; /* NULL: BDF */
  double stop;                       /* of the attempt aimed at */
  SUNContext context;
  void *solver;
  N_Vector state;
  double *tolerances;      /* absolute, then relative, one each a state */
  N_Vector collector;      /* of the step's polynomial */
  N_Vector *sensitivities; /* with which a start begins, one a parameter; NULL without parameters */
  N_Vector sensitivity_work;
  double *scales;                            /* of the parameters */
  struct quadrature *sensitivity_quadrature; /* integrals' derivatives times the scales; NULL without parameters */
  double *integral_sensitivities;            /* [parameter][integral], those with which a start begins, times scales */
  double *integral_sensitivities_at;         /* the same, looked at */
  double *sensitivities_within;              /* [parameter][state], for the quadrature */
  int perturbed;                             /* parameter that is looked beside */
  double amount;
  SUNMatrix matrix;          /* the Jacobian */
  struct jacobian *jacobian; /* how it is found */
  SUNLinearSolver linear;
  struct quadrature *quadrature; /* integrals of powers */
  struct ringing ringing;
  int order;          /* the largest for now: STABLE_ORDER while the formula would ring */
  bool order_changes; /* before the next step */
  bool stepped;       /* since the last start */
  bool made;          /* the library's memory is there */
  bool begun;         /* this problem has started */
  double time;
  double step_start;
  long rate_calls;
  long jacobian_calls;
  struct vecops_terms terms; /* the library's own rows, good until it steps again */
  double over_width;
  bool polynomial_ready;
  double *within;                  /* a state within the step, for the quadrature */
  struct integrator_counts before; /* counts up to the last restart, which resets the library's */
  int bad_state;                   /* first non-finite derivative, -1 none */
  double bad_time;
  char message[256];
};

/* Are all of these numbers? */
bool integrator_finite(const double *values, int count);
/* Keep which rate left the numbers first, at t. */
void integrator_note_bad(struct integrator *integrator, double t, const double *values);
/* Integrals up to the end of the last step. */
void integrator_finish_quadratures(struct integrator *integrator);
/* A step that ends at t has been made; its polynomial is known, or the library will tell it. */
void integrator_note_step(struct integrator *integrator, double t, bool polynomial);

#endif
