"""A run on a course, over the way that was driven: height, speed, engine, oil; the legs marked, with load and dwell."""
import numpy

from . import style
from .errors import PlotError
from .runfile import Run

style.settle()

from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.ticker import MaxNLocator  # noqa: E402

MM = 1.0 / 25.4
# Panels below that of the height: heading, and signals of which those that the run has are drawn.
PANELS = (("Speed", ("vehicle_speed", "wanted_speed")), ("Engine speed", ("engine_speed",)),
          ("Fuel rate", ("fuel_rate",)), ("Oil temperature", ("loop_oil_temperature", "tank_oil_temperature")),
          ("Brake pedal", ("brake",)))
NAMES = {"vehicle_speed": "speed", "wanted_speed": "wanted", "loop_oil_temperature": "loop",
         "tank_oil_temperature": "tank"}


class Leg:
    """A way with the dwell at its end, on the way driven so far."""

    def __init__(self, begin, end, number, dwell, load):
        self.begin, self.end, self.number, self.dwell, self.load = begin, end, number, dwell, load


def read_legs(run):
    """The legs of a run; an error where no driver followed a course."""
    if "legs" not in run.file:
        raise PlotError(f"{run.path}: has no legs; no driver followed a course")
    columns = {name: run.file["legs"][name][()] for name in
               ("leg", "stands", "from", "until", "began_at", "ended_at", "load")}
    legs, way = [], 0.0
    for i, stands in enumerate(columns["stands"]):
        if stands:
            if legs:
                legs[-1].dwell = columns["until"][i] - columns["from"][i]
                legs[-1].load = columns["load"][i]
            continue
        gone = abs(columns["ended_at"][i] - columns["began_at"][i])
        legs.append(Leg(way, way + gone, int(columns["leg"][i]), 0.0, columns["load"][i]))
        way += gone
    return legs


def make_course_figure(path, options):
    """Everything, as a matplotlib figure."""
    run = Run(path)
    legs = read_legs(run)
    for name in ("vehicle_distance", "grade"):
        if name not in run.signals:
            raise PlotError(f"{path}: has no signal '{name}'")
    place = run.values("vehicle_distance")  # m
    step = numpy.diff(place)
    way = numpy.concatenate(([0.0], numpy.cumsum(numpy.abs(step))))
    grade = run.values("grade") / 100.0
    rise = 0.5 * (grade[1:] + grade[:-1])
    height = numpy.concatenate(([0.0], numpy.cumsum(rise / numpy.sqrt(1.0 + rise * rise) * step)))
    panels = [(heading, [name for name in names if name in run.signals]) for heading, names in PANELS]
    panels = [(heading, names) for heading, names in panels
              if names and any(numpy.ptp(run.values(name)) > 0.0 for name in names)]
    width, tall = options.size or (260.0, 52.0 + 34.0 * len(panels))
    figure = Figure(figsize=(width * MM, tall * MM), facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.subplots(1 + len(panels), 1, sharex=True, gridspec_kw={"hspace": 0.32})
    axes = numpy.atleast_1d(axes)
    figure.subplots_adjust(left=0.07, right=0.93, top=1.0 - 16.0 / tall, bottom=11.0 / tall)
    figure.text(0.07, 1.0 - 3.0 / tall, run.title, size=style.TITLE, weight="bold", va="top")
    figure.text(0.07, 1.0 - 8.0 / tall, f"{run.path.rsplit('/', 1)[-1]}   {run.status}, {run.time[-1]:.4g} s   "
                f"{run.source}", size=style.TEXT, color=style.FAINT, va="top")
    axes[0].plot(way, height, color=style.INK, linewidth=1.3)
    axes[0].fill_between(way, height, min(height.min(), 0.0), color=style.GRID, linewidth=0)
    head(axes[0], "Height over the start", "m")
    for axis, (heading, names) in zip(axes[1:], panels):
        for i, name in enumerate(names):
            axis.plot(way, run.values(name), color=style.INK if len(names) == 1 else style.colour_of(i),
                      label=NAMES.get(name, name), **style.line_of(i))
        head(axis, heading, run.signals[names[0]].label)
        if len(names) > 1:
            axis.legend(loc="upper left", bbox_to_anchor=(1.002, 1.05), frameon=False, fontsize=style.SMALL,
                        handlelength=1.6, borderaxespad=0.0)
    for axis in axes:
        axis.grid(True, color=style.GRID, linewidth=0.6)
        axis.set_axisbelow(True)
        axis.yaxis.set_major_locator(MaxNLocator(nbins=5))
        for leg in legs:
            axis.axvline(leg.end, color=style.MARK, linewidth=0.7)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
    axes[0].set_xlim(0.0, max(way[-1], 1e-3))
    bottom, top = axes[0].get_ylim()
    axes[0].set_ylim(bottom, top + 0.7 * (top - bottom))
    last = -numpy.inf
    level = 0
    for leg in legs:
        level = (level + 1) % 3 if leg.end - last < 0.13 * way[-1] else 0
        last = leg.end
        axes[0].text(leg.end, 0.98 - 0.13 * level, f"leg {leg.number}: {leg.load / 1000.0:.1f} t, "
                     f"{leg.dwell / 60.0:.3g} min ", transform=axes[0].get_xaxis_transform(), ha="right", va="top",
                     size=style.SMALL, color=style.INK)
    axes[-1].set_xlabel("way driven, m   (at each line: the leg, the load on board when it sets off again, the dwell)")
    return figure


def head(axis, heading, unit):
    axis.set_title(f"{heading}  ", loc="left", size=style.HEADING, weight="bold", pad=3)
    axis.set_ylabel(unit, size=style.TEXT, color=style.FAINT)
