"""Files of analyses open as netCDF-4, and each has its picture."""
import os
import subprocess
import sys
import unittest

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

VALVE = os.path.join(ROOT, "cases", "valve")
STEP = os.path.join(VALVE, "step.yaml")
BENCH = (os.path.join(VALVE, "bench.csv"), "--map", os.path.join(VALVE, "bench.yaml"))


class Pictures(Folder):
    def draw(self, name, *more):
        return subprocess.run([os.path.join(ROOT, "tools", "plot"), name, *more], cwd=self.folder, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)

    def look(self, name):
        import xarray

        for engine in ("netcdf4", "h5netcdf"):
            try:
                data = xarray.open_dataset(self.path(name), engine=engine, decode_times=False)
            except ValueError as reason:  # that reader is not installed
                self.assertIn("engine", str(reason))
                continue
            self.assertEqual(data.attrs["status"], "complete")
            data.close()
        result = self.draw(name)
        self.assertEqual(result.returncode, 0, result.stderr)
        with open(self.path(os.path.splitext(name)[0] + ".png"), "rb") as file:
            self.assertEqual(file.read(8), b"\x89PNG\r\n\x1a\n")

    def test_response(self):
        self.expect(0, "response", STEP, "--quiet", "-o", "r.h5")
        self.look("r.h5")
        self.expect(0, "response", os.path.join(ROOT, "cases", "stall.yaml"), "--quiet", "-o", "m.h5")
        self.look("m.h5")

    def test_a_valve_that_stays_shut_has_no_picture_but_a_reason(self):
        self.expect(0, "response", STEP, "--quiet", "-o", "r.h5", "--set", "rig.feed_flow=1 L/min")
        result = self.draw("r.h5")
        self.assertEqual(result.returncode, 2)
        self.assertIn("never cracks", result.stderr)

    def test_curve(self):
        self.expect(0, "response", STEP, "--curve", "--quiet", "-o", "c.h5")
        self.look("c.h5")

    def test_sensitivity(self):
        self.expect(0, "sensitivity", STEP, "--to", "relief.setting", "--to", "rig.volume", "--quiet", "-o", "s.h5")
        self.look("s.h5")

    def test_maps_over_each_other(self):
        climb = os.path.join(ROOT, "cases", "climb.yaml")
        self.expect(0, "steady", climb, "--map", "grade_ability", "--steps", "5", "-o", "a.h5")
        self.expect(0, "steady", climb, "--map", "grade_ability", "--steps", "4", "--set", "limiter.setting=350 bar", "-o", "b.h5")
        result = self.draw("a.h5", "b.h5", "-o", "over.png")
        self.assertEqual(result.returncode, 0, result.stderr)
        self.expect(0, "steady", climb, "--speed", "8 km/h", "--grade", "10 %", "-o", "p.h5")
        self.assertIn("p.h5: a map of the kind point, and a.h5 is one of the kind grade_ability", self.draw("a.h5", "p.h5").stderr)
        self.assertIn("are drawn one at a time", self.draw("p.h5", "p.h5").stderr)
        self.assertIn("only a run has moments", self.draw("a.h5", "--from", "release").stderr)

    def test_comparison_and_fit(self):
        self.expect(0, "run", STEP, "--quiet", "-o", "run.h5", "--set", "simulation.output_step=0.1 ms")
        self.expect(0, "compare", "run.h5", *BENCH, "--quiet", "-o", "c.h5")
        self.look("c.h5")
        self.expect(0, "fit", STEP, *BENCH, "-p", "relief.setting", "-p", "relief.discharge", "-p",
                    "relief.opening_width", "--quiet", "-o", "f.h5")
        self.look("f.h5")


if __name__ == "__main__":
    need_program()
    unittest.main()
