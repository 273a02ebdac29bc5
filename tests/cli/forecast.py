#!/usr/bin/env python3
"""How large and how long: what `check` foretells against what `run` then does."""
import glob
import json
import os
import sys
import unittest

sys.dont_write_bytecode = True
from _program import ROOT, Folder, need_program  # noqa: E402

CASES = os.path.join(ROOT, "cases")
TIMED = ["climb", "downhill", "shuttle", "braking", "lugging", "axle_spins", "hose_burst", "cold_start",
         "stall_and_restart", "wet_clay"]


class Forecast(Folder):
    def foretold(self, case, *options):
        result = self.run_program("check", case, "--json", *options)
        self.assertEqual(result.returncode, 0, result.stderr)
        return json.loads(result.stdout)["forecast"]

    def ran(self, case, *options):
        result = self.run_program("run", case, "-o", "run.h5", "--json", *options)
        self.assertIn(result.returncode, (0, 4, 6), result.stderr)
        return json.loads(result.stdout)

    def rows(self):
        import h5py
        with h5py.File(self.path("run.h5"), "r") as file:
            return file["time"].shape[0]

    def test_rows_and_size_of_shipped_cases(self):
        for path in sorted(glob.glob(os.path.join(CASES, "*.yaml")) + glob.glob(os.path.join(CASES, "valve", "[cbrs]*.yaml"))):
            if os.path.basename(path) == "bench.yaml":  # a mapping
                continue
            with self.subTest(path):
                told = self.foretold(path)
                found = self.ran(path)
                size = os.path.getsize(self.path("run.h5"))
                if any(event["message"] == "the course is done" for event in found["events"]):  # before its end time
                    self.assertGreater(told["rows"], self.rows())
                elif found["status"] == "complete":
                    self.assertEqual(told["rows"], self.rows())
                    self.assertLess(abs(told["bytes"] / size - 1.0), 0.1, f"{told['bytes']} for {size}")

    def test_odd_steps_and_lengths(self):
        """Ends that are no whole number of steps, more and less than a chunk, other laws."""
        for options in (("output_step=7 ms", "end_time=3 s"), ("output_step=0.1 ms", "end_time=4.3 s"),
                        ("output_step=30 ms", "end_time=0.3 s"), ("output_step=0.1 s", "end_time=0.3 s")):
            with self.subTest(options):
                sets = [word for text in options for word in ("--set", "simulation." + text)]
                case = os.path.join(CASES, "axle_spins.yaml")
                told = self.foretold(case, *sets)
                self.ran(case, *sets)
                self.assertEqual(told["rows"], self.rows())
                self.assertLess(abs(told["bytes"] / os.path.getsize(self.path("run.h5")) - 1.0), 0.1)

    def test_time(self):
        """Within a factor of two of what the run reports; the best of five tries each, for the machine is shared."""
        for name in TIMED:
            with self.subTest(name):
                case = os.path.join(CASES, name + ".yaml")
                told = min(self.foretold(case)["cpu_seconds"] for _ in range(5))
                took = min(self.ran(case)["solver"]["cpu_seconds"] for _ in range(5))
                self.assertLess(told / took, 2.0, f"foretold {told:.3f} s, took {took:.3f} s")
                self.assertGreater(told / took, 0.5, f"foretold {told:.3f} s, took {took:.3f} s")

    def test_long_run(self):
        """Of a run that is longer than the trial only a piece is tried, and the rest follows."""
        # The trial has half a second; this makes some seconds of steps.
        sets = ("--set", "simulation.end_time=15 s", "--set", "simulation.largest_step=0.01 ms",
                "--set", "simulation.output_step=1 s")
        case = os.path.join(CASES, "creep.yaml")
        told = self.foretold(case, *sets)
        self.assertLess(told["tried"], 15.0)
        took = self.ran(case, *sets)["solver"]["cpu_seconds"]
        self.assertLess(told["cpu_seconds"] / took, 2.0)
        self.assertGreater(told["cpu_seconds"] / took, 0.5)

    def test_large_file_is_told(self):
        """`check` tells it, refuses nothing; a run says it at its start, and where there is no room."""
        case = os.path.join(CASES, "climb.yaml")
        huge = ("--set", "simulation.end_time=30000 s")
        result = self.run_program("check", case, *huge)
        self.assertEqual(result.returncode, 0)
        self.assertIn("30000001 samples of each signal, a file of 12.", result.stdout)
        self.assertIn(" GB", result.stdout)
        for length, words in (("30000 s", "30000001 samples of each signal: the file grows to about 12."),
                              ("9000000 s", "(no_room)")):
            running = self.start_program("run", case, "-o", "run.h5", "--set", "simulation.end_time=" + length)
            self.assertIn(words, running.stderr.readline())
            running.terminate()
            running.communicate(timeout=60)


if __name__ == "__main__":
    need_program()
    unittest.main()
