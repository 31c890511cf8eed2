"""Real recordings: single hits of one drum, found by scanning what a Debian package of drum sounds installs.

No drum set is named here: whatever the scan finds first, in order of paths, is used.
"""

import os
import re
import subprocess
from collections import defaultdict

import numpy as np
import soundfile as sf

PACKAGE = "hydrogen-drumkits"
FEWEST_HITS = 5


def drums():
    """Groups of single hits of one drum: lists of (samples, rate), each group from one folder and one name."""
    listing = subprocess.run(["dpkg", "-L", PACKAGE], capture_output=True, text=True)
    if listing.returncode != 0:
        raise SystemExit(f"error: the package {PACKAGE} is not installed\nhint: apt-get install {PACKAGE}")
    groups = defaultdict(list)
    for path in sorted(listing.stdout.split("\n")):
        if path.lower().endswith((".flac", ".wav")):
            folder, file = os.path.split(path)
            # Hits of one drum differ by a number at the end of the name.
            groups[folder, re.sub(r"[\W_]*\d+$", "", os.path.splitext(file)[0])].append(path)
    for key in sorted(groups):
        if len(groups[key]) >= FEWEST_HITS:
            hits = [single_hit(path) for path in groups[key]]
            hits = [hit for hit in hits if hit is not None]
            if len(hits) >= FEWEST_HITS and len({rate for _, rate in hits}) == 1:
                yield hits


def single_hit(path):
    """First channel of a file that holds one unclipped hit and nothing else; else `None`."""
    samples, rate_hz = sf.read(path, always_2d=True)
    hit = samples[:, 0]
    step = rate_hz // 200
    if hit.size < 0.5 * rate_hz or rate_hz < 44100:
        return None
    envelope_db = 10 * np.log10(np.add.reduceat(hit**2, np.arange(0, hit.size - step, step)) / step + 1e-14)
    top = envelope_db.argmax()
    peak = np.abs(hit).max()
    at_the_top = np.count_nonzero(np.abs(hit) > 0.999 * peak)
    later = envelope_db[top + 40 :]
    one_onset = top < 20 and (later.size == 0 or later.max() < envelope_db[top] - 3)
    dies_away = envelope_db[-3:].max() < envelope_db[top] - 50
    if not (0.05 < peak < 0.99 and at_the_top < 3 and one_onset and dies_away):
        return None
    return hit, rate_hz


def joined(hits, rate_hz, gap_s=0.7, lead_s=1.0, longest_s=1.5):
    """One take of all hits with gaps; the start of each hit in frames."""
    pieces, starts, at = [np.zeros(int(lead_s * rate_hz))], [], int(lead_s * rate_hz)
    for hit in hits:
        piece = hit[: int(longest_s * rate_hz)].copy()
        fade = min(int(0.1 * rate_hz), piece.size)
        piece[-fade:] *= np.linspace(1, 0, fade)
        starts.append(at)
        pieces += [piece, np.zeros(int(gap_s * rate_hz))]
        at += piece.size + int(gap_s * rate_hz)
    return np.concatenate(pieces), starts
