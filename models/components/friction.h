/* Dry friction that truly holds at rest: a stiff spring that slides at the capacity. Shared by brakes, motors and
 * gears.
 *
 * The torque q is a state. With the capacity T > 0, the stiffness k, the speed w of the shaft, and c = q/T
 *   q' = k w_e - e |e|/(max(|q|, T) t_r),   w_e = w - |w| c,   e = q - clamp(q, -T, T),
 *   torque on the shaft q + k t_d w_e/(1 + x^2),   x = k t_d w/T:
 * below the capacity a loaded shaft stands still, wound up by q/k; sliding, q settles at T against w within about T/k
 * of turn; when the capacity falls below the load, the excess leaves with the time t_r, at rest too. w_e is the part of
 * the speed that winds the spring, so that the damping dies out in sliding. A positive torque opposes positive w.
 *
 * After P. R. Dahl's friction law (1968), with a capacity that falls with speed as in C. Canudas de Wit, H. Olsson,
 * K. J. Astrom and P. Lischinsky (IEEE Trans. Automatic Control 40 (1995) 419), both from memory. It never gives
 * energy, however capacity, speed and their signs change: with q^2/(2 k) stored, q w - q q'/k = T |w| c^2 + |q| e^2/(k
 * max(|q|, T) t_r), and the damping takes k t_d w^2 (1 -+ c)/(1 + x^2), negative only for |c| above 1 and then no more
 * than an eighth of the first term. k is constant and the energy counts by q: counted by the turn, with a stiffness
 * that follows the pressure, a spring wound at low pressure and let go at high would give more than it took. Where it
 * slides (c = 1) all is smooth in q and T: linear answers there are right.
 *
 * What it does not have: under a load that swings it gives way a little with each swing, also below the capacity (P.
 * Dupont, V. Hayward, B. Armstrong and F. Altpeter, IEEE Trans. Automatic Control 47 (2002) 787, from memory); a
 * capacity that rises with the time at rest. */
#ifndef SWASHLOOP_MODELS_FRICTION_H
#define SWASHLOOP_MODELS_FRICTION_H

#include "real.h"

/* Of motor and gear: how long torque beyond the capacity lasts, and the damping of the wind-up over its stiffness, s.
 * Ours, no source: the first is of the order of the lag that sliding friction shows after its speed. */
#define FRICTION_RELEASE_TIME 0.01
#define FRICTION_DAMPING_TIME 0.003

/* Part of the speed that winds the spring up rather than slides it, rad/s. */
static inline real friction_wind_up_speed(real capacity, real torque, real speed) {
  return speed - fabs(speed) * (torque / capacity);
}

/* dq/dt, N m/s. */
static inline real friction_torque_rate(real capacity, real stiffness, real release_time, real torque, real speed) {
  real excess = torque - saturate(torque, capacity);
  return stiffness * friction_wind_up_speed(capacity, torque, speed) -
         excess * fabs(excess) / (larger(fabs(torque), capacity) * release_time);
}

/* Torque on the shaft, N m. */
static inline real friction_torque(real capacity, real stiffness, real damping_time, real torque, real speed) {
  real damping = stiffness * damping_time;
  real part = damping * speed / capacity;
  return torque + damping * friction_wind_up_speed(capacity, torque, speed) / (1.0 + part * part);
}

/* Energy in the wind-up, J. */
static inline real friction_stored_energy(real stiffness, real torque) {
  return select_where(stiffness > 0.0, 0.5 * torque * torque / stiffness, broadcast(0.0));
}

/* Power into the wind-up, W, for dq/dt. */
static inline real friction_winds(real stiffness, real torque, real torque_rate) {
  return select_where(stiffness > 0.0, torque * torque_rate / stiffness, broadcast(0.0));
}

/* Capacity at a speed, N m: `starting` at rest, or `running` if that is more, and falling to `running`; half of the
 * difference is gone at `starting_speed`. Form after D. P. Hess and A. Soom (ASME J. Tribology 112 (1990) 147), from
 * memory. Never quite zero, so that quotients stay finite: at least a thousandth of `wound_up`, the torque over which
 * the wind-up is stated. */
static inline real friction_capacity(real starting, real running, real starting_speed, real speed, real wound_up) {
  real part = speed / starting_speed;
  return larger(running + max0(starting - running) / (1.0 + part * part), 1e-3 * wound_up);
}

#endif
