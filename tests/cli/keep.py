"""swashloop response --keep: margin, how far the valve may go, what the peak is made of; exit codes, file, picture."""
import json
import os
import sys
import unittest

import h5py

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

STEP = os.path.join(ROOT, "cases", "valve", "step.yaml")
STALL = os.path.join(ROOT, "cases", "stall.yaml")
LIMIT = "line_a_pressure <= 460 bar"


class Keep(Folder):
    def keep(self, case, limit, *more, code=0):
        return json.loads(self.expect(code, "response", case, "--keep", limit, "--json", "-o", "k.h5", "--force", *more).stdout)

    def worst_of(self, case, *sets):
        answer = json.loads(self.expect(0, "response", case, "--json", "-o", "r.h5", "--force", *sets).stdout)
        return answer["valves"]["a"]["peak_pressure"]["value"]

    def test_a_poppet_on_the_rig(self):
        answer = self.keep(STEP, LIMIT)
        self.assertAlmostEqual(answer["margin"]["value"], 460e5 - self.worst_of(STEP), delta=10.0)
        self.assertEqual(sorted(answer["parameters"]), ["relief.poppet_damping", "relief.poppet_mass", "relief.setting",
                                                        "relief.spring_rate"])
        for path, unit in (("relief.poppet_damping", "N s/m"), ("relief.setting", "Pa"), ("relief.spring_rate", "N/m")):
            kept = answer["parameters"][path]["kept"]
            self.assertFalse(kept["to_is_most_tried"])
            for share, holds in ((1.0, True), (1.003, False)):
                worst = self.worst_of(STEP, "--set", f"{path}={share * kept['to']} {unit}")
                self.assertEqual(worst <= 460e5, holds, path)
        parts = {name: row["value"] for name, row in answer["parts"].items()}
        self.assertAlmostEqual(sum(parts.values()), answer["worst"]["value"], delta=1.0)
        self.assertEqual(parts["limiter"], 0.0)
        # by hand: A (drop - 420 bar) = x (k + 2 Cd cos(69 deg) w drop), Q = Cd w x sqrt(2 drop/rho): 18.78 bar at 60 L/min
        self.assertAlmostEqual(parts["static_override"], 18.78e5, delta=0.02e5)
        self.assertIn("no pressure limiter here", answer["what_if"]["no_limiter"]["reason"])

    def test_a_machine_and_its_limits(self):
        answer = self.keep(STALL, "line_a_pressure <= 440 bar")
        parts = {name: row["value"] for name, row in answer["parts"].items()}
        self.assertAlmostEqual(sum(parts.values()), answer["worst"]["value"], delta=1.0)
        self.assertLess(parts["limiter"], -30e5)
        # the limiter holds the line however slow the valve; a low setting turns power into heat, which the case forbids
        self.assertTrue(answer["parameters"]["relief.lag"]["kept"]["to_is_most_tried"])
        setting = answer["parameters"]["relief.setting"]
        self.assertTrue(setting["kept"]["from_is_least_tried"])
        self.assertAlmostEqual(setting["all_kept"]["from"], 400.7e5, delta=1e5)
        self.assertEqual(len(answer["limits"]), 5)

    def test_threads_change_nothing(self):
        one = self.keep(STALL, "line_a_pressure <= 430 bar", "--jobs", "1")
        again = self.keep(STALL, "line_a_pressure <= 430 bar", "--jobs", "1")
        self.assertEqual(one, again)
        three = self.keep(STALL, "line_a_pressure <= 430 bar", "--jobs", "3")
        for path, row in one["parameters"].items():
            high, other = row["kept"]["to"], three["parameters"][path]["kept"]["to"]
            self.assertLess(abs(high - other), 3e-3 * high)
        self.assertEqual(one["parts"], three["parts"])

    def test_a_limit_that_breaks(self):
        answer = self.keep(STEP, "line_a_pressure <= 445 bar", code=4)
        self.assertLess(answer["margin"]["value"], 0.0)
        kept = answer["parameters"]["relief.setting"]["kept"]
        self.assertLess(kept["to"], 420e5)
        # no lag makes up for the static override
        answer = self.keep(STEP, "line_a_pressure <= 430 bar", code=4)
        self.assertIsNone(answer["parameters"]["relief.poppet_damping"]["kept"]["to"])
        self.assertIn("no value tried", answer["parameters"]["relief.poppet_damping"]["kept"]["reason"])

    def test_another_kind_of_limit_has_no_split(self):
        answer = self.keep(STALL, "relief_heat <= 5 kJ")
        self.assertIn("another kind", answer["parts"]["valve_lag"]["reason"])
        self.assertGreater(answer["margin"]["value"], 0.0)

    def test_file_and_picture(self):
        self.keep(STALL, "line_a_pressure <= 440 bar")
        with h5py.File(self.path("k.h5")) as file:
            self.assertEqual(file.attrs["answer"], "keep")
            self.assertEqual(file["relief_lag/value"].size, file["relief_lag/worst"].size)
            self.assertIn("reason", file["what_if/no_limiter"].attrs if file["what_if/no_limiter"][()] != file[
                "what_if/no_limiter"][()] else {"reason": ""})
        import subprocess
        result = subprocess.run([sys.executable, os.path.join(ROOT, "tools", "plot"), self.path("k.h5"), "-o",
                                 self.path("k.png")], capture_output=True, text=True, check=False)
        self.assertEqual(result.returncode, 0, result.stderr)
        with open(self.path("k.png"), "rb") as file:
            self.assertEqual(file.read(8), b"\x89PNG\r\n\x1a\n")

    def test_refusals(self):
        for limit, words in (("line_c_pressure <= 1 bar", "no signal or measure"), ("line_a_pressure < 1 bar", "write <="),
                             ("line_a_pressure <= 1 kg", "kg"), ("", "NAME <= VALUE")):
            self.assertIn(words, self.expect(2, "response", STEP, "--keep", limit).stderr)
        self.assertIn("one at a time", self.expect(2, "response", STEP, "--keep", LIMIT, "--curve").stderr)
        self.assertIn("whole number", self.expect(2, "response", STEP, "--keep", LIMIT, "--jobs", "0").stderr)
        self.assertEqual(self.files(), [])


if __name__ == "__main__":
    need_program()
    unittest.main()
