#!/usr/bin/env python3
"""A driver on courses: legs in the answer and in the file; stops of random courses within what is stated, both ways; and
nothing that grows about steady driving at five speeds, with each demo machine.

SWASHLOOP_RANDOM_CASES=100 tries that many courses (a minute or two); without it a few."""
import glob
import json
import os
import random
import subprocess
import sys
import unittest

import h5py
import numpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

MACHINES = os.path.join(ROOT, "cases", "machines")
COURSE = os.path.join(ROOT, "cases", "forest_course.yaml")
PLOT = os.path.join(ROOT, "tools", "plot")
COURSES = int(os.environ.get("SWASHLOOP_RANDOM_CASES", "4"))
DEMO = ["forwarder.yaml", "forwarder_gearbox.yaml", "forwarder_hoses.yaml", "forwarder_transfer_case.yaml",
        "forwarder_two_motors.yaml"]
PROFILE = "[[0 km/h, 0 %], [7 km/h, 33 %], [10 km/h, 62 %], [14 km/h, 81 %], [22 km/h, 100 %]]"


def pairs(points, argument, value):
    return "[" + ", ".join(f"[{x:.4g}{argument}, {y:.4g} {value}]" for x, y in points) + "]"


def random_course(dice):
    """The text of a case: hills up to 18 %, stretches of 3 to 14 km/h, stops ahead and behind, loads that change."""
    way = 0.0
    grades = [(-50.0, 0.0)]
    for _ in range(6):
        grades.append((grades[-1][0] + dice.uniform(15.0, 80.0), dice.uniform(-18.0, 18.0)))
    speeds = [(-40.0, dice.uniform(3.0, 14.0))]
    for _ in range(5):
        speeds.append((speeds[-1][0] + dice.uniform(8.0, 60.0), dice.uniform(3.0, 14.0)))
    places, loads, dwells = [], [], []
    for leg in range(1, 5):
        way += dice.choice([-1.0, 1.0, 1.0]) * dice.uniform(1.0, 70.0)
        places.append((leg, way))
        loads.append((leg, dice.choice([0.0, dice.uniform(0.0, 10.0)])))
        dwells.append((leg, dice.uniform(3.0, 20.0)))
    within = dice.choice([0.2, 0.4, 1.0])
    return (f"machine: {os.path.join(MACHINES, dice.choice(DEMO))}\n"
            "simulation: {end_time: 2000 s, output_step: 1 s}\n"
            f"driver: {{drives: yes, top_speed: 22 km/h, stop_within: {within} m, "
            f"holds_by: {dice.choice(['drive', 'park_brake'])}, pedal: {dice.choice(['none', PROFILE])}}}\n"
            f"ground: {{grade: {pairs(grades, ' m', '%')}}}\n"
            f"course: {{speed: {pairs(speeds, ' m', 'km/h')}, to: {pairs(places, '', 'm')}, "
            f"dwell: {pairs(dwells, '', 's')}, load: {pairs(loads, '', 't')}}}\n"), within


class Course(Folder):
    def test_legs_stand_in_answer_and_file(self):
        answer = json.loads(self.expect(0, "run", COURSE, "--json", "-o", self.path("run.h5")).stdout)
        legs = answer["legs"]
        self.assertEqual([leg["leg"] for leg in legs], [1, 1, 2, 2, 3, 3, 4, 4, 5, 5])
        self.assertEqual([leg["stands"] for leg in legs], [0, 1] * 5)
        with h5py.File(self.path("run.h5")) as file:
            for name in legs[0]:
                if name == "energy":
                    continue
                numpy.testing.assert_array_equal(file["legs"][name][()], [leg[name] for leg in legs])
            for row, energy in legs[0]["energy"].items():
                numpy.testing.assert_array_equal(file["legs"]["energy_" + row][()], [leg["energy"][row] for leg in legs])
                self.assertEqual(file["legs"]["energy_" + row].attrs["units"], "J")
                total = answer["ledger"]["terms"].get(row, {"energy": None})["energy"]
                if total is not None:
                    self.assertAlmostEqual(sum(leg["energy"][row] for leg in legs), total, delta=1e-6 + 1e-9 * abs(total))
                self.assertGreater(abs(energy) + 1.0, 0.0)
            self.assertEqual(file["legs"]["ended_at"].attrs["units"], "m")
        drawn = subprocess.run([PLOT, "run.h5", "--course", "-o", "course.png"], cwd=self.folder, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, check=False)
        self.assertEqual(drawn.returncode, 0, drawn.stderr)
        self.assertGreater(os.path.getsize(self.path("course.png")), 20000)
        self.expect(0, "run", os.path.join(ROOT, "cases", "parked.yaml"), "-o", self.path("parked.h5"))
        drawn = subprocess.run([PLOT, "parked.h5", "--course", "-o", "no.png"], cwd=self.folder, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, check=False)
        self.assertIn("no driver followed a course", drawn.stderr)
        self.assertFalse(os.path.exists(self.path("no.png")))
        long = self.expect(0, "run", COURSE, "--long", "-o", self.path("run.h5")).stdout
        self.assertIn("Legs of the course", long)

    def test_a_course_file_is_read_beneath_the_case(self):
        forwarder = os.path.join(MACHINES, "forwarder.yaml")
        case = self.write("case.yaml", f"machine: {forwarder}\ndriver: {{drives: yes}}\n"
                                       "course: {file: way.yaml, repeats: 2}\n")
        self.write("way.yaml", "ground: {grade: 3 %}\ncourse: {to: [[1, 7 m]], repeats: 5}\n")
        resolved = self.expect(0, "check", case, "--resolved").stdout
        self.assertRegex(resolved, r"repeats: 2\b")
        self.assertIn("7 m", resolved)
        self.assertRegex(resolved, r"grade: .*3 %")
        for text, words in (("engine: {inertia: 2 kg m2}\n", "way.yaml:1:1: error: 'engine' does not belong"),
                            ("course: {too: [[1, 7 m]]}\n", "did you mean 'to'"),
                            ("machine: other.yaml\n", "does not belong in a course file")):
            self.write("way.yaml", text)
            self.assertIn(words, self.expect(2, "check", case).stderr)
        os.remove(self.path("way.yaml"))
        self.assertIn("course file", self.expect(2, "check", case).stderr)

    def test_random_courses_stop_where_they_should(self):
        first = int(os.environ.get("SWASHLOOP_RANDOM_ONLY", "0"))
        worst = 0.0
        count = 1 if first else COURSES
        for seed in range(first or 1, (first or 1) + count):
            text, within = random_course(random.Random(seed))
            answer = json.loads(self.expect(0, "run", self.write("course.yaml", text), "--json", "-o",
                                            self.path("run.h5")).stdout)
            measures = {name: row["value"] for name, row in answer["measures"].items()}
            with self.subTest(course=seed, case=text):
                self.assertEqual(answer["status"], "complete")
                self.assertEqual(measures["legs_done"], 4)
                self.assertLessEqual(measures["stop_miss"], within)
                self.assertLess(measures["energy_residual"], 1e-6)
                for leg in answer["legs"]:
                    if not leg["stands"]:
                        self.assertLess(abs(leg["ended_at"] - leg["place"]), within)
            worst = max(worst, measures["stop_miss"] / within)
        print(f"{count} courses: the worst stop at {worst:.2f} of what is stated")

    def test_nothing_grows_at_five_speeds(self):
        """Growth rates of driver and machine together, about steady driving on the level and on grades."""
        text = "machine: {}\nsimulation: {{end_time: 100 s}}\ndriver: {{drives: yes, top_speed: 22 km/h}}\n" \
               "ground: {{grade: {} %}}\ncourse: {{speed: {} km/h, to: [[1, 5000 m]]}}\n"
        machines = DEMO if COURSES >= 100 else DEMO[:2]
        for machine in machines:
            for grade in (-8, 0, 8) if COURSES >= 100 else (0,):
                for speed in (0.5, 3, 8, 14, 20):
                    if grade > 0 and speed > 14:
                        continue  # no machine of these climbs so fast
                    case = self.write("steady.yaml", text.format(os.path.join(MACHINES, machine), grade, speed))
                    answer = json.loads(self.expect(0, "linear", case, "--at", "80 s", "--json").stdout)
                    growth = max(mode["real_part"] for mode in answer["modes"])
                    with self.subTest(machine=machine, grade=grade, speed=speed):
                        self.assertLessEqual(growth, 1e-6)

    def test_what_is_wrong_is_said(self):
        for line, words in (("course.to=[[1, 5 m], [3, 9 m]]", "without gaps"), ("course.repeats=1.5", "whole number"),
                            ("operator.layout=accelerator_and_direction", "two_pedals")):
            result = self.expect(2, "run", COURSE, "--set", line, "-o", self.path("run.h5"))
            self.assertIn(words, result.stderr)
            self.assertEqual(glob.glob(self.path("*.h5*")), [])


if __name__ == "__main__":
    need_program()
    unittest.main()
