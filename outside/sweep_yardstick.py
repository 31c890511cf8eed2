"""The yardstick of a measured sweep: what an engineer would script with scipy for response and five harmonics.

usage: sweep_yardstick.py RECORDING EXCITATION PLAYED RUNS

RECORDING    32-bit floats and nothing else
EXCITATION   the JSON of `fairtake sweep --json`
PLAYED       the samples that were played, 32-bit floats and nothing else
RUNS         how often; the median time of a run in seconds is printed as JSON, with the level at 1 kHz and THD there

A run finds the first and the last chirp by correlation, resamples nothing, divides spectra, gates the response and the harmonics of
the orders 2 to 5, and averages power in twelfths of an octave. It does not look for defects and gives no uncertainty.
"""

import json
import statistics
import sys
import time

import numpy as np
from scipy import fft, signal


def bands(power, step_hz, per_octave, low, high):
    k = np.arange(np.ceil(per_octave * np.log2(low)), np.floor(per_octave * np.log2(high)))
    edges = 2 ** (np.append(k, k[-1] + 1) / per_octave)
    sums = np.append(0, np.cumsum(power))
    places = np.searchsorted(np.arange(len(power)) * step_hz, edges)
    return edges, np.diff(sums[places]) / np.maximum(1, np.diff(places))


def gated(impulse, middle, before, behind, rate):
    part = np.take(impulse, np.arange(middle - before, middle + behind), mode="wrap")
    part = part * np.r_[np.hanning(2 * before)[:before], np.hanning(2 * behind)[behind:]]
    return np.abs(fft.rfft(part, 2 ** int(np.ceil(np.log2(max(len(part), rate / 0.75)))))) ** 2


def run(recording, played, form):
    rate, low, high = form["rate_hz"], form["from_hz"], form["to_hz"]
    rise = round(low * form["seconds"] / np.log(high / low)) / low
    t = np.arange(int(0.25 * rate)) / rate
    chirp = np.sin(2 * np.pi * (500 * t + 0.5 * 3500 / 0.25 * t**2)) * signal.windows.tukey(len(t), 0.4)
    alike = np.abs(signal.oaconvolve(recording, chirp[::-1], mode="valid"))
    first = int(np.argmax(alike[: len(alike) // 2]))
    last = len(alike) // 2 + int(np.argmax(alike[len(alike) // 2 :]))
    start = first + int(np.ceil(1.15 * rate)) + rate
    n_pass = int(rise * np.log(high / low) * rate) + 2
    n = fft.next_fast_len(n_pass + rate, real=True)
    reference = played[int(0.5 * rate) + int(np.ceil(1.15 * rate)) + rate :][:n_pass]
    x, y = fft.rfft(reference, n), fft.rfft(recording[start : start + n_pass + rate], n)
    power = np.abs(x) ** 2
    impulse = fft.irfft(y * np.conj(x) / (power + 1e-6 * np.max(power)), n)
    middle = int(np.argmax(np.abs(impulse[:rate])))
    behind = int(0.05 * rate)
    spectra = [gated(impulse, middle - int(rise * np.log(order) * rate), behind, behind, rate) for order in range(1, 6)]
    step_hz = rate / (2 * (len(spectra[0]) - 1))
    edges, response = bands(spectra[0], step_hz, 12, low, high)
    thd = []
    for order in range(2, 6):
        _, harmonic = bands(spectra[order - 1], step_hz, 12, order * low, order * high / 6)
        thd.append(harmonic)
    at = int(np.searchsorted(edges, 1000)) - 1
    return 10 * np.log10(response[at]), last - first


def main():
    recording = np.fromfile(sys.argv[1], "<f4").astype(float)
    form = json.load(open(sys.argv[2]))
    played = np.fromfile(sys.argv[3], "<f4").astype(float)
    seconds = []
    for _ in range(int(sys.argv[4])):
        begun = time.perf_counter()
        found = run(recording, played, form)
        seconds.append(time.perf_counter() - begun)
    print(json.dumps({"seconds": statistics.median(seconds), "db_at_1k": found[0], "apart_frames": found[1]}))


if __name__ == "__main__":
    if len(sys.argv) != 5:
        print(__doc__)
        sys.exit(2)
    main()
