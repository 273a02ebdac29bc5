"""The command report: what it asks for, exit codes, files that are no runs, damaged or made to mislead."""
import base64
import hashlib
import json
import os
import re
import resource
import shutil
import struct
import unittest

import _seal
from _program import DOWNHILL, Folder, need_program

try:
    import h5py
    import numpy
except ImportError:
    h5py = None

SHORT = ("--set", "simulation.end_time=2 s", "--quiet")
NO_LEAK_CHECK = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
# What a sanitizer says of the file library, on which damage was let loose, is not asked for here.
DAMAGED = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0:log_path=/dev/null:handle_segv=0:handle_sigbus=0"}


def small_files():
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY))


def document(page, name):
    """A JSON document of the page."""
    return json.loads(re.search(f'id="{name}">(.*?)</script>', page, re.S).group(1))


def curve(page, run, name, number=0):
    """Times and values of a curve, read as docs/report.md says they are written."""
    block = base64.b64decode(re.search(f'id="curves-{number}">(.*?)</script>', page, re.S).group(1))
    at = [signal["name"] for signal in run["signals"]].index(name)
    offset, points = run["curves"][at]["offset"], run["curves"][at]["points"]
    values = struct.unpack_from(f"<{points}f", block, offset)
    place, ticks, times = offset + 4 * points, 0, []
    for _ in range(points):
        step, shift = 0, 0
        while True:
            byte = block[place]
            place += 1
            step |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
        ticks += step
        times.append(run["start"] + ticks * run["tick"])
    return times, values


class Report(Folder):
    def setUp(self):
        super().setUp()
        self.expect(0, "run", DOWNHILL, "-o", "run.h5", *SHORT)

    def read(self, name):
        with open(self.path(name), encoding="utf-8") as file:
            return file.read()

    def expect_refused(self, words, *files, code=2):
        before = self.files()
        result = self.expect(code, "report", *files, "-o", "page.html", env=NO_LEAK_CHECK)
        self.assertRegex(result.stderr, words)
        self.assertEqual(result.stderr.count("\n"), 1, result.stderr)
        self.assertEqual(self.files(), before)


class Use(Report):
    def test_names_the_page_after_the_run(self):
        result = self.expect(0, "report", "run.h5")
        self.assertIn("page run.html (1 file, ", result.stdout)
        self.assertEqual(self.files(), ["run.h5", "run.html"])
        self.assertEqual(self.expect(0, "report", "run.h5", "-o", "x.html", "--quiet").stdout, "")

    def test_bad_usage(self):
        self.assertIn("which run?", self.expect(2, "report").stderr)
        self.assertIn("did you mean '--output'", self.expect(2, "report", "run.h5", "--outptu").stderr)
        self.assertIn("at most 12 runs", self.expect(2, "report", *["run.h5"] * 13).stderr)
        self.assertIn("which this command reads", self.expect(2, "report", "run.h5", "-o", "run.h5").stderr)
        self.assertIn("usage: swashloop report", self.expect(0, "report", "--help").stdout)

    def test_twelve_runs(self):
        self.expect(0, "report", *["run.h5"] * 12, "-o", "page.html")
        page = self.read("page.html")
        self.assertEqual(document(page, "facts")["runs"], 12)
        self.assertEqual(page.count('<script type="application/json" id="run-'), 12)

    def test_output_that_cannot_be(self):
        self.assertIn("No such file or directory", self.expect(3, "report", "run.h5", "-o", "none/page.html").stderr)
        os.mkdir(self.path("page.html"))
        self.assertIn("no regular file", self.expect(3, "report", "run.h5", "-o", "page.html").stderr)
        os.rmdir(self.path("page.html"))
        result = self.expect(3, "report", "run.h5", "-o", "page.html", preexec_fn=small_files, env=NO_LEAK_CHECK)
        self.assertIn("File too large", result.stderr)
        self.assertEqual(self.files(), ["run.h5"])


class Content(Report):
    def test_stands_alone(self):
        self.expect(0, "report", "run.h5")
        page = self.read("run.html")
        policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1)
        self.assertTrue(policy.startswith("default-src 'none'; base-uri 'none'; form-action 'none'; script-src 'sha256-"))
        self.assertNotIn("unsafe", policy)
        for kind in ("script", "style"):
            for text in re.findall(f"<{kind}>(.*?)</{kind}>", page, re.S):
                digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
                self.assertIn(f"'sha256-{digest}'", policy)
        self.assertEqual(re.findall(r'(?:src|href)="(?!#)[^"]*"', page), [])
        self.assertIn("A simulation proves no brake.", page)
        self.assertIn("Permission is hereby granted, free of charge", page)

    def test_hashes(self):
        self.expect(0, "report", "run.h5")
        run = document(self.read("run.html"), "run-0")
        with open(self.path("run.h5"), "rb") as file:
            self.assertEqual(run["file_hash"], hashlib.sha256(file.read()).hexdigest())
        self.assertEqual(run["case_hash"], hashlib.sha256(run["case"].encode()).hexdigest())

    def test_says_what_is_not_at_its_default(self):
        self.expect(0, "run", DOWNHILL, "-o", "set.h5", "--set", "pump.displacement=111 cm3/rev", *SHORT)
        self.expect(0, "report", "set.h5")
        run = document(self.read("set.html"), "run-0")
        row = {row["name"]: row for row in run["parameters"]}["pump.displacement"]
        self.assertAlmostEqual(row["value"] * 2e6 * numpy.pi, 111.0, 9)
        self.assertNotAlmostEqual(row["usual"] * 2e6 * numpy.pi, 111.0, 0)

    def test_curves_keep_their_promise(self):
        """Every sample of the file lies within the told tolerance of the line; extremes are the measures."""
        self.expect(0, "run", DOWNHILL, "-o", "long.h5", "--quiet")
        self.expect(0, "report", "long.h5")
        page = self.read("long.html")
        run = document(page, "run-0")
        with h5py.File(self.path("long.h5")) as file:
            time = file["time"][:]
            self.assertEqual(len(run["signals"]), sum(isinstance(item, h5py.Dataset) for item in file.values()) - 1)
            kept = 0
            for signal, told in zip(run["signals"], run["curves"]):
                samples = file[signal["name"]][:]
                times, values = curve(page, run, signal["name"])
                kept += len(times)
                self.assertTrue(all(numpy.diff(times) >= 0))
                single = 1e-6 * max(abs(samples))  # values are kept as 32-bit numbers
                worst = max(abs(numpy.interp(time, times, values) - samples))
                # Between two samples lies at most one point that a measure or an event tells.
                steepest = max(abs(numpy.diff(samples)))
                self.assertLessEqual(worst, told["tolerance"] + single + 1e-3 * steepest, signal["name"])
                self.assertLessEqual(told["tolerance"], 1e-5 * (signal["high"] - signal["low"]) + 1e-300)
            self.assertLess(kept, 0.1 * len(time) * len(run["signals"]))
            for measure, name in (("peak_line_a_pressure", "line_a_pressure"), ("peak_line_b_pressure", "line_b_pressure"),
                                  ("engine_speed_max", "engine_speed")):
                times, values = curve(page, run, name)
                peak = numpy.argmax(values)
                self.assertAlmostEqual(values[peak] / file["measures"][measure][()], 1.0, 6)
                self.assertAlmostEqual(times[peak], file["measures"][measure + "_time"][()], 6)


class NoRun(Report):
    def test_not_there(self):
        self.expect_refused("none.h5 cannot be read: No such file or directory", "none.h5")

    def test_a_folder(self):
        os.mkdir(self.path("folder.h5"))
        self.expect_refused("it is no regular file", "folder.h5")

    def test_text(self):
        self.write("text.h5", "hello\n")
        self.write("empty.h5", "")
        self.expect_refused("it is no HDF5 file; expected a run file", "text.h5")
        self.expect_refused("it is no HDF5 file", "empty.h5")

    def test_one_bad_of_two(self):
        self.write("text.h5", "hello\n")
        self.expect_refused("text.h5 cannot be read", "run.h5", "text.h5")

    def test_other_hdf5(self):
        with h5py.File(self.path("other.h5"), "w") as file:
            file["x"] = 1.0
        self.expect_refused("it names no plant", "other.h5")

    def test_a_part_of_a_killed_run_is_told_as_such(self):
        shutil.copy(self.path("run.h5"), self.path("part.h5"))
        _seal.unseal(self.path("part.h5"))
        with h5py.File(self.path("part.h5"), "r+") as file:
            file.attrs["status"] = "running"
            for name in ("measures", "events", "limits", "ledger", "parameters", "solver"):
                del file[name]
        self.expect(0, "report", "part.h5")
        self.assertEqual(document(self.read("part.html"), "run-0")["status"], "running")


class Hostile(Report):
    def changed(self, change):
        shutil.copy(self.path("run.h5"), self.path("bad.h5"))
        with _seal.changed(self.path("bad.h5")) as file:
            change(file)
        return "bad.h5"

    def test_cut_off(self):
        size = os.path.getsize(self.path("run.h5"))
        for length in (600, 5000, size // 2, size - 1):
            shutil.copy(self.path("run.h5"), self.path("bad.h5"))
            os.truncate(self.path("bad.h5"), length)
            self.expect_refused("bad.h5 cannot be read: it (is damaged|is no HDF5|was cut off)", "bad.h5")

    def test_no_time(self):
        def remove(file):
            del file["time"]
        self.expect_refused("it has no time", self.changed(remove))

    def test_time_backwards(self):
        def turn(file):
            file["time"][5] = -1.0
        self.expect_refused("time runs backwards", self.changed(turn))

    def test_time_without_numbers(self):
        def spoil(file):
            file["time"][5] = numpy.nan
        self.expect_refused("time runs backwards or is no number", self.changed(spoil))

    def test_unequal_columns(self):
        def shorten(file):
            del file["events/message"]
            file["events/message"] = ["one"]
        self.expect_refused("a table in it is not whole", self.changed(shorten))

    def test_huge_on_paper(self):
        def swell(file):
            del file["time"]
            file.create_dataset("time", (1 << 40,), dtype="f8", chunks=(4096,))
        self.expect_refused("it has no time", self.changed(swell))

    def test_data_of_other_files(self):
        """Neither a link nor outside storage may bring another file of the reader's machine onto the page."""
        self.write("secret.txt", "secret secret secret")

        def outside(file):
            del file["grade"]
            file.create_dataset("grade", (2,), dtype="f8", external=[(self.path("secret.txt"), 0, 16)])
        self.expect_refused("points to data in other files", self.changed(outside))

        def link(file):
            del file["grade"]
            file["grade"] = h5py.ExternalLink("run.h5", "/grade")
            file["loop"] = h5py.SoftLink("/")
        self.expect(0, "report", self.changed(link), "-o", "page.html")
        names = [signal["name"] for signal in document(self.read("page.html"), "run-0")["signals"]]
        self.assertIn("line_a_pressure", names)
        self.assertNotIn("grade", names)

    def test_numbers_that_are_none(self):
        def spoil(file):
            file["line_a_pressure"][10:20] = numpy.nan
            file["grade"][:] = numpy.nan
            file["loop_heat"][7] = numpy.inf
            file["measures/stop_time"][()] = numpy.nan
        self.expect(0, "report", self.changed(spoil), "-o", "page.html")
        page = self.read("page.html")
        run = document(page, "run-0")
        _, values = curve(page, run, "line_a_pressure")
        self.assertTrue(any(numpy.isnan(values)))
        self.assertIsNone({row["name"]: row for row in run["signals"]}["grade"]["high"])

    def test_texts_that_could_be_markup(self):
        text = "</script><script>alert(1)</script><!-- & \u2028 \x01"

        def spoil(file):
            file.attrs["title"] = text
            file.attrs["case"] = text
            file["events/message"][0] = text
            file.move("grade", "</script><b>")
        self.expect(0, "report", self.changed(spoil), "-o", "page.html")
        page = self.read("page.html")
        self.assertEqual(document(page, "run-0")["title"], text)
        self.assertNotIn("alert(1)</script>", page)
        self.assertEqual(page.count("</script>"), page.count("<script"))

    def test_flipped_bits(self):
        """Whatever is damaged: a page or one line of complaint, never a crash, never half a page."""
        random = numpy.random.default_rng(1)
        with open(self.path("run.h5"), "rb") as file:
            whole = file.read()
        # Most of the file is numbers; what leads the reader astray is the structure around them.
        structure = (b"TREE", b"SNOD", b"HEAP", b"OHDR", b"GCOL", b"FRHP", b"BTHD", b"OCHK")
        places = [place for place in range(len(whole)) if whole[place:place + 4] in structure]
        for trial in range(40):
            damaged = bytearray(whole)
            for _ in range(8):
                place = int(random.choice(places)) + int(random.integers(0, 200)) if trial % 4 else int(random.integers(0, 4000))
                damaged[place % len(damaged)] ^= 1 << int(random.integers(0, 8))
            with open(self.path("bad.h5"), "wb") as file:
                file.write(damaged)
            result = self.run_program("report", "bad.h5", "-o", "page.html", env=DAMAGED)
            self.assertIn(result.returncode, (0, 2), f"trial {trial}: {result.stderr}")
            self.assertEqual(os.path.exists(self.path("page.html")), result.returncode == 0)
            self.assertFalse(os.path.exists(self.path("page.html.part")))
            if result.returncode == 2:
                self.assertEqual(result.stderr.count("\n"), 1, result.stderr)
                self.assertIn("cannot be read", result.stderr)
            else:
                os.unlink(self.path("page.html"))


if __name__ == "__main__":
    need_program()
    if h5py is None:
        print("skipped: no h5py")
        raise SystemExit(77)
    unittest.main()
