"""The plot tool: formats, overlays, errors, and that no peak is lost on the way to the paper."""
import os
import re
import subprocess
import sys
import tempfile
import unittest

import numpy

sys.dont_write_bytecode = True
SOURCE = os.environ["SWASHLOOP_SOURCE"]
TOOL = os.path.join(SOURCE, "tools", "plot")
sys.path[:0] = [os.path.join(SOURCE, "tools"), os.path.dirname(os.path.abspath(__file__))]

import _run_file  # noqa: E402
from picture import command, curves, panels, runfile, units  # noqa: E402
from picture.figure import make_figure  # noqa: E402

SAMPLES = 60000
SPIKE = 31234  # one sample of 60000
DIP = 45678


def make_run(path, level=100e5, status="complete", limits=()):
    time = numpy.arange(SAMPLES) * 1e-3
    line_a = level + 5e5 * numpy.sin(time)
    line_a[SPIKE] = 452.7e5
    line_a[DIP] = 3.1e5
    line_b = numpy.full(SAMPLES, 25e5)
    engine = 220.0 + 30.0 * numpy.exp(-((time - 31.0) ** 2))
    temperature = numpy.full(SAMPLES, 333.15)
    _run_file.write(
        path, time,
        [("line_a_pressure", "bar", line_a), ("line_b_pressure", "bar", line_b), ("charge_pressure", "bar", line_b),
         ("engine_speed", "rpm", engine), ("pedal", "%", numpy.clip(1.0 - time / 30.0, 0.0, 1.0)),
         ("loop_oil_temperature", "degC", temperature), ("relief_a_flow", "L/min", 0.0 * time)],
        [("peak_line_a_pressure", "bar", 452.7e5), ("peak_line_a_pressure_time", "s", time[SPIKE]),
         ("stop_from", "s", 30.0), ("stop_time", "s", float("nan"))],
        [(30.0, "action", "pedal released"), (31.2, "limit", "limit broken: line_a_pressure <= 420 bar")],
        [("line_a_pressure <= 420 bar", "broken", 420e5, 452.7e5, time[SPIKE], time[SPIKE]),
         ("stop_time <= 3 s", "kept", 3.0, float("nan"), float("nan"), float("nan")), *limits],
        status=status)


class PlotTool(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.first, cls.second = cls.path("first.h5"), cls.path("second.h5")
        make_run(cls.first)
        make_run(cls.second, level=150e5, status="stopped")

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    @classmethod
    def path(cls, name):
        return os.path.join(cls.folder.name, name)

    def run_tool(self, *arguments):
        return subprocess.run([sys.executable, TOOL, *arguments], cwd=self.folder.name, capture_output=True, text=True,
                              check=False)

    def fails(self, status, pattern, *arguments):
        done = self.run_tool(*arguments)
        self.assertEqual(done.returncode, status, done.stderr)
        self.assertRegex(done.stderr, pattern)
        self.assertEqual(done.stderr.count("\n"), 1, "more than one line: " + done.stderr)
        self.assertEqual(done.stdout, "")

    def figure(self, *arguments):
        options = command.parse(list(arguments))
        runs = [runfile.Run(path) for path in options.runs]
        command.settle_window(options, runs)
        chosen = panels.chosen_panels(runs, options.signals) if options.signals else panels.default_panels(runs)[0]
        return make_figure(runs, chosen, [], options)

    def test_formats(self):
        for extension, magic in (("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")):
            done = self.run_tool(self.first, "-o", "picture." + extension)
            self.assertEqual(done.returncode, 0, done.stderr)
            self.assertEqual(done.stdout.strip(), "picture." + extension)
            with open(self.path("picture." + extension), "rb") as file:
                self.assertTrue(file.read(8).startswith(magic))

    def test_default_name_and_overlay(self):
        done = self.run_tool(self.first, self.second)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertTrue(os.path.exists(self.path("first.png")))

    def test_overlay_draws_every_run(self):
        figure = self.figure(self.first, self.second, "-s", "line_a_pressure")
        names = {line.get_gid() for line in figure.axes[-1].lines} - {None}
        self.assertEqual(names, {"first:line_a_pressure", "second:line_a_pressure"})
        styles = {line._unscaled_dash_pattern for line in figure.axes[-1].lines if line.get_gid()}
        self.assertEqual(len(styles), 2)

    def test_peak_survives(self):
        for window in ((), ("--from", "20", "--to", "50")):
            figure = self.figure(self.first, "-s", "line_a_pressure", *window)
            line = next(line for line in figure.axes[-1].lines if line.get_gid() == "first:line_a_pressure")
            time, values = line.get_xdata(), line.get_ydata()
            self.assertLess(len(values), SAMPLES / 4)
            self.assertAlmostEqual(values.max(), 452.7, places=9)
            self.assertAlmostEqual(time[values.argmax()], SPIKE * 1e-3, places=9)
            self.assertAlmostEqual(values.min(), 3.1, places=9)
            low, high = figure.axes[-1].get_ylim()
            self.assertTrue(low <= 3.1 and high >= 452.7)

    def test_aligned_runs_count_from_the_start_of_braking(self):
        runs = [runfile.Run(self.first)]
        runs[0].align()
        self.assertAlmostEqual(runs[0].events[0].time, 0.0)
        found = panels.extremes(runs[0], panels.chosen_panels(runs, [["line_a_pressure"]])[0])
        self.assertEqual([(name, kind) for name, _, _, kind in found], [("line_a_pressure", "max")])
        self.assertAlmostEqual(found[0][1], SPIKE * 1e-3 - 30.0)
        done = self.run_tool(self.first, self.second, "--align", "--from", "-5", "--to", "5", "-o", "aligned.png")
        self.assertEqual(done.returncode, 0, done.stderr)

    def test_a_window_from_a_moment(self):
        for words, ends in ((("--from", "release-0.5", "--to", "release+2"), (29.5, 32.0)), (("--from", ".5e1"), (5.0, None))):
            figure = self.figure(self.first, "-s", "line_a_pressure", *words)
            low, high = figure.axes[-1].get_xlim()
            self.assertAlmostEqual(low, ends[0])
            if ends[1] is not None:
                self.assertAlmostEqual(high, ends[1])
        self.fails(2, "--to stop: moments of this run: release", self.first, "--to", "stop")  # it never stands
        self.fails(2, '"1 x" is no time', self.first, "--from", "1 x")

    def test_decimation_keeps_gaps_and_edges(self):
        time = numpy.linspace(0.0, 10.0, 10001)
        values = numpy.sin(50.0 * time)
        values[5000] = numpy.nan
        thin_time, thin = curves.decimate(time, values, 2.0, 8.0, 100)
        self.assertLessEqual(thin_time[0], 2.0)
        self.assertGreaterEqual(thin_time[-1], 8.0)
        self.assertTrue(numpy.isnan(thin).any())
        self.assertTrue((numpy.diff(thin_time) > 0.0).all())

    def test_labels_do_not_overlap(self):
        placed = curves.spread([1.0, 1.01, 1.02, 5.0, 9.99], 0.5, 0.0, 10.0)
        self.assertTrue(all(b - a > 0.5 - 1e-9 for a, b in zip(placed, placed[1:])))
        self.assertTrue(min(placed) >= 0.0 and max(placed) <= 10.0)
        self.assertAlmostEqual(placed[3], 5.0)

    def test_pressure_says_gauge(self):
        figure = self.figure(self.first, "-s", "line_a_pressure")
        self.assertIn("bar gauge", [text.get_text() for text in figure.axes[-1].texts])

    def test_limits_and_events_have_their_words(self):
        figure = self.figure(self.first)
        inside = [text.get_text() for axis in figure.axes for text in axis.texts]
        self.assertIn("line_a_pressure <= 420 bar  BROKEN", inside)
        self.assertIn("452.7 bar", inside)
        self.assertEqual([text for text in inside if text in ("1", "2")], ["1", "2"])
        below = [text.get_text() for text in figure.texts]
        self.assertIn("pedal released", below)
        self.assertIn("kept", below)
        self.assertIn("stop_time <= 3 s", below)

    def test_words_below_the_panels_do_not_touch(self):
        """Also where a limit is not judged, which takes more room than kept."""
        nothing = float("nan")
        make_run(self.path("unjudged.h5"), limits=[
            (sentence, "not judged", 1.0, nothing, nothing, nothing)
            for sentence in ("vehicle_speed <= 1 km/h within 6 s", "stop_distance <= 5 m")])
        figure = self.figure(self.path("unjudged.h5"))
        figure.canvas.draw()
        boxes = [(text.get_text(), text.get_window_extent()) for text in figure.texts if text.get_text().strip()]
        self.assertEqual([words for words, _ in boxes].count("not judged"), 2)
        gap = 0.03 * figure.dpi  # beside each other; lines of text stand as close as the font has them
        for i, (words, box) in enumerate(boxes):
            for other_words, other in boxes[i + 1:]:
                beside = min(box.y1, other.y1) - max(box.y0, other.y0) > 0.5 * min(box.height, other.height)
                apart = max(box.x0, other.x0) - min(box.x1, other.x1)
                self.assertTrue(not beside or apart > gap, f"'{words}' touches '{other_words}'")

    def test_idle_panels_are_left_out(self):
        headings = [panel.heading for panel in panels.default_panels([runfile.Run(self.first)])[0]]
        self.assertIn("Line pressure", headings)
        self.assertNotIn("Flow over relief valves", headings)
        self.assertNotIn("Oil temperature", headings)

    def test_units_are_read_from_the_models(self):
        known = {"bar": (1e5, 0.0), "rpm": (2.0 * numpy.pi / 60.0, 0.0), "km/h": (1.0 / 3.6, 0.0), "%": (0.01, 0.0),
                 "L/min": (1e-3 / 60.0, 0.0), "degC": (1.0, 273.15), "cm3/rev": (1e-6 / (2.0 * numpy.pi), 0.0)}
        for unit, (scale, offset) in known.items():
            self.assertAlmostEqual(units.table()[unit][0] / scale, 1.0, places=14, msg=unit)
            self.assertEqual(units.table()[unit][1], offset, unit)
        with open(os.path.join(SOURCE, "models", "lib", "quantity.h"), encoding="utf-8") as file:
            text = file.read()
        self.assertEqual(len(units.ROW.findall(text)), len(re.findall(r"^  QUANTITY\(", text, re.MULTILINE)))

    def test_errors(self):
        with open(self.path("text.h5"), "w", encoding="utf-8") as file:
            file.write("no file of ours\n")
        import h5py
        with h5py.File(self.path("foreign.h5"), "w") as file:
            file["time"] = numpy.arange(3.0)
        self.fails(2, 'no signal "line_a_presure"; nearest: "line_a_pressure"', self.first, "-s", "line_a_presure")
        self.fails(2, "nothing.h5: no such file", "nothing.h5")
        self.fails(2, "text.h5: not an HDF5 file", "text.h5")
        self.fails(2, "foreign.h5: HDF5, but not a run file", "foreign.h5")
        self.fails(2, "no run file given")
        self.fails(2, "picture.gif: ends with none of", self.first, "-o", "picture.gif")
        self.fails(2, "nothing between 100 s and 200 s", self.first, "--from", "100", "--to", "200")
        self.fails(2, "--from 5 is not before --to 4", self.first, "--from", "5", "--to", "4")
        self.fails(2, '--size "big"', self.first, "--size", "big")
        self.fails(2, "--size: .* panels .* need", self.first, "--size", "200x60")
        self.fails(2, "unrecognized arguments: --nothing", self.first, "--nothing")
        self.fails(3, "none/picture.png: could not be written: No such file", self.first, "-o", "none/picture.png")
        self.assertEqual([name for name in os.listdir(self.folder.name) if name.startswith("tmp")], [])

    def test_a_python_without_the_packages_finds_one_that_has_them(self):
        # -S hides the installed packages from the first interpreter; the tool must go on with another.
        done = subprocess.run([sys.executable, "-S", TOOL, self.first, "-o", "other.png"], cwd=self.folder.name, timeout=60,
                              capture_output=True, text=True, check=False)
        self.assertIn(done.returncode, (0, 2))
        self.assertNotIn("Traceback", done.stderr)


if __name__ == "__main__":
    unittest.main()
