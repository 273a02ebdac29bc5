#!/usr/bin/env python3
"""Does `swashloop fit` find what it should? tests/reference/fit_recovery.py [--draws 20]

Runs a case with known numbers, adds noise of a known size, another clock and a gap, and lets the program find the
numbers from a case that starts off them; as often as asked for. Told are the mean error and the spread against
the standard deviation that the program claims, and how often the 95 % interval holds the truth. A last part asks for
numbers that no trace can tell apart, or that do not act: they must not be claimed.

The program is the one that SWASHLOOP names, else build/release/swashloop.
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile

import h5py
import numpy

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAM = os.environ.get("SWASHLOOP") or os.path.join(ROOT, "build", "release", "swashloop")
STEP = os.path.join(ROOT, "cases", "valve", "step.yaml")
STALL = os.path.join(ROOT, "cases", "stall.yaml")

# case, settings of the truth, number sought: true value SI, start, bounds; signals: column, unit, scale, noise
TASKS = {
    "poppet valve on the rig": {
        "case": STEP,
        "truth": {"relief.setting": (417.3e5, "417.3 bar"), "relief.poppet_damping": (1650.0, "1650 N s/m"),
                  "rig.volume": (1.08e-3, "1.08 L")},
        "bounds": {"relief.setting": "380 bar..460 bar", "relief.poppet_damping": "300 N s/m..6000 N s/m",
                   "rig.volume": "0.5 L..2 L"},
        "signals": {"line_a_pressure": ("p_A", "bar", 1e5, 0.5), "relief_a_flow": ("Q", "L/min", 1e-3 / 60.0, 0.4)},
        "sample": 4e-4, "shift": 0.0123, "more": [],
    },
    "machine against a bank": {
        "case": STALL,
        "truth": {"limiter.setting": (383e5, "383 bar"), "relief.setting": (413e5, "413 bar"),
                  "engine.inertia": (2.1, "2.1 kg m2")},
        "bounds": {"limiter.setting": "340 bar..440 bar", "relief.setting": "400 bar..480 bar",
                   "engine.inertia": "0.8 kg m2..5 kg m2"},
        "signals": {"line_a_pressure": ("p_A", "bar", 1e5, 1.0), "engine_speed": ("n", "rpm", numpy.pi / 30.0, 3.0)},
        "sample": 2e-3, "shift": -0.21, "more": ["--set", "simulation.end_time=2.5 s"],
    },
}


def call(*arguments, good=(0,)):
    result = subprocess.run([PROGRAM, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, check=False)
    if result.returncode not in good:
        raise RuntimeError(" ".join(arguments) + "\n" + result.stderr)
    return result.stdout


def make_truth(folder, task):
    """Time and signals of the run with the true numbers."""
    path = os.path.join(folder, "truth.h5")
    sets = [word for name, (_, text) in task["truth"].items() for word in ("--set", f"{name}={text}")]
    call("run", task["case"], "--quiet", "-o", path, "--set", f"simulation.output_step={task['sample'] / 10.0} s",
         "--set", "simulation.relative_tolerance=1e-9", *task["more"], *sets)
    with h5py.File(path) as file:
        return file["time"][()], {name: file[name][()] for name in task["signals"]}


def write_trace(folder, task, time, signals, draw):
    """Every tenth sample, noise, another clock, a gap of ten cells."""
    generator = numpy.random.default_rng(draw)
    keep = slice(0, None, 10)
    columns = [time[keep] - task["shift"]]
    for name, (_, _, scale, noise) in task["signals"].items():
        values = signals[name][keep] / scale
        columns.append(values + generator.normal(0.0, noise, values.size))
    heads = ["t [s]"] + [f"{column} [{unit}]" for column, unit, _, _ in task["signals"].values()]
    path = os.path.join(folder, f"trace{draw}.csv")
    with open(path, "w", encoding="utf-8") as file:
        file.write(",".join(heads) + "\n")
        for k, row in enumerate(zip(*columns)):
            cells = [f"{value:.9g}" for value in row]
            if 60 <= k < 70:
                cells[1] = ""
            file.write(",".join(cells) + "\n")
    return path


def write_mapping(folder, task):
    path = os.path.join(folder, "map.yaml")
    with open(path, "w", encoding="utf-8") as file:
        file.write("time: {column: t}\nshift: {largest: 0.5 s}\nsignals:\n")
        for name, (column, _, _, _) in task["signals"].items():
            file.write(f"  - {{signal: {name}, column: {column}}}\n")
    return path


def fit(folder, task, trace, mapping, parameters=None, more=()):
    words = parameters or [f"{name}={bounds}" for name, bounds in task["bounds"].items()]
    arguments = [word for name in words for word in ("--parameters", name)]
    return json.loads(call("fit", task["case"], trace, "--map", mapping, "--json", "-o", os.path.join(folder, "f.h5"),
                           *task["more"], *more, *arguments))


def recover(task, draws):
    """For each number: errors over the claimed deviation, relative errors, and how often the interval holds it."""
    errors = {name: [] for name in task["truth"]}
    scores = {name: [] for name in task["truth"]}
    held = {name: 0 for name in task["truth"]}
    claimed = dict(held)
    refused = 0
    runs = 0
    with tempfile.TemporaryDirectory() as folder:
        time, signals = make_truth(folder, task)
        mapping = write_mapping(folder, task)
        for draw in range(draws):
            found = fit(folder, task, write_trace(folder, task, time, signals, draw), mapping)
            runs += found["runs"]
            for row in found["parameters"]:
                truth = task["truth"][row["path"]][0]
                if not row["identified"]:
                    refused += 1
                    continue
                errors[row["path"]].append(row["value"] / truth - 1.0)
                scores[row["path"]].append((row["value"] - truth) / row["deviation"])
                if row["established"]:
                    claimed[row["path"]] += 1
                    held[row["path"]] += row["from"] <= truth <= row["to"]
    return errors, scores, held, claimed, refused, runs / draws


def refuse():
    """What cannot be told must not be claimed: [(what, ok)]."""
    task = TASKS["poppet valve on the rig"]
    results = []
    with tempfile.TemporaryDirectory() as folder:
        time, signals = make_truth(folder, task)
        mapping = write_mapping(folder, task)
        trace = write_trace(folder, task, time, signals, 77)

        def told(*parameters):
            return {row["path"]: row for row in fit(folder, task, trace, mapping, parameters)["parameters"]}

        # Flow and flow force see the product of the two only.
        rows = told("relief.setting=380 bar..460 bar", "relief.discharge=0.3..0.9", "relief.opening_width=5 mm..60 mm")
        results.append(("discharge x width: neither is claimed", not rows["relief.discharge"]["identified"]
                        and not rows["relief.opening_width"]["identified"]))
        results.append(("  and each is named with the other", "relief.opening_width" in rows["relief.discharge"]["why"]
                        and "relief.discharge" in rows["relief.opening_width"]["why"]))
        results.append(("  while the setting is told", rows["relief.setting"]["identified"]))
        # Acts in the other law only, or not before the poppet is fully open.
        rows = told("relief.poppet_damping=300 N s/m..6000 N s/m", "relief.largest_lift=2 mm..8 mm")
        results.append(("a lift stop that is never met is not claimed", not rows["relief.largest_lift"]["identified"]))
        rows = told("relief.poppet_damping=300 N s/m..6000 N s/m", "relief.lag=1 ms..20 ms")
        results.append(("a number of another law is not claimed", not rows["relief.lag"]["identified"]))
        # The truth lies beyond the bound.
        rows = told("relief.setting=425 bar..460 bar")
        results.append(("a number at its bound is not claimed", not rows["relief.setting"]["identified"]))
    return results


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--draws", type=int, default=20)
    options = parser.parse_args()
    for name, task in TASKS.items():
        errors, scores, held, claimed, refused, runs = recover(task, options.draws)
        print(f"{name}: {options.draws} draws, {runs:.0f} runs each, {refused} numbers refused")
        for path in task["truth"]:
            error, score = numpy.array(errors[path]), numpy.array(scores[path])
            print(f"  {path:24s} mean error {100 * error.mean():+.4f} %, spread {100 * error.std():.4f} %, "
                  f"errors over claimed deviation {numpy.sqrt((score ** 2).mean()):.2f}, "
                  f"interval holds it {held[path]} of {claimed[path]} claimed")
    for what, good in refuse():
        print(("  ok   " if good else "  MISS ") + what)
    return 0


if __name__ == "__main__":
    sys.exit(main())
