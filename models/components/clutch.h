/* A friction clutch between two shafts: of a transfer case, of a gear. Its torque q is a state, a stiff spring that
 * yields at the capacity C = share x full torque,
 *   q' = k w_e - (q - clamp(q, -C, C))/t_r,   w_e = w - |w| z^3,   z = clamp(q/C, -1, 1),   k = full torque/angle,
 * w the speed of the driving over the driven shaft. The clamp of z is rounded by a millionth of C: a clutch that slips
 * steadily would else stand in a corner, stiff on one side and free on the other, in which no linear view of it (steps
 * of an integrator, derivatives) is right; so it carries more than C by at most some 1e-4 of it. Well below the
 * capacity it holds (what a torque that swings to a third of it loses is z^3, under 4 %); slipping, q settles at C
 * against w; when the capacity falls, the excess leaves with the time t_r. Torque q + k t_d w_e, held within the
 * capacity. The form is that of R. Bouc and Y. K. Wen's hysteresis with exponent 3 (from memory), as brake.h has P. R.
 * Dahl's.
 *
 * Energy: the driving shaft gives torque x its own speed, the driven one takes torque x its own; the rest, torque x w,
 * is stored (q^2/(2 k)) or lost, and the loss is never negative, whatever the signs. Sign: a positive torque opposes
 * the driving shaft and pulls the driven one along. */
#ifndef SWASHLOOP_MODELS_CLUTCH_H
#define SWASHLOOP_MODELS_CLUTCH_H

#include "real.h"

struct clutch {
  real torque;       /* N m, what it carries when fully engaged */
  real angle;        /* rad between the shafts at that torque */
  real damping_time; /* s, of the wind-up over its stiffness */
  real release_time; /* s, in which torque beyond the capacity leaves */
};

#define CLUTCH_ROUNDING 1e-6 /* of the capacity */

/* Stiffness of the wind-up, N m/rad. */
static inline real clutch_stiffness(const struct clutch *clutch) {
  return clutch->torque / clutch->angle;
}

/* Torque that it can carry, N m; never quite zero, so that quotients stay finite. */
static inline real clutch_capacity(const struct clutch *clutch, real share) {
  return clutch->torque * larger(share, 1e-3);
}

/* Part of the slip that winds it up rather than slides it, rad/s. */
static inline real clutch_wind_up_speed(const struct clutch *clutch, real share, real torque, real slip) {
  real left = 1.0 - fabs(torque) / clutch_capacity(clutch, share);
  real part = 1.0 - 0.5 * (left + sqrt(left * left + CLUTCH_ROUNDING * CLUTCH_ROUNDING));
  real slides = fabs(slip) * part * part * part;
  return slip - select_where(torque < 0.0, -slides, slides);
}

/* dq/dt, N m/s. */
static inline real clutch_torque_rate(const struct clutch *clutch, real share, real torque, real slip) {
  real excess = torque - saturate(torque, clutch_capacity(clutch, share));
  return clutch_stiffness(clutch) * clutch_wind_up_speed(clutch, share, torque, slip) - excess / clutch->release_time;
}

/* Torque between the shafts, N m. */
static inline real clutch_torque(const struct clutch *clutch, real share, real torque, real slip) {
  real damping = clutch_stiffness(clutch) * clutch->damping_time * clutch_wind_up_speed(clutch, share, torque, slip);
  return saturate(torque + damping, larger(clutch_capacity(clutch, share), fabs(torque)));
}

/* Energy in the wind-up, J. */
static inline real clutch_stored_energy(const struct clutch *clutch, real torque) {
  return 0.5 * torque * torque / clutch_stiffness(clutch);
}

#endif
