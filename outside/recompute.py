"""Levels and band levels a second time, with numpy, scipy and pyloudnorm, from the definitions."""

import numpy as np
import pyloudnorm
from scipy import signal

G = 10 ** 0.3  # ratio of an octave in IEC 61260-1


def band_edges(bands_per_octave, low_hz=19.6, high_hz=20400.0):
    """Edges of the bands with mid-band frequency in a range (IEC 61260-1, Formulas 1 to 5)."""
    b = bands_per_octave
    steps = np.arange(-20 * b, 20 * b)
    middle = 1000 * G ** (steps / b) if b % 2 else 1000 * G ** ((2 * steps + 1) / (2 * b))
    middle = middle[(middle >= low_hz) & (middle <= high_hz)]
    return middle * G ** (-1 / (2 * b)), middle * G ** (1 / (2 * b))


def band_energy(samples, rate_hz, from_hz, to_hz):
    """Energy of a stretch in each band, in full-scale² · s; a bin at an edge counts in part."""
    # Padding makes the bins far narrower than the bands, so that counting them in part is exact enough.
    n = 1 << int(np.ceil(np.log2(max(8 * samples.size, rate_hz))))
    energy = np.abs(np.fft.rfft(samples, n)) ** 2 / rate_hz**2  # full-scale² · s per Hz, two-sided
    width_hz = rate_hz / n
    energy[1:-1] *= 2
    # Bin k reaches from (k − 1/2)·width to (k + 1/2)·width.
    edges_hz = (np.arange(energy.size + 1) - 0.5) * width_hz
    total = np.concatenate([[0.0], np.cumsum(energy * width_hz)])
    return np.interp(to_hz, edges_hz, total) - np.interp(from_hz, edges_hz, total)


def steady_power(samples, rate_hz, from_hz, to_hz):
    """Mean power of a block in each band by scipy's Welch average: Hann, half overlap, segments of a third of a second."""
    n = 1 << int(np.ceil(np.log2(rate_hz // 3)))
    # A periodic Hann window, no mean taken away: scipy's own normalisation makes the sum the mean square.
    _, density = signal.welch(samples, rate_hz, "hann", n, n // 2, detrend=False)
    width_hz = rate_hz / n
    edges_hz = (np.arange(density.size + 1) - 0.5) * width_hz
    total = np.concatenate([[0.0], np.cumsum(density * width_hz)])
    return np.interp(to_hz, edges_hz, total) - np.interp(from_hz, edges_hz, total)


def k_weighted(samples, rate_hz):
    """K-weighting of BS.1770 by pyloudnorm's coefficients that follow the Recommendation at any rate."""
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    for stage in meter._filters.values():  # the filters have no public name
        samples = stage.passband_gain * signal.lfilter(stage.b, stage.a, samples)
    return samples


def event_loudness(weighted, rate_hz, start, end):
    """−0.691 + 10·lg(K-weighted energy / 0.4 s) of the stretch from frame `start` to `end`."""
    energy = np.sum(weighted[start:end] ** 2) / rate_hz
    return -0.691 + 10 * np.log10(energy / 0.4)


def block_loudness(weighted, start, end):
    """−0.691 + 10·lg(mean K-weighted square) of the stretch."""
    return -0.691 + 10 * np.log10(np.mean(weighted[start:end] ** 2))


def file_loudness(samples, rate_hz):
    return pyloudnorm.Meter(rate_hz, filter_class="DeMan").integrated_loudness(samples)


def true_peak(samples, rate_hz):
    """Greatest absolute value between the samples: 16 values for each, by the polyphase filter of scipy."""
    dense = signal.resample_poly(samples, 16, 1, window=("kaiser", 12.0))
    return max(np.abs(dense).max(), np.abs(samples).max())


def db(power):
    return 10 * np.log10(power)
