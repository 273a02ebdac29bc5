"""Maps of `swashloop steady` over each other: two machines, cold and hot oil, another setting."""
import os

import numpy

from . import style
from .answer_steady import HALO
from .answers import Answer, new_figure, panel, panel_heading
from .errors import PlotError
from .runfile import show

# what is drawn of each kind: column, its sign, heading, unit; and the panels below
EDGES = {
    "hold_back": ("grade_held", -1.0, "Downgrade held without the friction brake", "%"),
    "tractive_effort": ("pull", 1.0, "Most pull at the drawbar on the level", "kN"),
    "grade_ability": ("grade", 1.0, "Steepest climb", "%"),
}
LOWER = (("line_a_pressure", "Line A", "bar gauge"), ("line_b_pressure", "Line B", "bar gauge"),
         ("engine_speed", "Engine", "rpm"))
DRAWN = (*EDGES, "efficiency")
LEVELS = (40.0, 50.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0, 90.0)


def draw_over(paths, kinds):
    """Maps of one kind over each other."""
    for path, kind in zip(paths, kinds):
        if kind != kinds[0]:
            raise PlotError(f"{path}: {'a map of the kind ' + kind if kind else 'no map'}, and {paths[0]} is one of the kind "
                            f"{kinds[0]}")
    if kinds[0] not in DRAWN:
        raise PlotError(f"{paths[1]}: answers of the kind \"{kinds[0]}\" are drawn one at a time; {', '.join(DRAWN)} can be "
                        "laid over each other")
    style.settle()
    return draw([Answer(path) for path in paths])


def names_of(answers):
    """File names, with the folder where these are the same."""
    names = [os.path.splitext(os.path.basename(answer.path))[0] for answer in answers]
    return [name if names.count(name) == 1 else
            f"{os.path.basename(os.path.dirname(os.path.abspath(answer.path)))}/{name}" for name, answer in zip(names, answers)]


def draw(answers):
    """Lines of equal efficiency, or edges."""
    return draw_efficiency(answers) if answers[0].kind == "efficiency" else draw_edges(answers)


def title(figure, answers, under):
    titles = list(dict.fromkeys(answer.title for answer in answers))
    figure.text(0.20 / figure.get_figwidth(), 1.0 - 0.14 / figure.get_figheight(), " / ".join(titles), size=style.TITLE,
                weight="bold", va="top")
    figure.text(0.20 / figure.get_figwidth(), 1.0 - 0.38 / figure.get_figheight(), under, color=style.FAINT, va="top")
    return 0.62


def legend(axis, columns):
    axis.legend(loc="upper left", bbox_to_anchor=(1.015, 1.0), frameon=False, fontsize=style.SMALL, handlelength=2.8,
                ncols=columns, alignment="left")


def draw_edges(answers):
    """The edge of each map as a line, with what ends it where that changes."""
    name, sign, words, unit = EDGES[answers[0].kind]
    lower = [row for row in LOWER if all(row[0] in answer for answer in answers)]
    figure = new_figure(250, 25.4 * (5.1 + 1.5 * len(lower)))
    top = title(figure, answers, "maps over each other; at each line what ends it")
    left, right = 0.62, figure.get_figwidth() - 1.95
    axis = panel(figure, left, right, top + 0.20, top + 3.95)
    panel_heading(axis, words, unit)
    high = max(numpy.nanmax(sign * answer[name]) for answer in answers)
    fastest = max(answer["speed"][-1] for answer in answers)
    for k, (answer, called) in enumerate(zip(answers, names_of(answers))):
        values = sign * answer[name]
        axis.plot(answer["speed"], values, color=style.colour_of(k), zorder=3, label=called, **style.line_of(k))
        mark_ends(axis, answer, values, style.colour_of(k), k, fastest)
    axis.set_ylim(0.0, 1.12 * high)
    legend(axis, 1)
    panels = [axis]
    for place, (column, head, own) in enumerate(lower):
        below = top + 4.45 + 1.5 * place
        panels.append(panel(figure, left, right, below, below + 1.05))
        panel_heading(panels[-1], head, own)
        for k, answer in enumerate(answers):
            panels[-1].plot(answer["speed"], answer[column], color=style.colour_of(k), **style.line_of(k))
    for each in panels:
        each.set_xlim(0.0, fastest)
    panels[-1].set_xlabel("steady speed, km/h", labelpad=1)
    return figure


def mark_ends(axis, answer, values, colour, k, fastest):
    """A ring where another thing ends the map, and in words what from there on; words of one map do not meet."""
    limits = list(answer["limit"])
    last = -1.0
    for i in range(len(limits)):
        if (i > 0 and limits[i] == limits[i - 1]) or not limits[i] or not numpy.isfinite(values[i]):
            continue
        at = answer["speed"][i]
        axis.plot([at], [values[i]], marker="o", markersize=4, color="white", markeredgecolor=colour, zorder=4)
        if last < 0.0 or at - last > 0.10 * fastest:
            axis.annotate(limits[i], (at, values[i]), (5, 6 if k % 2 == 0 else -11), textcoords="offset points", color=colour,
                          size=style.SMALL, path_effects=HALO, zorder=5, clip_on=False)
            last = at


def draw_efficiency(answers):
    """Lines of equal efficiency, one colour a map."""
    figure = new_figure(250, 125)
    top = title(figure, answers, "lines of equal efficiency on the level, over each other; the best of each as a star")
    width = figure.get_figwidth()
    panels = (("transmission_efficiency", "Transmission, %", 0.62, 0.5 * width - 0.25),
              ("drive_efficiency", "Whole drive, %", 0.5 * width + 0.45, width - 0.35))
    for name, words, left, right in panels:
        axis = panel(figure, left, right, top + 0.20, figure.get_figheight() - 0.70)
        panel_heading(axis, words, "pull, kN")
        for k, answer in enumerate(answers):
            values = numpy.clip(answer[name], 0.0, 100.0)
            colour = style.colour_of(k)
            best = numpy.nanmax(values)
            lines = axis.contour(answer["speed"], answer["pull"], numpy.ma.masked_invalid(values.T),
                                 levels=[level for level in LEVELS if level < best], colors=colour, linewidths=1.0,
                                 linestyles=["solid", "dashed", "dotted"][k % 3])
            for text in axis.clabel(lines, fmt="%.0f", fontsize=style.SMALL):
                text.set_path_effects(HALO)
            i, j = numpy.unravel_index(numpy.nanargmax(values), values.shape)
            axis.plot([answer["speed"][i]], [answer["pull"][j]], marker="*", color=colour, markersize=9, zorder=5)
            axis.annotate(show(best, "%"), (answer["speed"][i], answer["pull"][j]), (8, 5 if k % 2 == 0 else -10),
                          textcoords="offset points", size=style.SMALL, weight="bold", color=colour, path_effects=HALO)
        axis.set_xlim(0.0, max(answer["speed"][-1] for answer in answers))
        axis.set_ylim(0.0, max(answer["pull"][-1] for answer in answers))
        axis.set_xlabel("steady speed, km/h", labelpad=1)
    for k, called in enumerate(names_of(answers)):
        figure.text((0.62 + 2.3 * k) / width, 0.16 / figure.get_figheight(), called, color=style.colour_of(k), weight="bold",
                    size=style.SMALL)
    return figure
