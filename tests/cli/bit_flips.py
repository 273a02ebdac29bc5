#!/usr/bin/env python3
"""A flipped bit in a file of results is told: never a lost column, a changed number, a crash or a hang.

usage: bit_flips.py [FLIPS]     (the test takes a sample of 60; 900 take some minutes)
"""
import os
import random
import shutil
import subprocess
import sys
import unittest

sys.dont_write_bytecode = True
import _seal  # noqa: E402
from _program import PROGRAM, WARNING, Folder, need_program  # noqa: E402

FLIPS = 60
NO_LEAK_CHECK = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
STUDY = """title: flips
case: case.yaml
vary:
  - {path: vehicle.mass, from: 10 t, to: 16 t, count: 8}
"""


def flip(path, bit):
    with open(path, "r+b") as file:
        file.seek(bit // 8)
        byte = file.read(1)[0]
        file.seek(bit // 8)
        file.write(bytes([byte ^ 1 << bit % 8]))


class Flips(Folder):
    def setUp(self):
        super().setUp()
        root = os.environ["SWASHLOOP_SOURCE"]
        machine = os.path.join(root, "cases", "machines", "forwarder.yaml")
        self.write("case.yaml", f"machine: {machine}\nsimulation: {{end_time: 0.3 s}}\n"
                                "limits:\n  - engine_speed <= 2520 rpm\n")
        self.write("study.yaml", STUDY)
        for shard in range(2):
            self.run_program("sweep", "study.yaml", "-o", f"s{shard}.h5", "--shard", f"{shard}/2", "--quiet")
        self.expect(0, "run", "case.yaml", "-o", "run.h5", "--quiet")

    def tries(self, name, bad, *arguments):
        """[exit code of each flip], each with one line of reason."""
        random.seed(20)
        bits = 8 * os.path.getsize(self.path(name))
        codes = []
        for bit in random.sample(range(bits), FLIPS):
            shutil.copy(self.path(name), self.path(bad))
            flip(self.path(bad), bit)
            for left in ("out.h5", "out.html"):
                if os.path.exists(self.path(left)):
                    os.unlink(self.path(left))
            result = subprocess.run([PROGRAM, *arguments], cwd=self.folder, capture_output=True, text=True,
                                    env=NO_LEAK_CHECK, timeout=60, check=False)
            codes.append(result.returncode)
            said = [line for line in result.stderr.splitlines() if not WARNING.search(line)]
            self.assertEqual(len(said), 1, (bit, result.stderr))
            self.assertFalse([left for left in self.files() if left.startswith("out")], bit)
        return codes

    def test_shards(self):
        self.assertTrue(_seal.is_sealed(self.path("s0.h5")))
        codes = self.tries("s1.h5", "bad.h5", "merge", "s0.h5", "bad.h5", "-o", "out.h5")
        self.assertEqual(set(codes), {2}, codes)

    def test_report_of_a_run(self):
        codes = self.tries("run.h5", "bad.h5", "report", "bad.h5", "-o", "out.html")
        self.assertEqual(set(codes), {2}, codes)

    def test_table_taken_up_again(self):
        self.run_program("sweep", "study.yaml", "-o", "t.h5", "--quiet")
        self.assertEqual(self.run_program("sweep", "study.yaml", "-o", "t.h5", "--resume").returncode, 0)
        codes = self.tries("t.h5", "bad.h5", "sweep", "study.yaml", "-o", "bad.h5", "--resume")
        self.assertEqual(set(codes), {2}, codes)

    def test_shards_with_other_columns(self):
        """Sealed, but not the same columns: refused, not cut to what they have in common."""
        if _seal.h5py is None:
            self.skipTest("no h5py")
        for change in (lambda file: file.pop("stop_time"), lambda file: file.move("stop_time", "stop_tine")):
            shutil.copy(self.path("s1.h5"), self.path("bad.h5"))
            with _seal.changed(self.path("bad.h5")) as file:
                change(file)
            for order in (("s0.h5", "bad.h5"), ("bad.h5", "s0.h5")):
                result = self.expect(2, "merge", *order, "-o", "out.h5")
                self.assertRegex(result.stderr, "not the same columns|holds more or other things")
        shutil.copy(self.path("s1.h5"), self.path("bad.h5"))
        _seal.unseal(self.path("bad.h5"))
        self.assertIn("no checksum", self.expect(2, "merge", "s0.h5", "bad.h5", "-o", "out.h5").stderr)


if __name__ == "__main__":
    need_program()
    if len(sys.argv) > 1 and sys.argv[1].isdigit():
        FLIPS = int(sys.argv.pop(1))
    unittest.main()
