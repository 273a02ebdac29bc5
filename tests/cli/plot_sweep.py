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

    def test_groups_hold_every_case_once(self):
        few = numpy.array([3.0, 1.0, 3.0, 2.0])
        centres, group = sweep.groups_of(few)
        self.assertEqual(list(centres), [1.0, 2.0, 3.0])
        self.assertEqual(list(group), [2, 0, 2, 1])
        many = numpy.random.default_rng(1).normal(size=1000)
        centres, group = sweep.groups_of(many)
        counts = numpy.bincount(group)
        self.assertEqual(counts.sum(), 1000)
        self.assertLess(counts.max() - counts.min(), 3)

    def test_cells_lie_around_the_values(self):
        edges, place = sweep.axis_bins(numpy.array([1.0, 10.0, 100.0, 10.0]), True)
        numpy.testing.assert_allclose(edges, 10.0 ** numpy.array([-0.5, 0.5, 1.5, 2.5]))
        self.assertEqual(list(place), [0, 1, 2, 1])
        edges, place = sweep.axis_bins(numpy.array([0.0, 2.0, 4.0]), False)
        self.assertEqual(list(edges), [-1.0, 1.0, 3.0, 5.0])


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
        for kind in ("curve", "map", "influence", "scatter", "pairs"):
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
