/* Diesel engine with its governor.
 *
 * Full torque (friction taken off) a parabola, T_max = T_pk max(0, 1 - ((w - w_pk)/w_wd)^2), or a table over speed;
 * friction (motoring) T_fr = (T_0 + T_1 |w| + T_2
 * w^2) s(w), or a table; auxiliaries k w |w|: both take power whichever way the engine turns. Droop governor: Fuel
 * share x: tau x' = clamp01((w_0 (1 + droop) - w)/(droop w_0)) - x, so that the full fuel torque falls to nothing
 * between the set speed and set speed times 1 + droop (ISO 3046-4 calls the same slope speed droop; definition from
 * memory). Isochronous governor: asked fuel K e + z, e = (w_0 - w)/w_0, z' = K_i e + (clamp01(asked) - asked)/t_w: the
 * last term stops the integral from winding up while the fuel is at an end. Torque made x (T_max + T_fr) - T_fr.
 * Exhaust brake: T_eb b s(w) more friction, b the operator's channel. J w' = torque - auxiliaries - loads.
 *
 * Starter: torque T_s b while the engine does not burn, b the operator's channel, fading from the stall speed to
 * nothing at twice of it. A stalled engine burns again only when the starter has brought it over the stall speed.
 *
 * Stall. Below the stall speed nothing burns any more and nothing makes it burn again by itself. `end_run` ends the run
 * there; `held` lets the shaft run down to rest, where its compression holds it up to the crank-over torque: a loop
 * that pulls harder turns it over, either way round, and it comes to rest again when the pull is gone. While nothing
 * burns, the torque that it opposes rises from its friction to the crank-over torque as it slows below some 50 rpm.
 * (200 N m for an engine of 720 N m: from memory; the crank-over torque of an engine is what its starter is chosen by.)
 * `none` is the reference law: fuel burns at any speed, either way round.
 *
 * Sign: torque and speed positive as the engine runs. */
#ifndef SWASHLOOP_MODELS_ENGINE_H
#define SWASHLOOP_MODELS_ENGINE_H

#include <stdbool.h>

#include "field.h"

enum engine_torque_law { ENGINE_TORQUE_PARABOLA, ENGINE_TORQUE_CURVE };
enum engine_friction_law { ENGINE_FRICTION_POLYNOMIAL, ENGINE_FRICTION_CURVE };
enum engine_governor { ENGINE_DROOP, ENGINE_ISOCHRONOUS };
enum engine_stall { ENGINE_NO_STALL, ENGINE_HELD, ENGINE_END_RUN };

/* clang-format off */
#define ENGINE_FIELDS(REAL, CHOICE, TABLE)                                                                             \
  REAL(inertia, INERTIA, 1.8, 0.01, 1000.0, NONE, "J_e", "engine, flywheel and pump")                                  \
  CHOICE(torque_law, ENGINE_TORQUE_PARABOLA, "parabola|curve", "", "full torque by three numbers or by a table")           \
  TABLE(torque_curve, ANGULAR_SPEED, TORQUE, 0.0, 50000.0, "", "full torque over speed, friction taken off", "torque_law curve") \
  REAL(peak_torque, TORQUE, 720.0, 1.0, 50000.0, NONE, "T_pk", "largest torque at full fuel, friction taken off", "torque_law parabola") \
  REAL(peak_torque_speed, ANGULAR_SPEED, 1400.0, 100.0, 10000.0, NONE, "w_pk", "speed of the largest torque", "torque_law parabola") \
  REAL(torque_half_width, ANGULAR_SPEED, 1654.0, 100.0, 20000.0, NONE, "w_wd", "distance in speed from the largest to no torque", "torque_law parabola") \
  REAL(set_speed, ANGULAR_SPEED, 2100.0, 200.0, 10000.0, NONE, "w_set", "governor set speed: full fuel up to here")    \
  REAL(droop, FRACTION, 7.0, 0.1, 50.0, NONE, "droop", "rise of speed from full to no fuel", "governor droop") \
  CHOICE(governor, ENGINE_DROOP, "droop|isochronous", "", "whether the speed falls with load or is held")                 \
  REAL(governor_gain, NUMBER, 15.0, 0.1, 1000.0, NONE, "", "fuel over relative speed error", "governor isochronous") \
  REAL(governor_reset, TIME, 0.5, 0.01, 100.0, NONE, "", "integral time", "governor isochronous") \
  REAL(fuel_lag, TIME, 0.08, 1e-3, 10.0, NONE, "tau_f", "lag of the fuel")                                             \
  CHOICE(friction_law, ENGINE_FRICTION_POLYNOMIAL, "polynomial|curve", "", "motoring torque by three numbers or by a table") \
  TABLE(friction_curve, ANGULAR_SPEED, TORQUE, 0.0, 5000.0, "", "motoring torque over speed", "friction_law curve") \
  REAL(friction_constant, TORQUE, 40.0, 0.0, 5000.0, NONE, "Tf0", "motoring torque, constant part", "friction_law polynomial") \
  REAL(friction_linear, VISCOUS_TORQUE, 0.2, 0.0, 100.0, NONE, "Tf1", "motoring torque, part linear in speed", "friction_law polynomial") \
  REAL(friction_quadratic, QUADRATIC_TORQUE, 9e-4, 0.0, 1.0, NONE, "Tf2", "motoring torque, part quadratic in speed", "friction_law polynomial") \
  REAL(auxiliaries, QUADRATIC_TORQUE, 7.5e-4, 0.0, 1.0, NONE, "k_aux", "fan and other auxiliaries, torque over speed squared") \
  REAL(exhaust_brake_torque, TORQUE, 0.0, 0.0, 5000.0, NONE, "", "extra motoring torque of the exhaust brake when full on", "channel exhaust_brake") \
  REAL(speed_width, ANGULAR_SPEED, 9.5492965855137210, 1e-3, 1000.0, NONE, "w_e0", "speed over which friction on the engine shaft turns round") \
  REAL(start_speed, FRACTION, 105.5, 0.0, 200.0, NONE, "we_start", "speed at the start over the set speed")            \
  REAL(start_fuel, FRACTION, 20.0, 0.0, 100.0, NONE, "xf_start", "fuel at the start")                                  \
  CHOICE(stall, ENGINE_END_RUN, "none|held|end_run", "", "what happens below the stall speed")                             \
  REAL(stall_speed, ANGULAR_SPEED, 350.0, 0.0, 5000.0, NONE, "", "below this nothing burns", "stall held|end_run") \
  REAL(crank_over_torque, TORQUE, 200.0, 1.0, 5000.0, NONE, "", "torque that turns the stopped engine over against its compression", "stall held") \
  REAL(starter_torque, TORQUE, 250.0, 0.0, 5000.0, NONE, "", "torque of the starter at rest", "channel starter") \
  REAL(overspeed_alarm, ANGULAR_SPEED, 2500.0, 1.0, 20000.0, NONE, "", "speed above which the engine is reported as too fast") \
  REAL(underspeed_alarm, ANGULAR_SPEED, 1400.0, 0.0, 20000.0, NONE, "", "speed below which the engine is reported as lugging")
/* clang-format on */

struct engine_parameters {
  ENGINE_FIELDS(FIELD_MEMBER_REAL, FIELD_MEMBER_CHOICE, FIELD_MEMBER_TABLE)
};

#define FIELD_OWNER struct engine_parameters
static const struct field engine_fields[] = {ENGINE_FIELDS(FIELD_ROW_REAL, FIELD_ROW_CHOICE, FIELD_ROW_TABLE)};
#undef FIELD_OWNER

/* Full-fuel torque with friction taken off, N m. */
static inline real engine_full_torque(const struct engine_parameters *engine, real speed) {
  if (engine->torque_law == ENGINE_TORQUE_CURVE) {
    return profiles_at(EACH(engine->torque_curve), speed);
  }
  real away = (speed - engine->peak_torque_speed) / engine->torque_half_width;
  return engine->peak_torque * max0(1.0 - away * away);
}

/* Size of the motoring torque, N m. */
static inline real engine_friction_size(const struct engine_parameters *engine, real speed) {
  return engine->friction_law == ENGINE_FRICTION_CURVE
             ? profiles_at(EACH(engine->friction_curve), fabs(speed))
             : engine->friction_constant + engine->friction_linear * fabs(speed) +
                   engine->friction_quadratic * speed * speed;
}

/* Motoring torque that opposes rotation, N m, signed as the speed. */
static inline real engine_friction(const struct engine_parameters *engine, real speed) {
  return engine_friction_size(engine, speed) * tanh_sign(speed, engine->speed_width);
}

#define ENGINE_COMPRESSION_SPEED 5.0 /* rad/s: below this it is no longer carried over its compression */
#define ENGINE_REST_WIDTH 0.03       /* rad/s over which the torque of rest turns round */
#define ENGINE_REST_SPEED 0.06       /* rad/s below which an engine that nothing turns over stands */
#define ENGINE_REST_SHARE 0.95       /* of the crank-over torque, below which it comes to rest */

/* Torque of the compression that opposes a slow shaft while nothing burns, N m, signed as the speed: beside the
 * friction, so that at rest both come to the crank-over torque. */
static inline real engine_compression_hold(const struct engine_parameters *engine, real speed) {
  real slow = speed / ENGINE_COMPRESSION_SPEED;
  real more = max0(engine->crank_over_torque - engine_friction_size(engine, broadcast(0.0)));
  return select_where_rare(fabs(slow) < 1e3, more / (1.0 + slow * slow) * tanh_sign(speed, ENGINE_REST_WIDTH),
                           broadcast(0.0));
}

/* Torque of the exhaust brake, N m, signed as the speed; `share` of the lever, 0 to 1. */
static inline real engine_exhaust_brake(const struct engine_parameters *engine, real speed, real share) {
  return select_where_rare(share != 0.0, engine->exhaust_brake_torque * share * tanh_sign(speed, engine->speed_width),
                           broadcast(0.0));
}

/* Torque of fan and auxiliaries, N m, signed as the speed. */
static inline real engine_auxiliaries(const struct engine_parameters *engine, real speed) {
  return engine->auxiliaries * speed * fabs(speed);
}

/* Torque of combustion on the shaft before friction, N m. */
static inline real engine_combustion(real fuel, real full_torque, real friction) {
  return fuel * (full_torque + friction);
}

/* Fuel that the governor asks for, before it is held to 0 to 1; `throttle` scales the set speed, `integral` is the
 * isochronous governor's. */
static inline real engine_asked_fuel(const struct engine_parameters *engine, real speed, real throttle, real integral) {
  real set = engine->set_speed * throttle;
  if (engine->governor == ENGINE_ISOCHRONOUS) {
    return engine->governor_gain * (set - speed) / set + integral;
  }
  return (set * (1.0 + engine->droop) - speed) / (engine->droop * set);
}

/* d(fuel)/dt, 1/s; `supply` (0 or 1, between while it is cut) is what fuel there is. */
static inline real engine_fuel_rate(const struct engine_parameters *engine, real fuel, real asked, real supply) {
  return (clamp01(asked) * supply - fuel) / engine->fuel_lag;
}

/* d(integral)/dt of the isochronous governor, 1/s; `most` is the fuel that it can have. */
static inline real engine_integral_rate(const struct engine_parameters *engine, real speed, real throttle, real asked,
                                        real most) {
  real set = engine->set_speed * throttle;
  return (engine->governor_gain * (set - speed) / set + (clamp01(smaller(asked, most)) - asked)) /
         engine->governor_reset;
}

/* Torque of the starter, N m, while nothing burns. */
static inline real engine_starter(const struct engine_parameters *engine, real speed, real share) {
  return select_where(engine->stall_speed > 0.0,
                      engine->starter_torque * share * clamp01(2.0 - speed / engine->stall_speed), broadcast(0.0));
}

#endif
