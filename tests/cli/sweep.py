"""Sweeps from outside: the same numbers whatever the threads, shards, ranks and interruptions; nothing lost, nothing
counted twice; open formats."""
import os
import random
import resource
import shutil
import signal
import subprocess
import tempfile
import time
import unittest

import _seal
from _program import PROGRAM, ROOT, Folder, need_program
from _table import attributes, differences

try:
    import h5py
except ImportError:
    h5py = None

CASE = os.path.join(ROOT, "cases", "baseline", "downhill.yaml")
# 60 cases of a few milliseconds, some of which cannot start (a check that would be open before it cracks).
STUDY = f"""title: A study for tests
case: {CASE}
set: {{simulation.end_time: 2 s}}
arrange: sobol
count: 60
seed: 4
vary:
  - {{path: vehicle.mass, from: 10 t, to: 18 t}}
  - {{path: charge.check_open, from: 0.28 bar, to: 1.5 bar}}
  - {{path: relief.return_to, values: [line, gallery]}}
limits:
  - line_a_pressure <= 300 bar
  - vehicle_speed_max <= 20 km/h
"""
# Enough work that a signal meets it: as many cases as this program and machine do in about a second.
LONG = f"""case: {CASE}
set: {{simulation.end_time: 6 s}}
arrange: latin_hypercube
count: COUNT
vary:
  - {{path: vehicle.mass, distribution: normal, mean: 14 t, deviation: 1 t}}
  - {{path: relief.setting, from: 420 bar, to: 460 bar}}
"""


def small_files():
    resource.setrlimit(resource.RLIMIT_FSIZE, (12_000, resource.RLIM_INFINITY))


class Sweep(Folder):
    def setUp(self):
        super().setUp()
        self.study = self.write("study.yaml", STUDY)

    def sweep(self, output, *arguments, code=5, study=None, **options):
        return self.expect(code, "sweep", study or self.study, "-o", output, *arguments, **options)

    def expect_same(self, output, other):
        self.assertEqual(differences(self.path(output), self.path(other)), [])

    def replay(self, study, k, *arguments):
        """Exit code 0, or 4 when a limit was broken."""
        result = self.run_program("run", "--study", study, "--case", str(k), "--quiet", *arguments)
        self.assertIn(result.returncode, (0, 4), result.stderr)


class Numbers(Sweep):
    def test_threads_shards_and_merge(self):
        self.sweep("one.h5", "--jobs", "1")
        self.sweep("three.h5", "--jobs", "3")
        self.expect_same("one.h5", "three.h5")
        for shard in range(7):
            result = self.run_program("sweep", self.study, "-o", f"part{shard}.h5", "--shard", f"{shard}/7")
            self.assertIn(result.returncode, (0, 5), result.stderr)
        parts = [f"part{shard}.h5" for shard in (3, 0, 6, 1, 5, 2, 4)]
        result = self.expect(5, "merge", *parts, "-o", "merged.h5")
        self.assertIn("60 cases of 7 shards", result.stdout)
        self.expect_same("one.h5", "merged.h5")
        whole, merged = attributes(self.path("one.h5")), attributes(self.path("merged.h5"))
        for name in ("title", "case", "study", "study_file", "study_fingerprint", "source", "swashloop_version",
                     "swashloop_build", "failed_cases", "case_count"):
            self.assertEqual(whole[name], merged[name], name)
        self.assertEqual(merged["merged_shards"], 7)
        self.assertEqual(merged["study_file"], self.study)
        # The newest line on top: how it was merged, then how its first shard was made.
        newest, earlier = merged["history"].split("\n")
        self.assertIn("Z: swashloop merge part3.h5 ", newest)
        self.assertIn(f"Z: swashloop sweep {self.study} -o part0.h5 --shard 0/7", earlier)

    def test_failed_cases_are_rows(self):
        self.sweep("t.h5")
        with h5py.File(self.path("t.h5")) as table:
            status = list(table["status"].asstr()[()])
            message = list(table["message"].asstr()[()])
            opened = table["charge.check_open"][()]
            peak = table["peak_line_a_pressure"][()]
            kept = table["limit_1_line_a_pressure"][()]
            self.assertEqual(list(table["case"][()]), list(range(60)))
            failed = [k for k in range(60) if status[k] == "failed"]
            self.assertEqual(failed, [k for k in range(60) if opened[k] <= 0.3e5 * (1 + 1e-12)])
            self.assertGreater(len(failed), 0)
            self.assertEqual(table.attrs["failed_cases"], len(failed))
            for k in range(60):
                self.assertEqual(k in failed, peak[k] != peak[k])
                self.assertEqual(message[k] != "", k in failed)
                self.assertEqual(kept[k] == 2, k in failed)
                if k not in failed:
                    worst = table["limit_1_line_a_pressure_worst"][k]
                    self.assertEqual(kept[k], 1 if worst <= 300e5 else 0)
                    self.assertEqual(worst, peak[k])
            self.assertIn(0, kept)
            self.assertIn(1, kept)

    def test_a_row_is_replayed_exactly(self):
        study = self.write("kept.yaml", STUDY + "keep_histories: {cases: [7], when: vehicle_speed_max >= 6.9 km/h}\n")
        self.sweep("t.h5", study=study)
        names = sorted(os.listdir(self.path("t.h5.runs")))
        with h5py.File(self.path("t.h5")) as table:
            wanted = [k for k in range(60) if k == 7 or table["vehicle_speed_max"][k] >= 6.9 / 3.6]
            self.assertEqual(names, [f"case_{k:06d}.h5" for k in wanted])
            self.replay(study, 7, "-o", "seven.h5")
            with h5py.File(self.path("seven.h5")) as run, h5py.File(self.path("t.h5.runs/case_000007.h5")) as kept:
                self.assertEqual(run.attrs["case"], kept.attrs["case"])
                for name, dataset in run.items():
                    if isinstance(dataset, h5py.Dataset):
                        self.assertEqual(dataset[()].tobytes(), kept[name][()].tobytes(), name)
                for name, measure in run["measures"].items():
                    self.assertEqual(measure[()].tobytes(), table[name][7].tobytes(), name)
                self.write("saved.yaml", run.attrs["case"])
        # The text in the file is a case of its own, and gives the same numbers again.
        self.assertIn(self.run_program("run", "saved.yaml", "-o", "saved.h5", "--quiet").returncode, (0, 4))
        with h5py.File(self.path("seven.h5")) as run, h5py.File(self.path("saved.h5")) as saved:
            self.assertEqual(run["line_a_pressure"][()].tobytes(), saved["line_a_pressure"][()].tobytes())

    def test_a_case_past_its_budget_is_marked(self):
        """It is a row with why, no number and no verdict; the others are as without a budget; not a failure."""
        for method in ("bdf", "rosenbrock"):
            with self.subTest(method=method):
                text = (f"case: {ROOT}/cases/baseline/downhill.yaml\nlimits: ['engine_speed <= 9000 rpm']\n"
                        f"set: {{simulation.method: {method}, simulation.end_time: 5 s}}\n"
                        "vary: [{path: simulation.largest_step, values: [1e-3 ms, 0.1 s]}]\n")
                self.write("whole.yaml", text.replace("1e-3 ms, ", ""))
                self.write("study.yaml", text + "case_budget: 1 s\n")
                self.expect(0, "sweep", "whole.yaml", "-o", f"whole-{method}.h5")
                self.expect(0, "sweep", "study.yaml", "-o", f"t-{method}.h5")
                with h5py.File(self.path(f"t-{method}.h5")) as table, h5py.File(self.path(f"whole-{method}.h5")) as whole:
                    self.assertEqual(list(table["status"].asstr()), ["unfinished", "complete"])
                    self.assertRegex(table["message"].asstr()[0], r"^unfinished: at t = [\d.]+ s its budget of 1 s of")
                    self.assertNotEqual(table["engine_speed_max"][0], table["engine_speed_max"][0])
                    self.assertEqual(table["engine_speed_max"][1], whole["engine_speed_max"][0])
                    self.assertEqual(list(table["all_limits"]), [2, 1])
                    regions = table["regions"]
                    self.assertEqual([regions[fate][0] for fate in ("broken", "kept", "unfinished", "failed")], [0, 1, 1, 0])
                    self.assertEqual(table.attrs["failed_cases"], 0)

    def test_cases_that_wait_for_a_lane_are_not_charged(self):
        """Cases of other laws wait, opened, until those before them are done: three that spend their whole budget."""
        text = (f"case: {ROOT}/cases/baseline/downhill.yaml\nset: {{simulation.method: rosenbrock, simulation.end_time: 2 s}}\n"
                "vary:\n  - {path: tyre.law, values: [slip_curve, relaxation]}\n"
                "  - {path: simulation.largest_step, values: [SLOW0.1 s]}\n"
                "  - {path: vehicle.mass, from: 10 t, to: 14 t, count: 4}\n")
        self.write("whole.yaml", text.replace("SLOW", ""))
        self.write("study.yaml", text.replace("SLOW", "1e-3 ms, ") + "case_budget: 0.7 s\n")
        self.assertIn(self.run_program("sweep", "whole.yaml", "-o", "whole.h5", "--jobs", "1").returncode, (0, 5))
        self.assertIn(self.run_program("sweep", "study.yaml", "-o", "t.h5", "--jobs", "1").returncode, (0, 5))
        with h5py.File(self.path("t.h5")) as table, h5py.File(self.path("whole.h5")) as whole:
            status = list(table["status"].asstr())
            self.assertEqual(status, (["unfinished"] * 4 + ["complete"] * 4) * 2)
            done = [i for i, word in enumerate(status) if word == "complete"]
            self.assertEqual(len(done), len(whole["status"]))
            for name in ("peak_line_a_pressure", "engine_speed_max", "solver_steps"):
                self.assertEqual(table[name][()][done].tobytes(), whole[name][()].tobytes(), name)
            self.assertGreaterEqual(table.attrs["side_by_side_cases"], 8)

    def test_a_row_is_replayed_with_something_else_set(self):
        """--set stands upon the case of the study: on what varies, on what does not, on an action's number."""
        self.replay(self.study, 7, "-o", "seven.h5")
        with h5py.File(self.path("seven.h5")) as run:
            self.write("seven.yaml", run.attrs["case"])
        sets = ("--set", "vehicle.mass=13.25 t", "--set", "relief.lag=4 ms", "--set", "title=another")
        self.replay(self.study, 7, *sets, "-o", "one.h5")
        self.assertIn(self.run_program("run", "seven.yaml", *sets, "-o", "two.h5", "--quiet").returncode, (0, 4))
        with h5py.File(self.path("one.h5")) as one, h5py.File(self.path("two.h5")) as two:
            self.assertEqual(one.attrs["case"], two.attrs["case"])
            self.assertEqual(one.attrs["title"], "another")
            self.assertEqual(one["line_a_pressure"][()].tobytes(), two["line_a_pressure"][()].tobytes())
            with h5py.File(self.path("seven.h5")) as seven:
                self.assertNotEqual(one["line_a_pressure"][()].tobytes(), seven["line_a_pressure"][()].tobytes())

    def test_points_of_a_table(self):
        self.write("points.csv", "vehicle.mass [t], relief.setting [bar]\n12, 430\n15.5, 440\n")
        study = self.write("p.yaml", f"case: {CASE}\nset: {{simulation.end_time: 1 s}}\narrange: points\n"
                                     "points: points.csv\nmeasures: [peak_line_a_pressure]\n")
        self.sweep("t.h5", study=study, code=0)
        with h5py.File(self.path("t.h5")) as table:
            self.assertEqual(list(table["vehicle.mass"][()]), [12000.0, 15500.0])
            self.assertNotIn("peak_line_b_pressure", table)
        self.expect(0, "run", CASE, "--set", "simulation.end_time=1 s", "--set", "vehicle.mass=15.5 t", "--set",
                    "relief.setting=440 bar", "-o", "r.h5", "--quiet")
        with h5py.File(self.path("t.h5")) as table, h5py.File(self.path("r.h5")) as run:
            self.assertEqual(table["peak_line_a_pressure"][1], run["measures/peak_line_a_pressure"][()])


class Growing(Sweep):
    """More cases, another limit, a further measure: rows that a table has are taken, and the new table is that of a sweep
    in one go, bit by bit."""
    least = "measures: [peak_line_a_pressure, vehicle_speed_max, stop_distance]\n"

    def grow(self, name, text, taken, *arguments, code=5, words=""):
        """Make `name` of the study `text` with rows of t.h5, `taken` of them, and in one go."""
        study = self.write("grown.yaml", text)
        result = self.sweep(name, "--from", "t.h5", *arguments, study=study, code=code)
        if taken:
            self.assertIn(f"{taken} taken from t.h5", result.stdout)
        else:
            self.assertNotIn("taken", result.stdout)
        self.assertIn(words, result.stderr)
        self.sweep("once.h5", "--force", study=study, code=code)
        self.expect_same("once.h5", name)
        return result

    def test_more_sobol_cases(self):
        self.sweep("t.h5")
        self.grow("more.h5", STUDY.replace("count: 60", "count: 90"), 60)
        dry = self.sweep("dry.h5", "--from", "t.h5", "--dry-run", code=0, study=self.path("grown.yaml"))
        self.assertIn("60 rows are taken from t.h5", dry.stdout)
        # A shard takes its own.
        for shard in range(2):
            result = self.run_program("sweep", "grown.yaml", "-o", f"p{shard}.h5", "--shard", f"{shard}/2", "--from",
                                      "t.h5")
            self.assertIn("30 taken from t.h5", result.stdout)
        self.expect(5, "merge", "p0.h5", "p1.h5", "-o", "m.h5")
        self.expect_same("more.h5", "m.h5")

    def test_fewer_and_other_cases(self):
        self.sweep("t.h5")
        self.grow("fewer.h5", STUDY.replace("count: 60", "count: 20"), 20)

    def test_a_grid_gets_values_between(self):
        grid = (f"case: {CASE}\nset: {{simulation.end_time: 1 s}}\ncompare:\n  - {{name: plain}}\n"
                "  - {name: open, set: {relief.setting: 300 bar}}\nvary:\n"
                "  - {path: relief.return_to, values: [line, gallery]}\n  - {path: vehicle.mass, values: [10 t, 14 t]}\n")
        self.sweep("t.h5", study=self.write("grid.yaml", grid), code=0)
        self.grow("more.h5", grid.replace("[10 t, 14 t]", "[10 t, 12 t, 14 t, 16 t]"), 8, code=0)

    def test_more_latin_cases(self):
        latin = STUDY.replace("sobol", "latin_hypercube").replace("count: 60", "count: 25")
        self.sweep("t.h5", study=self.write("latin.yaml", latin))
        self.grow("more.h5", latin.replace("count: 25", "count: 100\ngrows_from: 25"), 25)
        result = self.sweep("no.h5", code=2, study=self.write("odd.yaml", latin.replace("count: 25", "count: 60\ngrows_from: 25")))
        self.assertIn("grows by doubling; from 25 cases to 50 or 100, not to 60", result.stderr)

    def test_another_limit(self):
        self.sweep("t.h5")
        with h5py.File(self.path("t.h5")) as table:
            failed = list(table["status"].asstr()[()]).count("failed")
        # By a measure: judged from the table, but for the cases that failed before it was known.
        self.grow("measure.h5", STUDY + "  - peak_line_a_pressure <= 250 bar\n", 60 - failed,
                  words=f"{failed} of the cases in t.h5 are run again; it lacks: peak_line_a_pressure <= 250 bar")
        # Another level of a signal, and one that was not observed: the histories are needed.
        self.grow("signal.h5", STUDY + "  - line_b_pressure <= 250 bar\n", 0,
                  words="60 of the cases in t.h5 are run again; it lacks: line_b_pressure <= 250 bar")
        # In another order, and one less.
        self.grow("order.h5", STUDY.replace("  - line_a_pressure <= 300 bar\n", ""), 60)
        # A machine that never stops within the run may have passed the distance or not: only the run tells.
        self.grow("stop.h5", STUDY + "  - stop_distance <= 2 m\n", 0,
                  words="it lacks: stop_distance <= 2 m")

    def test_another_measure(self):
        few = self.write("few.yaml", STUDY + self.least)
        self.sweep("t.h5", study=few)
        with h5py.File(self.path("t.h5")) as table:
            failed = list(table["status"].asstr()[()]).count("failed")
        self.grow("more.h5", STUDY + self.least.replace("]", ", energy_residual]"), failed,
                  words="it lacks: energy_residual")
        self.grow("less.h5", STUDY + "measures: [vehicle_speed_max]\n", 60)

    def test_kept_histories_come_along(self):
        kept = STUDY + "keep_histories: {cases: [5, 7]}\n"
        self.sweep("t.h5", study=self.write("kept.yaml", kept))
        self.grow("more.h5", kept.replace("count: 60", "count: 70"), 60)
        for k in (5, 7):
            with h5py.File(self.path(f"more.h5.runs/case_{k:06d}.h5")) as run, \
                    h5py.File(self.path(f"once.h5.runs/case_{k:06d}.h5")) as once:
                self.assertEqual(run["line_a_pressure"][()].tobytes(), once["line_a_pressure"][()].tobytes())
                self.assertEqual(run.attrs["case"], once.attrs["case"])
        # A history that is not there has to be run.
        result = self.grow("other.h5", kept.replace("[5, 7]", "[5, 9]"), 59, words="it lacks: kept histories")
        self.assertIn("1 of the cases", result.stderr)
        self.assertEqual(sorted(os.listdir(self.path("other.h5.runs"))), ["case_000005.h5", "case_000009.h5"])

    def test_what_is_no_table_of_the_same(self):
        self.sweep("t.h5")
        for text, words in ((STUDY.replace("2 s", "1 s"), "is of another case"),
                            (STUDY.replace("vehicle.mass", "relief.setting").replace("10 t, to: 18 t", "400 bar, to: 440 bar"),
                             "varies other things"),
                            ):
            study = self.write("other.yaml", text)
            result = self.sweep("o.h5", "--from", "t.h5", code=2, study=study)
            self.assertIn(words, result.stderr)
            self.assertNotIn("o.h5", self.files())
            self.assertNotIn("o.h5.journal", self.files())
        with _seal.changed(self.path("t.h5")) as table:
            table.attrs["source"] = table.attrs["source"].split(", build ")[0] + ", build 0123456789ab-012345"
        self.assertIn("another program or build", self.sweep("o.h5", "--from", "t.h5", code=2).stderr)
        self.assertIn("cannot be read", self.sweep("o.h5", "--from", "none.h5", code=2).stderr)
        self.assertIn("which this command reads", self.sweep("t.h5", "--from", "t.h5", "--force", code=2).stderr)


class SideBySide(Numbers):
    """The same of cases that run eight at once, in whatever company; a replay runs alone."""

    def write(self, name, text):
        return super().write(name, text.replace("simulation.end_time:", "simulation.method: rosenbrock, simulation.end_time:")
                             if text.startswith("title: A study") else text)

    def test_varied_oil_and_laws_run_side_by_side(self):
        study = self.write("oil.yaml", f"case: {CASE}\nset: {{simulation.end_time: 1 s, simulation.method: rosenbrock}}\n"
                                       "vary:\n  - {path: fluid.air_content, values: [0.3 %, 1 %, 3 %, 5 %]}\n"
                                       "  - {path: relief.return_to, values: [line, gallery]}\n"
                                       "  - {path: vehicle.mass, values: [11 t, 14 t, 17 t]}\n")
        result = self.sweep("oil.h5", "--jobs", "1", study=study, code=0)
        self.assertIn("100 % of the cases ran side by side", result.stdout)
        with h5py.File(self.path("oil.h5")) as table:
            self.assertEqual(table.attrs["side_by_side_cases"], 24)
            for k in (4, 13, 23):
                self.replay(study, k, "-o", f"{k}.h5")
                with h5py.File(self.path(f"{k}.h5")) as run:
                    for name, measure in run["measures"].items():
                        self.assertEqual(measure[()].tobytes(), table[name][k].tobytes(), name)

    def test_agrees_with_the_other_method(self):
        self.sweep("lanes.h5")
        with open(self.study, encoding="utf-8") as file:
            text = file.read()
        self.assertIn("method: rosenbrock", text)
        with open(self.study, "w", encoding="utf-8") as file:
            file.write(text.replace("method: rosenbrock", "method: bdf"))
        self.sweep("other.h5")
        with h5py.File(self.path("lanes.h5")) as table, h5py.File(self.path("other.h5")) as other:
            self.assertEqual(list(table["status"].asstr()[()]), list(other["status"].asstr()[()]))
            # A check valve that opens within a hundredth of a bar is all but a jump: neither method is near the other.
            smooth = [k for k in range(60) if table["charge.check_open"][k] > 0.35e5]
            self.assertGreater(len(smooth), 40)
            for k in smooth:
                one, two = table["peak_line_a_pressure"][k], other["peak_line_a_pressure"][k]
                self.assertNotEqual(one, two)
                self.assertAlmostEqual(one, two, delta=1.5e4)


class Merging(Sweep):
    def setUp(self):
        super().setUp()
        for shard in range(3):
            self.run_program("sweep", self.study, "-o", f"p{shard}.h5", "--shard", f"{shard}/3")

    def refuse(self, words, *parts, code=2):
        result = self.expect(code, "merge", *parts, "-o", "m.h5")
        self.assertIn(words, result.stderr)
        self.assertNotIn("m.h5", self.files())
        self.assertNotIn("m.h5.part", self.files())

    def test_what_does_not_belong_together(self):
        self.refuse("shard 1 of 3 is missing", "p0.h5", "p2.h5")
        self.refuse("shard 2 of 3 is missing", "p0.h5", "p1.h5")
        self.refuse("are both shard 1", "p0.h5", "p1.h5", "p1.h5")
        self.refuse("cannot be read", "p0.h5", "none.h5")
        self.refuse("cannot be read", "p0.h5", "study.yaml")
        self.run_program("sweep", self.study, "-o", "q.h5", "--shard", "1/4")
        self.refuse("one of 3 shards", "p0.h5", "q.h5", "p2.h5")
        other = self.write("other.yaml", STUDY.replace("seed: 4", "seed: 5"))
        self.run_program("sweep", other, "-o", "o.h5", "--shard", "1/3")
        self.refuse("different studies", "p0.h5", "o.h5", "p2.h5")
        shutil.copy(self.path("p1.h5"), self.path("v.h5"))
        with _seal.changed(self.path("v.h5")) as table:
            table.attrs["source"] = "swashloop 99.0.0"
        self.refuse("mixed versions", "p0.h5", "v.h5", "p2.h5")
        # The same version, built of other sources.
        shutil.copy(self.path("p1.h5"), self.path("v.h5"))
        with _seal.changed(self.path("v.h5")) as table:
            ours = attributes(self.path("p0.h5"))["source"]
            table.attrs["source"] = ours.split(", build ")[0] + ", build 0123456789ab-012345"
        self.refuse(f"p0.h5 was written by {ours} and v.h5 by ", "p0.h5", "v.h5", "p2.h5")
        shutil.copy(self.path("p1.h5"), self.path("v.h5"))
        with _seal.changed(self.path("v.h5")) as table:
            table["case"][3] = 5
        self.refuse("does not hold the cases of its shard", "p0.h5", "v.h5", "p2.h5")
        self.expect(2, "merge", "p0.h5")
        self.expect(2, "merge", "-o", "m.h5")
        result = self.expect(2, "merge", "p0.h5", "p1.h5", "p2.h5", "-o", "p1.h5")
        self.assertIn("which this command reads", result.stderr)

    def test_no_history_of_others_is_replaced(self):
        study = self.write("kept.yaml", STUDY + "keep_histories: {cases: [5, 7, 12]}\n")
        os.mkdir(self.path("t.h5.runs"))
        self.write("t.h5.runs/case_000005.h5", "mine\n")
        self.assertIn("case_000005.h5 is there and no run file", self.expect(2, "sweep", study, "-o", "t.h5").stderr)
        self.expect(5, "sweep", study, "-o", "s.h5", "--quiet")
        self.assertIn("case_000005.h5 is there and no run file", self.expect(2, "merge", "s.h5", "-o", "t.h5").stderr)
        with open(self.path("t.h5.runs/case_000005.h5"), encoding="utf-8") as file:
            self.assertEqual(file.read(), "mine\n")

    def test_kept_histories_come_along(self):
        study = self.write("kept.yaml", STUDY + "keep_histories: {cases: [5, 7, 12]}\n")
        for shard in range(3):
            self.run_program("sweep", study, "-o", f"k{shard}.h5", "--shard", f"{shard}/3")
        result = self.expect(5, "merge", "k0.h5", "k1.h5", "k2.h5", "-o", "m.h5")
        self.assertIn("3 kept histories in m.h5.runs", result.stdout)
        for k in (5, 7, 12):
            with open(self.path(f"m.h5.runs/case_{k:06d}.h5"), "rb") as run, \
                    open(self.path(f"k{k % 3}.h5.runs/case_{k:06d}.h5"), "rb") as shard:
                self.assertEqual(run.read(), shard.read())
        self.assertEqual(len(os.listdir(self.path("m.h5.runs"))), 3)

    def test_mixed_arithmetic_is_told(self):
        with _seal.changed(self.path("p1.h5")) as table:
            table.attrs["arithmetic_fingerprint"] = "0000000000000001"
        result = self.expect(5, "merge", "p0.h5", "p1.h5", "p2.h5", "-o", "m.h5")
        self.assertIn("round differently", result.stderr)
        self.assertIn("mixed", attributes(self.path("m.h5"))["arithmetic"])


class LongSweep(Sweep):
    """A sweep of about a second, whose table was made once without interruption."""
    text = LONG
    least = 40  # cases

    @classmethod
    def setUpClass(cls):
        place = tempfile.TemporaryDirectory(prefix="swashloop-test-")
        cls.addClassCleanup(place.cleanup)
        cls.whole = os.path.join(place.name, "whole.h5")
        study = os.path.join(place.name, "long.yaml")
        seconds = 0.0
        for count in (20, None):
            count = count or int(max(cls.least, min(400, 20 / seconds)))
            cls.long_text = cls.text.replace("COUNT", str(count))
            with open(study, "w", encoding="utf-8") as file:
                file.write(cls.long_text)
            began = time.monotonic()
            subprocess.run([PROGRAM, "sweep", study, "-o", cls.whole, "--force", "--quiet"], check=True)
            seconds = time.monotonic() - began

    def setUp(self):
        super().setUp()
        self.long = self.write("long.yaml", self.long_text)


class Interruption(LongSweep):
    """Ended in every way and taken up again."""

    def start(self, *arguments):
        process = self.start_program("sweep", self.long, "-o", "t.h5", "--resume", *arguments)
        self.addCleanup(process.stdout.close)
        self.addCleanup(process.stderr.close)
        self.addCleanup(process.wait)
        self.addCleanup(process.kill)
        return process

    def wait_for_rows(self, process, size):
        journal = self.path("t.h5.journal")
        deadline = time.monotonic() + 60
        while not (os.path.exists(journal) and os.path.getsize(journal) > size):
            self.assertLess(time.monotonic(), deadline)
            self.assertIsNone(process.poll(), "the sweep ended before the signal")
            time.sleep(0.002)

    def finish(self):
        self.sweep("t.h5", "--resume", study=self.long, code=0)
        self.expect_same(self.whole, "t.h5")
        self.assertNotIn("t.h5.journal", self.files())

    def test_signals_end_it_cleanly(self):
        size = 1000
        for number in (signal.SIGTERM, signal.SIGINT):
            process = self.start("--jobs", "2")
            self.wait_for_rows(process, size)
            process.send_signal(number)
            self.assertEqual(process.wait(30), 130)
            self.assertIn("--resume goes on", process.stderr.read())
            self.assertNotIn("t.h5", self.files())
            size = os.path.getsize(self.path("t.h5.journal")) + 1000
        self.finish()

    def test_kills_lose_nothing(self):
        draw = random.Random(7)
        for _ in range(12):
            process = self.start("--jobs", str(draw.choice((1, 2, 3))))
            time.sleep(draw.uniform(0.005, 0.15))
            process.kill()
            process.wait()
            if os.path.exists(self.path("t.h5")):
                break
        self.finish()

    def test_a_torn_journal(self):
        process = self.start()
        self.wait_for_rows(process, 5_000)
        process.kill()
        process.wait()
        with open(self.path("t.h5.journal"), "r+b") as journal:
            journal.truncate(os.path.getsize(self.path("t.h5.journal")) - 5)
        result = self.expect(0, "sweep", self.long, "-o", "t.h5", "--resume", "--quiet")
        self.assertEqual(result.stdout, "")
        self.expect_same(self.whole, "t.h5")

    def test_a_journal_is_not_lost_by_mistake(self):
        process = self.start()
        self.wait_for_rows(process, 1000)
        process.terminate()
        process.wait(30)
        before = os.path.getsize(self.path("t.h5.journal"))
        result = self.sweep("t.h5", study=self.long, code=2)
        self.assertIn("--resume goes on with it", result.stderr)
        self.write("long.yaml", self.long_text.replace("14 t", "13 t"))
        result = self.sweep("t.h5", "--resume", study=self.long, code=2)
        self.assertIn("another study", result.stderr)
        self.assertEqual(os.path.getsize(self.path("t.h5.journal")), before)
        self.write("long.yaml", self.long_text)
        self.finish()

    def test_nothing_is_left_to_do(self):
        self.sweep("t.h5", study=self.long, code=0)
        before = os.stat(self.path("t.h5")).st_mtime_ns
        result = self.sweep("t.h5", "--resume", study=self.long, code=0)
        self.assertIn("was there already", result.stdout)
        self.assertEqual(os.stat(self.path("t.h5")).st_mtime_ns, before)
        result = self.sweep("t.h5", "--resume", code=2)
        self.assertIn("no table of this study", result.stderr)
        with _seal.changed(self.path("t.h5")) as table:
            table.attrs["source"] = table.attrs["source"].split(", build ")[0] + ", build 0123456789ab-012345"
        result = self.sweep("t.h5", "--resume", study=self.long, code=2)
        self.assertRegex(result.stderr, r"build 0123456789ab-012345; this is swashloop [0-9.]+, build [0-9a-f]{12}-")

    def test_a_full_disk_keeps_what_is_done(self):
        result = self.expect(3, "sweep", self.long, "-o", "t.h5", preexec_fn=small_files)
        self.assertIn("File too large", result.stderr)
        self.assertIn("are safe in t.h5.journal", result.stderr)
        self.assertNotIn("t.h5", self.files())
        self.assertGreater(os.path.getsize(self.path("t.h5.journal")), 1_000)
        self.finish()

    def test_a_full_disk_at_the_table(self):
        tmpfs = self.path("small")
        os.mkdir(tmpfs)
        with h5py.File(self.whole) as table:
            room = 40 + table["case"].size * 450 // 1000  # for the journal, not for the table
        mount = ["mount", "-t", "tmpfs", "-o", f"size={room}k", "tmpfs", tmpfs]
        if subprocess.run(mount, stderr=subprocess.DEVNULL, check=False).returncode != 0:
            self.skipTest("may not mount a small file system")
        try:
            environment = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
            result = self.expect(3, "sweep", self.long, "-o", "small/t.h5", env=environment)
            self.assertIn("No space left on device", result.stderr)
            self.assertEqual(os.listdir(tmpfs), ["t.h5.journal"])
            subprocess.run(["mount", "-o", "remount,size=4m", tmpfs], check=True)
            result = self.expect(0, "sweep", self.long, "-o", "small/t.h5", "--resume")
            self.expect_same(self.whole, "small/t.h5")
        finally:
            subprocess.run(["umount", tmpfs], check=True)


class InterruptionSideBySide(Interruption):
    """The same where eight cases are under way at once, and end in another order than they began. A full disk is no
    other for them."""
    text = LONG.replace("simulation.end_time:", "simulation.method: rosenbrock, simulation.end_time:")
    least = 1000
    test_a_full_disk_keeps_what_is_done = None
    test_a_full_disk_at_the_table = None


class Talk(Sweep):
    def test_dry_run(self):
        result = self.sweep("t.h5", "--dry-run", "--jobs", "2", code=0)
        self.assertIn("60 cases (Sobol points)", result.stdout)
        self.assertIn("first  case 0: vehicle.mass ", result.stdout)
        self.assertIn("last   case 59: ", result.stdout)
        self.assertRegex(result.stdout, r"about \S+ s with 2 threads")
        self.assertNotIn("t.h5", self.files())

    def test_bad_usage(self):
        for arguments, words in ((("sweep",), "which study"), (("sweep", "a", "b"), "one study at a time"),
                                 (("sweep", self.study, "--shard", "3/3"), "from 0 to N-1"),
                                 (("sweep", self.study, "--shard", "x"), "from 0 to N-1"),
                                 (("sweep", self.study, "--jobs", "0"), "--jobs '0'"),
                                 (("sweep", self.study, "--shard", "70/80"), "shard 70/80 is empty"),
                                 (("sweep", "none.yaml"), "none.yaml: error: cannot be read"),
                                 (("sweep", self.study, "-o", self.study), "which this command reads"),
                                 (("run", "--study", self.study), "--study STUDY --case K together"),
                                 (("run", "--study", self.study, "--case", "60"), "there is no 60"),
                                 (("run", "--study", self.study, "--case", "x"), "expected the number"),
                                 (("run", "x.yaml", "--study", self.study, "--case", "1"), "together"),
                                 (("run", "--study", self.study, "--case", "1", "--set", "a.b=3"), "--set 'a.b=3'"),
                                 (("run", "--study", self.study, "--case", "1", "--set", "line_a.volume"), "PATH=VALUE"),
                                 ):
            result = self.expect(2, *arguments)
            self.assertIn(words, result.stderr)
        self.expect(3, "sweep", self.study, "-o", "none/t.h5")

    def test_a_replay_does_not_overwrite_the_table(self):
        self.replay(self.study, 5)
        self.assertIn("study_case_000005.h5", self.files())
        self.assertNotIn("study.h5", self.files())

    def test_open_formats(self):
        self.sweep("t.h5")
        if shutil.which("ncdump"):
            text = subprocess.run(["ncdump", "-h", self.path("t.h5")], stdout=subprocess.PIPE, text=True,
                                  check=True).stdout
            self.assertIn("case = 60 ;", text)
            self.assertIn("double vehicle.mass(case) ;", text)
            self.assertIn("byte limit_1_line_a_pressure(case) ;", text)
            self.assertNotIn("phony", text)
        try:
            import xarray
        except ImportError:
            return
        with xarray.open_dataset(self.path("t.h5")) as table:
            self.assertEqual(dict(table.sizes), {"case": 60})
            self.assertEqual(table["vehicle.mass"].attrs["units"], "kg")
            self.assertEqual(table["peak_line_a_pressure"].attrs["pressure_reference"], "gauge")
            self.assertEqual(int((table.status == "failed").sum()), table.attrs["failed_cases"])

    def test_every_column_describes_itself(self):
        self.sweep("t.h5")
        with h5py.File(self.path("t.h5")) as table:
            columns = [(name, item) for name, item in table.items() if isinstance(item, h5py.Dataset)]
            columns += [(name, item) for group in ("steps", "regions") for name, item in table[group].items()]
            for name, dataset in columns:
                if name not in ("step", "region"):
                    self.assertIn("long_name", dataset.attrs, name)
                if dataset.dtype.kind == "f" and dataset.parent.name != "/steps":
                    self.assertIn("units", dataset.attrs, name)
                    self.assertIn("trade_units", dataset.attrs, name)


if __name__ == "__main__":
    need_program()
    if h5py is None:
        print("skipped: no h5py here")
        raise SystemExit(77)
    unittest.main()
