"""Pictures of `swashloop response --keep`: the limit over each number of the valve, and what the peak is made of."""
import textwrap

import numpy

from . import style
from .answers import heading, new_figure, panel, panel_heading

WIDTH = 270  # mm
KEPT, BROKEN = "#0072b2", style.SIGNAL_COLOURS[1]
ROW = 2.35  # inches of a row of panels


def draw(answer, options):
    groups = answer.groups()
    numbers = [group for group in groups.values() if "value" in group]
    rows = (len(numbers) + 1) // 2
    figure = new_figure(WIDTH, 25.4 * (0.75 + ROW * rows + 2.55))
    top = heading(figure, answer, f"keeps {answer.attribute('limit')}? Each point is a run; rings: as the case is")
    half = 0.5 * figure.get_figwidth()
    for i, group in enumerate(numbers):
        left = 0.75 if i % 2 == 0 else half + 0.55
        draw_number(figure, answer, groups["keep"], group, (left, left + half - 1.05), top + ROW * (i // 2))
    top += ROW * rows
    draw_parts(figure, groups["keep"], groups["parts"], top)
    draw_what_ifs(figure, groups["what_if"], top)
    return figure


def draw_number(figure, answer, keep, group, sides, top):
    value, worst, kept, every = group["value"], group["worst"], group["kept"] > 0.5, group["all_kept"] > 0.5
    quantity = group.quantity("value")
    axis = panel(figure, *sides, top + 0.3, top + ROW - 0.55)
    unit, factor = quantity.unit, 1.0
    if unit == "s":
        unit, factor = "ms", 1e3
    panel_heading(axis, f"over {group.attribute('path')}", keep.quantity("worst").unit)
    axis.plot(factor * value, worst, color=style.FAINT, linewidth=0.8, zorder=2)
    for mask, colour, look in ((kept & every, KEPT, "full"), (kept & ~every, KEPT, "none"), (~kept, BROKEN, "full")):
        axis.plot(factor * value[mask], worst[mask], linestyle="none", marker="o", markersize=3.2, color=colour,
                  fillstyle=look, zorder=3)
    axis.axhline(keep["level"], color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
    axis.text(0.01, keep["level"], "limit", transform=axis.get_yaxis_transform(), va="bottom", size=style.SMALL,
              color=style.LIMIT_COLOUR)
    if value[0] > 0.0 and value[-1] > 20.0 * value[0]:
        axis.set_xscale("log")
    if group["kept_from"] == group["kept_from"]:
        axis.axvspan(factor * group["kept_from"], factor * group["kept_to"], color=KEPT, alpha=0.10, linewidth=0)
        ends = group.attribute("kept_ends")
        if ends in ("the lower as far as tried", "both found"):
            words, where = f"to {group.shown('kept_to')} ", factor * group["kept_to"]
            axis.text(where, 0.97, words, transform=axis.get_xaxis_transform(), ha="right", va="top", size=style.SMALL,
                      color=KEPT)
        if ends in ("the upper as far as tried", "both found"):
            words, where = f" from {group.shown('kept_from')}", factor * group["kept_from"]
            axis.text(where, 0.85, words, transform=axis.get_xaxis_transform(), ha="left", va="top", size=style.SMALL,
                      color=KEPT)
    as_is = numpy.nanargmin(numpy.abs(value - group["as_is"]))
    axis.plot([factor * value[as_is]], [worst[as_is]], marker="o", markersize=7.0, markerfacecolor="none",
              markeredgecolor=style.INK, linestyle="none", zorder=4)
    axis.set_xlabel(unit, labelpad=1)


def draw_parts(figure, keep, parts, top):
    """From the setting on: what each thing adds, one after the other."""
    half = 0.5 * figure.get_figwidth()
    axis = panel(figure, 1.45, half - 0.3, top + 0.3, top + 2.05)
    panel_heading(axis, "What the peak is made of, over return pressure and setting")
    names = ("static_override", "volume", "limiter", "valve_lag")
    if parts["valve_lag"] != parts["valve_lag"]:
        axis.set_axis_off()
        for i, line in enumerate(textwrap.wrap("none: " + parts.reason("valve_lag"), 60)):
            axis.text(0.0, 0.9 - 0.12 * i, line, transform=axis.transAxes, size=style.TEXT, color=style.FAINT)
        return
    level = parts["return_pressure"] + parts["setting"]
    ends = [level]
    for i, name in enumerate(names):
        begin, level = level, level + parts[name]
        ends.append(level)
        axis.barh(i, level - begin, left=begin, height=0.55, color=KEPT if level >= begin else style.FAINT, zorder=2)
        axis.plot([level, level], [i - 0.3, i + (1.3 if i < len(names) - 1 else 0.3)], color=style.INK, linewidth=0.6, zorder=3)
    limit = keep["level"]
    reach = max(ends) - min(ends)
    axis.set_xlim(min(ends) - 0.06 * reach - 0.5, max(ends) + 0.25 * reach + 0.5)
    for i, name in enumerate(names):
        axis.text(max(ends[i], ends[i + 1]), i, f"  {parts[name]:+.2f} bar", va="center", size=style.SMALL)
    if axis.get_xlim()[0] < limit < axis.get_xlim()[1]:
        axis.axvline(limit, color=style.LIMIT_COLOUR, linewidth=0.9, linestyle=(0, (7.0, 3.0)))
    axis.set_yticks(range(len(names)), [name.replace("_", " ") for name in names])
    axis.set_ylim(len(names) - 0.4, -0.6)
    axis.set_xlabel("bar gauge", labelpad=1)


def draw_what_ifs(figure, what_if, top):
    width, height = figure.get_figwidth(), figure.get_figheight()
    left, right = 0.5 * width + 0.25, width - 0.2
    y = top + 0.12
    figure.text(left / width, 1.0 - y / height, "What if", va="top", size=style.HEADING, weight="bold")
    y += 0.24
    for name in what_if.names():
        value = what_if[name]
        words = what_if.shown(name) if value == value else "none"
        text = what_if.long_name(name) + ("" if value == value else ": " + what_if.reason(name))
        lines = textwrap.wrap(text, 62)
        for i, line in enumerate(lines):
            figure.text(left / width, 1.0 - (y + 0.15 * i) / height, line, va="top", size=style.SMALL)
        figure.text(right / width, 1.0 - y / height, words, va="top", ha="right", size=style.TEXT, weight="bold")
        y += 0.15 * len(lines) + 0.06
