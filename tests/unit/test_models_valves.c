/* Main relief valves, charge circuit, flushing. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "charge.h"
#include "check.h"
#include "component.h"
#include "fault.h"
#include "filter.h"
#include "flushing.h"
#include "relief.h"
#include "sample.h"

static void relief_opens_above_its_setting(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  CHECK_CLOSE(relief.setting, 450e5, 1e-12);
  assert_true(relief_first_order_rate(&relief, 0.0, relief.setting) == 0.0);
  assert_true(relief_first_order_rate(&relief, 0.0, -6e7) == 0.0);
  CHECK_CLOSE(relief_first_order_rate(&relief, 0.0, relief.setting + 1e6), 1e6 / relief.lag, 1e-9);
  CHECK_CLOSE(relief_first_order_rate(&relief, 3e5, 0.0), -3e5 / relief.lag, 1e-12);
  /* settled: flow = gradient times excess, the sign rounded by 2e-4 of itself at 450 bar */
  CHECK_CLOSE(relief_first_order_flow(&relief, 10e5, relief.setting + 10e5), relief.gradient * 10e5, 3e-4);
}

static void relief_flow_never_runs_against_the_drop(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  struct sampler sampler = {41u};
  for (int i = 0; i < 5000; i++) {
    double opening = sample_decades(&sampler, 1.0, 1e7);
    double drop = sample_between(&sampler, -5e7, 5e7);
    double flow = relief_first_order_flow(&relief, opening, drop);
    assert_true(flow * drop >= 0.0);
    CHECK_NEAR(relief_first_order_flow(&relief, opening, -drop), -flow, 0.0);
    assert_true(relief_first_order_flow(&relief, opening, drop + 1e3) > flow);
  }
  assert_true(relief_first_order_flow(&relief, 1e6, 0.0) == 0.0);
  assert_true(relief_first_order_flow(&relief, 0.0, 5e7) == 0.0);
}

static void charge_pump_keeps_its_energy(void **state) {
  (void)state;
  DEFAULTS(charge, charge);
  double speed = 220.0;
  double over_tank = 25e5;
  double shaft =
      (charge_pump_pressure_torque(charge.displacement, over_tank) + charge_pump_torque_loss(&charge, speed, 1.0)) *
      speed;
  double oil = charge_pump_flow(&charge, charge.displacement, speed, over_tank) * over_tank;
  CHECK_CLOSE(shaft - oil, charge.constant_torque * speed + charge.leak * over_tank * over_tank, 1e-9);
  CHECK_CLOSE(charge_pump_flow(&charge, charge.displacement, speed, 0.0), charge.displacement * speed, 1e-14);
  assert_true(charge_pump_torque_loss(&charge, -speed, 1.0) < 0.0);
}

static void thick_oil_does_not_fill_the_charge_pump(void **state) {
  (void)state;
  DEFAULTS(charge, charge);
  charge.suction_resistance = 0.0;
  CHECK_CLOSE(charge_filled_displacement(&charge, 220.0, 1.013e5, 5.0), charge.displacement, 1e-15);
  charge.suction_resistance = 1e9;
  double drawn = (1.013e5 - 0.3e5) / (1e9 * 0.5);
  CHECK_CLOSE(charge_filled_displacement(&charge, 220.0, 1.013e5, 0.5) * 220.0, drawn, 1e-12);
  CHECK_CLOSE(charge_filled_displacement(&charge, 220.0, 1.013e5, 0.01), charge.displacement, 1e-15);
  assert_true(charge_filled_displacement(&charge, 220.0, 0.2e5, 0.5) == 0.0);
  CHECK_CLOSE(charge_filled_displacement(&charge, 0.0, 1.013e5, 0.5), charge.displacement, 1e-15);
}

static void filter_shares_its_flow(void **state) {
  (void)state;
  DEFAULTS(filter, filter);
  filter.clean_drop = 0.5e5;
  double rated_mu = filter.rated_viscosity * 870.0;
  double resistance = filter_resistance(&filter, 870.0, 0.0);
  CHECK_CLOSE(filter_drop(&filter, resistance, rated_mu, filter.rated_flow), 0.5e5, 1e-12);
  CHECK_CLOSE(filter_resistance(&filter, 870.0, 3.0), 4.0 * resistance, 1e-12);
  struct sampler sampler = {43u};
  for (int i = 0; i < 2000; i++) {
    double mu = sample_decades(&sampler, 5e-3, 3.0);
    double flow = sample_between(&sampler, 1e-6, 3e-3);
    double drop = filter_drop(&filter, resistance, mu, flow);
    double bypass = filter.bypass_gradient * fmax(0.0, drop - filter.bypass_crack);
    CHECK_CLOSE(drop / (resistance * mu) + bypass, flow, 1e-10);
    CHECK_NEAR(filter_bypass_share(&filter, drop, flow), bypass / flow, 1e-9);
  }
  assert_true(filter_drop(&filter, resistance, rated_mu, -1e-4) < 0.0);
  assert_true(filter_drop(&filter, 0.0, rated_mu, 1e-3) == 0.0);
  assert_true(filter_bypass_share(&filter, 1e6, 0.0) == 0.0);
}

static void a_burst_hose_loses_oil_one_way(void **state) {
  (void)state;
  DEFAULTS(fault, fault);
  assert_true(fault_burst_flow(&fault, 1.0, -1e5, 870.0) == 0.0);
  assert_true(fault_burst_flow(&fault, 1.0, 0.0, 870.0) == 0.0);
  assert_true(fault_burst_flow(&fault, 0.0, 1e7, 870.0) == 0.0);
  CHECK_CLOSE(fault_burst_flow(&fault, 1.0, 2e7, 870.0),
              fault.burst_discharge * fault.burst_area * sqrt(2.0 * 2e7 / 870.0), 1e-6);
}

/* Whatever the force, the poppet stays between seat and stop but for micrometres, and does not rebound. */
static void poppet_keeps_between_its_stops(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  relief.setting = 400e5;
  double area = relief_seat_area(&relief);
  CHECK_CLOSE(area, 0.25 * REAL_PI * 1e-4, 1e-12);
  /* on the seat below cracking: pressed in by less than 20 um */
  double depth = area * relief.setting / RELIEF_STOP_STIFFNESS;
  assert_true(depth < 20e-6);
  CHECK_NEAR(relief_poppet_acceleration(&relief, -depth, 0.0, 0.0, 1.0) * relief.poppet_mass,
             -relief.spring_rate * -depth, 1e-6);
  assert_true(relief_poppet_acceleration(&relief, 0.0, 0.0, relief.setting + 1e5, 1.0) > 0.0);
  assert_true(relief_poppet_acceleration(&relief, 0.0, 0.0, relief.setting - 1e5, 1.0) < 0.0);
  assert_true(relief_poppet_acceleration(&relief, relief.largest_lift + 1e-3, 0.0, 6e7, 1.0) < 0.0);
  /* a stop only pushes */
  assert_true(relief_stop_force(&relief, -1e-6, 5.0) == 0.0);
  assert_true(relief_stop_force(&relief, 1e-6, -50.0) == 0.0);
  /* balance and flow of the static curve */
  for (int i = 1; i < 30; i++) {
    double lift;
    double flow = 1e-4 * i;
    double drop = relief_poppet_drop(&relief, flow, 870.0, &lift);
    CHECK_NEAR(relief_poppet_acceleration(&relief, lift, 0.0, drop, 1.0) * relief.poppet_mass, 0.0, 1e-6);
    CHECK_CLOSE(relief_poppet_flow(&relief, lift, drop, 870.0), flow, 1e-3);
    assert_true(drop > relief.setting);
  }
  assert_true(relief_poppet_flow(&relief, -1e-5, 4e7, 870.0) == 0.0);
  CHECK_NEAR(relief_poppet_flow(&relief, 1e-4, -4e7, 870.0), -relief_poppet_flow(&relief, 1e-4, 4e7, 870.0), 0.0);
  assert_true(relief_poppet_flow(&relief, 1e-4, 0.0, 870.0) == 0.0);
}

/* The static inverse of each law: at the drop and the position that it gives for a flow, the valve passes that flow and
 * moves nowhere; beyond its stop it is a fixed opening. */
static void the_static_inverse_belongs_to_its_law(void **state) {
  (void)state;
  static const double flows[] = {1e-5, 1e-4, 5e-4, 1e-3};
  for (int law = RELIEF_FIRST_ORDER; law <= RELIEF_POPPET; law++) {
    DEFAULTS(relief, relief);
    relief.law = law;
    const struct relief_law_row *row = relief_law_of(&relief);
    for (size_t i = 0; i < sizeof flows / sizeof flows[0]; i++) {
      double position;
      double drop = relief_balance_drop(&relief, flows[i], 870.0, &position);
      double states[RELIEF_STATE_COUNT] = {0.0};
      double rates[RELIEF_STATE_COUNT] = {0.0};
      states[row->position_state] = position;
      relief_rates(&relief, states, drop, 1.0, rates);
      assert_true(drop > relief.setting);
      CHECK_CLOSE(relief_flow(&relief, position, drop, 870.0), flows[i], 1e-3);
      CHECK_NEAR(rates[RELIEF_OPENING], 0.0, 1e-7 * relief.setting / relief.lag);
      CHECK_NEAR(rates[RELIEF_SPEED] * relief.poppet_mass, 0.0, 1e-6);
    }
    for (int i = 0; i < RELIEF_STATE_COUNT; i++) { /* a law rates its own states and no other */
      double states[RELIEF_STATE_COUNT] = {1.0, 1e-3, 1.0};
      double rates[RELIEF_STATE_COUNT] = {NAN, NAN, NAN};
      relief_rates(&relief, states, relief.setting, 1.0, rates);
      assert_int_equal(relief_has_state(&relief, i), !isnan(rates[i]));
    }
  }
  DEFAULTS(relief, relief);
  assert_true(isinf(relief_stop_flow(&relief, 870.0)));
  assert_true(isinf(relief_stop_position(&relief)));
  relief.law = RELIEF_POPPET;
  relief.largest_lift = 2e-4;
  double stop = relief_stop_flow(&relief, 870.0);
  double position;
  double drop = relief_balance_drop(&relief, 0.999999 * stop, 870.0, &position);
  CHECK_CLOSE(position, relief.largest_lift, 1e-5);
  CHECK_CLOSE(relief_balance_drop(&relief, 1.000001 * stop, 870.0, &position), drop, 1e-5);
  CHECK_CLOSE(relief_balance_drop(&relief, 2.0 * stop, 870.0, &position), 4.0 * drop, 1e-5);
  CHECK_CLOSE(position, relief.largest_lift, 0.0);
}

/* Each choice of the parameter `law` has its row, with states of its own. */
static void every_relief_law_has_its_row(void **state) {
  (void)state;
  const char *choices = relief_fields[0].choices;
  int laws = 1;
  for (const char *c = choices; *c != '\0'; c++) {
    laws += *c == '|';
  }
  assert_string_equal(relief_fields[0].name, "law");
  assert_int_equal(laws, (int)(sizeof relief_laws / sizeof relief_laws[0]));
  for (int i = 0; i < laws; i++) {
    assert_true((relief_laws[i].states >> relief_laws[i].position_state & 1u) != 0);
  }
}

/* Thicker oil damps a moving poppet in its measure, and a resting one not at all. */
static void thick_oil_damps_the_poppet(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  double rest = relief_poppet_acceleration(&relief, 1e-4, 0.0, 4e7, 3.0);
  CHECK_CLOSE(rest, relief_poppet_acceleration(&relief, 1e-4, 0.0, 4e7, 1.0), 0.0);
  double force = (rest - relief_poppet_acceleration(&relief, 1e-4, 0.2, 4e7, 3.0)) * relief.poppet_mass;
  CHECK_CLOSE(force, 3.0 * relief.poppet_damping * 0.2, 1e-9);
}

/* Valve B has a setting of its own only where that is chosen. */
static void each_valve_may_have_its_setting(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  relief.setting = 400e5;
  relief.setting_b = 350e5;
  CHECK_CLOSE(relief_valve_b(&relief).setting, 400e5, 0.0);
  relief.settings = RELIEF_EACH;
  CHECK_CLOSE(relief_valve_b(&relief).setting, 350e5, 0.0);
}

/* The dry friction of a poppet turns round within 10 um/s. */
static void dry_friction_turns_round_within_ten_micrometres_a_second(void **state) {
  (void)state;
  DEFAULTS(relief, relief);
  double without = relief_poppet_acceleration(&relief, 1e-4, 1e-5, 4e7, 1.0);
  relief.poppet_friction = 2.0;
  double with = relief_poppet_acceleration(&relief, 1e-4, 1e-5, 4e7, 1.0);
  CHECK_CLOSE((without - with) * relief.poppet_mass, 2.0 / sqrt(2.0), 1e-6);
}

/* Below 1 kPa the root of a check valve's law stands still, so that its slope stays finite. */
static void a_check_valve_has_a_finite_slope(void **state) {
  (void)state;
  DEFAULTS(charge, charge);
  charge.check_crack = 0.0;
  charge.check_open = 4e3;
  CHECK_CLOSE(check_valve_flow(&charge, 400.0, HUGE_VAL), charge.check_flow * 0.1 * sqrt(1e3), 1e-12);
  CHECK_CLOSE(check_valve_flow(&charge, 2e3, HUGE_VAL), charge.check_flow * 0.5 * sqrt(2e3), 1e-12);
}

/* A valve that is stuck open stands by the measure of its law. */
static void a_stuck_valve_stands_in_the_measure_of_its_law(void **state) {
  (void)state;
  DEFAULTS(fault, fault);
  CHECK_NEAR(fault_stuck_position(&fault, RELIEF_BY_PRESSURE), 25e5, 1e-9);
  CHECK_NEAR(fault_stuck_position(&fault, RELIEF_BY_LIFT), 0.5e-3, 1e-15);
}

static void charge_relief_works_as_its_law(void **state) {
  (void)state;
  DEFAULTS(charge, charge);
  assert_true(charge_relief_opening_rate(&charge, 0.0, charge.relief_setting - 1.0) == 0.0);
  CHECK_CLOSE(charge_relief_opening_rate(&charge, 0.0, charge.relief_setting + 2e5), 2e5 / charge.relief_lag, 1e-9);
  CHECK_CLOSE(charge_relief_flow(&charge, 2e5, charge.relief_setting), charge.relief_gradient * 2e5, 1e-3);
  assert_true(charge_relief_flow(&charge, 2e5, -1e5) < 0.0);
  assert_true(charge_relief_flow(&charge, 2e5, 0.0) == 0.0);
}

static void check_valve_opens_one_way(void **state) {
  (void)state;
  DEFAULTS(charge, charge);
  assert_true(check_valve_flow(&charge, charge.check_crack, HUGE_VAL) == 0.0);
  assert_true(check_valve_flow(&charge, 0.0, HUGE_VAL) == 0.0);
  assert_true(check_valve_flow(&charge, -4e7, HUGE_VAL) == 0.0);
  CHECK_CLOSE(check_valve_flow(&charge, charge.check_open, HUGE_VAL), charge.check_flow * sqrt(charge.check_open),
              1e-12);
  CHECK_CLOSE(check_valve_flow(&charge, 4.0 * charge.check_open, HUGE_VAL),
              2.0 * check_valve_flow(&charge, charge.check_open, HUGE_VAL), 1e-12);
  double middle = 0.5 * (charge.check_crack + charge.check_open);
  CHECK_CLOSE(check_valve_flow(&charge, middle, HUGE_VAL), 0.5 * charge.check_flow * sqrt(middle), 1e-12);
  double before = -1.0;
  for (int i = 0; i <= 400; i++) {
    double flow = check_valve_flow(&charge, 1e4 * i - 2e5, HUGE_VAL);
    assert_true(flow >= before);
    before = flow;
  }
}

static void shuttle_connects_the_lower_line(void **state) {
  (void)state;
  DEFAULTS(flushing, flushing);
  CHECK_CLOSE(flushing_shuttle_rate(&flushing, 0.0, 1e7), 1.0 / flushing.shuttle_lag, 1e-12);
  CHECK_CLOSE(flushing_shuttle_rate(&flushing, 0.0, -1e7), -1.0 / flushing.shuttle_lag, 1e-12);
  CHECK_CLOSE(flushing_shuttle_rate(&flushing, 0.0, 4e5), 0.5 / flushing.shuttle_lag, 1e-12);
  assert_true(flushing_opening(&flushing, flushing.shuttle_overlap) == 0.0);
  assert_true(flushing_opening(&flushing, -1.0) == 0.0);
  CHECK_CLOSE(flushing_opening(&flushing, 1.0), 1.0, 1e-15);
  CHECK_CLOSE(flushing_opening(&flushing, 0.65), 0.5, 1e-12);
}

/* In series: no more than either alone, nothing when the relief is shut, and square roots add: 1/q^2 = 1/q1^2 + 1/q2^2.
 */
static void flushing_is_two_in_series(void **state) {
  (void)state;
  DEFAULTS(flushing, flushing);
  struct sampler sampler = {42u};
  assert_true(flushing_flow(&flushing, 1.0, flushing.relief_setting) == 0.0);
  assert_true(flushing_flow(&flushing, 0.0, 4e7) == 0.0);
  assert_true(flushing_flow(&flushing, 1.0, -1e5) == 0.0);
  for (int i = 0; i < 1000; i++) {
    double over = flushing.relief_setting * sample_between(&sampler, 1.01, 20.0);
    double q = flushing_flow(&flushing, 1.0, over);
    double relief = flushing.relief_gradient * (over - flushing.relief_setting);
    double orifice = flushing.orifice * sqrt(over);
    assert_true(q > 0.0 && q <= relief && q <= orifice);
    CHECK_CLOSE(1.0 / (q * q), 1.0 / (relief * relief) + 1.0 / (orifice * orifice), 1e-10);
    CHECK_CLOSE(flushing_flow(&flushing, 0.5, over), 0.5 * q, 1e-12);
  }
  /* the high side at 400 bar: the orifice limits it */
  CHECK_CLOSE(flushing_flow(&flushing, 1.0, 4e7), flushing.orifice * sqrt(4e7), 0.01);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(relief_opens_above_its_setting),
      cmocka_unit_test(relief_flow_never_runs_against_the_drop),
      cmocka_unit_test(charge_pump_keeps_its_energy),
      cmocka_unit_test(thick_oil_does_not_fill_the_charge_pump),
      cmocka_unit_test(filter_shares_its_flow),
      cmocka_unit_test(a_burst_hose_loses_oil_one_way),
      cmocka_unit_test(the_static_inverse_belongs_to_its_law),
      cmocka_unit_test(every_relief_law_has_its_row),
      cmocka_unit_test(thick_oil_damps_the_poppet),
      cmocka_unit_test(each_valve_may_have_its_setting),
      cmocka_unit_test(dry_friction_turns_round_within_ten_micrometres_a_second),
      cmocka_unit_test(a_check_valve_has_a_finite_slope),
      cmocka_unit_test(a_stuck_valve_stands_in_the_measure_of_its_law),
      cmocka_unit_test(poppet_keeps_between_its_stops),
      cmocka_unit_test(charge_relief_works_as_its_law),
      cmocka_unit_test(check_valve_opens_one_way),
      cmocka_unit_test(shuttle_connects_the_lower_line),
      cmocka_unit_test(flushing_is_two_in_series),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
