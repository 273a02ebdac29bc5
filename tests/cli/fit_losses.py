#!/usr/bin/env python3
"""Loss coefficients from a test stand (tools/fit-losses): known ones come back, the files beside the outside checks are
what the tool makes of their readings, the program takes what it writes, and what cannot be used is told."""
import math
import os
import subprocess
import sys
import unittest

sys.dont_write_bytecode = True
from _program import ROOT, Folder, need_program  # noqa: E402

TOOL = os.path.join(ROOT, "tools", "fit-losses")
STAND = os.path.join(ROOT, "tests", "outside")
PUMP = ("--of", "pump", "--displacement", "57", "--viscosity", "20")
TWO_PI = 2.0 * math.pi

# A motor of 160 cm3/rev by coefficients of its own, computed here by hand from the law's words.
KNOWN = {"slip_coefficient": 2.8e-9, "case_leak_coefficient": 1.2e-9, "viscous_coefficient": 6e4,
         "friction_coefficient": 0.03, "constant_torque": 4.0, "churning_coefficient": 40.0,
         "friction_at_zero_stroke": 70.0, "churning_at_zero_stroke": 25.0, "compressed_at_zero_stroke": 60.0,
         "compressed_at_full_stroke": 120.0}


def motor_rows():
    """Readings of that motor in oil of 30 mPa s, density 870, 15500 bar."""
    lines = ["speed [rpm],pressure [bar],stroke [%],volumetric [%],hydromechanical [%]"]
    size = 160e-6 / TWO_PI
    film = 0.02 * 1.5 ** 0.4
    for rpm in (300, 900, 1700, 2600):
        for bar in (60, 150, 260, 400):
            for percent in (30, 55, 100):
                w, p, x = rpm * TWO_PI / 60.0, bar * 1e5, percent / 100.0
                leak = 4e-9 * size * p / 0.03
                leak += w * size * (0.6 + 0.6 * x) * p / (1.55e9 + 9.0 * 0.5 * p)
                drag = 6e4 * size * film * w + 0.03 * size * p * (0.7 + 0.3 * x) + 4.0
                drag += 0.5 * 40.0 * 870.0 * size ** (5.0 / 3.0) * w * w * (0.25 + 0.75 * x)
                flow, torque = x * size * w, x * size * p
                lines.append(f"{rpm},{bar},{percent},{100 * flow / (flow + leak):.10f},{100 * (1 - drag / torque):.10f}")
    return "\n".join(lines) + "\n"


def values_of(text):
    """The numbers of the section."""
    found = {}
    for line in text.splitlines():
        if line.startswith("  "):
            name, value = line.strip().split(": ")
            found[name] = float(value.split()[0])
    return found


class FitLosses(Folder):
    def tool(self, *arguments, code=0):
        result = subprocess.run([sys.executable, TOOL, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                text=True, check=False)
        self.assertEqual(result.returncode, code, result.stderr)
        self.assertEqual(bool(result.stderr), code != 0)
        return result.stderr if code else result.stdout

    def test_known_coefficients_come_back(self):
        rows = self.write("motor.csv", motor_rows())
        text = self.tool(rows, "--of", "motor", "--displacement", "160", "--viscosity", "30", "--leave-out", "4")
        found = values_of(text)
        for name, value in KNOWN.items():
            self.assertAlmostEqual(found[name] / value, 1.0, delta=2e-3, msg=name)
        self.assertIn("# 0 of 48 readings miss by more than 3 points.", text)
        self.assertIn("left out: 0.0 at most", text)
        plain = self.tool(rows, "--of", "motor", "--displacement", "160", "--viscosity", "30", "--plain")
        self.assertNotIn("churning", plain)
        self.assertNotIn("# 0 of 48", plain)

    def test_files_beside_the_checks(self):
        for name, more in (("pump_stand", ()), ("pump_stand_plain", ("--plain",))):
            with open(os.path.join(STAND, name + ".yaml"), encoding="utf-8") as file:
                kept = values_of(file.read())
            made = values_of(self.tool(os.path.join(STAND, "pump_stand.csv"), *PUMP, "--leave-out", "3", *more))
            self.assertEqual(kept.keys(), made.keys())
            for parameter, value in kept.items():
                self.assertAlmostEqual(made[parameter], value, delta=2e-3 * abs(value), msg=parameter)

    def test_the_program_takes_it(self):
        rows = self.write("motor.csv", motor_rows())
        section = os.path.join(self.folder, "units.yaml")
        self.tool(rows, "--of", "motor", "--displacement", "160", "--viscosity", "30", "-o", section)
        with open(section, encoding="utf-8") as file:
            case = self.write("case.yaml", f"machine: {ROOT}/cases/machines/forwarder.yaml\n"
                              "operator: {forward_pedal: [[0 s, 0 %], [1 s, 50 %]]}\nsimulation: {end_time: 2 s}\n" + file.read())
        result = self.run_program("check", case)
        self.assertEqual(result.returncode, 0, result.stderr)
        self.assertNotIn("no_effect", result.stderr)

    def test_what_cannot_be_used(self):
        good = motor_rows()
        motor = ("--of", "motor", "--displacement", "160", "--viscosity", "30")
        for text, words in (("", "no readings"),
                            (good.replace("[rpm]", "[1/s]"), "csv:1: found the heading 'speed [1/s]'"),
                            (good.replace("300,60,30,", "300,60,x,", 1), "csv:2: found '300,60,x,"),
                            (good.replace("hydromechanical [%]", "drain [L/min]"), "no column flow and torque"),
                            ("\n".join(good.splitlines()[:6]), "it takes 8"),
                            (good.replace("300,60,", "0,60,"), "must lie above zero")):
            with self.subTest(words):
                self.assertIn(words, self.tool(self.write("bad.csv", text), *motor, code=2))
        rows = self.write("good.csv", good)
        self.assertIn("is --displacement the largest?",
                      self.tool(self.write("d.csv", good.replace("stroke [%]", "displacement [cm3/rev]")), "--of", "motor",
                                "--displacement", "80", "--viscosity", "30", code=2))
        self.assertIn("No such file", self.tool(rows + "x", *motor, code=2))
        self.assertIn("--viscosity must lie above", self.tool(rows, "--of", "motor", "--displacement", "160", "--viscosity",
                                                              "0", code=2))
        self.assertIn("the file of the readings", self.tool(rows, *motor, "-o", rows, code=2))
        self.assertIn("--leave-out", self.tool(rows, *motor, "--leave-out", "1", code=2))


if __name__ == "__main__":
    need_program()
    unittest.main()
