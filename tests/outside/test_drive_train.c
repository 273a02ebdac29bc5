/* The drive train between motor and ground: transfer case and load on both axles. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "rows.h"
#include "transfer_case.h"

/* A machine of two axles comes at a crawl to a climb, its drive stronger than its grip, without rolling resistance. Is
 * it still going up a while later? */
static bool climbs(const char *transfer_case, double grade) {
  char text[2048];
  (void)snprintf(
      text, sizeof text,
      "vehicle: {axles: two, mass: 5 t, rear_share: 55 %%, wheelbase: 3.2 m, gravity_height: 1.2 m}\n"
      "transfer_case: %s\nengine: {stall: none}\ntyre: {grip: 0.5, rolling_resistance: 0, shape: 1.45, stiffness: 10}\n"
      "driveline: {ratio: 100}\nsecond_driveline: {ratio: 100}\n"
      "ground: {wheelbase: 0 m, grade: [[1 m, 0 1], [1.5 m, %.17g 1]]}\noperator: {forward_pedal: 12 %%}\n"
      "simulation: {end_time: 15 s, output_step: 1 s, stop_from: 7 s}\n",
      transfer_case, grade);
  return bench_measure(text, MEASURE_vehicle_distance_end) > 2.5;
}

enum { REAR_ONLY, LOCKED, OPEN };

/* The steepest grade of it, tangent, by halving. */
static double t1_1(double which) {
  static const char *const laws[] = {"{law: none}", "{law: locked}", "{law: open, front_share: 50 %}"};
  double low = 0.1;
  double high = 0.9;
  for (int i = 0; i < 11; i++) {
    double middle = 0.5 * (low + high);
    if (climbs(laws[(int)which], middle)) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return 0.5 * (low + high);
}

/* A heavy machine rolls at 10 km/h with nearly no motor; its axles are locked, its wheels have 0.62 and 0.60 m and its
 * tyres a straight curve of 0.1 over load. With u = v/w and no torque from outside r_r k_r + r_f k_f = 0, k_r = 1 -
 * u/r_r, k_f = r_f/u - 1, so u^2 - (r_r - r_f) u - r_f^2 = 0. */
static double t1_2(double torque) {
  struct bench *bench =
      bench_open("vehicle: {axles: two, mass: 1000 t, rear_share: 50 %, gravity_height: 0 m, start_speed: 10 km/h}\n"
                 "transfer_case: {law: locked, torque: 100000 N m, wind_up_angle: 1 deg}\nmotor: {displacement: 5 "
                 "cm3/rev, viscous_coefficient: 0, "
                 "friction_coefficient: 0, constant_torque: 0 N m}\n"
                 "tyre: {law: relaxation, grip: 1, stiffness: 0.1, shape: 1, rolling_resistance: 0}\n"
                 "driveline: {ratio: 1, efficiency: 100 %, drag_torque: 0 N m, wheel_radius: 0.62 m}\n"
                 "second_driveline: {ratio: 1, efficiency: 100 %, drag_torque: 0 N m, wheel_radius: 0.60 m}\n"
                 "operator: {forward_pedal: 0 %}\n");
  bench_run(bench, 2.0);
  double found = bench_signal(bench, torque != 0.0 ? "front_wheel_torque" : "wheel_slip");
  bench_close(bench);
  return torque != 0.0 ? found / 1e3 : 100.0 * found;
}

static double t1_3(double which) {
  DEFAULTS(transfer_case, box);
  box.law = TRANSFER_CASE_OPEN;
  box.front_share = 0.3;
  return which == 0.0 ? transfer_case_speed(&box, 100.0, 0.0) : transfer_case_speed(&box, 0.0, 100.0);
}

#define AXLES "moments about the axles, as in J. Y. Wong, Theory of Ground Vehicles"

static const struct row rows[] = {
    {"T1.1", "transfer case", "steepest grade at grip 0.5, rear axle alone: mu s/(1 - mu h/L)", "", 0.338462, 1e-2,
     RELATIVE, AXLES, FROM_MEMORY, t1_1, REAR_ONLY, NULL},
    {"T1.1", "transfer case", "both axles locked: mu", "", 0.5, 1e-2, RELATIVE, AXLES, FROM_MEMORY, t1_1, LOCKED, NULL},
    {"T1.1", "transfer case", "open differential, half to each axle: 2 mu (1 - s)/(1 + 2 mu h/L)", "", 0.327273, 1e-2,
     RELATIVE, AXLES, FROM_MEMORY, t1_1, OPEN, NULL},
    {"T1.2", "transfer case", "wheels of 0.62 and 0.60 m locked: slip of the rear ones", "%", 1.599463, 1e-3, RELATIVE,
     "closed form of linear tyres", CLOSED_FORM, t1_2, 0.0, NULL},
    {"T1.2", "transfer case", "torque that the front wheels hand back", "kN m", -4.864128, 1e-3, RELATIVE,
     "closed form of linear tyres", CLOSED_FORM, t1_2, 1.0, NULL},
    {"T1.3", "transfer case", "differential of 70:30, front wheels at rest: input over rear speed", "%", 70.0, 1e-9,
     RELATIVE, "textbook kinematics", CLOSED_FORM, t1_3, 0.0, NULL},
    {"T1.3", "transfer case", "rear wheels at rest: input over front speed", "%", 30.0, 1e-9, RELATIVE,
     "textbook kinematics", CLOSED_FORM, t1_3, 1.0, NULL},
};

ROWS_MAIN(rows)
