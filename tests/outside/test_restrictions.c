/* Section 2 of the outside checks: restrictions and gaps. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "charge.h"
#include "component.h"
#include "fault.h"
#include "flushing.h"
#include "relief.h"
#include "rotary.h"
#include "rows.h"

/* A burst hose is a sharp-edged orifice. */
static double orifice_flow(double discharge, double diameter, double density, double drop) {
  DEFAULTS(fault, fault);
  fault.burst_discharge = discharge;
  fault.burst_area = 0.25 * REAL_PI * diameter * diameter;
  return fault_burst_flow(&fault, 1.0, drop, density);
}

static double p2_1(double none) {
  (void)none;
  return orifice_flow(0.80, INCH, 0.9 * 999.0, 100.0 * PSI) * 60.0 / GALLON;
}

/* The check valve's coefficient from one point (25 gal/min at 100 psi), read back at 400 psi. */
static double p2_2(double none) {
  (void)none;
  DEFAULTS(charge, charge);
  charge.check_crack = 0.0;
  charge.check_open = 1.0;
  charge.check_flow = 2.5 * GALLON / 60.0 / sqrt(PSI);
  return check_valve_flow(&charge, 400.0 * PSI, HUGE_VAL) / sqrt(400.0 / 0.9) * 60.0 / GALLON;
}

static double p2_3(double none) {
  (void)none;
  /* D = 0.23 sqrt(Q/sqrt(dp)) solved for Q against the orifice with 0.63, 1/2 inch, 200 psi, water */
  double rule = (0.5 / 0.23) * (0.5 / 0.23) * sqrt(200.0);
  return orifice_flow(0.63, 0.5 * INCH, 999.0, 200.0 * PSI) * 60.0 / GALLON / rule;
}

/* Largest violation of oddness, of growth and of finiteness over +-[1e-3, 4e7] Pa. */
static double p2_7(double none) {
  (void)none;
  DEFAULTS(relief, relief);
  struct rotary_losses gap = {.displacement = 2e-5, .slip = 2.5e-9, .case_leak = 1e-9};
  double worst = 0.0;
  double before_relief = 0.0;
  double before_slip = 0.0;
  for (int i = 0; i <= 1000; i++) {
    double drop = 1e-3 * pow(4e10, i / 1000.0);
    double relief_now = relief_first_order_flow(&relief, 10e5, drop);
    double slip_now = rotary_slip_flow(&gap, drop, 0.02);
    worst = fmax(worst, fabs(relief_first_order_flow(&relief, 10e5, -drop) / relief_now + 1.0));
    worst = fmax(worst, fabs(rotary_slip_flow(&gap, -drop, 0.02) / slip_now + 1.0));
    worst = relief_now > before_relief && slip_now > before_slip && isfinite(relief_now) ? worst : 1.0;
    before_relief = relief_now;
    before_slip = slip_now;
  }
  return fmax(worst, fabs(relief_first_order_flow(&relief, 10e5, 0.0)) + fabs(rotary_slip_flow(&gap, 0.0, 0.02)));
}

/* Check and flushing valves pass one way only: flow at any drop against them. */
static double p2_7_one_way(double none) {
  (void)none;
  DEFAULTS(charge, charge);
  DEFAULTS(flushing, flushing);
  double sum = 0.0;
  for (int i = 0; i <= 1000; i++) {
    double drop = -1e-3 * pow(4e10, i / 1000.0);
    sum += fabs(check_valve_flow(&charge, drop, HUGE_VAL)) + fabs(flushing_flow(&flushing, 1.0, drop));
  }
  return sum;
}

static const struct row rows[] = {
    {"P2.1", "orifices", "1 in, coefficient 0.80, 100 psi, SG 0.9 (published 252)", "gal/min", 252.0, 5e-3, RELATIVE,
     "A. Esposito, Ex. 8-4, p. 302", PUBLISHED, p2_1, 0.0, NULL},
    {"P2.2", "orifices", "flow coefficient: 25 gal/min at 100 psi, SG 0.9, read at 400 psi", "gpm/psi^0.5", 2.37, 5e-3,
     RELATIVE, "A. Esposito, Ex. 8-5, p. 304", PUBLISHED, p2_2, 0.0, NULL},
    {"P2.3", "orifices", "orifice of 0.63 over the shop rule D[in] = 0.23 sqrt(Q[gal/min]/sqrt(dp[psi]))", "", 1.0,
     1e-2, RELATIVE, "public orifice-sizing sheet", PUBLISHED, p2_3, 0.0, NULL},
    {"P2.7", "orifices", "relief valve and leakage: violation of oddness or growth over 1e-3 to 4e7 Pa", "", 0.0, 1e-12,
     ABSOLUTE, "structure", CLOSED_FORM, p2_7, 0.0, NULL},
    {"P2.7", "orifices", "check and flushing valves: flow against their sense", "m3/s", 0.0, 0.0, ABSOLUTE, "structure",
     CLOSED_FORM, p2_7_one_way, 0.0, NULL},
};

ROWS_MAIN(rows)
