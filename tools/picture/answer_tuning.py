"""Pictures of `swashloop tune`: what is left of each limit before and after, and the way there or the trade-off."""
import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading

WIDTH = 250  # mm
ROW = 0.2  # inches
KEPT, BROKEN = "#0072b2", "#d55e00"
CUT = 60.0  # % of a margin; beyond, the picture shows it at the edge
LIMITS_MOST = 40


def draw(answer, options):
    groups = answer.groups()
    limits, points, settings = groups["limits"], groups["points"], groups["settings"]
    count = min(len(limits["sentence"]), LIMITS_MOST)
    rows = len(settings["path"])
    trade = groups.get("trade_off")
    below = 0.5 + ROW * rows
    height = 0.62 + 0.55 + max(ROW * count, 2.2) + 0.65 + below
    figure = new_figure(WIDTH, 25.4 * height)
    cells = len(groups["cells"]["case_name"])
    kept = f"{int(answer.file.attrs['start_kept'])} of {cells} cells keep every limit as is, " \
           f"{int(answer.file.attrs['found_kept'])} with the settings found"
    top = heading(figure, answer, f"{kept}; {int(answer.file.attrs['runs'])} runs") + 0.35
    bottom = height - 0.65 - below
    width = figure.get_figwidth()
    axis = panel(figure, 2.75, 0.5 * width + 0.55, top, bottom)
    draw_limits(axis, limits, count)
    other = panel(figure, 0.5 * width + 1.35, width - 0.25, top, bottom)
    if trade is not None:
        draw_trade(other, answer, points, trade)
    else:
        draw_way(other, points, groups["starts"])
    draw_settings(figure, settings, bottom + 0.75, cells)
    return figure


def draw_limits(axis, limits, count):
    panel_heading(axis, "Least margin of each limit, as is and found")
    before, after = (numpy.clip(limits[name][:count], -CUT, CUT) for name in ("start_margin", "found_margin"))
    price = limits["better_by_one_per_cent"][:count]
    places = numpy.arange(count)
    for place in places:
        axis.plot([before[place], after[place]], [place, place], color=style.MARK, linewidth=1.4, zorder=2)
    axis.plot(before, places, linestyle="none", marker="o", markersize=4.0, markerfacecolor="white",
              markeredgecolor=style.FAINT, label="as is", zorder=3)
    good = after >= 0
    axis.plot(after[good], places[good], linestyle="none", marker="o", markersize=4.4, color=KEPT, label="found", zorder=4)
    if (~good).any():
        axis.plot(after[~good], places[~good], linestyle="none", marker="X", markersize=5.0, color=BROKEN,
                  label="found, broken", zorder=4)
    axis.axvline(0.0, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
    axis.set_yticks(places, [f"{sentence}{' *' if cost > 0 else ''}" for sentence, cost in
                             zip(limits["sentence"][:count], price)], size=style.SMALL)
    for label, cost in zip(axis.get_yticklabels(), price):
        label.set_fontweight("bold" if cost > 0 else "normal")
    axis.set_ylim(count - 0.4, -0.6)
    axis.set_xlim(-CUT - 4, CUT + 4)
    axis.set_xlabel(f"% of the limit's level (at the edge: {CUT:g} % and beyond); * binds", size=style.HEADING)
    axis.legend(loc="lower left", fontsize=style.SMALL, frameon=True, framealpha=0.9)


def draw_way(axis, points, starts):
    worst = numpy.clip(points["worst_margin"], -CUT, None)
    keeps = points["keeps"] > 0
    panel_heading(axis, "The points in the order in which they were run", "worst margin, % of the level")
    place = numpy.arange(len(worst))
    axis.plot(place[~keeps], worst[~keeps], linestyle="none", marker="x", markersize=2.8, markeredgewidth=0.6,
              color=style.FAINT, label="not everything is kept")
    axis.plot(place[keeps], worst[keeps], linestyle="none", marker="o", markersize=2.6, color=KEPT, label="everything is kept")
    for first in starts["first_point"][1:]:
        axis.axvline(first, color=style.MARK, linewidth=0.7)
    axis.axhline(0.0, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
    axis.set_xlabel("point; lines: another start", size=style.HEADING)
    axis.legend(loc="lower right", fontsize=style.SMALL, frameon=True, framealpha=0.9)


def draw_trade(axis, answer, points, trade):
    first, second, keeps = points["goal"], points["second_goal"], points["keeps"] > 0
    which = numpy.array(trade["trade_point"], dtype=int)
    panel_heading(axis, "Trade-off of the two goals", f"{answer.attribute('second_goal')}, {points.quantity('second_goal').unit}")
    axis.plot(first[keeps], second[keeps], linestyle="none", marker=".", markersize=2.5, color=style.MARK,
              label="run, everything is kept")
    axis.plot(first[which], second[which], marker="o", markersize=4.4, linewidth=1.2, color=KEPT,
              label="none is better in both")
    axis.set_xlabel(f"{answer.attribute('goal')}, {points.quantity('goal').unit}", size=style.HEADING)
    axis.legend(loc="best", fontsize=style.SMALL, frameon=True, framealpha=0.9)


def draw_settings(figure, settings, top, cells):
    height, width = figure.get_figheight(), figure.get_figwidth()

    def put(x, y, words, **more):
        figure.text(x / width, 1.0 - y / height, words, size=style.SMALL, va="top", **more)

    for x, words in ((0.3, "setting"), (3.2, "as is"), (4.6, "found"), (6.0, f"cells kept of {cells}: this change alone"),
                     (8.4, "taken back")):
        put(x, top, words, weight="bold")
    for i, path in enumerate(settings["path"]):
        y = top + ROW * (i + 1)
        alone, back = settings["kept_alone"][i], settings["kept_taken_back"][i]
        put(0.3, y, path)
        put(3.2, y, settings["start_words"][i])
        put(4.6, y, settings["found_words"][i])
        put(6.0, y, f"{alone:.0f}" if alone == alone else "as it was")
        put(8.4, y, f"{back:.0f}" if back == back else "")
