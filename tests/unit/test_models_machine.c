/* Engine, driveline, the machine's weight, temperatures. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "check.h"
#include "component.h"
#include "driveline.h"
#include "engine.h"
#include "heat.h"
#include "sample.h"
#include "vehicle.h"

static void torque_is_a_parabola(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  CHECK_CLOSE(engine_full_torque(&engine, engine.peak_torque_speed), 720.0, 1e-14);
  CHECK_CLOSE(engine_full_torque(&engine, engine.peak_torque_speed + 0.5 * engine.torque_half_width), 540.0, 1e-12);
  assert_true(engine_full_torque(&engine, engine.peak_torque_speed + 1.1 * engine.torque_half_width) == 0.0);
  assert_true(engine_full_torque(&engine, engine.peak_torque_speed - 1.1 * engine.torque_half_width) == 0.0);
}

/* Friction and exhaust brake oppose rotation either way, for every coefficient in bounds. */
static void friction_opposes_rotation(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  struct sampler sampler = {61u};
  for (int i = 0; i < 5000; i++) {
    engine.friction_constant = sample_between(&sampler, 0.0, 100.0);
    engine.friction_linear = sample_between(&sampler, 0.0, 0.5);
    engine.friction_quadratic = sample_between(&sampler, 0.0, 2e-3);
    engine.exhaust_brake_torque = sample_between(&sampler, 0.0, 500.0);
    engine.speed_width = sample_decades(&sampler, 0.1, 10.0);
    double speed = sample_between(&sampler, 0.0, 400.0);
    assert_true(engine_friction(&engine, speed) * speed >= 0.0);
    assert_true(engine_exhaust_brake(&engine, speed, sample_unit(&sampler)) * speed >= 0.0);
    assert_true(engine_exhaust_brake(&engine, -speed, 1.0) * -speed >= 0.0);
    assert_true(engine_friction(&engine, -speed) * -speed >= 0.0);
    assert_true(engine_auxiliaries(&engine, speed) * speed >= 0.0);
    assert_true(engine_auxiliaries(&engine, -speed) * -speed >= 0.0);
  }
  DEFAULTS(engine, plain);
  CHECK_CLOSE(engine_friction(&plain, 200.0), 40.0 + 0.2 * 200.0 + 9e-4 * 200.0 * 200.0, 1e-12);
  CHECK_CLOSE(engine_auxiliaries(&plain, 200.0), 7.5e-4 * 4e4, 1e-12);
}

static void a_motored_engine_makes_what_fuel_gives(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  double full = engine_full_torque(&engine, 200.0);
  double friction = engine_friction(&engine, 200.0);
  assert_true(engine_combustion(0.0, full, friction) == 0.0);
  CHECK_CLOSE(engine_combustion(1.0, full, friction) - friction, full, 1e-12);
}

static double fuel_rate(const struct engine_parameters *engine, double fuel, double speed, double throttle,
                        double supply) {
  return engine_fuel_rate(engine, fuel, engine_asked_fuel(engine, speed, throttle, 0.0), supply);
}

static void governor_droops(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  double set = engine.set_speed;
  CHECK_NEAR(fuel_rate(&engine, 1.0, set, 1.0, 1.0), 0.0, 1e-9);
  CHECK_NEAR(fuel_rate(&engine, 1.0, 0.5 * set, 1.0, 1.0), 0.0, 1e-9);
  CHECK_NEAR(fuel_rate(&engine, 0.5, set * (1.0 + 0.5 * engine.droop), 1.0, 1.0), 0.0, 1e-9);
  CHECK_NEAR(fuel_rate(&engine, 0.0, set * (1.0 + engine.droop), 1.0, 1.0), 0.0, 1e-9);
  CHECK_NEAR(fuel_rate(&engine, 0.0, 2.0 * set, 1.0, 1.0), 0.0, 1e-12);
  CHECK_CLOSE(fuel_rate(&engine, 0.25, 0.5 * set, 1.0, 1.0), 0.75 / engine.fuel_lag, 1e-12);
  /* throttle scales the set speed; without supply the fuel fades */
  CHECK_NEAR(fuel_rate(&engine, 0.5, 0.6 * set * (1.0 + 0.5 * engine.droop), 0.6, 1.0), 0.0, 1e-9);
  CHECK_CLOSE(fuel_rate(&engine, 0.5, 0.5 * set, 1.0, 0.0), -0.5 / engine.fuel_lag, 1e-12);
}

static void isochronous_governor_does_not_wind_up(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  engine.governor = ENGINE_ISOCHRONOUS;
  double set = engine.set_speed;
  CHECK_NEAR(engine_asked_fuel(&engine, set, 1.0, 0.4), 0.4, 1e-12);
  CHECK_CLOSE(engine_asked_fuel(&engine, 0.98 * set, 1.0, 0.4), 0.4 + 0.02 * engine.governor_gain, 1e-9);
  assert_true(engine_integral_rate(&engine, set, 1.0, 0.4, 1.0) ==
              0.0); /* at rest at the set speed, whatever the load */
  assert_true(engine_integral_rate(&engine, 0.99 * set, 1.0, 0.5, 1.0) > 0.0);
  /* asked far beyond full: the integral falls although the speed is low */
  assert_true(engine_integral_rate(&engine, 0.99 * set, 1.0, 3.0, 1.0) < 0.0);
  assert_true(engine_integral_rate(&engine, 1.01 * set, 1.0, -3.0, 1.0) > 0.0);
}

static void curves_replace_the_polynomials(void **state) {
  (void)state;
  static const real speeds[] = {100.0, 200.0, 300.0};
  static const real torques[] = {500.0, 700.0, 0.0};
  static const real drags[] = {50.0, 80.0, 120.0};
  DEFAULTS(engine, engine);
  engine.torque_law = ENGINE_TORQUE_CURVE;
  engine.torque_curve = (struct profile){3, speeds, torques, false};
  engine.friction_law = ENGINE_FRICTION_CURVE;
  engine.friction_curve = (struct profile){3, speeds, drags, false};
  CHECK_CLOSE(engine_full_torque(&engine, 150.0), 600.0, 1e-12);
  CHECK_CLOSE(engine_full_torque(&engine, 10.0), 500.0, 1e-12);
  CHECK_CLOSE(engine_friction(&engine, 250.0), 100.0, 1e-12);
  CHECK_CLOSE(engine_friction(&engine, -250.0), -100.0, 1e-12);
}

static void starter_fades_as_the_engine_fires(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  CHECK_CLOSE(engine_starter(&engine, 0.0, 1.0), engine.starter_torque, 1e-12);
  CHECK_CLOSE(engine_starter(&engine, 1.5 * engine.stall_speed, 1.0), 0.5 * engine.starter_torque, 1e-9);
  assert_true(engine_starter(&engine, 2.0 * engine.stall_speed, 1.0) == 0.0);
  assert_true(engine_starter(&engine, 0.0, 0.0) == 0.0);
}

/* What the compression adds to the friction of a slow engine: at rest both come to the crank-over torque, at 5 rad/s
 * half of the addition is left, at working speeds nothing. */
static void compression_holds_a_slow_engine(void **state) {
  (void)state;
  DEFAULTS(engine, engine);
  double friction = engine_friction_size(&engine, 0.0);
  engine.crank_over_torque = friction + 100.0;
  CHECK_CLOSE(engine_compression_hold(&engine, 5.0), 50.0, 1e-12);
  CHECK_CLOSE(engine_compression_hold(&engine, -5.0), -50.0, 1e-12);
  CHECK_CLOSE(engine_compression_hold(&engine, 1.0), 100.0 / 1.04, 1e-12);
  assert_true(engine_compression_hold(&engine, 0.0) == 0.0);
  assert_true(engine_compression_hold(&engine, 200.0) < 0.1);
  engine.crank_over_torque = 0.5 * friction;
  assert_true(engine_compression_hold(&engine, 5.0) == 0.0);
}

static void gear_loses_both_ways(void **state) {
  (void)state;
  DEFAULTS(driveline, driveline);
  struct sampler sampler = {62u};
  for (int i = 0; i < 5000; i++) {
    driveline.efficiency = sample_between(&sampler, 0.1, 1.0);
    driveline.drag_torque = sample_between(&sampler, 0.0, 1000.0);
    driveline.torque_width = sample_decades(&sampler, 1e-3, 1e3);
    double torque = sample_between(&sampler, -5e4, 5e4);
    double speed = sample_between(&sampler, -50.0, 50.0);
    double loss = driveline_loss(&driveline, torque, speed);
    assert_true(loss * speed >= 0.0);
    CHECK_NEAR(driveline_loss(&driveline, torque, -speed), -loss, 0.0);
    CHECK_NEAR(driveline_loss(&driveline, -torque, speed), loss, 0.0);
    /* never more than the torque itself, drag apart */
    assert_true(fabs(loss) <= fabs(torque) * (1.0 - driveline.efficiency) + driveline.drag_torque);
  }
  DEFAULTS(driveline, plain);
  CHECK_CLOSE(driveline_loss(&plain, 2e4, 5.0), 0.06 * 2e4, 2e-3);
  plain.efficiency = 1.0;
  plain.drag_torque = 250.0;
  CHECK_CLOSE(driveline_loss(&plain, 2e4, 5.0), 250.0, 1e-12);
}

static void weight_splits_on_a_slope(void **state) {
  (void)state;
  DEFAULTS(vehicle, vehicle);
  struct sampler sampler = {63u};
  for (int i = 0; i < 500; i++) {
    double grade = sample_between(&sampler, -1.5, 1.5);
    struct vehicle_weight weight = vehicle_weight_on(&vehicle, vehicle.mass, grade);
    CHECK_CLOSE(hypot(weight.load, weight.slope), vehicle.mass * vehicle.gravity, 1e-13);
    CHECK_CLOSE(weight.slope / weight.load, grade, 1e-13);
    assert_true(weight.load > 0.0);
  }
}

static void loads_shift_between_axles(void **state) {
  (void)state;
  DEFAULTS(vehicle, vehicle);
  double load = vehicle.mass * vehicle.gravity;
  CHECK_CLOSE(vehicle_rear_load(&vehicle, vehicle.mass, load, 0.0, 0.0, 0.0), vehicle.rear_share * load, 1e-12);
  /* moments about the front contact: h (slope + m a) + h_d F = L (rear - share N) */
  double rear = vehicle_rear_load(&vehicle, vehicle.mass, load, 0.1 * load, 0.5, 5e3);
  double moment = vehicle.gravity_height * (0.1 * load + vehicle.mass * 0.5) + vehicle.drawbar_height * 5e3;
  CHECK_CLOSE((rear - vehicle.rear_share * load) * vehicle.wheelbase, moment, 1e-12);
  /* never below nothing, never above all */
  CHECK_CLOSE(vehicle_rear_load(&vehicle, vehicle.mass, load, 0.0, 50.0, 0.0), load, 1e-12);
  assert_true(vehicle_rear_load(&vehicle, vehicle.mass, load, 0.0, -50.0, 0.0) == 0.0);
}

static void drawbar_opposes_motion(void **state) {
  (void)state;
  DEFAULTS(vehicle, vehicle);
  vehicle.dragged_mass = 3000.0;
  vehicle.draft = 8e3;
  double cosine = 1.0 / sqrt(1.0 + 0.2 * 0.2);
  CHECK_CLOSE(vehicle_drawbar_friction(&vehicle, 0.2, 0.5, 2.0),
              vehicle.drag_friction * 3000.0 * vehicle.gravity * cosine + 4e3, 1e-12);
  CHECK_NEAR(vehicle_drawbar_friction(&vehicle, 0.2, 0.5, -2.0), -vehicle_drawbar_friction(&vehicle, 0.2, 0.5, 2.0),
             0.0);
  assert_true(vehicle_drawbar_friction(&vehicle, 0.2, 0.5, 0.0) == 0.0);
  /* The least draft is a draft, and without draft or load there is none. */
  vehicle.dragged_mass = 0.0;
  static const double drafts[] = {0.5, 1.0, 2.0, 0.0};
  for (int i = 0; i < 4; i++) {
    vehicle.draft = drafts[i];
    CHECK_CLOSE(vehicle_drawbar_friction(&vehicle, 0.2, 1.0, 2.0), drafts[i], 1e-12);
  }
}

/* Loop and tank alone: `flow` W/K goes once round. */
static struct heat_streams round_flow(double losses, double flow) {
  struct heat_streams streams = {.per_volume = 1.0, .make_up = flow, .outflow = flow, .charge = flow};
  streams.loop_losses = losses;
  return streams;
}

static double two_node_loop(const struct heat_parameters *heat, double losses, double flow, double loop, double tank) {
  struct heat_streams streams = round_flow(losses, flow);
  struct heat_nodes_at at = {loop, loop, tank, tank, tank};
  return heat_loop_rate(heat, &streams, &at);
}

static double two_node_tank(const struct heat_parameters *heat, double losses, double flow, double loop, double tank,
                            double cooler) {
  struct heat_streams streams = round_flow(0.0, flow);
  streams.return_losses = losses;
  struct heat_nodes_at at = {loop, loop, tank, tank, tank};
  return heat_tank_rate(heat, &streams, &at, false, cooler);
}

static void temperatures_balance(void **state) {
  (void)state;
  DEFAULTS(heat, heat);
  heat.nodes = HEAT_TWO_NODES;
  double cooler = heat_cooler(&heat, 200.0, 0.0);
  CHECK_CLOSE(cooler, heat.cooler, 1e-15);
  /* nothing happens when all is at ambient temperature */
  CHECK_NEAR(two_node_loop(&heat, 0.0, 100.0, heat.ambient, heat.ambient), 0.0, 1e-15);
  CHECK_NEAR(two_node_tank(&heat, 0.0, 100.0, heat.ambient, heat.ambient, cooler), 0.0, 1e-15);
  CHECK_CLOSE(two_node_loop(&heat, 6e4, 0.0, heat.ambient, heat.ambient), 1.0, 1e-12);
  CHECK_CLOSE(two_node_tank(&heat, 165e3, 0.0, heat.ambient, heat.ambient, cooler), 1.0, 1e-12);
  /* exchange by flow: what one node loses the other gains */
  double loop = two_node_loop(&heat, 0.0, 500.0, 350.0, 320.0) * heat.loop_capacity +
                heat.loop_to_ambient * (350.0 - heat.ambient);
  double tank = two_node_tank(&heat, 0.0, 500.0, 350.0, 320.0, cooler) * heat.tank_capacity +
                heat.tank_to_ambient * (320.0 - heat.ambient);
  CHECK_CLOSE(tank, -loop, 1e-12);
  /* thermostat: shut, half, open */
  double cold = two_node_tank(&heat, 0.0, 0.0, 320.0, heat.thermostat_begin, cooler);
  CHECK_CLOSE(cold * heat.tank_capacity, -heat.tank_to_ambient * (heat.thermostat_begin - heat.ambient), 1e-12);
  double half = 0.5 * (heat.thermostat_begin + heat.thermostat_open);
  CHECK_CLOSE(two_node_tank(&heat, 0.0, 0.0, 320.0, half, cooler) * heat.tank_capacity,
              -(heat.tank_to_ambient + 0.5 * heat.cooler) * (half - heat.ambient), 1e-12);
  CHECK_CLOSE(two_node_tank(&heat, 0.0, 0.0, 320.0, 370.0, cooler) * heat.tank_capacity,
              -(heat.tank_to_ambient + heat.cooler) * (370.0 - heat.ambient), 1e-12);
}

static void cooler_follows_fan_dirt_and_fault(void **state) {
  (void)state;
  static const real speeds[] = {0.0, 200.0};
  static const real shares[] = {0.2, 1.0};
  DEFAULTS(heat, heat);
  heat.cooler_fouling = 0.25;
  CHECK_CLOSE(heat_cooler(&heat, 0.0, 0.0), 0.75 * heat.cooler, 1e-12);
  heat.fan_curve = (struct profile){2, speeds, shares, false};
  CHECK_CLOSE(heat_cooler(&heat, 100.0, 0.0), 0.75 * 0.6 * heat.cooler, 1e-12);
  assert_true(heat_cooler(&heat, 100.0, 1.0) == 0.0);
}

/* Whatever flows where and either way: the sum of what the nodes hold changes only by losses and the air, and by the
 * oil that a node holds more or less of, at its own temperature. */
static void streams_make_no_heat(void **state) {
  (void)state;
  struct sampler sampler = {64u};
  for (int i = 0; i < 400; i++) {
    DEFAULTS(heat, heat);
    heat.nodes = i % 2 == 0 ? HEAT_FOUR_NODES : HEAT_TWO_NODES;
    bool four = heat.nodes == HEAT_FOUR_NODES;
    bool gallery_has_heat = four || i % 4 == 1;
    struct heat_nodes_at at;
    at.loop = sample_between(&sampler, 280.0, 380.0);
    at.tank = sample_between(&sampler, 280.0, 320.0);
    at.metal = four ? sample_between(&sampler, 280.0, 380.0) : at.loop;
    at.cases = four ? sample_between(&sampler, 280.0, 380.0) : at.tank;
    at.gallery = gallery_has_heat ? sample_between(&sampler, 280.0, 380.0) : at.tank;
    struct heat_streams s = {.per_volume = 1.7e6};
    double *flows[] = {&s.make_up, &s.outflow, &s.charge, &s.spill};
    for (int k = 0; k < 4; k++) {
      *flows[k] = sample_between(&sampler, -1e-3, 1e-3);
    }
    s.drain = i % 5 == 0 ? sample_between(&sampler, -1e-3, 1e-3) : s.outflow + s.spill; /* what the cases keep */
    s.make_up = fabs(s.make_up); /* check valves pass nothing back */
    bool to_gallery = gallery_has_heat && i % 3 == 0;
    s.relieved = to_gallery ? sample_between(&sampler, 0.0, 1e-3) : 0.0;
    s.relieved_back = to_gallery ? sample_between(&sampler, 0.0, 1e-3) : 0.0;
    s.loop_losses = sample_between(&sampler, 0.0, 1e5);
    s.charge_losses = sample_between(&sampler, 0.0, 1e4);
    s.spill_losses = sample_between(&sampler, 0.0, 1e4);
    s.return_losses = sample_between(&sampler, 0.0, 1e4);

    double held = heat_loop_rate(&heat, &s, &at) * (four ? heat.loop_oil_capacity : heat.loop_capacity) +
                  heat_tank_rate(&heat, &s, &at, gallery_has_heat, 0.0) * heat.tank_capacity;
    if (four) {
      held += heat_metal_rate(&heat, &at) * (heat.loop_capacity - heat.loop_oil_capacity) +
              heat_case_rate(&heat, &s, &at) * heat.case_capacity;
    }
    if (gallery_has_heat) {
      held += heat_gallery_rate(&heat, &s, &at) * heat.gallery_capacity;
    }
    double loop_gains = s.make_up - s.outflow - s.relieved + s.relieved_back;
    double gallery_gains = s.charge + s.relieved - s.relieved_back - s.make_up - s.spill;
    double case_gains = s.outflow + s.spill - s.drain;
    double tank_gains = s.drain - s.charge;
    double made = s.loop_losses + s.charge_losses + s.spill_losses + s.return_losses;
    double moved = s.per_volume *
                   (loop_gains * at.loop + case_gains * at.cases + gallery_gains * at.gallery + tank_gains * at.tank);
    CHECK_NEAR(held + moved, made - heat_to_air(&heat, &at), 1e-6);
  }
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(torque_is_a_parabola),
      cmocka_unit_test(friction_opposes_rotation),
      cmocka_unit_test(a_motored_engine_makes_what_fuel_gives),
      cmocka_unit_test(governor_droops),
      cmocka_unit_test(isochronous_governor_does_not_wind_up),
      cmocka_unit_test(curves_replace_the_polynomials),
      cmocka_unit_test(starter_fades_as_the_engine_fires),
      cmocka_unit_test(compression_holds_a_slow_engine),
      cmocka_unit_test(gear_loses_both_ways),
      cmocka_unit_test(weight_splits_on_a_slope),
      cmocka_unit_test(loads_shift_between_axles),
      cmocka_unit_test(drawbar_opposes_motion),
      cmocka_unit_test(temperatures_balance),
      cmocka_unit_test(cooler_follows_fan_dirt_and_fault),
      cmocka_unit_test(streams_make_no_heat),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
