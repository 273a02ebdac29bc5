"""Pictures of answers: files of an analysis instead of a run, told by the root attribute `answer`."""
import importlib

import h5py

from . import style
from .errors import PlotError
from .files import open_h5
from .runfile import Quantity, _text, show, words

# kind of answer: module of this folder that draws it, with a function draw(answer, options) -> figure
KINDS = {
    "response": "answer_response",
    "valve_curve": "answer_response",
    "keep": "answer_keep",
    "review": "answer_review",
    "envelope": "answer_envelope",
    "odds": "answer_odds",
    "tuning": "answer_tuning",
    "sensitivity": "answer_sensitivity",
    "comparison": "answer_compare",
    "fit": "answer_compare",
    "hold_back": "answer_steady",
    "tractive_effort": "answer_steady",
    "grade_ability": "answer_steady",
    "efficiency": "answer_steady",
    "point": "answer_steady",
    "linear": "answer_linear",
    "window": "answer_linear",
}

# Where values carry no quantity of the table, a plain number.
LONG_TIME = 1.0  # s; shorter ones are told in milliseconds


class Values:
    """Values and columns of a group, in units of the trade."""

    def __init__(self, group, root):
        self.group, self.root = group, root

    def __contains__(self, name):
        return name in self.group

    def names(self):
        return list(self.group)

    def _dataset(self, name):
        return self.group[name] if name in self.group else self.root[name]

    def quantity(self, name):
        return Quantity(self._dataset(name))

    def long_name(self, name):
        return self.quantity(name).long_name

    def reason(self, name):
        return _text(self._dataset(name).attrs.get("reason", ""))

    def __getitem__(self, name):
        dataset = self._dataset(name)
        if h5py.check_string_dtype(dataset.dtype):
            return dataset.asstr()[()]
        values = Quantity(dataset).trade(dataset[()])
        return float(values) if dataset.shape == () else values

    def attribute(self, name, default=""):
        return _text(self.group.attrs.get(name, default))

    def shown(self, name):
        value, unit = self[name], self.quantity(name).unit
        if unit == "s" and abs(value) < LONG_TIME:
            return f"{1e3 * value:.3g} ms"
        if unit == "kJ" and abs(value) < 0.1:
            return f"{1e3 * value:.3g} J"
        if unit == "kW" and abs(value) < 0.1:
            return f"{1e3 * value:.3g} W"
        if unit == "m" and abs(value) < 0.01:
            return f"{1e3 * value:.3g} mm"
        if unit == "1":
            return f"{value:.3g}"
        return show(value, unit)


class Answer(Values):
    """A file of an analysis."""

    def __init__(self, path):
        self.path = path
        self.file = open_h5(path)
        super().__init__(self.file, self.file)
        self.kind = self.attribute("answer")
        self.title = self.attribute("title")
        self.source = self.attribute("source")

    def groups(self):
        return {name: Values(item, self.file) for name, item in self.file.items() if isinstance(item, h5py.Group)}


def kind_of(path):
    """The kind of answer in this file; "" where it is something else."""
    return _text(open_h5(path).attrs.get("answer", ""))


def draw(path, options):
    answer = Answer(path)
    if answer.kind not in KINDS:
        raise PlotError(f"{path}: holds an answer of the kind \"{answer.kind}\", for which there is no picture")
    style.settle()
    module = importlib.import_module("." + KINDS[answer.kind], __package__)
    return module.draw(answer, options)


def new_figure(width_mm, height_mm):
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def heading(figure, answer, words_under):
    """Title and a faint line under it, in the upper left corner; returns inches used."""
    height = figure.get_figheight()
    width = figure.get_figwidth()
    figure.text(0.20 / width, 1.0 - 0.14 / height, answer.title, size=style.TITLE, weight="bold", va="top")
    figure.text(0.20 / width, 1.0 - 0.38 / height, f"{answer.path.rsplit('/', 1)[-1]}   {words_under}",
                color=style.FAINT, va="top")
    return 0.62


def panel(figure, left, right, top, bottom):
    """Axes placed in inches from the upper left corner."""
    width, height = figure.get_figwidth(), figure.get_figheight()
    axis = figure.add_axes((left / width, 1.0 - bottom / height, (right - left) / width, (bottom - top) / height))
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    axis.grid(True, color=style.GRID, linewidth=0.6)
    axis.set_axisbelow(True)
    axis.tick_params(length=2.5, width=0.6, pad=2.5)
    return axis


def panel_heading(axis, text, unit=""):
    axis.set_title(text, loc="left", size=style.HEADING, weight="bold", pad=3)
    if unit:
        axis.set_ylabel(unit, size=style.HEADING, color=style.FAINT, labelpad=2)


__all__ = ["Answer", "draw", "heading", "kind_of", "new_figure", "panel", "panel_heading", "words"]
