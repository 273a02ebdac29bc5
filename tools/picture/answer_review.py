"""Pictures of `swashloop review`: the worst margin of every case under every condition, and each limit's worst place."""
import textwrap

import numpy

from . import style
from .answers import heading, new_figure

WIDTH = 270  # mm
ROW, COLUMN_HEAD = 0.34, 0.5  # inches
KEPT, BROKEN = (0.0, 0.447, 0.698), (0.835, 0.369, 0.0)
LIMITS_MOST = 40


def shade(verdict, margin):
    """The colour of a cell: blue kept, orange broken, the stronger the nearer to the limit or beyond it."""
    if verdict == "kept":
        strength = 0.12 + 0.45 * max(0.0, 1.0 - margin / 0.25) if margin == margin else 0.12
        return tuple(1.0 - strength * (1.0 - part) for part in KEPT)
    if verdict == "broken":
        strength = 0.45 + 0.55 * min(1.0, -margin / 0.5) if margin == margin else 1.0
        return tuple(1.0 - strength * (1.0 - part) for part in BROKEN)
    return (0.9, 0.9, 0.9)


def margin_words(margin):
    if margin != margin:
        return ""
    if numpy.isinf(margin):
        return "broken"
    return f"{margin:+.1f} %" if abs(margin) < 9.95 else f"{margin:+.0f} %"


def limits_of(answer):
    groups = answer.groups()
    names = sorted((name for name in groups if name.startswith("limit_")), key=lambda name: int(name[6:]))
    return [groups[name] for name in names]


def draw(answer, options):
    cases, conditions = list(answer["case_name"]), list(answer["condition_name"])
    verdicts = numpy.reshape(answer["verdict"], (len(cases), len(conditions)))
    sentences = numpy.reshape(answer["worst_limit"], verdicts.shape)
    margins = numpy.reshape(answer["margin"], verdicts.shape)
    vouched = numpy.reshape(answer.groups()["measures"]["vouched"], verdicts.shape)
    limits = limits_of(answer)
    order = [limit.attribute("sentence") for limit in limits]
    shown = min(len(limits), LIMITS_MOST)
    height = 0.75 + COLUMN_HEAD + ROW * len(cases) + 0.55 + 0.2 * shown + 0.45
    figure = new_figure(WIDTH, 25.4 * height)
    kept = int(numpy.sum(verdicts == "kept"))
    top = heading(figure, answer, f"{kept} of {verdicts.size} cells keep every limit; a cell: what is left of its worst "
                                  "limit as a share of the level, and that limit")
    width = figure.get_figwidth()
    axis = figure.add_axes((0, 0, 1, 1))
    axis.set_xlim(0, width)
    axis.set_ylim(height, 0)
    axis.axis("off")
    left = 0.35 + 0.085 * max(len(name) for name in cases)
    column = (width - left - 0.3) / len(conditions)
    top += COLUMN_HEAD
    for d, name in enumerate(conditions):
        axis.text(left + (d + 0.5) * column, top - 0.08, textwrap.fill(name, max(10, int(column * 12))), ha="center",
                  va="bottom", size=style.HEADING, weight="bold")
    for c, name in enumerate(cases):
        y = top + ROW * c
        axis.text(left - 0.1, y + 0.5 * ROW, name, ha="right", va="center", size=style.HEADING)
        for d in range(len(conditions)):
            draw_cell(axis, (left + d * column, y, column), verdicts[c, d], margins[c, d], vouched[c, d],
                      order.index(sentences[c, d]) + 1 if sentences[c, d] in order else 0)
    draw_limits(axis, limits[:shown], cases, conditions, top + ROW * len(cases) + 0.35, len(limits) - shown)
    return figure


def draw_cell(axis, place, verdict, margin, vouched, limit):
    from matplotlib.patches import Rectangle

    x, y, column = place
    colour = shade(verdict, margin / 100.0 if margin == margin else margin)
    axis.add_patch(Rectangle((x + 0.02, y + 0.02), column - 0.04, ROW - 0.04, facecolor=colour, edgecolor="none"))
    words = f"{margin_words(margin)}{'*' if vouched == 0.0 else ''}" if verdict in ("kept", "broken") else verdict
    strong = verdict == "broken"
    dark = 0.3 * colour[0] + 0.59 * colour[1] + 0.11 * colour[2] < 0.55
    axis.text(x + 0.5 * column, y + 0.5 * ROW, f"{words}  ({limit})" if limit else words, ha="center", va="center",
              size=style.HEADING, weight="bold" if strong else "normal", color="white" if dark else "black")


def draw_limits(axis, limits, cases, conditions, top, left_out):
    axis.text(0.2, top - 0.06, "Limits, and where each is worst   (* not vouched for: the run hunts or may)",
              size=style.HEADING, weight="bold", va="bottom")
    for i, limit in enumerate(limits):
        margin = numpy.array(limit["margin"])
        words = "judged nowhere"
        broken = int(numpy.sum(numpy.array(limit["verdict"]) == "broken"))
        if not numpy.all(numpy.isnan(margin)):
            at = int(numpy.nanargmin(margin))
            place = f"{cases[at // len(conditions)]}, {conditions[at % len(conditions)]}"
            worst = limit["worst"][at]
            unit = limit.quantity("worst").unit
            worst = 0.0 if abs(worst) < 1e-15 else worst  # of something that has died away
            value = f", {worst:.4g} {unit}" if worst == worst else ""
            words = f"{margin_words(margin[at])}{value} in {place}" + (f"; broken in {broken}" if broken else "")
        y = top + 0.2 * (i + 0.5)
        axis.text(0.35, y, f"({i + 1})", size=style.SMALL, va="center", ha="center", color=style.FAINT)
        axis.text(0.6, y, limit.attribute("sentence"), size=style.SMALL, va="center",
                  weight="bold" if broken else "normal", color=BROKEN if broken else "black")
        axis.text(4.2, y, words, size=style.SMALL, va="center")
    if left_out:
        axis.text(0.6, top + 0.2 * (len(limits) + 0.5), f"and {left_out} more", size=style.SMALL, va="center")
