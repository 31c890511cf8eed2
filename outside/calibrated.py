"""Sweeps and what is measured with them against scipy: samples of a sweep, noise, response, clocks, harmonics.

usage: calibrated.py PROGRAM

Writes excitations with PROGRAM; makes recordings of them with scipy's filters, its resampling and bends of its own; measures them
with the example `measured` (looked for beside PROGRAM, in examples/) and holds the results against scipy's responses, the made
clock, closed formulas, and a deconvolution of its own.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

from report import Report

# Tolerances: some two to four times what is reached, and why it is not less.
SAMPLE = 2**-23  # half a step of 24 bits, and as much for rounding of the phase
PEAK_DB = 0.001  # a peak between two samples
SLOPE_DB = 0.3  # 20 s of noise: a tenth of a dB in each of a hundred bands that a slope goes through
DRIFT_PPM = 0.003  # noise 80 dB below the marks
RESPONSE_DB = 0.01  # noise 80 dB below, and bands as means of 65 frequencies
DIVIDED_DB = 0.05  # bins at the edges of a band fall to one side or the other here
HARMONIC = 0.01  # noise 80 dB below: a hundredth of what it is beside the weakest harmonic
NOTHING_PERCENT = 0.01  # noise


def written(program, folder, name, *options):
    """Samples of an excitation, its description, and the file that holds it."""
    path, form = folder / f"{name}.wav", folder / f"{name}.json"
    made = subprocess.run([program, "sweep", str(path), "--json", *options], capture_output=True, text=True, check=True)
    form.write_text(made.stdout)
    samples, _ = soundfile.read(path, dtype="float64")
    return samples, json.loads(made.stdout), form


def novak(form):
    """The synchronised sweep by Novak et al. (2015), equations 32 and 33, and its L: full amplitude, no fades."""
    low, high, rate = form["from_hz"], form["to_hz"], form["rate_hz"]
    rise = round(low * form["seconds"] / np.log(high / low)) / low
    t = np.arange(int(rise * np.log(high / low) * rate) + 1) / rate
    return np.sin(2 * np.pi * low * rise * np.exp(t / rise)), rise


def measured(program, folder, recording, form, *more):
    raw = folder / "recording.f32"
    recording.astype("<f4").tofile(raw)
    binary = Path(program).parent / "examples" / "measured"
    made = subprocess.run([binary, raw, form, *more], capture_output=True, text=True, check=True)
    return json.loads(made.stdout)


def first_pass(samples, form):
    """Where the first pass begins, by correlation with the formula."""
    sweep, _ = novak(form)
    return int(np.argmax(signal.fftconvolve(samples, sweep[::-1], mode="valid"))), sweep


def chain(rate):
    """A device of scipy's own sections."""
    sections = [signal.butter(2, 60, "highpass", fs=rate, output="sos"), signal.butter(2, 15000, "lowpass", fs=rate, output="sos")]
    sections.append(np.hstack(signal.iirnotch(3000, 0.7, fs=rate)).reshape(1, 6) * 1.0)
    # Half of the notch: mixed with the sound itself it is a dip of 6 dB.
    sections[-1][0, :3] = 0.5 * (sections[-1][0, :3] + sections[-1][0, 3:])
    return np.vstack(sections)


def band_db(sos, rate, low, high):
    _, h = signal.sosfreqz(sos, np.linspace(low, high, 65), fs=rate)
    return 10 * np.log10(np.mean(np.abs(h) ** 2))


def excitations(report, program, folder):
    samples, form, _ = written(program, folder, "sweep", "--seconds", "5", "--level", "-6")
    start, sweep = first_pass(samples, form)
    # Between the fades it is the formula at −6 dBFS, to half a step of 24 bits and rounding of the phase.
    inner = slice(len(sweep) // 10, len(sweep) * 9 // 10)
    report.near("sweep: the formula", samples[start:][: len(sweep)][inner], 10 ** (-6 / 20) * sweep[inner], SAMPLE)
    report.near("sweep: stated peak in dBFS", 20 * np.log10(np.max(np.abs(samples))), -6, PEAK_DB)
    for kind, slope in (("pink", -10.0), ("white", 0.0)):
        samples, form, _ = written(program, folder, kind, "--kind", kind, "--seconds", "20")
        hz, power = signal.welch(samples, form["rate_hz"], nperseg=8192)
        inside = (hz > 100) & (hz < 15000)
        found = np.polyfit(np.log10(hz[inside]), 10 * np.log10(power[inside]), 1)[0]
        report.near(f"{kind} noise: dB per decade", found, slope, SLOPE_DB)


def response(report, program, folder):
    for rate, ppm in ((48000, 50), (96000, -50)):
        samples, form, path = written(program, folder, f"long{rate}", "--seconds", "6", "--rate", str(rate))
        sos = chain(rate)
        heard = signal.sosfilt(sos, np.r_[np.zeros(rate // 3), samples, np.zeros(rate // 2)])
        # A whole number of frames more or fewer: scipy's resampling then makes exactly this drift.
        n = len(heard) // 20000 * 20000
        heard = signal.resample(heard[:n], n + n * ppm // 1000000)
        heard += 10 ** (-85 / 20) * np.random.default_rng(7).standard_normal(len(heard))
        made = measured(program, folder, heard, path)
        drift = made["found"]["drift_ppm"]
        report.near(f"{rate} Hz: drift in ppm", drift["value"], ppm, DRIFT_PPM)
        report.true(f"{rate} Hz: nothing to complain about", made["found"]["defects"] == [], str(made["found"]["defects"]))
        points = [p for p in made["levels"][0][0]["points"] if p["from_hz"] > 50 and p["to_hz"] < 18000]
        report.true(f"{rate} Hz: the whole range is measured", len(points) > 95, f"{len(points)} points")
        truth = [band_db(sos, rate, p["from_hz"], p["to_hz"]) for p in points]
        report.near(f"{rate} Hz: response against scipy's in dB", [p["level_db"]["value"] for p in points], truth, RESPONSE_DB)


def deconvolution(report, program, folder):
    """The same recording divided by the played samples, with numpy alone: no drift, no marks."""
    samples, form, path = written(program, folder, "plain", "--seconds", "4")
    rate = form["rate_hz"]
    heard = signal.sosfilt(chain(rate), np.r_[samples, np.zeros(rate)])
    made = measured(program, folder, heard, path)
    start, sweep = first_pass(samples, form)
    n = len(sweep) + rate
    y, x = np.fft.rfft(heard[start : start + n]), np.fft.rfft(samples[start : start + len(sweep)], n)
    hz = np.fft.rfftfreq(n, 1 / rate)
    power = np.abs(y / np.where(np.abs(x) > 1e-3 * np.max(np.abs(x)), x, np.inf)) ** 2
    points = [p for p in made["levels"][0][0]["points"] if p["from_hz"] > 50 and p["to_hz"] < 18000]
    mean = lambda p: 10 * np.log10(np.mean(power[(hz >= p["from_hz"]) & (hz < p["to_hz"])]))
    found, own = [p["level_db"]["value"] for p in points], [mean(p) for p in points]
    report.true("deconvolution: the whole range is measured", len(points) > 95, f"{len(points)} points")
    report.near("deconvolution against numpy's in dB", found, own, DIVIDED_DB)


def harmonics(report, program, folder):
    samples, form, path = written(program, folder, "loud", "--level", "-6", "--seconds", "8")
    rate, amplitude = form["rate_hz"], 10 ** (-6 / 20)
    second, third = 0.01, 0.02
    fine = signal.resample_poly(np.r_[samples, np.zeros(rate // 2)], 4, 1)
    heard = signal.resample_poly(fine + second * fine**2 + third * fine**3, 1, 4)
    heard += 10 ** (-80 / 20) * np.random.default_rng(9).standard_normal(len(heard))
    points = [p for p in measured(program, folder, heard, path, "80")["levels"][0][1]["points"] if 100 < p["hz"] < 4000]
    # Closed: A + 3/4·c·A³, b·A²/2, c·A³/4.
    first = amplitude + 0.75 * third * amplitude**3
    truth = [100 * second * amplitude**2 / 2 / first, 100 * third * amplitude**3 / 4 / first]
    for order, expected in zip((0, 1), truth):
        found = [p["harmonics"][order]["measured"]["value"] for p in points]
        report.true(f"harmonic {order + 2}: the whole range is measured", len(found) > 14, f"{len(found)} points")
        report.near(f"harmonic {order + 2}: share of the formula", np.array(found) / expected, np.ones(len(found)), HARMONIC)
    fifth = [p["harmonics"][3] for p in points]
    most = max(f["at_most"] if "at_most" in f else f["measured"]["value"] for f in fifth if f)
    report.near("a harmonic that is not there, in %", most, 0, NOTHING_PERCENT)


def main():
    program = str(Path(sys.argv[1]).resolve())
    report = Report()
    with tempfile.TemporaryDirectory() as holder:
        folder = Path(holder)
        excitations(report, program, folder)
        response(report, program, folder)
        deconvolution(report, program, folder)
        harmonics(report, program, folder)
    return report.close()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__)
        sys.exit(2)
    sys.exit(main())
