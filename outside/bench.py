"""How long a comparison takes, beside a yardstick and a floor in the same run. Prints a table; judges nothing.

usage: bench.py PROGRAM [--runs 5] [--short]

PROGRAM    the release build of fairtake; its examples `floor`, `measured` and `pdf` are looked for beside it, in examples/
--runs     how often each is run; medians are shown
--short    only 60 s at 48 kHz, once: shows that the bench works

Takes are made anew each time, the same ones: two microphones together on made hits, mono, 24 bits, read from memory.
Yardstick: outside/yardstick.py, what an engineer would script. Floor: reading the files, and the transforms that the method
needs, on two threads, and nothing else. Both are run in turn with the program, so that what else the machine does meets
all alike. Bare files: nothing that was derived before is used. A third table holds the PDF report alone, of one comparison of the demo and of
all, and a whole write-up of the demo. What is timed prints the same JSON as a run that is not.
A second table holds processor time (user and system, all threads): on a machine that does other work too, its ratios say
more than those of wall time. There all three can be given precedence alike: chrt --fifo 10 python bench.py …
Peak memory cannot be seen below what this bench holds itself, about 100 MiB.
"""

import argparse
import csv
import json
import multiprocessing
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
import soundfile

import takes

HERE = Path(__file__).resolve().parent
PAUSE_S = 0.5
# Name, sampling rate, hits: a hit every 1.3 s.
CASES = [("2 x 60 s, 48 kHz", 48000, 45), ("2 x 10 min, 96 kHz", 96000, 461)]


def make(folder, rate_hz, n_hits):
    """Two takes of one performance."""
    sound = takes.hits(rate_hz, n_hits, 11)
    sound += takes.ambience(rate_hz, sound.size, 12, 1e-4)
    pair = takes.two_microphones(rate_hz)
    files = [folder / f"{name}.wav" for name in ("first", "second")]
    for seed, (path, microphone) in enumerate(zip(files, pair)):
        takes.record(path, sound, microphone, rate_hz, 20 + seed)
    return [str(path) for path in files]


def timed(command):
    """Wall time and processor time in s, peak memory in MiB and stdout of one run."""
    # What the run before left to the system is done by then.
    time.sleep(PAUSE_S)
    with tempfile.TemporaryFile() as out:
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.DEVNULL)
        _, status, used = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - start
        if status != 0:
            raise SystemExit(f"{command[0]} failed")
        out.seek(0)
        # Linux counts KiB here.
        return wall_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, out.read().decode()


def transforms(program, files, folder, rate_hz):
    """Lengths and numbers of the transforms that the method needs, all takes together."""
    table = folder / "events.csv"
    subprocess.run([program, "compare", *files, "--events", str(table)], capture_output=True, check=True)
    needed = Counter()
    with open(table, newline="") as rows:
        for row in csv.DictReader(rows):
            if row["kind"] == "event":
                # As `fast_length` in fairtake-transform: a power of two times 4, 5, 6 or 7, at least twice the event.
                least = max(256, 2 * round((float(row["end_s"]) - float(row["start_s"])) * rate_hz))
                whole = 1 << (least - 1).bit_length()
                needed[next(n for n in (whole * k // 8 for k in (5, 6, 7, 8)) if n >= least)] += 1
    # Noise and hum: at most 200 segments each per take, an eighth and a sixth of a second.
    needed[1 << (rate_hz // 8 - 1).bit_length()] += 200 * len(files)
    needed[1 << (int(rate_hz * 0.16) - 1).bit_length()] += 200 * len(files)
    return needed


def bench(program, name, rate_hz, n_hits, runs):
    with tempfile.TemporaryDirectory() as holder:
        folder = Path(holder)
        # In a process of its own: what this one holds would count as peak memory of the programs that it starts.
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            files = pool.apply(make, (folder, rate_hz, n_hits))
        needed = transforms(program, files, folder, rate_hz)
        floor = [str(Path(program).parent / "examples" / "floor"), ",".join(f"{n}x{k}" for n, k in sorted(needed.items()))]
        commands = {
            "fairtake": [program, "compare", "--json", *files],
            "yardstick": [sys.executable, str(HERE / "yardstick.py"), *files],
        }
        expected = subprocess.run(commands["fairtake"], capture_output=True, text=True, check=True).stdout
        walls, cpus, peaks = ({k: [] for k in [*commands, "floor"]} for _ in range(3))
        for _ in range(runs):
            for key, command in commands.items():
                wall_s, cpu_s, peak, out = timed(command)
                walls[key].append(wall_s)
                cpus[key].append(cpu_s)
                peaks[key].append(peak)
                if key == "fairtake" and json.loads(out) != json.loads(expected):
                    raise SystemExit(f"{name}: the timed run found something else than the one that was not timed")
            # It times itself, without the start of the process.
            _, cpu_s, _, out = timed([*floor, *files])
            walls["floor"].append(float(out))
            cpus["floor"].append(cpu_s)
    own, other, least = (statistics.median(walls[k]) for k in ("fairtake", "yardstick", "floor"))
    print(
        f"| {name} | {own:.3f} s | {other:.2f} s | {other / own:.1f} | {least:.3f} s ({sum(needed.values())}) | {own / least:.1f} | "
        f"{max(peaks['fairtake']):.0f} MiB |"
    )
    own, other, least = (statistics.median(cpus[k]) for k in ("fairtake", "yardstick", "floor"))
    return f"| {name} | {own:.3f} s | {other:.2f} s | {other / own:.1f} | {least:.3f} s | {own / least:.1f} |"


def sweep(program, runs):
    """A sweep of 20 s at 96 kHz with its harmonics, beside outside/sweep_yardstick.py; both time themselves, without start and reading."""
    with tempfile.TemporaryDirectory() as holder:
        folder = Path(holder)
        form, wav = folder / "form.json", folder / "sweep.wav"
        made = subprocess.run(
            [program, "sweep", str(wav), "--json", "--seconds", "20", "--rate", "96000"], capture_output=True, text=True, check=True
        )
        form.write_text(made.stdout)
        played, rate_hz = soundfile.read(wav)
        recording = np.r_[np.zeros(rate_hz // 2), played, np.zeros(rate_hz // 2)]
        recording = recording + 0.02 * recording**2 + 1e-5 * np.random.default_rng(3).standard_normal(len(recording))
        for name, samples in (("recording", recording), ("played", played)):
            samples.astype("<f4").tofile(folder / name)
        own, other = [], []
        # In turn, so that what else the machine does meets both alike.
        for _ in range(runs):
            ours = subprocess.run(
                [Path(program).parent / "examples" / "measured", folder / "recording", form, "50", "3"],
                capture_output=True, text=True, check=True,
            )
            theirs = subprocess.run(
                [sys.executable, HERE / "sweep_yardstick.py", folder / "recording", form, folder / "played", "3"],
                capture_output=True, text=True, check=True,
            )
            ours, theirs = json.loads(ours.stdout), json.loads(theirs.stdout)
            near = min(ours["levels"][0][0]["points"], key=lambda p: abs(p["hz"] - 1000))
            if abs(near["level_db"]["value"] - theirs["db_at_1k"]) > 0.1:
                raise SystemExit("the sweep: not the same level at 1 kHz")
            own.append(ours["seconds"])
            other.append(theirs["seconds"])
    own, other = statistics.median(own), statistics.median(other)
    print("\n| sweep | fairtake | scipy | scipy / fairtake |")
    print("|---|---|---|---|")
    print(f"| 20 s, 96 kHz, five harmonics | {own:.3f} s | {other:.3f} s | {other / own:.1f} |")


def documents(program, runs):
    """The report as PDF by itself, and a whole write-up, of the demo."""
    print("\n| of the demo | wall time | wanted |\n|---|---|---|")
    with tempfile.TemporaryDirectory() as holder:
        folder = Path(holder)
        demo = folder / "demo"
        subprocess.run([program, "demo", str(demo), "--no-page"], capture_output=True, check=True)
        found = subprocess.run([program, "compare", str(demo), "--json"], capture_output=True, text=True, check=True).stdout
        findings = json.loads(found)
        n_all = len(findings["comparisons"])
        pdf = str(Path(program).parent / "examples" / "pdf")
        for n in (1, n_all):
            given = folder / f"{n}.json"
            given.write_text(json.dumps(findings | {"comparisons": findings["comparisons"][:n]}))
            times = []
            for run in range(runs):
                # It times itself, without the start of the process; nothing is overwritten.
                said = timed([pdf, str(given), str(folder / f"{n}-{run}.pdf")])[3]
                times.append(float(said.split()[-2]))
            what = f"PDF of {n} comparison{'s' if n > 1 else ''}, {said.split(': ')[1].split(',')[0]}"
            print(f"| {what} | {statistics.median(times):.0f} ms | {'1 s' if n == 1 else '–'} |")
        walls = [timed([program, "write-up", str(demo), "--into", str(folder / f"all-{run}")])[0] for run in range(runs)]
        print(f"| write-up of {n_all} comparisons | {statistics.median(walls):.2f} s | – |")


def start_up(program, runs):
    walls = []
    for _ in range(max(runs, 5)):
        start = time.perf_counter()
        subprocess.run([program, "--help"], capture_output=True, check=True)
        walls.append(time.perf_counter() - start)
    print(f"\n`fairtake --help`: {1000 * statistics.median(walls):.0f} ms")


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("program")
    ap.add_argument("--runs", type=int, default=5)
    ap.add_argument("--short", action="store_true")
    a = ap.parse_args()
    program = str(Path(a.program).resolve())
    print("| takes | fairtake | yardstick | yardstick / fairtake | floor (transforms) | fairtake / floor | peak memory |")
    print("|---|---|---|---|---|---|---|")
    cases = CASES[:1] if a.short else CASES
    by_processor = [bench(program, *case, 1 if a.short else a.runs) for case in cases]
    print("\n| takes, processor time | fairtake | yardstick | yardstick / fairtake | floor | fairtake / floor |")
    print("|---|---|---|---|---|---|")
    print("\n".join(by_processor))
    sweep(program, 1 if a.short else a.runs)
    documents(program, 1 if a.short else a.runs)
    start_up(program, 1 if a.short else a.runs)
    return 0


if __name__ == "__main__":
    sys.exit(main())
