#!/usr/bin/env python3
"""Cross-checks of sensitivity, noise, direction and proximity by numpy and scipy.

usage: levels.py EXAMPLE      EXAMPLE is the example `level_values` of fairtake-calibrated

The example prints its inputs with its values; every value is computed here a second time. No expected number is typed in.
"""

import csv
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
from scipy import integrate, optimize, signal

from report import Report

BURSTS = Path(__file__).parent.parent / "reference" / "04_bs468_bursts.csv"
PASCAL_DB = 20 * np.log10(1 / 20e-6)
SPEED = 343.2

# Reasons for the tolerances.
FITTED_DB = 1e-4  # a sine fitted to the whole take instead of block by block; noise 60 dB below
SAME_DB = 0.002  # the same average of spectra, in another order and by another transform
WEIGHTED_DB = 0.02  # weighting by the formula on bins against a filter of 40 ms, both through the same meter
INTEGRAL_DB = 0.03  # parabolas between measured angles against the integral of the pattern itself
FIT = 1e-5  # two searches for one least square, ended by different rules

# The meter's constants: what is checked.
CONSTANTS_S = [0.001474, 0.294, 0.234, 0.353]


def db(power):
    return 10 * np.log10(power)


def tone(report, row):
    x, rate = np.array(row["samples"]), row["rate_hz"]
    name = f"tone at {rate} Hz"
    # The outer blocks are left out, as they hold the calibrator's being put on.
    block = rate // 4
    x = x[block : len(x) // block * block - block]
    t = np.arange(x.size) / rate
    start = [np.sqrt(2) * x.std(), 0.0, row["frequency_hz"] + 0.01]
    model = lambda p: p[0] * np.sin(2 * np.pi * p[2] * t) + p[1] * np.cos(2 * np.pi * p[2] * t) - x
    starts = [[start[0] * np.cos(a), start[0] * np.sin(a), start[2]] for a in np.linspace(0, 2 * np.pi, 8)]
    fits = [optimize.least_squares(model, s, x_scale=[1e-2, 1e-2, 1e-3], xtol=1e-14, ftol=1e-14) for s in starts]
    fit = min(fits, key=lambda f: f.cost)
    a, b, hz = fit.x
    report.near(f"{name}: level", row["level_dbfs"], 20 * np.log10(np.hypot(a, b)), FITTED_DB)
    report.near(f"{name}: frequency", row["frequency_hz"], hz, 0.01)
    overtones = 0
    for k in range(2, 11):
        if k * hz < rate / 2:
            base = np.stack([np.sin(2 * np.pi * k * hz * t), np.cos(2 * np.pi * k * hz * t)], 1)
            overtones += np.sum(np.linalg.lstsq(base, fit.fun, rcond=None)[0] ** 2)
    share = 100 * np.sqrt(overtones) / np.hypot(a, b)
    report.near(f"{name}: distortion in %", row["distortion_percent"], share, 0.02)


def a_weighting(f):
    """IEC 61672-1, Annex E, from its corner frequencies."""
    r = np.sqrt(0.5)
    low, high, ref = 10**1.5, 10**3.9, 1000.0
    b = (ref**2 + low**2 * high**2 / ref**2 - r * (low**2 + high**2)) / (1 - r)
    c = low**2 * high**2
    f1, f4 = np.sqrt((-b - np.sqrt(b * b - 4 * c)) / 2), np.sqrt((-b + np.sqrt(b * b - 4 * c)) / 2)
    f2, f3 = (3 - np.sqrt(5)) / 2 * 10**2.45, (3 + np.sqrt(5)) / 2 * 10**2.45
    gain = lambda f: (f4**2 * f**4 / ((f**2 + f1**2) * np.sqrt(f**2 + f2**2) * np.sqrt(f**2 + f3**2) * (f**2 + f4**2)))
    return gain(f) / gain(1000.0)


def network(f):
    """BS.468 as a ratio of polynomials in s = j2πf, 0 dB at 1 kHz."""
    w = 2 * np.pi
    h1 = np.array([-4.737338981378384e-24, 0, 2.043828333606125e-15, 0, -1.363894795463638e-7, 0, 1.0])
    h2 = np.array([1.306612257412824e-19, 0, -2.118150887518656e-11, 0, 5.559488023498642e-4, 0])
    value = lambda f: 1j * f / (np.polyval(h1, f) + 1j * np.polyval(h2, f))
    return value(f) / np.abs(value(np.array([1000.0])))


def weighted(x, rate):
    """Through the network, on a transform long enough that nothing comes round."""
    n = x.size + rate
    f = np.fft.rfftfreq(n, 1 / rate)
    return np.fft.irfft(np.fft.rfft(x, n) * network(f), n)[: x.size]


def meter(x, rate, constants=CONSTANTS_S):
    """Two peak rectifiers in tandem, step by step."""
    c1, d1, c2, d2 = (1 / (s * rate) for s in constants)
    first = second = 0.0
    out = []
    for v in np.abs(x).tolist():
        first += (c1 * (v - first) if v > first else 0.0) - d1 * first
        second += (c2 * (first - second) if first > second else 0.0) - d2 * second
        out.append(second)
    return np.array(out)


def sine_scale(rate):
    """What makes a steady sine read its RMS."""
    t = np.arange(4 * rate) / rate
    return np.sqrt(0.5) / meter(np.sin(2 * np.pi * 989.7 * t), rate)[3 * rate :].mean()


def noise(report, row):
    x, rate = np.array(row["samples"]), row["rate_hz"]
    spl = lambda power: db(2 * power) - row["dbfs_per_pa"] + PASCAL_DB
    n = 2 ** int(np.ceil(np.log2(rate)))
    f, p = signal.welch(x, rate, "hann", n, n // 2, detrend=False, scaling="spectrum")
    p = p / 1.5  # a spectrum's bins, of noise: the window's noise bandwidth
    report.near("noise: A-weighted", row["a_weighted"], spl(np.sum(p * a_weighting(f) ** 2)), SAME_DB)
    bands = np.array(row["thirds"])
    width = f[1]
    share = lambda low, high: np.clip(np.minimum(high, f + width / 2) - np.maximum(low, f - width / 2), 0, width) / width
    thirds = [spl(np.sum(p * share(low, high))) for low, high, _ in bands]
    report.near("noise: third octaves", bands[:, 2], thirds, SAME_DB)
    readings = sine_scale(rate) * meter(weighted(x, rate), rate)[int(1.5 * rate) :]
    seconds = readings[: readings.size // rate * rate].reshape(-1, rate).mean(1)
    report.near("noise: BS.468", row["bs468"], spl(np.mean(seconds**2)), WEIGHTED_DB)
    report.true("noise: hum is found at 50 and 150 Hz", [round(hz / 50) for hz, _ in row["hum"]] == [1, 3], str(row["hum"]))
    for hz, level in row["hum"]:
        t = np.arange(x.size) / rate
        k = round(hz / 50) * 50
        base = np.stack([np.sin(2 * np.pi * k * t), np.cos(2 * np.pi * k * t)], 1)
        amplitude2 = np.sum(np.linalg.lstsq(base, x, rcond=None)[0] ** 2)
        report.near(f"noise: line at {k} Hz", level, spl(amplitude2 / 2), 0.3)


def burst(ms, per_s, rate):
    t = np.arange(int((3.2 if per_s else 1.2) * rate)) / rate
    sounds = (t * per_s + 1e-9) % 1 / per_s < ms / 1000 - 1e-9 if per_s else t < ms / 1000 - 1e-9
    return weighted(np.sin(2 * np.pi * 5000 * t) * sounds, rate)


def bursts(report, row):
    rate = row["rate_hz"]
    with open(BURSTS) as file:
        table = [r for r in csv.reader(file) if not r[0].startswith("#")][1:]
    wanted = {(float(r[1]), float(r[2] or 0)): [float(v) for v in (r[3], r[5], r[6])] for r in table}
    t = np.arange(3 * rate) / rate
    steady = weighted(np.sin(2 * np.pi * 5000 * t), rate)
    made = {key: burst(*key, rate) for key in wanted}

    def read(constants):
        full = meter(steady, rate, constants)[2 * rate :].max()
        highest = lambda key: meter(made[key], rate, constants)[int(2.2 * rate) if key[1] else 0 :].max()
        return {key: 100 * highest(key) / full for key in wanted}

    def cost(readings):
        """Deviations as shares of their tolerances; the sixth power asks for the worst of them to be small."""
        total = 0.0
        for key, (target, low, high) in wanted.items():
            off = readings[key] - target
            total += (off / (high - target if off > 0 else target - low)) ** 6
        return total

    mine = read(CONSTANTS_S)
    for ms, per_s, percent in row["readings"]:
        target, low, high = wanted[(ms, per_s)]
        name = f"burst of {ms:g} ms, {per_s:g} a second"
        report.near(f"{name}: reading in %", percent, mine[(ms, per_s)], 0.3)
        report.true(f"{name}: within its limits", low <= percent <= high, f"{percent:.1f}, {low} to {high}")
    best = cost(mine)
    report.true("bursts: the worst lies within a fifth of its tolerance", best < 11 * 0.2**6, f"{best:.3g}")
    for k in range(2):
        for factor in (0.9, 1.1):
            moved = [s * (factor if i == k else 1) for i, s in enumerate(CONSTANTS_S)]
            report.true(f"bursts: constant {k} times {factor} fits worse", cost(read(moved)) > best, "it fits better")


def direction(report, row):
    share, wave = row["share"], row["wave"]
    sinc = lambda x: np.sinc(x / np.pi)
    p = lambda a: (1 - share + share * np.cos(a)) * sinc(wave * np.sin(a))
    power = lambda low, high: 0.5 * integrate.quad(lambda a: p(a) ** 2 * np.sin(a), low, high, epsabs=1e-12)[0]
    name = f"pattern of share {share}, width {wave}"
    report.near(f"{name}: directivity index", row["index_db"], -db(power(0, np.pi)), INTEGRAL_DB)
    halves = db(power(0, np.pi / 2) / power(np.pi / 2, np.pi))
    report.near(f"{name}: front to back", row["front_to_back_db"], halves, INTEGRAL_DB)
    report.near(f"{name}: at 90°", row["at_90_db"], 2 * db(abs(p(np.pi / 2))), INTEGRAL_DB)
    angle, level = np.radians(np.array(row["points"])[:, 0]), np.array(row["points"])[:, 1]
    r = 10 ** ((level - level[0]) / 20)

    # Squares of amplitudes before a source at that distance: a gradient reads 1 - j/(kr) times as much as pressure.
    kr = 2 * np.pi * row["centre_hz"] * row["distance_mm"] / 1000 / SPEED
    x, floored = np.cos(angle), np.maximum(r, 0.01)

    def fit(b):
        slope = b * np.sin(angle) * np.radians(row["angle_tolerance_deg"]) / np.sqrt(3)
        sd = 2 * floored * np.sqrt((floored * row["standard_db"] * np.log(10) / 20) ** 2 + slope**2 + 0.01**2)
        left = lambda q: ((q[0] + q[1] * x) ** 2 + (q[1] * x / kr) ** 2 - r**2) / sd
        starts = [[1 - s, s] for s in (0.1, 0.3, 0.5, 0.7, 0.9)]
        best = min((optimize.least_squares(left, s, xtol=1e-14, ftol=1e-14) for s in starts), key=lambda f: f.cost)
        return best.x[1] / best.x.sum()

    # Weights by the slope of a first fit, then the fit.
    report.near(f"{name}: fitted share", row["fitted_share"], fit(np.clip(fit(0.5), 0, 1)), FIT)


def distance(report, row):
    d0, bands = np.array(row["distances_mm"]) / 1000, np.array(row["bands_hz"])
    levels, a = np.array(row["levels_db"]), row["radius_mm"] / 1000
    keep = bands <= 2000 * 1.03
    bands, levels = bands[keep], levels[:, keep]
    k = 2 * np.pi * bands / SPEED
    held = row["tolerance_mm"] / 1000 / np.sqrt(3)
    n, m = levels.shape

    def model(d, square):
        d = d[:, None]
        if a == 0:
            return db((1 + square / (k * d) ** 2) / d**2)
        far, b = np.hypot(d, a), np.sqrt(square)
        near, late = np.exp(-1j * k * d), np.exp(-1j * k * far)
        p, u = near - late, near - d / far * late
        return 2 * db(np.abs((1 - b) * p + b * u) / (k * a))

    def left(x):
        errors = x[2 + m :] if held else np.zeros(n)
        out = (levels - model(d0 + x[0] + errors, x[1]) - x[2 : 2 + m]) / row["standard_db"]
        return np.concatenate([out.ravel(), errors / held if held else []])

    start = np.concatenate([[0.01, 0.3], (levels - model(d0, 0.3)).mean(0), np.zeros(n if held else 0)])
    scale = np.concatenate([[0.01, 0.1], np.ones(m), np.full(n if held else 0, 1e-3)])
    fit = optimize.least_squares(left, start, x_scale=scale, jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)
    centre, square = fit.x[:2]
    name = f"series of ±{row['tolerance_mm']} mm, radius {row['radius_mm']} mm"
    report.near(f"{name}: acoustic centre in mm", row["centre_mm"], 1000 * centre, 1e-3)
    report.near(f"{name}: gradient share", row["gradient_share"], np.sqrt(square), FIT)
    spread = 1000 * np.sqrt(covariance[0, 0])
    report.near(f"{name}: standard uncertainty of the centre, ratio", row["centre_standard_mm"] / spread, 1, 0.01)
    by_square = np.sqrt(covariance[1, 1]) / (2 * np.sqrt(square))
    report.near(f"{name}: of the share, ratio", row["gradient_share_standard"] / by_square, 1, 0.03)
    # Where 80 Hz has risen by 3 dB, by a search; its uncertainty by moving centre and square.
    rise = lambda r, q: db(1 + q / (2 * np.pi * 80 / SPEED * r) ** 2) - 3
    at = lambda q: optimize.brentq(lambda r: rise(r, q), 1e-4, 100)
    report.near(f"{name}: where 80 Hz has risen in mm", row["rise_mm"], 1000 * (at(square) - centre), 1e-2)
    by = np.array([-1.0, (at(square + 1e-5) - at(square - 1e-5)) / 2e-5])
    spread = 1000 * np.sqrt(by @ covariance[:2, :2] @ by)
    report.near(f"{name}: its uncertainty, ratio", row["rise_standard_mm"] / spread, 1, 0.01)


def main():
    rows = json.loads(subprocess.run([sys.argv[1]], capture_output=True, text=True, check=True).stdout)
    report = Report()
    checks = {f.__name__: f for f in (tone, noise, bursts, direction, distance)}
    for row in rows:
        checks[row["kind"]](report, row)
    report.true("every kind was there", {row["kind"] for row in rows} == set(checks), str(checks.keys()))
    sys.exit(report.close())


main()
