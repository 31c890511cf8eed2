"""Sweeps and what is measured with them against scipy: samples of a sweep, noise, response, clocks, harmonics.

usage: calibrated.py PROGRAM

Writes excitations with PROGRAM; makes recordings of them with scipy's filters, its resampling and bends of its own; measures them
with the example `measured` (looked for beside PROGRAM, in examples/) and holds the results against scipy's responses, the made
clock, closed formulas, and a deconvolution of its own. Prints one line a check; ends with 1 where one fails.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

failed = 0


def check(name, holds, told):
    global failed
    failed += not holds
    print(f"{'ok  ' if holds else 'FAIL'} {name}: {told}")


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


def excitations(program, folder):
    samples, form, _ = written(program, folder, "sweep", "--seconds", "5", "--level", "-6")
    start, sweep = first_pass(samples, form)
    # Between the fades it is the formula at −6 dBFS, to half a step of 24 bits and rounding of the phase.
    inner = slice(len(sweep) // 10, len(sweep) * 9 // 10)
    far = np.max(np.abs(samples[start:][: len(sweep)][inner] - 10 ** (-6 / 20) * sweep[inner]))
    check("sweep is the formula", far < 2**-23, f"at most {far:.2e} from it")
    peak = 20 * np.log10(np.max(np.abs(samples)))
    check("peak is the stated one", abs(peak + 6) < 0.01, f"{peak:.3f} dBFS")
    for kind, slope in (("pink", -10.0), ("white", 0.0)):
        samples, form, _ = written(program, folder, kind, "--kind", kind, "--seconds", "20")
        hz, power = signal.welch(samples, form["rate_hz"], nperseg=8192)
        inside = (hz > 100) & (hz < 15000)
        found = np.polyfit(np.log10(hz[inside]), 10 * np.log10(power[inside]), 1)[0]
        check(f"{kind} noise falls as it should", abs(found - slope) < 0.3, f"{found:.2f} dB per decade, {slope} expected")


def response(program, folder):
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
        check(f"{rate} Hz: drift", abs(drift["value"] - ppm) < 1, f"{drift['value']:.3f} ± {drift['half']:.3f} ppm, {ppm} made")
        check(f"{rate} Hz: nothing to complain about", made["found"]["defects"] == [], str(made["found"]["defects"]))
        points = [p for p in made["levels"][0][0]["points"] if p["from_hz"] > 50 and p["to_hz"] < 18000]
        errors = [p["level_db"]["value"] - band_db(sos, rate, p["from_hz"], p["to_hz"]) for p in points]
        worst = max(errors, key=abs)
        check(f"{rate} Hz: response against scipy's", abs(worst) < 0.1 and len(points) > 95, f"{worst:+.4f} dB at most, {len(points)} points")


def deconvolution(program, folder):
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
    errors = []
    for p in made["levels"][0][0]["points"]:
        if p["from_hz"] > 50 and p["to_hz"] < 18000:
            inside = (hz >= p["from_hz"]) & (hz < p["to_hz"])
            errors.append(p["level_db"]["value"] - 10 * np.log10(np.mean(power[inside])))
    worst = max(errors, key=abs)
    # Bins at the edges of a band fall to one side or the other here.
    check("deconvolution against numpy's", abs(worst) < 0.05, f"{worst:+.4f} dB at most, {len(errors)} points")


def harmonics(program, folder):
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
        worst = max((f / expected - 1 for f in found), key=abs)
        check(f"harmonic {order + 2}", abs(worst) < 0.05 and len(found) > 14, f"{100 * worst:+.2f} % of {expected:.4f} % at most")
    fifth = [p["harmonics"][3] for p in points]
    most = max(f["at_most"] if "at_most" in f else f["measured"]["value"] for f in fifth if f)
    check("a harmonic that is not there", most < 0.01, f"at most {most:.4f} %")


def main():
    program = str(Path(sys.argv[1]).resolve())
    with tempfile.TemporaryDirectory() as holder:
        folder = Path(holder)
        excitations(program, folder)
        response(program, folder)
        deconvolution(program, folder)
        harmonics(program, folder)
    print(f"{failed} failed" if failed else "all hold")
    return int(failed > 0)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__)
        sys.exit(2)
    sys.exit(main())
