/* Tables and their pieces, the ground under a wheelbase, the operator, and the smoothing helpers. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "ground.h"
#include "operator.h"
#include "sample.h"

static void helpers_keep_their_word(void **state) {
  (void)state;
  assert_true(max0(-1.0) == 0.0 && max0(2.0) == 2.0);
  assert_true(larger(1.0, 2.0) == 2.0 && smaller(1.0, 2.0) == 1.0);
  assert_true(clamp01(-0.1) == 0.0 && clamp01(1.1) == 1.0 && clamp01(0.3) == 0.3);
  assert_true(saturate(-3.0, 2.0) == -2.0 && saturate(3.0, 2.0) == 2.0);
  assert_true(soft_abs(0.0, 1e5) == 0.0 && soft_sign(0.0, 1e5) == 0.0);
  CHECK_CLOSE(soft_abs(-3.0, 4.0), 1.0, 1e-15);
  CHECK_CLOSE(soft_sign(-3.0, 4.0), -0.6, 1e-15);
  CHECK_CLOSE(tanh_sign(0.5, 1.0), tanh(0.5), 1e-15);
  assert_true(tanh_sign(20.1, 1.0) == 1.0 && tanh_sign(-20.1, 1.0) == -1.0 && tanh(20.0) == 1.0);
  CHECK_CLOSE(blend(2.0, 4.0, 0.25), 2.5, 1e-15);
  assert_true(isnan(saturate(NAN, 1.0)));
}

static const real times[] = {0.0, 1.0, 3.0, 3.0, 5.0, 7.0};
static const real values[] = {0.0, 0.0, 1.0, -1.0, 0.0, 1.0};
static const struct profile table = {6, times, values, false};

static void a_table_reads_as_straight_lines(void **state) {
  (void)state;
  CHECK_NEAR(profile_at(&table, -5.0), 0.0, 0.0);
  CHECK_NEAR(profile_at(&table, 0.5), 0.0, 0.0);
  CHECK_NEAR(profile_at(&table, 2.0), 0.5, 1e-15);
  CHECK_NEAR(profile_at(&table, 3.0 - 1e-12), 1.0, 1e-9);
  CHECK_NEAR(profile_at(&table, 3.0), -1.0, 0.0); /* at a step the later piece rules */
  CHECK_NEAR(profile_at(&table, 4.0), -0.5, 1e-15);
  CHECK_NEAR(profile_at(&table, 9.0), 1.0, 0.0);
  const struct profile empty = {0, NULL, NULL, false};
  CHECK_NEAR(profile_at(&empty, 4.0), 0.0, 0.0);
  const struct profile single = {1, times + 1, values + 2, false};
  CHECK_NEAR(profile_at(&single, -4.0), 1.0, 0.0);
  CHECK_NEAR(profile_at(&single, 4.0), 1.0, 0.0);
}

/* Pieces reach from kink to kink; points on a straight line are none: 3 to 7 s is one piece. */
static void pieces_reach_from_kink_to_kink(void **state) {
  (void)state;
  struct piece piece = profile_piece(&table, profile_index(&table, 0.5));
  assert_true(isinf(piece.low) && piece.low < 0.0);
  CHECK_NEAR(piece.high, 1.0, 0.0);
  piece = profile_piece(&table, profile_index(&table, 1.0));
  CHECK_NEAR(piece.low, 1.0, 0.0);
  CHECK_NEAR(piece.high, 3.0, 0.0);
  piece = profile_piece(&table, profile_index(&table, 3.0));
  CHECK_NEAR(piece.low, 3.0, 0.0);
  CHECK_NEAR(piece.high, 7.0, 0.0);
  CHECK_NEAR(piece_at(&piece, 6.0), 0.5, 1e-15);
  piece = profile_piece(&table, profile_index(&table, 5.0));
  CHECK_NEAR(piece.low, 3.0, 0.0);
  CHECK_NEAR(piece.high, 7.0, 0.0);
  piece = profile_piece(&table, profile_index(&table, 7.0));
  CHECK_NEAR(piece.low, 7.0, 0.0);
  assert_true(isinf(piece.high));
  /* going backwards through a kink */
  piece = profile_piece(&table, profile_index_before(&table, 3.0));
  CHECK_NEAR(piece.low, 1.0, 0.0);
  CHECK_NEAR(piece.high, 3.0, 0.0);
}

/* Walked piece by piece, forwards and backwards, a random table reads as it does when looked up. */
static void walking_reads_as_looking_up(void **state) {
  (void)state;
  struct sampler sampler = {71u};
  for (int round = 0; round < 200; round++) {
    real x[12];
    real y[12];
    struct profile random = {1 + sample_choice(&sampler, 12), x, y, false};
    double place = sample_between(&sampler, -1.0, 1.0);
    for (int i = 0; i < random.count; i++) {
      place += sample_choice(&sampler, 3) == 0 ? 0.0 : sample_choice(&sampler, 3);
      x[i] = place;
      y[i] = sample_choice(&sampler, 4);
    }
    struct piece piece = profile_piece(&random, 0);
    for (int hops = 0; isfinite(piece.high); hops++) {
      assert_true(hops < 20);
      struct piece next = profile_piece(&random, profile_index(&random, piece.high));
      assert_true(next.low == piece.high && next.high > piece.high);
      double inside = isfinite(next.high) ? 0.5 * (next.low + next.high) : next.low + 1.0;
      CHECK_NEAR(piece_at(&next, inside), profile_at(&random, inside), 1e-12);
      struct piece back = profile_piece(&random, profile_index_before(&random, next.low));
      assert_true(back.high == next.low && back.low < next.low);
      piece = next;
    }
  }
}

static void a_moved_piece_ends_at_its_target(void **state) {
  (void)state;
  struct piece now = profile_piece(&table, profile_index(&table, 2.0));
  struct piece moved = piece_move(&now, 2.0, 0.0, 0.5);
  CHECK_NEAR(piece_at(&moved, 2.0), 0.5, 1e-15);
  CHECK_NEAR(piece_at(&moved, 2.25), 0.25, 1e-15);
  CHECK_NEAR(moved.high, 2.5, 0.0);
  /* Whatever the times, a move ends exactly at its target. */
  for (int i = 1; i < 200; i++) {
    struct piece let_go = piece_move(&now, 0.1 * i, 0.0, 0.0137 * i);
    assert_true(piece_at(&let_go, let_go.high) == 0.0);
    CHECK_NEAR(piece_at(&let_go, 0.1 * i), piece_at(&now, 0.1 * i), 1e-14);
  }
  struct piece rest = piece_rest(&moved, 2.5);
  CHECK_NEAR(piece_at(&rest, 99.0), 0.0, 1e-15);
  assert_true(isinf(rest.high));
  struct piece jumped = piece_move(&now, 2.0, 0.9, 0.0);
  CHECK_NEAR(piece_at(&jumped, 2.0), 0.9, 0.0);
  assert_true(isinf(jumped.high));
}

static const real places[] = {0.0, 30.0, 40.0, 60.0, 60.0};
static const real grades[] = {0.0, 0.0, 0.2, 0.2, -0.1};
static const struct profile track = {5, places, grades, false};

static double grade_at(double wheelbase, double s) {
  struct ground_contact rear = ground_contact_on(&track, profile_index(&track, s - 0.5 * wheelbase));
  struct ground_contact front = ground_contact_on(&track, profile_index(&track, s + 0.5 * wheelbase));
  return ground_grade(wheelbase, &rear, &front, s);
}

static void grade_at_a_point_is_the_table(void **state) {
  (void)state;
  CHECK_NEAR(grade_at(0.0, 35.0), 0.1, 1e-15);
  CHECK_NEAR(grade_at(0.0, -7.0), 0.0, 0.0);
  CHECK_NEAR(grade_at(0.0, 59.9), 0.2, 1e-15);
  CHECK_NEAR(grade_at(0.0, 60.0), -0.1, 1e-15);
}

/* Over a wheelbase: the mean of the grade, by a sum over many points. */
static void grade_over_a_wheelbase_is_the_mean(void **state) {
  (void)state;
  const double wheelbase = 3.0;
  for (int i = -10; i < 160; i++) {
    double s = 0.5 * i + 0.123;
    double sum = 0.0;
    enum { POINTS = 30000 };
    for (int k = 0; k < POINTS; k++) {
      sum += profile_at(&track, s - 0.5 * wheelbase + wheelbase * (k + 0.5) / POINTS);
    }
    CHECK_NEAR(grade_at(wheelbase, s), sum / POINTS, 2e-5);
  }
  /* no jump at the step, neither ahead nor behind: the mean goes over it within a wheelbase */
  CHECK_NEAR(grade_at(wheelbase, 58.5 - 1e-9), grade_at(wheelbase, 58.5 + 1e-9), 1e-9);
  CHECK_NEAR(grade_at(wheelbase, 61.5 - 1e-9), grade_at(wheelbase, 61.5 + 1e-9), 1e-9);
  CHECK_NEAR(grade_at(wheelbase, 60.0), 0.05, 1e-12);
}

static struct operator_demand demand(const struct operator_parameters *asks, double forward, double reverse) {
  real channels[CHANNEL_COUNT] = {0.0};
  channels[CHANNEL_direction] = 1.0;
  channels[CHANNEL_forward_pedal] = forward;
  channels[CHANNEL_reverse_pedal] = reverse;
  return operator_demand_of(asks, channels, 0.0);
}

static void two_pedals_work_one_at_a_time(void **state) {
  (void)state;
  DEFAULTS(operator, asks);
  asks.layout = OPERATOR_TWO_PEDALS;
  struct operator_demand asked = demand(&asks, 1.0 / 6.0, 0.0);
  CHECK_CLOSE(asked.stroke, 0.5, 1e-12);
  CHECK_NEAR(asked.motor_part, 0.0, 1e-12);
  asked = demand(&asks, 1.0, 0.0);
  CHECK_CLOSE(asked.stroke, 1.0, 1e-12);
  CHECK_CLOSE(asked.motor_part, 1.0, 1e-12);
  asked = demand(&asks, 0.0, 2.0 / 3.0);
  CHECK_CLOSE(asked.stroke, -1.0, 1e-12);
  CHECK_CLOSE(asked.pedal, -2.0 / 3.0, 1e-12);
  CHECK_CLOSE(asked.motor_part, 0.5, 1e-12);
}

static void both_pedals_give_no_drive(void **state) {
  (void)state;
  DEFAULTS(operator, asks);
  asks.layout = OPERATOR_TWO_PEDALS;
  struct sampler sampler = {72u};
  for (int i = 0; i < 1000; i++) {
    double forward = sample_between(&sampler, asks.interlock, 1.0);
    double reverse = sample_between(&sampler, asks.interlock, 1.0);
    struct operator_demand asked = demand(&asks, forward, reverse);
    assert_true(asked.stroke == 0.0 && asked.pedal == 0.0 && asked.motor_part == 0.0);
  }
  /* on the way there the net pedal only falls, and mirrored pedals give the mirrored drive */
  double before = 1.0;
  for (int i = 0; i <= 100; i++) {
    double reverse = asks.interlock * i / 100.0;
    struct operator_demand asked = demand(&asks, 0.8, reverse);
    assert_true(asked.pedal <= before);
    before = asked.pedal;
    CHECK_NEAR(demand(&asks, reverse, 0.8).stroke, -asked.stroke, 1e-15);
  }
}

static void pedal_and_direction(void **state) {
  (void)state;
  DEFAULTS(operator, asks);
  asks.layout = OPERATOR_PEDAL_AND_DIRECTION;
  real channels[CHANNEL_COUNT] = {0.0};
  channels[CHANNEL_pedal] = 0.4;
  channels[CHANNEL_direction] = -0.5;
  struct operator_demand asked = operator_demand_of(&asks, channels, 0.0);
  CHECK_CLOSE(asked.stroke, -0.5, 1e-12);
  CHECK_CLOSE(asked.motor_part, 0.1, 1e-12);
  assert_true(operator_resting_value(CHANNEL_direction) == 1.0);
  assert_true(operator_resting_value(CHANNEL_throttle) == 1.0);
  assert_true(operator_resting_value(CHANNEL_brake) == 0.0);
  /* the whole pedal on the pump leaves the motor alone */
  asks.pump_share = 1.0;
  channels[CHANNEL_pedal] = 1.0;
  assert_true(operator_demand_of(&asks, channels, 0.0).motor_part == 0.0);
}

/* ---- smooth tables: measured traces ---- */

static void a_smooth_table_has_no_kink_and_stays_within_its_points(void **state) {
  (void)state;
  struct sampler sampler = {7};
  for (int round = 0; round < 50; round++) {
    enum { POINTS = 12 };
    real x[POINTS];
    real y[POINTS];
    x[0] = 0.0;
    for (int i = 0; i < POINTS; i++) {
      x[i] = i == 0 ? 0.0 : x[i - 1] + sample_between(&sampler, 0.01, 0.5);
      y[i] = sample_between(&sampler, -1.0, 1.0);
    }
    struct profile smooth = {POINTS, x, y, true};
    for (int i = 0; i + 1 < POINTS; i++) {
      CHECK_NEAR(profile_at(&smooth, x[i]), y[i], 1e-15);
      for (real share = 0.02; share < 1.0; share += 0.02) {
        real value = profile_at(&smooth, x[i] + share * (x[i + 1] - x[i]));
        assert_true(value >= smaller(y[i], y[i + 1]) - 1e-14 && value <= larger(y[i], y[i + 1]) + 1e-14);
      }
      if (i > 0) {
        real h = 1e-7 * (x[i + 1] - x[i - 1]);
        real left = (profile_at(&smooth, x[i]) - profile_at(&smooth, x[i] - h)) / h;
        real right = (profile_at(&smooth, x[i] + h) - profile_at(&smooth, x[i])) / h;
        CHECK_NEAR(left, right, 1e-4 * (1.0 + 2.0 / (x[i + 1] - x[i]) + 2.0 / (x[i] - x[i - 1])));
      }
    }
    CHECK_NEAR(profile_at(&smooth, -1.0), y[0], 0.0);
    CHECK_NEAR(profile_at(&smooth, x[POINTS - 1] + 1.0), y[POINTS - 1], 0.0);
  }
}

static void a_smooth_table_is_one_piece(void **state) {
  (void)state;
  const real x[] = {0.0, 1.0, 2.0, 4.0};
  const real y[] = {0.0, 1.0, 2.0, 4.0};
  const struct profile smooth = {4, x, y, true};
  struct piece piece = profile_piece(&smooth, 2);
  assert_true(piece.high == HUGE_VAL && piece.low == -HUGE_VAL && piece.slope != 0.0);
  CHECK_NEAR(piece_at(&piece, 1.5), 1.5, 1e-15); /* a line stays a line, but for its flat ends */
  CHECK_NEAR(piece_at(&piece, 3.0), profile_at(&smooth, 3.0), 0.0);
  struct piece moved = piece_move(&piece, 1.5, 3.5, 2.0);
  CHECK_NEAR(piece_at(&moved, 2.5), 2.5, 1e-15);
  assert_null(moved.smooth);
}

/* A piece that is narrower than any solver sees is passed over, ahead and behind, and no guard falls for it. */
static void narrow_pieces_are_passed_over(void **state) {
  (void)state;
  static const double argument[] = {0.0, 1.0, 1.0 + 1e-15, 1.0 + 5e-10, 2.0};
  static const double value[] = {0.0, 1.0, 5.0, 2.0, 3.0};
  const struct profile narrow = {5, argument, value, false};
  struct piece ahead = profile_next_piece(&narrow, 1.0, true);
  assert_int_equal(ahead.index, 4);
  CHECK_NEAR(ahead.low, 1.0, 0.0);
  CHECK_NEAR(ahead.high, 2.0, 0.0);
  struct piece behind = profile_next_piece(&narrow, ahead.low, false);
  assert_int_equal(behind.index, 1);
  CHECK_NEAR(behind.high, 1.0, 0.0);
  behind = profile_next_piece(&narrow, 1.0 + 5e-10, false);
  assert_int_equal(behind.index, 1);
  CHECK_NEAR(behind.high, 1.0 + 5e-10, 0.0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(narrow_pieces_are_passed_over),
      cmocka_unit_test(a_smooth_table_has_no_kink_and_stays_within_its_points),
      cmocka_unit_test(a_smooth_table_is_one_piece),
      cmocka_unit_test(helpers_keep_their_word),
      cmocka_unit_test(a_table_reads_as_straight_lines),
      cmocka_unit_test(pieces_reach_from_kink_to_kink),
      cmocka_unit_test(walking_reads_as_looking_up),
      cmocka_unit_test(a_moved_piece_ends_at_its_target),
      cmocka_unit_test(grade_at_a_point_is_the_table),
      cmocka_unit_test(grade_over_a_wheelbase_is_the_mean),
      cmocka_unit_test(two_pedals_work_one_at_a_time),
      cmocka_unit_test(both_pedals_give_no_drive),
      cmocka_unit_test(pedal_and_direction),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
