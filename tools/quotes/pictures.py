"""The pictures of docs/pictures: how each is drawn, and whether what it was drawn from is still what the program gives.

docs/pictures/drawn.json holds for each picture the numbers it was drawn from (a few of each column, to print precision:
PNG files differ between versions of libraries), the state of the scripts that drew it, and the picture's own checksum.
"""
import csv
import glob
import hashlib
import json
import os
import re
import shutil
import subprocess

from .workshop import PROGRAM, ROOT, QuoteError

FOLDER = os.path.join(ROOT, "docs", "pictures")
RECORD = os.path.join(FOLDER, "drawn.json")
# The scripts that draw a picture, by what it shows.
ANY = ("style", "units", "runfile")
RUN, SWEEP = (*ANY, "figure", "panels", "curves", "tables"), (*ANY, "sweep", "sweep_figure")
STEADY, LINEAR = (*ANY, "answers", "answer_steady"), (*ANY, "answers", "answer_linear")
RESPONSE, SENSITIVITY = (*ANY, "answers", "answer_response"), (*ANY, "answers", "answer_sensitivity")
COMPARE = (*ANY, "answers", "answer_compare")
PAGE = ("tests/browser/_picture.mjs", "tests/browser/_page.mjs", "src/report/page/shared/*")
TOLERANCE = 5e-4  # of the largest number of a column
NOTHING = 1e-9  # of the largest power in a file
POINTS = 101  # of a history, whatever its samples


class Picture:
    """`commands` make `reads`, and `draw` makes the picture, {} in it, from that; all in one folder."""

    def __init__(self, name, commands, reads, draw, scripts):
        self.name, self.commands, self.reads, self.draw, self.scripts = name, commands, reads, draw, scripts


def plot(name, scripts, commands, reads, options=""):
    return Picture(name, commands, reads, f"tools/plot {reads}{' ' + options if options else ''} -o {{}}",
                   [f"tools/picture/{script}.py" for script in scripts])


def page(name, kind, command, reads):
    made = os.path.splitext(name)[0] + ".html"
    return Picture(name, [command, f"swashloop report {reads} -o {made}"], reads,
                   f"node tests/browser/_picture.mjs {kind} {made} {{}}", (*PAGE, f"src/report/page/{kind}/*"))


ENVELOPE = "swashloop envelope cases/braking.yaml --over 'ground.grade[1].value=-25 %..0 %' " \
    "--over 'actions[1].over=0.2 s..6 s' -o hold.h5"
ODDS = "swashloop odds cases/studies/braking_odds.yaml --width 1% -o braking_odds.odds.h5"
BRAKING = "swashloop sweep cases/studies/braking.yaml -o braking.h5"
STALL = "swashloop sensitivity cases/stall.yaml --to relief.setting --to limiter.setting --to limiter.band " \
    "--to limiter.lag --to swash.rate_up --to lines.volume_a --to relief.lag --to fluid.air_content " \
    "--of peak_line_a_pressure --of relief_heat --of engine_speed_min --of relief_a_peak_flow " \
    "--of line_a_pressure --of engine_speed -o stall.sensitivity.h5"
PICTURES = (
    plot("downhill.png", RUN, ["swashloop run cases/downhill.yaml -o downhill.h5"], "downhill.h5"),
    plot("forest-course.png", (*ANY, "course_figure"), ["swashloop run cases/forest_course.yaml -o forest_course.h5"],
         "forest_course.h5", "--course"),
    page("report.png", "run", "swashloop run cases/downhill.yaml -o downhill.h5", "downhill.h5"),
    page("report_sweep.png", "sweep", BRAKING, "braking.h5"),
    plot("review.png", (*ANY, "answers", "answer_review"),
         ["swashloop review cases/reviews/forwarder.yaml --no-runs -o forwarder.h5"], "forwarder.h5"),
    plot("envelope.png", (*ANY, "answers", "answer_envelope"), [ENVELOPE], "hold.h5"),
    plot("odds.png", (*ANY, "answers", "answer_odds"), [ODDS], "braking_odds.odds.h5"),
    plot("tuning.png", (*ANY, "answers", "answer_tuning"),
         ["swashloop tune cases/tunings/braking.yaml -o braking.tune.h5"], "braking.tune.h5"),
    plot("sweep-braking.png", SWEEP, [BRAKING], "braking.h5"),
    plot("sweep-map.png", SWEEP, [BRAKING], "braking.h5", "--draw map -x ground.grade[1].value -y actions[1].over"),
    plot("sweep-influence.png", SWEEP, ["swashloop sweep cases/studies/braking_influence.yaml -o influence.h5"], "influence.h5",
         "--draw influence"),
    plot("sweep-pairs.png", SWEEP, ["swashloop sweep cases/studies/braking_pairs.yaml -o pairs.h5"], "pairs.h5", "--draw pairs"),
    plot("hold-back.png", STEADY, ["swashloop steady cases/downhill.yaml --engine-limit '2520 rpm' -o hold-back.h5"],
         "hold-back.h5"),
    plot("tractive-effort.png", STEADY, ["swashloop steady cases/climb.yaml --map tractive_effort -o pull.h5"], "pull.h5"),
    plot("modes.png", LINEAR, ["swashloop linear cases/climb.yaml --speed '8 km/h' --grade '15 %' --input grade "
                               "--signal engine_speed -o modes.h5"], "modes.h5"),
    plot("keep.png", (*ANY, "answers", "answer_keep"),
         ["swashloop response cases/valve/step.yaml --keep 'line_a_pressure <= 460 bar' --jobs 1 -o step.keep.h5"],
         "step.keep.h5"),
    plot("response.png", RESPONSE, ["swashloop response cases/valve/step.yaml -o step.response.h5"], "step.response.h5"),
    plot("sensitivity.png", SENSITIVITY, [STALL], "stall.sensitivity.h5"),
    plot("compare.png", COMPARE,
         ["swashloop run cases/valve/step.yaml --set 'simulation.output_step=0.1 ms' -o step.h5",
          "swashloop compare step.h5 cases/valve/bench.csv --map cases/valve/bench.yaml -o step.compare.h5"],
         "step.compare.h5"),
    plot("fit.png", COMPARE,
         ["swashloop fit cases/valve/step.yaml cases/valve/bench.csv --map cases/valve/bench.yaml -p relief.setting "
          "-p relief.poppet_damping -p relief.discharge -p relief.opening_width -p rig.volume -o step.fit.h5"], "step.fit.h5"),
    Picture("relief-study.png", ["tools/relief-study cases/stall.yaml -o relief-study.png --csv relief-study.csv"],
            "relief-study.csv", "", ("tools/relief-study", "tools/picture/style.py", "tools/picture/answers.py")),
)
# Measured on one machine, by a benchmark of hours: drawn beside its numbers, which it keeps.
MEASURED = {"work_precision.png": "tools/bench --precision"}


def numbers_of(path):
    """{column: a few numbers of it} of what a picture is drawn from."""
    return numbers_of_rows(path) if path.endswith(".csv") else numbers_of_file(path)


def numbers_of_rows(path):
    with open(path, encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    found = {}
    for name in rows[0]:
        cells = [row[name] for row in rows]
        try:
            found[name] = told([float(cell) if cell else float("nan") for cell in cells])
        except ValueError:
            found[name] = [checksum("\n".join(cells).encode())[:12]]
    return found


def numbers_of_file(path):
    import h5py
    import numpy

    found, columns, largest = {}, {}, {}
    with h5py.File(path) as file:
        time = file["time"][()] if "time" in file else None
        # Of a run what was set is no result; of a fit it is.
        apart = ("solver", "parameters/") if "measures" in file else ("solver",)

        def visit(name, item):
            if isinstance(item, h5py.Dataset) and not name.startswith(apart) and "message" not in name:
                if h5py.check_string_dtype(item.dtype):
                    if item.ndim == 1 and name.split("/")[-1] in ("limit", "result", "status", "setting", "mark_name"):
                        found[name] = [checksum("\n".join(item.asstr()[()]).encode())[:12]]
                elif item.dtype.kind in "iuf":
                    values, unit = item[()], str(item.attrs.get("units", ""))
                    columns[name] = values, unit
                    size = float(numpy.max(numpy.abs(values), initial=0.0, where=numpy.isfinite(values)))
                    largest[unit] = max(largest.get(unit, 0.0), size)

        file.visititems(visit)
    for name, (values, unit) in columns.items():
        history = time is not None and values.shape == time.shape and values.ndim == 1 and name != "time"
        if unit == "W":
            # Of a power what is left of an iteration towards nothing is nothing.
            values = numpy.where(numpy.abs(values) < NOTHING * largest[unit], 0.0, values)
        found[name] = told(values, time if history else None)
    return found


def told(values, time=None):
    """A constant once; else lowest, highest, mean, and mean weighed by place: enough to see that any of it has changed."""
    import numpy

    values = numpy.asarray(values, dtype=float).ravel()
    if time is not None:
        values = numpy.interp(numpy.linspace(time[0], time[-1], POINTS), time, values)
    lost = int(numpy.isnan(values).sum())
    values = numpy.where(numpy.isnan(values), 0.0, values)
    if len(values) == 0 or numpy.all(values == values[0]):
        return [float(f"{value:.6g}") for value in values[:1]] + [lost] * (lost > 0)
    place = (numpy.arange(len(values)) + 0.5) / len(values)
    numbers = [values.min(), values.max(), values.mean(), (place * values).mean()]
    return [float(f"{value:.6g}") for value in numbers] + [lost] * (lost > 0)


def same(old, new):
    if len(old) != len(new):
        return False
    if any(isinstance(number, str) for number in [*old, *new]):
        return old == new
    size = max([abs(number) for number in [*old, *new]], default=0.0)
    return all(abs(a - b) <= TOLERANCE * size + 1e-30 for a, b in zip(old, new))


def checksum(content):
    return hashlib.sha256(content).hexdigest()


def file_checksum(path):
    with open(path, "rb") as file:
        return checksum(file.read())


def scripts_state(picture):
    found = {pattern: glob.glob(os.path.join(ROOT, pattern)) for pattern in picture.scripts}
    for pattern in (pattern for pattern, paths in found.items() if not paths):
        raise QuoteError(f"{picture.name}: no {pattern}")
    paths = sorted(path for paths in found.values() for path in paths)
    return checksum("".join(file_checksum(path) for path in paths).encode())[:16]


def made_from(picture, workshop):
    for command in picture.commands:
        workshop.run(command)
    return numbers_of(workshop.path(picture.reads))


def read_record():
    if not os.path.exists(RECORD):
        return {}
    with open(RECORD, encoding="utf-8") as file:
        return json.load(file)


def write_record(record):
    lines = []
    for name in sorted(record):
        entry = dict(record[name])
        numbers = ",\n".join(f"    {json.dumps(column)}: {json.dumps(entry['numbers'][column])}"
                             for column in sorted(entry["numbers"]))
        lines.append(f"{json.dumps(name)}: {{\n  \"picture\": \"{entry['picture']}\", \"scripts\": \"{entry['scripts']}\",\n"
                     f"  \"commands\": {json.dumps(entry['commands'])},\n  \"numbers\": {{\n{numbers}}}}}")
    with open(RECORD, "w", encoding="utf-8") as file:
        file.write("{\n" + ",\n".join(lines) + "\n}\n")


def draw(picture, workshop):
    target = os.path.join(FOLDER, picture.name)
    made = workshop.path(picture.name)
    if picture.draw:
        words = [workshop.path(word) if word.endswith((".h5", ".html")) else word
                 for word in picture.draw.format(made).split()]
        words = [os.path.join(ROOT, word) if word.startswith(("tools/", "tests/")) else word for word in words]
        environment = dict(os.environ, SWASHLOOP=PROGRAM, SWASHLOOP_SOURCE=ROOT)
        environment.pop("SWASHLOOP_PYTHONS_TRIED", None)
        result = subprocess.run(words, cwd=workshop.folder, env=environment, capture_output=True, text=True, check=False)
        if result.returncode != 0:
            raise QuoteError(f"{picture.name}: '{picture.draw}' gives {result.returncode}: {(result.stdout + result.stderr)[-500:]}")
    shutil.move(made, target)


def redraw(workshop, names):
    """All, or those named; returns how many."""
    record = {name: entry for name, entry in read_record().items() if name in {picture.name for picture in PICTURES}}
    for picture in PICTURES:
        if names and picture.name not in names:
            continue
        numbers = made_from(picture, workshop)
        draw(picture, workshop)
        record[picture.name] = {"picture": file_checksum(os.path.join(FOLDER, picture.name)),
                                "scripts": scripts_state(picture), "commands": [*picture.commands, picture.draw],
                                "numbers": numbers}
        print(f"docs/pictures/{picture.name}")
    write_record(record)
    return len(names) or len(PICTURES)


def stale(workshop):
    """Why pictures are not what the program would draw, one line each."""
    record = read_record()
    found = []
    for picture in PICTURES:
        entry = record.get(picture.name)
        path = os.path.join(FOLDER, picture.name)
        if entry is None or not os.path.exists(path):
            found.append(f"{picture.name}: was never drawn")
            continue
        if entry["picture"] != file_checksum(path):
            found.append(f"{picture.name}: is not the picture that was drawn")
        if entry["scripts"] != scripts_state(picture):
            found.append(f"{picture.name}: the scripts that draw it have changed")
        if entry["commands"] != [*picture.commands, picture.draw]:
            found.append(f"{picture.name}: its commands have changed")
        numbers = made_from(picture, workshop)
        changed = [name for name in sorted({*numbers, *entry["numbers"]})
                   if name not in numbers or name not in entry["numbers"] or not same(entry["numbers"][name], numbers[name])]
        if changed:
            first = changed[0]
            found.append(f"{picture.name}: {len(changed)} columns of {picture.reads} have changed, such as {first}: "
                         f"{entry['numbers'].get(first)}, now {numbers.get(first)}")
    known = {picture.name for picture in PICTURES} | set(MEASURED)
    for path in sorted(glob.glob(os.path.join(FOLDER, "*.png"))):
        if os.path.basename(path) not in known:
            found.append(f"{os.path.basename(path)}: no command draws it (tools/quotes/pictures.py)")
    return [f"docs/pictures/{line}" for line in found]


def unknown(page_name, text):
    """Pictures that a page shows and nobody draws."""
    known = {picture.name for picture in PICTURES} | set(MEASURED)
    return [f"{page_name}: no command draws {name}" for name in re.findall(r"!\[[^]]*\]\((?:docs/)?pictures/([^)]+)\)", text)
            if name not in known]
