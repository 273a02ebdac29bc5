"""swashloop response: numbers against closed forms and against the run, files, refusals."""
import json
import os
import sys
import unittest

import h5py

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

VALVE = os.path.join(ROOT, "cases", "valve")
STALL = os.path.join(ROOT, "cases", "stall.yaml")


class Response(Folder):
    def valve(self, case, *more, letter="a"):
        answer = json.loads(self.expect(0, "response", case, "--json", "-o", "r.h5", *more).stdout)
        return {name: row["value"] for name, row in answer["valves"][letter].items()}

    def test_a_step_and_the_run_agree(self):
        found = self.valve(os.path.join(VALVE, "step.yaml"))
        run = json.loads(self.expect(0, "run", os.path.join(VALVE, "step.yaml"), "--json", "-o", "x.h5").stdout)
        measures = {name: row["value"] for name, row in run["measures"].items()}
        self.assertAlmostEqual(found["peak_pressure"], measures["peak_line_a_pressure"], delta=1.0)
        self.assertAlmostEqual(found["open_time"], measures["relief_a_open_time"], delta=1e-7)
        self.assertAlmostEqual(found["peak_flow"], measures["relief_a_peak_flow"], delta=1e-9)
        self.assertAlmostEqual(found["energy"] / measures["relief_heat"], 1.0, places=5)
        self.assertEqual(found["openings"], measures["relief_a_openings"])
        self.assertAlmostEqual(found["settled_flow"], 1e-3, delta=1e-8)

    def test_a_rise_is_what_was_asked_for(self):
        for rise in (2000.0, 5000.0):
            found = self.valve(os.path.join(VALVE, "rise.yaml"), "--set", f"rig.rise={rise} bar/s")
            self.assertAlmostEqual(found["rise_rate"] / (rise * 1e5), 1.0, places=3)

    def test_a_blocked_line_opens_without_end(self):
        result = self.expect(0, "response", os.path.join(VALVE, "blocked_line.yaml"), "--json", "-o", "r.h5")
        rows = json.loads(result.stdout)["valves"]["a"]
        self.assertGreater(rows["openings"]["value"], 50)
        self.assertGreater(rows["frequency"]["value"], 300.0)
        self.assertIsNone(rows["settled_drop"]["value"])
        self.assertIn("shut again", rows["settled_drop"]["reason"])
        # the first peak, not the highest of 74, which are nearly equal: which of them it is goes by the last digits
        self.assertAlmostEqual(rows["response_time"]["value"], 0.280e-3, delta=2e-6)
        self.assertGreater(rows["peak_time"]["value"], 0.01)
        each = json.loads(result.stdout)["openings"]["a"]
        self.assertEqual(len(each), rows["openings"]["value"])
        self.assertEqual(each[0]["reseat_time"]["value"], rows["reseat_time"]["value"])
        self.assertGreater(each[1]["cracking_time"]["value"], each[0]["reseat_time"]["value"])
        self.assertIn("still open at the end", each[-1]["reseat_time"]["reason"])
        with h5py.File(self.path("r.h5")) as file:
            valve = file["valve_a"]
            self.assertEqual(valve["each_peak_drop"].size, len(each))
            self.assertIn("shut again", valve["each_settling_time_reason"].asstr()[0])

    def test_friction_sticks(self):
        self.assertEqual(self.valve(os.path.join(VALVE, "sticking.yaml"))["stickings"], 3)
        self.assertEqual(self.valve(os.path.join(VALVE, "sticking.yaml"), "--set", "relief.poppet_friction=0 N")[
            "stickings"], 0)

    def test_cold_oil_slows_the_valve(self):
        warm, cold = (self.valve(os.path.join(VALVE, name + ".yaml")) for name in ("step", "cold"))
        self.assertGreater(cold["opening_time"], 1.5 * warm["opening_time"])
        self.assertGreater(cold["overshoot"], 3.0 * warm["overshoot"])
        self.assertGreater(cold["rise_rate"], 1.05 * warm["rise_rate"])

    def test_in_a_machine_the_limiter_takes_over(self):
        answer = json.loads(self.expect(0, "response", STALL, "--json", "-o", "r.h5").stdout)["valves"]
        self.assertGreater(answer["a"]["handover_time"]["value"], 0.02)
        self.assertLess(answer["a"]["handover_time"]["value"], 0.06)
        self.assertIn("never cracks", answer["b"]["peak_pressure"]["reason"])
        # By the drop the valve shuts lower than it opened; by the line higher, for the low side rises meanwhile.
        self.assertAlmostEqual(answer["a"]["hysteresis"]["value"], 19.8e5, delta=0.3e5)
        self.assertGreater(answer["a"]["reseat_pressure"]["value"], answer["a"]["opening_pressure"]["value"])
        # A lagging first-order valve: drop - setting - Q/G is the overshoot, and 8 L/min/bar its gradient.
        still = 420e5 + answer["a"]["first_peak_flow"]["value"] / (8e-3 / 60 / 1e5)
        over = answer["a"]["first_peak_drop"]["value"] - still
        self.assertAlmostEqual(answer["a"]["overshoot"]["value"], over, delta=100.0)
        # a relief valve set above what the limiter lets through stays shut
        answer = json.loads(self.expect(0, "response", STALL, "--json", "-o", "r.h5", "--set",
                                        "relief.setting=450 bar").stdout)["valves"]
        self.assertIn("never cracks", answer["a"]["peak_pressure"]["reason"])

    def test_each_valve_may_have_its_setting(self):
        case = os.path.join(ROOT, "cases", "downhill.yaml")
        each = ("--set", "relief.settings=each", "--set", "relief.setting_b=380 bar")
        # the case's limits are broken either way
        answer = json.loads(self.expect(4, "response", case, "--json", "-o", "r.h5", *each).stdout)
        self.assertEqual(answer["settings"], {"a": 420e5, "b": 380e5})
        self.assertGreater(answer["valves"]["b"]["peak_drop"]["value"], 380e5)
        self.assertLess(answer["valves"]["b"]["peak_drop"]["value"], 420e5)
        self.assertIn("one valve", self.expect(2, "response", os.path.join(VALVE, "step.yaml"), "--set",
                                               "relief.settings=each").stderr)

    def test_a_broken_limit_is_told(self):
        result = self.expect(4, "response", STALL, "-o", "r.h5", "--set", "relief.setting=395 bar")
        self.assertIn("BROKEN      relief_heat <= 5 kJ", result.stdout)
        answer = json.loads(self.expect(4, "response", STALL, "-o", "r.h5", "--set", "relief.setting=395 bar",
                                        "--json").stdout)
        self.assertEqual([row["result"] for row in answer["limits"]].count("broken"), 1)

    def test_the_curve_has_twice_the_friction_as_hysteresis(self):
        text = self.expect(0, "response", os.path.join(VALVE, "sticking.yaml"), "--curve", "--json", "-o", "c.h5").stdout
        found = {name: row["value"] for name, row in json.loads(text)["valve"].items()}
        area = 3.14159265 / 4.0 * 0.01 ** 2
        self.assertAlmostEqual(found["hysteresis"], 2.0 * 40.0 / area, delta=0.4e5)
        with h5py.File(self.path("c.h5")) as file:
            self.assertEqual(file.attrs["answer"], "valve_curve")
            self.assertTrue((file["drop_up"][()] > file["drop_down"][()]).all())

    def test_the_curve_of_a_machines_valve(self):
        text = self.expect(0, "response", STALL, "--curve", "--json", "-o", "c.h5").stdout
        found = {name: row["value"] for name, row in json.loads(text)["valve"].items()}
        # 8 L/min/bar: 15 bar at 120 L/min
        self.assertAlmostEqual(found["full_drop"], 435e5, delta=0.02e5)
        # the ramp is slow enough by itself, and says so; a lagging valve has no static hysteresis
        self.assertLess(found["ramp_change"], 1e-3 * found["pressure_override"])
        self.assertLess(found["hysteresis"], 0.01e5)
        text = self.expect(0, "response", STALL, "--curve", "--json", "-o", "c.h5", "--ramp-time", "2 s").stdout
        quick = {name: row["value"] for name, row in json.loads(text)["valve"].items()}
        self.assertEqual(quick["ramp_time"], 2.0)
        self.assertGreater(quick["ramp_change"], 0.2e5)

    def test_the_curve_ends_at_the_lift_stop(self):
        """Beyond its stop a valve is an orifice: no curve of a valve. It says so, and ends there only if it must."""
        step = os.path.join(VALVE, "step.yaml")
        lift = 0.3e-3
        curve = ("response", step, "--curve", "-o", "c.h5", "--force", "--set", f"relief.largest_lift={lift} m")
        answer = json.loads(self.expect(0, *curve, "--json").stdout)
        self.assertTrue(answer["ends_at_stop"])
        stop = answer["valve"]["stop_flow"]["value"]
        self.assertLess(stop, 119.0 / 60e3)
        self.assertAlmostEqual(answer["flow"][-1] / stop, 1.0, places=9)
        self.assertAlmostEqual(answer["valve"]["full_lift"]["value"] / lift, 1.0, delta=2e-3)
        self.assertLess(max(answer["lift"]), lift * 1.001)
        # An orifice of that opening alone would make the pressure rise with the square of the flow.
        self.assertLess(answer["valve"]["pressure_override"]["value"], 40e5)
        with h5py.File(self.path("c.h5")) as file:
            self.assertEqual(file["valve"].attrs["ends_at_stop"], "yes")
            self.assertAlmostEqual(file["flow"][-1] / stop, 1.0, places=9)
        flow = f"{stop * 60e3:.2f} L/min"
        self.assertIn(f"The curve ends at {flow}, where the poppet meets its lift stop; 120 L/min were asked for.",
                      self.expect(0, *curve).stdout)
        # less flow than that, or room to open: no word of a stop
        for more in (("--flow", "60 L/min"), ("--set", "relief.largest_lift=3 mm")):
            answer = json.loads(self.expect(0, *curve, "--json", *more).stdout)
            self.assertFalse(answer["ends_at_stop"])
            self.assertIn("clear of its stop", answer["valve"]["stop_flow"]["reason"])
            self.assertNotIn("ends at", self.expect(0, *curve, *more).stdout)

    def test_the_file_and_its_picture(self):
        self.expect(0, "response", os.path.join(VALVE, "step.yaml"), "--quiet")
        with h5py.File(self.path("step.response.h5")) as file:
            self.assertEqual(file.attrs["status"], "complete")
            self.assertLess(file["time"].size, 5000)
            self.assertIn("first peak", list(file["valve_a/mark_name"].asstr()))
            self.assertIn("reason", file["valve_a/handover_time"].attrs)

    def test_refusals(self):
        step = os.path.join(VALVE, "step.yaml")
        self.assertIn("--band: found '90 %'", self.expect(2, "response", step, "--band", "90 %").stderr)
        self.assertIn("no samples from", self.expect(2, "response", step, "--from", "5 s").stderr)
        self.assertIn("which case", self.expect(2, "response").stderr)
        self.assertIn("did you mean '--curve'", self.expect(2, "response", step, "--curv").stderr)
        self.assertEqual(self.files(), [])


if __name__ == "__main__":
    need_program()
    unittest.main()
