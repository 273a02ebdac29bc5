"""swashloop compare and fit: clocks, bands, refusals; numbers found again from noisy traces (all 20 seeds:
tests/reference/fit_recovery.py)."""
import json
import os
import sys
import unittest

import h5py
import numpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import PROGRAM, ROOT, Folder, need_program  # noqa: E402

sys.path.insert(0, os.path.join(ROOT, "tests", "reference"))
import fit_recovery  # noqa: E402

STEP = os.path.join(ROOT, "cases", "valve", "step.yaml")
BENCH = os.path.join(ROOT, "cases", "valve", "bench.csv")
MAP = os.path.join(ROOT, "cases", "valve", "bench.yaml")


class Compare(Folder):
    def setUp(self):
        super().setUp()
        self.expect(0, "run", STEP, "--quiet", "-o", "step.h5", "--set", "simulation.output_step=0.1 ms")

    def trace(self, shift=0.0, offset=0.0, rows=None, name="trace.csv", heading="t [ms],p [bar]"):
        with h5py.File(self.path("step.h5")) as file:
            time, pressure = file["time"][::10], file["line_a_pressure"][::10] * 1e-5
        lines = [f"{1e3 * (t - shift):.9g},{p + offset:.9g}" for t, p in zip(time, pressure)]
        return self.write(name, "\n".join([heading, *(rows or lines)]) + "\n")

    def mapping(self, extra="", more=""):
        return self.write("map.yaml", "time: {column: t}\nsignals:\n  - {signal: line_a_pressure, column: p" + extra +
                          "}\n" + more)

    def compare(self, code, *more):
        return json.loads(self.expect(code, "compare", "step.h5", "trace.csv", "--map", "map.yaml", "--json",
                                      *more).stdout)

    def test_itself(self):
        self.trace()
        self.mapping()
        answer = self.compare(0)
        signal = answer["signals"]["line_a_pressure"]
        self.assertLess(signal["largest"], 1.0)  # Pa: the digits of the trace
        self.assertAlmostEqual(signal["explained"], 1.0, places=9)
        self.assertEqual(signal["verdict"], "not asked")
        self.assertEqual(answer["shift"], 0.0)

    def test_the_clock_is_found_between_samples(self):
        for shift in (0.0123456, -0.0087654):
            self.trace(shift=shift)
            self.mapping(more="shift: {largest: 50 ms}\n")
            answer = self.compare(0)
            self.assertAlmostEqual(answer["shift"], shift, delta=2e-6)  # samples are 1 ms apart
            self.assertLess(answer["signals"]["line_a_pressure"]["rms"], 0.05e5)

    def test_a_response_file_is_thinned_and_compares(self):
        self.trace()
        self.mapping(", band: 1 bar")
        self.expect(0, "response", STEP, "--quiet", "-o", "response.h5", "--set", "simulation.output_step=0.1 ms")
        answer = json.loads(self.expect(0, "compare", "response.h5", "trace.csv", "--map", "map.yaml", "--json").stdout)
        signal = answer["signals"]["line_a_pressure"]
        self.assertLess(signal["largest"], 0.1e5)
        self.assertLess(signal["doubt"], 0.1e5)

    def test_too_coarse_a_run_is_not_judged(self):
        with h5py.File(self.path("step.h5")) as file:  # between the samples of the coarse run
            time, pressure = file["time"][5::10], file["line_a_pressure"][5::10] * 1e-5
        self.trace(rows=[f"{1e3 * t:.9g},{p:.9g}" for t, p in zip(time, pressure)])
        self.mapping(", band: 3 bar")
        self.expect(0, "run", STEP, "--quiet", "-o", "step.h5", "--set", "simulation.output_step=1 ms")
        answer = self.compare(6)
        signal = answer["signals"]["line_a_pressure"]
        self.assertEqual((answer["broken"], answer["not_judged"], signal["verdict"]), (0, 1, "not judged"))
        self.assertLess(signal["largest"], signal["doubt"])
        result = self.expect(6, "compare", "step.h5", "trace.csv", "--map", "map.yaml")
        self.assertIn("not judged", result.stdout)
        self.assertIn("finer simulation.output_step", result.stdout)

    def test_bands(self):
        self.trace(offset=-2.0)
        self.mapping(", band: 2.5 bar, rms: 2.1 bar, mean: 1.5 bar")
        answer = self.compare(4)
        signal = answer["signals"]["line_a_pressure"]
        self.assertAlmostEqual(signal["mean"], 2e5, delta=1.0)
        self.assertEqual(signal["verdict"], "broken")
        self.assertIn("mean deviation 2 bar, 1.5 bar allowed", signal["why"])
        self.assertNotIn("rms", signal["why"])
        self.mapping(", band: 2.5 bar, offset: 2 bar, mean: 0.001 bar")
        self.assertEqual(self.compare(0)["signals"]["line_a_pressure"]["verdict"], "kept")
        self.mapping(", factor: -1")
        self.assertLess(self.compare(0)["signals"]["line_a_pressure"]["correlation"], -0.99)

    def test_the_example_and_its_file(self):
        result = self.expect(0, "compare", "step.h5", BENCH, "--map", MAP)
        self.assertRegex(result.stdout, r"shifted by \+0\.0122\d+ s")
        with h5py.File(self.path("step.compare.h5")) as file:
            self.assertEqual(file.attrs["answer"], "comparison")
            self.assertEqual(file["run/line_a_pressure"].shape, file["time"].shape)
            self.assertEqual(list(file["deviations/verdict"].asstr()), ["kept", "kept"])

    def test_semicolons_commas_gaps_and_comments(self):
        self.trace(rows=["# a logger", "0;350", "10,0;350", "20,5;", "30;436,2", "40;439,9"], heading="t [ms];p [bar]")
        self.mapping()
        result = self.run_program("compare", "step.h5", "trace.csv", "--map", "map.yaml", "--json")
        self.assertEqual(json.loads(result.stdout)["signals"]["line_a_pressure"]["count"], 4)
        self.assertEqual(result.stderr, "trace.csv: guessed: columns parted by semicolons; decimals with a comma\n")

    def test_refusals(self):
        def refused(words, **trace):
            self.trace(**trace)
            result = self.expect(2, "compare", "step.h5", "trace.csv", "--map", "map.yaml")
            self.assertIn(words, result.stderr)

        self.mapping()
        refused("trace.csv:3:3: error: found 'x', expected a number", rows=["0,1", "1,x"])
        refused("trace.csv:3:2: error: the line has 1 cells, the heading 2", rows=["0,1", "1"])
        refused("trace.csv:3:5: error: the line has 3 cells, more than", rows=["0,1", "1,2,3"])
        refused("time does not rise", rows=["0,1", "2,2", "1,3"])
        refused("no instant in common", rows=["1000,1", "2000,2", "3000,3"])
        refused("neither in its heading", heading="t [ms],p")
        refused("unit", heading="t [ms],p [kg]")
        refused("has no column 'p'", heading="t [ms],pp [bar]")
        self.trace()
        for text, words in (("time: {column: t}\nsignals: []\n", "one signal at least"),
                            ("time: {colum: t}\nsignals: []\n", "map.yaml:1:8: error: time has no 'colum'; did you mean"),
                            ("signals: []\n", "'time' is missing"),
                            ("time: {column: t}\nsignals:\n  - {signal: line_a_presure, column: p}\n",
                             "map.yaml:3:14: error: 'line_a_presure' is no signal; did you mean 'line_a_pressure'"),
                            ("time: {column: t}\nsignals:\n  - {signal: line_a_pressure, column: p, band: 3 kg}\n",
                             "map.yaml:3:")):
            self.write("map.yaml", text)
            self.assertIn(words, self.expect(2, "compare", "step.h5", "trace.csv", "--map", "map.yaml").stderr)
        self.mapping()
        self.write("no.h5", "nothing")
        self.assertIn("no HDF5 file", self.expect(2, "compare", "no.h5", "trace.csv", "--map", "map.yaml").stderr)
        self.assertIn("which mapping", self.expect(2, "compare", "step.h5", "trace.csv").stderr)


class Fit(Folder):
    def test_numbers_are_found_again(self):
        for name, task in fit_recovery.TASKS.items():
            errors, scores, held, refused, _ = fit_recovery.recover(task, 2)
            self.assertEqual(refused, 0, name)
            for path in task["truth"]:
                self.assertLess(max(abs(error) for error in errors[path]), 0.03, path)
                self.assertLess(max(abs(score) for score in scores[path]), 4.0, path)

    def test_what_cannot_be_told_is_not_claimed(self):
        for what, good in fit_recovery.refuse():
            self.assertTrue(good, what)

    def test_the_example(self):
        result = self.expect(0, "fit", STEP, BENCH, "--map", MAP, "-p", "relief.poppet_damping", "-p",
                             "relief.discharge", "-p", "relief.opening_width")
        self.assertRegex(result.stdout, r"relief\.poppet_damping +16\d\d")
        self.assertRegex(result.stdout, r"relief\.discharge +NOT TOLD +the traces cannot tell it from relief\.opening_width")
        self.assertIn("correlation -1.000", result.stdout)
        with h5py.File(self.path("step.fit.h5")) as file:
            self.assertTrue(numpy.isnan(file["parameters/value"][1]))
            self.assertTrue(numpy.isfinite(file["parameters/value"][0]))

    def test_a_model_that_misses_something_is_told(self):
        """The trace rings as a poppet does; the first-order law cannot."""
        result = self.expect(0, "fit", STEP, BENCH, "--map", MAP, "-p", "relief.lag=1 ms..20 ms", "--set",
                             "relief.law=first_order")
        self.assertIn("what is left over is no noise", result.stdout)

    def test_refusals(self):
        for parameter, words in (("relief.lag=1 ms", "expected PATH=LOW..HIGH"),
                                 ("relief.lag=5 ms..1 ms", "the bounds must rise"),
                                 ("relief.lag=1 bar..2 bar", "unit"), ("relief.law", "is a choice"),
                                 ("relief.poppet_friction", "give its bounds")):
            self.assertIn(words, self.expect(2, "fit", STEP, BENCH, "--map", MAP, "-p", parameter).stderr, parameter)
        self.assertIn("no signal", self.expect(2, "fit", STEP, BENCH, "--map", self.write(
            "m.yaml", "time: {column: t}\nsignals:\n  - {signal: engine_speed, column: Q, unit: rpm}\n"), "-p",
                                               "relief.setting").stderr)
        self.assertEqual(self.files(), ["m.yaml"])


if __name__ == "__main__":
    need_program()
    fit_recovery.PROGRAM = PROGRAM
    unittest.main()
