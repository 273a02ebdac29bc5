"""Tables of sweeps for the tests of the report, and what is true of them.

usage: _table.py truth TABLE.h5              what the page has to say, as JSON
       _table.py spoil TABLE.h5 OUT.h5       two cases failed, one stopped
       _table.py markup TABLE.h5 OUT.h5 TEXT every text of the table is TEXT
       _table.py large OUT.h5 CASES          made up: 3 parameters all over their ranges, a choice, 22 columns
"""
import json
import os
import shutil
import sys

import h5py
import numpy

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "cli"))
import _seal  # noqa: E402

FAILED, STOPPED = (5, 17), 9


def ranks(values):
    """From 1; those that are equal share the mean of theirs."""
    _, place, count = numpy.unique(values, return_inverse=True, return_counts=True)
    last = numpy.cumsum(count)
    return (last - (count - 1) / 2.0)[place]


def spearman(x, y):
    """Of single precision, which is what the page holds: cases that differ by the last digits of a double are ties."""
    x, y = x.astype("f4"), y.astype("f4")
    there = numpy.isfinite(x) & numpy.isfinite(y)
    return float(numpy.corrcoef(ranks(x[there]), ranks(y[there]))[0, 1])


def truth(path):
    with h5py.File(path, "r") as file:
        role = {name: item.attrs.get("role", "") for name, item in file.items()}
        worst = [name for name in file if role[name] == "worst"]
        varied = [name for name in file if role[name] == "varied" and not h5py.check_string_dtype(file[name].dtype)]
        numbers = {name: file[name][:] for name in file
                   if role[name] in ("measure", "worst", "varied") and name not in ("status", "message")}
        return {
            "rows": int(file["case"].shape[0]),
            "kept": int((file["all_limits"][:] == 1).sum()),
            "all_limits": file["all_limits"][:].tolist(),
            "broken": {name: int((file[name][:] == 0).sum()) for name in file if role[name] == "limit"},
            "numbers": {name: [float(v) if numpy.isfinite(v) else None for v in values]
                        for name, values in numbers.items() if len(values) < 1000},
            "spearman": {name: {w: spearman(file[name][:], file[w][:]) for w in worst} for name in varied},
        }


def spoil(path, out):
    shutil.copyfile(path, out)
    with _seal.changed(out) as file:
        for row in FAILED:
            file["status"][row] = "failed"
            file["message"][row] = "the step size fell below 1e-12 s"
            for item in file.values():
                role = item.attrs.get("role", "")
                if role in ("measure", "worst", "work"):
                    item[row] = numpy.nan
                elif role in ("limit", "all_limits"):
                    item[row] = 2
        file["status"][STOPPED] = "stopped"
        file["message"][STOPPED] = "the engine stalled"


def markup(path, out, text):
    shutil.copyfile(path, out)
    with _seal.changed(out) as file:
        for name in ("title", "history", "source", "study", "case", "plant"):
            file.attrs[name] = text
        file["message"][:] = [text] * len(file["message"])
        file["status"][:] = [text] * len(file["status"])
        for item in file.values():
            if "long_name" in item.attrs:
                item.attrs["long_name"] = text
            if "label" in item.attrs:
                item.attrs["label"] = text
        file.move("vehicle.mass", text.replace("/", "|"))
        steps = file["steps/varied"]
        steps[:] = [text.replace("/", "|") if name == b"vehicle.mass" else name for name in steps[:]]
        file["steps/name"][:] = [text] * len(steps)


def large(out, cases):
    random = numpy.random.default_rng(3)
    rows = int(cases)

    with h5py.File(out, "w", track_order=True) as file:
        file.attrs.update(title="Large", history="now: swashloop sweep large.yaml -o large.h5", source="a test",
                          plant="transmission", status="complete", study="none", case="none", case_count=rows, study_fingerprint="0" * 16,
                          arithmetic_fingerprint="0" * 16, shard=0, shards=1, failed_cases=0)
        scale = file.create_dataset("case", data=numpy.arange(rows))
        scale.make_scale("case")

        def column(name, role, values, **attributes):
            kind = h5py.string_dtype() if isinstance(values, list) else None
            file.create_dataset(name, data=values, dtype=kind)
            file[name].attrs.update(role=role, long_name=name, **attributes)
            if role == "varied":
                file[name].attrs["spacing"] = "logarithmic" if name == "actions[1].over" else "linear"
            return values

        setting = column("relief.setting", "varied", random.uniform(2e7, 4.5e7, rows), units="Pa", trade_units="bar")
        mass = column("vehicle.mass", "varied", random.uniform(8e3, 2e4, rows), units="kg", trade_units="kg")
        over = column("actions[1].over", "varied", numpy.exp(random.uniform(-3, 3, rows)), units="s", trade_units="s")
        law = random.integers(0, 2, rows)
        column("limiter.law", "varied", [("driven_side", "both_sides")[i] for i in law])
        column("status", "status", ["complete"] * rows)
        column("message", "status", [""] * rows)
        for number in range(6):
            column(f"measure_{number}", "measure", random.standard_normal(rows) + mass / 1e4, units="1", trade_units="1")
        all_kept = numpy.ones(rows, dtype="i1")
        for number in range(1, 4):
            worst = setting * (1 + 0.1 * number * law) + 200 * mass + 1e6 * random.standard_normal(rows) - 1e5 * over
            kept = (worst <= 4.2e7).astype("i1")
            all_kept &= kept
            column(f"limit_{number}_p{number}", "limit", kept)
            column(f"limit_{number}_p{number}_worst", "worst", worst, units="Pa", trade_units="bar", level="42000000",
                   side="at most")
        column("all_limits", "all_limits", all_kept)
        column("solver_steps", "work", random.integers(100, 4000, rows).astype("f8"), units="1", trade_units="1")
    with _seal.changed(out):
        pass


if __name__ == "__main__":
    kind, rest = sys.argv[1], sys.argv[2:]
    if kind == "truth":
        print(json.dumps(truth(*rest)))
    else:
        {"spoil": spoil, "markup": markup, "large": large}[kind](*rest)
