/* Hoses, drain lines, choked checks: pressure lost in pipes against handbooks, worked examples and a maker's chart. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "bench.h"
#include "charge.h"
#include "component.h"
#include "pipe.h"
#include "rows.h"
#include "volume.h"

/* A straight pipe without couplings. */
static struct pipe_parameters straight(double length, double bore, double roughness) {
  DEFAULTS(pipe, pipe);
  pipe.length = length;
  pipe.bore = bore;
  pipe.roughness = roughness;
  pipe.minor_loss = 0.0;
  return pipe;
}

/* Friction factor (Darcy) back from the drop of a straight pipe of 1 m bore. */
static double darcy(double reynolds, double roughness) {
  struct pipe_parameters pipe = straight(1.0, 1.0, roughness);
  double viscosity = 0.01;
  double speed = reynolds * viscosity / 1000.0;
  return pipe_drop(&pipe, speed * pipe_area(&pipe), viscosity, 1000.0) / (0.5 * 1000.0 * speed * speed);
}

static double manual_example(double none) {
  (void)none;
  return darcy(4e5, 0.004);
}

static double goal_seek_example(double none) {
  (void)none;
  return darcy(6000.0, 5e-5 / 0.0254);
}

static double documented(double roughness) {
  return darcy(2118517.0, roughness);
}

static double blasius(double reynolds) {
  return darcy(reynolds, 0.0) / (0.3164 / pow(reynolds, 0.25));
}

/* Against Prandtl and Karman's rough pipe, 1/sqrt(f) = 2 log10(3.7 d/e). */
static double wholly_rough(double roughness) {
  double root = 2.0 * log10(3.7 / roughness);
  return darcy(1e9, roughness) * root * root;
}

static double p2_11(double metric) {
  struct pipe_parameters pipe = metric > 0.0 ? straight(1.0, 0.05, 0.0) : straight(1.0, INCH, 0.0);
  double nu = metric > 0.0 ? 0.001 : 100e-6;
  double speed = metric > 0.0 ? 5.0 : 10.0 * FOOT;
  double drop = pipe_drop(&pipe, speed * pipe_area(&pipe), 900.0 * nu, 900.0);
  return 64.0 * 0.5 * 900.0 * speed * speed / (drop * pipe.bore); /* f = 64/Re */
}

static double p2_12(double none) {
  (void)none;
  struct pipe_parameters pipe = straight(50.0, 0.05, 0.0);
  double density = 8800.0 / 9.81;
  return pipe_drop(&pipe, 5.0 * pipe_area(&pipe), 0.001 * density, density) / BAR;
}

/* A maker's chart: hoses of 10 ft, oil of 20 mm2/s and 850 kg/m3; flow and bore in gal/min and 1/16 in. */
static double chart(double flow_and_bore) {
  double flow = floor(flow_and_bore);
  double bore = 100.0 * (flow_and_bore - flow);
  struct pipe_parameters hose = straight(10.0 * FOOT, bore / 16.0 * INCH, 0.0);
  return pipe_drop(&hose, flow * GALLON / 60.0, 850.0 * 20e-6, 850.0) / PSI;
}

/* 5 m of 25 mm at 262 L/min, oil of grade 46. */
static double reviewed(double viscosity) {
  struct pipe_parameters hose = straight(5.0, 0.025, 0.0);
  return pipe_drop(&hose, 262.0 * LITRE_PER_MINUTE, 870.0 * viscosity, 870.0) / BAR;
}

/* A check valve from 25 bar into a line at no pressure, over the flow at the drop that chokes it. */
static double choked(double recovery) {
  DEFAULTS(charge, charge);
  charge.check_recovery = recovery;
  double gallery = 25e5;
  double choke = check_valve_choke(&charge, gallery, 0.0);
  double open = check_valve_flow(&charge, 10e5, HUGE_VAL);
  return check_valve_flow(&charge, gallery, choke) / (open * sqrt(gallery / 10e5));
}

/* Cases that are drained, everything at rest but the charge pump: the case pressure settles at the drop of the drain
 * line at the charge flow (laminar), here over Poiseuille's. */
static double drained(double bore) {
  char text[512];
  (void)snprintf(text, sizeof text,
                 "fluid: {viscosity_at_40: 40 mm2/s, viscosity_at_100: 40 mm2/s}\n"
                 "lines: {cases: drained}\ndrain: {length: 4 m, bore: %g mm, minor_loss: 0}\n"
                 "charge: {relief_setting: 20 bar}\n",
                 1e3 * bore);
  struct bench *bench = bench_open(text);
  bench_run(bench, 3.0);
  double flow = bench_signal(bench, "charge_flow");
  double settles = bench_signal(bench, "case_pressure");
  bench_close(bench);
  return settles / (128.0 * 870.0 * 40e-6 * 4.0 * flow / (REAL_PI * pow(bore, 4.0)));
}

/* A tank below its reserve is emptied by the charge pump as any vessel from which so much flows as it holds: level over
 * the level at first, over e^(-t/T), T the reserve over what the pump displaces. */
static double emptied(double seconds) {
  DEFAULTS(lines, lines);
  lines.tank_volume = 0.02;
  lines.tank_reserve = 0.5;
  double displaced = 1e-3;
  double oil = 0.01;
  enum { STEPS = 20000 };
  double step = seconds / STEPS;
  for (int i = 0; i < STEPS; i++) {
    double half = oil - 0.5 * step * displaced * lines_tank_filling(&lines, oil);
    oil -= step * displaced * lines_tank_filling(&lines, half);
  }
  return oil / (0.01 * exp(-seconds * displaced / 0.01));
}

static const struct row rows[] = {
    {"P2.11", "hoses", "Reynolds number, from the laminar drop: 10 ft/s, 1 in, 100 mm2/s", "", 774.0, 1e-3, RELATIVE,
     "A. Esposito, Ex. 4-1, p. 132", PUBLISHED, p2_11, 0.0, NULL},
    {"P2.11", "hoses", "Reynolds number, from the laminar drop: 5 m/s, 50 mm, 0.001 m2/s", "", 250.0, 1e-9, RELATIVE,
     "A. Esposito, Ex. 4-2, p. 132", PUBLISHED, p2_11, 1.0, NULL},
    {"P2.12", "hoses", "laminar line: 50 m of 50 mm, 5 m/s, 0.001 m2/s, 8800 N/m3", "bar", 28.7, 3e-3, RELATIVE,
     "A. Esposito, Ex. 4-4", PUBLISHED, p2_12, 0.0, NULL},
    {"H1", "hoses", "friction factor at Re 400 000, roughness 0.004 of the bore", "", 0.0287, 5e-3, RELATIVE,
     "M. R. Lindeburg, Ex. 17.2, as quoted in the vignette of a public statistics package", PUBLISHED, manual_example,
     0.0, NULL},
    {"H2", "hoses", "friction factor at Re 6000, roughness 0.05 mm in 25.4 mm (Colebrook, solved)", "", 0.0375, 3e-2,
     RELATIVE, "worked example quoted in the same vignette", PUBLISHED, goal_seek_example, 0.0, NULL},
    {"H3", "hoses", "friction factor at Re 2 118 517, roughness 1e-6 of the bore (Buzzelli's form of Colebrook)", "",
     0.01031468, 1e-2, RELATIVE, "D. Buzzelli, Machine Design 80 (2008) 54, example in a public package's manual",
     PUBLISHED, documented, 1e-6, NULL},
    {"H3", "hoses", "the same with roughness 0.007", "", 0.03375076, 1e-2, RELATIVE,
     "D. Buzzelli, Machine Design 80 (2008) 54, example in a public package's manual", PUBLISHED, documented, 7e-3,
     NULL},
    {"H4", "hoses", "smooth pipe at Re 10 000 over Blasius, 0.3164/Re^0.25", "", 1.0, 3e-2, RELATIVE, "H. Blasius 1913",
     FROM_MEMORY, blasius, 1e4, NULL},
    {"H4", "hoses", "smooth pipe at Re 50 000 over Blasius", "", 1.0, 3e-2, RELATIVE, "H. Blasius 1913", FROM_MEMORY,
     blasius, 5e4, NULL},
    {"H5", "hoses", "wholly rough pipe (0.01 of the bore) over Karman's law, 1/sqrt(f) = 2 log10(3.7 d/e)", "", 1.0,
     1e-2, RELATIVE, "T. von Karman 1930", FROM_MEMORY, wholly_rough, 0.01, NULL},
    {"H6", "hoses", "hose of 10 ft, 20 mm2/s: 50 gal/min through 3/4 in", "psi", 36.0, 0.1, RELATIVE,
     "chart in a maker's public catalogue", PUBLISHED, chart, 50.12, NULL},
    {"H6", "hoses", "hose of 10 ft, 20 mm2/s: 50 gal/min through 1 in", "psi", 9.0, 0.1, RELATIVE,
     "chart in a maker's public catalogue", PUBLISHED, chart, 50.16, NULL},
    {"H6", "hoses", "hose of 10 ft, 20 mm2/s: 100 gal/min through 1 in", "psi", 33.0, 0.1, RELATIVE,
     "chart in a maker's public catalogue", PUBLISHED, chart, 100.16, NULL},
    {"H6", "hoses", "hose of 10 ft, 20 mm2/s: 100 gal/min through 1 1/4 in", "psi", 12.0, 0.1, RELATIVE,
     "chart in a maker's public catalogue", PUBLISHED, chart, 100.20, NULL},
    {"H6", "hoses", "hose of 10 ft, 20 mm2/s: 10 gal/min through 1/2 in (Re 3200)", "psi", 15.0, 0.1, RELATIVE,
     "chart in a maker's public catalogue", PUBLISHED, chart, 10.08, NULL},
    {"H7", "hoses", "5 m of 25 mm at 262 L/min, grade 46 at 80 degC", "bar", 2.0, 0.15, RELATIVE,
     "reckoned by a reviewer outside the program", CLOSED_FORM, reviewed, 11.103e-6, NULL},
    {"H7", "hoses", "5 m of 25 mm at 262 L/min, grade 46 at -10 degC", "bar", 29.0, 2e-2, RELATIVE,
     "reckoned by a reviewer outside the program", CLOSED_FORM, reviewed, 1474.3e-6, NULL},
    {"H8", "hoses", "check valve, recovery factor 0.9: choked flow over that of the whole drop", "", 0.9, 1e-9,
     RELATIVE, "IEC 60534-2-1: choked drop F_L^2 (p_1 - F_F p_v)", FROM_MEMORY, choked, 0.9, NULL},
    {"H9", "hoses", "drained cases at rest: case pressure over Poiseuille's drop, 4 m of 16 mm", "", 1.0, 2e-3,
     RELATIVE, "laminar flow in a tube", CLOSED_FORM, drained, 0.016, NULL},
    {"H9", "hoses", "the same, 4 m of 25 mm", "", 1.0, 2e-3, RELATIVE, "laminar flow in a tube", CLOSED_FORM, drained,
     0.025, NULL},
    {"H10", "hoses", "tank below its reserve, emptied for three time constants, over e^-3", "", 1.0, 1e-6, RELATIVE,
     "exponential decay", CLOSED_FORM, emptied, 30.0, NULL},
};

ROWS_MAIN(rows)
