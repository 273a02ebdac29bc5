"""The baseline's equations through SciPy's integrators, as written out plainly in tests/reference/baseline.py."""
import os
import sys
import time

import numpy as np
from scipy.integrate import BDF, LSODA, Radau
from scipy.optimize import brentq

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "tests", "reference"))
import baseline  # noqa: E402

METHODS = {"BDF": BDF, "Radau": Radau, "LSODA": LSODA}
EXTREMES = ("peak_line_a_pressure", "peak_line_b_pressure", "lowest_low_side_pressure", "lowest_charge_pressure",
            "peak_charge_pressure")
# The tolerances of baseline.py hold 1 Pa; the program's stand at 300 Pa with a relative tolerance of 5e-7.
PASCAL_PER_RELATIVE = 300.0 / 5e-7


def one_step(solver, state, track, bounds):
    """One step, cut where the grade bends. Returns time and state reached, the new piece of track, dense output."""
    before = solver.t
    message = solver.step()
    if solver.status == "failed":
        raise RuntimeError(message)
    t, y, next_track = solver.t, solver.y, track
    place, bound = y[baseline.ROW["s"]], None
    if track < len(bounds) and place > bounds[track]:
        bound, next_track = bounds[track], track + 1
    elif track > 0 and place < bounds[track - 1] - 1e-9:
        bound, next_track = bounds[track - 1], track - 1
    dense = None
    if bound is not None:
        dense = solver.dense_output()
        distance = lambda x: float(dense(np.array([x]))[baseline.ROW["s"], 0]) - bound
        if distance(before) * distance(t) < 0.0:
            t = brentq(distance, before, t, xtol=1e-13)
            y = dense(np.array([t]))[:, 0]
    return t, y, next_track, dense


def look(best, dense, before, after):
    """Extremes within a step: nine points, and a parabola through the best and its neighbours."""
    T = np.linspace(before, after, 9)
    Y = dense(T)
    for name in EXTREMES:
        function, sign, _ = baseline.EXTREMES[name]
        values = sign * function(Y)
        k = int(np.argmax(values))
        top = values[k]
        if 0 < k < 8:
            bend = values[k - 1] - 2.0 * top + values[k + 1]
            if bend < 0.0:
                top -= (values[k + 1] - values[k - 1]) ** 2 / (8.0 * bend)
        best[name] = max(best.get(name, -np.inf), float(top))


def integrate(name, method, relative, watching):
    """The whole manoeuvre. Returns CPU seconds (of no use while watching), extremes in Pa, steps."""
    scenario = baseline.SCENARIOS[name]
    tolerances = relative * PASCAL_PER_RELATIVE * np.array([baseline.ATOL[state] for state in baseline.STATES])
    kinks = baseline.time_kinks(scenario)
    bounds = [place for place, _ in scenario["grade"]]
    best, steps = {}, 0
    began = time.process_time()
    y = baseline.start()
    track = baseline.track_of(scenario, 0.0)
    for t0, t1 in zip(kinks, kinks[1:]):
        t = t0
        while t < t1:
            piece = baseline.Piece(scenario, t0, t1, track)
            rates = lambda x, z, piece=piece: baseline.evaluate(x, z.tolist(), piece, "loop")
            solver = METHODS[method](rates, t, y, t1, rtol=relative, atol=tolerances, first_step=1e-6)
            while solver.status == "running":
                before = t
                t, y, next_track, dense = one_step(solver, y, track, bounds)
                steps += 1
                if watching:
                    look(best, dense or solver.dense_output(), before, t)
                if next_track != track:
                    track = next_track
                    break
            y = np.array(y)
    seconds = time.process_time() - began
    return seconds, {key: baseline.EXTREMES[key][1] * value for key, value in best.items()}, steps
