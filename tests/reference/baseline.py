#!/usr/bin/python3
"""An independent integration of the baseline manoeuvres, to accept the program against.

Written from the written-out equations of the baseline alone; nothing here is shared with models/. Plain Python with
numpy and scipy. Pressures inside are absolute, in the output gauge (absolute - 1.013e5 Pa). See README.md.

    /usr/bin/python3 tests/reference/baseline.py            all manoeuvres, both methods -> baseline.json
    /usr/bin/python3 tests/reference/baseline.py stall      one manoeuvre, printed only
"""
import argparse
import datetime
import json
import math
import multiprocessing
import os
import sys
import time

import numpy as np
import scipy
from scipy.integrate import BDF, DOP853, LSODA, Radau, quad
from scipy.optimize import brentq

HERE = os.path.dirname(os.path.abspath(__file__))
RPM = 30.0 / math.pi

# ---------------------------------------------------------------------------------------------------- parameters (SI)
J_e, T_pk, w_pk, w_wd = 1.8, 720.0, 146.60765716752366, 173.20647511077440
w_set, droop, tau_f = 219.91148575128551, 0.07, 0.08
Tf0, Tf1, Tf2, k_aux, w_e0 = 40.0, 0.20, 9.0e-4, 7.5e-4, 1.0
D_p, Cs_p, Cc_p, Cv_p, Cf_p, Tc_p = 1.9894367886486918e-5, 2.5e-9, 1.2e-9, 1.0e5, 0.020, 6.0
D_c, kl_c, Tc_c = 4.4563384065730695e-6, 2.0e-11, 2.0
D_m, em_min, Cs_m, Cc_m, Cv_m, Cf_m, Tc_m = 2.5464790894703254e-5, 0.3125, 2.0e-9, 1.0e-9, 0.8e5, 0.018, 5.0
w_m0, p_f0 = 2.0, 1.0e5
V_A, V_B, V_C = 3.5e-3, 3.5e-3, 1.2e-3
K0, mK, alpha, n_air, p0, K_h, p_min = 1.55e9, 9.0, 0.006, 1.4, 1.013e5, 4.0e9, 1.0e3
p_case = 2.0e5
pr_crack, Gr, tau_r, pr_w = 450.0e5, 7.0e-10, 0.004, 10.0e5
pcr, Gcr, tau_cr, pcr_w = 25.0e5, 5.0e-9, 0.005, 1.0e5
pck0, pck1, kck = 0.3e5, 1.5e5, 5.2e-6
pfl, Gfl, kfl, psh, tau_sh, xsh0 = 17.0e5, 3.0e-10, 1.6e-7, 8.0e5, 0.020, 0.3
tau_c, tau_s, R_s, dp_s, kL, R_L = 0.05, 0.04, 1.0, 24.0e5, 9.0, 25.0
plim, blim, tau_l = 395.0e5, 50.0e5, 0.003
tau_m, R_m, R_o, po, bo, tau_o, b_h = 0.03, 0.15, 1.20, 300.0e5, 100.0e5, 0.004, 0.02
i_g, eta_g, T_g0, w_g0, J_w, r_w, m, g = 53.0, 0.94, 20.0, 0.04, 320.0, 0.62, 14000.0, 9.81
c_rr, v_rr, mu_t, B_t, C_t, v_t0, T_b, w_b0 = 0.03, 0.03, 0.75, 7.0, 1.45, 0.30, 90.0e3, 0.01
rho, cp, nu40, nu100 = 870.0, 1950.0, 46.0, 6.8
C_L, C_T, G_La, G_Ta, UA, Tth0, Tth1, T_amb = 6.0e4, 1.65e5, 25.0, 15.0, 900.0, 323.15, 333.15, 298.15
V5, Q5 = 1.0e-3, 1.0e-3
# gallery = 0 (relief from line to line), lim_on = 1, lim_over = 0, smooth = 0: the branches that baseline cases take.

OPEN_FLOW = 1.0e-5  # a relief valve counts as open above this flow, m3/s
STANDSTILL = 0.05  # m/s
SETTLED = 0.5  # s

STATES = "we xf pA pB pC uc be xlA xlB xo em xrA xrB xcr xfl ww v s TL TT Vt".split()
ATOL = dict(we=1e-7, xf=1e-9, pA=1.0, pB=1.0, pC=1.0, uc=1e-9, be=1e-9, xlA=1e-9, xlB=1e-9, xo=1e-9, em=1e-9, xrA=1.0,
            xrB=1.0, xcr=1.0, xfl=1e-9, ww=1e-8, v=1e-8, s=1e-8, TL=1e-7, TT=1e-7, Vt=1e-11)


def walther():
    z40 = math.log10(math.log10(nu40 + 0.7))
    z100 = math.log10(math.log10(nu100 + 0.7))
    Wb = (z40 - z100) / (math.log10(373.15) - math.log10(313.15))
    return z40 + Wb * math.log10(313.15), Wb


Wa, Wb = walther()


def viscosity(T):
    return rho * 1e-6 * (10.0 ** (10.0 ** (Wa - Wb * math.log10(T))) - 0.7)


def bulk(p):
    p = max(p, p_min)
    Kl = K0 + mK * (p - p0)
    r = alpha / (1.0 - alpha) * (p0 / p) ** (1.0 / n_air)
    Km = Kl * (1.0 + r) / (1.0 + r * Kl / (n_air * p))
    return 1.0 / (1.0 / Km + 1.0 / K_h)


def c01(x):
    return 0.0 if x < 0.0 else 1.0 if x > 1.0 else x


def sat(x, a):
    return -a if x < -a else a if x > a else x


def fr(x, w):
    return x / math.sqrt(x * x + w * w)


def sabs(x, e):
    return math.sqrt(x * x + e * e) - e


def relief_flow(xr, d):
    return Gr * xr * fr(d, pr_w)


def table(points, x):
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]


class Piece:
    """A stretch of time (and of track) in which the operator's tables and the grade are one straight line each, so that
    the right-hand side has no kink but those of the states."""

    def __init__(self, scenario, t0, t1, track):
        self.t0, self.t1, self.track = t0, t1, track

        def line(points):
            y0, y1 = table(points, t0), table(points, t1)
            return y0, (y1 - y0) / (t1 - t0)

        self.u, self.dir, self.b = line(scenario["u"]), line(scenario["dir"]), line(scenario["b"])
        grade = scenario["grade"]
        if track == 0:  # before the first point
            self.grade = (grade[0][0], grade[0][1], 0.0)
        elif track == len(grade):  # after the last point
            self.grade = (grade[-1][0], grade[-1][1], 0.0)
        else:
            (s0, y0), (s1, y1) = grade[track - 1], grade[track]
            self.grade = (s0, y0, (y1 - y0) / (s1 - s0))


def evaluate(t, y, piece, reading, full=False):
    """The derivative of the 21 states; with `full` also the powers of the energy ledger and the tank flows."""
    we, xf, pA, pB, pC, uc, be, xlA, xlB, xo, em, xrA, xrB, xcr, xfl, ww, v, s, TL, TT, Vt = y
    dt = t - piece.t0
    u = piece.u[0] + piece.u[1] * dt
    direction = piece.dir[0] + piece.dir[1] * dt
    brake = piece.b[0] + piece.b[1] * dt
    s0, y0, slope = piece.grade
    theta = math.atan(y0 + slope * (s - s0))
    mu = viscosity(TL)
    dp = pA - pB
    wm = i_g * ww
    tanh_e = math.tanh(we / w_e0)

    # engine
    q = (we - w_pk) / w_wd
    Tmax = T_pk * max(0.0, 1.0 - q * q)
    Tfr = (Tf0 + Tf1 * we + Tf2 * we * we) * tanh_e
    # pump
    Tpl = Cv_p * D_p * mu * we + (Cf_p * D_p * sabs(dp, p_f0) + Tc_p) * tanh_e
    Tp = D_p * be * dp + Tpl
    Qp = D_p * be * we
    slip_p = Cs_p * D_p * dp / mu
    case_pA = Cc_p * D_p * (pA - p_case) / mu
    case_pB = Cc_p * D_p * (pB - p_case) / mu
    # charge pump
    leak_c = kl_c * (pC - p0)
    Qcp = D_c * we - leak_c
    Tcp = D_c * (pC - p0) + Tc_c * tanh_e
    # motor
    Qm = D_m * em * wm
    slip_m = Cs_m * D_m * dp / mu
    case_mA = Cc_m * D_m * (pA - p_case) / mu
    case_mB = Cc_m * D_m * (pB - p_case) / mu
    Tml = Cv_m * D_m * mu * wm + (Cf_m * D_m * sabs(dp, p_f0) + Tc_m) * math.tanh(wm / w_m0)
    Tm = D_m * em * dp - Tml
    # valves
    QrA = relief_flow(xrA, dp)
    QrB = relief_flow(xrB, -dp)
    dA, dB = pC - pA, pC - pB
    QkA = kck * c01((dA - pck0) / (pck1 - pck0)) * math.sqrt(max(dA, 1e3))
    QkB = kck * c01((dB - pck0) / (pck1 - pck0)) * math.sqrt(max(dB, 1e3))
    Qcr = Gcr * xcr * fr(pC - p_case, pcr_w)
    aA, aB = c01((-xfl - xsh0) / (1.0 - xsh0)), c01((xfl - xsh0) / (1.0 - xsh0))

    def flush(a, p):
        if a == 0.0:
            return 0.0
        q1 = Gfl * max(0.0, p - p_case - pfl)
        q2 = kfl * math.sqrt(max(p - p_case, 1e3))
        return a * q1 * q2 / math.sqrt(q1 * q1 + q2 * q2)

    QfA, QfB = flush(aA, pA), flush(aB, pB)
    Q_out = case_pA + case_pB + case_mA + case_mB + QfA + QfB + Qcr
    # swash
    b_cmd = direction * min(1.0, 3.0 * u)
    xl = xlA if uc > 0.0 else xlB
    bt = uc * (1.0 - xl)
    R = R_s * math.sqrt(max(pC - p_case, 1e3) / dp_s) + R_L * xl
    # motor servo
    ec = 1.0 - (1.0 - em_min) * c01((3.0 * u - 1.0) / 2.0)
    h = 0.5 * (1.0 + math.tanh(be / b_h))
    pov = pA * h + pB * (1.0 - h)
    et = ec + (1.0 - ec) * xo
    # driveline and vehicle
    Tw = i_g * Tm
    Tgl = (1.0 - eta_g) * sabs(Tw, T_g0) * math.tanh(ww / w_g0)
    Tb = T_b * brake * math.tanh(ww / w_b0)
    N = m * g * math.cos(theta)
    sl = (r_w * ww - v) / math.sqrt(v * v + v_t0 * v_t0)
    Ft = mu_t * N * math.sin(C_t * math.atan(B_t * sl))
    Frr = c_rr * N * math.tanh(v / v_rr)
    Fg = m * g * math.sin(theta)
    # heat
    loop_loss = (Tpl * we + slip_p * dp + case_pA * (pA - p_case) + case_pB * (pB - p_case)
                 + Tml * wm + slip_m * dp + case_mA * (pA - p_case) + case_mB * (pB - p_case)
                 + QrA * dp - QrB * dp + QkA * dA + QkB * dB + QfA * (pA - p_case) + QfB * (pB - p_case))
    charge_loss = leak_c * (pC - p0) + Tc_c * tanh_e * we + Qcr * (pC - p_case)
    case_loss = Q_out * (p_case - p0)
    Q_mix = Q_out if reading == "all" else Q_out - Qcr

    dy = (
        (xf * (Tmax + Tfr) - Tfr - k_aux * we * we - Tp - Tcp) / J_e,
        (c01((w_set * (1.0 + droop) - we) / (droop * w_set)) - xf) / tau_f,
        bulk(pA) / V_A * (Qp - slip_p - case_pA - Qm - slip_m - case_mA - QrA + QrB + QkA - QfA),
        bulk(pB) / V_B * (-Qp + slip_p - case_pB + Qm + slip_m - case_mB - QrB + QrA + QkB - QfB),
        bulk(pC) / V_C * (Qcp - QkA - QkB - Qcr),
        (b_cmd - uc) / tau_c,
        sat((bt - be) / tau_s * (1.0 + kL * xl), R),
        (c01((pA - p_case - plim) / blim) - xlA) / tau_l,
        (c01((pB - p_case - plim) / blim) - xlB) / tau_l,
        (c01((pov - p_case - po) / bo) - xo) / tau_o,
        sat((et - em) / tau_m, R_m + R_o * xo),
        (max(0.0, dp - pr_crack) - xrA) / tau_r,
        (max(0.0, -dp - pr_crack) - xrB) / tau_r,
        (max(0.0, pC - p_case - pcr) - xcr) / tau_cr,
        (sat(dp / psh, 1.0) - xfl) / tau_sh,
        (Tw - Tgl - r_w * Ft - Tb) / J_w,
        (Ft - Frr - Fg) / m,
        v,
        (loop_loss + rho * cp * (QkA + QkB) * (TT - TL) - G_La * (TL - T_amb)) / C_L,
        (charge_loss + case_loss + rho * cp * Q_mix * (TL - TT)
         - (G_Ta + UA * c01((TT - Tth0) / (Tth1 - Tth0))) * (TT - T_amb)) / C_T,
        Q_out - Qcp,
    )
    if not full:
        return dy
    combustion = xf * (Tmax + Tfr) * we
    other = Tfr * we + k_aux * we ** 3 + Tgl * ww + Tb * ww + Ft * (r_w * ww - v) + Frr * v
    return dy, (combustion, loop_loss + charge_loss + case_loss + other, Fg * v, (QrA - QrB) * dp)


# ------------------------------------------------------------------------------------------------------------ scenarios
LEVEL = [(0.0, 0.0)]
SCENARIOS = {
    "climb": dict(end=40.0, u=[(0, 0), (1, 0), (3, 1)], grade=[(0, 0), (30, 0), (40, 0.20)]),
    "downhill": dict(end=24.0, u=[(0, 0), (1, 0), (3, 0.905), (16, 0.905), (16.5, 0)],
                     grade=[(0, 0), (62, 0), (66, -0.25)], stop_from=16.0),
    "shuttle": dict(end=20.0, u=[(0, 0), (1, 0), (2, 0.40)],
                    dir=[(0, 1), (8, 1), (8.2, -1), (14, -1), (14.2, 1)]),
    "stall": dict(end=8.0, u=[(0, 0), (1, 0), (1.5, 1)], b=[(0, 1)]),
}
for scenario in SCENARIOS.values():
    scenario.setdefault("dir", [(0, 1)])
    scenario.setdefault("b", [(0, 0)])
    scenario.setdefault("grade", LEVEL)


def time_kinks(scenario):
    """Table points, and the instants at which 3u passes 1 and 3 (pedal split between pump and motor)."""
    kinks = {0.0, scenario["end"]}
    for name in ("u", "dir", "b"):
        points = scenario[name]
        kinks.update(float(t) for t, _ in points)
        if name != "u":
            continue
        for (t0, u0), (t1, u1) in zip(points, points[1:]):
            for level in (1.0 / 3.0, 1.0):
                if min(u0, u1) < level < max(u0, u1):
                    kinks.add(t0 + (t1 - t0) * (level - u0) / (u1 - u0))
    return sorted(t for t in kinks if t <= scenario["end"])


def start():
    y = dict.fromkeys(STATES, 0.0)
    y.update(we=1.055 * w_set, xf=0.2, pA=pcr + p_case - 1e5, pB=pcr + p_case - 1e5, pC=pcr + p_case, em=1.0, xcr=1e5,
             TL=333.15, TT=323.15, Vt=0.10)
    return np.array([y[name] for name in STATES])


# ------------------------------------------------------------------------------------------- what is watched on the way
ROW = {name: i for i, name in enumerate(STATES)}


def relief_rows(Y):
    d = Y[ROW["pA"]] - Y[ROW["pB"]]
    w = d / np.sqrt(d * d + pr_w * pr_w)
    return Gr * Y[ROW["xrA"]] * w, -Gr * Y[ROW["xrB"]] * w


EXTREMES = {  # name: (function of a block of states, sign: +1 highest, -1 lowest, from this time on)
    "peak_line_a_pressure": (lambda Y: Y[ROW["pA"]] - p0, 1, 0.0),
    "peak_line_b_pressure": (lambda Y: Y[ROW["pB"]] - p0, 1, 0.0),
    "lowest_low_side_pressure": (lambda Y: np.minimum(Y[ROW["pA"]], Y[ROW["pB"]]) - p0, -1, 0.0),
    "lowest_low_side_pressure_after_settling": (lambda Y: np.minimum(Y[ROW["pA"]], Y[ROW["pB"]]) - p0, -1, SETTLED),
    "lowest_charge_pressure": (lambda Y: Y[ROW["pC"]] - p0, -1, 0.0),
    "peak_charge_pressure": (lambda Y: Y[ROW["pC"]] - p0, 1, 0.0),
    "engine_speed_max": (lambda Y: Y[ROW["we"]], 1, 0.0),
    "engine_speed_min": (lambda Y: Y[ROW["we"]], -1, 0.0),
    "relief_a_peak_flow": (lambda Y: relief_rows(Y)[0], 1, 0.0),
    "relief_b_peak_flow": (lambda Y: relief_rows(Y)[1], 1, 0.0),
}
CROSSINGS = {  # name: function of a block of states whose sign changes are reported
    "relief_a_crack": lambda Y: Y[ROW["pA"]] - Y[ROW["pB"]] - pr_crack,
    "relief_b_crack": lambda Y: Y[ROW["pB"]] - Y[ROW["pA"]] - pr_crack,
    "relief_a_flow": lambda Y: relief_rows(Y)[0] - OPEN_FLOW,
    "relief_b_flow": lambda Y: relief_rows(Y)[1] - OPEN_FLOW,
    "limiter_a": lambda Y: Y[ROW["pA"]] - p_case - plim,
    "limiter_b": lambda Y: Y[ROW["pB"]] - p_case - plim,
    "standstill": lambda Y: np.abs(Y[ROW["v"]]) - STANDSTILL,
}
GAUSS_X, GAUSS_W = np.polynomial.legendre.leggauss(4)


class Watch:
    """Extremes and crossings on the dense output of every step, and integrals by Gauss points inside it."""

    def __init__(self, extremes, crossings):
        self.extremes, self.crossings = extremes, crossings
        self.best = {}  # name: (signed value, time, step start, state at step start, step size, derivative function)
        self.events = {name: [] for name in crossings}  # (time, "up" or "down")
        self.last = {}
        self.steps = 0

    def step(self, t0, y0, t1, dense, fun):
        self.steps += 1
        T = np.linspace(t0, t1, 9)
        Y = dense(T)
        for name, (f, sign, begin) in self.extremes.items():
            if t1 < begin:
                continue
            values = sign * f(Y)
            if t0 < begin:
                values = np.where(T < begin, -np.inf, values)
            k = int(np.argmax(values))
            if name not in self.best or values[k] > self.best[name][0]:
                self.best[name] = (float(values[k]), T[k], t0, y0.copy(), t1 - t0, fun, dense, t1)
        for name, f in self.crossings.items():
            values = f(Y)
            if name in self.last:
                values[0] = self.last[name]  # one sign per instant, though two dense outputs meet here
            for k in np.nonzero((values[:-1] > 0.0) != (values[1:] > 0.0))[0]:
                scalar = lambda t: float(f(dense(np.array([t])))[0])
                a, b = scalar(T[k]), scalar(T[k + 1])
                root = brentq(scalar, T[k], T[k + 1], xtol=1e-13) if a * b < 0.0 else T[k]
                self.events[name].append((float(root), "up" if values[k + 1] > 0.0 else "down"))
            self.last[name] = values[-1]

    def refine(self, name, method, rtol, atol):
        """The extreme inside its step by golden section on the dense output, then the step up to that instant done
        again in small steps (dense output is of lower order than the step itself). Also how sharp it is."""
        f, sign, begin = self.extremes[name]
        value, t, t0, y0, h, fun, dense, t1 = self.best[name]
        scalar = lambda x: sign * float(f(dense(np.array([x])))[0])
        lo, hi = max(t - h / 8, t0, begin), min(t + h / 8, t1)
        ratio = (math.sqrt(5.0) - 1.0) / 2.0
        a, b = lo, hi
        while b - a > 1e-9 * max(1.0, abs(t)):
            c, d = b - ratio * (b - a), a + ratio * (b - a)
            if scalar(c) >= scalar(d):
                b = d
            else:
                a = c
        peak = 0.5 * (a + b)
        if scalar(peak) < scalar(t):
            peak = t
        if peak > t0:
            solver = method(fun, t0, y0, peak, rtol=rtol, atol=atol, max_step=(peak - t0) / 4, first_step=None)
            while solver.status == "running":
                message = solver.step()
                if solver.status == "failed":
                    raise RuntimeError(message)
            y = solver.y
        else:
            y = y0
        result = float(f(y.reshape(-1, 1))[0]) + 0.0  # no minus zero
        return result, float(peak), self.sharpness(scalar, peak, t0, t1)

    @staticmethod
    def sharpness(scalar, peak, t0, t1):
        """Half the time in which the value stays within 1e-6 of the extreme, from the step that holds it (beyond the
        step by a parabola); infinite where it does not fall off at all."""
        top, widest = scalar(peak), 0.0
        allowed = 1e-6 * abs(top)
        for side, room in ((-1.0, peak - t0), (1.0, t1 - peak)):
            if room < 1e-2 * (t1 - t0):
                continue
            drop = top - scalar(peak + side * room)
            if drop <= 0.0:
                return math.inf
            if drop < allowed:
                reach = room * math.sqrt(allowed / drop)
            else:
                reach = brentq(lambda x: top - scalar(peak + side * x) - allowed, 0.0, room) if allowed > 0.0 else 0.0
            widest = max(widest, reach)
        return widest


def stored(p, V):
    """Elastic energy of a volume from p0 to p and the oil pressed into it."""
    return V * quad(lambda x: x / bulk(x), p0, p, epsabs=0, epsrel=1e-12)[0], \
        V * quad(lambda x: 1.0 / bulk(x), p0, p, epsabs=0, epsrel=1e-12)[0]


def totals(y):
    y = dict(zip(STATES, y))
    parts = [stored(y["pA"], V_A), stored(y["pB"], V_B), stored(y["pC"], V_C)]
    energy = (0.5 * J_e * y["we"] ** 2 + 0.5 * J_w * y["ww"] ** 2 + 0.5 * m * y["v"] ** 2 + sum(e for e, _ in parts)
              + p0 * y["Vt"])
    return energy, y["Vt"] + sum(o for _, o in parts)


def track_of(scenario, s):
    return sum(1 for point, _ in scenario["grade"] if s >= point)


def integrate(name, method_name, rtol, scale, reading="loop"):
    scenario = SCENARIOS[name]
    method = {"Radau": Radau, "LSODA": LSODA, "BDF": BDF}[method_name]
    atol = scale * np.array([ATOL[state] for state in STATES])
    watch = Watch(EXTREMES, CROSSINGS)
    integrals = np.zeros(4)  # combustion, all losses, gravity, relief heat
    began = time.time()
    y = start()
    energy0, oil0 = totals(y)
    kinks = time_kinks(scenario)
    bounds = [s for s, _ in scenario["grade"]]
    track = track_of(scenario, 0.0)
    grade_events, stop_state = [], {}
    for t0, t1 in zip(kinks, kinks[1:]):
        t = t0
        if t0 == scenario.get("stop_from"):
            stop_state["from"] = y[ROW["s"]]
        while t < t1:
            piece = Piece(scenario, t0, t1, track)
            fun = lambda x, z, piece=piece: evaluate(x, z.tolist(), piece, reading)
            solver = method(fun, t, y, t1, rtol=rtol, atol=atol, first_step=1e-6)
            while solver.status == "running":
                ta, ya = solver.t, solver.y.copy()
                message = solver.step()
                if solver.status == "failed":
                    raise RuntimeError("%s at %g s: %s" % (name, ta, message))
                dense = solver.dense_output()
                tb, yb, next_track = solver.t, solver.y, track
                s = yb[ROW["s"]]
                bound = None
                if track < len(bounds) and s > bounds[track]:
                    bound, next_track = bounds[track], track + 1
                elif track > 0 and s < bounds[track - 1] - 1e-9:
                    bound, next_track = bounds[track - 1], track - 1
                if bound is not None:  # cut the step where the grade bends
                    distance = lambda x: float(dense(np.array([x]))[ROW["s"], 0]) - bound
                    if distance(ta) * distance(tb) < 0.0:
                        tb = brentq(distance, ta, tb, xtol=1e-13)
                        yb = dense(np.array([tb]))[:, 0]
                        grade_events.append((tb, bound))
                if tb > ta:
                    watch.step(ta, ya, tb, dense, fun)
                    nodes = 0.5 * (ta + tb) + 0.5 * (tb - ta) * GAUSS_X
                    block = dense(nodes)
                    for k, weight in enumerate(GAUSS_W):
                        _, powers = evaluate(nodes[k], block[:, k].tolist(), piece, reading, True)
                        integrals += 0.5 * (tb - ta) * weight * np.array(powers)
                if "from" in stop_state and "to" not in stop_state:
                    for when, _ in watch.events["standstill"]:
                        if when >= scenario["stop_from"]:
                            stop_state["to"] = float(dense(np.array([when]))[ROW["s"], 0])
                            stop_state["time"] = when - scenario["stop_from"]
                            break
                t, y = tb, np.array(yb)
                if next_track != track:
                    track = next_track
                    break
    out, sharp = {}, {}
    for key in EXTREMES:
        out[key], out[key + "_time"], sharp[key + "_time"] = watch.refine(key, method, rtol, atol)
    end = dict(zip(STATES, y))
    out.update(vehicle_distance_end=end["s"], vehicle_speed_end=end["v"], loop_oil_temperature_end=end["TL"],
               tank_oil_temperature_end=end["TT"], engine_speed_end=end["we"], pressure_a_end=end["pA"] - p0,
               pressure_b_end=end["pB"] - p0, charge_pressure_end=end["pC"] - p0,
               motor_displacement_end=end["em"], pump_stroke_end=end["be"])
    if "to" in stop_state:
        out["stop_from"] = scenario["stop_from"]
        out["stop_time"] = stop_state["time"]
        out["stop_distance"] = stop_state["to"] - stop_state["from"]
    else:
        out["stop_time"] = out["stop_distance"] = None
    finish_reliefs(out, watch.events, scenario["end"], ("a", "b"))
    for line in "ab":  # a valve that never moved has no time of peak flow
        if out["relief_%s_peak_flow" % line] == 0.0:
            out["relief_%s_peak_flow_time" % line] = None
    out["relief_heat"] = integrals[3]
    energy1, oil1 = totals(y)
    ledger = integrals[0] - integrals[1] - integrals[2] - (energy1 - energy0)
    out["energy_residual"] = abs(ledger) / max(integrals[0] + max(0.0, -integrals[2]), 1e3)
    out["oil_residual"] = oil1 - oil0
    events = {key: value for key, value in watch.events.items() if value}
    if grade_events:
        events["grade_kink"] = [(float(when), "%g m" % where) for when, where in grade_events]
    note = dict(method=method_name, rtol=rtol, atol_scale=scale, steps=watch.steps, seconds=time.time() - began)
    return {key: None if value is None else float(value) for key, value in out.items()}, events, sharp, note


def finish_reliefs(out, events, end, lines):
    for line in lines:
        flow = events["relief_%s_flow" % line]
        opened = [t for t, way in flow if way == "up"]
        closed = [t for t, way in flow if way == "down"]
        out["relief_%s_open_time" % line] = sum(closed) + (end if len(closed) < len(opened) else 0.0) - sum(opened)
        out["relief_%s_openings" % line] = len(opened)
        out["relief_%s_first_opening" % line] = opened[0] if opened else None


def relief_step(method_name, rtol, scale):
    """Manoeuvre v: a volume fed with a constant flow, one relief valve to the case. States p (absolute) and x."""

    def fun(t, y):
        p, x = y
        d = p - p_case
        return bulk(p) / V5 * (Q5 - Gr * x * fr(d, pr_w)), (max(0.0, d - pr_crack) - x) / tau_r

    extremes = {"peak_line_a_pressure": (lambda Y: Y[0] - p0, 1, 0.0),
                "relief_a_peak_flow": (lambda Y: Gr * Y[1] * (Y[0] - p_case) / np.hypot(Y[0] - p_case, pr_w), 1, 0.0)}
    crossings = {"relief_a_crack": lambda Y: Y[0] - p_case - pr_crack,
                 "relief_a_flow": lambda Y: extremes["relief_a_peak_flow"][0](Y) - OPEN_FLOW}
    method = {"Radau": Radau, "LSODA": LSODA, "DOP853": DOP853}[method_name]
    atol = scale * np.array([1.0, 1.0])
    watch = Watch(extremes, crossings)
    t, y = 0.0, np.array([26e5, 0.0])
    began = time.time()
    heat = 0.0
    while t < 1.0:
        solver = method(fun, t, y, 1.0, rtol=rtol, atol=atol, first_step=1e-7)
        while solver.status == "running":
            ta, ya = solver.t, solver.y.copy()
            message = solver.step()
            if solver.status == "failed":
                raise RuntimeError(message)
            dense, tb, yb, cut = solver.dense_output(), solver.t, solver.y.copy(), False
            gap = lambda x: float(dense(np.array([x]))[0, 0]) - p_case - pr_crack
            if abs(gap(ta)) > 1e-3 and gap(ta) * gap(tb) < 0.0:  # restart at the kink where the valve cracks
                tb = brentq(gap, ta, tb, xtol=1e-15)
                yb, cut = dense(np.array([tb]))[:, 0], True
            watch.step(ta, ya, tb, dense, fun)
            nodes = 0.5 * (ta + tb) + 0.5 * (tb - ta) * GAUSS_X
            Y = dense(nodes)
            d = Y[0] - p_case
            heat += 0.5 * (tb - ta) * float(np.dot(GAUSS_W, Gr * Y[1] * d / np.hypot(d, pr_w) * d))
            t, y = tb, yb
            if cut:
                break
    out, sharp = {}, {}
    for key in extremes:
        out[key], out[key + "_time"], sharp[key + "_time"] = watch.refine(key, method, rtol, atol)
    out["pressure_end"] = y[0] - p0
    out["relief_a_crack_time"] = watch.events["relief_a_crack"][0][0]
    # until it cracks only the feed counts: t = V5/Q5 * int dp/K, by quadrature alone
    out["relief_a_crack_time_closed_form"] = V5 / Q5 * quad(lambda x: 1.0 / bulk(x), 26e5, p_case + pr_crack,
                                                            epsabs=0, epsrel=1e-12)[0]
    # at rest the valve passes the whole feed: Gr d' d/sqrt(d^2+w^2) = Q5 with d' the overpressure
    rest = brentq(lambda d: Gr * (d - pr_crack) * fr(d, pr_w) - Q5, pr_crack, 2 * pr_crack, xtol=1e-6)
    out["pressure_at_rest_closed_form"] = rest + p_case - p0
    finish_reliefs(out, watch.events, 1.0, ("a",))
    out["relief_heat"] = heat
    note = dict(method=method_name, rtol=rtol, atol_scale=scale, steps=watch.steps, seconds=time.time() - began)
    return {key: float(value) for key, value in out.items()}, watch.events, sharp, note


# ------------------------------------------------------------------------------------------------------ the whole
FIRST = ("Radau", 1e-10, 0.1)
SECOND = ("LSODA", 1e-10, 0.1)
FIRST_STEP = ("DOP853", 1e-12, 1e-3)
SECOND_STEP = ("Radau", 1e-10, 1e-2)
READINGS = [
    "mu is taken at the loop temperature TL for pump and motor alike.",
    "Initial pressures: pC = pcr + p_case = 27e5 Pa absolute, pA = pB = 26e5 Pa absolute.",
    "b_cmd = dir * min(1, 3u); the motor command runs on 3u from 1 to 3; the direction table is taken as it stands, so "
    "the command passes linearly through zero while dir does.",
    "xl = xlA where uc > 0, else xlB (so at uc = 0 exactly: xlB); b_cmd and be play no part in the choice.",
    "After the pedal is released uc decays and stays above zero, so A stays the chosen side. Solver noise that lets uc "
    "fall through zero puts the loaded side B in charge and throws the swash to neutral (downhill: 529 for 526 bar): an error.",
    "Reliefs and limiter states of both lines move at all times; only the choice xl decides which limiter acts.",
    "Grade is the tangent, linear in distance s between table points and constant outside; theta = atan(grade).",
    "pump+motor leak loss: slip*dp and case leak*(p - p_case); relief heat to the loop, charge relief heat "
    "Qcr*(pC - p_case) to the tank with the charge pump's leak kl_c (pC-p0)^2 and its friction Tc_c; case loss is all "
    "returning flow times (p_case - p0).",
    "Q_out in the tank's heat balance is what leaves the loop hot: case leaks and flushing, not the charge relief, "
    "whose oil never was in the loop (with it, the tank would receive heat that the loop's balance does not give up). "
    "The other reading, Q_out with the charge relief, is integrated too: other_reading holds its differences.",
    "p is floored at p_min inside K only.",
    "relief_x_open_time and relief_x_first_opening: flow above 1e-5 m3/s; relief_x_crack (up) and its reseat (down) "
    "are the pressure difference passing pr_crack. limiter_x is the line pressure passing p_case + plim, whichever way "
    "the command stands.",
    "stop_time, stop_distance: from 16.0 s (downhill) to the first |v| <= 0.05 m/s; null elsewhere.",
    "Relief setting of manoeuvre v is p - p_case; p(0) = 26e5 Pa absolute, x(0) = 0.",
]


def job(task):
    name, which = task
    if name == "relief_step":
        return task, relief_step(*(FIRST_STEP if which == "first" else SECOND_STEP))
    if which == "other":
        return task, integrate(name, "LSODA", 1e-8, 1.0, reading="all")
    return task, integrate(name, *(FIRST if which == "first" else SECOND))


def plain(value):
    """JSON has no infinity."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def assemble(results):
    names = ["climb", "downhill", "shuttle", "stall", "relief_step"]
    meta = dict(
        what="Figures of the baseline manoeuvres by an independent integration, SI, pressures gauge",
        written=datetime.date.today().isoformat(), python=sys.version.split()[0], scipy=scipy.__version__,
        numpy=np.__version__,
        atol=ATOL, ambient_pressure=p0, open_flow=OPEN_FLOW, standstill=STANDSTILL, readings=READINGS,
        spread="largest difference between the two integrations; sharpness: half the time in which an extreme stays "
               "within 1e-6 of itself (null: on a plateau, its time means nothing)")
    book = {"meta": meta, "manoeuvres": {}}
    for name in names:
        figures, events, sharp, note = results[(name, "first")]
        figures2, events2, _, note2 = results[(name, "second")]
        spread, other = {}, {}
        for key, value in figures.items():
            value2 = figures2[key]
            if (value is None) != (value2 is None):
                raise RuntimeError("%s %s: %s against %s" % (name, key, value, value2))
            spread[key] = None if value is None else abs(value - value2)
        event_spread = {}
        for key, rows in events.items():
            if [way for _, way in rows] != [way for _, way in events2.get(key, [])]:
                raise RuntimeError("%s: the integrations disagree on %s: %s, %s" % (name, key, rows, events2.get(key)))
            event_spread[key] = max((abs(a[0] - b[0]) for a, b in zip(rows, events2[key])), default=0.0)
        entry = dict(figures=figures, spread=spread, sharpness={k: plain(v) for k, v in sharp.items()},
                     events={k: [[t, way] for t, way in rows] for k, rows in events.items()},
                     event_spread=event_spread, runs=[note, note2])
        if (name, "other") in results:
            changed = results[(name, "other")][0]
            other = {k: changed[k] - v for k, v in figures.items() if v is not None and changed[k] is not None}
            entry["other_reading"] = {k: other[k] for k in other}
        book["manoeuvres"][name] = entry
    return book


def show(name, figures, events, note):
    print(name, note)
    for key, value in figures.items():
        print("  %-45s %s" % (key, "none" if value is None else "%.10g" % value))
    for key, rows in events.items():
        print("  %-45s %s" % (key, "  ".join("%.6f %s" % row for row in rows)))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("name", nargs="?", choices=list(SCENARIOS) + ["relief_step"])
    parser.add_argument("--which", default="first", choices=["first", "second", "other"])
    parser.add_argument("-o", "--output", default=os.path.join(HERE, "baseline.json"))
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    if options.name:
        _, (figures, events, _, note) = job((options.name, options.which))
        show(options.name, figures, events, note)
        return
    tasks = [(name, which) for which in ("first", "second", "other") for name in SCENARIOS]
    tasks += [("relief_step", "first"), ("relief_step", "second")]
    results = {}
    with multiprocessing.Pool(options.jobs) as pool:
        for task, result in pool.imap_unordered(job, tasks):
            print("%-12s %-7s %6.1f s, %d steps" % (*task, result[3]["seconds"], result[3]["steps"]), file=sys.stderr,
                  flush=True)
            results[task] = result
    with open(options.output + ".part", "w") as f:
        json.dump(assemble(results), f, indent=1)
        f.write("\n")
    os.replace(options.output + ".part", options.output)


if __name__ == "__main__":
    main()
