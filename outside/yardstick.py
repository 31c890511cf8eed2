#!/usr/bin/env python3
"""The yardstick of the speed bench: what a competent engineer scripts from numpy, scipy and soundfile.

It computes less than Fairtake does: levels, loudness, spectra of events in twelfth octaves, pointwise bootstrap intervals.

usage: yardstick.py A.wav B.wav [C.wav ...] [--design together|in-turn] [--units auto|hits|blocks]
                       [--match loudness|none] [--stages] [--threads 2] [--workers 2]
                       [--true-peak fast|upfirdn] [--full-spectrum]

Every file after the first is compared with the first.  JSON on stdout, stage times on stderr.

Choices made for speed, each checked by measuring
  * samples, windows and FFTs in float32 (24-bit audio fits its mantissa); IIR filters, sums over a file, band levels and statistics in float64.
  * scipy.fft.rfft on batches of frames, whose SIMD lanes then run across frames.
  * default mode: one thread per file (they release the GIL), each FFT with workers=1; this beats
    workers=2 inside one file after another.  --stages runs the files one after another with
    rfft(workers=2), so that stage times do not overlap.
  * true peak: the 4 x 12-tap polyphase filter of BS.1770 as one banded matrix product per chunk (exact,
    about 11 x faster than scipy.signal.upfirdn, which --true-peak upfirdn selects).
  * files are streamed in chunks of about 1 MiB, and level stages and Welch work on the chunk while it is in
    cache; events are read again by seeking.  About as fast as holding whole files in float32, in a third of the memory.
  * DC: the first chunk's mean is subtracted on the way; what then remains of the whole file's mean is taken
    out of sums and peaks (true peak: to within 3 % of that remainder; a periodic Hann keeps DC within bins 0 and 1, below every band).
"""
import time

T0 = time.perf_counter()
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import argparse
import json
import sys
import threading
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import scipy.fft as sfft
import soundfile as sf
from numpy.lib.stride_tricks import as_strided, sliding_window_view
from scipy.signal import find_peaks, sosfilt, upfirdn

T_IMPORT = time.perf_counter() - T0
F32 = np.float32
NFFT, HOP_W = 16384, 4096
BATCH = 64


class Stages:
    def __init__(self):
        self.t, self.lock = OrderedDict(), threading.Lock()

    def add(self, name, dt):
        with self.lock:
            self.t[name] = self.t.get(name, 0.0) + dt


ST = Stages()


class stage:
    __slots__ = ("n", "t")

    def __init__(self, n):
        self.n = n

    def __enter__(self):
        self.t = time.perf_counter()

    def __exit__(self, *a):
        ST.add(self.n, time.perf_counter() - self.t)


# ------------------------------------------------------------------ constants
def k_sos(fs):
    """BS.1770 K-weighting, re-derived for any rate from its analogue prototype"""
    f0, G, Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    K = np.tan(np.pi * f0 / fs)
    Vh = 10 ** (G / 20)
    Vb = Vh ** 0.4996667741545416
    a0 = 1 + K / Q + K * K
    s1 = [(Vh + Vb * K / Q + K * K) / a0, 2 * (K * K - Vh) / a0, (Vh - Vb * K / Q + K * K) / a0,
          1, 2 * (K * K - 1) / a0, (1 - K / Q + K * K) / a0]
    f0, Q = 38.13547087602444, 0.5003270373238773
    K = np.tan(np.pi * f0 / fs)
    d = 1 + K / Q + K * K
    return np.array([s1, [1, -2, 1, 1, 2 * (K * K - 1) / d, (1 - K / Q + K * K) / d]])


def k_power(fs, f):
    z = np.exp(-2j * np.pi * f / fs)
    h = np.ones_like(z)
    for b0, b1, b2, _, a1, a2 in k_sos(fs):
        h *= (b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)
    return np.abs(h) ** 2


_p0 = [0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875, 0.1373291015625,
       0.97216796875, -0.102294921875, 0.047607421875, -0.026611328125, 0.014892578125, -0.00830078125]
_p1 = [-0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625, 0.465087890625,
       0.77978515625, -0.2003173828125, 0.1015625, -0.0582275390625, 0.0330810546875, -0.0189208984375]
PHASES = np.array([_p0, _p1, _p1[::-1], _p0[::-1]])
TPB = 16
TPM = np.zeros((TPB + 11, 4 * TPB), F32)
for _i in range(TPB):
    for _p in range(4):
        TPM[_i:_i + 12, 4 * _i + _p] = PHASES[_p][::-1]


def bands(b, lo=20.0, hi=20000.0):
    G = 10 ** 0.3
    x = np.arange(-40 * b, 40 * b)
    fm = 1000.0 * (G ** (x / b) if b % 2 else G ** ((2 * x + 1) / (2 * b)))
    fm = fm[(fm > lo * 0.98) & (fm < hi * 1.02)]
    return fm, fm * G ** (-0.5 / b), fm * G ** (0.5 / b)


def band_matrix(fs, lo, hi):
    """bins x bands weights in Hz; a bin is df wide and is split where a band edge cuts it"""
    df = fs / NFFT
    k = np.arange(NFFT // 2 + 1)
    l, u = np.maximum(0, (k - 0.5) * df), np.minimum((k + 0.5) * df, fs / 2)
    return np.maximum(0, np.minimum(u[:, None], hi) - np.maximum(l[:, None], lo))


HANN = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(NFFT) / NFFT)).astype(F32)
WPOW = float(np.sum(HANN.astype(float) ** 2))


# ------------------------------------------------------------------ per file
class Take:
    """one file, read by position"""

    def __init__(self, path, rate):
        self.path = path
        self.f = sf.SoundFile(path)
        self.fs, self.n, self.pos = self.f.samplerate, self.f.frames, 0
        if self.fs != rate:
            raise ValueError(f"{path}: {self.fs} Hz, where the first file has {rate} Hz")

    def read(self, start, out):
        k = max(0, min(len(out), self.n - start))
        if k == 0:
            return 0
        if start != self.pos:
            self.f.seek(start)
        if self.f.channels == 1:
            self.f.read(dtype="float32", out=out[:k])
        else:
            out[:k] = self.f.read(k, dtype="float32")[:, 0]
        self.pos = start + k
        return k


def scan(t, tp_mode, bm, workers):
    """one pass: peaks, energies, true peak, K-weighting, whole-file Welch"""
    fs, n = t.fs, t.n
    m100 = fs // 10
    sub = min((d for d in range(2, m100, 2) if m100 % d == 0), key=lambda d: abs(d - 40))
    hop = m100 // sub
    t.hop = hop
    CH = m100 * max(1, (1 << 18) // m100)
    sos, zi = k_sos(fs), np.zeros((2, 2))
    s1, s2, k_e = [], [], []
    mx = mn = tpx = tpn = tot = 0.0
    nb = CH // TPB + 1
    blk, out = np.empty((nb, TPB + 11), F32), np.empty((nb, 4 * TPB), F32)
    BASE = 16
    buf = np.zeros(BASE + NFFT + CH + 2 * TPB, F32)
    g = np.empty((BATCH, NFFT), F32)
    acc, frames, tail, dc0 = np.zeros(NFFT + 2), 0, 0, None
    for c in range(0, n, CH):
        o = BASE + tail
        with stage("read"):
            L = t.read(c, buf[o:o + CH])
        y = buf[o:o + L]
        buf[o + L:o + L + TPB] = 0
        with stage("dc"):
            if dc0 is None:
                dc0 = float(np.mean(y, dtype=np.float64))
            y -= F32(dc0)
            q = L // hop
            v = y[:q * hop].reshape(q, hop)
            u = np.einsum("ij->i", v)
            s1.append(u)
            tot += float(np.sum(u, dtype=np.float64)) + float(y[q * hop:].sum())
        with stage("sample peak"):
            mx, mn = max(mx, float(y.max())), min(mn, float(y.min()))
        with stage("frame energies"):
            s2.append(np.einsum("ij,ij->i", v, v))
        with stage("true peak"):
            if tp_mode == "fast":
                k = -(-L // TPB)
                np.copyto(blk[:k], as_strided(buf[o - 11:], (k, TPB + 11), (4 * TPB, 4)))
                z = np.matmul(blk[:k], TPM, out=out[:k])
            else:
                z = upfirdn(PHASES.T.ravel().astype(F32), buf[o - 11:o + L], up=4)[44:44 + 4 * L]
            tpx, tpn = max(tpx, float(z.max())), min(tpn, float(z.min()))
        with stage("K-weighting"):
            w, zi = sosfilt(sos, y.astype(np.float64), zi=zi)
            q = L // m100
            v = w[:q * m100].reshape(q, m100)
            k_e.append(np.einsum("ij,ij->i", v, v))
        with stage("whole-file Welch"):
            have = buf[BASE:o + L]
            if c + CH >= n and not frames and len(have) < NFFT:  # shorter than one frame
                have = np.concatenate([have, np.zeros(NFFT - len(have), F32)])
            nf = max(0, (len(have) - NFFT) // HOP_W + 1)
            if nf:
                fr = sliding_window_view(have, NFFT)[::HOP_W]
                for i in range(0, nf, BATCH):
                    k = min(BATCH, nf - i)
                    np.multiply(fr[i:i + k], HANN, out=g[:k])
                    V = sfft.rfft(g[:k], workers=workers).view(F32)
                    acc += np.einsum("ij,ij->j", V, V)
            frames += nf
            rest = have[nf * HOP_W:]
            tail = len(rest)
            buf[BASE:BASE + tail] = rest
    d = tot / n
    t.dc = dc0 + d
    pk, tp = max(mx - d, d - mn), max(tpx - d, d - tpn)
    with stage("whole-file Welch"):
        t.frames = frames
        t.psd = (acc[0::2] + acc[1::2]) / frames * 2.0 / (fs * WPOW)
        t.psd[[0, -1]] /= 2
        t.avg_db = 10 * np.log10(np.maximum(t.psd @ bm, 1e-20))
    with stage("loudness gating"):
        k = np.concatenate(k_e)
        cs = np.concatenate([[0], np.cumsum(k)])
        g = (cs[4:] - cs[:-4]) / (4 * m100)
        L_ = lambda z: -0.691 + 10 * np.log10(np.maximum(z, 1e-20))
        a = g[L_(g) > -70]
        if len(a):
            r = a[L_(a) > L_(a.mean()) - 10]
            t.lufs = float(L_(r.mean()))
        else:
            t.lufs = None
        s = (cs[30:] - cs[:-30]) / (30 * m100) if len(k) >= 30 else np.array([])
        t.lufs_s = float(L_(s.max())) if len(s) else None
        t.lufs_m = float(L_(g.max())) if len(g) else None
    with stage("rms + noise floor"):
        t.e = np.maximum(0, np.concatenate(s2) - 2 * d * np.concatenate(s1).astype(np.float64) + hop * d * d)
        per = sub // 2
        q = len(t.e) // per
        f50 = t.e[:q * per].reshape(q, per).sum(1) / (per * hop)
        t.rms = 10 * np.log10(max(t.e.sum() / (len(t.e) * hop), 1e-20))
        t.floor = 10 * np.log10(max(float(np.percentile(f50, 10)), 1e-20))
    t.peak, t.tpeak = 20 * np.log10(max(pk, 1e-10)), 20 * np.log10(max(tp, 1e-10))


def detect(t, units):
    with stage("onsets"):
        # rise of the energy of the next 5 ms over that of the 20 ms before, in dB above the floor
        dt = t.hop / t.fs
        w5, w20 = max(1, round(0.005 / dt)), max(1, round(0.020 / dt))
        cs = np.concatenate([np.zeros(w20 + 1), np.cumsum(t.e), np.full(w5, t.e.sum())])
        i = np.arange(len(t.e)) + w20
        fl = 10 ** ((t.floor + 10) / 10)
        after = 10 * np.log10((cs[i + w5] - cs[i]) / (w5 * t.hop) + fl)
        before = 10 * np.log10((cs[i] - cs[i - w20]) / (w20 * t.hop) + fl)
        flux = np.maximum(0, after - before)
        p, _ = find_peaks(flux, height=8.0, distance=max(1, int(0.10 / dt)))
        if len(p):
            top = after[p]
            keep = top > np.percentile(top, 95) - 20
            p, top = p[keep], top[keep]
            # beating modes rise again inside a decay: a weaker peak close behind a stronger one is no new hit
            echo = np.zeros(len(p), bool)
            echo[1:] = (np.diff(p) < 0.25 / dt) & (np.diff(top) < -6)
            p, top = p[~echo], top[~echo]
            drop = float(np.median(top - after[np.minimum(p + int(0.35 / dt), len(after) - 1)]))
        else:
            drop = 0.0
        on = np.maximum(0, p - 1) * t.hop
        if units == "auto":
            units = "hits" if len(on) >= 3 and drop > 12 else "blocks"
        t.units = units
        if units == "hits":
            t.on = on
        else:
            q = t.fs // t.hop
            m = len(t.e) // q
            b = 10 * np.log10(t.e[:m * q].reshape(m, q).sum(1) / t.fs + 1e-20)
            t.on = np.flatnonzero(b > np.percentile(b, 95) - 25) * t.fs if m else np.array([], int)
    return t.on, t.units


def psd_rows(t, starts, m, workers):
    """mean one-sided |X|^2 over m half-overlapping segments from each start (zeros outside the file)"""
    bins, half = NFFT // 2 + 1, NFFT // 2
    out = np.empty((len(starts), bins), F32)
    step = max(1, BATCH // m)
    span = np.empty((m + 1) * half, F32)
    sv = sliding_window_view(span, NFFT)[::half]
    g = np.empty((step, m, NFFT), F32)
    dc = F32(t.dc)
    for u in range(0, len(starts), step):
        k = min(step, len(starts) - u)
        for i in range(k):
            a = int(starts[u + i])
            z = max(0, -a)
            r = t.read(max(0, a), span[z:]) + z
            span[:z] = 0
            span[r:] = 0
            span[z:r] -= dc
            np.multiply(sv, HANN, out=g[i])
        V = sfft.rfft(g[:k], workers=workers).view(F32)
        E = np.einsum("umj,umj->uj", V, V)
        np.add(E[:, 0::2], E[:, 1::2], out=out[u:u + k])
    out *= F32(1.0 / m)
    return out


def hits_psd(t, on, units, bm, kp, workers):
    fs, half = t.fs, NFFT // 2
    with stage("per-hit PSD"):
        if units == "hits":  # Hann segments at 50 % overlap, from half a segment before the onset to 400 ms after
            P = psd_rows(t, on - half, -(-int(0.4 * fs) // half), workers)
        else:
            P = psd_rows(t, on, max(1, (fs - NFFT) // half + 1), workers)
        # the quietest 2 % of the Welch segments (4 to 64) stand for the noise
        q = NFFT // t.hop
        cs = np.concatenate([[0], np.cumsum(t.e)])
        pos = np.arange(0, max(1, t.n - NFFT), HOP_W)
        h = np.minimum(pos // t.hop, max(0, len(t.e) - q))
        en = cs[np.minimum(h + q, len(t.e))] - cs[h]
        k = min(len(pos), int(np.clip(0.02 * len(pos), 4, 64)))
        N = psd_rows(t, np.sort(pos[np.argpartition(en, k - 1)[:k]]), 1, workers).mean(0, keepdims=True)
    with stage("band levels"):
        scale = 2.0 / (fs * WPOW)
        bm32 = bm.astype(F32)
        t.hit_db = 10 * np.log10(np.maximum((P @ bm32).astype(float) * scale, 1e-20))
        t.noise_db = 10 * np.log10(np.maximum((N @ bm32).astype(float)[0] * scale, 1e-20))
        t.hit_k = 10 * np.log10(np.maximum((P @ (kp * fs / NFFT).astype(F32)).astype(float) * scale, 1e-20))


# ------------------------------------------------------------------ comparison
def boot_means(X, rng, R=2000):
    H = len(X)
    idx = rng.integers(0, H, (R, H)) + (np.arange(R) * H)[:, None]
    w = np.bincount(idx.ravel(), minlength=R * H).reshape(R, H).astype(F32)
    m = X.mean(0)
    return m, m + (w @ (X - m).astype(F32)) / H


def compare(a, b, design, match, seed=7):
    with stage("bootstrap"):
        rng = np.random.default_rng(seed)
        A, B = a.hit_db, b.hit_db
        ka, kb = (a.hit_k, b.hit_k) if match == "loudness" else (np.zeros(len(A)), np.zeros(len(B)))
        if design == "together":
            m, bs = boot_means(np.column_stack([(B - kb[:, None]) - (A - ka[:, None]), kb - ka]), rng)
        else:
            ma, ba = boot_means(np.column_stack([A - ka[:, None], ka]), rng)
            mb, bb = boot_means(np.column_stack([B - kb[:, None], kb]), rng)
            m, bs = mb - ma, bb - ba
        R = len(bs)
        lo, hi = int(0.025 * R), int(np.ceil(0.975 * R)) - 1
        s = np.partition(np.ascontiguousarray(bs.T), [lo, hi], axis=1)
        sup = (np.minimum(A.mean(0) - a.noise_db, B.mean(0) - b.noise_db) >= 10)
    r = lambda v: np.round(v, 4).tolist()
    return {"a": a.path, "b": b.path, "design": design, "match_gain_db": round(float(-m[-1]), 4),
            "match_gain_95": [round(float(-s[-1, hi]), 4), round(float(-s[-1, lo]), 4)],
            "difference_db": r(m[:-1]), "lo95_db": r(s[:-1, lo]), "hi95_db": r(s[:-1, hi]), "supported": sup.tolist()}


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("files", nargs="+")
    ap.add_argument("--design", choices=["together", "in-turn"], default="together")
    ap.add_argument("--units", choices=["auto", "hits", "blocks"], default="auto")
    ap.add_argument("--match", choices=["loudness", "none"], default="loudness")
    ap.add_argument("--true-peak", choices=["fast", "upfirdn"], default="fast")
    ap.add_argument("--stages", action="store_true")
    ap.add_argument("--threads", type=int, default=2)
    ap.add_argument("--workers", type=int, default=None)
    ap.add_argument("--full-spectrum", action="store_true")
    a = ap.parse_args()
    t0 = time.perf_counter()
    threads = 1 if a.stages else min(a.threads, len(a.files))
    workers = a.workers or (2 if a.stages else 1)
    rate = sf.info(a.files[0]).samplerate
    fm, lo, hi = bands(12, 20.0, min(20000.0, rate / 2.2))
    with stage("set-up"):
        bm = band_matrix(rate, lo, hi)
        kp = k_power(rate, np.arange(NFFT // 2 + 1) * rate / NFFT)

    ev = threading.Event()
    shared = {}

    def work(i):
        try:
            t = Take(a.files[i], rate)
            scan(t, a.true_peak, bm, workers)
            if i == 0 or a.design == "in-turn":
                shared[i] = detect(t, a.units)
                ev.set()
            if a.design == "together" and i:
                ev.wait()
            if (i if a.design == "in-turn" else 0) not in shared:
                raise ValueError(f"{a.files[0]}: could not be analysed")
            on, units = shared[i if a.design == "in-turn" else 0]
            if len(on) == 0:
                raise ValueError(f"{a.files[i]}: no events found")
            t.on, t.units = on, units
            hits_psd(t, on, units, bm, kp, workers)
            t.f.close()
            return t
        finally:
            ev.set()

    if threads == 1:
        takes = [work(i) for i in range(len(a.files))]
    else:
        with ThreadPoolExecutor(threads) as ex:
            takes = list(ex.map(work, range(len(a.files))))
    comps = [compare(takes[0], t, a.design, a.match) for t in takes[1:]]
    with stage("JSON"):
        r = lambda v, d=4: None if v is None else round(float(v), d)
        doc = {"rate": rate, "bands_hz": np.round(fm, 4).tolist(), "takes": [], "comparisons": comps}
        for t in takes:
            e = {"file": t.path, "seconds": t.n / t.fs, "dc": r(t.dc, 8), "sample_peak_dbfs": r(t.peak),
                 "true_peak_dbtp": r(t.tpeak), "rms_dbfs": r(t.rms), "integrated_lufs": r(t.lufs),
                 "max_short_term_lufs": r(t.lufs_s), "max_momentary_lufs": r(t.lufs_m), "noise_floor_dbfs": r(t.floor),
                 "units": t.units, "unit_count": len(t.on), "welch_frames": t.frames,
                 "onsets_s": np.round(t.on / t.fs, 4).tolist(),
                 "average_db": np.round(t.avg_db, 4).tolist(), "unit_mean_db": np.round(t.hit_db.mean(0), 4).tolist(),
                 "noise_db": np.round(t.noise_db, 4).tolist()}
            if a.full_spectrum:
                e["psd_db_per_hz"] = np.round(10 * np.log10(np.maximum(t.psd, 1e-24)), 4).tolist()
            doc["takes"].append(e)
        sys.stdout.write(json.dumps(doc))
        sys.stdout.write("\n")
    wall = time.perf_counter() - t0
    audio = sum(t.n / t.fs for t in takes)
    times = {"imports": T_IMPORT, **ST.t, "wall without imports": wall, "wall": wall + T_IMPORT,
             "x realtime (audio s / wall s)": audio / (wall + T_IMPORT)}
    if a.stages:
        for k, v in times.items():
            print(f"{k:32s} {v:10.4f}" + ("" if "x real" in k else " s"), file=sys.stderr)
    else:
        print(json.dumps({k: round(v, 5) for k, v in times.items()}), file=sys.stderr)


if __name__ == "__main__":
    try:
        main()
    except (ValueError, sf.LibsndfileError) as e:
        raise SystemExit(f"yardstick: {e}")
