/* Gearbox of up to four speeds between the first motor and the shaft to the axles (or the transfer case). The motor's
 * shaft has an inertia and a speed w_m of its own; each gear is a clutch (clutch.h) between it and the output at speed
 * w_s: with ratio i the clutch slips by w_m - i w_s, takes q from the motor's shaft and gives i q to the output,
 *   J_m w_m' = T_motor - q_old - q_new,   T_out = i_old q_old + i_new q_new - mesh losses.
 * So no ratio ever changes at an instant between turning parts: a shift changes what clutches can carry, and what the
 * speeds must give up in it is lost in a slipping clutch and stands in the ledger (row `clutches`).
 *
 *  `under_load`: the old clutch opens and the new one closes, each within shift_time; they overlap by a part of it. Too
 *      little overlap interrupts the torque, too much makes both gears work against each other.
 *  `standstill`: the same one after the other, in neutral between them; a shift that is asked for above
 *      standstill_speed is refused and told.
 *
 * In neutral nothing holds the machine but its brakes. Loss of a gear's mesh (1 - eta) |i q| s(w_s), either way of
 * power. Structure: textbook; two shafts that a constant torque T brings together take J dw/T and lose J dw^2/2, J
 * their inertias in series. Sign: positive drives forward. */
#ifndef SWASHLOOP_MODELS_GEARBOX_H
#define SWASHLOOP_MODELS_GEARBOX_H

#include "clutch.h"
#include "field.h"

enum gearbox_law { GEARBOX_NONE, GEARBOX_STANDSTILL, GEARBOX_UNDER_LOAD };
enum { GEARBOX_GEARS = 4, GEARBOX_SLOTS = 2 }; /* two clutches are at work at most */

/* clang-format off */
#define GEARBOX_FIELDS(REAL, CHOICE, TABLE)                                                                            \
  CHOICE(law, GEARBOX_NONE, "none|standstill|under_load", "", "whether there is one behind the first motor, and when it shifts") \
  REAL(ratio_1, NUMBER, 3.0, 0.05, 50.0, NONE, "", "motor speed over shaft speed in gear 1", "law standstill|under_load") \
  REAL(ratio_2, NUMBER, 1.0, 0.0, 50.0, NONE, "", "the same in gear 2; 0: there is none", "law standstill|under_load") \
  REAL(ratio_3, NUMBER, 0.0, 0.0, 50.0, NONE, "", "the same in gear 3; 0: there is none", "law standstill|under_load") \
  REAL(ratio_4, NUMBER, 0.0, 0.0, 50.0, NONE, "", "the same in gear 4; 0: there is none", "law standstill|under_load") \
  REAL(efficiency_1, FRACTION, 97.0, 10.0, 100.0, NONE, "", "efficiency of gear 1 under load", "law standstill|under_load") \
  REAL(efficiency_2, FRACTION, 98.0, 10.0, 100.0, NONE, "", "efficiency of gear 2", "ratio_2 and law standstill|under_load") \
  REAL(efficiency_3, FRACTION, 98.0, 10.0, 100.0, NONE, "", "efficiency of gear 3", "ratio_3 and law standstill|under_load") \
  REAL(efficiency_4, FRACTION, 98.0, 10.0, 100.0, NONE, "", "efficiency of gear 4", "ratio_4 and law standstill|under_load") \
  REAL(motor_inertia, INERTIA, 0.06, 1e-3, 100.0, NONE, "", "motor and shaft ahead of the clutches; not in driveline.wheel_inertia then", "law standstill|under_load") \
  REAL(clutch_torque, TORQUE, 1500.0, 1.0, 1e5, NONE, "", "torque of the motor's shaft at which a gear's clutch slips", "law standstill|under_load") \
  REAL(wind_up_angle, ANGLE, 40.0, 0.1, 1000.0, NONE, "", "turn of a clutch at that torque", "law standstill|under_load") \
  REAL(damping_time, TIME, 0.002, 0.0, 1.0, NONE, "", "damping of that wind-up over its stiffness", "law standstill|under_load") \
  REAL(release_time, TIME, 0.02, 1e-4, 1.0, NONE, "", "time constant with which a clutch sheds torque beyond its capacity", "law standstill|under_load and channel gear") \
  REAL(shift_time, TIME, 0.4, 0.01, 10.0, NONE, "", "how long a clutch opens, and how long one closes", "law standstill|under_load and channel gear") \
  REAL(overlap, FRACTION, 70.0, 0.0, 100.0, NONE, "", "part of the shift time for which both clutches move at once", "law under_load and channel gear") \
  REAL(standstill_speed, SPEED, 0.5, 0.0, 50.0, NONE, "", "speed above which no shift is begun", "law standstill and channel gear")
/* clang-format on */

struct gearbox_parameters {
  GEARBOX_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct gearbox_parameters
static const struct field gearbox_fields[] = {GEARBOX_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* A gear's clutch. */
static inline struct clutch gearbox_clutch(const struct gearbox_parameters *box) {
  struct clutch clutch = {box->clutch_torque, box->wind_up_angle, box->damping_time, box->release_time};
  return clutch;
}

/* Torque that a mesh loses at the output, N m, signed as the output's speed; `torque` there. */
static inline real gearbox_mesh_loss(real efficiency, real torque, real torque_width, real speed, real speed_width) {
  return (1.0 - efficiency) * soft_abs(torque, torque_width) * tanh_sign(speed, speed_width);
}

#if REAL_LANES == 1 /* asked when a shift begins */

/* Ratio of a gear, 1 to GEARBOX_GEARS; 0: there is none. */
static inline real gearbox_ratio(const struct gearbox_parameters *box, int gear) {
  const real ratios[GEARBOX_GEARS] = {box->ratio_1, box->ratio_2, box->ratio_3, box->ratio_4};
  return gear >= 1 && gear <= GEARBOX_GEARS ? ratios[gear - 1] : 0.0;
}

/* Efficiency of a gear. */
static inline real gearbox_efficiency(const struct gearbox_parameters *box, int gear) {
  const real efficiencies[GEARBOX_GEARS] = {box->efficiency_1, box->efficiency_2, box->efficiency_3, box->efficiency_4};
  return gear >= 1 && gear <= GEARBOX_GEARS ? efficiencies[gear - 1] : 1.0;
}

/* Time after which the new clutch begins to close, s. */
static inline real gearbox_closing_delay(const struct gearbox_parameters *box) {
  return box->law == GEARBOX_UNDER_LOAD ? (1.0 - box->overlap) * box->shift_time : box->shift_time;
}

#endif

#endif
