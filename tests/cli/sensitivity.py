"""swashloop sensitivity: derivatives against whole runs, ranking, units, refusals."""
import json
import os
import sys
import unittest

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

STEP = os.path.join(ROOT, "cases", "baseline", "relief_step.yaml")
STALL = os.path.join(ROOT, "cases", "stall.yaml")
DOWNHILL = os.path.join(ROOT, "cases", "downhill.yaml")
TIGHT = ("--set", "simulation.relative_tolerance=1e-9", "--set", "simulation.pressure_tolerance=0.01 Pa")


class Sensitivity(Folder):
    def answer(self, case, to, of=(), more=()):
        arguments = ["sensitivity", case, "--json", "--check", "-o", "s.h5", *more]
        for path in to:
            arguments += ["--to", path]
        for name in of:
            arguments += ["--of", name]
        return json.loads(self.expect(0, *arguments).stdout)

    def worst(self, answer, measure):
        """Largest deviation from the differences of whole runs, over the largest effect on the measure."""
        changes = {row["path"]: row["change"] for row in answer["parameters"]}
        ranking = answer["measures"][measure]["ranking"]
        top = max(abs(row["effect"]) for row in ranking)
        return max(abs(row["effect"] - row["difference"] * changes[row["path"]]) for row in ranking) / top

    def test_rig_at_default_tolerance(self):
        answer = self.answer(STEP, ("relief.setting", "relief.lag", "rig.volume", "relief.gradient",
                                    "fluid.air_content"))
        for measure, allowed in (("peak_line_a_pressure", 1e-3), ("relief_a_open_time", 1e-3), ("relief_heat", 1e-5),
                                 ("relief_a_peak_flow", 1e-2)):
            self.assertLess(self.worst(answer, measure), allowed, measure)

    def test_rig_at_a_tight_tolerance(self):
        answer = self.answer(STEP, ("relief.setting", "relief.lag", "rig.volume", "relief.gradient"), more=TIGHT)
        for measure in ("peak_line_a_pressure", "relief_a_open_time", "relief_heat", "relief_a_peak_flow"):
            self.assertLess(self.worst(answer, measure), 1e-3, measure)

    def test_poppet(self):
        answer = self.answer(os.path.join(ROOT, "cases", "valve", "step.yaml"),
                             ("relief.setting", "relief.spring_rate", "relief.poppet_damping", "rig.feed[2].argument+rig.feed[3].argument"),
                             ("peak_line_a_pressure", "relief_heat"), TIGHT[:2])
        for measure in ("peak_line_a_pressure", "relief_heat"):
            self.assertLess(self.worst(answer, measure), 1e-3, measure)

    def test_machine(self):
        answer = self.answer(STALL, ("limiter.setting", "lines.volume_a", "relief.lag", "engine.inertia"),
                             ("peak_line_a_pressure", "engine_speed_min", "relief_heat"),
                             ("--set", "simulation.end_time=3 s"))
        for measure in ("peak_line_a_pressure", "engine_speed_min", "relief_heat"):
            self.assertLess(self.worst(answer, measure), 1e-3, measure)

    def test_gear_shift(self):
        """Through a shift under load: clutches that slip at a capacity which is the parameter itself."""
        answer = self.answer(os.path.join(ROOT, "cases", "gear_shift.yaml"), ("gearbox.clutch_torque", "gearbox.shift_time"),
                             ("peak_line_a_pressure", "relief_a_peak_flow", "lowest_charge_pressure"),
                             ("--set", "simulation.end_time=4 s"))
        self.assertGreater(answer["moved_changes"], 3)
        self.assertEqual(answer["unsure_changes"], 0)
        # Differences of runs at two steps differ by 1e-3 themselves.
        for measure in ("peak_line_a_pressure", "relief_a_peak_flow", "lowest_charge_pressure"):
            self.assertLess(self.worst(answer, measure), 5e-3, measure)

    def test_jumps_at_places_and_actions(self):
        """The pedal is released at a distance, the grade begins at a place: both moments move with the mass."""
        answer = self.answer(DOWNHILL, ("vehicle.mass", "motor.rate_up", "ground.grade[2].argument", "actions[1].when"),
                             ("engine_speed_max", "peak_line_b_pressure", "vehicle_speed_max"), TIGHT)
        self.assertGreater(answer["moved_changes"], 5)
        self.assertEqual(answer["unsure_changes"], 0)
        # At default tolerances what a run's own steps do to its extremes is 1e-4 to 2e-3 of these effects.
        for measure in answer["measures"]:
            self.assertLess(self.worst(answer, measure), 2e-4, measure)

    def test_one_sided_at_a_bound(self):
        """A number at its bound is varied to the one side there is; the value is that of two runs on this side."""
        import h5py

        def peak(setting):
            self.expect(0, "run", STEP, "--quiet", "--force", "-o", "run.h5", *TIGHT, "--set", f"relief.setting={setting} bar")
            with h5py.File(self.path("run.h5")) as file:
                return file["measures/peak_line_a_pressure"][()]

        for bound, at, inside in (("lower", 1.0, 1.002), ("upper", 1000.0, 998.0)):
            more = ("--set", f"relief.setting={at} bar", "--force", *TIGHT)
            answer = self.answer(STEP, ("relief.setting", "relief.gradient"), ("peak_line_a_pressure", "line_a_pressure"), more)
            self.assertEqual({row["path"]: row["one_sided"] for row in answer["parameters"]},
                             {"relief.setting": bound, "relief.gradient": "none"})
            found = {row["path"]: row for row in answer["measures"]["peak_line_a_pressure"]["ranking"]}["relief.setting"]
            difference = (peak(inside) - peak(at)) / (inside - at) / 1e5
            self.assertLess(abs(found["derivative"] / difference - 1.0), 2e-3, (bound, found, difference))
            self.assertLess(abs(found["difference"] / difference - 1.0), 2e-3, bound)
            with h5py.File(self.path("s.h5")) as file:
                # at rest the pressure follows the setting one to one; 1 bar drives the flow but in part (flow_width)
                self.assertAlmostEqual(file["relief.setting/line_a_pressure"][-1], 1.0, delta=1e-4 if at > 10.0 else 0.2)
            words = self.expect(0, "sensitivity", STEP, "--to", "relief.setting", "-o", "s.h5", *more).stdout
            self.assertIn(f"relief.setting stands at its {bound} bound: its derivatives are one-sided", words)
        self.assertNotIn("one-sided", self.expect(0, "sensitivity", STEP, "--to", "relief.setting", "-o", "s.h5",
                                                  "--force").stdout)

    def test_a_bound_that_means_something_else(self):
        """0 %/s is `as the rise`, and what lies beside it is a swash that does not fall: no derivative, and the others are
        those of the machine as it is."""
        of = ("engine_speed_max", "vehicle_speed")
        answer = self.answer(DOWNHILL, ("swash.rate_down", "vehicle.mass"), of, TIGHT)
        rows = {row["path"]: row for row in answer["parameters"]}
        self.assertEqual((rows["swash.rate_down"]["one_sided"], rows["swash.rate_down"]["jumps"]),
                         ("lower", "engine_speed_max"))
        self.assertEqual((rows["vehicle.mass"]["one_sided"], rows["vehicle.mass"]["jumps"]), ("none", ""))
        found = {row["path"]: row for row in answer["measures"]["engine_speed_max"]["ranking"]}
        self.assertIsNone(found["swash.rate_down"]["derivative"])
        without = self.answer(DOWNHILL, ("vehicle.mass",), of, ("--force", *TIGHT))
        mass = without["measures"]["engine_speed_max"]["ranking"][0]
        self.assertAlmostEqual(found["vehicle.mass"]["derivative"] / mass["derivative"], 1.0, delta=1e-4)
        self.assertAlmostEqual(found["vehicle.mass"]["difference"] / mass["derivative"], 1.0, delta=1e-3)
        text = self.expect(0, "sensitivity", DOWNHILL, "--to", "swash.rate_down", "-o", "s.h5", "--force").stdout
        self.assertIn("means something else than what lies beside it", text)
        self.assertNotRegex(text, r"[-+][\d.]+(e[-+]\d+)? \S+ per 1 %/s")

    def test_a_delay_from_none(self):
        """Without a delay there is no wait at all: both neighbours must have one."""
        import h5py

        peaks = []
        for delay in ("1e-4", "3e-4"):
            self.expect(4, "run", DOWNHILL, "--quiet", "--force", "-o", "run.h5", *TIGHT, "--set",
                        f"motor.upstroke_delay={delay} s")
            with h5py.File(self.path("run.h5")) as file:
                peaks.append(file["measures/engine_speed_max"][()])
        answer = json.loads(self.expect(0, "sensitivity", DOWNHILL, "--to", "motor.upstroke_delay", "--of", "engine_speed_max",
                                        "--json", "-o", "s.h5", *TIGHT).stdout)
        found = answer["measures"]["engine_speed_max"]["ranking"][0]["derivative"]
        self.assertAlmostEqual(found / ((peaks[1] - peaks[0]) / 2e-4), 1.0, delta=0.05)

    def test_what_moves_together_stays_within_all_bounds(self):
        """Two numbers of one value, of which the second stands at its bound."""
        more = ("--set", "limiter.band=100 bar", "--set", "relief.flow_width=100 bar", "--set", "simulation.end_time=0.2 s")
        answer = self.answer(STALL, ("limiter.band+relief.flow_width",), ("peak_line_a_pressure",), more)
        self.assertEqual(answer["parameters"][0]["one_sided"], "upper")

    def test_ranked_in_units_of_an_engineer(self):
        result = self.expect(0, "sensitivity", STEP, "--to", "relief.lag", "--to", "relief.setting", "--of",
                             "peak_line_a_pressure")
        lines = [line for line in result.stdout.splitlines() if " per " in line]
        self.assertRegex(lines[0], r"^ +\+45\.\d+ bar per 10 % +of relief\.setting")
        self.assertRegex(lines[1], r"^ +\+1\.3\d+ bar per 10 % +of relief\.lag")

    def test_the_file(self):
        import h5py

        self.expect(0, "sensitivity", STEP, "--to", "relief.setting", "--of", "line_a_pressure", "-o", "s.h5", "--quiet")
        with h5py.File(self.path("s.h5")) as file:
            derivative = file["relief.setting/line_a_pressure"]
            self.assertEqual(derivative.attrs["units"], "(Pa)/(Pa)")
            self.assertEqual(derivative.shape, file["time"].shape)
            # at rest the pressure follows the setting one to one
            self.assertAlmostEqual(derivative[-1], 1.0, places=4)
            self.assertEqual(derivative[0], 0.0)

    def test_refusals(self):
        for to, words in (("relief.law", "is a choice"), ("simulation.end_time", "setting of the run"),
                          ("relief.seting", "did you mean"), ("relief.lag+relief.setting", "one value"), ("operator.forward_pedal", "is a table")):
            result = self.expect(2, "sensitivity", STALL, "--to", to)
            self.assertIn(words, result.stderr)
        self.assertIn("did you mean 'peak_line_a_pressure'",
                      self.expect(2, "sensitivity", STEP, "--to", "relief.lag", "--of", "peak_line_a_presure").stderr)
        self.assertIn("which parameter", self.expect(2, "sensitivity", STEP).stderr)
        self.assertEqual(self.files(), [])


if __name__ == "__main__":
    need_program()
    unittest.main()
