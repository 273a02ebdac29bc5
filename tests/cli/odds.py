"""Odds from outside: counts are those of a sweep of the same lots, one by one; widths, bounds and what is allowed; runs
without a verdict; interruptions, threads, faults."""
import json
import math
import os
import signal
import time
import unittest

import h5py

from _program import ROOT, Folder, need_program

# A relief valve with lag takes a step of flow: some 0.5 ms of processor time a run.
RIG = """title: Flow step on a relief valve with lag
circuit: valve_rig
simulation: {end_time: 0.05 s, output_step: 5 ms}
relief: {setting: 420 bar, lag: 8 ms}
rig:
  volume: 1 L
  feed_flow: 60 L/min
  start_pressure: 350 bar
  feed: [[0 s, 0 %], [0.005 s, 0 %], [0.005 s, 100 %]]
"""
STUDY = """case: rig.yaml
arrange: random
count: 600
seed: 7
vary:
  - {path: relief.setting, distribution: normal, mean: 420 bar, deviation: 10 bar}
  - {path: relief.lag, distribution: log_normal, median: 8 ms, factor: 1.3}
  - {path: rig.volume, distribution: normal, mean: 1 L, deviation: 0.1 L}
  - {path: rig.feed_flow, distribution: normal, mean: 60 L/min, deviation: 3 L/min}
limits: [line_a_pressure <= 480 bar, line_a_pressure <= 540 bar]
"""


def text_of(value):
    return value.decode() if isinstance(value, bytes) else value


class Odds(Folder):
    def setUp(self):
        super().setUp()
        self.write("rig.yaml", RIG)
        self.write("study.yaml", STUDY)

    def odds(self, code, *options, file="study.yaml"):
        result = self.run_program("odds", file, "--json", *options)
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        return json.loads(result.stdout)

    def alike(self, document):
        for member in ("seconds", "file"):
            document.pop(member)
        return document

    def test_counts_are_those_of_a_sweep(self):
        document = self.odds(0, "-o", "o.h5")
        self.expect(0, "sweep", "study.yaml", "-o", "s.h5", "--quiet")
        with h5py.File(self.path("s.h5")) as table, h5py.File(self.path("o.h5")) as answer:
            flags = table["limit_1_line_a_pressure"][:]
            setting, broken = table["relief.setting"][:], flags == 0
            odds = answer["probabilities"]
            self.assertEqual(list(odds["broken"][:]), [broken.sum(), broken.sum(), 0])
            self.assertEqual(list(odds["kept"][:]), [600 - broken.sum()] * 2 + [600])
            self.assertEqual(text_of(answer.attrs["status"]), "complete")
            # the share of breaking runs in each tenth of the setting's distribution, counted by hand
            parts = answer["conditional"]
            rows = [i for i in range(len(parts["place"])) if parts["of"].asstr()[i] == "any limit"
                    and parts["input"].asstr()[i] == "relief.setting"]
            self.assertEqual(len(rows), 10)
            share = [0.5 * math.erfc(-(value / 1e5 - 420.0) / 10.0 / math.sqrt(2.0)) for value in setting]
            for place, row in enumerate(rows):
                here = [bool(b) for b, s in zip(broken, share) if place / 10 <= s < (place + 1) / 10]
                self.assertEqual((parts["runs"][row], parts["broken"][row]), (len(here), sum(here)))
        self.assertEqual(document["probabilities"][0]["broken"], broken.sum())
        self.assertEqual((document["runs"], document["method"]), (600, "counting"))
        # none broken is an upper bound: z^2 / (n + z^2)
        self.assertEqual(document["probabilities"][2]["probability"], 0)
        self.assertAlmostEqual(document["probabilities"][2]["high"], 3.841459 / 603.841459, places=6)

    def test_the_input_that_decides_is_found(self):
        document = self.odds(0, "-o", "o.h5", "--runs", "4000")
        of_any = {row["input"]: row for row in document["drivers"] if row["of"] == "any limit"}
        first = {path: row["first_order"] for path, row in of_any.items()}
        self.assertEqual(max(first, key=first.get), "relief.setting")
        self.assertGreater(of_any["relief.setting"]["broken_mean"], 0.8)
        self.assertLess(of_any["rig.volume"]["broken_mean"], 0.5)  # less oil, higher peak

    def test_until_the_intervals_are_narrow(self):
        document = self.odds(0, "-o", "o.h5", "--width", "4%")
        self.assertLessEqual(document["reached_width"], 0.04)
        self.assertTrue(256 <= document["runs"] <= 2000, document["runs"])
        for row in document["probabilities"]:
            self.assertLessEqual(row["high"] - row["low"], 0.04)
        bound = self.odds(0, "-o", "o.h5", "--width", "0.1%", "--runs", "300")
        self.assertEqual(bound["runs"], 300)
        self.assertGreater(bound["reached_width"], 0.001)
        words = self.run_program("odds", "study.yaml", "-o", "o.h5", "--width", "0.1%", "--runs", "300").stdout
        self.assertIn("not reached", words)

    def test_more_runs_contain_the_first(self):
        fewer, more = (self.odds(0, "-o", "o.h5", "--runs", runs)["probabilities"][0] for runs in ("300", "600"))
        self.assertLessEqual(fewer["broken"], more["broken"])
        self.assertLessEqual(fewer["kept"], more["kept"])
        other = self.odds(0, "-o", "o.h5", "--runs", "300", "--seed", "8")["probabilities"][0]
        self.assertNotEqual(other["broken"], fewer["broken"])

    def test_what_is_allowed(self):
        for allowed, code in (("1%", 4), ("50%", 0), ("9%", 6)):
            result = self.run_program("odds", "study.yaml", "-o", "o.h5", "--allowed", allowed)
            self.assertEqual(result.returncode, code, result.stdout)
        self.assertIn("not established", result.stdout)

    def test_threads_change_nothing(self):
        one, two = (self.alike(self.odds(0, "-o", f"{jobs}.h5", "--jobs", jobs, "--width", "5%")) for jobs in "13")
        self.assertEqual(one, two)

    def test_settings(self):
        stiff = self.odds(0, "-o", "o.h5", "--set", "rig.start_pressure=300 bar")["probabilities"][0]
        self.write("set.yaml", STUDY + "set: {rig.start_pressure: 300 bar}\n")
        self.assertEqual(stiff, self.odds(0, "-o", "o.h5", file="set.yaml")["probabilities"][0])
        result = self.run_program("odds", "study.yaml", "-o", "bad.h5", "--set", "relief.lag=9 ms")
        self.assertEqual((result.returncode, "it varies" in result.stderr), (2, True))

    def test_runs_without_a_verdict_are_told(self):
        # The limit counts from a braking that never comes: nothing is judged of it, and nothing breaks.
        self.write("study.yaml", STUDY.replace("line_a_pressure <= 540 bar", "stop_time <= 5 s"))
        document = self.odds(6, "-o", "o.h5", "--allowed", "50%")
        any_limit, _, stop = document["probabilities"]
        self.assertEqual((stop["not_judged"], stop["probability"], stop["low"], stop["high"]), (600, None, 0, 1))
        self.assertEqual(any_limit["not_judged"] + any_limit["broken"], 600)
        words = self.run_program("odds", "study.yaml", "-o", "o.h5").stdout
        self.assertIn("Without a verdict", words)
        self.assertIn("not judged", words)

    def test_failed_runs_are_counted_apart(self):
        # The table's second instant varies and falls before the first in some of the runs: those cannot start.
        text = STUDY.replace("vary:\n", 'vary:\n  - {path: "rig.feed[1].argument", distribution: uniform, low: 0 s, '
                                        "high: 6 ms}\n")
        self.write("study.yaml", text)
        document = self.odds(5, "-o", "o.h5")
        row = document["probabilities"][0]
        self.assertTrue(50 < row["failed"] < 150, row)
        self.assertEqual(row["failed"] + row["broken"] + row["kept"], 600)
        self.assertLess(row["low"], row["broken"] / 600)
        self.assertGreater(row["high"], (row["broken"] + row["failed"]) / 600)

    def test_interrupted_and_taken_up_again(self):
        whole = self.alike(self.odds(0, "-o", "whole.h5", "--runs", "3000"))
        process = self.start_program("odds", "study.yaml", "-o", "o.h5", "--runs", "3000", "--jobs", "2")
        for _ in range(200):
            journal = self.path("o.h5.journal")
            if os.path.exists(journal) and os.path.getsize(journal) > 20000:
                break
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
        self.assertEqual(process.returncode, 130, out + err)
        self.assertIn("--resume goes on", err)
        self.assertIn("interrupted", out)
        with h5py.File(self.path("o.h5")) as answer:
            self.assertEqual(text_of(answer.attrs["status"]), "interrupted")
            runs = sum(answer["probabilities"][name][0] for name in ("kept", "broken"))
            self.assertEqual(answer.attrs["runs"], runs)
            self.assertTrue(0 <= runs < 3000)
        refused = self.run_program("odds", "study.yaml", "-o", "o.h5", "--runs", "3000")
        self.assertEqual((refused.returncode, "--resume" in refused.stderr), (2, True))
        other = self.run_program("odds", "study.yaml", "-o", "o.h5", "--seed", "9", "--resume")
        self.assertEqual(other.returncode, 2, other.stderr)
        self.assertEqual(self.alike(self.odds(0, "-o", "o.h5", "--runs", "3000", "--resume")), whole)
        self.assertNotIn("o.h5.journal", self.files())

    def test_rare_breaking_by_subset_simulation(self):
        """Once in a hundred, so that plain counting knows it as well: the two intervals meet."""
        self.write("study.yaml", STUDY.replace("480 bar", "490 bar"))
        plain = self.odds(0, "-o", "o.h5", "--runs", "3000")["probabilities"][0]
        one, three = (self.alike(self.odds(0, "-o", f"r{jobs}.h5", "--rare", "--level-runs", "100", "--jobs", jobs))
                      for jobs in "13")
        self.assertEqual(one, three)
        rare = one["probabilities"][0]
        self.assertTrue(0 < rare["low"] < rare["probability"] < rare["high"] < 0.1, rare)
        self.assertTrue(rare["low"] < plain["high"] and plain["low"] < rare["high"], (rare, plain))
        self.assertEqual((one["method"], one["simulations"]), ("subset simulation", 10))
        first = next(row for row in one["drivers"] if row["input"] == "relief.setting" and row["of"] == "any limit")
        self.assertGreater(first["broken_mean"], 0.8)
        # the limit that nothing reaches is bounded by the other, not by nothing
        self.assertLessEqual(one["probabilities"][2]["high"], rare["high"])
        self.assertEqual(self.run_program("odds", "study.yaml", "--rare", "--width", "1%").returncode, 2)

    def test_breaking_that_nothing_leads_to(self):
        # The lowest pressure is the one that it starts from: the margin is the same in every run, and that is told.
        self.write("study.yaml", STUDY.split("limits:")[0] + "limits: [line_a_pressure >= 100 bar]\n")
        document = self.odds(0, "-o", "o.h5", "--rare", "--level-runs", "100")
        row = document["probabilities"][0]
        self.assertEqual((document["simulations_that_reached_no_breaking"], row["low"]), (10, 0))
        self.assertAlmostEqual(row["high"], 3.841459 / 1003.841459, places=6)
        self.assertIn("reached no breaking", self.run_program("odds", "study.yaml", "--rare", "--level-runs", "100").stdout)

    def test_silent_where_nobody_looks(self):
        result = self.expect(0, "odds", "study.yaml", "-o", "o.h5", "--quiet")
        self.assertEqual((result.stdout, result.stderr), ("", ""))

    def test_a_file_of_others_in_place_of_the_journal(self):
        """It is left as it is, and nothing is said of what stands in it."""
        path = self.write("theirs.h5.journal", "mine\n")
        for options, words in (((), "is there already"), (("--force",), "is there already"), (("--resume",), "is no journal")):
            result = self.expect(2, "odds", "study.yaml", "-o", "theirs.h5", *options)
            self.assertIn(words, result.stderr)
            with open(path, encoding="utf-8") as file:
                self.assertEqual(file.read(), "mine\n")
        self.assertNotIn("theirs.h5", self.files())

    def test_faults(self):
        grid = STUDY.split("vary:")[0].replace("arrange: random\ncount: 600\nseed: 7\n", "") + (
            "vary:\n  - {path: relief.lag, values: [5 ms, 8 ms]}\nlimits: [line_a_pressure <= 480 bar]\n")
        compare = STUDY + "compare:\n  - {name: a}\n  - {name: b, set: {rig.start_pressure: 300 bar}}\n"
        for text, words in ((grid, "arrange: random"), (compare, "compare:"),
                            (STUDY.split("limits:")[0], "nothing can break"), (STUDY + "sed: 1\n", "did you mean")):
            self.write("bad.yaml", text)
            result = self.run_program("odds", "bad.yaml", "-o", "bad.h5")
            self.assertEqual((result.returncode, words in result.stderr), (2, True), result.stderr)
            self.assertNotIn("bad.h5", self.files())
        for options in (("--width", "0"), ("--runs", "0"), ("--allowed", "2"), ("--seed", "x")):
            self.assertEqual(self.run_program("odds", "study.yaml", *options).returncode, 2, options)
        self.assertEqual(self.run_program("odds").returncode, 2)
        self.assertEqual(self.run_program("odds", os.path.join(ROOT, "cases", "reviews", "forwarder.yaml")).returncode, 2)


if __name__ == "__main__":
    need_program()
    unittest.main()
