"""swashloop linear: the four matrices as scipy reads them, zeros and margins against a referee, growth over a run."""
import json
import os
import shutil
import subprocess
import sys
import unittest

import h5py
import numpy
import scipy.linalg
import scipy.signal

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

CLIMB = os.path.join(ROOT, "cases", "climb.yaml")
STALL = os.path.join(ROOT, "cases", "stall.yaml")
STEP = os.path.join(ROOT, "cases", "valve", "step.yaml")
DRIVE = ("--speed", "8 km/h", "--grade", "15 %")


def matrices(group):
    return [group[name][()] for name in "ABCD"]


class Linear(Folder):
    def space(self, *arguments):
        self.expect(0, "linear", *arguments, "-o", "l.h5")
        file = h5py.File(self.path("l.h5"))
        self.addCleanup(file.close)
        return file

    def test_matrices_make_the_modes_and_the_response(self):
        for arguments in ((CLIMB, *DRIVE, "--input", "grade", "--signal", "engine_speed"),
                          (STALL, "--at", "2 s", "--input", "throttle", "--signal", "line_a_pressure"),
                          (STEP, "--at", "50 ms", "--input", "feed", "--signal", "line_a_pressure")):
            file = self.space(*arguments)
            group, response = file["state_space"], file["response"]
            a, b, c, d = matrices(group)
            size = group["state_size"][()]
            poles = numpy.linalg.eigvals(a * size / size[:, None])
            for real, imaginary in zip(file["real_part"], file["imaginary_part"]):
                near = numpy.min(numpy.abs(poles - (real + 1j * imaginary)))
                self.assertLess(near, 1e-6 * max(1.0, abs(real + 1j * imaginary)))
            i = list(group["input_name"].asstr()).index(arguments[-3])
            o = list(group["output_name"].asstr()).index(arguments[-1])
            self.assertIsInstance(scipy.signal.StateSpace(a, b[:, [i]], c[[o]], d[[o]][:, [i]]),
                                  scipy.signal.StateSpace)
            scaled, column, row = a * size / size[:, None], b[:, i] / size, c[o] * size
            for w, gain, phase in zip(response["frequency"], response["gain"], response["phase"]):
                own = row @ numpy.linalg.solve(1j * w * numpy.eye(len(a)) - scaled, column) + d[o, i]
                self.assertLess(abs(own / (gain * numpy.exp(1j * phase)) - 1.0), 1e-6, w)

    def test_zeros_against_generalised_eigenvalues(self):
        for arguments in ((CLIMB, *DRIVE, "--input", "grade", "--signal", "engine_speed"),
                          (CLIMB, *DRIVE, "--input", "pull", "--signal", "vehicle_speed"),
                          (STEP, "--at", "50 ms", "--input", "feed", "--signal", "line_a_pressure")):
            file = self.space(*arguments)
            group, response = file["state_space"], file["response"]
            a, b, c, d = matrices(group)
            size = group["state_size"][()]
            n = len(a)
            i = list(group["input_name"].asstr()).index(arguments[-3])
            o = list(group["output_name"].asstr()).index(arguments[-1])
            a, b, c = a * size / size[:, None], b[:, [i]] / size[:, None], c[[o]] * size
            pencil = numpy.block([[a, b / numpy.abs(b).max()], [c / numpy.abs(c).max(), d[[o]][:, [i]]]])
            mass = numpy.zeros_like(pencil)
            mass[:n, :n] = numpy.eye(n)
            found = scipy.linalg.eigvals(pencil, mass)
            found = found[numpy.isfinite(found)]
            own = response["zero_real_part"][()] + 1j * response["zero_imaginary_part"][()]
            self.assertEqual(len(own), n - response.attrs["relative_degree"])
            for zero in own:
                self.assertLess(numpy.min(numpy.abs(found - zero)), 1e-3 * max(1.0, abs(zero)), zero)

    def test_the_operating_point(self):
        answer = json.loads(self.expect(0, "linear", CLIMB, *DRIVE, "--json").stdout)["state_space"]
        inputs = {row["name"]: row for row in answer["inputs"]}
        outputs = {row["name"]: row for row in answer["outputs"]}
        self.assertAlmostEqual(inputs["grade"]["value"], 0.15, places=12)
        self.assertEqual(inputs["pull"]["unit"], "N")
        self.assertAlmostEqual(outputs["vehicle_speed"]["value"], 8.0 / 3.6, places=6)
        self.assertEqual(outputs["line_a_pressure"]["unit"], "Pa")
        self.assertEqual((len(answer["A"]), len(answer["B"][0]), len(answer["C"])),
                         (len(answer["states"]), len(inputs), len(outputs)))
        self.assertLess(answer["condition_scaled"], 1e-6 * answer["condition"])

    def test_the_feed_of_the_rig(self):
        """Full feed makes the volume's compression rise by Q/V; the valve shut, nothing else acts."""
        answer = json.loads(self.expect(0, "linear", STEP, "--at", "50 ms", "--json").stdout)["state_space"]
        self.assertEqual([row["name"] for row in answer["inputs"]], ["feed"])
        row = [state["name"] for state in answer["states"]].index("line_a_compression")
        feed = {output["name"]: i for i, output in enumerate(answer["outputs"])}["feed_flow"]
        full = answer["D"][feed][0]
        volume = full / answer["B"][row][0]
        text = self.expect(0, "check", STEP, "--resolved").stdout
        wanted = float(text[text.index("volume:"):].split()[1])
        self.assertAlmostEqual(volume * 1e3 / wanted, 1.0, delta=1e-9)
        self.assertAlmostEqual(answer["inputs"][0]["value"] * full, answer["outputs"][feed]["value"], delta=1e-12)

    def test_margins_against_the_loop_from_the_matrices(self):
        """The loop cut by hand, its margins from a fine sweep; and with the margin taken the whole stands at its limit."""
        file = self.space(CLIMB, *DRIVE, "--cut", "fuel")
        group, loop = file["state_space"], file["loop"].attrs
        a = group["A"][()]
        k = list(group["state_name"].asstr()).index("fuel")
        rest = numpy.delete(numpy.arange(len(a)), k)
        w = 2.0 * numpy.pi * numpy.geomspace(0.1, 50.0, 40001)
        size = group["state_size"][()]
        a = a * size / size[:, None]
        inner, column, row = a[numpy.ix_(rest, rest)], a[rest, k], a[k, rest]
        ring = numpy.array([row @ numpy.linalg.solve(1j * x * numpy.eye(len(rest)) - inner, column) / (1j * x - a[k, k])
                            for x in w[::20]])
        gain = numpy.abs(ring)
        at = numpy.where((gain[:-1] - 1.0) * (gain[1:] - 1.0) < 0.0)[0]
        phases = [numpy.angle(ring[i]) for i in at]
        self.assertAlmostEqual(min(abs(p) for p in phases), abs(loop["phase_margin"]), delta=0.01)
        # A loop of a delay of the delay margin stands at its limit: 1 = L exp(-i w T).
        x, late = loop["phase_frequency"], loop["delay_margin"]
        here = row @ numpy.linalg.solve(1j * x * numpy.eye(len(rest)) - inner, column) / (1j * x - a[k, k])
        self.assertLess(abs(here * numpy.exp(-1j * x * late) - 1.0), 1e-6)
        answer = json.loads(self.expect(0, "linear", STALL, "--at", "3 s", "--cut", "pump_stroke", "--json").stdout)
        self.assertTrue(answer["loop"]["closed_loop_stable"])

    @unittest.skipUnless(shutil.which("octave-cli"), "no Octave")
    def test_octave_reads_the_json(self):
        """The lines of docs/linear.md."""
        self.write("climb.json", self.expect(0, "linear", CLIMB, *DRIVE, "--json").stdout)
        with open(os.path.join(ROOT, "docs", "linear.md"), encoding="utf-8") as file:
            script = file.read().split("```octave\n")[1].split("```")[0]
        self.write("read.m", script + 'printf("%d %d %d %.9g\\n", size(A, 1), size(B, 2), size(C, 1), max(real(eig(A))));\n')
        result = subprocess.run(["octave-cli", "--no-init-file", "read.m"], cwd=self.folder, stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, text=True, check=False, timeout=60)
        answer = json.loads(self.expect(0, "linear", CLIMB, *DRIVE, "--json").stdout)
        space = answer["state_space"]
        said = result.stdout.split()
        self.assertEqual([int(n) for n in said[:3]], [len(space["states"]), len(space["inputs"]), len(space["outputs"])],
                         result.stderr)
        self.assertAlmostEqual(float(said[3]) / max(mode["real_part"] for mode in answer["modes"]), 1.0, delta=1e-6)

    def test_refusals(self):
        for words, arguments in (("no state 'feul' takes part here; did you mean 'fuel'", (CLIMB, "--cut", "feul")),
                                 ("there are feed, and every state", (STEP, "--at", "50 ms", "--input", "pedal", "--signal",
                                                                      "line_a_pressure"))):
            self.assertIn(words, self.expect(2, "linear", *arguments).stderr)

    def test_growth_of_a_machine_that_hunts_has_no_beats(self):
        """Sampled once in a third of a swing, the growth at single instants jumps from -2 to 149 1/s; its mean over a
        swing does not."""
        self.expect(0, "linear", STALL, "--from", "3 s", "--to", "8 s", "--set", "limiter.band=6 bar", "-o", "w.h5")
        with h5py.File(self.path("w.h5")) as file:
            growth, highest = file["growth"][20:-20], file["growth_highest"][20:-20]
            self.assertGreater(file.attrs["mean_over"], 0.02)
        self.assertLess(numpy.ptp(growth), 0.5 * numpy.mean(highest))
        middle = numpy.array([numpy.median(growth[max(0, i - 3):i + 4]) for i in range(len(growth))])
        self.assertLess(numpy.abs(growth - middle).max(), 0.15 * numpy.mean(highest))


if __name__ == "__main__":
    need_program()
    unittest.main()
