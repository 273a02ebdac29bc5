"""Pictures of sweeps: every kind is drawn, and what they show is computed right."""
import os
import subprocess
import sys
import unittest

sys.dont_write_bytecode = True
SOURCE = os.environ["SWASHLOOP_SOURCE"]
TOOL = os.path.join(SOURCE, "tools", "plot")
sys.path[:0] = [os.path.join(SOURCE, "tools")]

import numpy  # noqa: E402
from _program import Folder, need_program  # noqa: E402
from picture import sweep  # noqa: E402
from picture.errors import PlotError  # noqa: E402

STUDY = f"""title: A study to draw
case: {SOURCE}/cases/baseline/downhill.yaml
set: {{simulation.end_time: 2 s}}
arrange: latin_hypercube
count: 60
vary:
  - {{path: vehicle.mass, from: 10 t, to: 18 t}}
  - {{path: relief.lag, from: 1 ms, to: 100 ms, spacing: logarithmic}}
  - {{path: charge.check_open, from: 0.25 bar, to: 1.5 bar}}
  - {{path: relief.return_to, values: [line, gallery]}}
compare:
  - {{name: before}}
  - {{name: after, set: {{charge.relief_setting: 20 bar}}}}
limits:
  - line_a_pressure <= 300 bar
"""


FATES = ("broken", "kept", "not_judged", "failed", "unfinished")


class Numbers(unittest.TestCase):
    def test_ranks_share_their_mean(self):
        self.assertEqual(list(sweep.ranks(numpy.array([30.0, 10.0, 20.0, 10.0]))), [4.0, 1.5, 3.0, 1.5])

    def test_rank_correlation(self):
        x = numpy.array([1.0, 2.0, 3.0, 4.0, 5.0])
        self.assertAlmostEqual(sweep.rank_correlation(x, numpy.exp(x))[0], 1.0, 14)
        self.assertAlmostEqual(sweep.rank_correlation(x, -x ** 3)[0], -1.0, 14)
        # Worked by hand: rank differences 1, -1, 1, -1, 0, so 1 - 6 * 4 / (5 * 24).
        self.assertAlmostEqual(sweep.rank_correlation(x, numpy.array([2.0, 1.0, 4.0, 3.0, 5.0]))[0], 0.8, 14)
        value, count = sweep.rank_correlation(x, numpy.array([2.0, numpy.nan, 4.0, 3.0, 5.0]))
        self.assertEqual(count, 4)
        self.assertAlmostEqual(value, 0.8, 14)
        self.assertNotEqual(*2 * (sweep.rank_correlation(x, 0.0 * x)[0],))


class Pictures(Folder):
    def setUp(self):
        super().setUp()
        self.write("study.yaml", STUDY)
        self.expect(5, "sweep", "study.yaml", "-o", "t.h5")

    def plot(self, *arguments):
        return subprocess.run([sys.executable, TOOL, *arguments], cwd=self.folder, stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE, text=True, timeout=120, check=False)

    def draw(self, *arguments):
        result = self.plot("t.h5", "-o", "p.png", *arguments)
        self.assertEqual((result.returncode, result.stderr), (0, ""))
        self.assertGreater(os.path.getsize(self.path("p.png")), 20_000)

    def test_every_kind(self):
        self.draw()
        for kind in ("curve", "map", "influence", "scatter", "pairs", "probability"):
            self.draw("--draw", kind)
        self.draw("--draw", "map", "-x", "relief.lag", "-y", "relief.return_to", "-m", "peak_line_a_pressure",
                  "--at", "vehicle.mass=14000")
        self.draw("--draw", "influence", "-m", "peak_line_a_pressure", "vehicle_speed_max")

    def test_errors(self):
        for arguments, words in ((("-x", "vehicle.mas"), 'nearest: "vehicle.mass"'),
                                 (("-m", "peak_line"), 'nearest: "peak_line_'),
                                 (("--at", "vehicle.mass=heavy"), "expected PATH=NUMBER"),
                                 (("--at", "relief.return_to=tank"), "is one of line, gallery")):
            result = self.plot("t.h5", "--draw", "scatter", *arguments)
            self.assertEqual(result.returncode, 2)
            self.assertIn(words, result.stderr)
        self.expect(0, "run", os.path.join(SOURCE, "cases", "baseline", "downhill.yaml"), "--set",
                    "simulation.end_time=1 s", "-o", "r.h5", "--quiet")
        result = self.plot("r.h5", "-x", "vehicle.mass")
        self.assertEqual(result.returncode, 2)
        self.assertIn("-x is for the table of a sweep", result.stderr)
        result = self.plot("r.h5", "t.h5")
        self.assertEqual(result.returncode, 2)
        result = self.plot("t.h5", "--draw", "indices")
        self.assertEqual(result.returncode, 2)
        self.assertIn("arrange: saltelli", result.stderr)

    def test_indices(self):
        self.write("indices.yaml", STUDY.replace("latin_hypercube", "saltelli").replace("count: 60", "count: 8")
                   .split("compare:")[0])
        self.expect(0, "sweep", "indices.yaml", "-o", "t.h5", "--force")
        self.draw()
        self.draw("--draw", "indices")
        table = sweep.Table(self.path("t.h5"))
        self.assertEqual(table.cases.size, 8 * (4 + 2))
        self.assertEqual(set(table.indices["groups"][table.indices["of"] == "vehicle_speed_max"]), {8})

    def test_steps_and_regions(self):
        """Every case lies in one step of each thing varied; counts, their intervals and the map add up."""
        table = sweep.Table(self.path("t.h5"))
        for column in table.varied():
            steps = table.steps[column.name]
            place = steps.place(column.values)
            self.assertTrue(((column.values >= steps.edges[place]) & (column.values <= steps.edges[place + 1])).all())
            counts = sum(table.regions.along(0, steps, fate) for fate in FATES)
            numpy.testing.assert_array_equal(counts, numpy.bincount(place, minlength=steps.count))
        self.assertTrue(table.steps["relief.lag"].logarithmic)
        self.assertFalse(table.steps["vehicle.mass"].logarithmic)
        x, y = (table.steps[name] for name in ("relief.lag", "vehicle.mass"))
        for broken, first, second in ((table.regions.map(x, y, "broken"), x, y),
                                      (table.regions.map(y, x, "broken").T, x, y)):
            numpy.testing.assert_array_equal(broken.sum(axis=0), table.regions.along(0, first, "broken"))
            numpy.testing.assert_array_equal(broken.sum(axis=1), table.regions.along(0, second, "broken"))
        whole = {fate: int(table.regions.overall(0, fate)) for fate in FATES}
        self.assertEqual(whole["failed"], int((table.failed & (table.kept != sweep.BROKEN)).sum()))
        self.assertEqual(whole["broken"], int((table.kept == sweep.BROKEN).sum()))
        self.assertAlmostEqual(table.regions.overall(0, "probability"), whole["broken"] / (whole["broken"] + whole["kept"]))
        # Wilson's interval by its own formula, those without a verdict counted for and against.
        count, z = sum(whole.values()), 1.959963984540054
        for hits, sign, name in ((whole["broken"], -1, "probability_low"), (count - whole["kept"], 1, "probability_high")):
            share = hits / count
            half = z * numpy.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
            self.assertAlmostEqual(table.regions.overall(0, name),
                                   (share + z * z / (2 * count) + sign * half) / (1 + z * z / count), 12)

    def test_what_is_read(self):
        table = sweep.Table(self.path("t.h5"))
        self.assertEqual([column.name for column in table.varied()],
                         ["vehicle.mass", "relief.lag", "charge.check_open", "relief.return_to"])
        worst = table.columns["limit_1_line_a_pressure_worst"]
        self.assertEqual((worst.level, worst.side, worst.quantity.unit), (300.0, "at most", "bar"))
        self.assertEqual(worst.title, "highest line A pressure")
        self.assertGreater(table.failed.sum(), 0)
        self.assertFalse(table.good[table.failed].any())
        table.narrow("relief.return_to=gallery")
        self.assertEqual(table.good.sum(), (~table.failed & (table.columns["relief.return_to"].values == 1.0)).sum())
        with self.assertRaises(PlotError):
            table.find("nothing")


if __name__ == "__main__":
    need_program()
    unittest.main()
