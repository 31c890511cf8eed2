"""Takes whose difference is known: made hits and made sustained sound, through known filters, with noise."""

from dataclasses import dataclass

import numpy as np
import soundfile as sf
from scipy import signal


@dataclass
class Microphone:
    """A gain and a chain of second-order sections (at the rate of the take), and noise of its own."""

    sections: np.ndarray
    gain_db: float
    noise_rms: float

    def hear(self, sound):
        return 10 ** (self.gain_db / 20) * signal.sosfilt(self.sections, sound)


def bell(rate_hz, centre_hz, gain_db, q):
    """Second-order bell: analogue prototype with unit gain far away, by the bilinear transform."""
    a = 10 ** (gain_db / 40)
    w = 2 * rate_hz * np.tan(np.pi * centre_hz / rate_hz)
    return signal.tf2sos(*signal.bilinear([1, a * w / q, w * w], [1, w / (a * q), w * w], rate_hz))


def low_shelf(rate_hz, corner_hz, gain_db):
    """First-order shelf: `gain_db` far below the corner, none far above."""
    w = 2 * rate_hz * np.tan(np.pi * corner_hz / rate_hz)
    g = 10 ** (gain_db / 20)
    return signal.tf2sos(*signal.bilinear([1, np.sqrt(g) * w], [1, w / np.sqrt(g)], rate_hz))


def two_microphones(rate_hz):
    """The pair that all made takes use; nobody's real microphones."""
    first = Microphone(np.vstack([bell(rate_hz, 5000, 2.0, 0.8)]), 0.0, 4e-5)
    second = Microphone(np.vstack([bell(rate_hz, 2500, 4.0, 0.7), low_shelf(rate_hz, 150, -4.0)]), -3.7, 5e-5)
    return first, second


FIRST_HIT_S, SPACING_S = 0.8, 1.3


def apart(sound, rate_hz):
    """The hits that `hits` made, one by one."""
    starts = np.arange(int(FIRST_HIT_S * rate_hz), sound.size - rate_hz, int(SPACING_S * rate_hz))
    return [sound[start : start + rate_hz] for start in starts]


def hits(rate_hz, n, seed):
    """`n` hits of a made drum: ringing modes and a burst of noise; harder hits are brighter."""
    rng = np.random.default_rng(seed)
    out = np.zeros(int(rate_hz * (n * SPACING_S + 1.0)))
    t = np.arange(int(0.9 * rate_hz)) / rate_hz
    for k in range(n):
        strength = 10 ** (rng.normal(-4.0, 2.0) / 20)
        sound = np.zeros_like(t)
        for hz, level, decay_s in [(92, 1.0, 0.16), (147, 0.7, 0.13), (211, 0.5, 0.1), (640, 0.15, 0.06)]:
            sound += level * np.exp(-t / decay_s) * np.sin(2 * np.pi * hz * (1 + 0.002 * rng.normal()) * t)
        burst = rng.normal(size=t.size) * np.exp(-t / 0.03) * strength**0.3
        sound += 0.35 * burst
        # A rise of one millisecond, as a stick needs; a fall at the end, so that nothing is cut.
        sound *= np.minimum(t / 0.001, 1.0) * np.minimum((t[-1] - t) / 0.05, 1.0)
        start = int(FIRST_HIT_S * rate_hz) + k * int(SPACING_S * rate_hz)
        out[start : start + t.size] += 0.22 * strength * sound
    return out


def held_sound(rate_hz, seconds, seed):
    """Sustained sound: coloured noise and a row of harmonics whose strength wanders."""
    rng = np.random.default_rng(seed)
    n = int(rate_hz * seconds)
    t = np.arange(n) / rate_hz
    noise = signal.sosfilt(signal.butter(1, 400, fs=rate_hz, output="sos"), rng.normal(size=n))
    slow = signal.sosfilt(signal.butter(2, 0.7, fs=rate_hz, output="sos"), rng.normal(size=n))
    slow /= slow.std()
    tones = sum(np.sin(2 * np.pi * 131 * k * t + rng.uniform(0, 6)) / k for k in range(1, 40))
    loudness = 10 ** (1.5 * slow / 20)
    return (0.05 * tones + 0.4 * noise / noise.std() * 0.1) * loudness


def ambience(rate_hz, n, seed, rms):
    """What sounds in the room between the hits: reaches both microphones."""
    rng = np.random.default_rng(seed)
    sound = signal.sosfilt(signal.butter(1, 300, fs=rate_hz, output="sos"), rng.normal(size=n))
    return rms * sound / sound.std()


def record(path, sound, microphone, rate_hz, seed, subtype="PCM_24"):
    """Writes what `microphone` makes of `sound`, with its own noise; returns the samples as stored."""
    rng = np.random.default_rng(seed)
    take = microphone.hear(sound) + microphone.noise_rms * rng.normal(size=sound.size)
    if np.abs(take).max() >= 1.0:
        raise ValueError(f"{path}: the made take would be clipped")
    sf.write(path, take, rate_hz, subtype=subtype)
    return sf.read(path)[0]
