/* Section 7 of the outside checks: the controls between pedals and machine, against hand calculations. Machine: pump
 * 125, motor 160 cm3/rev down to 31.25 %, gear 53, wheels of 0.62 m; an isochronous governor holds the engine exactly
 * at its set speed. Speeds are calculated without leakage and slip; they are taken away in the runs, but for what a
 * tyre needs to pull against rolling resistance. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "rows.h"

#define MACHINE                                                                                                        \
  "engine: {governor: isochronous, set_speed: 2100 rpm, inertia: 1.8 kg m2}\n"                                         \
  "pump: {displacement: 125 cm3/rev, slip_coefficient: 0, case_leak_coefficient: 0}\n"                                 \
  "motor: {displacement: 160 cm3/rev, smallest: 0.3125 1, slip_coefficient: 0, case_leak_coefficient: 0}\n"            \
  "flushing: {relief_gradient: 0 L/min/bar}\n"                                                                         \
  "driveline: {ratio: 53, wheel_radius: 0.62 m}\n"                                                                     \
  "tyre: {rolling_resistance: 0.01, stiffness: 15}\n"                                                                  \
  "vehicle: {mass: 14 t}\n"

#define BY_SPEED                                                                                                       \
  MACHINE "operator: {layout: accelerator_and_direction, direction: %s, accelerator: %g %%}\n"                         \
          "controls: {idle_speed: 900 rpm, drive_begin: 1100 rpm, drive_full: 2050 rpm, ramp: ratio}\n"

static double settled(const char *text, double until, const char *signal) {
  struct bench *bench = bench_open(text);
  bench_run(bench, until);
  double value = bench_signal(bench, signal);
  bench_close(bench);
  return value;
}

/* Speed, km/h, that the accelerator ends at; a negative argument is driven in reverse. */
static double drive_off(double accelerator) {
  char text[4096];
  (void)snprintf(text, sizeof text, BY_SPEED, accelerator < 0.0 ? "-100 %" : "100 %", fabs(accelerator));
  return 3.6 * settled(text, 40.0, "vehicle_speed");
}

static double set_speed(double accelerator) {
  char text[4096];
  (void)snprintf(text, sizeof text, BY_SPEED, "0 %", accelerator);
  return settled(text, 30.0, "engine_speed") / RPM;
}

/* Speed with the inching pedal at a share of its travel over that without, the engine at full speed. */
static double inching(double pressed) {
  char text[4096];
  (void)snprintf(text, sizeof text,
                 MACHINE "operator: {forward_pedal: 80 %%, inching: %g %%}\n"
                         "controls: {inching: cut, inching_begin: 5 %%, inching_full: 80 %%}\n",
                 pressed);
  return 3.6 * settled(text, 40.0, "vehicle_speed");
}

/* A pedal at its end, let go at zero: the ratio after a time, with a ramp of 5 s and an ease of 0.15 s. */
static struct bench *released(void) {
  struct bench *bench = bench_open(MACHINE "operator: {forward_pedal: 100 %}\n"
                                           "controls: {ramp: ratio, ramp_up_time: 4 s, ramp_down_time: 5 s, "
                                           "ramp_ease: 0.15 s}\n");
  *bench_parameter(bench, "engine", "inertia") = 1e6; /* the engine's speed does not change */
  *bench_parameter(bench, "engine", "start_speed") = 1.0;
  bench_ready(bench);
  bench_run(bench, 40.0);
  bench->data.plant->move(bench->model, bench->mode, bench->time, registry_channel(bench->data.plant, "forward_pedal"),
                          0.0, 0.0);
  return bench;
}

static double ramp_ratio(double after) {
  struct bench *bench = released();
  bench_run(bench, 40.0 + after);
  double ratio = bench_signal(bench, "ratio_command");
  bench_close(bench);
  return ratio;
}

/* Mean speed over a second, m/s. */
static double mean_speed(struct bench *bench, double from) {
  enum { LOOKS = 50 };
  double sum = 0.0;
  for (int i = 0; i < LOOKS; i++) {
    bench_run(bench, from + (i + 0.5) / LOOKS);
    sum += bench_signal(bench, "vehicle_speed");
  }
  return sum / LOOKS;
}

/* Deceleration in the ramp, between means over which the swing of machine and lines evens out. */
static double deceleration(double none) {
  (void)none;
  struct bench *bench = released();
  double before = mean_speed(bench, 41.0);
  double after = mean_speed(bench, 43.0);
  bench_close(bench);
  return (before - after) / 2.0;
}

#define UPHILL                                                                                                         \
  "engine: {set_speed: 2100 rpm, droop: 7 %}\n"                                                                        \
  "vehicle: {mass: 14 t, dragged_mass: 4 t}\n"                                                                         \
  "ground: {grade: 24 %}\n"                                                                                            \
  "operator: {throttle: 75 %, forward_pedal: 60 %}\n"                                                                  \
  "controls: {anti_stall: by_load, anti_stall_load: 95 %}\n"

static double load_held(double none) {
  (void)none;
  return 100.0 * settled(UPHILL, 60.0, "engine_load");
}

static double speed_held(double none) {
  (void)none;
  return settled(UPHILL, 60.0, "engine_speed") / RPM;
}

static double fuel_held(double none) {
  (void)none;
  return 100.0 * settled(UPHILL, 60.0, "fuel_fraction");
}

/* Highest engine speed of a case, percent of the set speed. */
static double highest_engine_speed(const char *name) {
  char path[512];
  struct case_data data = {0};
  struct outcome outcome = {0};
  struct error error = {0};
  (void)snprintf(path, sizeof path, "%s/cases/%s.yaml", SWASHLOOP_SOURCE, name);
  if (!case_load(path, NULL, 0, &data, &error) || !run_case(&data, NULL, NULL, &outcome, &error)) {
    return NAN;
  }
  double highest = outcome.measures[MEASURE_engine_speed_max];
  outcome_free(&outcome);
  case_free(&data);
  return 100.0 * highest / (2100.0 * RPM);
}

static double level_release(double ramp) {
  return highest_engine_speed(ramp > 0.0 ? "level_ratio_ramp" : "level_release");
}

#define SPEED_BY_HAND "n (r D_p/D_m) 2 pi R/i, by hand"

static const struct row rows[] = {
    {"C7.1", "controls", "accelerator at 50 %: engine set speed between idle (900 rpm) and full (2100 rpm)", "rpm",
     1500.0, 1e-4, RELATIVE, "900 + 0.5 (2100 - 900)", CLOSED_FORM, set_speed, 50.0, NULL},
    {"C7.1", "controls", "the same released", "rpm", 900.0, 1e-4, RELATIVE, "idle speed", CLOSED_FORM, set_speed, 0.0,
     NULL},
    {"C7.2", "controls",
     "stroke by engine speed (1100 to 2050 rpm), accelerator at 10 %: 1020 rpm, below the begin of drive: machine "
     "speed",
     "km/h", 0.0, 1e-3, ABSOLUTE, "no drive", CLOSED_FORM, drive_off, 10.0, NULL},
    {"C7.2", "controls", "accelerator at 30 %: 1260 rpm, drive 16.842 %, stroke 50.526 %", "km/h", 2.193437, 5e-3,
     RELATIVE, SPEED_BY_HAND, CLOSED_FORM, drive_off, 30.0, NULL},
    {"C7.2", "controls", "accelerator at 50 %: 1500 rpm, drive 42.105 %, ratio 1.09946", "km/h", 5.682071, 5e-3,
     RELATIVE, SPEED_BY_HAND, CLOSED_FORM, drive_off, 50.0, NULL},
    {"C7.2", "controls", "accelerator at 75 %: 1800 rpm, drive 73.684 %, ratio 1.71268", "km/h", 10.62147, 5e-3,
     RELATIVE, SPEED_BY_HAND, CLOSED_FORM, drive_off, 75.0, NULL},
    {"C7.2", "controls", "accelerator at 100 %: 2100 rpm, drive full, ratio 3.2", "km/h", 23.152945, 5e-3, RELATIVE,
     SPEED_BY_HAND, CLOSED_FORM, drive_off, 100.0, NULL},
    {"C7.2", "controls", "the same in reverse", "km/h", -23.152945, 5e-3, RELATIVE, SPEED_BY_HAND, CLOSED_FORM,
     drive_off, -100.0, NULL},
    {"C7.3", "controls", "inching pedal (5 to 80 %) released: drive pedal at 80 %, ratio 1.92771", "km/h", 13.947557,
     5e-3, RELATIVE, SPEED_BY_HAND, CLOSED_FORM, inching, 0.0, NULL},
    {"C7.3", "controls", "pressed by 50 %: 40 % of the speed is left", "km/h", 5.579023, 5e-3, RELATIVE,
     "1 - (50 - 5)/(80 - 5)", CLOSED_FORM, inching, 50.0, NULL},
    {"C7.3", "controls", "pressed by 74 %: 8 % of it", "km/h", 1.115804, 5e-3, RELATIVE, "1 - (74 - 5)/(80 - 5)",
     CLOSED_FORM, inching, 74.0, NULL},
    {"C7.4", "controls", "ramp of the ratio, 5 s from 3.2 to 0, ease 0.15 s: ratio 0.1 s after the release", "",
     3.182712, 1e-5, RELATIVE, "r - R (t - t_e (1 - exp(-t/t_e)))", CLOSED_FORM, ramp_ratio, 0.1, NULL},
    {"C7.4", "controls", "after 1 s", "", 2.655878, 1e-5, RELATIVE, "the same", CLOSED_FORM, ramp_ratio, 1.0, NULL},
    {"C7.4", "controls", "after 3 s", "", 1.376, 1e-5, RELATIVE, "the same", CLOSED_FORM, ramp_ratio, 3.0, NULL},
    {"C7.4", "controls", "deceleration in the ramp, engine at 2100 rpm", "m/s2", 1.286275, 0.02, RELATIVE,
     "R n (D_p/D_m) 2 pi R_w/i, by hand", CLOSED_FORM, deceleration, 0.0, NULL},
    {"C7.5", "controls", "anti-stall by load on 24 %, load held at 95 %", "%", 95.0, 1e-4, RELATIVE,
     "a PI control leaves no error: textbook (K. J. Astrom and T. Hagglund)", FROM_MEMORY, load_held, 0.0, NULL},
    {"C7.5", "controls", "the engine's fuel with it", "%", 95.0, 1e-4, RELATIVE, "load below 1 is fuel", CLOSED_FORM,
     fuel_held, 0.0, NULL},
    {"C7.5", "controls", "the engine's speed with it, throttle at 75 %, droop 7 %", "rpm", 1580.5125, 1e-5, RELATIVE,
     "1575 (1 + 0.07 (1 - 0.95)): ISO 3046-4, definition of droop", FROM_MEMORY, speed_held, 0.0, NULL},
    {"C7.6", "controls", "level, pedal released at 17.6 km/h, one ramp of 5 s: highest engine speed over its set speed",
     "%", 100.0, 120.0, BETWEEN, "usual ceiling of engines, 115 to 125 % of rated", PRACTICE, level_release, 1.0, NULL},
};

ROWS_MAIN(rows)
