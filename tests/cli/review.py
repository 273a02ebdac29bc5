"""Reviews from outside: the matrix is what single runs give, what is not established is no pass, the same numbers however
many threads and after an interruption, what changed since an older one, faults told with their place."""
import json
import os
import signal
import time
import unittest

import h5py
import numpy

from _program import ROOT, Folder, need_program

MACHINE = f"machine: {ROOT}/cases/machines/forwarder.yaml\n"
PULL = MACHINE + """title: Pulls away
simulation: {end_time: 3 s}
operator: {forward_pedal: [[0 s, 0 %], [0.5 s, 0 %], [1 s, 60 %]]}
limits:
  - line_a_pressure <= 460 bar
  - engine_speed >= 1500 rpm
"""
STALL = MACHINE + """title: Stalls
simulation: {end_time: 4 s}
limiter: {fitted: no}
engine: {stall: end_run}
operator:
  forward_pedal: [[0 s, 0 %], [0.2 s, 0 %], [0.5 s, 100 %]]
  brake: 100 %
limits:
  - line_a_pressure <= 900 bar
"""
IDLE = MACHINE + "title: Stands\nsimulation: {end_time: 1 s}\n"
NEVER_BRAKES = IDLE + "limits: [vehicle_speed <= 1 km/h within 2 s]\n"
REVIEW = """title: A small review
cases:
  - {case: pull.yaml, name: pulls away}
  - stall.yaml
  - idle.yaml
  - {case: brakes.yaml, name: never brakes}
conditions:
  - {name: as given}
  - name: heavy
    set: {vehicle.mass: 20 t}
  - name: cold
    set: {heat.loop_start: 0 degC}
    limits: [charge_pressure >= 0.5 bar]
"""
ORDER = ["pulls away", "stall", "idle", "never brakes"]


def columns(path):
    with h5py.File(path) as file:
        found = {}

        def visit(name, item):
            if isinstance(item, h5py.Dataset):
                found[name] = item.asstr()[()] if h5py.check_string_dtype(item.dtype) else item[()]

        file.visititems(visit)
        return found


class Reviews(Folder):
    def setUp(self):
        super().setUp()
        for name, text in (("pull.yaml", PULL), ("stall.yaml", STALL), ("idle.yaml", IDLE),
                           ("brakes.yaml", NEVER_BRAKES), ("review.yaml", REVIEW)):
            self.write(name, text)

    def review(self, code, *options, file="review.yaml"):
        result = self.run_program("review", file, "--json", *options)
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        return json.loads(result.stdout)

    def test_cells_are_what_single_runs_give(self):
        document = self.review(6, "-o", "r.h5", "--set", "limiter.setting=330 bar")
        cells = {(cell["case"], cell["condition"]): cell for cell in document["cells"]}
        self.assertEqual([cell["case"] for cell in document["cells"]], [name for name in ORDER for _ in range(3)])
        for condition, sets in (("as given", []), ("heavy", ["--set", "vehicle.mass=20 t"])):
            run = json.loads(self.run_program("run", "pull.yaml", "-o", "one.h5", "--json", "--set",
                                              "limiter.setting=330 bar", *sets).stdout)
            left = []
            for limit in run["limits"]:
                over = limit["worst"] - limit["level"]
                left.append((-over if "<=" in limit["sentence"] else over) / abs(limit["level"]))
            self.assertAlmostEqual(cells["pulls away", condition]["margin"], min(left), delta=1e-9)
            self.assertEqual(cells["pulls away", condition]["limit"], run["limits"][left.index(min(left))]["sentence"])
        # What gives no evidence is told and is no pass.
        self.assertEqual(cells["never brakes", "as given"]["verdict"], "not judged")
        self.assertEqual(cells["never brakes", "as given"]["message"], "braking never starts")
        self.assertEqual(cells["idle", "as given"]["verdict"], "no limits")
        self.assertEqual(cells["idle", "cold"]["verdict"], "kept")
        stalled = cells["stall", "as given"]
        self.assertEqual((stalled["status"], stalled["verdict"]), ("stopped", "not judged"))
        self.assertIn("stall", stalled["message"])
        self.assertEqual(document["counts"]["stopped"], 3)
        # The histories are ordinary run files with the same measures.
        table = columns("r.h5" if os.path.isabs("r.h5") else self.path("r.h5"))
        self.assertEqual(table["worst_margin"].shape, (4, 3))
        for k in (0, 4):
            with h5py.File(self.path(f"r.h5.runs/{table['run_file'][k]}")) as run:
                self.assertEqual(run["measures/peak_line_a_pressure"][()], table["measures/peak_line_a_pressure"][k])

    def test_no_file_of_others_is_replaced(self):
        os.mkdir(self.path("r.h5.runs"))
        self.write("r.h5.runs/case_000001.h5", "mine\n")
        result = self.run_program("review", "review.yaml", "-o", "r.h5", "--quiet")
        self.assertEqual((result.returncode, os.path.exists(self.path("r.h5"))), (2, False))
        self.assertIn("case_000001.h5 is there and no run file of this program; --force replaces it", result.stderr)
        with open(self.path("r.h5.runs/case_000001.h5"), encoding="utf-8") as file:
            self.assertEqual(file.read(), "mine\n")
        self.assertEqual(self.run_program("review", "review.yaml", "-o", "r.h5", "--quiet", "--no-runs").returncode, 6)
        for options in (["--force"], []):  # the second time they are its own
            self.assertEqual(self.run_program("review", "review.yaml", "-o", "r.h5", "--quiet", *options).returncode, 6)

    def test_worst_places_and_units(self):
        document = self.review(6, "-o", "r.h5", "--no-runs")
        self.assertFalse(os.path.exists(self.path("r.h5.runs")))
        with h5py.File(self.path("r.h5")) as file:
            limits = [file[f"limit_{i + 1}"] for i in range(int(file.attrs["limit_count"]))]
            for told, group in zip(document["limits"], limits):
                self.assertEqual(told["sentence"], group.attrs["sentence"])
                margins = group["margin"][()]
                if numpy.isnan(margins).all():
                    self.assertIsNone(told["worst_case"])
                    continue
                cell = document["cells"][int(numpy.nanargmin(margins))]
                self.assertEqual((told["worst_case"], told["worst_condition"]), (cell["case"], cell["condition"]))
            for group in [*limits, file["measures"]]:
                for dataset in group.values():
                    if dataset.dtype.kind == "f":
                        self.assertTrue(dataset.attrs["units"] and dataset.attrs["long_name"], dataset.name)

    def test_a_failed_run_is_a_cell(self):
        self.write("fails.yaml", PULL.replace("end_time: 3 s", "end_time: 3 s, work_limit: 1000, largest_step: 1 ms"))
        self.write("f.yaml", "cases: [pull.yaml, fails.yaml]\n")
        document = self.review(5, "-o", "f.h5", file="f.yaml")
        self.assertEqual([cell["verdict"] for cell in document["cells"]], ["kept", "failed"])
        self.assertTrue(document["cells"][1]["message"])

    def test_against(self):
        self.review(6, "-o", "old.h5", "--no-runs")
        document = self.review(4, "-o", "new.h5", "--no-runs", "--against", "old.h5", "--set", "engine.set_speed=1450 rpm")
        cells = {(cell["case"], cell["condition"]): cell for cell in document["cells"]}
        self.assertEqual(cells["pulls away", "as given"]["change"], "broken")
        back = self.review(6, "-o", "back.h5", "--no-runs", "--against", "new.h5")
        changes = [cell["change"] for cell in back["cells"]]
        self.assertEqual(changes[:2], ["mended", "mended"])
        self.write("more.yaml", REVIEW.replace("name: heavy", "name: heavier"))
        more = self.review(6, "-o", "more.h5", "--no-runs", "--against", "old.h5", file="more.yaml")
        self.assertEqual((more["changes"]["new"], more["changes"]["gone"]), (4, 4))
        self.assertIn("is no review", self.run_program("review", "review.yaml", "-o", "x.h5", "--no-runs", "--against",
                                                       self.run_file()).stderr)

    def run_file(self):
        self.run_program("run", "idle.yaml", "-o", "idle.h5")
        return "idle.h5"

    def test_threads_and_interruptions_change_nothing(self):
        self.review(6, "-o", "one.h5", "--jobs", "1", "--no-runs")
        self.review(6, "-o", "three.h5", "--jobs", "3", "--no-runs")
        self.write("long.yaml", REVIEW + "set: {simulation.relative_tolerance: 1e-9}\n")
        process = self.start_program("review", "long.yaml", "-o", "cut.h5", "--jobs", "1", "--quiet",
                                     "--no-runs")
        for _ in range(400):
            if os.path.exists(self.path("cut.h5.journal")) and os.path.getsize(self.path("cut.h5.journal")) > 2000:
                break
            time.sleep(0.005)
        process.send_signal(signal.SIGINT)
        process.communicate()
        self.review(6, "-o", "cut.h5", "--resume", "--no-runs", file="long.yaml")
        self.review(6, "-o", "whole.h5", "--no-runs", file="long.yaml")
        for first, second in (("one.h5", "three.h5"), ("cut.h5", "whole.h5")):
            a, b = columns(self.path(first)), columns(self.path(second))
            self.assertEqual(list(a), list(b))
            for name in a:
                self.assertEqual(a[name].tobytes() if a[name].dtype.kind == "f" else list(map(str, a[name])),
                                 b[name].tobytes() if b[name].dtype.kind == "f" else list(map(str, b[name])), name)
        self.assertIn("there already", self.run_program("review", "review.yaml", "-o", "one.h5", "--resume").stdout)
        other = self.run_program("review", "long.yaml", "-o", "one.h5", "--resume")
        self.assertEqual(other.returncode, 2)

    def test_faults_have_their_place(self):
        for text, line, column, words in (
                ("case: x\n", 1, 1, "'case' is no part of a review; did you mean 'cases'?"),
                ("title: x\n", 1, 1, "no 'cases:'"),
                ("cases: []\n", 1, 8, "an empty list"),
                ("cases: [pul.yaml]\n", 1, 9, "cannot be read"),
                ("cases: [pull.yaml, pull.yaml]\n", 1, 20, "is here twice"),
                ("cases: [{name: x}]\n", 1, 9, "no 'case:'"),
                ("cases: [{case: pull.yaml, sets: 3}]\n", 1, 27, "'sets' is no part of"),
                ("cases: [pull.yaml]\nconditions: [{set: {vehicle.mass: 3 t}}]\n", 2, 14, "no 'name:'"),
                ("cases: [pull.yaml]\nconditions: [{name: a, set: {vehicle.mas: 3 t}}]\n", 2, 38, "did you mean"),
                ("cases: [pull.yaml]\nconditions: [{name: a, set: {vehicle.mass: 3 bar}}]\n", 2, 46, "bar"),
                ("cases: [pull.yaml]\nset: {relief.seting: 3 bar}\n", 2, 14, "did you mean"),
                ("cases: [pull.yaml]\nlimits: [engine_speeds <= 3 rpm]\n", 2, 10, "did you mean"),
                ("cases: [pull.yaml]\nmachine: nowhere.yaml\n", 2, 10, "cannot be read"),
                (f"cases: [pull.yaml, {ROOT}/cases/valve/step.yaml]\n", 1, 20, "one circuit")):
            self.write("bad.yaml", text)
            result = self.run_program("review", "bad.yaml", "-o", "bad.h5")
            self.assertEqual(result.returncode, 2, text)
            self.assertIn(f"bad.yaml:{line}:{column}: error: ", result.stderr, text)
            self.assertIn(words, result.stderr, text)
            self.assertFalse(os.path.exists(self.path("bad.h5")), text)

    def test_the_machine_of_the_review(self):
        self.write("own.yaml", open(f"{ROOT}/cases/machines/forwarder.yaml", encoding="utf-8").read().replace(
            "inertia: 1.8 kg m2", "inertia: 2.9 kg m2"))
        self.write("with.yaml", "machine: own.yaml\ncases: [pull.yaml]\n")
        self.review(0, "-o", "with.h5", file="with.yaml")
        with h5py.File(self.path("with.h5.runs/case_000000.h5")) as run:
            self.assertAlmostEqual(run["parameters/engine.inertia"][()], 2.9)

    def test_page(self):
        self.review(6, "-o", "r.h5")
        self.run_program("report", "r.h5", "-o", "r.html")
        with open(self.path("r.html"), encoding="utf-8") as page:
            text = page.read()
        self.assertEqual(text.count('<script type="application/json" id="run-'), 12)
        self.review(6, "-o", "bare.h5", "--no-runs")
        result = self.run_program("report", "bare.h5", "-o", "bare.html")
        self.assertEqual(result.returncode, 2)
        self.assertIn("--no-runs", result.stderr)
        self.assertFalse(os.path.exists(self.path("bare.html")))


if __name__ == "__main__":
    need_program()
    unittest.main()
