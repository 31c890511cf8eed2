"""Reads a text that was made from findings, sentence by sentence, and holds it against their JSON.

Shares nothing with the program: the forms of sentences, the rounding, and what must be said are written here a second
time. Every sentence must be understood; a number or a comparative that is not is an error.
"""

import functools
import re
import unicodedata

RIGHT_TO_LEFT = ("R", "AL")
NUMBER = r"(\d+(?:\.\d+)?)"
DB = r"(?:decibels?|dB)"
UNIT = r"(kilohertz|hertz|kHz|Hz)"
SPAN = rf"(?:near {NUMBER} {UNIT}|from {NUMBER}(?: {UNIT})? to {NUMBER} {UNIT})"
BOUND = r"(nothing|\d+\.\d)(?: (more|less|louder|quieter))?"
BETWEEN = rf"(?:, between {BOUND} and {BOUND}|, (with no spread)|, (its interval unknown))"
AMOUNT = rf"(?:(\d+\.\d) {DB} (more|less|louder|quieter)|no (?:more|louder)(?: noise| bleed)? and no (?:less|quieter))"
JUDGED = r"(?:: (alike within the margin|undecided))?"
MIC = r"([\uE000-\uE0FF]|the other microphone|the reference microphone)"
SOURCE = r"([\uE100-\uE1FF])"
CHECK = r"([\uE200-\uEFFF])"
HAS_DIGIT = re.compile(r"[0-9]")
LUFS = r"((?:minus |−)?\d+\.\d) LUFS"
VERDICTS = ("different", "alike", "undecided", "out_of_range")
LABELS = {
    "clipping": "clipped",
    "hum": "hum",
    "an offset from zero": "dc",
    "few placements": "few_placements",
    "a drift over the order of takes": "order_drift",
    "new check": "new_check",
    "a low recording level": "level_low",
    "perhaps a wrong channel": "wrong_channel",
    "noise that could not be measured": "snr_unknown",
    "lossy coding": "lossy",
    "few events": "too_few_events",
    "dropouts": "dropout",
    "repeated buffers": "repeated_buffer",
    "clicks": "click",
    "sampling rates that differ": "rates_differ",
    "word lengths that differ": "word_length_differs",
    "one file for both": "same_file_twice",
    "the same samples twice": "dual_mono",
    "a recording chain that differs": "chain_differs",
    "a low signal-to-noise ratio": "snr_low",
    "polarity": "polarity",
    "limiting": "limiting",
    "playing of differing strength": "strength_differs",
    "a distance that may differ": "distance",
    "a design that could not be told": "design_uncertain",
}
NO_SPREAD = "There are too few repeats to know any spread, so nothing is decided."
MATCHED = {
    "loudness": "Regions are compared at levels matched by loudness.",
    "midrange": "Regions are compared at levels matched by the energy of the middle range.",
    "peak": "Regions are compared at levels matched by peaks.",
    "none": "Regions are compared as recorded, levels not matched.",
}
CLAIM = {
    "microphones": "This holds for these two units on this source, not for their models.",
    "these_takes": "This holds for these takes as placed: microphone and placement cannot be told apart.",
}
DESIGN = {
    "together": "Both recorded the same playing at once.",
    "in_turn": "They were recorded in turn.",
    "in_turn_with_witness": "They were recorded in turn, beside a third microphone that nobody moved.",
    "replayed": "One recording was played back for both.",
}
ALL_HIDDEN = "Nothing could be judged: all of it is too near the noise, or not resolved."


class Wrong(Exception):
    """What a text says is not so."""


def need(holds, text):
    if not holds:
        raise Wrong(text)


@functools.lru_cache
def clean(text):
    """A user's text on one line, set apart where it runs from right to left."""
    kept = "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") or c in "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        else c
        for c in text
    )
    kept = " ".join(kept.split())
    if any(unicodedata.bidirectional(c) in RIGHT_TO_LEFT for c in kept):
        kept = f"\u2068{kept}\u2069"
    return kept


@functools.lru_cache
def spoken_symbols(text):
    """A written text of a check as it is read aloud."""
    text = text.replace("−", "minus ").replace("±", "plus or minus ").replace("–", " to ").replace("+", "plus ")
    for sign, word in (("dB", "decibels"), ("Hz", "hertz"), ("kHz", "kilohertz"), ("%", "percent")):
        text = re.sub(rf"(?<!\S){sign}(?=[,.;:)]*(\s|$))", word, text)
    for sign, word in (("mm", "millimetres"), ("ms", "milliseconds"), ("s", "seconds")):
        text = re.sub(rf"(?<=\d) {sign}(?=[,.;:)]*(\s|$))", f" {word}", text)
    return " ".join(text.split())


class Names:
    """Names and titles out of the way of the grammar: each becomes one private character."""

    def __init__(self, findings):
        self.mics, pairs = {}, []
        shown = {m["id"]: clean(m["name"]) or clean(m["id"]) for m in findings["mics"]}
        for k, (key, name) in enumerate(shown.items()):
            if list(shown.values()).count(name) > 1:
                name = f"{name} ({clean(key)})"
            self.mics[chr(0xE000 + k)] = key
            pairs.append((f"“{name}”", chr(0xE000 + k)))
            if re.fullmatch(r"[A-Z][\w \-()/'’]*", name):
                pairs.append((name, chr(0xE000 + k)))
        self.sources = {}
        for k, s in enumerate(findings["sources"]):
            name = clean(s["name"]) or clean(s["id"])
            self.sources[chr(0xE100 + k)] = s["id"]
            for before, after in (("The source: ", "."), ("; the source: ", "\n"), ("on “", "”,")):
                pairs.append((before + name + after, before + chr(0xE100 + k) + after))
        self.pairs = sorted(pairs, key=lambda p: -len(p[0]))
        self.checks = [c for c in findings["checks"] if c["outcome"] != "fair"]
        self.check_of = {}

    def said_of(self, check):
        """The text of a check, written and read aloud."""
        return clean(check["text"]), spoken_symbols(clean(check["text"]))

    def out_of(self, text):
        for name, mark in self.pairs:
            text = text.replace(name, mark)
        return text

    def checks_out_of(self, text, spoken):
        for k, check in enumerate(self.checks):
            said = spoken_symbols(clean(check["text"])) if spoken else clean(check["text"])
            self.check_of[chr(0xE200 + k)] = said
            text = text.replace(f": {said}.", f": {chr(0xE200 + k)}.")
        return text


def hertz(hz):
    """Number and unit as they are shown, kHz from 1000 on."""
    if hz >= 9950:
        number, unit = f"{hz / 1000:.0f}", "k"
    elif hz >= 1000:
        number, unit = f"{hz / 1000:.1f}", "k"
    else:
        number, unit = f"{hz:.0f}", ""
    return number.removesuffix(".0"), unit


def span(text):
    """Both ends of a stretch of frequency, as `hertz` gives them."""
    m = re.fullmatch(SPAN, text[0].lower() + text[1:])
    need(m, f"no stretch of frequency: {text}")
    k = lambda unit: "k" if unit and unit[0] == "k" else ""
    if m[1]:
        return (m[1], k(m[2])), (m[1], k(m[2]))
    return (m[3], k(m[4] or m[6])), (m[5], k(m[6]))


def edges(region):
    return hertz(region["from_hz"]), hertz(region["to_hz"])


def near(said, true, what):
    need(true is not None and abs(said - true) <= 0.05 + 1e-6, f"{what}: {said} is said of {true}")


def interval(m, at, estimate, low, high, more, less, what):
    """The four groups of BETWEEN from group `at`, against bounds rounded outwards."""
    near_text, near_word, far_text, far_word, none, unknown = (m[at + k] for k in range(6))
    if unknown:
        return need(low is None or high is None, f"{what}: an interval is known")
    need(low is not None and high is not None, f"{what}: no interval is known")
    if none:
        need(max(abs(low), abs(high)) < 2e-6, f"{what}: there is a spread")
        return None
    size = lambda t: 0.0 if t == "nothing" else float(t)
    default = more if estimate > 0 else less
    need(estimate != 0 or far_word, f"{what}: no direction")
    signs = []
    for word in (near_word or far_word or default, far_word or default):
        need(word in (more, less), f"{what}: {word} does not fit")
        signs.append(1 if word == more else -1)
    a, b = signs[0] * size(near_text), signs[1] * size(far_text)
    if near_word is None:
        need(size(near_text) <= size(far_text), f"{what}: bounds in the wrong order")
    else:
        need(a < b, f"{what}: bounds in the wrong order")
    a, b = min(a, b), max(a, b)
    need(a <= low + 2e-6 and low - a < 0.1 + 2e-6, f"{what}: lower bound {a} is said of {low}")
    need(b >= high - 2e-6 and b - high < 0.1 + 2e-6, f"{what}: upper bound {b} is said of {high}")


def amount(m, at, true, more, less, what):
    """The two groups of AMOUNT from group `at`; returns what is said, with its sign."""
    said = 0.0
    if m[at]:
        need(m[at + 1] in (more, less), f"{what}: {m[at + 1]} does not fit")
        said = float(m[at]) * (1 if m[at + 1] == more else -1)
        need(said != 0, f"{what}: nothing with a direction")
    near(said, true, what)
    return said


def n_words(text):
    """Words as they are spoken."""
    words = text.split()
    return len(words) + sum(_word(word) - 1 for word in words if HAS_DIGIT.search(word))


@functools.lru_cache
def _word(word):
    m = re.search(r"\d(?:.*\d)?", word, re.ASCII)
    whole, _, decimals = m[0].partition(".")
    return (_whole(int(whole)) if whole.isascii() and whole.isdigit() else 1) + (1 + len(decimals) if decimals else 0)


def _whole(n):
    if n <= 20:
        return 1
    if n < 100:
        return 2 if n % 10 else 1
    if n < 1000:
        return 2 + (_whole(n % 100) if n % 100 else 0)
    return _whole(n // 1000) + 1 + (_whole(n % 1000) if n % 1000 else 0)
