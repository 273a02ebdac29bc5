"""The command report on the table of a sweep: what goes on the page, what is refused, damage and hostile texts."""
import base64
import os
import re
import shutil
import unittest

import _seal
from _program import DOWNHILL, Folder, need_program
from report import DAMAGED, NO_LEAK_CHECK, document

try:
    import h5py
    import numpy
except ImportError:
    h5py = None

STUDY = """
title: Mass and relief setting
case: base.yaml
vary:
  - {path: vehicle.mass, from: 8 t, to: 16 t, count: 3}
  - {path: relief.setting, values: [200 bar, 380 bar]}
measures: [peak_line_a_pressure, engine_speed_min, stop_time]
"""


def cells(page, number, kind):
    block = base64.b64decode(re.search(f'id="cells-{number}">(.*?)</script>', page, re.S).group(1))
    return numpy.frombuffer(block, dtype={"case": "<u4", "number": "<f4", "flags": "u1", "text": "<u2"}[kind])


def columns(page):
    """Description and cells of every column, as docs/report.md says they are written."""
    whole = document(page, "table")
    found = {}
    for number in range(whole["columns"]):
        column = document(page, f"column-{number}")
        found[column["name"]] = (column, cells(page, number, column["kind"]))
    return found


class Sweep(Folder):
    def setUp(self):
        super().setUp()
        with open(DOWNHILL, encoding="utf-8") as file:
            text = file.read().replace("machine: ", "machine: " + os.path.dirname(DOWNHILL) + "/")
        text = re.sub(r"end_time: *[^,}\n]+", "end_time: 3 s", text)
        self.write("base.yaml", text + "\nlimits:\n  - line_a_pressure <= 300 bar\n  - engine_speed >= 500 rpm\n")
        self.write("study.yaml", STUDY)
        self.expect(0, "sweep", "study.yaml", "-o", "table.h5", "--quiet")

    def page(self, *files):
        self.expect(0, "report", *files, "-o", "page.html")
        with open(self.path("page.html"), encoding="utf-8") as file:
            return file.read()

    def changed(self, change):
        shutil.copy(self.path("table.h5"), self.path("bad.h5"))
        with _seal.changed(self.path("bad.h5")) as file:
            change(file)
        return "bad.h5"

    def expect_refused(self, words, *files):
        before = self.files()
        result = self.expect(2, "report", *files, "-o", "page.html", env=NO_LEAK_CHECK)
        self.assertRegex(result.stderr, words)
        self.assertEqual(result.stderr.count("\n"), 1, result.stderr)
        self.assertEqual(self.files(), before)


class Content(Sweep):
    def test_holds_the_table(self):
        page = self.page("table.h5")
        whole = document(page, "table")
        self.assertEqual((whole["rows"], whole["shown_rows"], whole["title"]), (6, 6, "Mass and relief setting"))
        found = columns(page)
        with h5py.File(self.path("table.h5"), "r") as file:
            groups = {"steps", "regions"}
            self.assertEqual(set(found), set(file) - groups)
            shown = document(page, "views")
            self.assertEqual(set(shown), groups)
            for group in groups:
                self.assertEqual(set(shown[group]), set(file[group]))
            self.assertEqual(shown["regions"]["broken"], list(file["regions"]["broken"]))
            self.assertEqual(shown["steps"]["low"], list(file["steps"]["low"]))
            for name, (column, values) in found.items():
                if column["kind"] == "text":
                    texts = [column["choices"][place]["text"] for place in values]
                    self.assertEqual(texts, list(file[name].asstr()[()]))
                elif column.get("low", 0) is None:
                    self.assertTrue(numpy.isnan(file[name][()]).all())
                    self.assertEqual(len(values), 0)
                else:
                    numpy.testing.assert_array_equal(values, file[name][()].astype(values.dtype), name)
            pressure = file["limit_1_line_a_pressure_worst"]
            column = found["limit_1_line_a_pressure_worst"][0]
            self.assertEqual((column["level"], column["side"], column["trade"]), (3e7, "at most", "bar"))
            self.assertEqual(column["high"], pressure[()].max())
            self.assertEqual(column["high_case"], pressure[()].argmax())
            flags = found["limit_1_line_a_pressure"][0]
            self.assertEqual(flags["broken"], int((file["limit_1_line_a_pressure"][()] == 0).sum()))
            self.assertEqual(flags["broken"] + flags["kept"] + flags["unjudged"], 6)

    def test_keeps_the_order_of_the_study(self):
        names = list(columns(self.page("table.h5")))
        self.assertEqual(names[:3], ["case", "vehicle.mass", "relief.setting"])

    def test_stands_alone(self):
        page = self.page("table.h5")
        policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1)
        self.assertTrue(policy.startswith("default-src 'none'; base-uri 'none'; form-action 'none'; script-src 'sha256-"))
        self.assertNotIn("unsafe", policy)
        self.assertEqual(page.count("<script>"), policy.split("style-src")[0].count("sha256-"))
        self.assertNotRegex(page, r"(src|href)=\"(?!#)")

    def test_same_page_whatever_else_is_in_the_file(self):
        def add(file):
            file["notes"] = numpy.arange(3.0)
            file["text"] = "a text"
        self.assertEqual(set(columns(self.page(self.changed(add)))), set(columns(self.page("table.h5"))))


class Refused(Sweep):
    def test_runs_and_tables_do_not_mix(self):
        self.expect(4, "run", "base.yaml", "-o", "run.h5", "--quiet", "--set", "relief.setting=380 bar")
        words = "table.h5 is the table of a sweep: a page tells one table, one review, or runs, but not several of these"
        self.expect_refused(words, "run.h5", "table.h5")
        self.expect_refused(words, "table.h5", "run.h5")
        self.expect_refused(words, "table.h5", "table.h5")

    def test_would_overwrite_the_table(self):
        result = self.expect(2, "report", "table.h5", "-o", "table.h5")
        self.assertIn("which this command reads", result.stderr)

    def test_unequal_columns(self):
        def shorten(file):
            attributes = dict(file["vehicle.mass"].attrs)
            del file["vehicle.mass"]
            file["vehicle.mass"] = [1.0, 2.0]
            file["vehicle.mass"].attrs["role"] = attributes["role"]
        self.expect_refused("its columns are not equally long", self.changed(shorten))

    def test_case_without_a_number(self):
        def spoil(file):
            file["case"][2] = -4
        self.expect_refused("a case in it has no number", self.changed(spoil))

    def test_no_cases(self):
        with h5py.File(self.path("empty.h5"), "w") as file:
            file["case"] = numpy.zeros(0)
        self.expect_refused("its table has no cases", "empty.h5")

    def test_huge_on_paper(self):
        with h5py.File(self.path("huge.h5"), "w") as file:
            file.create_dataset("case", (1 << 40,), dtype="i8", chunks=(4096,))
        self.expect_refused("huge.h5 cannot be read", "huge.h5")

    def test_limit_of_texts(self):
        def spoil(file):
            del file["all_limits"]
            file["all_limits"] = ["kept"] * 6
            file["all_limits"].attrs["role"] = "all_limits"
        self.expect_refused("neither kept, broken nor not judged", self.changed(spoil))

    def test_cut_off(self):
        size = os.path.getsize(self.path("table.h5"))
        for length in (600, size // 2, size - 1):
            shutil.copy(self.path("table.h5"), self.path("bad.h5"))
            os.truncate(self.path("bad.h5"), length)
            self.expect_refused("bad.h5 cannot be read: it (is damaged|is no HDF5|was cut off)", "bad.h5")

    def test_data_of_other_files(self):
        self.write("secret.txt", "secret secret secret secret secret secret secret secret")

        def outside(file):
            del file["vehicle.mass"]
            file.create_dataset("vehicle.mass", (6,), dtype="f8", external=[(self.path("secret.txt"), 0, 48)])
            file["vehicle.mass"].attrs["role"] = "varied"
        self.expect_refused("points to data in other files", self.changed(outside))


class Hostile(Sweep):
    def test_texts_that_could_be_markup(self):
        text = "</script><script>alert(1)</script><!-- & \u2028 \x01"

        def spoil(file):
            for name in ("title", "study", "history", "case"):
                file.attrs[name] = text
            file["message"][0] = text
            file["all_limits"].attrs["role"] = text
            file.move("vehicle.mass", "</script><b>")
        page = self.page(self.changed(spoil))
        self.assertEqual(document(page, "table")["title"], text)
        self.assertNotIn("alert(1)</script>", page)
        self.assertEqual(page.count("</script>"), page.count("<script"))

    def test_messages_without_end(self):
        def spoil(file):
            file["message"][:] = [chr(97 + row) * 90_000 for row in range(6)]
        page = self.page(self.changed(spoil))
        column, values = columns(page)["message"]
        self.assertEqual(len(column["choices"]), 2)
        self.assertEqual(list(values), [0, 1, 4000, 4000, 4000, 4000])

    def test_flipped_bits(self):
        """Whatever is damaged: a page or one line of complaint, never a crash, never half a page."""
        random = numpy.random.default_rng(2)
        with open(self.path("table.h5"), "rb") as file:
            whole = file.read()
        marks = (b"TREE", b"SNOD", b"HEAP", b"OHDR", b"GCOL", b"FRHP", b"BTHD", b"OCHK")
        places = [place for place in range(len(whole)) if whole[place:place + 4] in marks]
        for trial in range(30):
            damaged = bytearray(whole)
            for _ in range(8):
                place = int(random.choice(places)) + int(random.integers(0, 200))
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
