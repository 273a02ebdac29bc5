"""Files made to mislead, given to every command that reads HDF5: refused in words and with a code, never a crash, a
hang, or memory without bound. Each is sealed again after it was changed, so that it is read for what it holds."""
import os
import resource
import shutil
import unittest

from _program import Folder, need_program
from _program import DOWNHILL

try:
    import h5py
    import numpy
    from _seal import changed, seal_of
except ImportError:
    h5py = None

MAPPING = "time: {column: t}\nsignals:\n  - {signal: line_a_pressure, column: p, band: 1000 bar}\n"
STUDY = """title: Small study
case: %s
set: {simulation.end_time: 0.05 s}
vary:
  - {path: relief.setting, from: 250 bar, to: 450 bar, count: 4}
"""


def small_memory():
    resource.setrlimit(resource.RLIMIT_AS, (2_000_000_000, 2_000_000_000))


def replaced(name, make):
    """The dataset `name` (first of those that are there) by what `make(group, name)` puts there."""
    def change(file):
        attributes = dict(file[name].attrs) if name in file else {}
        if name in file:
            del file[name]
        made = make(file, name)
        if made is not None:
            for key in ("units", "long_name", "role"):
                if key in attributes:
                    made.attrs[key] = attributes[key]
    return change


def deep(file, name):
    group = file
    for _ in range(2000):
        group = group.create_group("deeper")
    group[name] = 1.0


def bomb(file, name):
    """A megabyte of file that says it is 80 GB."""
    return file.create_dataset(name, shape=(10 ** 10,), dtype="f8", chunks=(10 ** 6,), compression="gzip", fillvalue=0.0)


def packed(file, name):
    """200 MB of zeros in a few hundred kilobytes."""
    return file.create_dataset(name, data=numpy.zeros(25_000_000), chunks=(10 ** 6,), compression="gzip")


def set_text(file, key, value):
    file.attrs[key] = value


HOSTILE = {
    "text for numbers": lambda f, n: f.create_dataset(n, data="no number"),
    "list of texts": lambda f, n: f.create_dataset(n, data=["a", "b"]),
    "group": lambda f, n: f.create_group(n),
    "three axes": lambda f, n: f.create_dataset(n, data=numpy.ones((3, 4, 5))),
    "empty": lambda f, n: f.create_dataset(n, shape=(0,), dtype="f8"),
    "no space": lambda f, n: f.create_dataset(n, data=h5py.Empty("f8")),
    "shorter": lambda f, n: f.create_dataset(n, data=numpy.ones(2)),
    "longer": lambda f, n: f.create_dataset(n, data=numpy.ones(100_000)),
    "compound": lambda f, n: f.create_dataset(n, data=numpy.zeros(4, dtype=[("a", "f8"), ("b", "i4")])),
    "variable length": lambda f, n: f.create_dataset(n, shape=(4,), dtype=h5py.vlen_dtype("f8")),
    "references": lambda f, n: f.create_dataset(n, shape=(4,), dtype=h5py.ref_dtype),
    "opaque": lambda f, n: f.create_dataset(n, data=numpy.zeros(4, dtype="V16")),
    "booleans": lambda f, n: f.create_dataset(n, data=numpy.array([True, False])),
    "infinite": lambda f, n: f.create_dataset(n, data=numpy.full(4, numpy.inf)),
    "link to nothing": lambda f, n: f.__setitem__(n, h5py.SoftLink("/no/such/thing")),
    "link to itself": lambda f, n: f.__setitem__(n, h5py.SoftLink("/" + n)),
    "link to the root": lambda f, n: f.__setitem__(n, f["/"]),
    "link to another file": lambda f, n: f.__setitem__(n, h5py.ExternalLink("/etc/passwd", "/x")),
    "data in another file": lambda f, n: f.create_dataset(n, shape=(4,), dtype="f8", external=[("/etc/passwd", 0, 32)]),
    "said to be huge": bomb,
    "well packed": packed,
    "deep groups": deep,
}
ATTRIBUTES = {
    "number for a text": 3.5,
    "list of texts": ["a", "b"],
    "long text": "x" * 50_000,
    "bytes": b"\xff\xfe\x1b[31m\x07",
}


@unittest.skipIf(h5py is None, "no h5py")
class Hostile(Folder):
    def setUp(self):
        super().setUp()
        step = os.path.join(os.path.dirname(DOWNHILL), "relief_step.yaml")
        self.write("study.yaml", STUDY % step)
        self.write("trace.csv", "t [s],p [bar]\n" + "".join(f"{i / 1000},{300 + i}\n" for i in range(100)))
        self.write("mapping.yaml", MAPPING)
        self.run_program("run", step, "-o", "run.h5", "--quiet")
        for i in range(2):
            self.run_program("sweep", "study.yaml", "-o", f"shard-{i}.h5", "--shard", f"{i}/2", "--quiet")
        self.run_program("sweep", "study.yaml", "-o", "table.h5", "--quiet")
        self.tried = 0

    def give(self, what, *words):
        """Runs one command over a hostile file; what it left as an output goes."""
        before = set(self.files())
        result = self.run_program(*words, preexec_fn=small_memory, errors="replace")
        self.tried += 1
        told = f"{what}: {' '.join(words)} gives {result.returncode}: {result.stdout[-200:]}{result.stderr[-300:]}"
        self.assertIn(result.returncode, (0, 1, 2, 3, 4, 6), told)
        if result.returncode in (1, 2, 3):
            self.assertTrue(result.stderr.strip(), told)
        self.assertNotIn("\x1b", result.stderr + result.stdout, told)
        for name in set(self.files()) - before:
            self.assertFalse(name.endswith(".part"), told)
            os.remove(self.path(name))
        return result

    def give_all(self, what, source, change, commands):
        shutil.copy(self.path(source), self.path("bad.h5"))
        with changed(self.path("bad.h5")) as file:
            change(file)
        for words in commands:
            self.give(what, *words)
        os.remove(self.path("bad.h5"))

    RUN = (("report", "bad.h5", "-o", "out.html"), ("compare", "bad.h5", "trace.csv", "--map", "mapping.yaml"))
    TABLE = (("report", "bad.h5", "-o", "out.html"), )
    SHARD = (("merge", "bad.h5", "shard-1.h5", "-o", "out.h5"), ("report", "bad.h5", "-o", "out.html"))

    def test_good_files_are_read(self):
        """What the hostile ones are made of is taken."""
        self.expect(0, "report", "run.h5", "-o", "out.html", "--quiet")
        self.expect(0, "report", "table.h5", "-o", "table.html", "--quiet")
        self.expect(0, "merge", "shard-0.h5", "shard-1.h5", "-o", "out.h5", "--quiet")
        self.assertIn(self.run_program("compare", "run.h5", "trace.csv", "--map", "mapping.yaml").returncode, (0, 4, 6))

    def test_runs(self):
        for name in ("time", "line_a_pressure", "measures/peak_line_a_pressure", "events/time", "events/message", "ledger"):
            for what, make in HOSTILE.items():
                self.give_all(f"{what} at {name}", "run.h5", replaced(name, make), self.RUN)
        self.assertGreater(self.tried, 200)

    def test_tables(self):
        for name in ("case", "relief.setting", "status", "peak_line_a_pressure"):
            for what, make in HOSTILE.items():
                self.give_all(f"{what} at {name}", "table.h5", replaced(name, make), self.TABLE)
                self.give_all(f"{what} at {name}", "shard-0.h5", replaced(name, make), self.SHARD)
        self.assertGreater(self.tried, 200)

    def test_attributes(self):
        for key in ("status", "title", "case", "study", "study_fingerprint", "case_count", "shards"):
            for what, value in ATTRIBUTES.items():
                for source, commands in (("run.h5", self.RUN), ("shard-0.h5", self.SHARD)):
                    self.give_all(f"{what} as {key}", source, lambda f, k=key, v=value: set_text(f, k, v), commands)
        self.assertGreater(self.tried, 100)

    def test_cut_off(self):
        """Cut anywhere, and sealed there: the file library meets the cut."""
        with open(self.path("shard-0.h5"), "rb") as file:
            shard = file.read()[:-64]
        with open(self.path("run.h5"), "rb") as file:
            run = file.read()[:-64]
        for whole, commands in ((run, self.RUN), (shard, self.SHARD)):
            for part in range(1, 16):
                body = whole[:len(whole) * part // 16]
                with open(self.path("bad.h5"), "wb") as file:
                    file.write(body + seal_of(body))
                for words in commands:
                    self.assertNotEqual(self.give(f"cut at {part}/16", *words).returncode, 0)
                os.remove(self.path("bad.h5"))


if __name__ == "__main__":
    need_program()
    unittest.main()
