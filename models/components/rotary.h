/* Losses that pump and motor share: one machine, both power directions, all four quadrants.
 *
 * Leakage (W. E. Wilson, Rotary-Pump Theory, Trans. ASME 68 (1946), form from memory): port to port
 * C_s D (p_A - p_B)/mu, and each port to the case C_c D (p - p_case)/mu, D per radian, at full displacement whatever
 * the stroke. Torque loss C_v D mu w + (C_f D |p_A - p_B| + T_c) s(w), s = tanh(w/w_0), |.| rounded over p_f0; it
 * opposes the rotation, so that the power lost is never negative.
 *
 * Cold oil: with `viscous_exponent` e the viscous term is C_v D mu_ref (mu/mu_ref)^e w with mu_ref = 0.02 Pa s. e = 1
 * is Wilson's; about 0.4 keeps the drag of thick oil within what machines show (common practice, no source), since
 * the film heats up. Valid from about 7 to 1600 mm2/s.
 *
 * By a map (`losses: map`) instead: efficiencies measured at full displacement over speed and pressure, by the
 * definitions of ISO 4391 (from memory). Pump: eta_v = q/(D w), eta_hm = D p/T; motor: eta_v = D w/q, eta_hm = T/(D p).
 * At the points of the grid they are turned into losses,
 *   pump  leakage D w (1 - eta_v),     torque D p (1/eta_hm - 1)
 *   motor leakage D w (1/eta_v - 1),   torque D p (1 - eta_hm)
 * and the losses, not the efficiencies, are interpolated, bilinearly in |w| and |p_A - p_B|: they stay finite where an
 * efficiency is 0/0, and the same numbers serve driving and overrun. Below the lowest pressure leakage falls in a
 * straight line to zero and the torque loss is held; below the lowest speed both are held, the torque loss with its
 * sign s(w). Like the coefficients they hold whatever the stroke. Leakage leaves the port of the higher pressure;
 * `map_case_share` of it goes to the case (less when that port is itself hardly above the case, none when below), the
 * rest to the other port: no element ever gives power. A map holds for the oil it was measured with: viscosity and
 * temperature do not enter. Beyond the largest speed or pressure the map says nothing, and the run ends (a guard of
 * the plant); until the integrator has found that instant, trial steps beyond it use the value at the edge. */
#ifndef SWASHLOOP_MODELS_ROTARY_H
#define SWASHLOOP_MODELS_ROTARY_H

#include <stdbool.h>
#include <stddef.h>

#include "map.h"

enum rotary_losses_by { ROTARY_COEFFICIENTS, ROTARY_MAP };

#define ROTARY_REFERENCE_VISCOSITY 0.02

struct rotary_losses {
  real displacement;     /* m3/rad, largest */
  real slip;             /* C_s, without unit */
  real case_leak;        /* C_c, without unit, each port */
  real viscous;          /* C_v, without unit */
  real coulomb;          /* C_f, without unit */
  real constant;         /* T_c, N m */
  real speed_width;      /* w_0, rad/s */
  real pressure_width;   /* p_f0, Pa */
  const struct map *map; /* one each lane; NULL: by the coefficients */
  bool is_motor;         /* the map's definitions are a motor's */
  real case_share;       /* of the map's leakage, 0 to 1 */
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

/* Leakage of the map's point (i, k), m3/s, in one lane. */
static inline double rotary_map_leakage(const struct rotary_losses *losses, int lane, int i, int k) {
  const struct map *map = &losses->map[lane];
  double efficiency = map->volumetric[i * map->pressures + k];
  return lane_get(losses->displacement, lane) * map->speed[i] *
         (losses->is_motor ? 1.0 / efficiency - 1.0 : 1.0 - efficiency);
}

/* Torque loss of the map's point (i, k), N m, in one lane. */
static inline double rotary_map_torque(const struct rotary_losses *losses, int lane, int i, int k) {
  const struct map *map = &losses->map[lane];
  double efficiency = map->hydromechanical[i * map->pressures + k];
  return lane_get(losses->displacement, lane) * map->pressure[k] *
         (losses->is_motor ? 1.0 - efficiency : 1.0 / efficiency - 1.0);
}

/* Bilinear between four points of the map, each lane in its own. */
static inline real rotary_map_between(const struct rotary_losses *losses, real speed, real pressure,
                                      double (*at)(const struct rotary_losses *, int, int, int)) {
  real value = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    const struct map *map = &losses->map[lane];
    struct map_place place = map_find(map, lane_get(speed, lane), lane_get(pressure, lane));
    int i = place.speed;
    int k = place.pressure;
    int next_i = i + 1 < map->speeds ? i + 1 : i;
    int next_k = k + 1 < map->pressures ? k + 1 : k;
    double near = at(losses, lane, i, k);
    double far = at(losses, lane, i, next_k);
    double low = near + (at(losses, lane, next_i, k) - near) * place.along_speed;
    double high = far + (at(losses, lane, next_i, next_k) - far) * place.along_speed;
    lane_set(&value, lane, low + (high - low) * place.along_pressure);
  }
  return value;
}

/* The largest speed and pressure of each lane's map, and the lowest pressure. */
static inline real rotary_map_top_speed(const struct rotary_losses *losses) {
  real top = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&top, lane, losses->map[lane].speed[losses->map[lane].speeds - 1]);
  }
  return top;
}

/* Largest pressure of the map, Pa between the ports. */
static inline real rotary_map_top_pressure(const struct rotary_losses *losses) {
  real top = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&top, lane, losses->map[lane].pressure[losses->map[lane].pressures - 1]);
  }
  return top;
}

/* Lowest pressure of the map, Pa between the ports; below it the leakage falls to zero. */
static inline real rotary_map_low_pressure(const struct rotary_losses *losses) {
  real low = broadcast(0.0);
  for (int lane = 0; lane < REAL_LANES; lane++) {
    lane_set(&low, lane, losses->map[lane].pressure[0]);
  }
  return low;
}

/* What leaks: from port A to port B, and from each port to the case, m3/s. */
struct rotary_leaks {
  real slip;   /* from A to B */
  real case_a; /* from A to the case */
  real case_b; /* from B to the case */
};

/* Leakage by the coefficients or by the map; `drop` = p_A - p_B, pressures of the ports over the case. */
static inline struct rotary_leaks rotary_leaks_of(const struct rotary_losses *losses, real drop, real a_over_case,
                                                  real b_over_case, real speed, real viscosity) {
  if (losses->map == NULL) {
    struct rotary_leaks leaks = {
        rotary_slip_flow(losses, drop, viscosity),
        rotary_case_flow(losses, a_over_case, viscosity),
        rotary_case_flow(losses, b_over_case, viscosity),
    };
    return leaks;
  }
  real size = fabs(drop);
  real whole = rotary_map_between(losses, fabs(speed), size, rotary_map_leakage) *
               smaller(1.0, size / rotary_map_low_pressure(losses));
  real higher = larger(a_over_case, b_over_case);
  real to_case =
      select_where(higher > 0.0, whole * losses->case_share * smaller(1.0, higher / larger(size, 1.0)), broadcast(0.0));
  struct rotary_leaks leaks = {
      select_where(drop >= 0.0, whole - to_case, to_case - whole),
      select_where(drop >= 0.0, to_case, broadcast(0.0)),
      select_where(drop >= 0.0, broadcast(0.0), to_case),
  };
  return leaks;
}

/* Torque that opposes the rotation, N m, by the law chosen. */
static inline real rotary_torque_of(const struct rotary_losses *losses, real drop, real speed, real film) {
  if (losses->map == NULL) {
    return rotary_torque_loss(losses, drop, speed, film);
  }
  return rotary_map_between(losses, fabs(speed), fabs(drop), rotary_map_torque) * tanh_sign(speed, losses->speed_width);
}

/* How far the point lies inside the map, as shares of its largest speed and pressure; 1 without a map. */
static inline real rotary_map_speed_room(const struct rotary_losses *losses, real speed) {
  return losses->map == NULL ? broadcast(1.0) : 1.0 - fabs(speed) / rotary_map_top_speed(losses);
}

/* The same for the pressure. */
static inline real rotary_map_pressure_room(const struct rotary_losses *losses, real drop) {
  return losses->map == NULL ? broadcast(1.0) : 1.0 - fabs(drop) / rotary_map_top_pressure(losses);
}

#endif
