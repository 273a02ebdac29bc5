#!/usr/bin/python3
"""Let the n-th call for memory, or of the file system, fail in every command: tests/faults/scan.py [options]

Each command line runs once for each n, in a folder of its own, with a library preloaded (inject.c) that lets the n-th
call of one kind fail - alone, or with all later ones (as on a full disk). Whatever fails, the program must
- neither crash nor hang,
- end as without a fault, with the same output files and words, or with an exit code that is not 0 and a reason in words,
- not blame what the user wrote: no code 2 for want of memory, no file:line:column, and the reason names what failed,
- leave no part file, and what lay where the output goes either as it was or replaced by the whole output.

  --sample N    so many n for each command and kind, drawn with the seed (default: 6; 0: every n)
  --seed S      (default: 1)
  --only WORD   only command lines whose name begins so; may stand several times
  --kind KIND   only allocation, open, read, write or close; may stand several times
  --every N     only every N-th n, from one on that is drawn with the seed
  --jobs N      at once (default: 2)
  --from N, --to N  only these n
"""
import argparse
import concurrent.futures
import hashlib
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

try:
    import h5py
    import numpy
except ImportError:
    print("skipped: no h5py")
    sys.exit(77)

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
PROGRAM = os.environ.get("SWASHLOOP") or os.path.join(ROOT, "build", "release", "swashloop")
INJECT = os.environ.get("SWASHLOOP_INJECT") or os.path.join(ROOT, "build", "release", "tests", "libinject.so")
CASES = os.path.join(ROOT, "cases")
KINDS = ("allocation", "open", "read", "write", "close")
LASTING = ("allocation", "write")  # kinds that are also tried with all later calls failing
SECONDS = 60

STUDY = """title: Small study
case: CASES/baseline/relief_step.yaml
set: {simulation.end_time: 0.05 s}
vary:
  - path: relief.setting
    from: 250 bar
    to: 450 bar
    count: 6
keep_histories: {cases: [1]}
"""

# Eight cases at once in vector lanes, and some more behind them.
LANES = """title: Small study side by side
case: CASES/baseline/relief_step.yaml
set: {simulation.end_time: 0.05 s, simulation.method: rosenbrock}
vary:
  - path: relief.setting
    from: 250 bar
    to: 450 bar
    count: 10
keep_histories: {cases: [1]}
"""


TUNING = """case: limited.yaml
set: {simulation.end_time: 0.05 s}
vary:
  - {path: rig.volume, values: [1 L, 2 L]}
  - {path: relief.setting, from: 250 bar, to: 450 bar, step: 10 bar}
goal: worst_margin
second_goal: {least: peak_line_a_pressure}
points: 12
starts: 2
"""


class Line:
    """A command line, what lies ready for it, and the codes that it ends with by itself."""

    def __init__(self, name, words, output=None, ready=(), codes=(0, 4, 6)):
        self.name, self.words, self.output, self.ready, self.codes = name, words, output, ready, codes


def lines():
    step = os.path.join(CASES, "baseline", "relief_step.yaml")
    rig = os.path.join(CASES, "valve", "step.yaml")
    short = ["--set", "simulation.end_time=0.3 s"]
    return [
        Line("list", ["list", "parameters", "relief"]),
        Line("list_json", ["list", "signals", "--json"]),
        Line("check", ["check", step, "--resolved"]),
        Line("run", ["run", step, "-o", "out.h5"], "out.h5"),
        Line("run_table", ["run", os.path.join(CASES, "downhill.yaml"), "-o", "out.h5", "--json", *short], "out.h5"),
        Line("steady", ["steady", os.path.join(CASES, "climb.yaml"), "--speed", "8 km/h", "--grade", "20 %", "-o", "out.h5"],
             "out.h5"),
        Line("linear", ["linear", os.path.join(CASES, "climb.yaml"), "--speed", "8 km/h", "--grade", "15 %", "--input", "grade",
                        "--signal", "engine_speed", "-o", "out.h5"], "out.h5"),
        Line("response", ["response", os.path.join(CASES, "valve", "step.yaml"), "-o", "out.h5"], "out.h5"),
        # Without a file: nothing but words.
        Line("told_steady", ["steady", os.path.join(CASES, "climb.yaml"), "--speed", "8 km/h", "--grade", "20 %", "--json"]),
        Line("told_linear", ["linear", os.path.join(CASES, "climb.yaml"), "--speed", "8 km/h", "--grade", "15 %"]),
        Line("told_response", ["response", rig]),
        Line("sensitivity", ["sensitivity", step, "--to", "relief.setting", "--of", "peak_line_a_pressure", "-o", "out.h5"],
             "out.h5"),
        Line("compare", ["compare", "rig.h5", "bench.csv", "--map", "bench.yaml", "-o", "out.h5"], "out.h5",
             ("rig.h5", "bench.csv", "bench.yaml")),
        Line("fit", ["fit", rig, "bench.csv", "--map", "bench.yaml", "-p", "relief.poppet_damping", "-o", "out.h5"], "out.h5",
             ("bench.csv", "bench.yaml")),
        Line("sweep", ["sweep", "study.yaml", "-o", "out.h5", "--jobs", "2"], "out.h5", ("study.yaml",)),
        Line("sweep_one", ["sweep", "study.yaml", "-o", "out.h5", "--jobs", "1", "--quiet"], "out.h5", ("study.yaml",)),
        Line("sweep_lanes", ["sweep", "lanes.yaml", "-o", "out.h5", "--jobs", "2", "--quiet"], "out.h5", ("lanes.yaml",)),
        Line("tune", ["tune", "tune.yaml", "-o", "out.h5", "--jobs", "2", "--quiet"], "out.h5", ("tune.yaml", "limited.yaml")),
        Line("merge", ["merge", "shard-0.h5", "shard-1.h5", "-o", "out.h5"], "out.h5", ("shard-0.h5", "shard-1.h5")),
        Line("report", ["report", "run.h5", "-o", "out.html"], "out.html", ("run.h5",)),
        Line("report_table", ["report", "table.h5", "-o", "out.html"], "out.html", ("table.h5",)),
    ]


def program(words, folder, **environment):
    """Code, output and errors; None as code for one that hangs."""
    process = subprocess.Popen([PROGRAM, *words], cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, env={**os.environ, **environment}, start_new_session=True)
    try:
        output, errors = process.communicate(timeout=SECONDS)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        output, errors = process.communicate()
        return None, output.decode(errors="replace"), errors.decode(errors="replace")
    return process.returncode, output.decode(errors="replace"), errors.decode(errors="replace")


def make_ready(folder):
    """What the command lines read."""
    def must(*words):
        code, output, errors = program(words, folder)
        if code not in (0, 4, 6):
            sys.exit(f"scan: {' '.join(words)} gives {code}\n{output}{errors}")
    step = os.path.join(CASES, "baseline", "relief_step.yaml")
    with open(os.path.join(folder, "study.yaml"), "w", encoding="utf-8") as file:
        file.write(STUDY.replace("CASES", CASES))
    with open(os.path.join(folder, "lanes.yaml"), "w", encoding="utf-8") as file:
        file.write(LANES.replace("CASES", CASES))
    with open(os.path.join(folder, "tune.yaml"), "w", encoding="utf-8") as file:
        file.write(TUNING)
    with open(step, encoding="utf-8") as whole, open(os.path.join(folder, "limited.yaml"), "w", encoding="utf-8") as file:
        file.write(whole.read() + "limits: [peak_line_a_pressure <= 400 bar]\n")
    for name in ("bench.csv", "bench.yaml"):
        shutil.copy(os.path.join(CASES, "valve", name), folder)
    must("run", os.path.join(CASES, "valve", "step.yaml"), "--set", "simulation.output_step=0.1 ms", "-o", "rig.h5")
    must("run", step, "-o", "run.h5")
    must("sweep", "study.yaml", "-o", "table.h5", "--quiet")
    for i in range(2):
        must("sweep", "study.yaml", "-o", f"shard-{i}.h5", "--shard", f"{i}/2", "--quiet")


def digest(value):
    return hashlib.sha256(value if isinstance(value, bytes) else repr(value).encode()).hexdigest()


def items_of(path, name):
    """A file piece by piece: what a dataset or an attribute of it holds, or its lines."""
    if h5py.is_hdf5(path):
        items = {}

        def take(inside, thing):
            for key, value in thing.attrs.items():
                if not isinstance(value, h5py.Reference) and key not in ("DIMENSION_LIST", "REFERENCE_LIST"):
                    items[f"{name}/{inside}@{key}"] = digest(numpy.asarray(value).tolist())
            if isinstance(thing, h5py.Dataset):
                value = thing[()]
                items[f"{name}/{inside}"] = digest(numpy.asarray(value).tolist() if thing.dtype == object else value.tobytes())
        try:
            with h5py.File(path, "r") as file:
                take("", file)
                file.visititems(take)
        except (OSError, RuntimeError, KeyError) as failure:
            items[f"{name} cannot be read"] = str(failure)
        return items
    with open(path, "rb") as file:
        return {f"{name} line {i}": digest(line) for i, line in enumerate(file.read().split(b"\n"))}


def contents(folder, keep):
    """Every file that was not there before, piece by piece."""
    found = {}
    for place, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(place, name)
            relative = os.path.relpath(path, folder)
            if relative not in keep:
                found[relative] = items_of(path, relative)
    return found


# What may differ from run to run, and then does at times only: the moment, the command, time taken.
TIME_TAKEN = re.compile(r"[\d.]+ (s of processor time)")
WANDERS = re.compile(r"@history$|@created|processor|wall|_time_|/solver/.*(time|seconds)|speed")


class Reference:
    """What two runs without a fault have in common."""

    def __init__(self, first, second):
        self.code = first[0] if first[0] == second[0] else None
        self.names = set(first[3])
        self.lines = [line for line, again in zip(first[1].split("\n"), second[1].split("\n")) if line == again]
        self.line_count = first[1].count("\n")
        self.items = {}
        for name, items in first[3].items():
            again = second[3].get(name, {})
            self.items[name] = {key: value for key, value in items.items() if again.get(key) == value and not WANDERS.search(key)}

    def differs(self, found):
        """Names of what is not as without a fault."""
        code, output, _, files = found[:4]
        lines = set(output.split("\n"))
        wrong = [] if code == self.code else ["exit code"]
        if any(line not in lines for line in self.lines) or output.count("\n") != self.line_count:
            wrong.append("words")
        for name in sorted(self.names | set(files)):
            if name not in files or name not in self.names:
                wrong.append(name)
            else:
                wrong += [key for key, value in self.items[name].items() if files[name].get(key) != value][:3]
        return wrong


class Scan:
    def __init__(self, options, ready):
        self.options, self.ready = options, ready
        self.symbols = None

    def once(self, line, kind, at, lasts):
        """One run; what was found there, the report of the library."""
        with tempfile.TemporaryDirectory(prefix="swashloop-fault-") as folder:
            for name in line.ready:
                shutil.copy(os.path.join(self.ready, name), folder)
            report = folder + ".report"
            environment = {"LD_PRELOAD": INJECT, "FAULT_KIND": kind, "FAULT_AT": str(at), "FAULT_REPORT": report}
            if lasts:
                environment["FAULT_LASTS"] = "1"
            code, output, errors = program(line.words, folder, **environment)
            told = ""
            if os.path.exists(report):
                with open(report, encoding="utf-8") as file:
                    told = file.read()
                os.remove(report)
            inputs_kept = all(open(os.path.join(folder, name), "rb").read() ==
                              open(os.path.join(self.ready, name), "rb").read() for name in line.ready)
            output = TIME_TAKEN.sub(r"T \1", output)
            return code, output, errors, contents(folder, line.ready), told, inputs_kept

    def judge(self, line, kind, reference, found):
        code, _, errors, files, _, inputs_kept = found
        faults = []
        if code is None:
            return ["hangs"]
        if code < 0 or code > 130 or "AddressSanitizer" in errors:
            return [f"crashes: {signal.Signals(-code).name if code < 0 else code}"]
        if not inputs_kept:
            faults.append("an input was changed")
        if any(name.endswith(".part") for name in files):
            faults.append("a part file is left")
        wrong = reference.differs(found)
        if not wrong:
            return faults
        if code in line.codes:
            faults.append(f"exit {code} with another output ({', '.join(wrong[:3])})")
            return faults
        words = errors.strip()
        if not words:
            faults.append(f"exit {code} without a reason")
        elif kind == "allocation":
            if code == 2:
                faults.append("want of memory is taken for bad input (exit 2)")
            if "memory" not in words and code != 5:
                faults.append("the reason does not speak of memory")
        elif not re.search(r"Input/output error|No space left|cannot|could not|read|written", words):
            faults.append("the reason names nothing that failed")
        if re.search(r"^[^ ]+:\d+:\d+: (?!.*(Input/output error|memory))", words, re.M):
            faults.append("a place in the user's file is blamed")
        # An output is whole, or bears another status than complete (a failed run keeps what it has).
        if line.output in files and code not in (1, 5) and any(item.startswith(line.output) for item in wrong):
            faults.append("an output that is not the whole one is left")
        return faults

    def place(self, told):
        """Names of the functions of the program that led to the failed call."""
        if self.symbols is None:
            listing = subprocess.run(["nm", "-n", PROGRAM], stdout=subprocess.PIPE, text=True, check=True).stdout
            self.symbols = [(int(parts[0], 16), parts[2]) for parts in map(str.split, listing.splitlines())
                            if len(parts) == 3 and parts[1] in "tT"]
        match = re.search(r"failed (\S+)((?: [0-9a-f]+)*)", told)
        if not match:
            return "?"
        names = []
        for address in (int(word, 16) for word in match[2].split()):
            under = [name for start, name in self.symbols if start <= address]
            if under and address < self.symbols[-1][0] + 100000:
                names.append(under[-1])
        return match[1] + " < " + " < ".join(names)

    def line(self, line, pool):
        tried = bad = 0
        references = {}
        for kind in self.options.kind or KINDS:
            first = self.once(line, kind, 0, False)
            references.setdefault("early", first)
            if first[0] not in line.codes:
                print(f"{line.name}: gives {first[0]} without a fault\n{first[2]}")
                return tried, bad + 1
            if "late" not in references:  # a second later, so that what tells the time is seen to wander
                time.sleep(1.1)
                references["late"] = self.once(line, kind, 0, False)
            reference = Reference(references["early"], references["late"])
            calls = int(re.search(r"calls (\d+)", first[4])[1])
            for lasts in (False, True) if kind in LASTING else (False,):
                numbers = range(max(1, self.options.begin), min(calls, self.options.end) + 1)
                draw = random.Random(f"{self.options.seed} {line.name} {kind} {lasts}")
                if self.options.every > 1:
                    numbers = numbers[draw.randrange(self.options.every)::self.options.every]
                if self.options.sample:
                    numbers = sorted(draw.sample(numbers, min(self.options.sample, len(numbers))))
                results = {}
                for at, found in zip(numbers, pool.map(lambda at: self.once(line, kind, at, lasts), numbers)):
                    tried += 1
                    for fault in self.judge(line, kind, reference, found):
                        bad += 1
                        results.setdefault((fault, self.place(found[4])), []).append((at, found))
                for (fault, place), examples in sorted(results.items(), key=lambda item: item[1][0][0]):
                    at, found = examples[0]
                    last = (found[2].strip().splitlines() or [""])[-1]
                    print(f"{line.name}: {kind} {at} of {calls}{' and all later' if lasts else ''}: {fault} "
                          f"({len(examples)} times)\n    {place}\n    exit {found[0]}, says: {last}")
        return tried, bad


def unknown_imports():
    """Functions of the C library that make memory or reach files, which the program imports and inject.c has not."""
    known = subprocess.run(["nm", "-D", "--defined-only", INJECT], stdout=subprocess.PIPE, text=True, check=True).stdout
    wanted = subprocess.run(["nm", "-D", "--undefined-only", PROGRAM], stdout=subprocess.PIPE, text=True, check=True).stdout
    have = {line.split()[-1].split("@")[0] for line in known.splitlines()}
    needs = {line.split()[-1].split("@")[0] for line in wanted.splitlines() if line.split()}
    watched = re.compile(r"^_*(p?(read|write)v?(64)?2?|(m|c|re)alloc(array)?|memalign|aligned_alloc|mmap|f?d?open(at)?(64)?|creat|"
                         r"f(open|read|write|close|flush|sync|truncate|datasync)(64)?|truncate|close|rename(at2?)?|link(at)?|"
                         r"symlink|mkdir(at)?|mkstemps?|tmpfile|getline|getdelim|fgets|sendfile|splice|copy_file_range)(_chk)?$")
    return sorted(name for name in needs if watched.match(name) and name not in have)


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--sample", type=int, default=6)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--only", action="append")
    words.add_argument("--kind", action="append", choices=KINDS)
    words.add_argument("--every", type=int, default=1)
    words.add_argument("--jobs", type=int, default=2)
    words.add_argument("--from", type=int, default=1, dest="begin")
    words.add_argument("--to", type=int, default=10 ** 9, dest="end")
    options = words.parse_args()
    if not os.access(PROGRAM, os.X_OK) or not os.path.exists(INJECT):
        print("skipped: no program, or no library to preload")
        sys.exit(77)
    missing = unknown_imports()
    if missing:
        sys.exit(f"scan: the program imports what inject.c does not let fail: {' '.join(missing)}")
    tried = bad = 0
    with tempfile.TemporaryDirectory(prefix="swashloop-ready-") as ready, \
            concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
        make_ready(ready)
        scan = Scan(options, ready)
        for line in lines():
            if not options.only or any(line.name.startswith(word) for word in options.only):
                more, worse = scan.line(line, pool)
                tried, bad = tried + more, bad + worse
                print(f"{line.name}: {more} faults tried, {worse} findings", flush=True)
    print(f"{tried} faults tried, {bad} findings")
    sys.exit(1 if bad or not tried else 0)


main()
