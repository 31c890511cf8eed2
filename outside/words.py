#!/usr/bin/env python3
"""Holds the words that are made from findings against their JSON; then shows that it would have noticed.

usage: words.py PROGRAM [N]     PROGRAM is the example `words` of fairtake-report; N made runs, 2000 by default
       words.py PROGRAM FILE    the texts of the findings in FILE

Every text of every run must be right. Then texts are corrupted: a digit changed, a sign dropped, louder turned into
quieter, a difference left away, …; at least 99 % of what changes a meaning must be noticed.
"""

import collections
import json
import random
import re
import subprocess
import sys

import sentences  # noqa: F401: the rules by which texts are read
from reading import Reading
from said import Names, Wrong, clean, edges, n_words, need

NOTICED = 0.99
CORRUPT_EACH = 37  # so many runs: a prime, so that every case is met
SYMBOLS = re.compile(r"[−±%+<>=~–]|\b(?:dB|Hz|kHz)\b")


class Text:
    """One text with its names taken out, ready to be read or corrupted."""

    def __init__(self, line, names, text):
        self.findings, self.names, self.line = line["findings"], names, line
        self.kind, self.about = text["kind"], text["about"]
        self.spoken = self.kind in ("minute", "three_minutes")
        self.body, self.seconds, self.words = text["text"], text.get("seconds"), text.get("words")
        title = clean(self.findings["title"] or "")
        self.title = f"{title}\n\n" if title and self.kind in ("description", "reel") else ""
        need(self.body.startswith(self.title), "the title is missing")
        self.tokens = names.out_of(self.body.removeprefix(self.title))

    def check(self, tokens):
        if self.kind == "table":
            return table(self, tokens)
        if self.kind == "reel":
            tokens, _, tail = tokens.partition("\nChapters\n")
            need(tail == self.names.out_of(chapters(self.line["chapters"])), "wrong chapters")
        tokens = self.names.checks_out_of(tokens, self.spoken)
        need(not self.spoken or not SYMBOLS.search(tokens), f"a symbol to read aloud: {tokens}")
        Reading(self.findings, self.names, self.about, self.kind, self.line["heard"]).read(tokens)

    def length(self):
        if self.spoken:
            need(self.words == n_words(self.body), f"{self.words} words are {n_words(self.body)}")
            need(abs(self.seconds - self.words * 60 / 150) < 1e-9, "seconds are not those of the words")


def chapters(given):
    lines = [] if given[0][0] < 1 else ["0:00 start"]
    return "".join(f"{line}\n" for line in lines + [f"{int(s) // 60}:{int(s) % 60:02} {clean(n)}" for s, n in given])


def table(text, tokens):
    c = text.findings["comparisons"][text.about]
    head, settings, empty, columns, *rows = tokens.rstrip("\n").split("\n")
    marks = re.fullmatch(r"([\uE000-\uE0FF]) against ([\uE000-\uE0FF])(?:; the source: ([\uE100-\uE1FF]))?", head)
    need(marks and (text.names.mics[marks[1]], text.names.mics[marks[2]]) == (c["against"], c["reference"]), "the pair")
    need(marks[3] is None or text.names.sources[marks[3]] == c["source"], "the source")
    said = re.fullmatch(r"margin (.+) dB; intervals of (.+) % over all regions", settings)
    need(said and float(said[1]) == c["margin_db"] and float(said[2]) == 95 and empty == "", "margin, confidence")
    need(columns.split() == ["from", "to", "verdict", "difference,", "dB", "interval,", "dB"], "head of the table")
    need(len(rows) == len(c["regions"]), "rows")
    signed = r"([+−]\d+\.\d|unknown)"
    for row, r in zip(rows, c["regions"]):
        m = re.fullmatch(rf" *(\S+ k?Hz) +(\S+ k?Hz) +(\w+(?: \w+)*) +{signed} +(?:{signed} to {signed}|unknown)", row)
        need(m and "−0.0" not in row, f"not understood: {row}")
        for said, (number, unit) in zip((m[1], m[2]), edges(r)):
            need(said.removesuffix(" Hz").removesuffix(" kHz").removesuffix(".0") == number, "frequency")
            need(said.endswith("kHz") == (unit == "k"), "unit of frequency")
        need(m[3] == r["verdict"].replace("_", " "), "verdict")
        d, low, high = (None if v in (None, "unknown") else float(v.replace("−", "-")) for v in (m[4], m[5], m[6]))
        pairs = ((d, r["difference_db"]), (low, r["low_db"]), (high, r["high_db"]))
        need(all((said is None) == (true is None) for said, true in pairs), "known and unknown")
        need(d is None or abs(d - r["difference_db"]) <= 0.05 + 1e-6, "difference")
        need(low is None or -2e-6 <= r["low_db"] - low < 0.1 + 2e-6, "lower bound")
        need(high is None or -2e-6 <= high - r["high_db"] < 0.1 + 2e-6, "upper bound")


# Corruptions: each gives another text, or None where it has nothing to change.


def swap_words(*pairs):
    table = {a: b for x, y in pairs for a, b in ((x, y), (y, x))}
    pattern = re.compile("|".join(rf"\b{re.escape(w)}\b" for w in table))

    def corrupt(text, draw):
        places = list(pattern.finditer(text))
        if not places:
            return None
        m = draw.choice(places)
        return text[: m.start()] + table[m[0]] + text[m.end() :]

    return corrupt


def digit(text, draw):
    places = [m.start() for m in re.finditer(r"[0-9]", text)]
    if not places:
        return None
    at = draw.choice(places)
    other = draw.choice([d for d in "0123456789" if d != text[at]])
    return text[:at] + other + text[at + 1 :]


def sign(text, draw):
    places = list(re.finditer(r"minus (?=\d)|−(?=\d)|\+(?=\d)", text))
    if not places:
        return None
    m = draw.choice(places)
    return text[: m.start()] + {"+": "−", "−": "+"}.get(m[0], "") + text[m.end() :]


def drop(pattern):
    def corrupt(text, draw):
        places = list(re.finditer(pattern, text))
        if not places:
            return None
        m = draw.choice(places)
        return text[: m.start()] + text[m.end() :]

    return corrupt


def bounds(text, draw):
    places = list(re.finditer(r"between (\S+?)((?: \w+)?) and (\S+?)((?: \w+)?)(?=[.,:])", text))
    if not places:
        return None
    m = draw.choice(places)
    turned = f"between {m[3]}{m[2]} and {m[1]}{m[4]}"
    return None if m[1] == m[3] else text[: m.start()] + turned + text[m.end() :]


def names(text, draw):
    places = list(re.finditer(r"([\uE000-\uE0FF])([^.\uE000-\uE0FF]*)([\uE000-\uE0FF])", text))
    if not places:
        return None
    m = draw.choice(places)
    return None if m[1] == m[3] else text[: m.start()] + m[3] + m[2] + m[1] + text[m.end() :]


OPEN = "what is undecided left away"
SENTENCE = r"(?:[^.]|\.(?=\d))*\."
CORRUPTIONS = {
    "a digit changed": digit,
    "a sign turned or dropped": sign,
    "more and less, louder and quieter exchanged": swap_words(("more", "less"), ("louder", "quieter")),
    "alike, undecided, different exchanged": swap_words(
        ("alike", "undecided"), ("Alike within", "Undecided within"), ("different", "alike"), ("Undecided:", "Alike:")
    ),
    "a thousand times the frequency": swap_words(("kilohertz", "hertz"), ("kHz", "Hz")),
    "the two names exchanged": names,
    "the two bounds exchanged": bounds,
    "a difference left away": drop(rf" (?:From|Near) (?:[^,.]|\.(?=\d))*, (?:. has |the other microphone has )?[0-9.]+ (?:decibels|dB) (?:more|less){SENTENCE}"),
    OPEN: drop(rf"Undecided: {SENTENCE} ?"),
    "takes that were left out left away": drop(rf"Left out as unfair, {SENTENCE} ?"),
    "cautions left away": drop(rf"Cautions stand: {SENTENCE} ?"),
    "the limit of the claim left away": drop(r"(?:Where nothing else is said, t|T)his holds for [^.]*\. ?"),
    "heard and not shown exchanged": swap_words(
        ("was heard", "is not shown to be heard"), ("a preference is shown", "no preference is shown"),
        ("it is heard in", "they are told apart in"), ("two passes", "two placements"), ("was preferred to", "was not preferred to"), ("liking", "likeness"),
    ),
    "a blind test left away": drop(rf"Blind, in {SENTENCE} ?"),
    "what a blind test leaves open left away": drop(r"(?:The interval allows|The share lies|With 95 (?:percent|%)) [^.]*\. ?"),
    "sittings that were left left away": drop(r"\d+ more sittings? [^.]*\. ?"),
    "as placed left away": drop(r"This one holds as placed: [^.]*\. ?"),
    "within the margin left away": drop(r", perhaps within the margin|: alike within the margin|: undecided"),
}


def corrupted(texts, seed):
    """How many corruptions of each kind were tried and noticed, and some that were not."""
    draw = random.Random(seed)
    tried, noticed, missed = collections.Counter(), collections.Counter(), []
    for text in texts:
        for kind, corrupt in CORRUPTIONS.items():
            if kind == OPEN and text.spoken and text.about is None:
                # Where there is no time for the ranges, their number stands for them.
                continue
            other = corrupt(text.tokens, draw)
            if other is None or other == text.tokens:
                continue
            tried[kind] += 1
            try:
                text.check(other)
                missed.append((kind, text, other))
            except Wrong:
                noticed[kind] += 1
    return tried, noticed, missed


def show(text, other):
    """Where two texts part."""
    at = next((k for k, (a, b) in enumerate(zip(text.tokens, other)) if a != b), 0)
    return f"{text.kind}: …{text.tokens[max(at - 60, 0) : at + 60]!r} became …{other[max(at - 60, 0) : at + 60]!r}"


def main():
    if len(sys.argv) not in (2, 3):
        print(__doc__, file=sys.stderr)
        return 2
    what = sys.argv[2] if len(sys.argv) == 3 else "2000"
    run = subprocess.Popen([sys.argv[1], what], stdout=subprocess.PIPE, text=True, encoding="utf-8")
    n_runs, n_texts, failures, kept = 0, 0, [], []
    for written in run.stdout:
        line = json.loads(written)
        n_runs += 1
        known = Names(line["findings"])
        for given in line["texts"]:
            n_texts += 1
            try:
                text = Text(line, known, given)
                text.length()
                text.check(text.tokens)
                if n_runs % CORRUPT_EACH == 0 or not what.isdigit():
                    kept.append(text)
            except Wrong as wrong:
                failures.append(f"run {line['seed']}, {given['kind']} of {given['about']}: {wrong}")
    if run.wait() != 0 or n_texts == 0:
        print(f"error: {sys.argv[1]} {what} gave {n_texts} texts and ended with {run.returncode}", file=sys.stderr)
        return 1
    print(f"{n_texts} texts of {n_runs} runs read, {len(failures)} wrong")
    for failure in failures[:20]:
        print(f"  {failure}")
    tried, noticed, missed = corrupted(kept, 1)
    for kind in CORRUPTIONS:
        print(f"  {kind}: {noticed[kind]} of {tried[kind]} noticed")
    for kind, text, other in missed[:10]:
        print(f"  missed, {kind}: {show(text, other)}")
    share = sum(noticed.values()) / max(sum(tried.values()), 1)
    print(f"{sum(noticed.values())} of {sum(tried.values())} corruptions noticed ({100 * share:.2f} %)")
    untried = [kind for kind in CORRUPTIONS if not tried[kind]] if n_runs >= 2000 else []
    for kind in untried:
        print(f"  never tried: {kind}")
    return 1 if failures or share < NOTICED or untried else 0


if __name__ == "__main__":
    sys.exit(main())
