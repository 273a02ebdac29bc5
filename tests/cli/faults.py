"""No silent partial file: full disk, missing folder, kill, interruption."""
import os
import resource
import signal
import subprocess
import time
import unittest

from _program import DOWNHILL, Folder, need_program

try:
    import h5py
except ImportError:
    h5py = None

LONG = ("--set", "simulation.end_time=100000 s", "--set", "simulation.output_step=20 ms",
        "--set", "simulation.largest_step=2 ms")
# After a failed write the file library keeps memory; a leak check would hide the exit code.
NO_LEAK_CHECK = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}


def small_files():
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))


class Output(Folder):
    def expect_no_output(self, words, *arguments, **options):
        result = self.expect(3, "run", DOWNHILL, *arguments, **options)
        self.assertIn(words, result.stderr)
        self.assertEqual(result.stdout, "")

    def test_missing_folder(self):
        self.expect_no_output("No such file or directory", "-o", "none/run.h5")
        self.assertEqual(self.files(), [])

    def test_folder_in_the_way(self):
        os.mkdir(self.path("run.h5"))
        self.expect_no_output("no regular file", "-o", "run.h5")
        self.assertEqual(self.files(), ["run.h5"])

    def test_a_file_size_limit_midway(self):
        self.expect_no_output("File too large", "-o", "run.h5", "--set", "simulation.output_step=0.1 ms",
                              preexec_fn=small_files, env=NO_LEAK_CHECK)
        self.assertEqual(self.files(), [])

    def test_a_file_size_limit_at_the_end(self):
        self.expect_no_output("File too large", "-o", "run.h5", "--set", "simulation.end_time=0.1 s",
                              "--set", "simulation.output_step=0.1 ms", preexec_fn=small_files, env=NO_LEAK_CHECK)
        self.assertEqual(self.files(), [])

    def test_the_file_of_an_earlier_run_survives(self):
        self.write("run.h5", "precious")
        self.expect_no_output("File too large", "-o", "run.h5", "--force", preexec_fn=small_files, env=NO_LEAK_CHECK)
        self.assertEqual(self.files(), ["run.h5"])
        with open(self.path("run.h5"), encoding="utf-8") as file:
            self.assertEqual(file.read(), "precious")

    def test_output_comes_before_a_broken_limit(self):
        case = self.downhill_with("limits:\n  - engine_speed <= 100 rpm\n")
        self.expect(3, "run", case, "-o", "none/run.h5")

    def test_full_file_system(self):
        mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", self.folder]
        if subprocess.run(mount, stderr=subprocess.DEVNULL, check=False).returncode != 0:
            self.skipTest("may not mount a small file system")
        try:
            self.expect_no_output("No space left on device", "-o", "run.h5", env=NO_LEAK_CHECK)
            self.assertEqual(self.files(), [])
        finally:
            subprocess.run(["umount", self.folder], check=True)

    def test_full_standard_output(self):
        if not os.path.exists("/dev/full"):
            self.skipTest("no /dev/full here")
        with open("/dev/full", "w", encoding="utf-8") as full:
            result = subprocess.run([os.environ["SWASHLOOP"], "list", "signals"], stdout=full, stderr=subprocess.PIPE,
                                    text=True, check=False)
        self.assertEqual(result.returncode, 3)
        self.assertIn("standard output", result.stderr)


class Interruption(Folder):
    def start_long_run(self, *arguments):
        """A run that would take minutes, once it has written something."""
        process = self.start_program("run", DOWNHILL, *LONG, "-o", "run.h5", *arguments)
        self.addCleanup(process.wait)
        self.addCleanup(process.kill)
        for stream in (process.stdout, process.stderr):
            self.addCleanup(stream.close)
        deadline = time.monotonic() + 60
        part = self.path("run.h5.part")
        while not (os.path.exists(part) and os.path.getsize(part) > 2_000_000):
            self.assertIsNone(process.poll(), "the run ended too early")
            self.assertLess(time.monotonic(), deadline)
            time.sleep(0.01)
        return process

    def check_interrupted(self, number):
        self.check_end_of(self.start_long_run(), number)

    def check_end_of(self, process, number):
        process.send_signal(number)
        output, errors = process.communicate(timeout=60)
        self.assertEqual(process.returncode, 130, errors)
        self.assertIn("INTERRUPTED", output)
        self.assertEqual(self.files(), ["run.h5"])
        if h5py is None:
            self.skipTest("the file was not read: no h5py")
        with h5py.File(self.path("run.h5"), "r") as run:
            self.assertEqual(run.attrs["status"], "interrupted")
            samples = len(run["time"])
            self.assertGreater(samples, 1000)
            self.assertEqual(len(run["line_a_pressure"]), samples)
            self.assertGreater(run["measures/peak_line_a_pressure"][()], 0.0)

    def test_interrupt(self):
        self.check_interrupted(signal.SIGINT)

    def test_terminate(self):
        self.check_interrupted(signal.SIGTERM)

    def test_kill_leaves_nothing_that_looks_complete(self):
        process = self.start_long_run()
        process.kill()
        process.wait()
        self.assertEqual(self.files(), ["run.h5.part"])
        if h5py is None:
            self.skipTest("the part was not read: no h5py")
        for _ in range(100):
            # The process that writes ends a moment after the one that was killed.
            try:
                with h5py.File(self.path("run.h5.part"), "r") as run:
                    self.assertEqual(run.attrs["status"], "running")
                return
            except BlockingIOError:
                time.sleep(0.02)
        self.fail("the part is still being written")

    def test_a_part_left_behind_does_not_matter(self):
        process = self.start_long_run()
        process.kill()
        process.wait()
        self.expect(0, "run", DOWNHILL, "-o", "run.h5", "--set", "simulation.end_time=0.1 s")
        self.assertEqual(self.files(), ["run.h5"])

    def test_two_runs_into_one_file(self):
        """The second is refused, and the first goes on unharmed."""
        process = self.start_long_run()
        result = self.expect(3, "run", DOWNHILL, "-o", "run.h5")
        self.assertIn("another run", result.stderr)
        self.check_end_of(process, signal.SIGINT)


if __name__ == "__main__":
    need_program()
    unittest.main()
