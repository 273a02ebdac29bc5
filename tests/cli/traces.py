"""Traces as loggers write them: each dialect gives the numbers of a plain file, and what was guessed is told in a line.

The data are invented: a pressure and a flow of our own, rounded as a logger rounds."""
import datetime
import json
import math
import os
import re
import subprocess
import sys
import unittest

import h5py
import numpy

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from _program import ROOT, Folder, need_program  # noqa: E402

COUNT, STEP = 400, 0.01
MAP = """time: {column: TIME}
signals:
  - {signal: line_a_pressure, column: PRESSURE}
  - {signal: relief_a_flow, column: FLOW}
"""


def pressure(t):
    return 200e5 + 150e5 / (1.0 + math.exp(-8.0 * (t - 1.3))) + 20e5 * math.sin(5.0 * t)


def flow(t):
    return 1e-3 / 60.0 * (40.0 + 30.0 * math.exp(-20.0 * (t - 2.0) ** 2))


class Traces(Folder):
    def setUp(self):
        super().setUp()
        self.time = [k * STEP for k in range(COUNT)]
        self.pressures = [round(pressure(t) * 1e-5, 2) for t in self.time]  # bar
        self.flows = [round(flow(t) * 60e3, 2) for t in self.time]  # L/min
        with h5py.File(self.path("run.h5"), "w") as file:
            # A run of ours has more in it; compare reads these.
            time = numpy.arange(0, 4.0005, 0.002)
            file["time"] = time
            file["line_a_pressure"] = numpy.vectorize(pressure)(time) + 1e5
            file["relief_a_flow"] = numpy.vectorize(flow)(time)
            file.attrs["title"] = "invented"
        self.clean = self.compare("\n".join(["t [s],p [bar],Q [L/min]"] + self.rows()) + "\n")
        self.assertEqual(self.clean["guessed"], "")

    def rows(self, form="{:.2f},{:.2f},{:.2f}", time=None):
        return [form.format(t, p, q) for t, p, q in zip(time or self.time, self.pressures, self.flows)]

    def compare(self, text, names=("t", "p", "Q"), encoding="utf-8", mapping=MAP, code=0, name="trace.csv"):
        """The answer on a trace of this text; what is said on standard error is what stands in the answer."""
        if text is not None:
            with open(self.path(name), "wb") as file:
                file.write(text if isinstance(text, bytes) else text.encode(encoding))
        for word, own in zip(("TIME", "PRESSURE", "FLOW"), names):
            mapping = mapping.replace(word, own)
        self.write("map.yaml", mapping)
        result = self.run_program("compare", "run.h5", name, "--map", "map.yaml", "--json")
        self.assertEqual(result.returncode, code, result.stdout + result.stderr)
        if code != 0:
            return result.stderr
        answer = json.loads(result.stdout)
        self.assertEqual(result.stderr, f"{name}: guessed: {answer['guessed']}\n" if answer["guessed"] else "")
        with h5py.File(self.path("run.compare.h5")) as file:
            self.assertEqual(file.attrs["guessed"], answer["guessed"])
        return answer

    def same(self, text, *told, close=1e-9, **options):
        """The same deviations as those of the plain file, and these words among what is told."""
        answer = self.compare(text, **options)
        for signal, clean in self.clean["signals"].items():
            own = answer["signals"][signal]
            self.assertEqual(own["count"], clean["count"])
            for number in ("mean", "rms", "largest", "correlation"):
                self.assertAlmostEqual(own[number] / clean[number], 1.0, delta=close, msg=f"{signal} {number}")
        for words in told:
            self.assertIn(words, answer["guessed"])
        if not told:
            self.assertEqual(answer["guessed"], "")
        return answer

    # ---- separators, decimals, line ends, letters ----

    def test_separators_and_decimals(self):
        heading = "t [s];p [bar];Q [L/min]"
        comma = [row.replace(".", ",") for row in self.rows("{:.2f};{:.2f};{:.2f}")]
        self.same("\n".join([heading, *comma]) + "\n", "columns parted by semicolons", "decimals with a comma")
        self.same("\r\n".join([heading, *self.rows("{:.2f};{:.2f};{:.2f}")]) + "\r\n", "semicolons")
        self.same("\r".join([heading.replace(";", "\t"), *self.rows("{:.2f}\t{:.2f}\t{:.2f}")]) + "\r", "tabs")
        self.same("\n".join([heading.replace(";", "\t"), *(row.replace(";", "\t") for row in comma)]), "tabs", "comma")
        self.same("\n".join(["t[s] p[bar] Q[L/min]", *self.rows("{:8.2f}  {:8.2f} {:8.2f}")]) + "\n", "blanks")
        self.same("\n".join([heading.replace(";", ","), *('"' + row.replace(";", '","') + '"' for row in comma)]),
                  "decimals with a comma")
        self.same("\n".join([heading.replace(";", ";;"), *(row.replace(";", ";;") for row in comma)]), "semicolons")

    def test_empty_cells_behind(self):
        self.same("\n".join(["t [s],p [bar],Q [L/min],", *(row + "," for row in self.rows())]) + "\n")
        self.same("\n".join(["t [s],p [bar],Q [L/min]", *(row + "," for row in self.rows())]) + "\n")

    def test_letters(self):
        text = "\n".join(["t [s],p [bar],Q [L/min],Öl [°C]", *(row + ",40" for row in self.rows())]) + "\n"
        self.same(text, encoding="utf-8-sig")
        self.same(text, "UTF-16, low byte first", encoding="utf-16")
        self.same(text, "UTF-16, low byte first", encoding="utf-16-le")
        self.same("\ufeff" + text, "UTF-16, high byte first", encoding="utf-16-be")
        self.same(text, "ISO 8859-1", encoding="latin-1")

    # ---- heading, units, metadata ----

    def test_units_in_headings(self):
        for heading in ("t (s),p (bar),Q (L/min)", "t / s,p / bar,Q / L/min", "t/s,p/bar,Q/l/min", "t in s,p in bar,Q in l/min",
                        '"t [s]","p [bar(g)]","Q [l/min]"', "t [sec],p [barg],Q [lpm]"):
            self.same("\n".join([heading, *self.rows()]) + "\n")
        self.same("\n".join(['t [s],"p\n[bar]",Q [L/min]', *self.rows()]) + "\n")
        self.same("\n".join(["t [s],p (line A) [bar],Q [L/min]", *self.rows()]) + "\n", names=("t", "p (line A)", "Q"))
        self.same("\n".join(["t [s],p [bar],Q [L/min]", *self.rows()]) + "\n", names=('"t [s]"', '"p [bar]"', '"Q [L/min]"'))

    def test_a_row_of_units(self):
        for units in ("s,bar,l/min", "[s],[bar],[l/min]", "(s),(bar),(L/min)"):
            self.same("\n".join(["t,p,Q", units, *self.rows()]) + "\n", "line 2 read as the units")

    def test_metadata_and_remarks(self):
        above = ["Logger 7;;", "Rate;100;Hz", "Date;26.11.2026;", "", "channels;3;"]
        rows = self.rows("{:.2f};{:.2f};{:.2f}")
        self.same("\n".join([*above, "t;p;Q", "s;bar;l/min", *rows]) + "\n", "above the heading in line 6",
                  "line 7 read as the units")
        above = ["invented brake test", "Rate: 100", "operator: nobody, in particular"]
        self.same("\n".join([*above, "t [s],p [bar],Q [L/min]", *self.rows()]) + "\n", "above the heading in line 4")
        rows = self.rows()
        self.same("\n".join(["# a logger", "// ours", "% too", "t [s],p [bar],Q [L/min]", rows[0], "# a mark",
                             *rows[1:]]) + "\n")
        self.same("\n".join(["# t[s] p[bar] Q[L/min]", *self.rows("{:.2f} {:.2f} {:.2f}")]) + "\n",
                  "names of the columns are read from the remark in line 1")
        units = "time: {column: TIME, unit: s}\nsignals:\n  - {signal: line_a_pressure, column: PRESSURE, unit: bar}\n" \
                "  - {signal: relief_a_flow, column: FLOW, unit: l/min}\n"
        self.same("\n".join(rows) + "\n", "no line names the columns", names=("column_1", "column_2", "column_3"),
                  mapping=units)

    def test_other_columns_may_hold_anything(self):
        rows = [f"{row},{'OK' if k % 7 else '12 %'}" for k, row in enumerate(self.rows())]
        self.same("\n".join(["t [s],p [bar],Q [L/min],state", *rows]) + "\n")

    def test_units(self):
        psi, gpm = 6894.757293168, 3.785411784e-3 / 60.0  # NIST SP 811 (2008), appendix B.8
        for p, q, heading, told in ((1e5 / psi, 1e-3 / 60.0 / gpm, "t [ms],p [psi],Q [gpm]", ["US gallons"]),
                                    (0.1, 1.0 / 60.0, "t [us],p [MPa],Q [L/s]", []),
                                    (1.0, 60e-3, "t [h],p [bar(g)],Q [m^3/h]", [])):
            scale = {"ms": 1e3, "us": 1e6, "h": 1.0 / 3600.0}[heading[3:heading.index("]")]]
            rows = [f"{t * scale:.15g},{a * p:.15g},{b * q:.15g}" for t, a, b in
                    zip(self.time, self.pressures, self.flows)]
            self.same("\n".join([heading, *rows]) + "\n", *told, close=1e-7)
        rows = [f"{t:.2f},{a + 1.01325:.12g},{b}" for t, a, b in zip(self.time, self.pressures, self.flows)]
        self.same("\n".join(["t [s],p [bar(a)],Q [L/min]", *rows]) + "\n", "1.01325 bar (ISO 2533) taken off")

    # ---- gaps ----

    def test_gaps(self):
        """Gaps by any word are the gaps of an empty cell."""
        plain = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *self.with_gaps("")]) + "\n")
        self.assertEqual(plain["signals"]["line_a_pressure"]["count"], COUNT - 5)
        words = [(word, None) for word in ("NaN", "nan", "---", "-", "n/a", "#N/A", "null", "inf", "1.#QNAN", "–")]
        words += [("-9999", "-9999, which stands there 5 times, read as a gap"), ("1e30", "beyond 1e30"),
                  ("9.9E37", "beyond 1e30"), ("1e999", None), ("-32768", "-32768, which stands")]
        for word, told in words:
            answer = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *self.with_gaps(word)]) + "\n")
            self.assertEqual(answer["signals"], plain["signals"], word)
            self.assertEqual(answer["guessed"] == "", told is None, answer["guessed"])
            self.assertIn(told or "", answer["guessed"])
        text = "\n".join(["t [s],p [bar],Q [L/min]", *self.with_gaps("-5")]) + "\n"
        self.assertEqual(self.compare(text, mapping=MAP + "gaps: [-5]\n")["signals"], plain["signals"])
        self.assertNotEqual(self.compare(text)["signals"], plain["signals"])
        text = text.replace("-5,", "-9999,")
        self.assertNotEqual(self.compare(text, mapping=MAP + "gaps: none\n")["signals"], plain["signals"])
        text = "\n".join(["t [s],p [bar],Q [L/min]", *self.with_gaps("-9999", (30,))]) + "\n"
        self.assertIn("-9999 stands there once and is kept", self.compare(text)["guessed"])

    def with_gaps(self, word, places=(3, 50, 51, 200, 399)):
        rows = self.rows()
        for k in places:
            t, _, q = rows[k].split(",")
            rows[k] = ",".join([t, word, q])
        return rows

    def test_a_cut_last_line(self):
        text = "\n".join(["t [s],p [bar],Q [L/min]", *self.rows()]) + "\n"
        for cut in ("4.00", "4.00,2", "4.00,212.1,4e"):
            self.same(text + cut, "the last line, 402, is cut off and left out")
        self.same((text + "4.00,21").encode("utf-16")[:-1], "cut off")
        self.same(text[:-1])  # whole, but for its line end

    # ---- time ----

    def test_dates_and_times(self):
        start = datetime.datetime(2026, 11, 26, 23, 59, 58, 500000)
        instants = [start + datetime.timedelta(seconds=t) for t in self.time]
        head = "when;p [bar];Q [L/min]"
        for form, told in (("%Y-%m-%dT%H:%M:%S.%f", "23:59:58.500"), ("%Y-%m-%d %H:%M:%S.%f", "23:59:58.500"),
                           ("%d.%m.%Y %H:%M:%S.%f", "23:59:58.500"), ("%d.%m.%Y %H:%M:%S,%f", "23:59:58.500"),
                           ("%d.%m.%y %H:%M:%S.%f", "23:59:58.500"), ("%Y%m%dT%H%M%S.%f", "23:59:58.500"),
                           ("%d/%m/%Y %H:%M:%S.%f", "23:59"), ("%m/%d/%Y %I:%M:%S.%f %p", "23:59"),
                           ("%d-%b-%Y %H:%M:%S.%f", "23:59"), ("%H:%M:%S.%f", "passes midnight"),
                           ("%H:%M:%S:%f", "passes midnight"), ("%Y-%m-%dT%H:%M:%S.%f+01:00", "22:59:58.500")):
            rows = [f"{at.strftime(form)};{p};{q}" for at, p, q in zip(instants, self.pressures, self.flows)]
            answer = self.same("\n".join([head, *rows]) + "\n", told, names=("when", "p", "Q"), close=1e-7)
            self.assertNotIn("dates read as", answer["guessed"])

    def test_days_and_months_that_cannot_be_told_apart(self):
        start = datetime.datetime(2026, 3, 4, 10, 0, 0)
        instants = [start + datetime.timedelta(seconds=t) for t in self.time]
        rows = [f"{at.strftime('%d/%m/%Y %H:%M:%S.%f')},{p},{q}" for at, p, q in
                zip(instants, self.pressures, self.flows)]
        text = "\n".join(["when,p [bar],Q [L/min]", *rows]) + "\n"
        self.same(text, "read as day/month/year, which they do not say", names=("when", "p", "Q"), close=1e-7)
        answer = self.same(text, "counted from", names=("when", "p", "Q"), close=1e-7,
                           mapping=MAP.replace("TIME", "TIME, order: month/day/year"))
        self.assertNotIn("dates read as", answer["guessed"])

    def test_a_sample_index(self):
        rows = [f"{k},{p},{q}" for k, (p, q) in enumerate(zip(self.pressures, self.flows))]
        text = "\n".join(["n,p [bar],Q [L/min]", *rows]) + "\n"
        for time in ("{column: n, rate: 100 Hz}", "{rate: 100 Hz}", "{column: n, step: 10 ms}", "{step: 10 ms}"):
            self.same(text, mapping=MAP.replace("{column: TIME}", time))

    def test_rounded_stamps(self):
        """Stamps of 100 Hz rounded to a tenth of a second, or cut to it, are an even raster again."""
        for form in (lambda t: f"{t + 1e-9:.1f}", lambda t: f"{math.floor(10.0 * t + 1e-6) / 10.0:.1f}"):
            rows = [f"{form(t)},{p},{q}" for t, p, q in zip(self.time, self.pressures, self.flows)]
            answer = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *rows]) + "\n",
                                  mapping=MAP + "shift: {largest: 0.2 s}\n")
            self.assertIn("times rounded to 0.1 s are laid on an even raster of 0.01 s", answer["guessed"])
            for signal, clean in self.clean["signals"].items():
                self.assertAlmostEqual(answer["signals"][signal]["rms"] / clean["rms"], 1.0, delta=0.02, msg=signal)
            self.assertLess(abs(answer["shift"]), 0.1)

    def test_stamps_that_stand_twice(self):
        rows = self.rows()
        for k in (40, 200):  # the logger wrote them twice
            rows[k] = rows[k] + "\n" + rows[k]
        self.same("\n".join(["t [s],p [bar],Q [L/min]", *rows]) + "\n", "2 of 402 times stand twice or more, these lines are averaged")
        # two samples to a stamp, at an uneven clock
        time = [0.02 * (k // 2) + (0.01 if k >= 200 else 0.0) for k in range(COUNT)]
        answer = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *self.rows(time=time)]) + "\n")
        self.assertIn("200 of 400 times stand twice or more, these lines are spaced evenly up to the next", answer["guessed"])
        self.assertEqual(answer["signals"]["line_a_pressure"]["count"], COUNT)

    def test_one_odd_line_is_no_raster(self):
        rows = self.rows()
        self.same("\n".join(["t [s],p [bar],Q [L/min]", *rows[:50], *rows[49:]]) + "\n",
                  "1 of 401 times stand twice or more, these lines are averaged")
        answer = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *rows[:50], *rows[51:]]) + "\n")  # one lost
        self.assertEqual((answer["guessed"], answer["signals"]["line_a_pressure"]["count"]), ("", COUNT - 1))
        self.assertAlmostEqual(answer["signals"]["line_a_pressure"]["rms"] /
                               self.clean["signals"]["line_a_pressure"]["rms"], 1.0, delta=0.01)

    def test_lines_out_of_order(self):
        rows = self.rows()
        rows[100], rows[101] = rows[101], rows[100]
        self.same("\n".join(["t [s],p [bar],Q [L/min]", *rows]) + "\n", "1 of 400 lines out of order sorted")
        error = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *rows, *rows]) + "\n", code=2)
        self.assertIn("trace.csv:402:1: error: the time does not rise: 0 s comes after 3.99 s", error)

    def test_a_counter_that_begins_anew(self):
        rows = [f"{(65000 + 10 * k) % 65536},{p},{q}" for k, (p, q) in enumerate(zip(self.pressures, self.flows))]
        answer = self.compare("\n".join(["t [ms],p [bar],Q [L/min]", *rows]) + "\n")
        self.assertIn("begins anew 1 times", answer["guessed"])
        self.assertAlmostEqual(answer["shift"], -65.0, delta=1e-3)

    def test_a_clock_of_its_own(self):
        text = "\n".join(["t [s],p [bar],Q [L/min]", *self.rows(time=[t + 1000.0 for t in self.time])]) + "\n"
        for more in ("", "shift: {largest: 0.5 s}\n"):
            answer = self.compare(text, mapping=MAP + more)
            self.assertAlmostEqual(answer["shift"], -1000.0, delta=2e-4)
            self.assertIn("the trace lies beside the run, its clock is taken to be 1000", answer["guessed"])
            self.assertIn("s ahead", answer["guessed"])
            self.assertAlmostEqual(answer["signals"]["line_a_pressure"]["rms"] /
                                   self.clean["signals"]["line_a_pressure"]["rms"], 1.0, delta=0.01)
        self.assertIn("no instant in common", self.compare(text, mapping=MAP + "shift: none\n", code=2))
        # a recording much longer than the run
        time = [500.0 + STEP * k for k in range(6000)]
        rows = [f"{t:.2f},{pressure(t - 520.0) * 1e-5:.2f},{flow(t - 520.0) * 60e3:.2f}" for t in time]
        answer = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *rows]) + "\n")
        self.assertAlmostEqual(answer["shift"], -520.0, delta=1e-3)

    # ---- HDF5 and netCDF-4 ----

    def put(self, group, place=slice(None), **more):
        """The three columns into a group, with their units."""
        for name, values, unit in (("t", self.time, "s"), ("p", self.pressures, "bar"), ("Q", self.flows, "L/min")):
            group.create_dataset(name, data=numpy.array(values)[place], **more).attrs["units"] = unit

    def test_hdf5_groups_and_shapes(self):
        with h5py.File(self.path("trace.h5"), "w") as file:
            self.put(file.create_group("bench/slow"))
            file["other"] = numpy.arange(7.0)
            file["title"] = "a scalar"
            file["far"] = h5py.SoftLink("/bench/slow/p")  # links are left alone
        h5 = {"name": "trace.h5"}
        self.same(None, **h5)
        self.same(None, names=("bench/slow/t", "bench/slow/p", "bench/slow/Q"), **h5)
        untimed = MAP.replace("time: {column: TIME}\n", "")
        self.same(None, "'bench/slow/t' taken as the time", mapping=untimed, **h5)
        self.assertIn("no column 'bench/slow/pq'; did you mean", self.compare(None, names=("t", "bench/slow/pq", "Q"), code=2, **h5))
        self.assertIn("'bench/slow/p' has 400 samples, the others have 7: they go by different clocks",
                      self.compare(None, names=("other, unit: s", "p", "Q"), code=2, **h5))
        with h5py.File(self.path("trace.h5"), "a") as file:
            self.put(file.create_group("bench/fast"))
        self.assertIn("has 't' in several places, such as 'bench/fast/t' and 'bench/slow/t'", self.compare(None, code=2, **h5))
        units = MAP.replace("TIME", "TIME, unit: s").replace("PRESSURE", "PRESSURE, unit: bar").replace("FLOW", "FLOW, unit: L/min")
        table = numpy.array([self.time, self.pressures, self.flows])
        with h5py.File(self.path("trace.h5"), "w", userblock_size=512) as file:
            file["rows"] = table.T
            file["long"] = table
            file["records"] = numpy.rec.fromarrays(table, names="t,p,Q")
            self.put(file.create_group("columns"), (None, slice(None)))
        self.same(None, names=('"rows[1]"', '"rows[2]"', '"rows[3]"'), mapping=units, **h5)
        self.same(None, "long taken along its second axis", names=('"long[1]"', '"long[2]"', '"long[3]"'), mapping=units, **h5)
        self.same(None, names=("records/t", "records/p", "records/Q"), mapping=units, **h5)
        self.same(None, names=("columns/t", "columns/p", "columns/Q"), **h5)
        # as the usual table library of Python keeps one: values in blocks, their names beside them
        with h5py.File(self.path("trace.h5"), "w") as file:
            file["log/axis1"] = numpy.array([1795687200 * 10**9 + round(t * 1e9) for t in self.time])
            file["log/axis1"].attrs["kind"] = numpy.string_("datetime64")
            file["log/block0_items"] = numpy.array([b"p", b"Q"])
            file["log/block0_values"] = table[1:].T
        self.same(None, "log/axis1: times since an instant, counted from the first", mapping=units.replace(", unit: s", ""),
                  names=("axis1", "p", "Q"), **h5)

    def test_netcdf_and_its_conventions(self):
        """Files of xarray: dimension scales, dates, packed numbers, fill values (CF 1.11)."""
        import warnings

        import xarray

        warnings.simplefilter("ignore")  # of a packed column without a fill value
        data = xarray.Dataset({"p": ("time", self.pressures, {"units": "bar"}), "Q": ("time", self.flows, {"units": "L min-1"})},
                              coords={"time": ("time", self.time, {"units": "s"})})
        dated = data.assign_coords(time=numpy.datetime64("2026-11-26T10:00:00", "ns") +
                                   numpy.round(numpy.array(self.time) * 1e9).astype("timedelta64[ns]"))
        untimed = MAP.replace("time: {column: TIME}\n", "")
        nc = {"name": "trace.nc", "mapping": untimed}
        data.to_netcdf(self.path("trace.nc"), engine="netcdf4")
        self.same(None, **nc)
        dated.to_netcdf(self.path("trace.nc"), engine="netcdf4")
        self.same(None, "time: times since an instant, counted from the first", close=1e-7, **nc)
        dated.to_netcdf(self.path("trace.nc"), engine="netcdf4", encoding={"time": {"units": "days since 2026-11-26", "dtype": "f8"}})
        self.same(None, "time: times since an instant", close=1e-6, **nc)
        packed = {"p": {"dtype": "i2", "scale_factor": 0.01, "add_offset": 220.0, "_FillValue": -32767},
                  "Q": {"dtype": "i4", "scale_factor": 0.01}}
        data.to_netcdf(self.path("trace.nc"), engine="netcdf4", encoding=packed)
        self.same(None, close=1e-7, **nc)
        # gaps are those of the plain file with empty cells
        plain = self.compare("\n".join(["t [s],p [bar],Q [L/min]", *self.with_gaps("")]) + "\n")
        data["p"][[3, 50, 51, 200, 399]] = numpy.nan
        for encoding in (packed, {"p": {"_FillValue": -1.0}}):
            data.to_netcdf(self.path("trace.nc"), engine="netcdf4", encoding=encoding)
            answer = self.compare(None, **nc)["signals"]["line_a_pressure"]
            self.assertEqual(answer["count"], COUNT - 5)
            self.assertAlmostEqual(answer["rms"] / plain["signals"]["line_a_pressure"]["rms"], 1.0, delta=1e-7)
        data["p"].attrs["valid_max"] = 300.0
        data.to_netcdf(self.path("trace.nc"), engine="netcdf4")
        self.assertEqual(self.compare(None, **nc)["signals"]["line_a_pressure"]["count"],
                         sum(p <= 300.0 for k, p in enumerate(self.pressures) if k not in (3, 50, 51, 200, 399)))
        with h5py.File(self.path("trace.nc"), "a") as file:
            file["p"].attrs["scale_factor"] = "0.1"
        self.assertIn("its attribute 'scale_factor' is no number", self.compare(None, code=2, **nc))
        # the classic format becomes netCDF-4 as the message says
        data = xarray.Dataset({"p": ("time", self.pressures, {"units": "bar"}), "Q": ("time", self.flows, {"units": "L/min"})},
                              coords={"time": ("time", self.time, {"units": "s"})})
        data.to_netcdf(self.path("old.nc"), format="NETCDF3_CLASSIC")
        error = self.compare(None, name="old.nc", mapping=untimed, code=2)
        self.assertIn("old.nc: error: found a classic netCDF file; 'nccopy -k nc4 IN OUT'", error)
        subprocess.run(["nccopy", "-k", "nc4", self.path("old.nc"), self.path("trace.nc")], check=True)
        self.same(None, **nc)

    def test_a_run_file_as_a_trace(self):
        case = os.path.join(ROOT, "cases", "valve", "step.yaml")
        self.expect(0, "run", case, "--quiet", "-o", "made.h5")
        self.write("map.yaml", "signals:\n  - {signal: line_a_pressure, column: line_a_pressure, band: 0.01 bar}\n"
                               "  - {signal: relief_a_flow, column: relief_a_flow, band: 0.01 L/min}\n")
        answer = json.loads(self.expect(0, "compare", "made.h5", "made.h5", "--map", "map.yaml", "--json").stdout)
        self.assertEqual(answer["guessed"], "")
        self.assertEqual(answer["signals"]["line_a_pressure"]["largest"], 0.0)
        with open(self.path("made.h5"), "r+b") as file:
            file.seek(5000)
            file.write(b"x")
        self.assertIn("checksum", self.expect(2, "compare", "made.h5", "made.h5", "--map", "map.yaml").stderr)

    def test_files_that_are_no_text(self):
        for start, words in ((b"MDF     4.10", "an MDF file; export it to CSV or HDF5"), (b"PK\x03\x04", "save it as CSV"),
                             (b"\x1f\x8b\x08", "unpack it first")):
            self.assertIn(words, self.compare(start + b"\0" * 200, code=2))

    # ---- faults ----

    def test_faults_have_places(self):
        rows = self.rows()
        good = ["t [s],p [bar],Q [L/min]", *rows]

        def refused(lines, words, **options):
            self.assertIn(words, self.compare("\n".join(lines) + "\n", code=2, **options))

        refused([*good[:5], "0.04,x,1", *good[6:]], "trace.csv:6:6: error: found 'x', expected a number")
        refused([*good[:5], "0.04,1", *good[6:]], "trace.csv:6:7: error: the line has 2 cells, the heading 3")
        refused([*good[:5], "0,04,212,5,40,1", *good[6:]],
                "trace.csv:6:10: error: the line has 6 cells, more than the heading's 3; decimals with a comma need")
        refused(["t [s],p,Q [L/min]", *rows], "trace.csv:1:7: error: the unit of column 'p' is neither in its heading")
        refused(["t [s],p [kg],Q [L/min]", *rows], "trace.csv:1:7: error: column 'p': 'kg' is no unit of pressure")
        refused(good, "has no column 'q'; did you mean 'Q'", names=("t", "p", "q"))
        for time, words in (("{column: t, rate: 0 Hz}", "too small"), ("{rate: 100 Hz, step: 1 ms}", "one of them"),
                            ("{column: t, rate: 100 Hz, unit: s}", "a rate and no unit"), ("{unit: s}", "'column' is missing"),
                            ("{column: t, order: m/d/y}", "'m/d/y' is none")):
            refused(good, words, mapping=MAP.replace("{column: TIME}", time))
        refused(good, "gaps: expected none or a list", mapping=MAP + "gaps: -5\n")
        refused(good, "gaps: 'x' is no number", mapping=MAP + "gaps: [x]\n")


MAP_ROWS = [(1000, 100, 98.5, 93), (1000, 300, 95, 94), (2000, 100, 98, 92), (2000, 300, 96.5, 95)]


class Tables(Folder):
    """Maps and points of a study by the same reader."""

    def setUp(self):
        super().setUp()
        self.machine = os.path.join(ROOT, "cases", "machines", "forwarder.yaml")

    def resolved(self, pump):
        case = self.write("case.yaml", f"machine: {self.machine}\npump: {{losses: map, efficiency_map: {pump}}}\n")
        return self.expect(0, "check", case, "--resolved").stdout

    def test_an_efficiency_map(self):
        rows = [f"[{n} rpm, {p} bar, {v} %, {h} %]" for n, p, v, h in MAP_ROWS]
        listed = self.resolved("[" + ", ".join(rows) + "]")
        self.write("map.csv", "speed [rpm],pressure [bar],volumetric [%],hydromechanical [%]\n" +
                   "\n".join(",".join(str(number) for number in row) for row in MAP_ROWS) + "\n")
        self.assertEqual(self.resolved("{file: map.csv}"), listed)
        self.write("map.csv", "our map\nn;h;v;p\n1/min;%;%;bar\n" + "\n".join(
            f"{n};{h};{v};{p}".replace(".", ",") for n, p, v, h in MAP_ROWS) + "\n")
        self.assertEqual(self.resolved("{file: map.csv, speed: n, pressure: p, volumetric: v, hydromechanical: h}"), listed)
        answer = json.loads(self.expect(0, "check", "case.yaml", "--json").stdout)
        words = [row["words"] for row in answer["warnings"] if row["name"] == "guessed"]
        self.assertEqual(len(words), 1)
        self.assertIn("map.csv: columns parted by semicolons; decimals with a comma; line 3 read as the units", words[0])
        self.write("map.csv", "a [rpm],b [bar],c [%],d [%]\n1000,100,98,93\n1000,x,95,94\n")
        error = self.expect(2, "check", self.write("case.yaml", f"machine: {self.machine}\npump: {{losses: map, "
                                                   "efficiency_map: {file: map.csv}}\n")).stderr
        self.assertIn("map.csv:3:6: error: pump.efficiency_map: 'x bar' is no number", error)

    def test_points_of_a_study(self):
        case = self.write("case.yaml", f"machine: {self.machine}\ntitle: t\n")
        study = self.write("study.yaml", f"case: {case}\narrange: points\npoints: points.csv\n")
        tables = {}
        for name, text in {"plain": "vehicle.mass [t],relief.setting [bar]\n12.5,430\n13,440\n",
                           "logger": "vehicle.mass (t)\trelief.setting (bar)\n12,5\t430\n13\t440\n"}.items():
            self.write("points.csv", text)
            result = self.run_program("sweep", study, "--dry-run")
            self.assertEqual(result.returncode, 0, result.stderr)
            # How long it would take is measured, and no two times the same.
            tables[name] = re.sub(r"about \S+ s with.*", "", result.stdout)
            self.assertEqual("(guessed)" in result.stderr, name == "logger")
        self.assertEqual(tables["plain"], tables["logger"])
        self.write("points.csv", "vehicle.mass [t]\trelief.setting [bar]\n12,5\t430\n13\n")
        self.assertIn("points.csv:3:3: error: the line has 1 cells, the heading 2", self.expect(2, "sweep", study, "--dry-run").stderr)


if __name__ == "__main__":
    need_program()
    unittest.main()
