"""swashloop compare and fit: clocks, bands, refusals; numbers found again from noisy traces (all 20 seeds:
tests/reference/fit_recovery.py)."""
import importlib.machinery
import importlib.util
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

LOADER = importlib.machinery.SourceFileLoader("fit_coverage", os.path.join(ROOT, "tools", "fit-coverage"))
fit_coverage = importlib.util.module_from_spec(importlib.util.spec_from_loader("fit_coverage", LOADER))
LOADER.exec_module(fit_coverage)

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
                            ("signals:\n  - {signal: line_a_pressure, column: p}\n", "map.yaml:1:1: error: 'time' is missing"),
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


class Sensors(Folder):
    """A run seen through sensors with known faults, and noise of half a bar."""

    def setUp(self):
        super().setUp()
        self.expect(0, "run", STEP, "--quiet", "-o", "step.h5", "--set", "simulation.output_step=0.02 ms")
        with h5py.File(self.path("step.h5")) as file:
            self.time = file["time"][()]
            self.pressure, self.flow = file["line_a_pressure"][()] * 1e-5, file["relief_a_flow"][()] * 6e4

    def findings(self, pressure, clock=1.0, pressure_keys="", more="shift: {largest: 20 ms}\n", late=0.0, spikes=()):
        generator = numpy.random.default_rng(11)
        at = numpy.arange(1e-3, 0.199, 4e-4)
        p = numpy.interp(at - late, self.time, pressure) + generator.normal(0.0, 0.5, at.size)
        q = numpy.interp(at, self.time, self.flow) + generator.normal(0.0, 0.4, at.size)
        for k in spikes:
            p[k] += 30.0
        rows = "".join(f"{t * clock + 0.004:.9g},{a:.6g},{b:.6g}\n" for t, a, b in zip(at, p, q))
        self.write("t.csv", "t [s],p [bar],Q [L/min]\n" + rows)
        self.write("m.yaml", f"time: {{column: t}}\n{more}signals:\n"
                   f"  - {{signal: line_a_pressure, column: p, band: 3 bar{pressure_keys}}}\n"
                   "  - {signal: relief_a_flow, column: Q}\n")
        result = self.run_program("compare", "step.h5", "t.csv", "--map", "m.yaml", "--json", "--force")
        return json.loads(result.stdout)

    def only(self, answer, signal, term, value, tolerance):
        self.assertEqual([(row["signal"], row["term"]) for row in answer["findings"]], [(signal, term)], answer["findings"])
        row = answer["findings"][0]
        self.assertLess(abs(row["value"] - value), tolerance)
        self.assertLessEqual(row["from"], value)
        self.assertGreaterEqual(row["to"], value)
        return row["words"]

    def test_a_sound_channel_is_not_accused(self):
        self.assertEqual(self.findings(self.pressure)["findings"], [])

    def test_gain_lag_delay_and_clock_in_words(self):
        words = self.only(self.findings(1.03 * self.pressure), "line_a_pressure", "gain", 1.03, 1e-3)
        self.assertRegex(words, r"^the gain of line_a_pressure is (3|3\.0\d*|2\.99\d*) % high \(2\.9\d+ % to 3\.0\d+ %\)$")
        slow = fit_coverage.lagged(self.pressure, 2e-5, 2e-3)
        words = self.only(self.findings(slow), "line_a_pressure", "lag", 2e-3, 1e-4)
        self.assertIn("the sensor of line_a_pressure lags by ", words)
        words = self.only(self.findings(self.pressure, late=2e-3), "line_a_pressure", "delay", 2e-3, 1e-4)
        self.assertIn("line_a_pressure lags relief_a_flow by ", words)
        words = self.only(self.findings(self.pressure, clock=1.01), None, "drift", 0.01, 5e-4)
        self.assertRegex(words, r"^the clock of the trace runs (1|1\.0\d*|0\.9[89]\d*) % fast")

    def test_what_the_mapping_says_is_laid_between(self):
        slow = fit_coverage.lagged(self.pressure, 2e-5, 2e-3)
        answer = self.findings(slow, pressure_keys=", sensor: {lag: 2 ms}")
        self.assertEqual(answer["findings"], [])
        self.assertLess(answer["signals"]["line_a_pressure"]["rms"], 0.6e5)
        answer = self.findings(slow, pressure_keys=", sensor: {lag: free}")
        self.assertEqual((answer["findings"], answer["signals"]["line_a_pressure"]["verdict"]), ([], "kept"))
        self.assertLess(abs(answer["sensors"][0]["value"] - 2e-3), 1e-4)
        answer = self.findings(self.pressure, clock=1.01, more="shift: {largest: 20 ms}\ndrift: free\n")
        self.assertLess(abs(answer["sensors"][0]["value"] - 0.01), 5e-4)
        self.assertLess(answer["signals"]["line_a_pressure"]["rms"], 0.6e5)

    def test_outliers_are_listed_and_borne(self):
        spikes = (50, 200, 333)
        self.findings(self.pressure, spikes=spikes)
        for loss in ("normal", "student", "huber"):
            answer = json.loads(self.expect(0, "fit", STEP, "t.csv", "--map", "m.yaml", "-p", "relief.setting", "--loss", loss,
                                            "--json", "--force", "-o", "f.h5").stdout)
            self.assertEqual(answer["outlier_count"], 3, loss)
            self.assertEqual(sorted(round((row["time"] - 0.005) / 4e-4) for row in answer["outliers"]), list(spikes))
            for row in answer["outliers"]:
                self.assertEqual(row["signal"], "line_a_pressure")
                self.assertLess(abs(row["off"] + 30e5), 2e5)
            row = answer["parameters"][0]
            if loss != "normal":  # three spikes to one side draw least squares with them
                self.assertTrue(row["from"] <= 420e5 <= row["to"], loss)


class Fit(Folder):
    def test_coverage_by_simulation(self):
        """tools/fit-coverage at length; here that its draws work, and that no interval is far off."""
        fit_coverage.PROGRAM = PROGRAM
        for name in ("sampled at 10 ms", "steps of 2.5 bar and 2 L/min", "filter of 1 ms, lag free"):
            for path, (_, _, why, width, error) in fit_coverage.draw(name, 1).items():
                if width is not None:
                    self.assertLess(abs(error), 2.5 * width, (name, path))
                else:
                    self.assertNotEqual(why, "", (name, path))
        for path, (held, _, why, _, _) in fit_coverage.draw("filter of 1 ms, not told", 1).items():
            self.assertIsNone(held, path)
            self.assertNotEqual(why, "")

    def test_several_tests_share_their_numbers(self):
        truth = ("--set", "relief.poppet_damping=1700 N s/m", "--set", "rig.volume=1.05 L")
        with open(STEP, encoding="utf-8") as file:
            self.write("half.yaml", file.read().replace("feed_flow: 60 L/min", "feed_flow: 30 L/min"))
        generator = numpy.random.default_rng(5)
        for case, name, gain in ((STEP, "a", 1.0), (self.path("half.yaml"), "b", 1.02)):
            self.expect(0, "run", case, "--quiet", "-o", "r.h5", "--force", "--set", "simulation.output_step=0.1 ms", *truth)
            with h5py.File(self.path("r.h5")) as file:
                time, pressure = file["time"][::5], file["line_a_pressure"][::5] * 1e-5
            rows = zip(time, gain * pressure + generator.normal(0.0, 0.5, time.size))
            self.write(name + ".csv", "t [s],p [bar]\n" + "".join(f"{t:.9g},{p:.7g}\n" for t, p in rows))
        channel = "time: {column: t}\nshift: none\nsignals:\n  - {signal: line_a_pressure, column: p"
        self.write("a.map.yaml", channel + "}\n")
        self.write("b.map.yaml", channel + ", sensor: {gain: 0.9..1.1}}\n")
        answer = json.loads(self.expect(0, "fit", STEP, "a.csv", "--map", "a.map.yaml", "-p", "relief.poppet_damping", "-p",
                                        "rig.volume", "--test", "half.yaml,b.csv,b.map.yaml", "--json", "-o", "f.h5").stdout)
        rows = {row["path"]: row for row in answer["parameters"] + answer["sensors"]}
        for path, value in (("relief.poppet_damping", 1700.0), ("rig.volume", 1.05e-3), ("gain of line_a_pressure", 1.02)):
            self.assertTrue(rows[path]["established"], path)
            self.assertLess(abs(rows[path]["value"] / value - 1.0), 0.02, path)
            self.assertLess(abs(rows[path]["value"] - value), 4.0 * rows[path]["deviation"], path)
        for words, text in (("half.yaml", "expected CASE.yaml,TRACE.csv"), ("hal.yaml,b.csv", "did you mean"),
                            ("half.yaml,no.csv", "no.csv")):
            self.assertIn(text, self.expect(2, "fit", STEP, "a.csv", "--map", "a.map.yaml", "-p", "rig.volume", "--test",
                                            words).stderr)

    def test_numbers_are_found_again(self):
        for name, task in fit_recovery.TASKS.items():
            errors, scores, held, _, refused, _ = fit_recovery.recover(task, 2)
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
        self.assertIn("NOT ESTABLISHED", result.stdout)

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
