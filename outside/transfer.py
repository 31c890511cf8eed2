"""Designs told from bare files; delay and null depth by least squares, from the same files."""

import numpy as np
import soundfile as sf
from scipy import interpolate, linalg, optimize

import takes

RATE_HZ = 48000
DELAY_FRAMES = 7.3
LONGEST_S = 0.5  # as docs/methods/alignment.md states

# Reasons for the tolerances.
DELAY = 0.005  # frames; noise is 60 dB below the hits, and the echo moves the best delay by as much for both
NULL = 0.1  # dB; the program fades its events at both ends, this script does not


def delayed(sound, frames):
    """Moved by a fraction of a frame, by turning the phase of the whole file's spectrum."""
    bins = np.fft.rfft(sound, 2 * sound.size)
    turn = np.exp(-2j * np.pi * np.arange(bins.size) * frames / (2 * sound.size))
    return np.fft.irfft(bins * turn)[: sound.size]


def drifting(sound, millionths):
    """Played back by a clock that is faster by so many millionths."""
    at = np.arange(sound.size) * (1 + 1e-6 * millionths)
    return interpolate.CubicSpline(np.arange(sound.size), sound)(np.minimum(at, sound.size - 1))


def write(path, sound, seed, own_noise=2e-5):
    rng = np.random.default_rng(seed)
    sf.write(path, sound + own_noise * rng.normal(size=sound.size), RATE_HZ, subtype="PCM_24")


def designs(report, program, folder, compare):
    """Recorded at once, replayed on one clock and on two, and a case that cannot be told: found without being stated."""
    first, second = takes.two_microphones(RATE_HZ)
    played = takes.hits(RATE_HZ, 14, seed=101)
    room = [takes.ambience(RATE_HZ, played.size, seed, 2e-4) for seed in (102, 103)]
    held = takes.held_sound(RATE_HZ, 20, seed=104)
    again = takes.hits(RATE_HZ, 14, seed=105)
    cases = [
        ("at once", played + room[0], played + room[0], "together", "fair"),
        ("replayed, one clock", played + room[0], played + room[1], "replayed", "fair"),
        ("replayed, two clocks", played + room[0], drifting(played, 30) + room[1], "replayed", "fair"),
        ("without a gap", held, held, "together", "caution"),
        ("in turn", played + room[0], again + room[1], "in_turn", None),
    ]
    for k, (name, a, b, design, outcome) in enumerate(cases):
        files = [folder / f"design-{k}-first.wav", folder / f"design-{k}-second.wav"]
        write(files[0], first.hear(a), 110 + k)
        write(files[1], second.hear(b), 120 + k)
        findings, _ = compare(program, files, folder)
        found = findings["comparisons"][0]
        told = f"{found['design']}: {found['design_reason']}"
        report.true(f"design, {name}: {design}", found["design"] == design, told)
        outcomes = [c["outcome"] for c in findings["checks"] if c["code"] == "design_uncertain"]
        report.true(f"design, {name}: certainty", outcomes == ([outcome] if outcome else []), f"{outcomes}")
        aligned = found["alignment"] is not None
        wanted = design == "together" and outcome == "fair"
        report.true(f"design, {name}: alignment", aligned == wanted, f"{found['alignment']}")


def alignment(report, program, folder, compare):
    """An echo after a delay, upside down: the delay and what gain and delay leave over, by least squares."""
    hits = takes.hits(RATE_HZ, 16, seed=131)
    sound = hits + takes.ambience(RATE_HZ, hits.size, 132, 5e-5)
    echo = delayed(sound, DELAY_FRAMES) + 0.2 * delayed(sound, DELAY_FRAMES + 61)
    files = [folder / "echo-first.wav", folder / "echo-second.wav"]
    write(files[0], sound, 133)
    write(files[1], -0.6 * echo, 134)
    findings, events = compare(program, files, folder, "--design", "together")
    found = findings["comparisons"][0]["alignment"]
    a, b = (sf.read(file)[0] for file in files)
    rows = events.used(findings["takes"][0]["id"])
    spans = []
    for row in rows:
        start, end = (int(round(float(row[key]) * RATE_HZ)) for key in ("start_s", "end_s"))
        spans.append(slice(start, min(end, start + int(LONGEST_S * RATE_HZ))))
    report.true("alignment: all events serve", 4 <= len(spans) <= 16, f"{len(spans)}")
    fit, test = spans[0::2], spans[1::2]

    def joined(sound, pieces):
        return np.concatenate([sound[piece] for piece in pieces])

    def left(frames, pieces, gain=None):
        x, y = joined(delayed(a, frames), pieces), joined(b, pieces)
        gain = x @ y / (x @ x) if gain is None else gain
        return np.sum((y - gain * x) ** 2) / np.sum(y**2), gain

    best = optimize.minimize_scalar(lambda t: left(t, fit)[0], bracket=(DELAY_FRAMES - 0.5, DELAY_FRAMES + 0.5))
    _, gain = left(best.x, fit)
    residual, _ = left(best.x, test, gain)
    report.near("alignment: delay in frames", found["delay_s"] * RATE_HZ, DELAY_FRAMES, DELAY)
    report.true("alignment: polarity", found["polarity"] == "inverted", found["polarity"])
    # The delay by least squares is led a little by the echo; the null depth is a minimum and hardly moves with it.
    report.near("alignment: left after gain and delay", found["null_depth"]["gain_delay_db"], 10 * np.log10(residual), NULL)

    # The best filter of ±10 ms by the normal equations.
    reach = RATE_HZ // 100
    auto, cross = np.zeros(2 * reach + 1), np.zeros(2 * reach + 1)
    for piece in fit:
        x, y = a[piece], b[piece]
        n = 2 * x.size
        spectrum = np.fft.rfft(x, n)
        own = np.fft.irfft(np.abs(spectrum) ** 2, n)
        both = np.fft.irfft(np.conj(spectrum) * np.fft.rfft(y, n), n)
        auto += own[: 2 * reach + 1]
        cross += np.concatenate([both[-reach:], both[: reach + 1]])
    auto[0] *= 1 + 1e-9
    taps = linalg.solve_toeplitz(auto, cross)
    filtered = np.convolve(a, taps)[reach : reach + a.size]
    free = np.sum((joined(b, test) - joined(filtered, test)) ** 2) / np.sum(joined(b, test) ** 2)
    mine = found["null_depth"]["any_linear_db"]
    # The program's filter is cut from a spectral ratio and is not the least-squares one: it may leave more, not less than
    # the noise that least squares leave, which the program takes off by at most 10 dB.
    report.true(
        "alignment: any linear filter leaves little",
        10 * np.log10(free) - 10.5 <= mine <= -25,
        f"{mine} dB; least squares leave {10 * np.log10(free):.1f} dB",
    )
