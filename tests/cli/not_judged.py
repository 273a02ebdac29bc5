"""The third answer of a limit, not judged: exit code and words of a run, columns of a sweep's table, its picture and
its page."""
import json
import os
import sys
import unittest

import h5py
import numpy
from matplotlib.collections import QuadMesh

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402
from report import document  # noqa: E402
from report_sweep import columns  # noqa: E402

sys.path.insert(0, os.path.join(ROOT, "tools"))
from picture import sweep  # noqa: E402
from picture.sweep_figure import make_sweep_figure  # noqa: E402
from picture import command  # noqa: E402

# The machine drives on; a brake comes at 2 s, unless it is applied by nothing.
CASE = f"""title: Braked or not
machine: {ROOT}/cases/machines/forwarder.yaml
simulation: {{end_time: 4 s}}
operator:
  forward_pedal: [[0 s, 0 %], [0.2 s, 60 %]]
  brake: [[0 s, 0 %], [2 s, 0 %], [2.3 s, 0 %]]
limits:
  - line_a_pressure <= 600 bar
  - vehicle_speed <= 4 km/h within 1 s
"""
STUDY = """title: Braked or not
case: base.yaml
vary:
  - {path: vehicle.mass, values: [8 t, 9 t]}
  - {path: "operator.brake[3].value", values: [0 %, 5 %, 100 %]}
"""
BROKEN, KEPT, NOT_JUDGED = 0, 1, 2
# Without a brake there is no evidence, with little of it the machine drives on, with all of it it stops.
ANSWERS = [NOT_JUDGED, BROKEN, KEPT] * 2
BRAKE = ("--set", "operator.brake=[[0 s, 0 %], [2 s, 0 %], [2.3 s, 100 %]]")


class OfARun(Folder):
    def setUp(self):
        super().setUp()
        self.write("base.yaml", CASE)

    def test_exit_codes(self):
        result = self.expect(6, "run", "base.yaml", "-o", "a.h5")
        self.assertIn("not judged  vehicle_speed <= 4 km/h within 1 s: braking never starts", result.stdout)
        self.expect(6, "run", "base.yaml", "-o", "b.h5", "--quiet")
        self.expect(0, "run", "base.yaml", "-o", "c.h5", *BRAKE)
        # A broken limit comes first, a run that failed before both.
        self.write("broken.yaml", CASE + "  - line_a_pressure <= 100 bar\n")
        self.expect(4, "run", "broken.yaml", "-o", "d.h5")
        self.expect(1, "run", "broken.yaml", "-o", "e.h5", "--set", "simulation.work_limit=1000", "--set", "simulation.largest_step=1 ms")

    def test_the_document(self):
        answer = json.loads(self.expect(6, "run", "base.yaml", "-o", "a.h5", "--json").stdout)
        self.assertEqual([limit["result"] for limit in answer["limits"]], ["kept", "not judged"])
        self.assertEqual(answer["limits"][1]["reason"], "braking never starts")
        self.assertIsNone(answer["limits"][1]["worst"])


class OfASweep(Folder):
    def setUp(self):
        super().setUp()
        self.write("base.yaml", CASE)
        self.write("study.yaml", STUDY)
        self.expect(0, "sweep", "study.yaml", "-o", "table.h5", "--quiet")  # a column, not an exit code

    def test_columns(self):
        with h5py.File(self.path("table.h5")) as file:
            self.assertEqual(list(file["limit_1_line_a_pressure"]), [KEPT] * 6)
            self.assertEqual(list(file["limit_2_vehicle_speed"]), ANSWERS)
            self.assertEqual(list(file["all_limits"]), ANSWERS)
            self.assertEqual(list(numpy.isnan(file["limit_2_vehicle_speed_worst"])),
                             [answer == NOT_JUDGED for answer in ANSWERS])
            for name in ("limit_2_vehicle_speed", "all_limits"):
                self.assertEqual(file[name].attrs["flag_meanings"], "broken kept not_judged")
                self.assertEqual(list(file[name].attrs["flag_values"]), [BROKEN, KEPT, NOT_JUDGED])

    def test_the_same_in_shards_and_lanes(self):
        for shard in (0, 1):
            self.expect(0, "sweep", "study.yaml", "-o", f"part{shard}.h5", "--shard", f"{shard}/2", "--quiet")
        self.expect(0, "merge", "part0.h5", "part1.h5", "-o", "merged.h5")
        self.write("lanes.yaml", STUDY + "set: {simulation.method: rosenbrock}\n")
        self.expect(0, "sweep", "lanes.yaml", "-o", "lanes.h5", "--quiet")
        for name in ("merged.h5", "lanes.h5"):
            with h5py.File(self.path(name)) as file:
                self.assertEqual(list(file["all_limits"]), ANSWERS, name)

    def drawn(self, *arguments):
        options = command.parse([self.path("table.h5"), "--draw", *arguments])
        return make_sweep_figure(self.path("table.h5"), options)

    def test_picture(self):
        table = sweep.Table(self.path("table.h5"))
        self.assertEqual(list(table.kept), ANSWERS)
        figure = self.drawn("scatter", "-m", "peak_line_a_pressure")
        words = [text.get_text() for text in figure.texts]
        self.assertTrue(any("2 keep every limit (33 %)   2 not judged" in text for text in words), words)
        labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
        self.assertEqual([label for label in labels if "not judged" in label], ["not judged (2)"])

    def test_region_of_the_picture(self):
        """The line goes between little brake and full brake only: what is not judged does not count as kept."""
        figure = self.drawn("map")
        axis = figure.axes[0]
        drawn = [shape for shape in axis.collections if not isinstance(shape, QuadMesh)]
        lines = [path.vertices for shape in drawn for path in shape.get_paths()]
        self.assertGreater(len(lines), 0)
        names = {axis.get_xlabel(): 0, axis.get_ylabel(): 1}
        along = next(place for label, place in names.items() if "brake" in label)
        # Cases lie at 0, 5 and 100 %: half of them break half way between the last two, and nowhere else.
        self.assertEqual({round(value, 6) for line in lines for value in line[:, along]}, {52.5})

    def test_page(self):
        self.expect(0, "report", "table.h5", "-o", "page.html")
        with open(self.path("page.html"), encoding="utf-8") as file:
            page = file.read()
        found = columns(page)
        for name in ("limit_2_vehicle_speed", "all_limits"):
            column, values = found[name]
            self.assertEqual((column["broken"], column["kept"], column["unjudged"]), (2, 2, 2), name)
            self.assertEqual(list(values), ANSWERS)
        self.assertEqual(document(page, "table")["rows"], 6)


if __name__ == "__main__":
    need_program()
    unittest.main()
