/* Published measurements, held against whole runs: efficiency at the drawbar, what limits the pull, droop of speed with
 * load, drive lines at light load, slopes and loads of skidding, travel speeds. The machines are ours and invented;
 * what is asked is whether they behave as measured ones do, within the tolerance that two different machines deserve.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "rows.h"
#include "tyre.h"

/* ---- a run with all its samples ---- */

struct history {
  struct case_data data;
  struct outcome outcome;
  int count;
  int capacity;
  double *values; /* [sample][signal], the time behind them */
};

static int width_of(const struct history *history) {
  return history->data.plant->signal_count + 1;
}

static bool keep(void *context, int count, const double *time, const double *const *values, struct error *error) {
  struct history *history = context;
  int width = width_of(history);
  (void)error;
  if (history->count + count > history->capacity) {
    history->capacity = 2 * (history->count + count);
    history->values = realloc(history->values, sizeof(double) * (size_t)width * (size_t)history->capacity);
    if (history->values == NULL) {
      abort();
    }
  }
  for (int i = 0; i < count; i++) {
    double *row = history->values + (size_t)width * (size_t)history->count++;
    for (int s = 0; s < width - 1; s++) {
      row[s] = values[s][i];
    }
    row[width - 1] = time[i];
  }
  return true;
}

static void forget(struct history *history) {
  free(history->values);
  outcome_free(&history->outcome);
  if (history->data.plant != NULL) {
    case_free(&history->data);
  }
}

/* What is no answer is said and gives false; forget() it either way. */
static bool run_of(const char *text, struct history *history) {
  struct error error = {0};
  char message[2048];
  struct recorder recorder = {history, keep};
  memset(history, 0, sizeof *history);
  bool good = case_load_text(SWASHLOOP_SOURCE "/cases/baseline/bench.yaml", text, NULL, 0, &history->data, &error) &&
              run_case(&history->data, &recorder, NULL, &history->outcome, &error);
  if (good && history->outcome.status == RUN_FAILED) {
    error = history->outcome.error;
    good = false;
  }
  if (!good) {
    (void)fprintf(stderr, "%s\n", error_text(&error, message, sizeof message));
  }
  return good;
}

static double sample_of(const struct history *history, int sample, const char *signal) {
  int s = registry_signal(history->data.plant, signal);
  return s >= 0 && sample < history->count ? history->values[(size_t)width_of(history) * (size_t)sample + (size_t)s]
                                           : NAN;
}

static double time_of(const struct history *history, int sample) {
  return history->values[(size_t)width_of(history) * (size_t)(sample + 1) - 1];
}

static double last_of(const struct history *history, const char *signal) {
  return sample_of(history, history->count - 1, signal);
}

static double most_of(const struct history *history, const char *signal, double sign) {
  double most = -HUGE_VAL;
  for (int i = 0; i < history->count; i++) {
    most = fmax(most, sign * sample_of(history, i, signal));
  }
  return sign * most;
}

static double energy_of(const struct history *history, const char *name) {
  for (int i = 0; i < history->data.plant->ledger_count; i++) {
    if (strcmp(history->data.plant->ledger[i].name, name) == 0) {
      return history->outcome.ledger[i].energy;
    }
  }
  return NAN;
}

/* ---- a farm tractor on concrete: 78 kW at the engine's shaft, the rear axle drives, pulled ever harder ---- */

#define TRACTOR                                                                                                        \
  "engine: {peak_torque: 440 N m, auxiliaries: 1e-4 N m s2, stall: held}\n"                                            \
  "limiter: {fitted: no}\nrelief: {setting: 260 bar}\n"                                                                \
  "driveline: {efficiency: 97 %%, wheel_radius: 0.7 m, wheel_inertia: 200 kg m2, ratio: 58}\n"                         \
  "vehicle: {mass: 6 t, draft: 60 kN, axles: two, rear_share: 65 %%, wheelbase: 2.6 m, gravity_height: 0.9 m, "        \
  "drawbar_height: 0.5 m}\ntyre: {grip: 0.9, rolling_resistance: 0.02}\n"                                              \
  "simulation: {end_time: 46 s, output_step: 20 ms}\n"
#define PULLED "forward_pedal: [[0 s, 0 %%], [3 s, %g %%]], draft: [[0 s, 0 %%], [6 s, 0 %%], [46 s, 100 %%]]"

/* Pump and motor without losses and hardly a charge pump: what is left is engine, gear and tyres. */
#define IDEAL_UNITS                                                                                                    \
  "pump: {displacement: 90 cm3/rev, slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, "           \
  "friction_coefficient: 0, constant_torque: 0 N m}\nmotor: {displacement: 90 cm3/rev, smallest: 100 %%, "             \
  "override_line: off, slip_coefficient: 0, case_leak_coefficient: 0, viscous_coefficient: 0, "                        \
  "friction_coefficient: 0, constant_torque: 0 N m}\ncharge: {displacement: 3 cm3/rev}\n"
#define REAL_UNITS                                                                                                     \
  "pump: {displacement: 90 cm3/rev}\n"                                                                                 \
  "motor: {displacement: 90 cm3/rev, smallest: 100 %%, override_line: off}\n"

enum { HYDROSTATIC, GEARED };

/* Best power at the drawbar over the engine's best at its shaft. */
static double drawbar_share(double kind) {
  double best = 0.0;
  double engine = 0.0;
  for (int pedal = 60; pedal <= 100; pedal += 10) {
    char text[4096];
    struct history history;
    (void)snprintf(text, sizeof text,
                   kind == GEARED ? TRACTOR IDEAL_UNITS "operator: {pump_share: 100 %%, " PULLED "}\n"
                                  : TRACTOR REAL_UNITS "operator: {pump_share: 100 %%, " PULLED "}\n",
                   (double)pedal);
    if (!run_of(text, &history)) {
      forget(&history);
      return NAN;
    }
    for (int i = 0; i < history.count; i++) {
      if (time_of(&history, i) > 5.0) {
        best = fmax(best, sample_of(&history, i, "drawbar_force") * sample_of(&history, i, "vehicle_speed"));
        engine = fmax(engine, sample_of(&history, i, "engine_torque") * sample_of(&history, i, "engine_speed"));
      }
    }
    forget(&history);
  }
  return best / engine;
}

static double a1_ratio(double none) {
  (void)none;
  return drawbar_share(HYDROSTATIC) / drawbar_share(GEARED);
}

enum { BY_NOTHING, BY_SLIP, BY_RELIEF, BY_ENGINE };

/* What ends the rise of the pull: the first of full slip, an open relief valve and a lugging engine. */
static double a4(double pedal) {
  char text[4096];
  struct history history;
  int limit = BY_NOTHING;
  (void)snprintf(text, sizeof text,
                 TRACTOR "pump: {displacement: 90 cm3/rev}\nmotor: {displacement: 160 cm3/rev, smallest: 40 %%, "
                         "override_line: off}\noperator: {" PULLED "}\n",
                 pedal);
  if (run_of(text, &history)) {
    for (int i = 0; i < history.count && limit == BY_NOTHING; i++) {
      if (time_of(&history, i) > 6.0) {
        limit = sample_of(&history, i, "wheel_slip") > 0.5                          ? BY_SLIP
                : sample_of(&history, i, "relief_a_flow") > 10.0 * LITRE_PER_MINUTE ? BY_RELIEF
                : sample_of(&history, i, "engine_speed") < 1000.0 * RPM             ? BY_ENGINE
                                                                                    : BY_NOTHING;
      }
    }
  }
  forget(&history);
  return limit;
}

/* ---- droop of speed under load at a constant stroke, two equal units ---- */

/* Coefficients fitted to a unit of 107 cm3/rev, all of them. */
#define FITTED                                                                                                         \
  "slip_coefficient: 4.26e-9, case_leak_coefficient: 0, viscous_coefficient: 23.5e3, viscous_exponent: 1, "            \
  "friction_coefficient: 0.0537, constant_torque: 0 N m, churning_coefficient: 53.6, compressed_at_full_stroke: 100 "  \
  "%%"

static bool loaded_units(double stroke, struct history *history) {
  char text[4096];
  (void)snprintf(
      text, sizeof text,
      "engine: {peak_torque: 1000 N m, set_speed: 2400 rpm, stall: held}\nlimiter: {fitted: no}\nrelief: "
      "{setting: 420 bar}\n"
      "fluid: {viscosity_at_40: 32 mm2/s, viscosity_at_100: 5.4 mm2/s, bulk_modulus: 17000 bar, bulk_modulus_slope: 0, "
      "density: 870 kg/m3}\n"
      "heat: {nodes: two, loop_start: 40 degC, tank_start: 40 degC, loop_capacity: 1e5 kJ/K, tank_capacity: 1e6 kJ/K}\n"
      "pump: {displacement: 107 cm3/rev, " FITTED "}\nmotor: {displacement: 107 cm3/rev, smallest: 100 %%, "
      "override_line: off, " FITTED "}\nvehicle: {mass: 20 t, draft: 80 kN}\ntyre: {grip: 1.2}\n"
      "simulation: {end_time: 46 s, output_step: 20 ms, relative_tolerance: 1e-9}\n"
      "operator: {pump_share: 100 %%, " PULLED "}\n",
      100.0 * stroke);
  return run_of(text, history);
}

/* Motor speed over what lossless units would give. */
static double speed_ratio(const struct history *history, int i) {
  return sample_of(history, i, "motor_speed") /
         (sample_of(history, i, "engine_speed") * sample_of(history, i, "pump_stroke"));
}

/* By how much the motor turns slower than lossless, %, at a full (argument above zero) or quarter stroke. */
static double a5(double bar) {
  struct history history;
  double found = NAN;
  if (loaded_units(bar > 0.0 ? 1.0 : 0.25, &history)) {
    for (int i = 0; i < history.count; i++) {
      if (time_of(&history, i) > 6.0 && sample_of(&history, i, "line_pressure_difference") >= fabs(bar) * BAR) {
        found = 100.0 * (1.0 - speed_ratio(&history, i));
        break;
      }
    }
  }
  forget(&history);
  return found;
}

/* How often, over half seconds from 50 to 350 bar, the speed ratio does not fall while the motor's torque rises. */
static double a5_monotone(double stroke) {
  struct history history;
  int wrong = 0;
  int evaluated = 0;
  if (loaded_units(stroke, &history)) {
    for (int i = 25; i < history.count; i += 25) {
      double drop = sample_of(&history, i, "line_pressure_difference");
      if (time_of(&history, i) > 7.0 && drop > 50.0 * BAR && drop < 350.0 * BAR &&
          sample_of(&history, i, "motor_torque") > sample_of(&history, i - 25, "motor_torque")) {
        evaluated++;
        wrong += speed_ratio(&history, i) >= speed_ratio(&history, i - 25);
      }
    }
  }
  forget(&history);
  return evaluated > 20 ? (double)wrong : NAN;
}

/* ---- drive line of the demo machine, from the motor's shaft to the wheels, in steady travel ---- */

enum { DRIVE_LINE_EFFICIENCY, SHARE_OF_DRAG };

static double drive_line(double percent, int which) {
  char text[1024];
  struct history history;
  double found = NAN;
  (void)snprintf(text, sizeof text,
                 "machine: ../machines/forwarder.yaml\nground: {grade: %g %%}\noperator: {forward_pedal: 60 %%}\n"
                 "simulation: {start: steady, end_time: 2 s, output_step: 0.1 s}\n",
                 percent);
  if (run_of(text, &history)) {
    double lost = energy_of(&history, "gear");
    found = which == DRIVE_LINE_EFFICIENCY
                ? 1.0 - lost / (2.0 * last_of(&history, "motor_torque") * last_of(&history, "motor_speed"))
                : 250.0 * 2.0 * last_of(&history, "wheel_speed") / lost;
  }
  forget(&history);
  return found;
}

static double a7_efficiency(double percent) {
  return drive_line(percent, DRIVE_LINE_EFFICIENCY);
}

static double a7_drag(double percent) {
  return drive_line(percent, SHARE_OF_DRAG);
}

/* ---- energy ---- */

static double b4(double none) {
  (void)none;
  static const char *const cases[] = {"climb", "downhill", "shuttle", "cold_start", "hot_downgrade", "axle_spins"};
  double worst = 0.0;
  for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
    char path[512];
    struct case_data data;
    struct outcome outcome;
    struct error error = {0};
    (void)snprintf(path, sizeof path, SWASHLOOP_SOURCE "/cases/%s.yaml", cases[i]);
    if (!case_load(path, NULL, 0, &data, &error)) {
      return NAN;
    }
    memset(&outcome, 0, sizeof outcome);
    bool good = run_case(&data, NULL, NULL, &outcome, &error) && outcome.status != RUN_FAILED;
    worst = good ? fmax(worst, 100.0 * fabs(outcome.measures[MEASURE_energy_residual])) : NAN;
    outcome_free(&outcome);
    case_free(&data);
    if (!good) {
      return NAN;
    }
  }
  return worst;
}

/* Blocked line: 1 L/s into 2 L of 1.2 GPa; when it has risen from 20 to 420 bar. */
static double c8(double none) {
  (void)none;
  struct outcome outcome;
  double found = NAN;
  if (bench_whole_run(
          "circuit: valve_rig\nrig: {volume: 2 L, feed_flow: 60 L/min, start_pressure: 20 bar}\n"
          "fluid: {bulk_modulus: 1.2 GPa, bulk_modulus_slope: 0, air_content: 0 %, wall_modulus: 1000 GPa}\n"
          "relief: {setting: 600 bar}\nsimulation: {end_time: 0.1 s}\nlimits: [line_a_pressure <= 420 bar]\n",
          &outcome) &&
      outcome.broken_count == 1) {
    found = 1e3 * outcome.limits[0].first;
  }
  outcome_free(&outcome);
  return found;
}

/* ---- two axles braking ---- */

/* A machine of two axles that hardly feels its drive, braked from 30 km/h by this share of its brake. */
static bool braked(double share, struct history *history) {
  char text[2048];
  (void)snprintf(text, sizeof text,
                 "motor: {displacement: 5 cm3/rev}\ndriveline: {ratio: 0.1, drag_torque: 0 N m}\n"
                 "vehicle: {mass: 14 t, axles: two, rear_share: 55 %%, wheelbase: 3.2 m, gravity_height: 1.3 m, "
                 "start_speed: 30 km/h}\noperator: {brake: [[0 s, 0 %%], [0.1 s, %g %%]]}\n"
                 "simulation: {end_time: 1.2 s, output_step: 10 ms}\n",
                 share);
  return run_of(text, history);
}

/* Load that leaves the rear axle over m a h/L. */
static double d2_transfer(double share) {
  struct history history;
  double found = NAN;
  if (braked(share, &history)) {
    double left = sample_of(&history, 0, "rear_axle_load") - last_of(&history, "rear_axle_load");
    found = left / (-14e3 * last_of(&history, "vehicle_acceleration") * 1.3 / 3.2);
  }
  forget(&history);
  return found;
}

/* Largest deceleration while the rear axle still stands on the ground. */
static double d2_lift(double share) {
  struct history history;
  double found = NAN;
  if (braked(share, &history)) {
    found = 0.0;
    for (int i = 0; i < history.count; i++) {
      if (sample_of(&history, i, "rear_axle_load") > 0.0) {
        found = fmax(found, -sample_of(&history, i, "vehicle_acceleration"));
      }
    }
  }
  forget(&history);
  return found;
}

/* Stop of the demo machine by its hydrostatic drive alone on the level, pedal let go at `speed` km/h: distance over
 * that of the rule. */
static double d1_hydrostatic(double speed) {
  char text[1024];
  struct history history;
  double found = NAN;
  (void)snprintf(text, sizeof text,
                 "machine: ../machines/forwarder.yaml\noperator: {forward_pedal: [[0 s, 0 %%], [4 s, 100 %%]]}\n"
                 "actions: [{when: vehicle_speed > %g km/h, move: forward_pedal, to: 0 %%, over: 0.3 s}]\n"
                 "simulation: {end_time: 20 s, output_step: 0.1 s}\n",
                 speed);
  if (run_of(text, &history)) {
    found = history.outcome.measures[MEASURE_stop_distance] / (0.15 * speed + speed * speed / 92.0);
  }
  forget(&history);
  return found;
}

/* ---- skidding ---- */

/* A machine of 7 t whose limit without load is 80 %: the grade, growing slowly along the way, on which a dragged load
 * stops it, %. Where it stops the wheels spin. */
static double uphill_limit(double load, double friction) {
  char text[2048];
  struct history history;
  double guess = 100.0 * (0.8 * 7e3 - friction * load) / (7e3 + load);
  double found = NAN;
  (void)snprintf(text, sizeof text,
                 "machine: ../machines/forwarder.yaml\nengine: {stall: held}\n"
                 "vehicle: {mass: 7 t, dragged_mass: %.9g kg, drag_friction: %g, start_speed: 1 km/h, "
                 "drag_width: 1e-3 km/h}\ntyre: {grip: 0.83, rolling_resistance: 0.03, rolling_width: 1e-3 km/h}\n"
                 "ground: {wheelbase: 0 m, grade: [[0 m, %g %%], [20 m, %g %%]]}\n"
                 "operator: {forward_pedal: 5 %%}\nsimulation: {end_time: 120 s, output_step: 0.1 s}\n",
                 load, friction, guess - 10.0, guess + 10.0);
  if (run_of(text, &history)) {
    found = 100.0 * most_of(&history, "grade", 1.0);
  }
  forget(&history);
  return found;
}

static double e3(double tonnes) {
  return uphill_limit(1e3 * tonnes, 0.6);
}

/* So near, %, is a slope met: the machine creeps on its last centimetres, between two samples too. */
#define CLOSE_SLOPE 0.02

/* The load, kg, that the machine of uphill_limit can just drag up a slope: by secants from where the law puts it. */
static double largest_load(double slope, double friction) {
  double load = 7e3 * (0.8 - slope) / (friction + slope);
  double last = 0.9 * load;
  double missed_last = uphill_limit(last, friction) - 100.0 * slope;
  double missed = uphill_limit(load, friction) - 100.0 * slope;
  double best = load;
  double missed_best = missed;
  for (int i = 0; i < 10 && fabs(missed) > 1e-3; i++) {
    double next = load - missed * (load - last) / (missed - missed_last);
    last = load;
    missed_last = missed;
    load = next;
    missed = uphill_limit(load, friction) - 100.0 * slope;
    if (fabs(missed) < fabs(missed_best)) {
      best = load;
      missed_best = missed;
    }
  }
  return fabs(missed_best) <= CLOSE_SLOPE ? best : NAN;
}

/* Square of the correlation between the largest dragged load and the slope, 0 to 40 %. */
static double e4(double friction) {
  double x_mean = 0.2;
  double loads[5];
  double y_mean = 0.0;
  for (int i = 0; i < 5; i++) {
    loads[i] = largest_load(0.1 * i, friction);
    y_mean += loads[i] / 5.0;
  }
  double xy = 0.0;
  double xx = 0.0;
  double yy = 0.0;
  for (int i = 0; i < 5; i++) {
    double x = 0.1 * i - x_mean;
    xy += x * (loads[i] - y_mean);
    xx += x * x;
    yy += (loads[i] - y_mean) * (loads[i] - y_mean);
  }
  return xy * xy / (xx * yy);
}

/* Travel speed of the demo machine on the level at a pedal, km/h. */
static double e6(double pedal) {
  char text[1024];
  (void)snprintf(text, sizeof text,
                 "machine: ../machines/forwarder.yaml\noperator: {forward_pedal: [[0 s, 0 %%], [3 s, %g %%]]}\n"
                 "simulation: {end_time: 20 s, output_step: 0.1 s}\n",
                 pedal);
  return bench_measure(text, MEASURE_vehicle_speed_end) / KMH;
}

static int by_size(const void *a, const void *b) {
  double x = *(const double *)a;
  double y = *(const double *)b;
  return (x > y) - (x < y);
}

/* Median of the speed while the machine moves, in the demo's cycle of driving out and back, km/h. */
static double e7(double none) {
  (void)none;
  struct history history;
  struct error error = {0};
  struct recorder recorder = {&history, keep};
  double found = NAN;
  memset(&history, 0, sizeof history);
  if (case_load(SWASHLOOP_SOURCE "/cases/duty_clean_up.yaml", NULL, 0, &history.data, &error) &&
      run_case(&history.data, &recorder, NULL, &history.outcome, &error)) {
    double *speeds = calloc((size_t)history.count, sizeof *speeds);
    size_t moving = 0;
    for (int i = 0; speeds != NULL && i < history.count; i++) {
      double speed = fabs(sample_of(&history, i, "vehicle_speed")) / KMH;
      if (speed > 0.1) {
        speeds[moving++] = speed;
      }
    }
    if (moving > 0) {
      qsort(speeds, moving, sizeof *speeds, by_size);
      found = speeds[moving / 2];
    }
    free(speeds);
  }
  forget(&history);
  return found;
}

/* ---- tyres: the table of published equations ---- */

enum { HARD_SOIL, FIRM, TILLED, SOFT_SAND };

static const double mobility_numbers[] = {80.0, 55.0, 40.0, 20.0};
static const double slips[] = {0.05, 0.10, 0.15, 0.20, 0.30};
static const double net_pulls[][5] = {{0.260, 0.446, 0.573, 0.660, 0.758},
                                      {0.253, 0.437, 0.564, 0.649, 0.746},
                                      {0.241, 0.423, 0.547, 0.630, 0.724},
                                      {0.182, 0.340, 0.447, 0.519, 0.597}};
static const double efficiencies[][5] = {{0.783, 0.796, 0.768, 0.730, 0.641},
                                         {0.764, 0.784, 0.758, 0.720, 0.633},
                                         {0.739, 0.768, 0.745, 0.709, 0.624},
                                         {0.623, 0.694, 0.686, 0.658, 0.580}};

static struct tyre_contact brixius_contact(struct tyre_parameters *tyre, int soil) {
  tyre->ground = TYRE_BRIXIUS;
  struct tyre_soil ground = {tyre->grip, 1e6, tyre->rolling_resistance};
  struct tyre_contact at_one = tyre_contact_of(tyre, &ground, 1e4, 1.0);
  ground.cone_index *= mobility_numbers[soil] / at_one.mobility;
  return tyre_contact_of(tyre, &ground, 1e4, 1.0);
}

enum { NET_PULL, TRACTIVE_EFFICIENCY };

static double e14_worst(int soil, int which) {
  DEFAULTS(tyre, tyre);
  struct tyre_contact contact = brixius_contact(&tyre, soil);
  double worst = 0.0;
  for (int i = 0; i < 5; i++) {
    double gross = tyre_curve(&tyre, &contact, slips[i]) / contact.load;
    double net = gross - tyre_rolling_resistance(&tyre, &contact, 5.0, slips[i]) / contact.load;
    double off = which == NET_PULL ? net - net_pulls[soil][i] : net / gross * (1.0 - slips[i]) - efficiencies[soil][i];
    worst = fmax(worst, fabs(off));
  }
  return worst;
}

static double e14_net(double soil) {
  return e14_worst((int)soil, NET_PULL);
}

static double e14_efficiency(double soil) {
  return e14_worst((int)soil, TRACTIVE_EFFICIENCY);
}

static double e14_rolling(double soil) {
  DEFAULTS(tyre, tyre);
  struct tyre_contact contact = brixius_contact(&tyre, (int)soil);
  return tyre_rolling_resistance(&tyre, &contact, 5.0, 0.0) / contact.load;
}

#define DRAWBAR_TEST "official drawbar tests 1255 and 1257 of the late 1970s, rounded in an extension text"
#define FIELD_TEST "J. Japanese Soc. Agricultural Machinery 33(2) (1971) 118, abstract"
#define FITTED_UNIT "fit of a measured unit (Pourmovahed et al., 1992, secondary), table G2"
#define EU_RULE "Delegated Regulation (EU) 2015/68, "
#define SKIDDER "Forests 9(9) 526 (2018), abstract: model anchored on traction tests"
#define LJUBLJANA "Zbornik gozdarstva in lesarstva 86 (2008) 21, abstract: linear to stall"
#define TYRES "Brixius (1987), ASABE D497; table derived from it"

static const struct row rows[] = {
    {"A1", "drawbar", "hydrostatic tractor on concrete: best power at the drawbar over the engine's", "", 0.76, 0.04,
     ABSOLUTE, DRAWBAR_TEST, PUBLISHED, drawbar_share, HYDROSTATIC, NULL},
    {"A1", "drawbar", "pump and motor without losses in its place, gear of 97 %", "", 0.86, 0.03, ABSOLUTE,
     DRAWBAR_TEST, PUBLISHED, drawbar_share, GEARED, NULL},
    {"A1", "drawbar", "the one over the other", "", 0.89, 0.04, ABSOLUTE, DRAWBAR_TEST, PUBLISHED, a1_ratio, 0.0, NULL},
    {"A4", "drawbar", "what ends the pull at 10 % pedal: 1 slip, 2 relief valve, 3 engine", "", BY_SLIP, 0.0, ABSOLUTE,
     FIELD_TEST, PUBLISHED, a4, 10.0, NULL},
    {"A4", "drawbar", "at full pedal", "", BY_RELIEF, 0.0, ABSOLUTE, FIELD_TEST, PUBLISHED, a4, 100.0, NULL},
    {"A5", "droop", "full stroke, 107 cm3/rev twice, 2400 rpm: motor slower than lossless at 100 bar", "%", 2.375, 0.3,
     ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, 100.0, NULL},
    {"A5", "droop", "at 200 bar", "%", 4.75, 0.3, ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, 200.0, NULL},
    {"A5", "droop", "at 300 bar", "%", 7.04, 0.3, ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, 300.0, NULL},
    {"A5", "droop", "quarter stroke, at 100 bar", "%", 6.0, 0.3, ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, -100.0, NULL},
    {"A5", "droop", "quarter stroke, at 200 bar", "%", 12.0, 0.3, ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, -200.0, NULL},
    {"A5", "droop", "quarter stroke, at 300 bar", "%", 17.83, 0.3, ABSOLUTE, FITTED_UNIT, CLOSED_FORM, a5, -300.0,
     NULL},
    {"A5", "droop", "full stroke: steps of rising torque in which the speed ratio does not fall", "", 0.0, 0.0,
     ABSOLUTE, FIELD_TEST, PUBLISHED, a5_monotone, 1.0, NULL},
    {"A5", "droop", "quarter stroke", "", 0.0, 0.0, ABSOLUTE, FIELD_TEST, PUBLISHED, a5_monotone, 0.25, NULL},
    {"A7", "drive line", "demo machine's gear and axles at light load (2.5 % down): efficiency below 0.70", "", 0.0,
     0.70, BETWEEN, "field tests of geared farm tractors, index abstract", PUBLISHED, a7_efficiency, -2.5, NULL},
    {"A7", "drive line", "on the level: within 0.56 to 0.86", "", 0.56, 0.86, BETWEEN,
     "field tests of geared farm tractors, index abstract", PUBLISHED, a7_efficiency, 0.0,
     "the measured drive lines have a gearbox before the axles, which the demo machine has not"},
    {"A7", "drive line", "part of the constant drag in its losses, travelling on the level (measured: 61 %)", "", 0.61,
     0.1, ABSOLUTE, "field tests of geared farm tractors, index abstract", PUBLISHED, a7_drag, 0.0, NULL},
    {"B4", "energy balance", "six demo cases: largest part of the energy put in that the ledger does not explain", "%",
     0.0, 0.5, ABSOLUTE, "Bath/ASME FPMC2019, V001T01A007, abstract", PUBLISHED, b4, 0.0, NULL},
    {"C8", "blocked line", "1 L/s into 2 L of 1.2 GPa: from 20 to 420 bar", "ms", 200.0 / 3.0, 0.01, RELATIVE,
     "dp/dt = B q/V", CLOSED_FORM, c8, 0.0, NULL},
    {"D2", "braking", "load that leaves the rear axle over m a h/L, braked from 30 km/h", "", 1.0, 1e-3, ABSOLUTE,
     "moments about the front axle", CLOSED_FORM, d2_transfer, 30.0, NULL},
    {"D2", "braking", "demo machine, full brake on dry ground: deceleration with the rear axle on the ground", "m/s2",
     4.5, 0.0, AT_LEAST, EU_RULE "Annex IX 6", PUBLISHED, d2_lift, 100.0, NULL},
    {"D1", "braking", "demo machine, pedal let go at 10 km/h on the level, no brake: distance over the rule's", "", 0.0,
     1.0, BETWEEN, EU_RULE "Annex II", PUBLISHED, d1_hydrostatic, 10.0, NULL},
    {"D1", "braking", "demo machine, pedal let go at 15 km/h on the level, no brake: distance over the rule's", "", 0.0,
     1.0, BETWEEN, EU_RULE "Annex II", PUBLISHED, d1_hydrostatic, 15.0, NULL},
    {"D1", "braking", "demo machine, pedal let go at 20 km/h on the level, no brake: distance over the rule's", "", 0.0,
     1.0, BETWEEN, EU_RULE "Annex II", PUBLISHED, d1_hydrostatic, 20.0, NULL},
    {"E3", "skidding", "7 t machine that climbs 80 % alone: uphill limit with nothing dragged", "%", 80.0, 0.25,
     RELATIVE, SKIDDER, PUBLISHED, e3, 0.0, NULL},
    {"E3", "skidding", "with 1 t", "%", 63.0, 0.25, RELATIVE, SKIDDER, PUBLISHED, e3, 1.0, NULL},
    {"E3", "skidding", "with 2 t", "%", 51.0, 0.25, RELATIVE, SKIDDER, PUBLISHED, e3, 2.0, NULL},
    {"E3", "skidding", "with 3 t", "%", 39.0, 0.25, RELATIVE, SKIDDER, PUBLISHED, e3, 3.0, NULL},
    {"E3", "skidding", "with 4 t", "%", 30.0, 0.25, RELATIVE, SKIDDER, PUBLISHED, e3, 4.0, NULL},
    {"E3", "skidding", "with 5 t", "%", 11.0, 0.25, RELATIVE, SKIDDER, PUBLISHED, e3, 5.0,
     "the published limit drops by 19 points from the fourth to the fifth tonne, where something else than grip "
     "stops that machine; a load only dragged costs this one 9"},
    {"E4", "skidding", "square of the correlation of largest load and slope, 0 to 40 %, friction of the load 0.6", "",
     0.98, 0.0, AT_LEAST, LJUBLJANA, PUBLISHED, e4, 0.6,
     "by the law the load is (grip - s)/(friction + s) of the machine, s the slope, which bends: its own "
     "correlation on these five slopes is 0.978; measured trails scatter more than it bends"},
    {"E4", "skidding", "friction 0.8", "", 0.98, 0.0, AT_LEAST, LJUBLJANA, PUBLISHED, e4, 0.8, NULL},
    {"E6", "travel speeds", "demo machine, full pedal on the level (fastest skidder timed: 10.3)", "km/h", 10.3, 0.0,
     AT_LEAST, "FAO Unasylva, Silversides, table 1", PUBLISHED, e6, 100.0, NULL},
    {"E6", "travel speeds", "5 % pedal: no faster than the slowest mean speed timed by GNSS (1.6)", "km/h", 0.0, 1.6,
     BETWEEN, "Appl. Sci. 15(18) 9921 (2025), abstract", PUBLISHED, e6, 5.0, NULL},
    {"E7", "travel speeds", "median while moving, demo cycle of driving out and back (skidders at work: 1.6 to 5.0)",
     "km/h", 1.6, 5.0, BETWEEN, "Appl. Sci. 15(18) 9921 (2025), abstract", PUBLISHED, e7, 0.0,
     "the cycle is transport on a road at 50 to 60 % pedal, a choice of the case; the medians are from forest "
     "trails, with loading and manoeuvring"},
    {"E14", "tyre table", "hard ground (number 80): largest deviation of the net pull over load at slips of 5 to 30 %",
     "", 0.0, 0.002, ABSOLUTE, TYRES, FROM_MEMORY, e14_net, HARD_SOIL, NULL},
    {"E14", "tyre table", "firm (55): largest deviation of the net pull over load at slips of 5 to 30 %", "", 0.0,
     0.002, ABSOLUTE, TYRES, FROM_MEMORY, e14_net, FIRM, NULL},
    {"E14", "tyre table", "tilled (40): largest deviation of the net pull over load at slips of 5 to 30 %", "", 0.0,
     0.002, ABSOLUTE, TYRES, FROM_MEMORY, e14_net, TILLED, NULL},
    {"E14", "tyre table", "soft sand (20): largest deviation of the net pull over load at slips of 5 to 30 %", "", 0.0,
     0.002, ABSOLUTE, TYRES, FROM_MEMORY, e14_net, SOFT_SAND, NULL},
    {"E14", "tyre table", "hard ground (number 80): of the tractive efficiency", "", 0.0, 0.002, ABSOLUTE, TYRES,
     FROM_MEMORY, e14_efficiency, HARD_SOIL, NULL},
    {"E14", "tyre table", "firm (55): of the tractive efficiency", "", 0.0, 0.002, ABSOLUTE, TYRES, FROM_MEMORY,
     e14_efficiency, FIRM, NULL},
    {"E14", "tyre table", "tilled (40): of the tractive efficiency", "", 0.0, 0.002, ABSOLUTE, TYRES, FROM_MEMORY,
     e14_efficiency, TILLED, NULL},
    {"E14", "tyre table", "soft sand (20): of the tractive efficiency", "", 0.0, 0.002, ABSOLUTE, TYRES, FROM_MEMORY,
     e14_efficiency, SOFT_SAND, NULL},
    {"E14", "tyre table", "hard ground (number 80): resistance of a free wheel over load", "", 0.053, 0.002, ABSOLUTE,
     TYRES, FROM_MEMORY, e14_rolling, HARD_SOIL, NULL},
    {"E14", "tyre table", "firm (55): resistance of a free wheel over load", "", 0.058, 0.002, ABSOLUTE, TYRES,
     FROM_MEMORY, e14_rolling, FIRM, NULL},
    {"E14", "tyre table", "tilled (40): resistance of a free wheel over load", "", 0.065, 0.002, ABSOLUTE, TYRES,
     FROM_MEMORY, e14_rolling, TILLED, NULL},
    {"E14", "tyre table", "soft sand (20): resistance of a free wheel over load", "", 0.09, 0.002, ABSOLUTE, TYRES,
     FROM_MEMORY, e14_rolling, SOFT_SAND, NULL},
};

ROWS_MAIN(rows)
