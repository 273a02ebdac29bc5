/* Losses that pump and motor share: one machine, both power directions, all four quadrants.
 *
 * Leakage (W. E. Wilson, Rotary-Pump Theory, Trans. ASME 68 (1946), form from memory): port to port
 * C_s D (p_A - p_B)/mu, and each port to the case C_c D (p - p_case)/mu, D per radian, at full displacement whatever
 * the stroke. Torque loss C_v D mu w + (C_f D |p_A - p_B| + T_c) s(w), s = tanh(w/w_0), |.| rounded over p_f0; it
 * opposes the rotation, so that the power lost is never negative.
 *
 * Cold oil: with `viscous_exponent` e the viscous term is C_v D mu_ref (mu/mu_ref)^e w with mu_ref = 0.02 Pa s. e = 1
 * is Wilson's; about 0.4 keeps the drag of thick oil within what machines show (common practice, no source), since
 * the film heats up. Valid from about 7 to 1600 mm2/s. */
#ifndef SWASHLOOP_MODELS_ROTARY_H
#define SWASHLOOP_MODELS_ROTARY_H

#include "real.h"

#define ROTARY_REFERENCE_VISCOSITY 0.02

struct rotary_losses {
  real displacement; /* m3/rad, largest */
  real slip;         /* C_s */
  real case_leak;    /* C_c, each port */
  real viscous;      /* C_v */
  real coulomb;      /* C_f */
  real constant;     /* T_c, N m */
  real speed_width;
  real pressure_width;
};

/* Flow from port A to port B inside the machine, m3/s. */
static inline real rotary_slip_flow(const struct rotary_losses *losses, real drop, real viscosity) {
  return losses->slip * losses->displacement * drop / viscosity;
}

/* Flow from one port to the case, m3/s. */
static inline real rotary_case_flow(const struct rotary_losses *losses, real over_case, real viscosity) {
  return losses->case_leak * losses->displacement * over_case / viscosity;
}

/* Torque that opposes the rotation, N m, signed as the speed; `film` is the viscosity of the film, Pa s. */
static inline real rotary_torque_loss(const struct rotary_losses *losses, real drop, real speed, real film) {
  return losses->viscous * losses->displacement * film * speed +
         (losses->coulomb * losses->displacement * soft_abs(drop, losses->pressure_width) + losses->constant) *
             tanh_sign(speed, losses->speed_width);
}

#endif
