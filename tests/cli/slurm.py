"""A sweep as a job array on a real Slurm of this one machine: the batch template as it is, its merged table bit for bit
that of one process, and a job whose time is up goes on by itself."""
import os
import subprocess
import sys
import unittest

from _program import PROGRAM, ROOT, Folder, need_program
from _table import attributes, differences

CASE = os.path.join(ROOT, "cases", "baseline", "downhill.yaml")
STUDY = f"""case: {CASE}
set: {{simulation.end_time: SECONDS s}}
arrange: sobol
count: COUNT
vary:
  - {{path: vehicle.mass, from: 10 t, to: 18 t}}
  - {{path: charge.check_open, from: 0.28 bar, to: 1.5 bar}}
"""
SLURM = os.path.join(ROOT, "tools", "one-machine-slurm")


class Array(Folder):
    def template(self, **words):
        with open(os.path.join(ROOT, "tools", "slurm-sweep.sh.in"), encoding="utf-8") as file:
            text = file.read()
        for word, value in words.items():
            text = text.replace(f"@{word}@", str(value))
        # This cluster has two processors at most: whatever is asked for must fit.
        return self.write("sweep.sh", text)

    def on_cluster(self, script):
        environment = {**os.environ, "PATH": os.path.dirname(PROGRAM) + os.pathsep + os.environ["PATH"],
                       "ASAN_OPTIONS": "detect_leaks=0"}
        result = subprocess.run([SLURM, "bash", "-euc", script], cwd=self.folder, env=environment,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, timeout=200, check=False)
        if result.returncode == 77:
            self.skipTest(result.stderr.strip())
        logs = ""
        for name in self.files():
            if name.endswith(".log"):
                with open(self.path(name), encoding="utf-8") as file:
                    logs += f"{name}: {file.read()}\n"
        self.assertEqual(result.returncode, 0, result.stdout + result.stderr + logs)
        return result.stdout

    def test_an_array_makes_the_same_table(self):
        self.write("study.yaml", STUDY.replace("SECONDS", "2").replace("COUNT", "43"))
        self.template(LAST=4, THREADS=1, MINUTES=5, OUTPUT="part", STUDY="study.yaml")
        self.on_cluster("sbatch --wait sweep.sh\n"
                        "swashloop merge part-?.h5 -o merged.h5 || [ $? = 5 ]")
        self.expect(5, "sweep", "study.yaml", "-o", "alone.h5")
        self.assertEqual(differences(self.path("alone.h5"), self.path("merged.h5")), [])
        self.assertEqual(attributes(self.path("merged.h5"))["merged_shards"], 5)

    def ranks(self, program, kind):
        if not os.access(program, os.X_OK):
            self.skipTest(f"{program} was not built")
        if f"{kind}\n" not in self.on_cluster("srun --mpi=list 2>&1").replace("\t", ""):
            self.skipTest(f"this Slurm has no {kind}")
        self.write("study.yaml", STUDY.replace("SECONDS", "2").replace("COUNT", "43"))
        sweep = f"{program} sweep study.yaml --force"
        said = self.on_cluster(
            f"srun --mpi={kind} -n $(nproc) {sweep} -o ranks.h5 2>&1 || [ $? = 5 ]\n"
            f"srun --mpi={kind} -n 1 -c $(nproc) --cpu-bind=cores {sweep} -o threads.h5 --jobs $(nproc) 2>&1 || [ $? = 5 ]\n")
        self.assertNotIn("too_many_jobs", said)
        self.assertNotIn("know nothing of each other", said)
        said = self.on_cluster(f"srun --mpi={kind} -n 1 {sweep} -o bound.h5 --jobs $(($(nproc) + 1)) 2>&1 || [ $? = 5 ]")
        self.assertIn("too_many_jobs", said)
        self.expect(5, "sweep", "study.yaml", "-o", "alone.h5")
        for name in ("ranks.h5", "threads.h5"):
            self.assertEqual(differences(self.path("alone.h5"), self.path(name)), [])

    def test_ranks_that_slurm_starts(self):
        with open(os.path.join(os.path.dirname(PROGRAM), "CMakeCache.txt"), encoding="utf-8") as file:
            if "openmpi" not in file.read():
                self.skipTest("swashloop-mpi is of another library")
        self.ranks(PROGRAM + "-mpi", "pmix")

    def test_ranks_of_mpich_that_slurm_starts(self):
        self.ranks(os.path.join(os.path.dirname(PROGRAM), "tests", "swashloop-mpich"), "pmi2")

    def test_time_is_up(self):
        """The signal that announces the end of a job's time, sent as Slurm sends it, to the batch shell."""
        self.write("study.yaml", STUDY.replace("SECONDS", "20").replace("COUNT", "150"))
        self.template(LAST=0, THREADS=1, MINUTES=5, OUTPUT="part", STUDY="study.yaml")
        self.on_cluster("job=$(sbatch --parsable sweep.sh)\n"
                        "for i in $(seq 600); do [ -s part-0.h5.journal ] && break; sleep 0.05; done\n"
                        "scancel --batch --signal=TERM $job\n"
                        "for i in $(seq 1200); do [ -e part-0.h5 ] && break; sleep 0.1; done\n"
                        "[ -e part-0.h5 ]\n")
        with open(self.path("part-0.log"), encoding="utf-8") as file:
            log = file.read()
        self.assertIn("--resume goes on", log)
        self.assertRegex(log, r"150 of 150 cases done, \d+ of them earlier")
        self.expect(5, "sweep", "study.yaml", "-o", "alone.h5")
        self.assertEqual(differences(self.path("alone.h5"), self.path("part-0.h5")), [])


if __name__ == "__main__":
    need_program()
    try:
        import h5py  # noqa: F401
    except ImportError:
        print("skipped: no h5py here")
        sys.exit(77)
    # Without a cluster there is nothing to test: that is a skip, not a success.
    if subprocess.run([SLURM, "true"], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False).returncode == 77:
        print("skipped: no Slurm can be started here")
        sys.exit(77)
    unittest.main()
