#!/usr/bin/python3
"""The program against the independent integration of the baseline (tests/reference/baseline.json).

Runs cases/baseline/*.yaml with the program named in SWASHLOOP and compares measures, events and end values. Prints one
row a figure; ends with 1 on any miss, 77 (skipped) without h5py. The reference's own error (its spread) is far below
every tolerance here.

    SWASHLOOP=build/swashloop /usr/bin/python3 tests/cli/acceptance.py [-q] [NAME...]
"""
import argparse
import json
import math
import os
import subprocess
import sys
import tempfile

try:
    import h5py
except ImportError:
    print("skipped: h5py is not installed (python3-h5py)")
    sys.exit(77)

ROOT = os.environ.get("SWASHLOOP_SOURCE") or os.path.dirname(
    os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
RELATIVE = 1e-3  # peaks, engine speeds, distances, end speeds, flows, heat
EVENT_TIME = 1e-3  # s
END_SPEED = 1e-4  # m/s, where the end speed is near zero
LOW_PRESSURE = 0.15e5  # Pa: what default tolerances promise of any pressure
TEMPERATURE = 0.02  # K
CREPT = 1e-4  # m, of a machine that hardly moves
SHARP = 2e-3  # s: the time of an extreme flatter than this (see README.md) is not an event time

RELATIVE_MEASURES = ("peak_line_a_pressure peak_line_b_pressure engine_speed_max engine_speed_min vehicle_distance_end "
                     "vehicle_speed_end stop_distance relief_a_peak_flow relief_b_peak_flow relief_heat").split()
LOW_MEASURES = ("lowest_low_side_pressure lowest_low_side_pressure_after_settling lowest_charge_pressure "
                "peak_charge_pressure").split()
TIME_MEASURES = ("stop_from stop_time relief_a_first_opening relief_b_first_opening relief_a_open_time "
                 "relief_b_open_time").split()
EXTREME_TIMES = ("peak_line_a_pressure_time peak_line_b_pressure_time lowest_low_side_pressure_time "
                 "lowest_charge_pressure_time engine_speed_max_time engine_speed_min_time").split()
COUNT_MEASURES = "relief_a_openings relief_b_openings".split()
END_SIGNALS = {  # figure of the reference: (signal of the file, absolute tolerance; None: relative)
    "loop_oil_temperature_end": ("loop_oil_temperature", TEMPERATURE),
    "tank_oil_temperature_end": ("tank_oil_temperature", TEMPERATURE),
    "engine_speed_end": ("engine_speed", None),
    "motor_displacement_end": ("motor_displacement", None),
    "pump_stroke_end": ("pump_stroke", 1e-3),
    "pressure_a_end": ("line_a_pressure", LOW_PRESSURE),
    "pressure_b_end": ("line_b_pressure", LOW_PRESSURE),
    "charge_pressure_end": ("charge_pressure", LOW_PRESSURE),
    "pressure_end": ("line_a_pressure", None),
}
EVENTS = {  # of the reference: row of the program's events (both tell each way of a crossing)
    "limiter_a": "limiter_a",
    "limiter_b": "limiter_b",
    "relief_a_crack": "relief_a",
    "relief_b_crack": "relief_b",
}


class Table:
    def __init__(self, quiet):
        self.quiet, self.misses, self.rows = quiet, 0, 0

    def row(self, case, figure, found, wanted, tolerance):
        """One comparison. `wanted` None means that the figure must be absent (NaN)."""
        self.rows += 1
        if wanted is None:
            good, off = found is not None and math.isnan(found), math.nan
        else:
            off = math.nan if found is None else abs(found - wanted)
            good = off <= tolerance  # false for NaN
        self.misses += not good
        if not (good and self.quiet):
            text = lambda x: "missing" if x is None else "none" if math.isnan(x) else "%.9g" % x
            print("%-12s %-42s %-15s %-15s %-9s %-9s %s" % (
                case, figure, text(found), "none" if wanted is None else text(wanted),
                "" if math.isnan(off) else "%.2g" % off, "" if tolerance is None else "%.2g" % tolerance,
                "" if good else "MISS"))

    def miss(self, case, words):
        self.rows += 1
        self.misses += 1
        print("%-12s MISS: %s" % (case, words))


def scalar(group, name):
    return float(group[name][()]) if name in group else None


def text_of(value):
    return value.decode() if isinstance(value, bytes) else str(value)


def compare_case(table, name, entry, path):
    figures, sharpness = entry["figures"], entry["sharpness"]
    with h5py.File(path, "r") as file:
        measures = file["measures"]
        status = text_of(file.attrs["status"])
        if status != "complete":
            table.miss(name, "status is '%s', not complete" % status)

        for key in RELATIVE_MEASURES:
            if key not in figures:
                continue
            wanted = figures[key]
            tolerance = None if wanted is None else RELATIVE * abs(wanted)
            if key == "vehicle_speed_end":
                tolerance = max(tolerance, END_SPEED)
            elif key == "vehicle_distance_end":
                tolerance = max(tolerance, CREPT)
            elif wanted == 0.0:
                tolerance = 1e-9  # a valve that must not open
            table.row(name, key, scalar(measures, key), wanted, tolerance)
        for keys, tolerance in ((LOW_MEASURES, LOW_PRESSURE), (TIME_MEASURES, EVENT_TIME), (COUNT_MEASURES, 0.0)):
            for key in keys:
                if key in figures:
                    table.row(name, key, scalar(measures, key), figures[key], tolerance)
        for key in EXTREME_TIMES:
            flat = sharpness.get(key)
            if figures.get(key) is not None and flat is not None and flat <= SHARP:
                table.row(name, key, scalar(measures, key), figures[key], EVENT_TIME)
        for key, (signal, tolerance) in END_SIGNALS.items():
            if key in figures:
                found = float(file[signal][-1]) if signal in file else None
                table.row(name, key, found, figures[key], tolerance or RELATIVE * abs(figures[key]))

        happened = [(float(t), text_of(n)) for t, n in zip(file["events/time"][:], file["events/name"][:])]
        for key, row in EVENTS.items():
            wanted = [t for t, _ in entry["events"].get(key, [])]
            found = [t for t, n in happened if n == row]
            if len(found) != len(wanted):
                table.miss(name, "event %s: %d times (%s), expected %s" % (
                    row, len(found), ", ".join("%.6g s" % t for t in found) or "never",
                    ", ".join("%.6g s" % t for t in wanted) or "never"))
                continue
            for a, b in zip(found, wanted):
                table.row(name, "event " + row, a, b, EVENT_TIME)

        table.row(name, "energy_residual", scalar(measures, "energy_residual"), 0.0, 1e-6)
        if name != "relief_step":  # a fed volume keeps no account of oil
            table.row(name, "oil_residual", scalar(measures, "oil_residual"), 0.0, 1e-9)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help="climb downhill shuttle stall relief_step")
    parser.add_argument("-q", "--quiet", action="store_true", help="misses only")
    options = parser.parse_args()
    program = os.environ.get("SWASHLOOP")
    if not program:
        sys.exit("set SWASHLOOP to the program to be checked")
    with open(os.path.join(ROOT, "tests", "reference", "baseline.json")) as f:
        manoeuvres = json.load(f)["manoeuvres"]
    for name in options.names:
        if name not in manoeuvres:
            sys.exit("no manoeuvre '%s'; there are %s" % (name, ", ".join(manoeuvres)))

    table = Table(options.quiet)
    print("%-12s %-42s %-15s %-15s %-9s %-9s" % ("case", "figure", "found", "expected", "off", "allowed"))
    with tempfile.TemporaryDirectory() as folder:
        for name in options.names or manoeuvres:
            case = os.path.join(ROOT, "cases", "baseline", name + ".yaml")
            path = os.path.join(folder, name + ".h5")
            run = subprocess.run([program, "run", case, "-o", path, "--json"], stdout=subprocess.PIPE,
                                 stderr=subprocess.PIPE, text=True, check=False, timeout=120)
            if run.returncode != 0 or not os.path.exists(path):
                table.miss(name, "the program ended with %d: %s" % (run.returncode, run.stderr.strip()))
                continue
            try:
                json.loads(run.stdout)
            except ValueError as error:
                table.miss(name, "--json is no JSON: %s" % error)
            compare_case(table, name, manoeuvres[name], path)
    print("%d of %d figures missed" % (table.misses, table.rows))
    sys.exit(1 if table.misses else 0)


if __name__ == "__main__":
    main()
