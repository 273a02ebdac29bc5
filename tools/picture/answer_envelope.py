"""Pictures of `swashloop envelope`: the margin over one quantity, or the boundary over two with what ends it."""
import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading

WIDTH, HEIGHT = 190, 135  # mm
KEPT = "#0072b2"
CUT = 60.0  # % of a margin; beyond, the picture shows it at the edge


def draw(answer, options):
    groups = answer.groups()
    runs, boundary = groups["runs"], groups["boundary"]
    across = "second" in runs
    figure = new_figure(WIDTH, HEIGHT)
    ended = numpy.array(runs["ended_by"])
    accuracy = 100.0 * float(answer.file.attrs["accuracy"])
    top = heading(figure, answer, f"{len(ended)} points, accurate to {accuracy:.3g} % of the range")
    axis = panel(figure, 0.85, figure.get_figwidth() - 0.25, top + 0.35, figure.get_figheight() - 0.65)
    labels = [label for label in dict.fromkeys(ended) if label]
    colours = {label: style.SIGNAL_COLOURS[(1 + i) % len(style.SIGNAL_COLOURS)] for i, label in enumerate(labels)}
    axis.set_xlabel(f"{answer.attribute('first_path')}, {runs.quantity('first').unit}", size=style.HEADING)
    if across:
        draw_across(axis, answer, runs, boundary, ended, colours)
    else:
        draw_along(axis, runs, boundary, ended, colours)
    handles = axis.get_legend_handles_labels()[1]
    if handles:
        axis.legend(loc="best", fontsize=style.SMALL, frameon=True, framealpha=0.9)
    return figure


def draw_along(axis, runs, boundary, ended, colours):
    panel_heading(axis, "What is left of the worst limit", "% of its level")
    x, margin = runs["first"], numpy.clip(runs["margin"], -CUT, CUT)
    order = numpy.argsort(x)
    axis.plot(x[order], margin[order], color=style.FAINT, linewidth=0.8, zorder=2)
    axis.axhline(0.0, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
    kept = ended == ""
    axis.plot(x[kept], margin[kept], linestyle="none", marker="o", markersize=3.6, color=KEPT, label="every limit kept")
    for label, colour in colours.items():
        these = ended == label
        axis.plot(x[these], margin[these], linestyle="none", marker="o", markersize=3.6, color=colour, label=label)
    if "kept_first" in boundary:
        for at in 0.5 * (boundary["kept_first"] + boundary["other_first"]):
            axis.axvline(at, color="black", linewidth=0.9)
            axis.text(at, 1.0, f" {at:.4g}", transform=axis.get_xaxis_transform(), size=style.SMALL, va="bottom",
                      ha="center")


def draw_across(axis, answer, runs, boundary, ended, colours):
    panel_heading(axis, "Where every limit is kept, and what ends it",
                  f"{answer.attribute('second_path')}, {runs.quantity('second').unit}")
    x, y = runs["first"], runs["second"]
    kept = ended == ""
    axis.plot(x[kept], y[kept], linestyle="none", marker="o", markersize=2.6, color=KEPT, label="every limit kept")
    axis.plot(x[~kept], y[~kept], linestyle="none", marker="x", markersize=2.8, markeredgewidth=0.6,
              color=style.FAINT, label="not kept")
    if "stretch" not in boundary:
        return
    a = 0.5 * (boundary["kept_first"] + boundary["other_first"])
    b = 0.5 * (boundary["kept_second"] + boundary["other_second"])
    stretch, labels = boundary["stretch"], numpy.array(boundary["ended_by"])
    told = set()
    for number in numpy.unique(stretch):
        these = stretch == number
        label = labels[these][-1]
        axis.plot(a[these], b[these], color=colours.get(label, "black"), linewidth=2.0,
                  label=label if label not in told else None, zorder=4)
        told.add(label)
