"""The program for clusters: ranks make the table of one process, whoever dies and wherever the files are."""
import os
import shutil
import signal
import subprocess
import time
import unittest

from _program import PROGRAM, ROOT, need_program
from sweep import LongSweep

try:
    import h5py
except ImportError:
    h5py = None


class Ranks(LongSweep):
    """The program for clusters, if it was built and its launcher is here."""

    def setUp(self):
        super().setUp()
        self.program = os.environ.get("SWASHLOOP_RANKS", PROGRAM + "-mpi")
        self.launcher = os.environ.get("SWASHLOOP_LAUNCHER", "mpirun")
        if not os.access(self.program, os.X_OK):
            self.skipTest(f"{self.program} was not built")
        if not shutil.which(self.launcher):
            self.skipTest(f"no {self.launcher} here")
        self.environment = {**os.environ, "OMPI_ALLOW_RUN_AS_ROOT": "1", "OMPI_ALLOW_RUN_AS_ROOT_CONFIRM": "1",
                            "OMPI_MCA_rmaps_base_oversubscribe": "1", "OMPI_MCA_btl_vader_single_copy_mechanism": "none",
                            "ASAN_OPTIONS": "detect_leaks=0"}

    def launch(self, ranks, *arguments):
        return subprocess.run([self.launcher, "-np", str(ranks), self.program, "sweep", *arguments], cwd=self.folder,
                              env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                              timeout=120, check=False)

    def test_ranks_make_the_same_table(self):
        self.sweep("one.h5", "--jobs", "1")
        for ranks in (1, 2, 5):
            result = self.launch(ranks, self.study, "-o", f"r{ranks}.h5", "--jobs", "2" if ranks == 2 else "1")
            self.assertEqual(result.returncode, 5, result.stderr)
            self.expect_same("one.h5", f"r{ranks}.h5")

    def test_too_many_threads_are_told(self):
        count = len(os.sched_getaffinity(0))
        result = self.launch(2, self.study, "-o", "t.h5", "--jobs", str(count))
        self.assertEqual(result.returncode, 5, result.stderr)
        self.assertIn("too_many_jobs", result.stderr)
        result = self.launch(1, self.study, "-o", "t.h5", "--force")
        self.assertNotIn("too_many_jobs", result.stderr)

    def end_ranks_at_work(self):
        """Start ranks and end them by a signal; False if they were done before it came."""
        process = subprocess.Popen([self.launcher, "-np", "3", self.program, "sweep", self.long, "-o", "t.h5"],
                                   cwd=self.folder, env=self.environment, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 60
        journal = self.path("t.h5.journal")
        while process.poll() is None and not (os.path.exists(journal) and os.path.getsize(journal) > 400):
            self.assertLess(time.monotonic(), deadline)
            time.sleep(0.002)
        process.terminate()
        process.wait(60)
        return not os.path.exists(self.path("t.h5"))

    def test_killed_ranks_lose_nothing(self):
        for _ in range(10):
            if self.end_ranks_at_work():
                break
            os.unlink(self.path("t.h5"))
        self.assertNotIn("t.h5", self.files())
        # One machine goes on with what the ranks have done.
        self.sweep("t.h5", "--resume", study=self.long, code=0)
        self.expect_same(self.whole, "t.h5")

    def processes_of_ranks(self):
        """Process of each rank that works on this test's study."""
        found = {}
        for process in filter(str.isdigit, os.listdir("/proc")):
            try:
                with open(f"/proc/{process}/cmdline", "rb") as file:
                    words = file.read().split(b"\0")
                with open(f"/proc/{process}/environ", "rb") as file:
                    environment = dict(word.split(b"=", 1) for word in file.read().split(b"\0") if b"=" in word)
            except OSError:
                continue
            rank = environment.get(b"OMPI_COMM_WORLD_RANK", environment.get(b"PMI_RANK"))
            if words[0] == self.program.encode() and self.long.encode() in words and rank is not None:
                found[int(rank)] = int(process)
        return found

    def kill_a_rank(self, *launcher):
        """Start three ranks, kill rank 2 at work; what the launcher came to and said. None: all was done before."""
        process = subprocess.Popen([*launcher, "-np", "3", self.program, "sweep", self.long, "-o", "t.h5", "--resume",
                                    "--patience", "2 s"], cwd=self.folder, env=self.environment,
                                   stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        self.addCleanup(process.kill)
        journal = self.path("t.h5.journal")
        deadline = time.monotonic() + 60
        while process.poll() is None and not (os.path.exists(journal) and os.path.getsize(journal) > 400):
            self.assertLess(time.monotonic(), deadline)
            time.sleep(0.002)
        rank = self.processes_of_ranks().get(2)
        if rank is None:
            process.communicate(timeout=60)
            return None
        os.kill(rank, signal.SIGKILL)
        said, _ = process.communicate(timeout=90)
        return process.returncode, said

    def test_a_launcher_that_ends_all_with_a_dead_rank(self):
        for _ in range(10):
            ended = self.kill_a_rank(self.launcher)
            if ended is not None and not os.path.exists(self.path("t.h5")):
                break
            os.unlink(self.path("t.h5"))
        self.assertNotEqual(ended[0], 0)
        self.assertNotIn("t.h5", self.files())
        self.assertEqual(self.launch(3, self.long, "-o", "t.h5", "--resume").returncode, 0)
        self.expect_same(self.whole, "t.h5")

    def test_a_launcher_that_goes_on_without_a_dead_rank(self):
        said = subprocess.run([self.launcher, "--version"], stdout=subprocess.PIPE, text=True, check=False).stdout
        if not said.startswith("mpirun (Open MPI) 4."):
            self.skipTest("this launcher ends all ranks with one, or is not known")
        for _ in range(10):
            ended = self.kill_a_rank(self.launcher, "--enable-recovery")
            if ended is not None and "1 rank was not heard of" in ended[1]:
                break
            os.unlink(self.path("t.h5"))
        self.assertEqual(ended[0], 0, ended[1])
        self.assertIn("1 rank was not heard of any more and given up", ended[1])
        self.expect_same(self.whole, "t.h5")

    def test_only_rank_0_needs_the_files(self):
        """The others work in an empty folder: study, case, machine, table of points and histories go by messages."""
        os.mkdir(self.path("files"))
        os.mkdir(self.path("empty"))
        shutil.copytree(os.path.join(ROOT, "cases"), self.path("files/cases"))
        self.write("files/points.csv", "vehicle.mass [t], relief.setting [bar]\n" +
                   "".join(f"{10 + 0.2 * i}, {420 + i}\n" for i in range(30)))
        self.write("files/study.yaml", "case: cases/braking.yaml\narrange: points\npoints: points.csv\n"
                                       "set: {simulation.end_time: 3 s}\nkeep_histories: {cases: all}\n")
        launch = self.write("launch.sh", "#!/bin/sh\n[ \"${OMPI_COMM_WORLD_RANK:-$PMI_RANK}\" = 0 ] && cd files || cd empty\n"
                                         f"exec {self.program} sweep study.yaml -o {self.path('t.h5')}\n")
        result = subprocess.run([self.launcher, "-np", "3", "sh", launch], cwd=self.folder, env=self.environment,
                                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=120, check=False)
        self.assertEqual(result.returncode, 0, result.stdout)
        self.assertEqual(os.listdir(self.path("empty")), [])
        self.sweep("one.h5", study=self.path("files/study.yaml"), code=0)
        self.expect_same("one.h5", "t.h5")
        names = [f"case_{k:06d}.h5" for k in range(30)]
        self.assertEqual(sorted(os.listdir(self.path("t.h5.runs"))), names)
        for name in names:
            with h5py.File(self.path("t.h5.runs/" + name)) as run, h5py.File(self.path("one.h5.runs/" + name)) as one:
                self.assertEqual(run["line_a_pressure"][()].tobytes(), one["line_a_pressure"][()].tobytes())
                self.assertEqual(run.attrs["case"], one.attrs["case"])

    def test_a_study_that_cannot_be_read_ends_all_ranks(self):
        result = self.launch(3, "none.yaml", "-o", "t.h5")
        self.assertEqual(result.returncode, 2, result.stderr)
        self.assertIn("none.yaml: error: cannot be read", result.stderr)

    def test_the_plain_program_says_what_is_wrong(self):
        self.program = PROGRAM
        result = self.launch(2, self.study, "-o", "t.h5")
        self.assertEqual(result.returncode, 2, result.stderr)
        self.assertIn("start swashloop-mpi", result.stderr)


if __name__ == "__main__":
    need_program()
    if h5py is None:
        print("skipped: no h5py here")
        raise SystemExit(77)
    unittest.main()
