#!/usr/bin/env python3
"""Reads back everything that `write-up` writes, by other people's code and by readers of its own (media.py).

usage: write_up.py PROGRAM

Makes the demo, writes it up with blind reels and a moving picture as frames, and checks: hashes, loudness and true peak of the
reels (pyloudnorm; scipy), cue markers, WebVTT and SubRip against their grammar and each other, that a blind reel's key is
right and the rest tells nothing, excerpts, PNG, SVG, PDF (qpdf, poppler), CSV against JSON, and a video (ffprobe, ffmpeg).
"""

import csv
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as xml
from pathlib import Path

import numpy as np
import pyloudnorm
from scipy import signal

import media
from report import Report

# Stated to a tenth (0.05), and filter coefficients by another derivation (0.02).
LOUDNESS_LU = 0.07
# Stated to a tenth; BS.1770 Annex 2: four values a sample read up to 0.6 dB low, sixteen hardly.
TRUE_PEAK_DB = 0.65
# A millisecond of rounding in captions, half of one in frames.
CAPTION_S = 0.0011
STATED = re.compile(r"^(.*): (\d+) pieces, ([\d.]+) s, ([−\d.]+) LUFS, true peak ([−\d.]+) dBTP$", re.M)


def number(text):
    return float(text.replace("−", "-"))


def run(*command):
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True)
    if done.returncode != 0:
        raise SystemExit(f"error: {' '.join(map(str, command))} ended with {done.returncode}\n{done.stderr}")
    return done


def true_peak_db(samples):
    return 20 * np.log10(np.abs(signal.resample_poly(samples, 16, 1)).max())


def check_manifest(report, folder):
    listed = dict(line.split("  ", 1)[::-1] for line in (folder / "manifest.sha256").read_text().splitlines())
    there = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()} - {"manifest.sha256"}
    report.true("manifest: lists every file", set(listed) == there, f"{set(listed) ^ there}")
    wrong = [n for n, h in listed.items() if hashlib.sha256((folder / n).read_bytes()).hexdigest() != h]
    report.true(f"manifest: {len(listed)} hashes", not wrong, f"{wrong}")


def captions_of(folder, stem):
    vtt = media.webvtt((folder / f"{stem}.vtt").read_text(encoding="utf-8"))
    srt = media.subrip((folder / f"{stem}.srt").read_text(encoding="utf-8"))
    media.must(vtt == srt, "WebVTT and SubRip say different things")
    return vtt


def check_reel(report, folder, stem, names):
    """One reel with what goes with it; gives the sound and its captions back."""
    try:
        wave = media.Wave((folder / f"{stem}.wav").read_bytes())
        cues = captions_of(folder, stem)
    except (media.Bad, KeyError) as bad:
        report.true(f"{stem}: can be read", False, str(bad))
        return None
    report.near(f"{stem}: cue markers stand where captions begin", [f / wave.rate_hz for f, _ in wave.cues], [c[0] for c in cues], CAPTION_S)
    labels = [label for _, label in wave.cues]
    report.true(f"{stem}: cue labels are the captions", labels == [c[2] for c in cues], f"{labels}")
    report.true(f"{stem}: {len(cues)} captions name who plays", set(labels) <= set(names), f"{set(labels)}")
    apart = all(a[1] <= b[0] + CAPTION_S for a, b in zip(cues, cues[1:]))
    report.true(f"{stem}: captions follow each other", apart and cues[-1][1] <= wave.samples.size / wave.rate_hz + CAPTION_S, f"{cues}")
    peak = true_peak_db(wave.samples)
    report.true(f"{stem}: true peak {peak:.2f} dBTP is below −1", peak < -1, f"{peak}")
    return wave, cues


def check_loudness(report, stem, wave, stated):
    loudness = pyloudnorm.Meter(wave.rate_hz, filter_class="DeMan").integrated_loudness(wave.samples)
    report.near(f"{stem}: loudness", stated[0], loudness, LOUDNESS_LU)
    report.near(f"{stem}: true peak", stated[1], true_peak_db(wave.samples), TRUE_PEAK_DB)


def check_not_louder(report, stem, wave, takes, folder):
    """No louder than the loudest original: its highest sample, as the takes hold it."""
    loudest = max(10 ** (t["sample_peak_dbfs"] / 20) for t in takes)
    # One step of 24 bits for rounding.
    report.true(f"{stem}: no louder than the loudest original", np.abs(wave.samples).max() <= loudest + 2**-23, "louder")


def check_excerpts(report, folder, source, wave, cues, names):
    """Excerpts are the reel's pieces, bit for bit."""
    files = sorted((folder / "excerpts").glob(f"{source}-[0-9][0-9]-*.wav"))
    pieces = []
    for (begin, _), cue in zip(wave.cues, cues):
        end = begin + round((cue[1] - cue[0]) * wave.rate_hz)
        pieces.append((cue[2], wave.integers[begin:end]))
    found = {f.name: media.Wave(f.read_bytes()).integers for f in files}
    n_same = 0
    for place, (who, piece) in enumerate(pieces):
        moment = place // len(names) + 1
        mine = found.get(f"{source}-{moment:02}-{names[who]}.wav", np.zeros(0))
        # Captions are rounded to milliseconds, so that the end is only known to half of one.
        n = min(mine.size, piece.size)
        n_same += abs(mine.size - piece.size) <= wave.rate_hz // 1000 and n > 0 and np.array_equal(mine[:n], piece[:n])
    report.true(f"{source}: {len(found)} excerpts are the reel's pieces", n_same == len(pieces) == len(found), f"{n_same} of {len(pieces)}")


def check_blind(report, folder, source, wave, cues, open_reel, mics):
    """Who is heard under which number is what the key says, by comparing the sound with the reel that names everybody."""
    stem = f"blind/{source}"
    key = (folder / "key" / f"{source}.txt").read_text(encoding="utf-8")
    said = dict(re.findall(r"^(\d+) = (.*)$", key, re.M))
    report.true(f"{stem}: the key names every microphone once", sorted(said.values()) == sorted(mics), f"{said}")
    played = re.findall(r"^[\d.]+: (\d+)$", key, re.M)
    report.true(f"{stem}: the key has the order of playing", played == [c[2] for c in cues], f"{played}")
    report.true(f"{stem}: chunks tell nothing", wave.names == [b"fmt ", b"data", b"cue ", b"LIST"], f"{wave.names}")
    plain, plain_cues = open_reel
    n_right = 0
    for place, (start, _) in enumerate(wave.cues):
        moment = place // len(mics)
        here = wave.samples[start : start + wave.rate_hz]
        likeness = {}
        for (begin, who), _ in list(zip(plain.cues, plain_cues))[moment * len(mics) : (moment + 1) * len(mics)]:
            there = plain.samples[begin : begin + here.size]
            n = min(here.size, there.size)
            likeness[who] = abs(np.dot(here[:n], there[:n])) / np.linalg.norm(here[:n]) / np.linalg.norm(there[:n])
        best = max(likeness, key=likeness.get)
        n_right += best == said[cues[place][2]] and likeness[best] > 0.999
    report.true(f"{stem}: every piece is whom the key names", n_right == len(wave.cues), f"{n_right} of {len(wave.cues)}")
    # What a listener gets holds no name, no key of the log and no seed.
    seed = re.search(r"seed (\d+)", key).group(1)
    told = [f.name for f in (folder / "blind").iterdir() for word in [*mics, *[m.split()[0] for m in mics], seed]
            if word.lower().encode() in f.read_bytes().lower()]
    report.true(f"{stem}: names, keys and seed stand nowhere", not told, f"{told}")


def check_pictures(report, folder, sizes, n_frames_said):
    files = sorted((folder / "figures").glob("*.png"))
    bad = []
    for place, file in enumerate(files):
        try:
            # All sums are checked; undoing the filters takes a second a picture, which every fourth shall cost.
            pixels = media.png(file.read_bytes(), unpack=place % 4 == 0)
            width, height = next(size for name, size in sizes.items() if f"-{name}" in file.stem)
            media.must(pixels.shape[:2] == (height, width), f"is {pixels.shape}")
            media.must(len(np.unique(pixels.reshape(-1, pixels.shape[2])[::97], axis=0)) > 20, "shows nothing")
        except media.Bad as why:
            bad.append(f"{file.name}: {why}")
    report.true(f"{len(files)} PNG files", files and not bad, f"{bad}")
    foreign = []
    for file in sorted((folder / "figures").glob("*.svg")):
        root = xml.parse(file).getroot()
        for element in root.iter():
            foreign += [f"{file.name}: {v}" for k, v in element.attrib.items() if k.endswith("href") and not v.startswith("#")]
        text = file.read_text(encoding="utf-8")
        foreign += [f"{file.name}: {u}" for u in re.findall(r"url\(([^)]*)\)", text) if not re.match(r"[\"']?(#|data:)", u)]
    report.true("SVG files are well-formed and ask nothing of others", not foreign, f"{foreign[:5]}")
    for moving in sorted((folder / "moving").iterdir()):
        frames = sorted(moving.glob("frame-*.png"))
        numbers = [int(f.stem.split("-")[1]) for f in frames]
        wave = media.Wave((moving / "sound.wav").read_bytes())
        said = n_frames_said.pop(0)
        report.true(f"{moving.name}: {len(frames)} frames, as was said", numbers == list(range(1, said + 1)), f"said {said}")
        report.near(f"{moving.name}: frames last as long as the sound", len(frames) / 2, wave.samples.size / wave.rate_hz, 0.5)
        shapes = {media.png(f.read_bytes()).shape for f in frames[:: max(len(frames) // 4, 1)]}
        report.true(f"{moving.name}: frames are of one size", shapes == {(700, 700, 3)}, f"{shapes}")
        report.true(f"{moving.name}: captions", len(media.webvtt((moving / "captions.vtt").read_text())) > 1, "few")


# Share of full scale by which coding may change a pixel on average: H.264 at the quality that is asked for, chroma halved.
CODED = 0.02


def check_video(report, program, demo, place):
    """The video of one pair: as many frames as were made, of the same size and looks, with the sound, as long as it."""
    folder = place / "filmed"
    wanted = ["--moving", "both", "--moving-size", "700x700", "--frame-rate", "10", "--moments", "1", "--sizes", "700x700"]
    run(program, "write-up", demo, "--into", folder, *wanted)
    for moving in sorted((folder / "moving").iterdir()):
        videos = sorted(moving.glob("moving.*"))
        report.true(f"{moving.name}: there is one video", len(videos) == 1, f"{videos}")
        if len(videos) != 1:
            continue
        asked = ["-count_frames", "-show_streams", "-show_format", "-of", "json"]
        told = json.loads(run("ffprobe", "-v", "error", *asked, videos[0]).stdout)
        streams = {s["codec_type"]: s for s in told["streams"]}
        report.true(f"{moving.name}: a picture and a sound", sorted(streams) == ["audio", "video"], f"{sorted(streams)}")
        if len(streams) != 2:
            continue
        frames = sorted(moving.glob("frame-*.png"))
        wave = media.Wave((moving / "sound.wav").read_bytes())
        lasts = wave.samples.size / wave.rate_hz
        picture, sound = streams["video"], streams["audio"]
        report.true(f"{moving.name}: {len(frames)} frames in the video", int(picture["nb_read_frames"]) == len(frames), picture["nb_read_frames"])
        report.true(f"{moving.name}: of the asked size", (picture["width"], picture["height"]) == (700, 700), f"{picture}")
        # A coder rounds sound up to whole blocks of 1024 or 960 values.
        report.near(f"{moving.name}: lasts as long as its sound", float(told["format"]["duration"]), lasts, 0.1 + 0.05)
        report.true(f"{moving.name}: sampling rate", int(sound["sample_rate"]) == wave.rate_hz, sound["sample_rate"])
        heard = decoded(videos[0], "-f", "f32le", "-ac", "1", dtype=np.float32)
        n = min(heard.size, wave.samples.size)
        like = np.dot(heard[:n], wave.samples[:n]) / np.linalg.norm(heard[:n]) / np.linalg.norm(wave.samples[:n])
        report.true(f"{moving.name}: the sound is that of the reel ({like:.4f})", like > 0.98, f"{like}")
        seen = decoded(videos[0], "-f", "rawvideo", "-pix_fmt", "rgb24", dtype=np.uint8).reshape(-1, 700, 700, 3)
        for place_of in (0, len(frames) // 2, len(frames) - 1):
            drawn = media.png(frames[place_of].read_bytes())[..., :3]
            off = np.abs(seen[place_of].astype(float) - drawn).mean() / 255
            report.true(f"{moving.name}: frame {place_of + 1} looks as drawn ({off:.4f})", off < CODED, f"{off}")


def decoded(video, *how, dtype):
    done = subprocess.run(["ffmpeg", "-v", "error", "-i", str(video), *how, "-"], capture_output=True)
    if done.returncode != 0:
        raise SystemExit(f"error: ffmpeg cannot read {video}\n{done.stderr.decode()}")
    return np.frombuffer(done.stdout, dtype=dtype)


def check_pdf(report, folder, findings):
    pdf = folder / "report.pdf"
    sound = subprocess.run(["qpdf", "--check", str(pdf)], capture_output=True, text=True)
    report.true("PDF: qpdf finds it sound", sound.returncode == 0, sound.stdout + sound.stderr)
    fonts = run("pdffonts", pdf).stdout.splitlines()[2:]
    embedded = [line.split()[-5] for line in fonts]
    report.true(f"PDF: {len(fonts)} fonts are embedded", fonts and set(embedded) == {"yes"}, f"{fonts}")
    info = run("pdfinfo", pdf).stdout
    report.true("PDF: tagged, A4", "Tagged:          yes" in info and "A4" in info, info)
    text = " ".join(run("pdftotext", "-layout", pdf, "-").stdout.split())
    names = {m["id"]: m["name"] for m in findings["mics"]} | {s["id"]: s["name"] for s in findings["sources"]}
    missing = []
    for c in findings["comparisons"]:
        heading = f"{names[c['against']]} against {names[c['reference']]}: {names[c['source']]}"
        missing += [] if heading in text else [heading]
        for region in c["regions"]:
            if region["difference_db"] is not None:
                shown = f"{abs(region['difference_db']):.1f}"
                missing += [] if shown in text else [shown]
    report.true("PDF: headings and differences of all regions are read back", not missing, f"{missing}")


def check_tables(report, folder, findings):
    for table, columns in {"bands": ["difference_db", "low_db", "simultaneous_high_db"], "regions": ["difference_db", "low_db", "high_db"]}.items():
        with open(folder / "data" / f"{table}.csv", newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        known = [row for c in findings["comparisons"] for row in c[table]]
        same = len(rows) == len(known) and all(
            (float(r[k]) if r[k] else None) == row[k] for r, row in zip(rows, known) for k in columns
        )
        report.true(f"{table}.csv: {len(rows)} rows are those of the JSON", same, "they differ")
    takes = list(csv.DictReader(open(folder / "data" / "takes.csv", newline="", encoding="utf-8")))
    report.true("takes.csv: hashes", [t["sha256"] for t in takes] == [t["sha256"] for t in findings["takes"]], "differ")


def check_grammar(report):
    """The readers themselves, against the examples of the reference."""
    text = (Path(__file__).parent.parent / "reference" / "13_subtitle_timestamps.csv").read_text()
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    pairs = [(int(r["milliseconds"]) / 1000, media.time_s(r["webvtt"], media.VTT_TIME), media.time_s(r["srt"], media.SRT_TIME)) for r in rows]
    report.near("timestamps of the reference are read", [s for p in pairs for s in p[1:]], [p[0] for p in pairs for _ in range(2)], 1e-9)
    good, bad = re.search(r"# valid WebVTT: (.*)\. invalid WebVTT: (.*)", text).groups()
    known = [bool(media.VTT_TIME.fullmatch(t)) for t in good.split(" ; ") + bad.split(" ; ")]
    report.true("valid and invalid examples are told apart", known == [True] * 4 + [False] * 5, f"{known}")


def check_readers_notice(report, folder):
    """The readers refuse files that are wrong in one place: a check that cannot fail is none."""
    wav = (folder / "reels" / "drum.wav").read_bytes()
    vtt = (folder / "reels" / "drum.vtt").read_text(encoding="utf-8")
    srt = (folder / "reels" / "drum.srt").read_text(encoding="utf-8")
    png = next((folder / "figures").glob("*.png")).read_bytes()
    place = wav.index(b"cue ") + 12
    spoilt = {
        "a size of a RIFF chunk": lambda: media.Wave(wav[:4] + b"\1\0\0\0" + wav[8:]),
        "a cue point elsewhere than its sample": lambda: media.Wave(wav[: place + 4] + b"\7\0\0\0" + wav[place + 8 :]),
        "a file that ends early": lambda: media.Wave(wav[:-1]),
        "a comma in WebVTT": lambda: media.webvtt(vtt.replace(".", ",", 1)),
        "no empty line after WEBVTT": lambda: media.webvtt(vtt.replace("WEBVTT\n\n", "WEBVTT\n", 1)),
        "markup in WebVTT": lambda: media.webvtt(vtt.replace("Heron", "<b>Heron", 1)),
        "a cue that ends before it begins": lambda: media.webvtt(re.sub(r"(\S+) --> (\S+)", r"\2 --> \1", vtt, count=1)),
        "a number left out in SubRip": lambda: media.subrip(srt.replace("1\n", "2\n", 1)),
        "a point in SubRip": lambda: media.subrip(srt.replace(",", ".", 1)),
        "a bit of a PNG": lambda: media.png(png[:60] + bytes([png[60] ^ 1]) + png[61:], unpack=False),
    }
    for what, read in spoilt.items():
        try:
            read()
            report.true(f"noticed: {what}", False, "not noticed")
        except media.Bad:
            report.true(f"noticed: {what}", True, "")


def one_source(demo, folder):
    """The demo with the takes of its first source alone: a video takes a while."""
    shutil.copytree(demo, folder, ignore=shutil.ignore_patterns(".fairtake"))
    log = folder / "shootout.toml"
    head, *takes = re.split(r"(?m)^(?=\[\[takes\]\])", log.read_text(encoding="utf-8"))
    sources = [re.search(r'^source = "(.*)"', t, re.M).group(1) for t in takes]
    log.write_text(head + "".join(t for t, s in zip(takes, sources) if s == sources[0]), encoding="utf-8")
    return folder


def main():
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    program, report = Path(sys.argv[1]).resolve(), Report()
    check_grammar(report)
    with tempfile.TemporaryDirectory() as place:
        demo, folder = Path(place) / "demo", Path(place) / "written"
        run(program, "demo", demo, "--no-page")
        options = ["--blind", "--moments", "3", "--sizes", "screen,square:large,1200x700", "--licence", "CC BY 4.0"]
        moving = ["--moving", "frames", "--moving-size", "700x700", "--frame-rate", "2"]
        said = run(program, "write-up", demo, "--into", folder, *options, *moving).stderr
        findings = json.loads((folder / "data" / "findings.json").read_text(encoding="utf-8"))
        stated = {name: (number(lufs), number(dbtp)) for name, _, _, lufs, dbtp in STATED.findall(said)}
        check_manifest(report, folder)
        check_readers_notice(report, folder)
        names = {m["id"]: m["name"] for m in findings["mics"]}
        for source in findings["sources"]:
            key = source["id"]
            of_source = [c for c in findings["comparisons"] if c["source"] == key]
            ids = list(dict.fromkeys(m for c in of_source for m in (c["reference"], c["against"])))
            mics = {names[i]: i for i in ids}
            plain = check_reel(report, folder, f"reels/{key}", mics)
            blind = check_reel(report, folder, f"blind/{key}", [str(n + 1) for n in range(len(mics))])
            if plain is None or blind is None:
                continue
            check_loudness(report, f"reels/{key}", plain[0], stated[source["name"]])
            takes = [t for t in findings["takes"] if t["source"] == key and t["mic"] in ids]
            check_not_louder(report, f"reels/{key}", plain[0], takes, folder)
            check_excerpts(report, folder, key, *plain, mics)
            check_blind(report, folder, key, *blind, plain, list(mics))
        n_frames = [int(n) for n in re.findall(r", (\d+) frames of 700 × 700 px", said)]
        by_name = [n for _, n in sorted(zip([c["source"] for c in findings["comparisons"]], n_frames))]
        check_pictures(report, folder, {"screen": (1920, 1080), "square": (1080, 1080), "1200x700": (1200, 700)}, by_name)
        check_pdf(report, folder, findings)
        check_tables(report, folder, findings)
        check_video(report, program, one_source(demo, Path(place) / "one"), Path(place))
    return report.close()


if __name__ == "__main__":
    sys.exit(main())
