"""The equaliser bridge against scipy: responses of the bands from their coefficients, impulse responses, what remains.

usage: bridge.py PROGRAM

Makes two takes together whose microphones differ by a known equaliser of scipy's own second-order sections, bridges them with
PROGRAM, and holds what it writes against scipy. Prints one line a check; ends with 1 where one fails.
"""

import csv
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

import takes

RATE_HZ = 48000
# Shape, frequency in Hz, gain in dB, Q: what the second microphone does to the sound.
KNOWN = [("low shelf", 160.0, 4.0, math.sqrt(0.5)), ("peak", 1200.0, -5.0, 1.5), ("high shelf", 6000.0, 5.0, math.sqrt(0.5))]
failed = 0


def check(name, holds, told):
    global failed
    failed += not holds
    print(f"{'ok  ' if holds else 'FAIL'} {name}: {told}")


def section(shape, hz, gain_db, q):
    """b0 b1 b2 a0 a1 a2 by the cookbook's formulas (W3C Working Group Note, 2021), written down apart from the program's."""
    a, w = 10 ** (gain_db / 40), 2 * math.pi * hz / RATE_HZ
    alpha, cos = math.sin(w) / (2 * q), math.cos(w)
    if shape == "peak":
        return [1 + alpha * a, -2 * cos, 1 - alpha * a, 1 + alpha / a, -2 * cos, 1 - alpha / a]
    s = 1 if shape == "low shelf" else -1
    root = 2 * math.sqrt(a) * alpha
    b = [a * ((a + 1) - s * (a - 1) * cos + root), s * 2 * a * ((a - 1) - s * (a + 1) * cos), a * ((a + 1) - s * (a - 1) * cos - root)]
    return b + [(a + 1) + s * (a - 1) * cos + root, -s * 2 * ((a - 1) + s * (a + 1) * cos), (a + 1) + s * (a - 1) * cos - root]


def db_at(sections, hz):
    out = np.zeros(len(hz))
    for s in sections:
        out += 20 * np.log10(np.abs(signal.freqz(s[:3], s[3:], worN=2 * np.pi * hz / RATE_HZ)[1]))
    return out


def main(program):
    with tempfile.TemporaryDirectory() as room:
        room = Path(room)
        sound = takes.hits(RATE_HZ, 24, 5)
        other = sound.copy()
        for s in (section(*band) for band in KNOWN):
            other = signal.lfilter(s[:3], s[3:], other)
        rng = np.random.default_rng(8)
        for name, x in [("first", sound), ("second", other)]:
            noisy = 0.4 * x + 1e-5 * rng.standard_normal(x.size)
            soundfile.write(room / f"{name}.wav", noisy, RATE_HZ, subtype="PCM_24")
        into = room / "bridge"
        command = [program, "bridge", room / "first.wav", room / "second.wav", "--design", "together", "--into", into]
        command += ["--length", "1", "--margin", "0.2"]
        ran = subprocess.run([str(c) for c in command], capture_output=True, text=True)
        if ran.returncode != 0:
            raise SystemExit(f"bridge failed: {ran.stderr}")
        (bridge,) = json.loads((into / "bridge.json").read_text())
        edges = np.array([[b["from_hz"], b["to_hz"]] for b in bridge["bands"]])
        middle = np.sqrt(edges.prod(axis=1))
        column = lambda name: np.array([b[name] for b in bridge["bands"]])
        equaliser = bridge["equaliser"]
        shapes = {"low_shelf": "low shelf", "peak": "peak", "high_shelf": "high shelf"}
        sections = [section(shapes[b["shape"]], b["hz"], b["gain_db"], b["q"]) for b in equaliser["bands"]]
        off = np.abs(equaliser["gain_db"] + db_at(sections, middle) - column("equaliser_db")).max()
        # Rounding of the quick formula at 20 Hz.
        check("equaliser_db is scipy's response of the same bands", off < 1e-3, f"{off:.2e} dB off")

        truth = db_at([section(*band) for band in KNOWN], middle)
        # The match turns all alike, and hits hold little beyond some range: where they do not, the band is not there.
        for name in ("correction_db", "equaliser_db"):
            rest = column(name) - truth
            rest -= np.median(rest)
            inside = (middle > 60) & (middle < 15000)
            check(f"{name} is the known equaliser", np.abs(rest[inside]).max() < 0.2, f"{np.abs(rest[inside]).max():.3f} dB off at most")

        source = next(p for p in into.iterdir() if p.is_dir())
        for kind in ("minimum-phase", "linear-phase"):
            impulse, rate = soundfile.read(source / f"{kind}.wav")
            response = 20 * np.log10(np.abs(signal.freqz(impulse, worN=2 * np.pi * middle / rate)[1]))
            rest = np.abs(response - column("correction_db"))
            # A filter of a second resolves what lies above some 40 Hz.
            check(f"{kind}.wav has the correction's gain", rest[middle > 40].max() < 0.1, f"{rest[middle > 40].max():.3f} dB off at most")
            if kind == "linear-phase":
                check("linear-phase.wav is symmetric", np.array_equal(impulse, impulse[::-1]), f"{impulse.size} taps")
            else:
                inside = np.cumsum(impulse**2) / np.sum(impulse**2)
                check("minimum-phase.wav begins at once", inside[int(0.001 * rate)] > 0.5, f"{100 * inside[int(0.001 * rate)]:.0f} % in 1 ms")
        weights = np.log2(edges[:, 1] / edges[:, 0])
        rms = lambda x: math.sqrt(np.sum(weights * x**2) / np.sum(weights))
        off = abs(rms(column("wanted_db")) - bridge["difference_rms_db"])
        check("difference_rms_db from the bands", off < 1e-9, f"{off:.1e} dB off")
        off = abs(rms(column("wanted_db") - column("correction_db")) - bridge["after_correction"]["remaining_rms_db"])
        check("remaining_rms_db from the bands", off < 1e-9, f"{off:.1e} dB off")
        held = bridge["held_out"]
        check("held-out events are carried", held["equaliser_db"] < 0.2 * held["without_db"], f"{held['equaliser_db']:.2f} of {held['without_db']:.2f} dB")
        rows = list(csv.DictReader((source / "equaliser.csv").open()))
        same = [f"{b['hz']:.1f}" for b in equaliser["bands"]] == [r["frequency_hz"] for r in rows[1:]]
        check("equaliser.csv has the bands", same, f"{len(rows) - 1} bands")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
