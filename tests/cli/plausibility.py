#!/usr/bin/env python3
"""What may be and is seldom meant is told, by every rule of the program, and by none of the shipped cases without need."""
import glob
import json
import os
import re
import sys
import unittest

sys.dont_write_bytecode = True
from _program import ROOT, Folder, need_program  # noqa: E402

CASES = os.path.join(ROOT, "cases")
CLIMB = os.path.join(CASES, "climb.yaml")
CREEP = os.path.join(CASES, "creep.yaml")
STALL = os.path.join(CASES, "stall.yaml")

# The warnings of shipped cases, each deserved: the case asks what thick oil does, beyond the validity of its losses.
DESERVED = {"cold_hoses.yaml": ["oil_thick"], "cold_start.yaml": ["oil_thick"]}

ACCELERATOR = ["operator.forward_pedal=none", "operator.layout=accelerator_and_direction"]
DRIVER = ["operator.forward_pedal=none", "driver.drives=yes", "course.to=[[1, 100 m]]", "driver.top_speed=20 km/h"]

# Each rule, and what makes the climb case break it; a list: further lines of the case.
RULES = {
    "limiter_above_relief": ["relief.setting=380 bar"],
    "override_above_limiter": ["motor.override_begin=450 bar"],
    "override_above_relief": ["limiter.fitted=no", "motor.override_begin=450 bar"],
    "relief_below_charge": ["relief.setting=20 bar"],
    "relief_too_small": ["relief.gradient=0.5 L/min/bar"],
    "charge_too_low": ["charge.relief_setting=5 bar"],
    "charge_below_springs": ["charge.relief_setting=9 bar"],
    "charge_below_nominal": ["charge.relief_setting=11 bar"],
    "charge_below_alarm": ["charge.low_pressure=26 bar"],
    "charge_too_high": ["charge.relief_setting=60 bar"],
    "no_charge": ["charge.displacement=0 cm3/rev"],
    "charge_too_small": ["charge.displacement=3 cm3/rev"],
    "flushing_never": ["flushing.relief_setting=26 bar"],
    "filter_bypassed": ["filter.clean_drop=4 bar"],
    "hoses_narrow": ["hoses.length=2 m", "hoses.bore=20 mm"],
    "drain_narrow": ["lines.cases=drained", "drain.length=3 m", "drain.bore=10 mm"],
    "drain_back_pressure": ["lines.cases=drained", "drain.length=3 m", "drain.bore=13 mm"],
    "overspeed_alarm_low": ["engine.overspeed_alarm=2200 rpm"],
    "underspeed_alarm_high": ["engine.underspeed_alarm=2200 rpm"],
    "stall_speed_high": ["engine.stall_speed=2200 rpm"],
    "underspeed_control_always": ["swash.underspeed=on", "swash.underspeed_high=2200 rpm"],
    "drive_never_full": ACCELERATOR + ["controls.drive_full=2400 rpm"],
    "drive_at_idle": ACCELERATOR + ["controls.drive_begin=800 rpm"],
    "drive_line_steep": ACCELERATOR + ["controls.drive_begin=1950 rpm"],
    "drive_without_ramp": ACCELERATOR,
    "reversal_never_held": ["controls.reversal=held_below", "controls.reversal_speed=80 km/h"],
    "ramp_no_ramp": ["controls.ramp=ratio", "controls.ramp_down_time=0.5 s"],
    "inching_brakes_while_driving": ["controls.inching=cut_and_brake", "controls.inching_brake_begin=20 %"],
    "torque_peak_above_set_speed": ["engine.peak_torque_speed=2300 rpm"],
    "engine_without_torque": ["engine.torque_half_width=600 rpm"],
    "implement_beyond_engine": ["implement.law=power", "operator.implement_power=160 kW"],
    "fuel_efficient": ["fuel.law=willans", "fuel.indicated_efficiency=60 %"],
    "fuel_map_efficient": ["fuel.law=map", "fuel.consumption_map=[[500 rpm, 20 N m, 140 g/kWh], [500 rpm, 900 N m, 140 "
                           "g/kWh], [3000 rpm, 20 N m, 140 g/kWh], [3000 rpm, 900 N m, 140 g/kWh]]"],
    "turbocharger_slow": ["turbocharger.fitted=yes", "turbocharger.lag=3 s"],
    "gears_out_of_order": ["gearbox.law=under_load", "gearbox.ratio_2=4"],
    "driver_expects_much": DRIVER + ["driver.top_speed=60 km/h"],
    "course_beyond_driver": DRIVER + ["course.speed=30 km/h"],
    "gear_clutch_weak": ["gearbox.law=under_load", "gearbox.clutch_torque=400 N m"],
    "axles_against_each_other": ["vehicle.axles=two", "transfer_case.law=locked", "second_driveline.ratio=48"],
    "pump_too_fast": ["engine.set_speed=4000 rpm"],
    "pump_inefficient": ["pump.churning_coefficient=5000"],
    "motor_inefficient": ["motor.compressed_at_full_stroke=900 %", "motor.friction_coefficient=0.5"],
    "motor_too_fast": ["motor.smallest=15 %"],
    "top_speed_high": ["driveline.ratio=8"],
    "top_speed_low": ["driveline.ratio=1800"],
    "motor_fixed": ["motor.smallest=100 %"],
    "start_speed_high": ["vehicle.start_speed=60 km/h"],
    "grip_high": ["tyre.grip=1.3"],
    "drag_friction_high": ["vehicle.dragged_mass=1 t", "vehicle.drag_friction=1.4"],
    "grade_beyond_grip": ["tyre.grip=0.15"],
    "rolling_beyond_grip": ["tyre.rolling_resistance=0.8"],
    "volume_small": ["lines.volume_a=0.1 L"],
    "volume_large": ["lines.volume_b=90 L"],
    "tank_small": ["lines.tank_volume=5 L"],
    "oil_soft": ["fluid.wall_modulus=1000 bar"],
    "oil_aerated": ["fluid.air_content=8 %"],
    "oil_thick": ["heat.tank_start=-30 degC"],
    "oil_thin": ["heat.loop_start=130 degC"],
    "oil_viscosity_rises": ["fluid.viscosity_at_100=60 mm2/s"],
    "no_effect": ["relief.seat_diameter=12 mm"],
    "table_after_end": ["simulation.end_time=0.9 s"],
    "action_never": "actions:\n  - {when: time > 50 s, move: brake, to: 50 %}\n",
    "action_no_effect": "actions:\n  - {when: time > 5 s, move: direction, to: -100 %}\n",
    "limit_never_broken": "limits: [pump_stroke <= 120 %]\n",
    "limit_after_end": "limits: [vehicle_speed <= 1 km/h within 50 s]\n",
    "samples_coarse": ["simulation.output_step=3 s"],
    "samples_none": ["simulation.output_step=50 s"],
    "lag_beyond_run": ["relief.lag=1 s", "simulation.end_time=1 s"],
    "nothing_happens": "operator: {forward_pedal: none}\nground: {grade: none}\n",
}


def names(warnings):
    return [warning["name"] for warning in warnings]


def declared():
    """The names of all rules, as the sources of the room have them."""
    found = set()
    for path in glob.glob(os.path.join(ROOT, "src", "plausibility", "*.[ch]")):
        with open(path, encoding="utf-8") as file:
            text = file.read()
        found.update(re.findall(r"^  RULE\((\w+),", text, re.M))
        found.update(re.findall(r'\bwarn\(warnings, "(\w+)"', text))
        found.update(re.findall(r'plausibility_add\(warnings, "(\w+)"', text))
    return found


class Plausibility(Folder):
    def check(self, case, sets=(), code=0, options=()):
        arguments = [word for text in sets for word in ("--set", text)]
        result = self.run_program("check", case, *arguments, "--json", *options)
        self.assertEqual(result.returncode, code, result.stderr)
        return json.loads(result.stdout)["warnings"], result.stderr

    def case_with(self, lines):
        return self.write("case.yaml", f"machine: {CASES}/machines/forwarder.yaml\nsimulation: {{end_time: 40 s}}\n"
                          + lines)

    def test_every_rule_is_tried(self):
        # What was guessed of a file of rows: tests/cli/traces.py.
        self.assertEqual(set(RULES) | {"guessed"}, declared())

    def test_each_rule_speaks(self):
        for name, cause in RULES.items():
            with self.subTest(name):
                case, sets = (CLIMB, cause) if isinstance(cause, list) else (self.case_with(cause), ())
                warnings, told = self.check(case, sets)
                self.assertIn(name, names(warnings))
                self.assertIn(f"({name})", told)
                for warning in warnings:
                    self.assertNotIn("{}", warning["words"])
                    self.assertTrue(warning["source"])

    def test_shipped_cases_are_plausible(self):
        for path in sorted(glob.glob(os.path.join(CASES, "*.yaml")) + glob.glob(os.path.join(CASES, "valve", "*.yaml")) +
                           glob.glob(os.path.join(CASES, "baseline", "*.yaml"))):
            name = os.path.basename(path)
            if name in ("bench.yaml", "machine.yaml"):  # a mapping, a machine
                continue
            with self.subTest(path):
                self.assertEqual(names(self.check(path)[0]), DESERVED.get(name, []))

    def test_what_has_no_effect(self):
        """With its place where a file sets it; not where the law is the right one, nor in the machine."""
        case = self.case_with("relief: {seat_diameter: 12 mm}\n")
        warnings, told = self.check(case)
        self.assertIn("case.yaml:3:10: warning: relief.seat_diameter is set and can have no effect: relief.law is "
                      "first_order, not poppet", told)
        self.assertNotIn("no_effect", names(self.check(case, ["relief.law=poppet"])[0]))
        # The forwarder's file sets an exhaust brake that this case does not press.
        self.assertEqual(names(warnings).count("no_effect"), 1)
        # On the valve rig the oil's viscosity does nothing but damp a poppet.
        step = os.path.join(CASES, "valve", "step.yaml")
        self.assertEqual(names(self.check(step, ["fluid.viscosity_at_40=60 mm2/s"])[0]), [])
        rig, _ = self.check(os.path.join(CASES, "baseline", "relief_step.yaml"), ["fluid.viscosity_at_40=60 mm2/s"])
        self.assertIn("no_effect", names(rig))

    def test_resolved_case_means_nothing_by_it(self):
        """What --resolved writes sets every parameter of every law."""
        case = self.write("whole.yaml", self.run_program("check", CREEP, "--resolved").stdout)
        self.assertEqual(self.check(case)[0], [])

    def test_strict(self):
        self.check(CREEP, code=0, options=["--strict"])
        self.check(CREEP, ["tyre.grip=1.3"], code=0)
        self.check(CREEP, ["tyre.grip=1.3"], code=2, options=["--strict"])

    def test_run_tells_it_once_and_keeps_it(self):
        import h5py
        sets = ("--set", "tyre.grip=1.3", "--set", "simulation.end_time=0.5 s")
        result = self.run_program("run", CREEP, "-o", "run.h5", "--json", *sets)
        self.assertEqual(result.stderr.count("(grip_high)"), 1)
        self.assertEqual(names(json.loads(result.stdout)["warnings"]), ["grip_high"])
        with h5py.File(self.path("run.h5"), "r") as file:
            self.assertRegex(file.attrs["warnings"], r"^grip_high: the tyres hold 1.3 ")
        self.assertEqual(self.run_program("run", CREEP, "-o", "run.h5", "--quiet", *sets).stderr, "")
        self.run_program("run", CREEP, "-o", "run.h5", "--quiet", "--set", "simulation.end_time=0.5 s")
        with h5py.File(self.path("run.h5"), "r") as file:
            self.assertEqual(file.attrs["warnings"], "")

    def test_sweep(self):
        """What varies without effect; what is implausible of some cases only; once each, and in the table."""
        import h5py
        study = self.write("study.yaml", f"case: {STALL}\nset: {{simulation.end_time: 0.2 s}}\narrange: together\nvary:\n"
                           "  - {path: relief.poppet_mass, values: [50 g, 60 g, 70 g]}\n"
                           "  - {path: tyre.grip, values: [0.7, 1.3, 1.4]}\n")
        result = self.run_program("sweep", study, "-o", "table.h5")
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertEqual(result.stderr.count("relief.poppet_mass is varied and can have no effect"), 1)
        self.assertEqual(result.stderr.count("in case 1, and maybe others: the tyres hold 1.3"), 1)
        with h5py.File(self.path("table.h5"), "r") as file:
            self.assertIn("relief.poppet_mass is varied", file.attrs["warnings"])
        with_law = self.write("law.yaml", f"case: {STALL}\nset: {{simulation.end_time: 0.2 s}}\narrange: together\nvary:\n"
                              "  - {path: relief.poppet_mass, values: [50 g, 60 g]}\n"
                              "  - {path: relief.law, values: [first_order, poppet]}\n")
        self.assertNotIn("no effect", self.run_program("sweep", with_law, "--dry-run").stderr)


if __name__ == "__main__":
    need_program()
    unittest.main()
