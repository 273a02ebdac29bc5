/* Integrals of powers along an integrator's steps, by rules applied to the steps' polynomials.
 *
 * A step is integrated by Simpson's rule on its start, middle and end, points that a run evaluates anyway. The middle
 * and start of the step before give its fourth differences, and so its error, which is taken off. Where the error so
 * found exceeds its tolerance, and in the first step after a restart, the step is halved until two rules agree: a line
 * that fills is linear in its state, and one step may carry the whole rise of its pressure. */
#ifndef SWASHLOOP_INTEGRATE_QUADRATURE_H
#define SWASHLOOP_INTEGRATE_QUADRATURE_H

#include <stdbool.h>

/* The powers at t, within the present step. */
typedef void quadrature_powers(void *context, double t, double *powers);

struct quadrature;

/* NULL without memory. */
struct quadrature *quadrature_new(int count);
void quadrature_free(struct quadrature *quadrature);
/* Errors of a step's integrals are held to absolute + relative |integral so far|. */
void quadrature_settle(struct quadrature *quadrature, double relative, double absolute);
/* Begin, or begin again, at t with these integrals. */
void quadrature_start(struct quadrature *quadrature, double t, const double *integrals);
/* There is a new step, that ends at t; the one before must be finished. */
void quadrature_step(struct quadrature *quadrature, double t);
/* Integrate the last step, if that has not been done. */
void quadrature_finish(struct quadrature *quadrature, quadrature_powers *powers, void *context);
/* Integrals up to t, within the last step. */
void quadrature_at(struct quadrature *quadrature, double t, quadrature_powers *powers, void *context,
                   double *integrals);

#endif
