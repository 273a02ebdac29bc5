"""Pictures of `swashloop linear`: the modes, the frequency response, and a window of a run."""
import numpy
from matplotlib.patheffects import withStroke

from . import style
from .answers import heading, new_figure, panel, panel_heading

HALO = (withStroke(linewidth=2.0, foreground="white"),)
TOLD_MODES = 14  # rows of the table
LEAST_SHARE = 0.005


def draw(answer, options):
    return draw_window(answer) if answer.kind == "window" else draw_linear(answer)


def draw_linear(answer):
    response = answer.groups().get("response")
    figure = new_figure(270, 250 if response is not None else 165)
    top = heading(figure, answer, "linearised: modes, who takes part" + (", frequency response" if response else ""))
    draw_plane(figure, answer, top)
    draw_shares(figure, answer, top)
    if response is not None:
        draw_response(figure, answer, response, top + 5.75)
    return figure


def draw_plane(figure, answer, top):
    axis = panel(figure, 0.62, 4.2, top + 0.25, top + 5.05)
    panel_heading(axis, "Eigenvalues", "frequency, Hz")
    real, imaginary = answer["real_part"] / 100.0, answer["imaginary_part"]
    hertz = imaginary / (2.0 * numpy.pi)
    # A real part over many decades: its arcus sinus hyperbolicus, marked in 1/s.
    squeeze = numpy.arcsinh
    axis.scatter(squeeze(real), squeeze(hertz), s=26, zorder=3,
                 color=["#d55e00" if value > 0.0 else "#0072b2" for value in real], edgecolor="white", linewidth=0.6)
    for k, (x, y) in enumerate(zip(real, hertz)):
        if y > 0.0:
            axis.annotate(str(k + 1), (squeeze(x), squeeze(y)), (4, 3), textcoords="offset points", size=style.SMALL,
                          path_effects=HALO)
    axis.axvline(0.0, color=style.LIMIT_COLOUR, linewidth=0.9)
    low = min(real.min(), -1.0)
    marks = [-10.0 ** n for n in range(4, -1, -1) if -10.0 ** n >= 2.0 * low] + [0.0]
    if real.max() > 0.5:
        marks += [1.0, 10.0, 100.0]
    axis.set_xticks(squeeze(marks), [f"{mark:g}" for mark in marks])
    rows = [0.0] + [value for value in (0.3, 1, 3, 10, 30, 100, 300, 1000) if value < 1.6 * max(hertz.max(), 1.0)]
    axis.set_yticks(squeeze(rows), [f"{row:g}" for row in rows])
    axis.set_xlabel("real part, 1/s (right of the line: grows)", labelpad=1)


def draw_shares(figure, answer, top):
    """Modes as rows, states as columns, part as shade."""
    shares = answer["participation"]
    states = answer["state_words"]
    real, frequency, damping = answer["real_part"] / 100.0, answer["natural_frequency"], answer["damping_ratio"]
    pairs = answer["imaginary_part"] > 0.0
    # Pairs first: they swing.
    order = [k for k in range(len(real)) if pairs[k]] + [k for k in range(len(real)) if not pairs[k]]
    order = order[:TOLD_MODES]
    columns = [i for i in range(len(states)) if shares[order, i].max() > 100.0 * LEAST_SHARE * 10.0]
    width = figure.get_figwidth()
    axis = panel(figure, 6.35, width - 0.95, top + 1.65, top + 5.05)
    axis.grid(False)
    axis.imshow(shares[numpy.ix_(order, columns)], aspect="auto", cmap="Blues", vmin=0.0, vmax=100.0)
    axis.set_yticks(range(len(order)), [
        f"{k + 1}: {frequency[k] / (2.0 * numpy.pi):.3g} Hz, damping {damping[k]:.2f}" if pairs[k]
        else f"{k + 1}: {real[k]:.3g} 1/s" for k in order])
    axis.xaxis.tick_top()
    axis.set_xticks(range(len(columns)), [states[i] for i in columns], rotation=42, ha="left", size=style.SMALL)
    for row, k in enumerate(order):
        for column, i in enumerate(columns):
            if shares[k, i] >= 5.0:
                axis.text(column, row, f"{shares[k, i]:.0f}", ha="center", va="center", size=style.SMALL,
                          color="white" if shares[k, i] > 55.0 else style.INK)
    for side in axis.spines.values():
        side.set_visible(False)
    figure.text(6.35 / width, 1.0 - (top + 0.10) / figure.get_figheight(), "Who takes part, %", size=style.HEADING,
                weight="bold", va="top")


def draw_response(figure, answer, response, top):
    frequency = response["frequency"] / (2.0 * numpy.pi)
    right = figure.get_figwidth() - 0.2
    gain = panel(figure, 0.62, right, top + 0.15, top + 1.75)
    panel_heading(gain, f"From {response.attribute('input')} to {response.attribute('signal').replace('_', ' ')}",
                  "gain, SI")
    gain.loglog(frequency, response["gain"], color="#0072b2", linewidth=1.4)
    gain.tick_params(labelbottom=False)
    phase = panel(figure, 0.62, right, top + 1.95, top + 3.10)
    phase.semilogx(frequency, response["phase"], color="#0072b2", linewidth=1.4)
    phase.set_ylabel("phase, deg", size=style.HEADING, color=style.FAINT)
    phase.set_xlabel("frequency, Hz", labelpad=1)
    swings = answer["natural_frequency"][answer["imaginary_part"] > 0.0] / (2.0 * numpy.pi)
    for axis in (gain, phase):
        axis.set_xlim(frequency[0], frequency[-1])
        for swing in swings:
            axis.axvline(swing, color=style.MARK, linewidth=0.8, zorder=1)


def draw_window(answer):
    figure = new_figure(250, 120)
    top = heading(figure, answer, answer.attribute("verdict").split(";")[0])
    right = figure.get_figwidth() - 0.2
    time = answer["time"]
    swing = panel(figure, 0.72, right, top + 0.20, top + 1.75)
    panel_heading(swing, "Line A over line B", "bar")
    swing.plot(time, answer["swing"], color="#0072b2", linewidth=1.0)
    swing.tick_params(labelbottom=False)
    growth = panel(figure, 0.72, right, top + 2.15, figure.get_figheight() - 0.42)
    panel_heading(growth, "Growth of the least damped mode", "1/s")
    values = answer["growth"] / 100.0
    growth.plot(time, values, color=style.INK, linewidth=0.9)
    growth.fill_between(time, numpy.maximum(values, 0.0), color="#d55e00", alpha=0.5, linewidth=0)
    growth.axhline(0.0, color=style.LIMIT_COLOUR, linewidth=0.8)
    growth.set_xlabel("time, s", labelpad=1)
    for axis in (swing, growth):
        axis.set_xlim(time[0], time[-1])
    return figure
