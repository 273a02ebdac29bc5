"""Tuning from outside: the optimum is the boundary that an envelope finds, what a limit costs is what solving again
gives, settings can be made and are kept when run by themselves, what blocks is named; threads and interruptions change
nothing; faults are told where they stand."""
import json
import os
import signal
import subprocess
import time
import unittest

import h5py

from _program import PROGRAM, ROOT, Folder, need_program

MACHINE = f"machine: {ROOT}/cases/machines/forwarder.yaml\n"
PULL = MACHINE + """title: Pulls away
simulation: {end_time: 2 s}
operator: {forward_pedal: [[0 s, 0 %], [0.2 s, 0 %], [0.5 s, 60 %]]}
limits:
  - line_a_pressure <= 300 bar
  - engine_speed >= 1500 rpm
"""
FARTHEST = """case: pull.yaml
vary:
  - {path: limiter.setting, from: 200 bar, to: 400 bar}
goal: {most: vehicle_distance_end}
starts: 2
points: 60
accuracy: 0.02 %
"""


class Tunings(Folder):
    def setUp(self):
        super().setUp()
        self.write("pull.yaml", PULL)

    def tune(self, code, text, *options, name="t.yaml"):
        self.write(name, text)
        result = self.run_program("tune", name, "--json", *options)
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        return json.loads(result.stdout)

    def test_the_optimum_is_the_boundary_and_its_price_is_what_solving_again_gives(self):
        document = self.tune(0, FARTHEST)
        result = self.run_program("envelope", "pull.yaml", "--json", "--over", "limiter.setting=200 bar..400 bar",
                                  "--accuracy", "0.05 %")
        change = json.loads(result.stdout)["changes"][0]
        found = document["settings"][0]["found"]
        self.assertLessEqual(found, change["other_side"]["first"])
        self.assertAlmostEqual(found, change["kept_side"]["first"], delta=2e5)
        binding, = document["binding"]
        self.assertEqual(binding["limit"], "line_a_pressure <= 300 bar")
        self.write("pull.yaml", PULL.replace("300 bar", "303 bar"))
        again = self.tune(0, FARTHEST, "-o", "again.h5")
        gained = again["goals"][0]["found"] - document["goals"][0]["found"]
        self.assertGreater(gained, 0)
        self.assertAlmostEqual(binding["better_by_one_per_cent"], gained, delta=0.15 * gained)
        self.assertAlmostEqual(binding["better_by_one_trade_unit"], gained / 3, delta=0.15 * gained / 3)
        with h5py.File(self.path("t.tune.h5")) as file:
            self.assertEqual(file.attrs["answer"], "tuning")
            self.assertEqual(file["settings/found"][0], found)
            self.assertEqual(len(file["points/goal"]), len(file["points/keeps"]))

    def test_settings_can_be_made_and_are_kept(self):
        document = self.tune(0, FARTHEST.replace("400 bar}", "400 bar, step: 7 bar}"))
        found = document["settings"][0]["found"]
        steps = (found - 200e5) / 7e5
        self.assertAlmostEqual(steps, round(steps), delta=1e-9)
        self.assertTrue(document["no_step_is_better"])
        for setting, code in ((found, 0), (found + 7e5, 4)):  # the next one is too much
            result = self.run_program("run", "pull.yaml", "-o", "one.h5", "--quiet", "--set", f"limiter.setting={setting!r} Pa")
            self.assertEqual(result.returncode, code)

    def test_lists_and_what_each_change_did(self):
        document = self.tune(0, """case: pull.yaml
set: {limiter.setting: 350 bar}
vary:
  - {path: motor.displacement, values: [107 cm3/rev, 160 cm3/rev, 233 cm3/rev]}
  - {path: limiter.law, values: [driven_side, both_sides]}
  - {path: limiter.setting, from: 250 bar, to: 400 bar, step: 5 bar}
points: 120
starts: 2
""")
        self.assertEqual(document["at_start"]["broken"], 1)
        self.assertEqual(len(document["combinations"]), 6)
        self.assertEqual(sum(not lane["dropped"] for lane in document["combinations"]), 1)
        best = max(lane["worst_margin"] for lane in document["combinations"])
        kept, = (lane for lane in document["combinations"] if not lane["dropped"])
        self.assertAlmostEqual(kept["worst_margin"], best, delta=0.01)
        setting = document["settings"][2]
        self.assertTrue(setting["changed"])
        # Whatever was freed is broken again once the change that freed it is taken back.
        self.assertTrue(any(freed["limit"] == "line_a_pressure <= 300 bar"
                            for entry in document["settings"] if entry["changed"] for freed in entry["taken_back_breaks"]))

    def test_what_blocks_is_named(self):
        self.write("pull.yaml", PULL.replace("  - engine_speed >= 1500 rpm", "  - vehicle_distance_end >= 3.2 m"))
        document = self.tune(4, FARTHEST.replace("goal: {most: vehicle_distance_end}\n", ""))
        self.assertFalse(document["keeps_everything"])
        self.assertEqual({blocking["limit"] for blocking in document["blocking"]},
                         {"line_a_pressure <= 300 bar", "vehicle_distance_end >= 3.2 m"})
        multipliers = [blocking["cells"][0]["multiplier"] for blocking in document["blocking"]]
        self.assertAlmostEqual(sum(multipliers), 1, delta=0.01)  # of a largest least: convex weights
        result = self.run_program("tune", "t.yaml", "-o", "words.h5")
        self.assertIn("no settings were found that keep every limit; these are the least broken", result.stdout)
        self.assertIn("What blocks", result.stdout)

    def test_a_reserve_and_two_goals(self):
        text = FARTHEST.replace("400 bar}", "400 bar, step: 1 bar}") + "reserve: 5 %\nsecond_goal: worst_margin\n"
        document = self.tune(0, text)
        self.assertGreaterEqual(document["at_found"]["worst_margin"], 0.05)
        trade = document["trade_off"]
        self.assertGreater(len(trade), 2)
        for one, other in zip(trade, trade[1:]):  # what is gained of one is lost of the other
            self.assertGreater(one["goal"], other["goal"])
            self.assertLess(one["second_goal"], other["second_goal"])

    def test_another_question_is_told_and_can_be_forbidden(self):
        """A fixed pedal with a larger motor is a slower machine."""
        self.write("pull.yaml", PULL.replace("end_time: 2 s", "end_time: 6 s").replace("300 bar", "450 bar"))
        text = "case: pull.yaml\nvary:\n  - {path: motor.displacement, values: [160 cm3/rev, 250 cm3/rev]}\n"
        document = self.tune(0, text)
        self.assertEqual(document["settings"][0]["found"] > document["settings"][0]["start"], True)
        change, = document["other_questions"]
        self.assertEqual(change["measure"], "vehicle_speed_max")
        self.assertLess(change["share"], -0.05)
        forbidden = self.tune(0, text + "same: [{measure: vehicle_speed_max, within: 3 %}]\n", "-o", "same.h5")
        self.assertEqual((forbidden["settings"][0]["changed"], forbidden["other_questions"]), (False, []))

    def test_threads_and_interruptions_change_nothing(self):
        self.write("review.yaml", "cases: [pull.yaml]\nconditions:\n  - {name: light, set: {vehicle.mass: 8 t}}\n"
                                  "  - {name: heavy, set: {vehicle.mass: 20 t}}\n")
        text = FARTHEST.replace("case: pull", "review: review").replace("points: 60", "points: 40")
        documents = [self.tune(0, text, "--jobs", "1"), self.tune(0, text, "--jobs", "3")]
        with subprocess.Popen([PROGRAM, "tune", "t.yaml", "-o", "cut.h5", "--json"], cwd=self.folder,
                              stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
            journal = self.path("cut.h5.journal")
            while process.poll() is None and not (os.path.exists(journal) and os.path.getsize(journal) > 3000):
                time.sleep(0.005)
            process.send_signal(signal.SIGINT)
            process.communicate()
        if process.returncode == 130:  # it may have been done before
            self.assertNotIn("cut.h5", self.files())
            result = self.run_program("tune", "t.yaml", "-o", "cut.h5", "--json")
            self.assertEqual(result.returncode, 2)
            self.assertIn("--resume goes on", result.stderr)
            documents.append(self.tune(0, text, "-o", "cut.h5", "--resume"))
        self.assertNotIn("cut.h5.journal", self.files())
        for document in documents:
            for name in ("seconds", "file"):
                document.pop(name)
            self.assertEqual(document, documents[0])

    def test_faults(self):
        vary = "vary:\n  - {path: limiter.setting, from: 200 bar, to: 400 bar}\n"
        self.write("review.yaml", "cases:\n  - {case: pull.yaml, name: soft, set: {limiter.setting: 250 bar}}\n  - pull.yaml\n")
        self.write("bare.yaml", MACHINE + "title: Stands\nsimulation: {end_time: 0.1 s}\n")
        for text, words in (("case: pull.yaml\n", "no 'vary:'"),
                            (vary, "either 'review:' or 'case:'"),
                            ("case: pul.yaml\n" + vary, "cannot be read"),
                            ("case: pull.yaml\n" + vary.replace("setting", "seting"), "did you mean"),
                            ("case: pull.yaml\n" + vary.replace("to: 400 bar", "to: 100 bar"), "must lie above from"),
                            ("case: pull.yaml\n" + vary.replace("400 bar", "400 bar, step: 900 bar"), "no longer than the range"),
                            ("case: pull.yaml\n" + vary.replace("limiter.setting", "limiter.law"), "give 'values:'"),
                            ("case: pull.yaml\n" + vary + "goal: best\n", "worst_margin"),
                            ("case: pull.yaml\n" + vary + "goal: {least: stop_distanc}\n", "did you mean"),
                            ("case: pull.yaml\n" + vary + "goal: {least: stop_distance}\n", "has no value at the start"),
                            ("case: pull.yaml\n" + vary + "goal: {least: rest_from, case: x}\n", "no case of this name"),
                            ("case: bare.yaml\n" + vary, "no case has a limit"),
                            ("review: review.yaml\n" + vary, "set for soft, as given itself"),
                            ("case: pull.yaml\nvary:\n  - {path: limiter.law, values: [both_sides, both_sides]}\n", "twice")):
            self.write("bad.yaml", text)
            result = self.run_program("tune", "bad.yaml", "-o", "bad.h5")
            self.assertEqual(result.returncode, 2, (text, result.stderr))
            self.assertIn(words, result.stderr, text)
            self.assertFalse([name for name in self.files() if name.startswith("bad.h5")], text)


if __name__ == "__main__":
    need_program()
    unittest.main()
