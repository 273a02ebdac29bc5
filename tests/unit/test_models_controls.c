/* The controls between the pedals and the machine: each law against its closed form, at its bounds, mirrored; and in
 * the circuit, where the engine stalls, the machine stands, both pedals are pressed or the charge is lost. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "component.h"
#include "controls.h"
#include "operator.h"
#include "sample.h"

static void the_engine_speed_commands_the_drive(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  DEFAULTS(operator, asks);
  double begin = controls.drive_begin;
  double full = controls.drive_full;
  assert_true(controls_drive(&controls, 0.0) == 0.0 && controls_drive(&controls, -full) == 0.0);
  assert_true(controls_drive(&controls, begin) == 0.0 && controls_drive(&controls, full) == 1.0);
  CHECK_CLOSE(controls_drive(&controls, begin + 0.3 * (full - begin)), 0.3, 1e-12);
  assert_true(controls_drive(&controls, 2.0 * full) == 1.0);
  /* the lever gives the direction; the accelerator alone moves nothing */
  asks.layout = OPERATOR_ACCELERATOR_AND_DIRECTION;
  real channels[CHANNEL_COUNT] = {0.0};
  channels[CHANNEL_accelerator] = 0.8;
  for (int way = -1; way <= 1; way++) {
    channels[CHANNEL_direction] = way;
    struct operator_demand asked = operator_demand_of(&asks, channels, 2.0 / 3.0);
    CHECK_NEAR(asked.stroke, way, 1e-12);
    CHECK_NEAR(asked.pedal, 0.8 * way, 1e-12);
    CHECK_CLOSE(asked.motor_part, 0.5, 1e-12);
    asked = operator_demand_of(&asks, channels, 1.0 / 6.0);
    CHECK_NEAR(asked.stroke, 0.5 * way, 1e-12);
    assert_true(asked.motor_part == 0.0);
    assert_true(operator_demand_of(&asks, channels, 0.0).stroke == 0.0);
  }
}

static void the_accelerator_sets_the_engine_speed(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  double full = 220.0;
  CHECK_CLOSE(controls_set_speed(&controls, full, 0.0), controls.idle_speed, 1e-15);
  CHECK_CLOSE(controls_set_speed(&controls, full, 1.0), full, 1e-15);
  CHECK_CLOSE(controls_set_speed(&controls, full, 0.25), 0.75 * controls.idle_speed + 0.25 * full, 1e-12);
  /* a throttle below idle leaves idle */
  CHECK_CLOSE(controls_set_speed(&controls, 0.5 * controls.idle_speed, 1.0), controls.idle_speed, 1e-15);
}

/* A ratio is given by the pump up to 1 and by the motor beyond, and comes back whole. */
static void a_ratio_is_split_and_put_together(void **state) {
  (void)state;
  struct sampler sampler = {17u};
  for (int i = 0; i < 2000; i++) {
    double smallest = sample_between(&sampler, 0.05, 1.0);
    double ratio = sample_between(&sampler, -1.0, 1.0) / smallest;
    double stroke = controls_stroke_for(ratio);
    double part = controls_part_for(ratio, smallest);
    CHECK_NEAR(controls_ratio(stroke, part, smallest), ratio, 1e-12 / smallest);
    assert_true(fabs(stroke) <= 1.0 && part >= 0.0 && part <= 1.0);
    assert_true(part == 0.0 || fabs(stroke) == 1.0); /* the pump first */
    CHECK_NEAR(controls_stroke_for(-ratio), -stroke, 0.0);
    CHECK_NEAR(controls_part_for(-ratio, smallest), part, 0.0);
  }
  assert_true(controls_part_for(3.0, 1.0) == 0.0); /* a motor that is fixed */
}

/* The ramp as the kernel has it, by classical Runge-Kutta. */
struct ramp {
  double ratio, motion, steepest, sharpest, least;
};
static struct ramp ramp_run(const struct controls_parameters *controls, double smallest, double from, double motion,
                            double asked, double until) {
  enum { STEPS = 20000 };
  struct ramp ramp = {from, motion, 0.0, 0.0, from};
  double h = until / STEPS;
  for (int i = 0; i < STEPS; i++) {
    double r = ramp.ratio;
    double q = ramp.motion;
    double k1 = controls_ramp_rate(controls, r, q, asked, smallest);
    double k2 = controls_ramp_rate(controls, r + 0.5 * h * q, q + 0.5 * h * k1, asked, smallest);
    double k3 = controls_ramp_rate(controls, r + 0.5 * h * (q + 0.5 * h * k1), q + 0.5 * h * k2, asked, smallest);
    double k4 = controls_ramp_rate(controls, r + h * (q + 0.5 * h * k2), q + h * k3, asked, smallest);
    ramp.ratio += h * q + h * h * (k1 + k2 + k3) / 6.0;
    ramp.motion += h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0;
    ramp.steepest = fmax(ramp.steepest, fabs(ramp.motion));
    ramp.sharpest = fmax(ramp.sharpest, fabs(k1));
    ramp.least = fmin(ramp.least, ramp.ratio);
  }
  return ramp;
}

/* r = r_0 - R (t - t_e (1 - e^(-t/t_e))) until the end comes near; the end is critically damped and stays on its side;
 * the rate never exceeds R, the jerk never 2 R/t_e; mirrored for reverse. */
static void the_ramp_keeps_its_closed_form(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  double smallest = 0.3125;
  double full = 1.0 / smallest;
  double ease = controls.ramp_ease;
  controls.ramp_up_time = 3.0;
  controls.ramp_down_time = 5.0;
  double rate = full / 5.0;
  for (int i = 1; i <= 4; i++) {
    double t = 0.9 * i;
    double expected = full - rate * (t - ease * (1.0 - exp(-t / ease)));
    for (int way = -1; way <= 1; way += 2) {
      CHECK_NEAR(ramp_run(&controls, smallest, way * full, 0.0, 0.0, t).ratio, way * expected, 1e-9);
    }
  }
  double up = full / 3.0;
  double t = 2.0;
  double expected = up * (t - ease * (1.0 - exp(-t / ease)));
  /* from rest the rate is blended from that of falling over the first hundredth of the ratio */
  CHECK_NEAR(ramp_run(&controls, smallest, 0.0, 0.0, full, t).ratio, expected, 0.05);
  struct ramp end = ramp_run(&controls, smallest, full, 0.0, 0.0, 12.0);
  CHECK_NEAR(end.ratio, 0.0, 1e-6);
  assert_true(end.least > -1e-9);
  assert_true(end.steepest <= rate * (1.0 + 1e-9) && end.steepest > 0.999 * rate);
  assert_true(end.sharpest <= 2.0 * rate / ease);
  /* the last part by itself: x'' = -x'/t_e - x/(4 t_e^2) from x = 4 t_e R, x' = -R: x = (4 t_e R - R t + 2 R t)
   * e^(-t/2t_e)
   */
  double small = 0.01;
  end = ramp_run(&controls, smallest, 1.0 + 4.0 * ease * small, -small, 1.0, 0.5);
  CHECK_NEAR(end.ratio, 1.0 + (4.0 * ease * small + small * 0.5) * exp(-0.5 / (2.0 * ease)), 1e-9);
  /* through neutral: down at one rate, up at the other */
  controls.ramp_down_time = 2.0;
  struct ramp through = ramp_run(&controls, smallest, 1.0, 0.0, -full, 8.0);
  CHECK_NEAR(through.ratio, -full, 1e-3);
  struct ramp back = ramp_run(&controls, smallest, -1.0, 0.0, full, 8.0);
  CHECK_NEAR(back.ratio, -through.ratio, 1e-12);
}

static void a_reversal_waits_for_a_low_speed(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  double limit = controls.reversal_speed;
  for (int way = -1; way <= 1; way += 2) {
    assert_true(controls_reversal_share(&controls, -way * 0.5, way * 1.01 * limit) == 0.0);
    assert_true(controls_reversal_share(&controls, -way * 0.5, way * limit) == 0.0);
    CHECK_CLOSE(controls_reversal_share(&controls, -way * 0.5, way * 0.9 * limit), 0.5, 1e-12);
    assert_true(controls_reversal_share(&controls, -way * 0.5, way * 0.79 * limit) == 1.0);
    /* with the motion, and at rest, nothing is held */
    assert_true(controls_reversal_share(&controls, way * 0.5, way * 9.0 * limit) == 1.0);
  }
  assert_true(controls_reversal_share(&controls, 1.0, 0.0) == 1.0);
  assert_true(controls_reversal_share(&controls, 0.0, limit * 9.0) == 1.0);
}

static void the_inching_pedal_cuts_and_brakes(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  assert_true(controls_inching_share(&controls, 1.0) == 1.0); /* none fitted */
  assert_true(controls_brake(&controls, 0.2, 1.0) == 0.2);
  controls.inching = CONTROLS_INCHING_CUT;
  assert_true(controls_inching_share(&controls, controls.inching_begin) == 1.0);
  assert_true(controls_inching_share(&controls, controls.inching_full) == 0.0);
  CHECK_CLOSE(controls_inching_share(&controls, 0.5 * (controls.inching_begin + controls.inching_full)), 0.5, 1e-12);
  assert_true(controls_brake(&controls, 0.2, 1.0) == 0.2);
  controls.inching = CONTROLS_INCHING_CUT_AND_BRAKE;
  assert_true(controls_brake(&controls, 0.0, controls.inching_brake_begin) == 0.0);
  CHECK_CLOSE(controls_brake(&controls, 0.0, 1.0), controls.inching_brake_share, 1e-12);
  CHECK_CLOSE(controls_brake(&controls, 0.0, 0.5 * (1.0 + controls.inching_brake_begin)),
              0.5 * controls.inching_brake_share, 1e-12);
  CHECK_CLOSE(controls_brake(&controls, 0.9, 1.0), 0.9, 1e-12); /* the harder counts */
}

static void the_anti_stall_control_is_a_bounded_pi(void **state) {
  (void)state;
  DEFAULTS(controls, controls);
  double target = controls.anti_stall_load;
  double gain = controls.anti_stall_gain;
  double reset = controls.anti_stall_reset;
  CHECK_CLOSE(controls_load_cut(&controls, target + 0.5, 0.1), 0.1 + 0.5 * gain, 1e-12);
  assert_true(controls_load_cut(&controls, target - 0.5, 0.0) == 0.0);
  assert_true(controls_load_cut(&controls, 1e3, 0.0) == 1.0); /* a stalled engine asks for all */
  /* within its bounds the integral goes by the excess, at rest only with the load at its target */
  double cut = controls_load_cut(&controls, target + 0.2, 0.4);
  CHECK_CLOSE(controls_load_integral_rate(&controls, cut, 0.4), 0.2 * gain / reset, 1e-12);
  assert_true(controls_load_integral_rate(&controls, controls_load_cut(&controls, target, 0.4), 0.4) == 0.0);
  /* at its bounds it goes to them and no further */
  struct sampler sampler = {23u};
  for (int way = 0; way <= 1; way++) {
    double integral = sample_unit(&sampler);
    for (int i = 0; i < 20000; i++) {
      cut = controls_load_cut(&controls, way ? 100.0 : -100.0, integral);
      integral += 1e-3 * controls_load_integral_rate(&controls, cut, integral);
      assert_true(integral >= 0.0 && integral <= 1.0);
    }
    CHECK_NEAR(integral, way, 1e-6);
  }
}

/* ---- in the circuit ---- */

#define ALL "controls: {reversal: held_below, ramp: ratio, inching: cut_and_brake, anti_stall: by_load}\n"

static void move_channel(struct bench *bench, const char *name, double value) {
  const struct plant *plant = bench->data.plant;
  plant->move(bench->model, bench->mode, bench->time, registry_channel(plant, name), value, 0.0);
}

/* With a pedal held, all laws at rest: the commands are those of the pedal alone. */
static void at_rest_the_controls_pass_the_pedal_through(void **state) {
  (void)state;
  const char *pedals[] = {"operator: {forward_pedal: 20 %}\n", "operator: {forward_pedal: 70 %}\n",
                          "operator: {reverse_pedal: 70 %}\n"};
  for (int i = 0; i < 3; i++) {
    char text[512];
    struct bench *plain = bench_open(pedals[i]);
    (void)snprintf(text, sizeof text, "%s%s", ALL, pedals[i]);
    struct bench *controlled = bench_open(text);
    assert_true(plain->good && controlled->good);
    CHECK_NEAR(bench_signal(controlled, "stroke_command"), bench_signal(plain, "stroke_command"), 1e-12);
    CHECK_NEAR(bench_rate(controlled, "motor_displacement"), bench_rate(plain, "motor_displacement"), 1e-9);
    CHECK_NEAR(bench_rate(controlled, "ratio_motion"), 0.0, 1e-12); /* it starts where the pedal is */
    bench_close(plain);
    bench_close(controlled);
  }
}

/* A stalled engine asks for all fuel: no stroke is left. Both pedals, neutral, a pressed inching pedal: none either. */
static void nothing_is_commanded_where_nothing_is_asked(void **state) {
  (void)state;
  struct bench *bench = bench_open(ALL "operator: {forward_pedal: 80 %}\nengine: {stall: held}\n");
  assert_true(bench->good && bench_signal(bench, "stroke_command") == 1.0);
  *bench_state(bench, "engine_speed") = 0.0;
  assert_true(bench_signal(bench, "stroke_command") == 0.0);
  assert_true(bench_signal(bench, "anti_stall_cut") == 1.0);
  *bench_state(bench, "engine_speed") = -30.0;
  assert_true(bench_signal(bench, "stroke_command") == 0.0);
  bench_close(bench);

  bench = bench_open(ALL "operator: {forward_pedal: 80 %}\n");
  move_channel(bench, "inching", 0.8);
  assert_true(bench_signal(bench, "stroke_command") == 0.0 && bench_signal(bench, "brake") > 0.0);
  move_channel(bench, "inching", 0.0);
  assert_true(bench_signal(bench, "brake") == 0.0);
  bench_close(bench);

  bench =
      bench_open("controls: {inching: cut, reversal: held_below}\noperator: {forward_pedal: 80 %, reverse_pedal: 80 "
                 "%}\n");
  assert_true(bench_signal(bench, "stroke_command") == 0.0);
  bench_close(bench);

  bench = bench_open("operator: {layout: accelerator_and_direction, accelerator: 100 %, direction: 0 %}\n");
  assert_true(bench->good && bench_signal(bench, "stroke_command") == 0.0);
  move_channel(bench, "direction", -1.0);
  assert_true(bench_signal(bench, "stroke_command") == -1.0);
  *bench_state(bench, "engine_speed") = 0.0;
  assert_true(bench_signal(bench, "stroke_command") == 0.0);
  bench_close(bench);
}

/* The engine starts at what the accelerator sets it to, with the share of engine.start_speed. */
static void the_engine_starts_at_its_set_speed(void **state) {
  (void)state;
  struct bench *bench = bench_open("operator: {layout: accelerator_and_direction, direction: 0 %}\ncontrols: "
                                   "{idle_speed: 850 rpm}\nengine: {start_speed: 103 %}\n");
  CHECK_CLOSE(bench_signal(bench, "engine_speed"), 1.03 * 850.0 * TWO_PI / 60.0, 1e-9);
  CHECK_CLOSE(bench_signal(bench, "engine_set_speed"), 850.0 * TWO_PI / 60.0, 1e-9);
  move_channel(bench, "accelerator", 1.0);
  CHECK_CLOSE(bench_signal(bench, "engine_set_speed"), *bench_parameter(bench, "engine", "set_speed"), 1e-9);
  bench_close(bench);
}

/* A held reversal asks for nothing above the speed, for all of it once it is low, and its event tells. */
static void a_held_reversal_gives_no_stroke(void **state) {
  (void)state;
  struct bench *bench =
      bench_open("controls: {reversal: held_below, reversal_speed: 3 km/h}\noperator: {reverse_pedal: 20 %}\n");
  double radius = *bench_parameter(bench, "driveline", "wheel_radius");
  *bench_state(bench, "wheel_speed") = 3.1 / 3.6 / radius;
  assert_true(bench_signal(bench, "stroke_command") == 0.0);
  *bench_state(bench, "wheel_speed") = 2.7 / 3.6 / radius;
  CHECK_CLOSE(bench_signal(bench, "stroke_command"), -0.3, 1e-9);
  *bench_state(bench, "wheel_speed") = 2.3 / 3.6 / radius;
  CHECK_CLOSE(bench_signal(bench, "stroke_command"), -0.6, 1e-9);
  *bench_state(bench, "wheel_speed") = -9.0 / 3.6 / radius;
  CHECK_CLOSE(bench_signal(bench, "stroke_command"), -0.6, 1e-9);
  bench_close(bench);
}

/* Settings that cannot be are refused by name. */
static void what_cannot_be_is_refused(void **state) {
  (void)state;
  static const struct {
    const char *text;
    const char *word;
  } rows[] = {
      {"operator: {layout: accelerator_and_direction}\ncontrols: {idle_speed: 2100 rpm}\n", "controls.idle_speed"},
      {"operator: {layout: accelerator_and_direction}\ncontrols: {drive_begin: 2050 rpm}\n", "controls.drive_full"},
      {"controls: {inching: cut, inching_begin: 80 %}\n", "controls.inching_full"},
      {"operator: {layout: accelerator_and_direction, forward_pedal: 30 %}\n", "accelerator_and_direction use"},
      {"operator: {layout: accelerator_and_direction, pedal: 30 %}\n", "accelerator_and_direction use"},
      {"operator: {layout: two_pedals, accelerator: 30 %}\n", "operator.accelerator"},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    assert_true(bench_refuses(rows[i].text, rows[i].word));
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_engine_speed_commands_the_drive),
      cmocka_unit_test(the_accelerator_sets_the_engine_speed),
      cmocka_unit_test(a_ratio_is_split_and_put_together),
      cmocka_unit_test(the_ramp_keeps_its_closed_form),
      cmocka_unit_test(a_reversal_waits_for_a_low_speed),
      cmocka_unit_test(the_inching_pedal_cuts_and_brakes),
      cmocka_unit_test(the_anti_stall_control_is_a_bounded_pi),
      cmocka_unit_test(at_rest_the_controls_pass_the_pedal_through),
      cmocka_unit_test(nothing_is_commanded_where_nothing_is_asked),
      cmocka_unit_test(the_engine_starts_at_its_set_speed),
      cmocka_unit_test(a_held_reversal_gives_no_stroke),
      cmocka_unit_test(what_cannot_be_is_refused),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
