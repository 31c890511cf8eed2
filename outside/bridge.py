"""The equaliser bridge against scipy: responses of the bands from their coefficients, impulse responses, what remains.

usage: bridge.py PROGRAM

Makes two takes together whose microphones differ by a known equaliser of scipy's own second-order sections, bridges them with
PROGRAM, and holds what it writes against scipy; then the same on recordings of real drums. Prints one line a check; ends with 1 where
one fails.
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

import recordings
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


def bridged(program, room, sound):
    """The sound and the sound through the known equaliser, with a little noise, bridged: what was written, and its bridge."""
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
    return into, bridge


def real_drums(program, most=4):
    """Hits of one drum each, joined; the truth is known, since the second take is the first through an equaliser."""
    for n, hits in enumerate(recordings.drums()):
        if n == most:
            break
        with tempfile.TemporaryDirectory() as room:
            rate = hits[0][1]
            # So many that the difference has an interval.
            many = [hit for hit, _ in hits] * max(1, -(-12 // len(hits)))
            sound, _ = recordings.joined(many[:16], rate)
            if rate != RATE_HZ:
                sound = signal.resample_poly(sound, RATE_HZ // 300, rate // 300)
            _, bridge = bridged(program, Path(room), 2 * sound / np.abs(sound).max())
        middle = np.array([math.sqrt(b["from_hz"] * b["to_hz"]) for b in bridge["bands"]])
        truth = db_at([section(*band) for band in KNOWN], middle)
        inside = (middle > 60) & (middle < 12000)
        column = lambda name: np.array([b[name] for b in bridge["bands"]])
        off = column("equaliser_db") - truth
        off = np.abs(off - np.median(off[inside]))[inside].max()
        # A drum without treble leaves the shelf to be guessed: half a decibel.
        check(f"real drum {n + 1}: equaliser_db is the known equaliser", off < 0.5, f"{off:.3f} dB off at most in {inside.sum()} bands")
        # The interval of what remains is that of the difference, for all bands at once: the truth lies in it.
        match = np.median((column("wanted_db") - truth)[inside])
        remains = truth + match - column("correction_db")
        low, high = (np.array([b["remaining"][side] for b in bridge["bands"]]) for side in ("low_db", "high_db"))
        without = int(((remains < low) | (remains > high)).sum())
        check(f"real drum {n + 1}: what truly remains lies in its interval in every band", without == 0, f"{without} of {low.size} bands outside")
        upper = bridge["after_equaliser"]["remaining_upper_db"]
        rest = np.array([b["equaliser_db"] for b in bridge["bands"]]) - truth
        weights = np.array([math.log2(b["to_hz"] / b["from_hz"]) for b in bridge["bands"]])
        rest -= np.average(rest, weights=weights)
        true = math.sqrt(np.average(rest**2, weights=weights))
        check(f"real drum {n + 1}: what truly remains is below its limit", true <= upper, f"{true:.3f} dB, limit {upper:.3f} dB")
        held = bridge["held_out"]
        told = f"{held['equaliser_db']:.2f} of {held['without_db']:.2f} dB, {held['by_itself_db']:.2f} by themselves, {len(bridge['equaliser']['bands'])} bands"
        # Nine tenths of the square: half of the events leave a wide interval, in which fewer bands seem enough.
        carried = held["equaliser_db"] ** 2 < 0.1 * held["without_db"] ** 2
        check(f"real drum {n + 1}: nine tenths are carried on held-out events", carried, told)


def main(program):
    real_drums(program)
    with tempfile.TemporaryDirectory() as room:
        into, bridge = bridged(program, Path(room), takes.hits(RATE_HZ, 24, 5))
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
