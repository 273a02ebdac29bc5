#!/usr/bin/env python3
"""What keeps the pages true (tools/make-docs) does complain: of figures and pictures that have changed, of numbers that
nothing marks, of marks that are broken. What the pages say now is checked by tools/make-docs --check itself."""
import os
import sys
import tempfile
import unittest

sys.dont_write_bytecode = True
ROOT = os.environ.get("SWASHLOOP_SOURCE") or os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
sys.path.insert(0, os.path.join(ROOT, "tools"))
from quotes import blocks, figures, loose, marks, pictures  # noqa: E402
from quotes.workshop import QuoteError, Workshop  # noqa: E402


class Canned:
    """A workshop whose program says what the test wants."""

    def __init__(self, printed=""):
        self.printed, self.ran, self.warnings = printed, [], {}

    def run(self, command, codes=()):
        self.ran.append((command, codes))
        self.warnings[command] = "warning: new\n"
        return self.printed


class NoneAllowed:
    def covers(self, page, text, start, end):
        return False


class Figures(unittest.TestCase):
    def setUp(self):
        self.kept = dict(figures.FIGURES)
        figures.FIGURES["test.peak"] = (lambda shop: 357.4e5, ".0f bar")

    def tearDown(self):
        figures.FIGURES.clear()
        figures.FIGURES.update(self.kept)

    def test_a_figure_that_has_changed_is_written_anew(self):
        found = figures.written("page", "It peaks at <!--=test.peak-->311 bar<!--/-->, and ends.", Canned())
        self.assertEqual(found, ("It peaks at <!--=test.peak-->357 bar<!--/-->, and ends.", 1, []))

    def test_one_that_is_right_stays_even_over_two_lines(self):
        page = "It peaks at <!--=test.peak-->357\nbar<!--/-->."
        self.assertEqual(figures.written("page", page, Canned())[0], page)

    def test_a_bound_stands_while_it_holds(self):
        figures.FIGURES["test.error"] = (lambda shop: 2.4e-4, "<")
        for present, said in (("5e-4", "5e-4"), ("2e-3", "2e-3"), ("2e-4", "5e-4"), ("1e-2", "5e-4"), ("?", "5e-4")):
            self.assertEqual(figures.written("page", f"by <!--=test.error-->{present}<!--/-->", Canned())[0],
                             f"by <!--=test.error-->{said}<!--/-->")

    def test_a_figure_that_cannot_be_had_is_told_and_stays(self):
        figures.FIGURES["test.none"] = (lambda shop: max([]), ".0f bar")
        for name, words in (("test.peek", "no figure"), ("test.none", "cannot be found")):
            page = f"at <!--={name}-->1 bar<!--/-->"
            text, _, faults = figures.written("page", page, Canned())
            self.assertEqual(text, page)
            self.assertRegex(" ".join(faults), words)

    def test_a_figure_that_no_page_quotes_is_told(self):
        self.assertTrue(any("test.peak" in line for line in figures.unused(["nothing here"])))
        self.assertFalse(any("test.peak" in line for line in figures.unused(["<!--=test.peak-->357 bar<!--/-->"])))

    def test_forms(self):
        for value, form, text in ((0.2575, ".1f %", "25.8 %"), (1.299e9, "s2 bar/s", "13000 bar/s"), (26.4e3, ".0f (kW)", "26"),
                                  (0.01733, "s2 (ms)", "17"), (-0.0001, ".2f", "0.00"), ("420 bar", "", "420 bar"), (None, ".1f", "none"),
                                  (5e-7, "e0", "5e-7"), (1.2e12, "e1", "1.2e12"),
                                  (float("nan"), ".1f bar", "none")):
            self.assertEqual(figures.shown(value, form), text)
        with self.assertRaises(QuoteError):
            figures.shown(1.0, ".1f furlong")


class Blocks(unittest.TestCase):
    PAGE = "    swashloop steady cases/a.yaml \\\n      --speed 8\n\n<!-- output of the commands above -->\n\n    old 1\n\nWords.\n"

    def made(self, page, printed):
        canned = Canned(printed)
        real, blocks.Workshop = blocks.Workshop, lambda folder: canned
        try:
            return blocks.written("page", page), canned
        finally:
            blocks.Workshop = real

    def test_the_block_is_what_the_command_prints(self):
        (text, count), canned = self.made(self.PAGE, "new 2\nfile a.h5\n")
        self.assertEqual((text, count), (self.PAGE.replace("old 1", "new 2"), 1))
        self.assertEqual(canned.ran[0][0], "swashloop steady cases/a.yaml --speed 8")

    def test_commands_between_fences(self):
        page = "```sh\nswashloop run a.yaml   # says\ntools/plot a.h5\n```\n\n<!-- output of the commands above -->\n\n    old\n\n"
        (text, _), canned = self.made(page, "new\n")
        self.assertIn("    new", text)
        self.assertEqual(canned.ran[0][0], "swashloop run a.yaml")

    def test_warnings(self):
        (text, _), _ = self.made(self.PAGE.replace("output of", "warnings of"), "said on standard output\n")
        self.assertIn("    warning: new\n", text)
        self.assertNotIn("standard output", text)

    def test_processor_times_stay(self):
        page = self.PAGE.replace("old 1", "done 3, 0.23 s of processor time")
        (text, _), _ = self.made(page, "done 4, 7.99 s of processor time\n")
        self.assertIn("done 4, 0.23 s of processor time", text)

    def test_a_mark_without_commands(self):
        with self.assertRaisesRegex(QuoteError, "no commands"):
            self.made("Words.\n\n<!-- output of the commands above -->\n\n    old\n", "")


class Loose(unittest.TestCase):
    def faults(self, text):
        return loose.in_page("page", text, NoneAllowed())

    def test_numbers_with_units_are_found(self):
        for text in ("It stops within 5 m.", "up to 3.5\nkm/h", "(78 %)", "550 of 1625 cases", "of 66 kW at", "409.28 bar", "0.5 to 5 L"):
            self.assertEqual(len(self.faults(f"\n{text}\n")), 1, text)

    def test_what_is_marked_or_code_is_not(self):
        for text in ("<!--=a-->5 m<!--/-->", "<!--measured 2026-11-25: tools/bench-->5 ms<!--/-->", "`5 m`", "```yaml\nmass: 14 t\n```",
                     "<!-- measured 2026-11-25: tools/bench -->\n\n5 ms\n\n<!-- end of measured -->", "    swashloop run --set a='5 m'",
                     "[a page](b_5 m.md)", "order 5", "ISO 4391", "two 5ths"):
            self.assertEqual(self.faults(f"Words.\n\n{text}\n"), [], text)

    def test_an_item_of_a_list_is_text(self):
        self.assertEqual(len(self.faults("- An item:\n\n    it holds 5 bar\n")), 1)

    def test_a_block_of_output_needs_a_mark(self):
        self.assertEqual(len(self.faults("Words.\n\n    hunts: the pressure swings\n\n")), 1)
        self.assertEqual(self.faults("Words.\n\n<!-- output of the commands above -->\n\n    hunts: swings\n\n"), [])

    def test_allowed_texts_cover_their_own_place_only(self):
        allowed = loose.Allowed()
        allowed.texts, allowed.used = {"page": ["above 0.6 L/min"]}, set()
        self.assertEqual(loose.in_page("page", "a flow above 0.6\nL/min opens", allowed), [])
        self.assertEqual(len(loose.in_page("page", "it ends with 0.6 L/min", allowed)), 1)
        self.assertEqual(allowed.left(), [])
        allowed.texts["page"].append("7 kg")
        self.assertEqual(len(allowed.left()), 1)

    def test_comments_of_cases(self):
        case = "# See: it stops within 3 to 4 m at 10 km/h.\nvehicle: {speed: 10 km/h}\n"
        found = loose.in_case("cases/a.yaml", case, NoneAllowed())
        self.assertEqual([line for line in found if "'3 to 4 m'" in line], found)
        self.assertEqual(len(found), 1)


class Marks(unittest.TestCase):
    def test_what_is_wrong_with_marks_is_told(self):
        for text, words in (("<!--=a-->1<!--/-->", "start of a line"), ("x <!--=a-->1", "other half"), ("x 1<!--/-->", "other half"),
                            ("x <!--measured last week: tools/bench-->1 ms<!--/-->", "expected a date"),
                            ("x <!--measured 2026-11-25: tools/none-->1 ms<!--/-->", "not there"),
                            ("<!-- measured 2026-11-25: tools/bench -->\n\n1 ms\n", "other half")):
            found = marks.faults("page", text)
            self.assertTrue(any(words in fault for fault in found), (text, found))
        self.assertEqual(marks.faults("page", "x <!--=a-->1<!--/--> y <!--measured 2026-11-25: tools/bench-->1 ms<!--/-->"), [])


class Pictures(unittest.TestCase):
    def test_numbers_to_print_precision(self):
        self.assertTrue(pictures.same([0.0, 466.5, 121.0, 60.2], [0.0, 466.51, 121.0, 60.2]))
        self.assertFalse(pictures.same([0.0, 466.5, 121.0, 60.2], [0.0, 467.5, 121.0, 60.2]))
        self.assertFalse(pictures.same([1.0], [1.0, 3.0]))
        self.assertFalse(pictures.same(["ab"], ["ac"]))

    def test_rounding_about_nothing_is_nothing(self):
        import h5py
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "a.h5")
            with h5py.File(path, "w") as file:
                for name, values in (("slope", [6e4, 7e4]), ("servo", [0.0, 3e-7]), ("leak", [0.0, 3.0])):
                    file[name] = values
                    file[name].attrs["units"] = "W"
            found = pictures.numbers_of(path)
            self.assertEqual(found["servo"], [0.0])
            self.assertEqual(found["leak"][:2], [0.0, 3.0])

    def test_a_history_tells_any_change(self):
        import numpy
        time = numpy.linspace(0.0, 2.0, 400)
        told = pictures.told(numpy.sin(time), time)
        self.assertTrue(pictures.same(told, pictures.told(numpy.sin(time[::2]), time[::2])))
        self.assertFalse(pictures.same(told, pictures.told(numpy.sin(time[::-1]), time)))
        self.assertFalse(pictures.same(told, pictures.told(numpy.sin(time) + 0.01, time)))

    def test_a_picture_that_differs_is_stale(self):
        picture = pictures.Picture("p.png", [], "p.csv", "", ())
        kept = pictures.PICTURES, pictures.MEASURED, pictures.FOLDER, pictures.RECORD
        with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as docs:
            shop = Workshop(folder)
            pictures.PICTURES, pictures.MEASURED = (picture,), {}
            pictures.FOLDER, pictures.RECORD = docs, os.path.join(docs, "drawn.json")
            try:
                for name, text in (("p.csv", "x,y\n1,2\n3,4\n"), ("p.png", "picture")):
                    with open(shop.path(name), "w", encoding="utf-8") as file:
                        file.write(text)
                self.assertRegex(" ".join(pictures.stale(shop)), "never drawn")
                pictures.redraw(shop, [])
                self.assertEqual(pictures.stale(shop), [])
                with open(shop.path("p.csv"), "w", encoding="utf-8") as file:
                    file.write("x,y\n1,2\n3,5\n")
                self.assertRegex(" ".join(pictures.stale(shop)), "1 columns of p.csv have changed, such as y")
                with open(os.path.join(docs, "p.png"), "a", encoding="utf-8") as file:
                    file.write("touched")
                self.assertRegex(" ".join(pictures.stale(shop)), "not the picture that was drawn")
                with open(os.path.join(docs, "other.png"), "w", encoding="utf-8") as file:
                    file.write("nobody's")
                self.assertRegex(" ".join(pictures.stale(shop)), "no command draws it")
            finally:
                pictures.PICTURES, pictures.MEASURED, pictures.FOLDER, pictures.RECORD = kept


if __name__ == "__main__":
    unittest.main()
