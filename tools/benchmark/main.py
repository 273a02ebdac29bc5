"""tools/bench: what a simulated second costs, where it goes, and what others ask for it. See docs/speed.md."""
import argparse
import csv
import json
import os
import platform
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
PROGRAMS = os.path.join(ROOT, "build", "bench", "tools", "benchmark")
BASELINE = ("climb", "downhill", "shuttle", "stall")
PRESSURES = ("peak_line_a_pressure", "peak_line_b_pressure", "lowest_low_side_pressure", "lowest_charge_pressure",
             "peak_charge_pressure")
ALLOWED = 0.15  # bar
DEFAULT_RELATIVE = 5e-7
DEFAULT_PASCAL = 300.0
LADDER = (1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 3e-7, 1e-7, 3e-8)
TIGHT = 1e-10
# Settings that cost less than the default and keep the allowed error.
ROSENBROCK = ("simulation.method=rosenbrock",)
ROSENBROCK_LOOSE = ROSENBROCK + ("simulation.relative_tolerance=5e-6", "simulation.pressure_tolerance=0.03 bar")
SETTINGS = {
    "coarse": ("simulation.pressure_tolerance=0.03 bar", "simulation.largest_order=3"),
    "rosenbrock": ROSENBROCK,
    "rosenbrock x 10": ROSENBROCK_LOOSE,
}
LANES = {"lanes": ROSENBROCK, "lanes x 10": ROSENBROCK_LOOSE}
LANE_CASES = 256

# Lines of the picture of work against precision.
METHODS = {
    "BDF to order 2": ("simulation.largest_order=2",),
    "BDF to order 3": ("simulation.largest_order=3",),
    "BDF to order 5": ("simulation.largest_order=5",),
    "rosenbrock": ROSENBROCK,
}


def say(text):
    print(text, file=sys.stderr, flush=True)


def call(program, *arguments):
    done = subprocess.run([os.path.join(PROGRAMS, program), *map(str, arguments)], capture_output=True, text=True)
    if done.returncode != 0:
        raise SystemExit("bench: %s %s: %s" % (program, " ".join(map(str, arguments)), done.stderr.strip()))
    return json.loads(done.stdout)


def sets(settings):
    return [word for setting in settings for word in ("--set", setting)]


def sweep_cpu(case, settings):
    """Processor seconds a case of a sweep on one thread, around `case`: mass and relief setting around those."""
    with tempfile.TemporaryDirectory() as folder:
        study = os.path.join(folder, "study.yaml")
        with open(study, "w") as file:
            file.write("case: %s\narrange: sobol\ncount: %d\nset: {%s}\nvary:\n"
                       "  - {path: vehicle.mass, from: 13 t, to: 15 t}\n"
                       "  - {path: relief.setting, from: 400 bar, to: 440 bar}\n"
                       % (case, LANE_CASES, ", ".join(setting.replace("=", ": ") for setting in settings)))
        process = subprocess.Popen([os.path.join(ROOT, "build", "bench", "swashloop"), "sweep", study, "-o", folder + "/table.h5",
                                    "--jobs", "1", "--quiet"], stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(process.pid, 0)
        if os.waitstatus_to_exitcode(status) not in (0, 4):
            raise SystemExit("bench: a sweep of %s failed" % case)
        return (usage.ru_utime + usage.ru_stime) / LANE_CASES


def tolerance(relative):
    """Relative and absolute tolerances go together, as at the default; 1 bar is the largest that a case may ask for."""
    pascal = min(1e5, DEFAULT_PASCAL * relative / DEFAULT_RELATIVE)
    return ["--set", "simulation.relative_tolerance=%.6g" % relative,
            "--set", "simulation.pressure_tolerance=%.9g bar" % (pascal / 1e5)]


def error_of(found, reference):
    """Largest difference of a pressure extreme, bar."""
    return max(abs(found[name] - reference[name]) for name in PRESSURES if reference.get(name) is not None) / 1e5


def floor_of(got, lanes, rosenbrock):
    """Computed floor of a run, s: calls of the right-hand side and all of the linear algebra, times the time of one."""
    if not rosenbrock:
        return 1e-9 * (got["rate_calls"] * got["rates_ns"] + got["factorizations"] * got["factor_ns"]
                       + got["solves"] * got["solve_ns"])
    attempts = got["steps"] + got["error_failures"]
    if lanes:
        rates = min(kind["rates"] for kind in got["lanes_ns"].values())
        return 1e-9 * (got["rate_calls"] * rates + attempts * got["lane_attempt_ns"])
    return 1e-9 * (got["rate_calls"] * got["rates_ns"] + attempts * got["attempt_ns"])


class Table:
    def __init__(self, *heads):
        self.rows = [heads]

    def add(self, *cells):
        self.rows.append(cells)

    def show(self, title):
        widths = [max(len(str(row[i])) for row in self.rows) for i in range(len(self.rows[0]))]
        print("\n" + title)
        for row in self.rows:
            print("  " + "  ".join(str(cell).ljust(w) if i == 0 else str(cell).rjust(w)
                                   for i, (cell, w) in enumerate(zip(row, widths))).rstrip())


class Bench:
    def __init__(self, options):
        self.options = options
        self.references = {}
        self.book = {"machine": machine(), "cases": {}, "general": {}}

    def repeat(self):
        return 3 if self.options.quick else 9

    def reference(self, path):
        """The case by our own integrator at a relative tolerance of 1e-10; once."""
        if path not in self.references:
            say("reference: %s" % os.path.relpath(path, ROOT))
            self.references[path] = call("timing", path, "--repeat", 1, *tolerance(TIGHT))
        return self.references[path]

    # ---- ours

    def cases(self, paths):
        table = Table("case", "states", "steps", "rhs", "rhs/s", "ns/rhs", "without", "memory", "file", "error bar")
        floors = Table("case", "rhs", "factor", "solve", "floor", "alone", "without", "ratio", "samples", "floor+",
                       "memory", "ratio")
        riding = Table("case", "rates", "plain", "v3", "v4", "signals", "plain", "v3", "v4")
        sums = dict.fromkeys(("end_time", "without_s", "memory_s", "file_s"), 0.0)
        floor_sums = [0.0, 0.0]
        for path in paths:
            name = os.path.relpath(path, os.path.join(ROOT, "cases")).replace(".yaml", "")
            say("ours: " + name)
            with tempfile.TemporaryDirectory() as folder:
                got = call("timing", path, "--parts", "--repeat", self.repeat(), "--file", folder + "/run.h5")
            error = error_of(got, self.reference(path))
            scale = 1e3 / got["end_time"]
            rhs = got["rate_calls"] * got["rates_ns"] * 1e-9
            factor = got["factorizations"] * got["factor_ns"] * 1e-9
            solve = got["solves"] * got["solve_ns"] * 1e-9
            samples = got["samples"] * got["signals_ns"] * 1e-9
            floor = rhs + factor + solve
            got.update(error_bar=error, floor_s=floor, floor_with_samples_s=floor + samples)
            self.book["cases"][name] = got
            ms = lambda seconds: "%.3f" % (seconds * scale)
            table.add(name, got["states"], got["steps"], got["rate_calls"], "%.0f" % (got["rate_calls"] / got["end_time"]),
                      "%.0f" % got["rates_ns"], ms(got["without_s"]), ms(got["memory_s"]), ms(got["file_s"]),
                      "%.3f" % error)
            floors.add(name, ms(rhs), ms(factor), ms(solve), ms(floor), ms(got["solver_alone_s"]), ms(got["without_s"]),
                       "%.2f" % (got["without_s"] / floor), ms(samples), ms(floor + samples), ms(got["memory_s"]),
                       "%.2f" % (got["memory_s"] / (floor + samples)))
            lanes = got.get("lanes_ns", {})
            row = []
            for part in ("rates", "signals"):
                row.append("%.0f" % got[part + "_ns"])
                row += ["%.0f" % lanes[kind][part] if kind in lanes else "" for kind in ("plain", "v3", "v4")]
            riding.add(name, *row)
            if name.startswith("baseline/"):
                for key in sums:
                    sums[key] += got[key]
                floor_sums[0] += floor
                floor_sums[1] += floor + samples
        if sums["end_time"] > 0.0:
            ms = lambda seconds: "%.3f" % (seconds * 1e3 / sums["end_time"])
            table.add("baseline, all", "", "", "", "", "", ms(sums["without_s"]), ms(sums["memory_s"]), ms(sums["file_s"]),
                      "")
            floors.add("baseline, all", "", "", "", ms(floor_sums[0]), "", ms(sums["without_s"]),
                       "%.2f" % (sums["without_s"] / floor_sums[0]), "", ms(floor_sums[1]), ms(sums["memory_s"]),
                       "%.2f" % (sums["memory_s"] / floor_sums[1]))
            self.book["baseline"] = {key: value * 1e3 / sums["end_time"] for key, value in sums.items()}
            self.book["baseline"]["floor_ratio"] = sums["without_s"] / floor_sums[0]
            self.book["baseline"]["floor_ratio_with_samples"] = sums["memory_s"] / floor_sums[1]
        table.show("Ours: ms CPU a simulated second without histories, with 1 kHz signals in memory, with the run file; "
                   "error of pressure extremes")
        riding.show("ns of one right-hand side and of all signals of an instant: called alone, and a lane of eight in "
                    "vector lanes compiled for any processor, for 256-bit and for 512-bit registers")
        floors.show("Computed floor, ms CPU a simulated second: calls times the time of one; the solver alone, with the "
                    "energy integrals; ratios")

    def settings(self):
        """Baseline i to iv at the other settings."""
        table = Table("setting", "case", "steps", "rhs", "without", "memory", "error bar", "energy residual", "floor", "ratio")
        for label, arguments in SETTINGS.items():
            sums = dict.fromkeys(("end_time", "without_s", "memory_s"), 0.0)
            worst = floors = 0.0
            for name in BASELINE:
                say("%s: %s" % (label, name))
                got = call("timing", baseline_case(name), "--parts", "--repeat", self.repeat(), *sets(arguments))
                floor = floor_of(got, False, "rosenbrock" in label)
                floors += floor
                error = error_of(got, self.reference(baseline_case(name)))
                worst = max(worst, error)
                for key in sums:
                    sums[key] += got[key]
                scale = 1e3 / got["end_time"]
                table.add(label, name, got["steps"], got["rate_calls"], "%.3f" % (got["without_s"] * scale),
                          "%.3f" % (got["memory_s"] * scale), "%.3f" % error, "%.0e" % abs(got["energy_residual"]),
                          "%.3f" % (floor * scale), "%.2f" % (got["without_s"] / floor))
            scale = 1e3 / sums["end_time"]
            self.book.setdefault("settings", {})[label] = dict(
                without_s=sums["without_s"] * scale, memory_s=sums["memory_s"] * scale, error_bar=worst,
                floor_ratio=sums["without_s"] / floors)
            table.add(label, "all", "", "", "%.3f" % (sums["without_s"] * scale), "%.3f" % (sums["memory_s"] * scale),
                      "%.3f" % worst, "", "%.3f" % (floors * scale), "%.2f" % (sums["without_s"] / floors))
        for label, settings in LANES.items():
            seconds = simulated = worst = floors = 0.0
            for name in BASELINE:
                say("%s: %s" % (label, name))
                cpu = sweep_cpu(baseline_case(name), settings)
                # The case in the middle by itself: the same bits as in lanes.
                got = call("timing", baseline_case(name), "--parts", "--repeat", 1, *sets(settings))
                floor = floor_of(got, True, True)
                floors += floor
                error = error_of(got, self.reference(baseline_case(name)))
                worst = max(worst, error)
                seconds += cpu
                simulated += got["end_time"]
                self.book.setdefault("lanes", {}).setdefault(name, {})[label] = 1e3 * cpu / got["end_time"]
                table.add(label, name, got["steps"], got["rate_calls"], "%.3f" % (1e3 * cpu / got["end_time"]), "",
                          "%.3f" % error, "%.0e" % abs(got["energy_residual"]), "%.3f" % (1e3 * floor / got["end_time"]),
                          "%.2f" % (cpu / floor))
            self.book["settings"][label] = dict(without_s=1e3 * seconds / simulated, error_bar=worst,
                                                floor_ratio=seconds / floors)
            table.add(label, "all", "", "", "%.3f" % (1e3 * seconds / simulated), "", "%.3f" % worst, "",
                      "%.3f" % (1e3 * floors / simulated), "%.2f" % (seconds / floors))
        table.show("Other settings: coarse = pressure tolerance 0.03 bar, largest order 3; rosenbrock = the linearly implicit "
                   "method, x 10 = at ten times the tolerances; lanes = the same in sweeps of %d cases, all costs of the sweep "
                   "included" % LANE_CASES)

    # ---- others

    def loosest(self, name, attempt):
        """Down the ladder to the first tolerance that keeps the allowed error. `attempt(relative)` gives extremes and
        whatever else."""
        reference = self.reference(baseline_case(name))
        for relative in LADDER:
            found = attempt(relative)
            if found is not None:
                error = error_of(found, reference)
                if error <= ALLOWED:
                    return relative, error, found
        return None

    def general(self, names):
        table = Table("manoeuvre", "integrator", "rtol", "error bar", "steps", "ms CPU/s", "times ours", "times lanes")
        jobs = [(name, "ours", "alike") for name in names]
        jobs += [(name, "general", method) for name in names for method in ("msbdf", "rkf45", "rk8pd")]
        jobs += [(name, "plain", method) for name in names for method in ("BDF", "Radau", "LSODA")]
        for name, kind, method in jobs:
            result = self.rival(name, kind, method)
            label = {"ours": "ours, ", "general": "GSL ", "plain": "SciPy "}[kind] + method
            ours = self.book["cases"]["baseline/" + name]
            ours_ms = 1e3 * ours["without_s"] / ours["end_time"]
            if result is None:
                table.add(name, label, "none", "", "", "", "", "")
                continue
            relative, error, steps, ms = result
            table.add(name, label, "%g" % relative, "%.3f" % error, steps, "%.3f" % ms, "%.1f" % (ms / ours_ms),
                      "%.1f" % (ms / self.book["lanes"][name]["lanes x 10"]))
            self.book["general"]["%s %s" % (name, label)] = dict(relative=relative, error_bar=error, steps=steps,
                                                                 ms_per_s=ms, times_ours=ms / ours_ms)
        table.show("The same equations through general integrators, each at the loosest tolerance of a ladder that keeps "
                   "%.2f bar; times ours: at the default tolerance; times lanes: in sweeps, x 10 (both with measures and energy)" % ALLOWED)

    def rival(self, name, kind, method):
        say("%s %s: %s" % (kind, method, name))
        if kind == "ours":
            best = self.loosest(name, lambda relative: call("timing", baseline_case(name), "--repeat", self.repeat(),
                                                            *tolerance(relative)))
            return best and (best[0], best[1], best[2]["steps"], 1e3 * best[2]["without_s"] / best[2]["end_time"])
        if kind == "general":
            def attempt(relative):
                got = call("general", baseline_case(name), method, "--repeat", self.repeat(), *tolerance(relative))
                return None if got.get("failed") else got
            best = self.loosest(name, attempt)
            return best and (best[0], best[1], best[2]["steps"], 1e3 * best[2]["seconds"] / best[2]["end_time"])
        import plain

        def attempt(relative):
            try:
                return plain.integrate(name, method, relative, True)[1]
            except (RuntimeError, ValueError, OverflowError) as fault:
                say("  rtol %g: %s" % (relative, fault))
                return None
        best = self.loosest(name, attempt)
        if best is None:
            return None
        seconds, _, steps = plain.integrate(name, method, best[0], False)
        return best[0], best[1], steps, 1e3 * seconds / plain.baseline.SCENARIOS[name]["end"]

    # ---- work against precision

    def precision(self, names, folder):
        rows = []
        ladder = (1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 5e-7, 2e-7, 1e-7, 3e-8, 1e-8)
        for name in names:
            for method, arguments in METHODS.items():
                say("work and precision: %s, %s" % (name, method))
                for relative in ladder:
                    got = call("timing", baseline_case(name), "--repeat", 3, *tolerance(relative), *sets(arguments))
                    rows.append(dict(case=name, method=method, relative_tolerance=relative, steps=got["steps"],
                                     ms_per_s=1e3 * got["without_s"] / got["end_time"],
                                     error_bar=error_of(got, self.reference(baseline_case(name))),
                                     energy_residual=got["energy_residual"]))
        path = os.path.join(folder, "work_precision.csv")
        with open(path, "w", newline="") as file:
            writer = csv.DictWriter(file, rows[0].keys(), lineterminator="\n")
            writer.writeheader()
            for row in rows:
                writer.writerow({key: "%.4g" % value if isinstance(value, float) else value for key, value in row.items()})
        from picture import draw
        draw(rows, os.path.join(folder, "work_precision.png"), ALLOWED, DEFAULT_RELATIVE)
        print("\nwork and precision: %s and .png" % os.path.relpath(path, os.getcwd()))


def baseline_case(name):
    return os.path.join(ROOT, "cases", "baseline", name + ".yaml")


def demo_cases():
    folder = os.path.join(ROOT, "cases")
    return [os.path.join(folder, name) for name in sorted(os.listdir(folder)) if name.endswith(".yaml")]


def machine():
    processor = platform.processor()
    try:
        with open("/proc/cpuinfo") as file:
            processor = next(line.split(":", 1)[1].strip() for line in file if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    return "%s, %d cores seen, %s" % (processor or platform.machine(), os.cpu_count() or 0, platform.platform())


def main():
    parser = argparse.ArgumentParser(prog="tools/bench", description=__doc__.split(": ", 1)[1])
    parser.add_argument("--quick", action="store_true", help="three repeats, baseline only, no SciPy")
    parser.add_argument("--cases", nargs="+", help="case files to time (default: baseline i to iv and the demo cases)")
    parser.add_argument("--own", action="store_true", help="ours only, no other integrators, no sweeps")
    parser.add_argument("--precision", action="store_true", help="work against precision only: CSV and picture")
    parser.add_argument("--folder", default=os.path.join(ROOT, "docs", "pictures"), help="where those go")
    parser.add_argument("--json", help="all figures to this file as well")
    options = parser.parse_args()
    bench = Bench(options)
    print(bench.book["machine"])
    if options.precision:
        bench.precision(BASELINE, options.folder)
        return
    paths = [baseline_case(name) for name in BASELINE]
    if options.cases:
        paths = [os.path.abspath(path) for path in options.cases]
    elif not options.quick:
        paths += demo_cases()
    bench.cases(paths)
    if not options.cases:
        bench.settings()
    if not options.own and not options.quick and not options.cases:
        bench.general(BASELINE)
        sys.stdout.flush()
        print()
        subprocess.run([os.path.join(ROOT, "tools", "sweep-bench"), "--program", os.path.join(ROOT, "build", "bench", "swashloop"),
                        "--count", "1000", "--large", "10000"], check=True)
    if options.json:
        with open(options.json, "w") as file:
            json.dump(bench.book, file, indent=1)
            file.write("\n")


if __name__ == "__main__":
    main()
