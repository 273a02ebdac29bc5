"""Envelopes from outside: the boundary is where single runs change, one quantity and two; a review as the question; what
nothing judges; faults. The boundary of a braked machine on a slope is held against its closed form."""
import json
import unittest

import h5py

from _program import ROOT, Folder, need_program

MACHINE = f"machine: {ROOT}/cases/machines/forwarder.yaml\n"
PULL = MACHINE + """title: Pulls away
simulation: {end_time: 2 s}
operator: {forward_pedal: [[0 s, 0 %], [0.2 s, 0 %], [0.5 s, 60 %]]}
limits:
  - line_a_pressure <= 300 bar
  - engine_speed >= 1500 rpm
"""
# A braked machine slides when the slope asks for more than grip gives. The wheels are locked: no rolling resistance.
BRAKED = MACHINE + """title: Stands on its brake
simulation: {end_time: 3 s, output_step: 10 ms}
operator: {brake: 100 %}
brake: {torque: 900 kN m}
tyre: {rolling_resistance: 0}
limits: [vehicle_distance >= -50 mm]
"""


class Envelopes(Folder):
    def setUp(self):
        super().setUp()
        self.write("pull.yaml", PULL)
        self.write("braked.yaml", BRAKED)

    def envelope(self, code, *options, file="pull.yaml"):
        result = self.run_program("envelope", file, "--json", *options)
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        return json.loads(result.stdout)

    def keeps(self, *sets, file="pull.yaml"):
        words = [word for text in sets for word in ("--set", text)]
        return self.run_program("run", file, "-o", "one.h5", "--quiet", *words).returncode == 0

    def test_one_quantity(self):
        document = self.envelope(0, "-o", "e.h5", "--over", "limiter.setting=200 bar..400 bar")
        self.assertEqual(len(document["changes"]), 1)
        kept, other = (document["changes"][0][side]["first"] for side in ("kept_side", "other_side"))
        self.assertLessEqual(abs(kept - other), 0.01 * 200e5 * (1 + 1e-9))
        self.assertEqual(document["changes"][0]["other_side"]["ended_by"], "line_a_pressure <= 300 bar")
        self.assertTrue(self.keeps(f"limiter.setting={kept / 1e5!r} bar"))
        self.assertFalse(self.keeps(f"limiter.setting={other / 1e5!r} bar"))
        self.assertLess(document["points"], 25)
        with h5py.File(self.path("e.h5")) as file:
            self.assertEqual(file["runs/first"].attrs["units"], "Pa")
            self.assertEqual(len(file["runs/first"]), document["points"])

    def test_two_quantities_are_two(self):
        over = ("--over", "vehicle.mass=8 t..9 t")
        result = self.run_program("envelope", "pull.yaml", "-o", "e.h5", *over, *over)
        self.assertEqual((result.returncode, "e.h5" in self.files()), (2, False))
        self.assertIn("'vehicle.mass' twice: expected two different quantities", result.stderr)

    def test_slope_and_grip_against_the_closed_form(self):
        """Sliding begins where tan(slope) = grip: Coulomb friction on an inclined plane (any book of mechanics)."""
        self.write("braked.yaml", BRAKED + "ground: {grade: 20 %}\n")
        document = self.envelope(0, "-o", "e.h5", "--over", "tyre.grip=0.2..0.8", "--over",
                                 "ground.grade[1].value=10 %..70 %", file="braked.yaml")
        points = [point for stretch in document["stretches"] for point in stretch["points"]]
        self.assertGreater(len(points), 10)
        self.assertEqual(document["unresolved_pieces"], 0)
        self.assertLess(document["points"] * 20, document["grid_points_of_the_same_accuracy"])
        for point in points:
            grip = 0.5 * (point["kept_side"]["first"] + point["other_side"]["first"])
            grade = 0.5 * (point["kept_side"]["second"] + point["other_side"]["second"])
            self.assertAlmostEqual(grade, grip, delta=0.012)

    def test_a_review_is_a_question_too(self):
        self.write("review.yaml", "cases: [pull.yaml]\nconditions:\n  - {name: light, set: {vehicle.mass: 8 t}}\n"
                                  "  - {name: heavy, set: {vehicle.mass: 20 t}}\n")
        both = self.envelope(0, "-o", "r.h5", "--over", "limiter.setting=200 bar..400 bar", file="review.yaml")
        self.assertEqual(both["cells"], 2)
        heavy = self.envelope(0, "-o", "h.h5", "--over", "limiter.setting=200 bar..400 bar", "--set", "vehicle.mass=20 t")
        self.assertAlmostEqual(both["changes"][0]["kept_side"]["first"], heavy["changes"][0]["kept_side"]["first"],
                               delta=2e5)
        self.assertEqual(both["changes"][0]["other_side"]["condition"], "heavy")

    def test_nothing_judged_is_no_pass(self):
        self.write("idle.yaml", MACHINE + "title: Stands\nsimulation: {end_time: 0.5 s}\n")
        document = self.envelope(6, "-o", "i.h5", "--over", "vehicle.mass=8 t..9 t", file="idle.yaml")
        self.assertEqual((document["kept_points"], document["changes"]), (0, []))

    def test_threads_change_nothing(self):
        one, two = (self.envelope(0, "-o", f"{jobs}.h5", "--jobs", jobs, "--over", "limiter.setting=200 bar..400 bar",
                                  "--over", "vehicle.mass=8 t..20 t", "--accuracy", "5 %", "--scan", "4")
                    for jobs in ("1", "3"))
        for document in (one, two):
            document.pop("seconds")
            document.pop("file")
        self.assertEqual(one, two)

    def test_faults(self):
        for options, words in ((["--over", "limiter.seting=200 bar..400 bar"], "did you mean"),
                               (["--over", "limiter.setting=200 bar"], "LOW..HIGH"),
                               (["--over", "limiter.setting=200 bar..2 m"], "is no unit"),
                               (["--over", "limiter.setting=200 bar..2000 bar"], "can be from"),
                               (["--over", "limiter.law=1..2"], "is a choice"),
                               ([], "over what?")):
            result = self.run_program("envelope", "pull.yaml", "-o", "bad.h5", *options)
            self.assertEqual(result.returncode, 2, options)
            self.assertIn(words, result.stderr)


if __name__ == "__main__":
    need_program()
    unittest.main()
