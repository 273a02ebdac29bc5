/* Clutch and transfer case: losses never give power, the clutch holds below its capacity and slips at it, the transfer
 * case conserves power, an axle without grip passes its torque on. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "check.h"
#include "clutch.h"
#include "component.h"
#include "sample.h"
#include "transfer_case.h"

static void a_clutch_never_gives_power(void **state) {
  (void)state;
  struct sampler sampler = {71u};
  for (int i = 0; i < 20000; i++) {
    struct clutch clutch = {sample_decades(&sampler, 1.0, 1e5), sample_decades(&sampler, 1e-3, 10.0),
                            sample_between(&sampler, 0.0, 0.1), sample_decades(&sampler, 1e-4, 1.0)};
    double share = sample_choice(&sampler, 4) == 0 ? 0.0 : sample_unit(&sampler);
    double torque = clutch.torque * sample_between(&sampler, -1.3, 1.3); /* also beyond what it carries */
    double slip = sample_between(&sampler, -300.0, 300.0);
    double lost = clutch_torque(&clutch, share, torque, slip) * slip -
                  torque * clutch_torque_rate(&clutch, share, torque, slip) / clutch_stiffness(&clutch);
    assert_true(lost >= -1e-9 * clutch.torque * fabs(slip));
    CHECK_NEAR(clutch_torque(&clutch, share, -torque, -slip), -clutch_torque(&clutch, share, torque, slip), 0.0);
    assert_true(fabs(clutch_torque(&clutch, share, torque, slip)) <=
                fmax(fabs(torque), clutch_capacity(&clutch, share)) * (1.0 + 1e-15));
  }
}

/* Wound up at a constant slip it ends at its capacity, with the sign of the slip. */
static void a_slipping_clutch_carries_its_capacity(void **state) {
  (void)state;
  const struct clutch clutch = {500.0, 0.5, 0.003, 0.02};
  for (int way = -1; way <= 1; way += 2) {
    double torque = 0.0;
    double part_way = NAN;
    for (int i = 0; i < 200000; i++) {
      torque += 1e-5 * clutch_torque_rate(&clutch, 0.6, torque, way * 5.0);
      part_way = isnan(part_way) && fabs(torque) >= 90.0 ? 1e-5 * (i + 1) : part_way;
    }
    CHECK_CLOSE(torque, way * 300.0, 1e-6);
    /* to z = 0.3 of its capacity as a spring but for z^3/4: 90 N m at 1000 N m/rad and 5 rad/s */
    CHECK_CLOSE(part_way, 0.018 * (1.0 + 0.027 / 4.0), 1e-3);
  }
  assert_true(clutch_stored_energy(&clutch, 300.0) == 45.0);
}

/* An open clutch that drags at a high slip stands in no corner: its rate falls alike on both sides of where it comes to
 * rest, by little more than the excess leaves with. With a hard clamp it was 1/t_r above and 3 k w/C below. */
static void a_dragging_clutch_stands_in_no_corner(void **state) {
  (void)state;
  const struct clutch clutch = {1200.0, 0.04, 0.002, 0.02};
  const double capacity = clutch_capacity(&clutch, 0.0);
  for (int way = -1; way <= 1; way += 2) {
    double low = 0.9 * capacity;
    double high = 1.1 * capacity;
    for (int i = 0; i < 200; i++) {
      double middle = 0.5 * (low + high);
      *(way * clutch_torque_rate(&clutch, 0.0, way * middle, way * 100.0) > 0.0 ? &low : &high) = middle;
    }
    double apart = 1e-5 * capacity;
    double above = clutch_torque_rate(&clutch, 0.0, way * (low + apart), way * 100.0) / (way * apart);
    double below = clutch_torque_rate(&clutch, 0.0, way * (low - apart), way * 100.0) / (way * apart);
    CHECK_NEAR(low, capacity, 3e-4 * capacity);
    CHECK_CLOSE(above, -2.0 / clutch.release_time, 0.1);
    CHECK_CLOSE(below, 2.0 / clutch.release_time, 0.1);
  }
}

/* What comes in goes to both shafts and into the coupling, and nowhere else. */
static void a_transfer_case_conserves_power(void **state) {
  (void)state;
  struct sampler sampler = {72u};
  for (int law = TRANSFER_CASE_LOCKED; law <= TRANSFER_CASE_LIMITED; law++) {
    DEFAULTS(transfer_case, box);
    box.law = law;
    for (int i = 0; i < 500; i++) {
      box.front_share = sample_unit(&sampler);
      double rear = sample_between(&sampler, -300.0, 300.0);
      double front = sample_between(&sampler, -300.0, 300.0);
      double arrives = sample_between(&sampler, -900.0, 900.0);
      double between = transfer_case_couples(&box) ? transfer_case_torque(&box, 1.0, 100.0, rear - front) : 0.0;
      double share = transfer_case_share(&box);
      double given = ((1.0 - share) * arrives - between) * rear + (share * arrives + between) * front;
      CHECK_NEAR(arrives * transfer_case_speed(&box, rear, front), given + between * (rear - front), 1e-6);
    }
  }
  DEFAULTS(transfer_case, locked);
  locked.law = TRANSFER_CASE_LOCKED;
  CHECK_CLOSE(transfer_case_rate(&locked, 1.0, 1e9, 2.0), 2.0 * locked.torque / locked.wind_up_angle, 1e-12);
}

/* A machine too heavy to move off, its front wheels with too little load to hold half of the torque. */
static double pulls_by(const char *law, const char *signal) {
  char text[1024];
  (void)snprintf(text, sizeof text,
                 "vehicle: {axles: two, rear_share: 97 %%, gravity_height: 0 m, mass: 1000 t}\ntransfer_case: {law: "
                 "%s, torque: 300 N m}\n"
                 "engine: {stall: none}\ntyre: {grip: 0.05, rolling_resistance: 0}\nground: {wheelbase: 0 m}\n"
                 "operator: {forward_pedal: 20 %%}\nrelief: {setting: 300 bar}\n",
                 law);
  struct bench *bench = bench_open(text);
  bench_run(bench, 4.0);
  double value = bench_signal(bench, signal);
  bench_close(bench);
  return value;
}

static void an_axle_without_grip_passes_its_torque_on(void **state) {
  (void)state;
  /* The open differential gives the rear axle no more than the front one holds; locked, the rest goes there. */
  double open_rear = pulls_by("open", "rear_wheel_torque");
  double open_front = pulls_by("open", "front_wheel_torque");
  CHECK_CLOSE(open_rear, open_front, 0.05);
  assert_true(pulls_by("open", "front_wheel_slip") > 0.5);
  double locked_rear = pulls_by("locked", "rear_wheel_torque");
  assert_true(locked_rear > 2.0 * open_rear);
  assert_true(pulls_by("locked", "front_wheel_slip") < 0.1);
  /* A lock of 300 N m: between both. */
  double limited_rear = pulls_by("limited", "rear_wheel_torque");
  assert_true(limited_rear > 1.5 * open_rear);
  print_message("rear axle: open %.0f, limited %.0f, locked %.0f N m\n", open_rear, limited_rear, locked_rear);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_clutch_never_gives_power),
      cmocka_unit_test(a_slipping_clutch_carries_its_capacity),
      cmocka_unit_test(a_dragging_clutch_stands_in_no_corner),
      cmocka_unit_test(a_transfer_case_conserves_power),
      cmocka_unit_test(an_axle_without_grip_passes_its_torque_on),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
