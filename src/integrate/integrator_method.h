/* Descriptor of a method of integration, and what an integrator holds whatever its method. Private to the room: the
 * files of the methods and integrator.c include it, callers include integrator.h. */
#ifndef SWASHLOOP_INTEGRATE_INTEGRATOR_METHOD_H
#define SWASHLOOP_INTEGRATE_INTEGRATOR_METHOD_H

#include "integrator.h"
#include "quadrature.h"
#include "side_by_side.h"
#include "sparsity.h"
#include "step_polynomial.h"

/* s; a shorter step is given up: a rate is not finite, or the problem has no solution from here. */
#define SMALLEST_STEP 1e-12

struct integrator_method {
  const char *name;  /* as a case names it */
  const char *text;  /* what it is, in words */
  double tolerances; /* factor on the problem's tolerances with which this method gives equal results */
  double vouched;    /* up to this factor on the default tolerances its extremes were tried, and are vouched for */
  bool iterates;     /* on nonlinear equations, to a tolerance */
  /* Accepted steps from one look at the eigenvalues of the rates to the next (hunting.h): so many that a look costs
   * less than 3 % of them. */
  int steps_between_looks;
  /* integrator->own from integrator->problem, tolerances and sparsity. False without memory; destroy follows. */
  bool (*create)(struct integrator *integrator);
  /* As if newly created, for another problem of the same sizes and sparsity. */
  void (*renew)(struct integrator *integrator);
  void (*destroy)(struct integrator *integrator);
  /* Begin, or begin again, at t with integrator->state. */
  bool (*start)(struct integrator *integrator, double t, struct error *error);
  /* One step, never beyond `stop`: integrator_finish_quadratures before anything of the last step is lost,
   * integrator_note_step when it is made. */
  bool (*step)(struct integrator *integrator, double stop, struct error *error);
  /* The last step's polynomial into integrator->polynomial, its rows good until the next step; asked for once a step.
   * False where there is none. */
  bool (*find_polynomial)(struct integrator *integrator);
  /* Adds what the method itself, or its library, has counted. */
  void (*add_counts)(const struct integrator *integrator, struct integrator_counts *counts);
  /* Derivatives of states to a parameter: those with which the next start begins, and within the last step (at a start,
   * those with which it began). Both NULL: it takes no parameters. */
  void (*begin_sensitivity)(struct integrator *integrator, int parameter, const double *states);
  void (*sensitivity_at)(struct integrator *integrator, int parameter, double t, double *states);
  const struct integrator_side_by_side *side_by_side; /* NULL: it makes one system's steps only */
};

struct integrator {
  struct integrator_problem problem;
  const struct integrator_method *method;
  void *own; /* of the method */
  struct sparsity *sparsity;
  double *state;      /* at the end of the last step */
  double *tolerances; /* absolute, then relative, one each a state */
  double time;
  double step_start;
  bool begun;   /* this problem has started */
  bool stepped; /* since the last start */
  bool polynomial_ready;
  struct step_polynomial polynomial; /* of the last step */
  double *within;                    /* a state within the step, for the quadratures */
  struct quadrature *quadrature;     /* integrals of powers */
  /* With parameters; else NULL. */
  double *scales;
  struct quadrature *sensitivity_quadrature; /* integrals' derivatives times the scales */
  double *integral_sensitivities;            /* [parameter][integral], those with which a start begins, times scales */
  double *integral_sensitivities_at;         /* the same, evaluated */
  double *sensitivities_within;              /* [parameter][state], for the quadrature */
  double *change;                            /* [state], change by the parameter of integrator_perturb */
  int perturbed;                             /* parameter of integrator_perturb */
  double amount;
  struct integrator_counts counts; /* restarts, rate_calls outside the Jacobians, jacobian_calls */
  int bad_state;                   /* first non-finite derivative, -1 none */
  double bad_time;
};

/* ---- for the methods ---- */

/* Are all of these numbers? */
bool integrator_finite(const double *values, int count);
/* Keep which rate is the first that is not finite, at t. */
void integrator_note_bad(struct integrator *integrator, double t, const double *values);
/* The same of the rates near t by which this Jacobian, given by entries of the sparsity, was found. */
void integrator_note_bad_jacobian(struct integrator *integrator, double t, const double *jacobian);
/* Say so; false. */
bool integrator_tell_bad(const struct integrator *integrator, struct error *error);
/* Say that no step can be made from here, most of all for this state (-1: none is known), and why; false. */
bool integrator_tell_stuck(const struct integrator *integrator, int state, const char *why, struct error *error);
/* Integrals up to the end of the last step. */
void integrator_finish_quadratures(struct integrator *integrator);
/* A step that ends at t has been made. The first says so of its time alone: its integrals are made elsewhere, or
 * quadrature_step follows. */
void integrator_note_time(struct integrator *integrator, double t);
void integrator_note_step(struct integrator *integrator, double t);
/* Adds steps, Jacobians, factorizations, solves and failures. */
void integrator_add_counts(struct integrator_counts *sum, const struct integrator_counts *more);

#endif
