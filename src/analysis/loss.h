/* How much a deviation counts: the logarithm of what its errors' distribution says of it.
 *
 * Errors are normal; or Student's with four degrees of freedom (Lange, Little and Taylor, J. Amer. Statist. Assoc. 84,
 * 1989, 881-896: a fit that is robust against some per cent of spikes); or Huber's: normal in the middle, beyond 1.345
 * deviations with the tails of an exponential (Huber, Ann. Math. Statist. 35, 1964, 73-101).
 *
 * A number that was written in steps of a quantum q says no more than that the value lay within half a step of it. So
 * its likelihood is the probability of that interval, F((r + q/2) / s) - F((r - q/2) / s), with r the deviation and s
 * the scale of the errors before the step (Heitjan, Statist. Sci. 4, 1989, 164-179). For q well below s that is the
 * density with q^2/12 added to the variance; for q above s the errors of rounding repeat as long as the signal stands
 * still, no variance describes them, and the interval does. */
#ifndef SWASHLOOP_ANALYSIS_LOSS_H
#define SWASHLOOP_ANALYSIS_LOSS_H

enum loss { LOSS_NORMAL, LOSS_STUDENT, LOSS_HUBER };
extern const char *const loss_names[]; /* "normal", "student", "huber" */
enum { LOSS_COUNT = 3 };

/* Of one deviation over the scale. */
struct loss_point {
  double cost;  /* minus the logarithm of the likelihood, from its value at no deviation on */
  double score; /* its derivative */
  double curve; /* its second derivative */
};

/* `half`: half the quantum over the scale. Huber's knows no quantum. */
struct loss_point loss_at(enum loss loss, double deviation, double half);

/* The most likely scale of `count` deviations written in steps of `quantum` (0: as they are), `unknowns` of whose
 * freedom a fit took; Huber's: his proposal 2. `worth`: of how many free numbers without a quantum this scale is known
 * as well as. */
double loss_scale(enum loss loss, const double *deviations, long count, double quantum, double unknowns, double *worth);

/* Deviations of rounding below this share of the scale are no matter. */
#define LOSS_FINE 0.1

#endif
