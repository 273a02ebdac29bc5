"""The command line of tools/plot."""
import argparse
import os
import re
import sys

from .errors import PlotError
from .files import check_output, write_output
from .moments import parse_moment, settle_window

FORMATS = ("png", "svg", "pdf")
EPILOG = """examples:
  tools/plot downhill.h5
  tools/plot downhill.h5 -s line_a_pressure line_b_pressure -s engine_speed --from 15 --to 20
  tools/plot downhill.h5 --from release --to stop+1
  tools/plot slow.h5 fast.h5 -o compare.pdf
  tools/plot cold.pull.h5 hot.pull.h5 -o pull.png
  tools/plot forest_course.h5 --course
  tools/plot sweep.h5
  tools/plot sweep.h5 --draw map -x vehicle.mass -y relief.setting -m stop_distance --at tyre.grip=0.7
Each -s makes its own panels; within one -s, signals of one quantity share a panel."""


class Parser(argparse.ArgumentParser):
    """One line for bad usage, like everything else here."""

    def error(self, message):
        raise PlotError(f"{message}; see tools/plot --help")


def parse(arguments):
    parser = Parser(prog="plot", description="Draw run files: panels over one time axis, in the units of the trade.",
                    epilog=EPILOG, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", nargs="*", metavar="RUN.h5", help="run files, or maps of steady; more than one are laid over each other")
    parser.add_argument("-s", "--signals", nargs="+", action="append", default=[], metavar="SIGNAL",
                        help="signals to draw (default: the usual panels)")
    parser.add_argument("-o", "--output", metavar="FILE", help="png, svg or pdf (default: RUN.png in this folder)")
    parser.add_argument("--force", action="store_true", help="replace FILE though no picture of this tool")
    parser.add_argument("--from", dest="low", type=parse_moment, metavar="T",
                        help="start of the window: s, or a moment of a run (release, stop, an event) such as release-0.5")
    parser.add_argument("--to", dest="high", type=parse_moment, metavar="T", help="end of the window, likewise")
    parser.add_argument("--align", action="store_true", help="count time from the start of braking of each run")
    parser.add_argument("--course", action="store_true", help="over the way driven, the legs of the course marked")
    tables = parser.add_argument_group("the table of a sweep")
    tables.add_argument("--draw", choices=("curve", "map", "influence", "indices", "scatter", "pairs", "probability"),
                        help="one picture instead of all that fit")
    tables.add_argument("-x", metavar="PATH", help="what was varied, along the x axis (default: what matters most)")
    tables.add_argument("-y", metavar="PATH", help="what was varied, along the y axis of a map")
    tables.add_argument("-m", "--measures", nargs="+", default=[], metavar="MEASURE",
                        help="measures, or worst values of limits (default: what breaks most)")
    tables.add_argument("--at", action="append", default=[], metavar="PATH=VALUE",
                        help="only cases with this value, in the unit of the trade; the nearest there is")
    parser.add_argument("--size", metavar="WIDTHxHEIGHT", help="of the picture, mm (default: 260 by what it needs)")
    parser.add_argument("--plain", action="store_true", help="no events, limits, peaks and tables")
    options = parser.parse_intermixed_args(arguments)
    # `-s a b RUN.h5`: a file among the signals is a run.
    for group in options.signals:
        for name in [n for n in group if n.endswith(".h5") or os.path.exists(n)]:
            group.remove(name)
            options.runs.append(name)
    options.signals = [group for group in options.signals if group]
    if not options.runs:
        raise PlotError("no run file given; see tools/plot --help")
    options.size = parse_size(options.size)
    if options.output in ("", "-"):
        raise PlotError(f'-o "{options.output}": expected the name of a file')
    if options.output is None:
        options.output = os.path.splitext(os.path.basename(options.runs[0]))[0] + ".png"
    return options


def parse_size(text):
    """(width, height) in mm, or None."""
    if text is None:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)", text)
    if not match or not all(60.0 <= float(number) <= 2000.0 for number in match.groups()):
        raise PlotError(f'--size "{text}": expected WIDTHxHEIGHT in mm, each from 60 to 2000, such as 260x180')
    return tuple(float(number) for number in match.groups())


def output_format(path):
    extension = os.path.splitext(path)[1][1:].lower()
    if extension not in FORMATS:
        raise PlotError(f'{path}: ends with none of {", ".join("." + name for name in FORMATS)}')
    return extension


def save(figure, path, reads=(), force=False):
    kind = output_format(path)
    metadata = {"png": {"Software": "swashloop"}, "svg": {"Date": None, "Creator": "swashloop"},
                "pdf": {"CreationDate": None, "Creator": "swashloop"}}[kind]
    write_output(path, kind, reads, force, lambda file: figure.savefig(file, format=kind, metadata=metadata))


def draw(options):
    from . import answers, sweep

    tables = [path for path in options.runs if sweep.is_table(path)]
    if tables:
        if len(options.runs) > 1:
            raise PlotError(f"{tables[0]}: the table of a sweep is drawn by itself")
        from .sweep_figure import make_sweep_figure
        return make_sweep_figure(tables[0], options)
    for name, given in (("-x", options.x), ("-y", options.y), ("-m", options.measures), ("--at", options.at),
                        ("--draw", options.draw)):
        if given:
            raise PlotError(f"{name} is for the table of a sweep, and {options.runs[0]} is none")
    kinds = [answers.kind_of(path) for path in options.runs]
    if kinds[0]:
        settle_window(options, [])
        if len(kinds) == 1:
            return answers.draw(options.runs[0], options)
        from .answer_over import draw_over

        return draw_over(options.runs, kinds)
    if options.course:
        from .course_figure import make_course_figure

        if len(options.runs) > 1:
            raise PlotError("--course draws one run")
        return make_course_figure(options.runs[0], options)
    from .figure import make_figure
    from .panels import chosen_panels, default_panels
    from .runfile import Run, name_apart

    runs = [Run(path) for path in options.runs]
    name_apart(runs)
    if options.align:
        for run in runs:
            run.align()
    settle_window(options, runs)
    if options.signals:
        panels, notes = chosen_panels(runs, options.signals), []
    else:
        panels, notes = default_panels(runs)
    return make_figure(runs, panels, notes, options)


def main(arguments):
    try:
        options = parse(arguments)
        kind = output_format(options.output)
        check_output(options.output, kind, options.runs, options.force)
        save(draw(options), options.output, options.runs, options.force)
        print(options.output)
    except PlotError as error:
        print(f"plot: error: {error}", file=sys.stderr)
        return error.status
    except KeyboardInterrupt:
        return 130
    return 0
