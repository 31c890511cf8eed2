#!/usr/bin/env python3
"""Cross-checks of the built program by other people's code: numpy, scipy, pyloudnorm, soundfile.

usage: check.py PROGRAM

Makes takes whose difference is known, runs `PROGRAM compare … --json --events FILE` on them, and computes levels, band
levels, loudness, true peak and differences a second time from the same files. No expected number is typed in.
"""

import copy
import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile as sf

import recompute
import recordings
import takes
import transfer
from report import Report
from spreadsheet import Events

# Reasons for the tolerances, in dB.
ROUNDED = 1e-6  # the same double-precision numbers, written with at least nine digits
LEVEL = 0.001  # sums in another order, samples held in single precision (24 bits: 1e-6 of the level)
LOUDNESS = 0.02  # filter coefficients by another derivation; agreement of meters is asked to be 0.1 LU by EBU Tech 3341
TRUE_PEAK = 0.3  # BS.1770 Annex 2: four values per sample read up to 0.17 dB low for what is below 0.4 of the rate
BAND = 0.1  # another taper and another length of the transform, on bands that hold several bins


def compare(program, files, folder, *options):
    """Findings and events of one run."""
    table = folder / "events.csv"
    command = [program, "compare", *map(str, files), "--json", "--events", str(table), "--overwrite", *options]
    run = subprocess.run(command, capture_output=True, text=True)
    if run.returncode != 0:
        raise SystemExit(f"error: {' '.join(command)} ended with {run.returncode}\n{run.stderr}")
    with open(table, newline="") as file:
        return json.loads(run.stdout), Events(list(csv.DictReader(file)))


def check_file_levels(report, name, findings, folder):
    """Levels of whole files."""
    for take in findings["takes"]:
        samples, rate_hz = sf.read(folder / Path(take["file"]).name)
        here = f"{name}, {take['id']}"
        db = lambda amplitude: 20 * np.log10(amplitude)
        report.near(f"{here}: sample peak", take["sample_peak_dbfs"], db(np.abs(samples).max()), LEVEL)
        report.near(f"{here}: RMS", take["rms_dbfs"], db(np.sqrt(np.mean(samples**2))), LEVEL)
        report.near(f"{here}: true peak", take["true_peak_dbtp"], db(recompute.true_peak(samples, rate_hz)), TRUE_PEAK)
        loudness = recompute.file_loudness(samples, rate_hz)
        report.near(f"{here}: loudness", take["file_loudness_lufs"], loudness, LOUDNESS)


def check_events(report, name, findings, events, folder):
    """Every event's loudness, RMS, peak and band levels, from its stretch of the file."""
    for take in findings["takes"]:
        samples, rate_hz = sf.read(folder / Path(take["file"]).name)
        weighted = recompute.k_weighted(samples, rate_hz)
        hits = take["playing"] == "percussive"
        rows = events.used(take["id"])
        report.true(f"{name}, {take['id']}: events in the table", len(rows) == take["events"] > 0, f"{len(rows)}")
        found, expected = {}, {}
        for row in rows:
            start, end = (int(round(float(row[key]) * rate_hz)) for key in ("start_s", "end_s"))
            piece = samples[start:end]
            seconds = piece.size / rate_hz
            loudness = recompute.event_loudness if hits else recompute.block_loudness
            again = {
                "sample_peak_dbfs": 20 * np.log10(np.abs(piece).max()),
                "rms_dbfs": 10 * np.log10(np.mean(piece**2)),
                "loudness_lufs": (
                    loudness(weighted, rate_hz, start, end) if hits else loudness(weighted, start, end)
                ),
            }
            bands = recompute.band_energy if hits else recompute.steady_power
            # Only bands that hold two bins of this stretch are compared.
            wide = (events.to_hz - events.from_hz) * seconds > 2
            again["bands"] = recompute.db(bands(piece, rate_hz, events.from_hz, events.to_hz))
            for key, value in again.items():
                mine = events.bands(row) if key == "bands" else float(row[key])
                keep = wide if key == "bands" else slice(None)
                found.setdefault(key, []).extend(np.atleast_1d(mine)[keep])
                expected.setdefault(key, []).extend(np.atleast_1d(value)[keep])
        for key in found:
            tolerance = {"bands": BAND, "loudness_lufs": LOUDNESS}.get(key, LEVEL)
            report.near(f"{name}, {take['id']}: events' {key}", found[key], expected[key], tolerance)


def check_spreadsheet(report, name, findings, events):
    """Every band difference and the match from the table of events alone."""
    for comparison in findings["comparisons"]:
        pair = f"{name}, {comparison['against']} − {comparison['reference']}"
        bands = [band for band in comparison["bands"] if band["difference_db"] is not None]
        found, expected = [], []
        for band in bands:
            found.append(band["difference_db"])
            expected.append(events.difference(findings, comparison, band))
        report.near(f"{pair}: band differences from the table", found, expected, ROUNDED)
        gain = -events.match_difference(findings, comparison)
        report.near(f"{pair}: match from the table", comparison["match"]["gain_db"], gain, ROUNDED)


def check_known_difference(report, name, comparison, first, second, rate_hz, hits):
    """The microphones' known difference lies within the intervals; `hits` are the sounds without noise.

    The truth of a band is the mean over hits of the level difference that the filters make there, without noise, less
    the same of the matching quantity.
    """
    # What the match takes away: the mean difference of event loudness, by the noise-free sounds.
    heard = [[mic.hear(np.pad(hit, (0, rate_hz // 4))) for hit in hits] for mic in (first, second)]
    loud = [np.array([np.sum(recompute.k_weighted(sound, rate_hz) ** 2) for sound in of_mic]) for of_mic in heard]
    match_db = np.mean(recompute.db(loud[1]) - recompute.db(loud[0]))
    judged = [band for band in comparison["bands"] if band["simultaneous_low_db"] is not None]
    report.true(f"{name}: at least 60 bands are judged", len(judged) >= 60, f"only {len(judged)} are")
    from_hz, to_hz = (np.array([band[key] for band in judged]) for key in ("from_hz", "to_hz"))
    levels = [
        np.mean([recompute.db(recompute.band_energy(sound, rate_hz, from_hz, to_hz)) for sound in of_mic], axis=0)
        for of_mic in heard
    ]
    truth = levels[1] - levels[0] - match_db
    low, high = (np.array([band[f"simultaneous_{end}_db"] for band in judged]) for end in ("low", "high"))
    verdicts = [band["verdict"] for band in judged]
    outside = np.maximum(low - truth, truth - high)
    worst = int(outside.argmax())
    report.true(
        f"{name}: known difference within the simultaneous intervals ({len(judged)} bands)",
        outside[worst] <= 0.0,
        f"{truth[worst]:.3f} is outside {low[worst]:.3f} … {high[worst]:.3f} at {judged[worst]['centre_hz']:.0f} Hz",
    )
    gain = comparison["match"]
    report.true(
        f"{name}: known match within its interval",
        gain["low"] <= -match_db <= gain["high"],
        f"{-match_db:.3f} is outside {gain['low']} … {gain['high']}",
    )
    margin_db = comparison["margin_db"]
    estimates = [band["difference_db"] for band in judged]
    wrong = [
        f"{v}: {t:.3f} dB"
        for t, d, v in zip(truth, estimates, verdicts)
        if (v == "alike" and abs(t) > margin_db) or (v == "different" and t * d <= 0)
    ]
    report.true(f"{name}: no wrong verdict", not wrong, f"{wrong}")
    report.true(f"{name}: something is called different", "different" in verdicts, "nothing is")


def check_the_checks(report, name, findings, events, folder):
    """Each of the checks above notices a number that is wrong by little: tried on a scratch report."""

    def notices(what, change, check):
        wrong, scratch = copy.deepcopy(findings), Report()
        changed = change(wrong)
        check(scratch, changed if changed is not None else wrong)
        report.true(f"{name}: a wrong {what} is noticed", scratch.failures, "it is not")

    def shift(holder, key, by):
        holder[key] += by

    levels = lambda scratch, wrong: check_file_levels(scratch, name, wrong, folder)
    sheet = lambda scratch, wrong: check_spreadsheet(scratch, name, wrong, events)
    take = lambda wrong: wrong["takes"][0]
    band = lambda wrong: next(b for b in wrong["comparisons"][0]["bands"] if b["difference_db"] is not None)
    notices("RMS", lambda w: shift(take(w), "rms_dbfs", 0.01), levels)
    notices("loudness", lambda w: shift(take(w), "file_loudness_lufs", 0.05), levels)
    notices("true peak", lambda w: shift(take(w), "true_peak_dbtp", -0.5), levels)
    notices("band difference", lambda w: shift(band(w), "difference_db", 0.001), sheet)
    notices("match", lambda w: shift(w["comparisons"][0]["match"], "gain_db", 0.001), sheet)

    def louder_band(_):
        table = copy.deepcopy(events)
        row, column = table.rows[1], table.columns[60]
        row[column] = str(float(row[column]) + 0.3)
        return table

    notices("event's band", louder_band, lambda scratch, table: check_events(scratch, name, findings, table, folder))


def standing(findings):
    """Codes of the checks that are not fair."""
    return sorted({check["code"] for check in findings["checks"] if check["outcome"] != "fair"})


def made_hits(report, program, folder, rate_hz, design):
    """Hits of a made drum, recorded by both microphones at once or in turn."""
    first, second = takes.two_microphones(rate_hz)
    sounds = [takes.hits(rate_hz, 14, seed=11), takes.hits(rate_hz, 14, seed=11 if design == "together" else 12)]
    room_seeds = [21, 21 if design == "together" else 22]
    room = [takes.ambience(rate_hz, s.size, seed, 2e-4) for s, seed in zip(sounds, room_seeds)]
    files = [folder / f"{design}-{rate_hz}-first.wav", folder / f"{design}-{rate_hz}-second.wav"]
    for k, mic in enumerate((first, second)):
        takes.record(files[k], sounds[k] + room[k], mic, rate_hz, seed=31 + k)
    findings, events = compare(program, files, folder, "--design", design.replace("_", "-"))
    name = f"made hits, {design}, {rate_hz} Hz"
    check_file_levels(report, name, findings, folder)
    check_events(report, name, findings, events, folder)
    check_spreadsheet(report, name, findings, events)
    if design == "together":
        hits = takes.apart(sounds[0], rate_hz)
        check_known_difference(report, name, findings["comparisons"][0], first, second, rate_hz, hits)
        check_the_checks(report, name, findings, events, folder)


def held_sound(report, program, folder, rate_hz):
    """Sustained sound, recorded by both at once."""
    first, second = takes.two_microphones(rate_hz)
    sound = takes.held_sound(rate_hz, 32, seed=41)
    files = [folder / "held-first.wav", folder / "held-second.wav"]
    for k, mic in enumerate((first, second)):
        takes.record(files[k], sound, mic, rate_hz, seed=51 + k)
    findings, events = compare(program, files, folder, "--design", "together", "--playing", "sustained")
    name = f"held sound, {rate_hz} Hz"
    check_file_levels(report, name, findings, folder)
    check_events(report, name, findings, events, folder)
    check_spreadsheet(report, name, findings, events)


def real_recordings(report, program, folder):
    """Single hits of a real drum through two known filters; and one hit alone."""
    n_drums = 0
    for hits in recordings.drums():
        n_drums += 1
        rate_hz = hits[0][1]
        first, second = takes.two_microphones(rate_hz)
        sound, _ = recordings.joined([0.5 * hit for hit, _ in hits], rate_hz)
        room = takes.ambience(rate_hz, sound.size, 61, 3e-5)
        files = [folder / f"real-{n_drums}-first.wav", folder / f"real-{n_drums}-second.wav"]
        for k, mic in enumerate((first, second)):
            mic.noise_rms = 1e-5
            takes.record(files[k], sound + room, mic, rate_hz, seed=71 + k)
        findings, events = compare(program, files, folder, "--design", "together", "--playing", "percussive")
        name = f"real drum {n_drums}"
        check_file_levels(report, name, findings, folder)
        check_spreadsheet(report, name, findings, events)
        clean = [0.5 * hit[: int(1.4 * rate_hz)] for hit, _ in hits]
        check_known_difference(report, name, findings["comparisons"][0], first, second, rate_hz, clean)
        # True here: five hits are few, and each "microphone" was set up once. Anything else would be a false alarm.
        false = [code for code in standing(findings) if code not in ("too_few_events", "few_placements")]
        report.true(f"{name}: no false caution", not false, f"{false}")
        if n_drums == 3:
            break
    report.true("real drums were found", n_drums == 3, f"only {n_drums}")
    alone, _ = recordings.joined([0.5 * hits[0][0]], rate_hz)
    files = [folder / "alone-first.wav", folder / "alone-second.wav"]
    for k, mic in enumerate((first, second)):
        takes.record(files[k], alone, mic, rate_hz, seed=81 + k)
    findings, _ = compare(program, files, folder, "--design", "together", "--playing", "percussive")
    report.true("a lone hit is too few", "too_few_events" in standing(findings), f"{standing(findings)}")
    unknown = all(band["low_db"] is None for band in findings["comparisons"][0]["bands"])
    report.true("a lone hit has no interval", unknown, "some band has one")


def main():
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    program = str(Path(sys.argv[1]).resolve())
    report = Report()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made_hits(report, program, folder, 48000, "together")
        made_hits(report, program, folder, 96000, "in_turn")
        held_sound(report, program, folder, 44100)
        transfer.designs(report, program, folder, compare)
        transfer.alignment(report, program, folder, compare)
        real_recordings(report, program, folder)
    return report.close()


if __name__ == "__main__":
    sys.exit(main())
