/* Section 8 of the outside checks: heat. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "component.h"
#include "filter.h"
#include "heat.h"
#include "rows.h"

#define BTU 1055.05585262

static double from_fahrenheit(double degrees) {
  return (degrees - 32.0) / 1.8 + 273.15;
}

static double to_fahrenheit(double kelvin) {
  return (kelvin - 273.15) * 1.8 + 32.0;
}

/* Oil enters the loop at `inlet`, is throttled by `drop` and leaves: the loop's settled temperature. */
static double throttled(double drop, double density, double specific_heat, double inlet) {
  DEFAULTS(heat, heat);
  heat.nodes = HEAT_TWO_NODES;
  heat.loop_to_ambient = 0.0;
  const double flow = 1e-3;
  struct heat_streams streams = {.per_volume = density * specific_heat, .make_up = flow, .outflow = flow};
  streams.loop_losses = flow * drop;
  double low = inlet;
  double high = inlet + 1000.0;
  while (high - low > 1e-10) {
    double middle = 0.5 * (low + high);
    struct heat_nodes_at at = {middle, middle, inlet, inlet, inlet};
    if (heat_loop_rate(&heat, &streams, &at) > 0.0) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return high;
}

static double p8_1(double none) {
  (void)none;
  double density = 7.42 * POUND / GALLON;
  double specific_heat = 0.42 * BTU / POUND * 1.8;
  return to_fahrenheit(throttled(1000.0 * PSI, density, specific_heat, from_fahrenheit(120.0)));
}

static double p8_2(double none) {
  (void)none;
  return throttled(70.0 * BAR, 895.0, 1800.0, 323.15) - 273.15;
}

static double p8_3(double none) {
  (void)none;
  return throttled(400.0 * BAR, 870.0, 1900.0, 333.15) - 333.15;
}

/* Power of a relief valve that holds 1 psi at 1 gal/min, by the ledger of the valve rig. */
static double p8_5(double none) {
  (void)none;
  struct bench *bench = bench_open("circuit: valve_rig\nrig: {case_pressure: 0 bar, start_pressure: 0 bar}\n");
  double flow = GALLON / 60.0;
  *bench_parameter(bench, "rig", "feed_flow") = flow;
  *bench_parameter(bench, "relief", "flow_width") = 1e-6;
  *bench_parameter(bench, "relief", "gradient") = 1e3 * flow / PSI;
  *bench_parameter(bench, "relief", "setting") = PSI - 1e-3 * PSI;
  bench_ready(bench);
  bench_run(bench, 5.0);
  double power = bench_power(bench, "relief_a") * 3600.0 / BTU;
  bench_close(bench);
  return power;
}

static double p8_6(double none) {
  (void)none;
  DEFAULTS(fluid, parameters);
  struct fluid oil;
  fluid_prepare(&parameters, &oil);
  return 1e-6 * oil.heat_per_volume;
}

static double p8_7(double none) {
  (void)none;
  struct bench *bench = bench_open("simulation: {end_time: 1 s}\n");
  double surface = 6.0 * pow(*bench_parameter(bench, "lines", "tank_volume"), 2.0 / 3.0);
  double conductance = *bench_parameter(bench, "heat", "tank_to_ambient");
  bench_close(bench);
  return conductance / surface;
}

static double p8_8(double none) {
  (void)none;
  DEFAULTS(fluid, oil);
  return oil.specific_heat;
}

/* ---- the two nodes through the integrator ---- */

struct nodes {
  struct heat_parameters heat;
  double loop_losses, tank_losses, exchange;
};

static void node_rates(void *context, double t, const double *state, double *rates) {
  const struct nodes *nodes = context;
  (void)t;
  struct heat_nodes_at at = {state[0], state[0], state[1], state[1], state[1]};
  struct heat_streams streams = {.per_volume = 1.0, .make_up = nodes->exchange, .outflow = nodes->exchange};
  streams.loop_losses = nodes->loop_losses;
  streams.return_losses = nodes->tank_losses;
  rates[0] = heat_loop_rate(&nodes->heat, &streams, &at);
  rates[1] = heat_tank_rate(&nodes->heat, &streams, &at, false, heat_cooler(&nodes->heat, 0.0, 0.0));
}

/* Temperatures of loop and tank at `end`, from ambient. */
static bool warm_up(struct nodes *nodes, double end, double *state) {
  const double tolerances[] = {1e-9, 1e-9};
  static const char *const names[] = {"loop", "tank"};
  struct integrator_problem problem = {.state_count = 2,
                                       .context = nodes,
                                       .rates = node_rates,
                                       .tolerances = tolerances,
                                       .state_names = names,
                                       .relative_tolerance = 1e-11,
                                       .nonlinear_tolerance = 0.01,
                                       .largest_order = 5,
                                       .integral_tolerance = 1.0,
                                       .largest_step = 1e6};
  struct error error = {0};
  double none = 0.0;
  state[0] = state[1] = nodes->heat.ambient;
  struct integrator *integrator = integrator_new(&problem, &error);
  bool going = integrator != NULL && integrator_start(integrator, 0.0, state, &none, &error);
  while (going && integrator_time(integrator) < end) {
    going = integrator_step(integrator, end, &error);
  }
  if (going) {
    integrator_state_at(integrator, end, state);
  }
  integrator_free(integrator);
  return going;
}

static double p8_9(double end) {
  DEFAULTS(heat, heat);
  heat.nodes = HEAT_TWO_NODES;
  struct nodes nodes = {heat, 0.0, 3e3, 0.0};
  nodes.heat.ambient = 303.15;
  nodes.heat.tank_capacity = 112980.0;
  nodes.heat.tank_to_ambient = 15.0;
  nodes.heat.cooler = 0.0;
  double state[2];
  return warm_up(&nodes, end, state) ? state[1] - 273.15 : NAN;
}

static double p8_9_tau(double none) {
  (void)none;
  double rise = p8_9(1200.0) - 30.0;
  return -1200.0 / log(1.0 - rise / 200.0);
}

enum { LOOP, TANK };

static double p8_10(double which) {
  DEFAULTS(heat, heat);
  heat.nodes = HEAT_TWO_NODES;
  struct nodes nodes = {heat, 15e3, 0.0, 870.0 * 1900.0 * 18.0 * LITRE_PER_MINUTE};
  nodes.heat.ambient = 303.15;
  nodes.heat.loop_to_ambient = 0.0;
  nodes.heat.tank_to_ambient = 15.0;
  nodes.heat.cooler = 400.0;
  double state[2];
  return warm_up(&nodes, 1e5, state) ? state[which == LOOP ? 0 : 1] - 273.15 : NAN;
}

/* ---- filter ---- */

/* Drop with viscosity and flow doubled over the drop before, bypass shut. */
static double p8_16(double none) {
  (void)none;
  DEFAULTS(filter, filter);
  filter.clean_drop = 0.3e5;
  double resistance = filter_resistance(&filter, 870.0, 0.0);
  return filter_drop(&filter, resistance, 0.040, 1e-3) / filter_drop(&filter, resistance, 0.020, 0.5e-3);
}

/* Share that goes by the filter just below (argument 0) and above the bypass's cracking. */
static double p8_16_bypass(double above) {
  DEFAULTS(filter, filter);
  filter.clean_drop = 0.3e5;
  double resistance = filter_resistance(&filter, 870.0, 0.0);
  double crack = filter.bypass_crack / (resistance * 0.5);
  double flow = crack * (above > 0.0 ? 1.01 : 0.99);
  return filter_bypass_share(&filter, filter_drop(&filter, resistance, 0.5, flow), flow);
}

#define ISO3968 "ISO 3968 practice"
#define ESPOSITO(place) "A. Esposito, Fluid Power with Applications, " place

static const struct row rows[] = {
    {"P8.1", "heat", "oil of 120 degF throttled by 1000 psi", "degF", 127.9, 0.1, ABSOLUTE,
     ESPOSITO("Ex. 11-2, p. 424"), PUBLISHED, p8_1, 0.0, NULL},
    {"P8.2", "heat", "oil of 50 degC throttled by 70 bar", "degC", 54.3, 0.05, ABSOLUTE, ESPOSITO("Ex. 11-3, p. 424"),
     PUBLISHED, p8_2, 0.0, NULL},
    {"P8.3", "heat", "rise over a relief valve at 400 bar, oil taken as incompressible", "K", 24.198, 1e-4, RELATIVE,
     "dp/(rho c)", CLOSED_FORM, p8_3, 0.0, NULL},
    {"P8.5", "heat", "1 psi times 1 gal/min (rule: 1.5)", "Btu/h", 1.4843, 1e-4, RELATIVE, "public formula sheet",
     CLOSED_FORM, p8_5, 0.0, NULL},
    {"P8.6", "heat", "default heat by volume, within 10 % of 1.6 to 1.77", "MJ/(m3 K)", 1.44, 1.947, BETWEEN,
     "public thermal formula sheet", PUBLISHED, p8_6, 0.0, NULL},
    {"P8.7", "heat", "default tank to air over the surface of a cube of its volume", "W/(m2 K)", 5.8, 14.45, BETWEEN,
     "public formula sheets", PUBLISHED, p8_7, 0.0, NULL},
    {"P8.8", "heat", "default heat capacity of the oil", "J/(kg K)", 1670.0, 1966.0, BETWEEN, "public lubricant tables",
     PUBLISHED, p8_8, 0.0, NULL},
    {"P8.9", "heat", "tank of 112 980 J/K, 15 W/K, 3 kW from 30 degC: after 20 min", "degC", 59.455, 1e-4, RELATIVE,
     "closed form", CLOSED_FORM, p8_9, 1200.0, NULL},
    {"P8.9", "heat", "its time constant", "s", 7532.0, 1e-4, RELATIVE, "closed form", CLOSED_FORM, p8_9_tau, 0.0, NULL},
    {"P8.10", "heat", "15 kW in the loop, 18 L/min, cooler 400 and tank 15 W/K, 30 degC: tank", "degC", 66.145, 1e-4,
     RELATIVE, "two nodes, closed form", CLOSED_FORM, p8_10, TANK, NULL},
    {"P8.10", "heat", "loop", "degC", 96.393, 1e-4, RELATIVE, "two nodes, closed form", CLOSED_FORM, p8_10, LOOP, NULL},
    {"P8.16", "filter", "viscosity and flow doubled: drop over the drop before", "", 4.0, 1e-12, RELATIVE, ISO3968,
     FROM_MEMORY, p8_16, 0.0, NULL},
    {"P8.16", "filter", "share by the bypass 1 % below its cracking", "", 0.0, 0.0, ABSOLUTE, ISO3968, FROM_MEMORY,
     p8_16_bypass, 0.0, NULL},
    {"P8.16", "filter", "1 % above", "", 1e-4, 0.01, BETWEEN, ISO3968, FROM_MEMORY, p8_16_bypass, 1.0, NULL},
};

ROWS_MAIN(rows)
