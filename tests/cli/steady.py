"""steady and linear: exit codes, reasons, JSON, files that open without code of ours, and a picture each."""
import json
import math
import os
import subprocess
import sys
import unittest

import h5py

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

CLIMB = os.path.join(ROOT, "cases", "climb.yaml")
DOWNHILL = os.path.join(ROOT, "cases", "downhill.yaml")
STALL = os.path.join(ROOT, "cases", "baseline", "stall.yaml")


class Answers(Folder):
    def answer(self, *arguments):
        """JSON of a command that also writes its file; the file is checked to be what the JSON says, and drawn."""
        result = self.expect(0, *arguments, "--json", "-o", self.path("answer.h5"))
        answer = json.loads(result.stdout)
        picture = subprocess.run([os.path.join(ROOT, "tools", "plot"), "answer.h5", "-o", "answer.png"],
                                 cwd=self.folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                                 check=False)
        self.assertEqual(picture.returncode, 0, picture.stderr)
        self.assertGreater(os.path.getsize(self.path("answer.png")), 5000)
        self.assertEqual(self.files(), ["answer.h5", "answer.png"])
        return answer

    def same_columns(self, answer, file):
        for name, column in answer["columns"].items():
            values = column.get("values", column.get("value"))
            self.assertEqual(file[name].attrs["units"], column["unit"])
            stored = file[name][()]
            if not isinstance(values, list):
                self.assertEqual(values, float(stored))
                continue
            for told, kept in zip(values, stored):
                if not isinstance(told, list):
                    self.assertTrue(told is None and kept != kept or told == kept, (name, told, kept))

    def test_hold_back(self):
        answer = self.answer("steady", DOWNHILL, "--steps", "8")
        with h5py.File(self.path("answer.h5")) as file:
            self.assertEqual(file.attrs["answer"], "hold_back")
            self.same_columns(answer, file)
            # What is held is the gentlest of the edges.
            for i, limit in enumerate(answer["limit"]):
                held = file["grade_held"][i]
                edges = [file[name][i] for name in ("grade_engine_braking", "grade_relief", "grade_grip", "grade_heat")]
                edges = [edge for edge in edges if edge == edge]
                if held == held and limit != "foot off":
                    self.assertEqual(held, max(edges))

    def test_hold_back_where_heat_comes_in(self):
        """Oil near its limit: no hole between speeds that hold, the engine within its limit with hot oil, too."""
        answer = self.answer("steady", DOWNHILL, "--engine-limit", "2520 rpm", "--from", "23 km/h", "--to",
                             "26.4 km/h", "--steps", "18")
        columns = {name: column["values"] for name, column in answer["columns"].items() if "values" in column}
        held = [grade for grade in columns["grade_held"] if grade is not None]
        self.assertEqual(columns["grade_held"], held + [None] * (18 - len(held)))
        self.assertGreater(len(held), 10)
        self.assertLess(len(held), 18)
        self.assertEqual(held, sorted(held))
        self.assertEqual(set(answer["limit"][:len(held)]), {"engine braking", "engine braking, hot oil", "heat"})
        for i, grade in enumerate(held):
            self.assertLessEqual(columns["engine_speed"][i], 2520.0 * 2.0 * math.pi / 60.0 * (1.0 + 1e-6))
            edges = [columns[name][i] for name in ("grade_engine_braking", "grade_relief", "grade_grip", "grade_heat")]
            self.assertEqual(grade, max(edge for edge in edges if edge is not None))

    def test_tractive_effort(self):
        answer = self.answer("steady", CLIMB, "--map", "tractive_effort", "--steps", "8")
        pulls = [value for value in answer["columns"]["pull"]["values"] if value is not None]
        self.assertEqual(pulls, sorted(pulls, reverse=True))
        with h5py.File(self.path("answer.h5")) as file:
            self.assertEqual(file["settings/setting_pull"].shape, (8, 8))
            self.assertEqual(len(file["settings/setting_pull"].dims[1]), 1)

    def test_grade_ability(self):
        answer = self.answer("steady", CLIMB, "--map", "grade_ability", "--steps", "6")
        self.assertIn("engine power", answer["limit"])

    def test_efficiency(self):
        answer = self.answer("steady", CLIMB, "--map", "efficiency", "--steps", "6")
        values = [value for row in answer["columns"]["transmission_efficiency"]["values"] for value in row
                  if value is not None]
        self.assertTrue(values)
        self.assertTrue(all(0.0 < value < 1.0 for value in values))

    def test_point(self):
        answer = self.answer("steady", CLIMB, "--speed", "8 km/h", "--grade", "20 %")
        self.assertAlmostEqual(answer["columns"]["vehicle_speed"]["value"], 8.0 / 3.6)
        self.assertAlmostEqual(answer["columns"]["grade"]["value"], 0.2)
        self.assertAlmostEqual(answer["columns"]["vehicle_acceleration"]["value"], 0.0, 6)

    def test_no_point(self):
        result = self.run_program("steady", CLIMB, "--speed", "8 km/h", "--grade", "35 %", "-o", "none.h5")
        self.assertEqual(result.returncode, 1)
        self.assertIn("engine is at full fuel", result.stderr)
        self.assertEqual(self.files(), [])

    def test_accelerator(self):
        case = CLIMB.replace("climb.yaml", "drive_off.yaml")
        answer = self.answer("steady", case, "--steps", "8")
        self.assertIn("foot off", answer["limit"])
        self.assertTrue(any("the less it is held with the foot off" in words for words in answer["words"]))
        with h5py.File(self.path("answer.h5")) as file:
            self.assertIn("the less it is held with the foot off", file.attrs["words_1"])
        point = self.answer("steady", case, "--speed", "-8 km/h", "--grade", "-5 %")
        self.assertLess(point["columns"]["pedal"]["value"], 0.0)
        self.assertAlmostEqual(point["columns"]["accelerator"]["value"], -point["columns"]["pedal"]["value"])
        # In neutral the accelerator moves the engine and not the wheels.
        still = self.answer("linear", case, "--at", "10 s", "--set", "operator.direction=0 %", "--input", "pedal",
                            "--signal", "pump_stroke")
        self.assertTrue(all(gain == 0.0 for gain in still["response"]["columns"]["gain"]["values"]))

    def test_linear(self):
        answer = self.answer("linear", CLIMB, "--speed", "8 km/h", "--grade", "15 %", "--input", "grade", "--signal",
                             "engine_speed")
        self.assertGreater(len(answer["modes"]), 10)
        for mode in answer["modes"]:
            self.assertAlmostEqual(sum(mode["participation"].values()), 1.0)
        with h5py.File(self.path("answer.h5")) as file:
            self.assertEqual(file["participation"].shape[0], len(answer["modes"]))
            self.assertEqual(file["response/gain"].shape, file["response/frequency"].shape)

    def test_linear_at_an_instant(self):
        answer = self.answer("linear", CLIMB, "--at", "20 s", "--states", "engine_speed,fuel")
        self.assertEqual(sum(2 if mode["imaginary_part"] > 0.0 else 1 for mode in answer["modes"]), 2)

    def test_window(self):
        answer = self.answer("linear", STALL, "--from", "3 s", "--to", "4 s", "--set", "limiter.band=10 bar")
        self.assertEqual(answer["verdict"], "hunts")
        self.assertIn("limiter", answer["words"])

    def test_bad_usage(self):
        for arguments, words in (
                (("steady", CLIMB, "--map", "pull"), "no map 'pull'"),
                (("steady", CLIMB, "--speed", "8 bar"), "--speed"),
                (("steady", CLIMB, "--steps", "1"), "--steps"),
                (("steady", CLIMB, "--map", "hold_back", "--speed", "8 km/h"), "belong to --map point"),
                (("steady",), "which case?"),
                (("linear", CLIMB, "--input", "grade"), "belong together"),
                (("linear", CLIMB, "--states", "engine_sped"), "did you mean 'engine_speed'"),
                (("linear", CLIMB, "--input", "grade", "--signal", "engine_sped"), "did you mean 'engine_speed'"),
                (("linear", CLIMB, "--from", "3 s"), "needs --from and a later --to")):
            result = self.run_program(*arguments)
            self.assertEqual(result.returncode, 2, arguments)
            self.assertIn(words, result.stderr)
            self.assertEqual(result.stdout, "")

    def test_help(self):
        for command in ("steady", "linear"):
            self.assertIn("usage: swashloop " + command, self.expect(0, command, "--help").stdout)


if __name__ == "__main__":
    need_program()
    unittest.main(verbosity=0)
