"""Pictures of `swashloop odds`: how often each limit breaks, what drives it, and how it goes with the first inputs."""
import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading

WIDTH = 190  # mm
BROKEN, FAINTER = "#0072b2", "#b0b0b0"
ROW = 0.21  # in
CURVES = 3
ANY = "any limit"


def draw(answer, options):
    groups = answer.groups()
    odds = groups["probabilities"]
    limits = list(odds["limit"])
    inputs = list(dict.fromkeys(groups["drivers"]["input"]))
    of = chosen(odds, limits)
    curves = first_inputs(groups["drivers"], of) if "conditional" in groups else []
    upper = 0.42 + ROW * len(limits)
    middle = 0.42 + ROW * len(inputs)
    figure = new_figure(WIDTH, 25.4 * (0.62 + upper + middle + (2.75 if curves else 0.55)))
    words = f"{int(answer.file.attrs['runs'])} runs, {answer.attribute('method')}, seed {answer.attribute('seed')}"
    if answer.attribute("status") != "complete":
        words += ", INTERRUPTED: the runs that were made until then"
    top = heading(figure, answer, words)
    right = figure.get_figwidth() - 0.25
    axis = panel(figure, 2.75, right, top + 0.30, top + upper - 0.12)
    draw_probabilities(axis, odds, limits)
    top += upper + 0.22
    axis = panel(figure, 2.75, right, top + 0.30, top + middle - 0.12)
    draw_drivers(axis, groups["drivers"], of, inputs)
    top += middle + 0.30
    wide = (right - 0.62) / CURVES
    for place, name in enumerate(curves):
        axis = panel(figure, 0.62 + place * wide, 0.30 + (place + 1) * wide, top + 0.35, top + 1.70)
        draw_curve(axis, groups, of, name, place == 0)
    return figure


def chosen(odds, limits):
    """The limit that breaks most often, or all of them where none does: what drives several at once says little."""
    share = numpy.nan_to_num(odds["share"])
    return limits[1 + int(numpy.argmax(share[1:]))] if share[0] > 0 else ANY


def rows_of(group, of):
    return [i for i, limit in enumerate(group["of"]) if limit == of]


def first_inputs(drivers, of):
    rows = rows_of(drivers, of)
    index = numpy.nan_to_num(drivers["first_order"], nan=-1.0)
    place = numpy.nan_to_num(numpy.abs(drivers["broken_mean"] - 50.0), nan=-1.0)
    rows.sort(key=lambda row: (-index[row], -place[row]))
    return [drivers["input"][row] for row in rows[:CURVES]]


def draw_probabilities(axis, odds, limits):
    panel_heading(axis, "Probability that it breaks, with its interval of 95 %")
    places = numpy.arange(len(limits))[::-1]
    share, low, high = odds["share"], odds["share_low"], odds["share_high"]
    positive = low[low > 0]
    logarithmic = positive.size > 0 and positive.min() < 1.0 or high.min() < 1.0
    floor = 0.5 * min(list(positive) + [high.min()]) if logarithmic else 0.0
    for place, s, a, b, broken in zip(places, share, low, high, numpy.nan_to_num(share)):
        axis.plot([max(a, floor), b], [place, place], color=BROKEN if broken > 0 else FAINTER, linewidth=2.0,
                  solid_capstyle="butt", zorder=3)
        if broken > 0:
            axis.plot([s], [place], marker="o", markersize=4.5, color=BROKEN, zorder=4)
        else:
            axis.plot([floor], [place], marker="<", markersize=4.0, color=FAINTER, zorder=4, clip_on=False)
        axis.annotate(f"{s:.3g} %" if broken > 0 else f"below {b:.2g} %", (b, place), xytext=(4, 0),
                      textcoords="offset points", va="center", size=style.SMALL)
    if logarithmic:
        axis.set_xscale("log")
        axis.set_xlim(floor, min(100.0, 6.0 * high.max()))
        axis.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    else:
        axis.set_xlim(0.0, 1.25 * high.max())
    axis.set_yticks(places, limits, size=style.SMALL)
    axis.set_ylim(-0.6, len(limits) - 0.4)
    axis.set_xlabel("%", size=style.SMALL, labelpad=0)


def draw_drivers(axis, drivers, of, inputs):
    rows = {drivers["input"][row]: row for row in rows_of(drivers, of)}
    has_index = not numpy.isnan(drivers["first_order"][rows_of(drivers, of)]).all()
    places = numpy.arange(len(inputs))[::-1]
    labels = [drivers["label"][rows[name]] for name in inputs]
    if has_index:
        panel_heading(axis, f"What drives the breaking of: {of}")
        axis.set_xlabel("first-order index and its interval of 95 %", size=style.SMALL, labelpad=1)
        middle, low, high = (drivers[f"first_order{end}"] for end in ("", "_low", "_high"))
    else:
        panel_heading(axis, f"What drives the breaking of: {of}")
        axis.set_xlabel("% of its distribution below the mean of the runs that break, and its interval of 95 %",
                        size=style.SMALL, labelpad=1)
        middle = drivers["broken_mean"]
        low, high = (middle + sign * drivers["broken_mean_half_width"] for sign in (-1, 1))
        axis.axvline(50.0, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
        axis.set_xlim(0.0, 122.0)
        axis.set_xticks([0, 20, 40, 60, 80, 100])
    for place, name in zip(places, inputs):
        row = rows[name]
        axis.plot([low[row], high[row]], [place, place], color=BROKEN, linewidth=2.0, solid_capstyle="butt", zorder=3)
        axis.plot([middle[row]], [place], marker="o", markersize=4.5, color=BROKEN, zorder=4)
        text = drivers["broken_mean_value"][row]
        if text:
            axis.annotate(f"mean at {text}", (high[row], place), xytext=(4, 0), textcoords="offset points",
                          va="center", size=style.SMALL)
    if has_index:
        axis.set_xlim(min(0.0, numpy.nanmin(low)), 1.3 * numpy.nanmax(high) + 1.0)
    axis.set_yticks(places, labels, size=style.SMALL)
    axis.set_ylim(-0.6, len(inputs) - 0.4)


def draw_curve(axis, groups, of, name, first):
    parts, drivers = groups["conditional"], groups["drivers"]
    rows = [i for i in rows_of(parts, of) if parts["input"][i] == name]
    label = next(drivers["label"][i] for i in rows_of(drivers, of) if drivers["input"][i] == name)
    panel_heading(axis, label, "% of the runs break it" if first else "")
    places = numpy.arange(len(rows))
    axis.fill_between(places, parts["share_low"][rows], parts["share_high"][rows], step="mid", color=BROKEN, alpha=0.18,
                      linewidth=0)
    axis.step(places, parts["share"][rows], where="mid", color=BROKEN, linewidth=1.3)
    few = [0, len(rows) // 2, len(rows) - 1]
    axis.set_xticks(few, [parts["centre"][rows[i]] for i in few], size=style.SMALL)
    for text, side in zip(axis.get_xticklabels(), ("left", "center", "right")):
        text.set_horizontalalignment(side)
    axis.set_ylim(bottom=0.0)
    axis.set_xlabel("middle of each tenth of its distribution" if first else "", size=style.SMALL)
