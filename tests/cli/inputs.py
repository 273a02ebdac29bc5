"""Measured traces as inputs: a smooth table costs no restarts, misses no pulse, reads back from the resolved case."""
import json
import os
import subprocess
import sys
import unittest

import h5py
import numpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

MACHINES = os.path.join(ROOT, "cases", "machines", "")
RIG = """circuit: valve_rig
simulation: {end_time: 2 s}
relief: {setting: 420 bar}
rig: {volume: 1 L, feed_flow: 60 L/min, start_pressure: 100 bar, feed: FEED}
"""


class Inputs(Folder):
    def solver(self, case, *more):
        return json.loads(self.expect(0, "run", case, "--json", "-o", "r.h5", *more).stdout)

    def stall(self, pedal):
        with open(os.path.join(ROOT, "cases", "stall.yaml"), encoding="utf-8") as file:
            text = file.read()
        head, _, tail = text.partition("  forward_pedal: ")
        return self.write("stall.yaml", (head + "  forward_pedal: " + pedal + "\n" + tail.partition("\n")[2]).replace(
            "machines/", MACHINES))

    def write_trace(self, name, time, values, heading):
        rows = [f"{t:.6f},{v:.6f}" for t, v in zip(time, values)]
        return self.write(name, "\n".join([heading, *rows]) + "\n")

    def test_a_logged_pedal(self):
        """Without kinks, cheaper, and to the same pressures as straight lines between its samples."""
        time = numpy.arange(0.0, 8.001, 0.01)
        noise = numpy.random.default_rng(5).normal(0.0, 0.4, time.size)
        pedal = numpy.clip(numpy.interp(time, [1.0, 1.5], [0.0, 100.0]) + noise, 0.0, 100.0)
        self.write_trace("drive.csv", time, pedal, "time [s],pedal [%]")
        straight = self.solver(self.stall("{file: drive.csv, value: pedal}"))
        smooth = self.solver(self.stall("{file: drive.csv, value: pedal, curve: smooth}"))
        self.assertGreater(straight["solver"]["restarts"], 500)
        self.assertEqual(smooth["solver"]["restarts"], 0)
        self.assertLess(smooth["solver"]["rate_calls"], 0.5 * straight["solver"]["rate_calls"])
        for name in ("peak_line_a_pressure", "engine_speed_min"):
            a, b = (answer["measures"][name]["value"] for answer in (straight, smooth))
            self.assertAlmostEqual(a / b, 1.0, delta=2e-4)

    def test_no_pulse_is_stepped_over(self):
        """One sample of feed in a second of rest lifts the pressure by what it brings."""
        time = numpy.arange(0.0, 2.001, 0.01)
        feed = numpy.where(numpy.abs(time - 1.2) < 1e-9, 100.0, 0.0)
        self.write_trace("pulse.csv", time, feed, "time [s],feed [%]")
        self.solver(self.write("rig.yaml", RIG.replace("FEED", "{file: pulse.csv, curve: smooth}")))
        with h5py.File(self.path("r.h5")) as file:
            volume = numpy.trapz(file["feed_flow"][()], file["time"][()])
            rise = file["line_a_pressure"][-1] - file["line_a_pressure"][0]
        # Two cubics from 0 to 1 and back, flat at all points: half of two samples.
        self.assertAlmostEqual(volume, 1e-3 * 0.01, delta=1e-9)
        self.assertGreater(rise, 5e5)

    def test_the_resolved_case_reads_back(self):
        time = numpy.arange(0.0, 2.001, 0.05)
        self.write_trace("feed.csv", time, 50.0 + 40.0 * numpy.sin(3.0 * time), "time [s],feed [%]")
        case = self.write("rig.yaml", RIG.replace("FEED", "{file: feed.csv, curve: smooth}"))
        resolved = self.expect(0, "check", case, "--resolved").stdout
        self.assertIn("feed: {curve: smooth, points: [[", resolved)
        one, two = self.solver(case), self.solver(self.write("again.yaml", resolved))
        self.assertEqual(one["measures"], two["measures"])
        with h5py.File(self.path("r.h5")) as file:
            self.assertEqual(file["parameters/rig.feed"].attrs["curve"], "smooth")

    def test_a_run_drives_a_run(self):
        self.expect(0, "run", os.path.join(ROOT, "cases", "stall.yaml"), "-o", "first.h5", "--quiet")
        tool = os.path.join(ROOT, "tools", "trace")
        subprocess.run([tool, "first.h5", "pedal", "--step", "0.005", "-o", "pedal.csv"], cwd=self.folder, check=True,
                       stdout=subprocess.PIPE)
        answer = self.solver(self.stall("{file: pedal.csv, value: pedal, curve: smooth}"))
        with h5py.File(self.path("first.h5")) as file:
            first = file["measures/peak_line_a_pressure"][()]
        self.assertAlmostEqual(answer["measures"]["peak_line_a_pressure"]["value"] / first, 1.0, delta=1e-3)
        result = subprocess.run([tool, "first.h5", "pedl"], cwd=self.folder, stderr=subprocess.PIPE, text=True,
                                check=False)
        self.assertEqual(result.returncode, 2)
        self.assertIn("did you mean 'pedal'", result.stderr)

    def test_refusals(self):
        self.write("f.csv", "time [s],feed [%]\n0,0\n1,50\n1,60\n")
        for text, words in (("{file: f.csv, curve: smoth}", "'smoth' is no choice; expected straight or smooth"),
                            ("{file: f.csv, curve: smooth}", "two points at 1 s; a smooth table has no steps"),
                            ("{points: [[0 s, 1 %]], file: f.csv}", "found 'file' beside 'points', expected curve"),
                            ("{points: 3 %}", "expected a list of pairs"), ("{curve: smooth}", "without 'file:'")):
            result = self.expect(2, "check", self.write("rig.yaml", RIG.replace("FEED", text)))
            self.assertIn(words, result.stderr)
        case = self.write("grade.yaml", f"machine: {MACHINES}forwarder.yaml\nground: {{grade: {{curve: smooth, "
                                        "points: [[0 m, 0 %], [9 m, 3 %]]}}\n")
        self.assertIn("only a table over time can be smooth", self.expect(2, "check", case).stderr)


if __name__ == "__main__":
    need_program()
    unittest.main()
