"""The forms of sentences, and what each of them claims. Importing this module fills `reading.RULES`."""

import math
import re

from reading import says, sorted_counts
from said import (
    ALL_HIDDEN, AMOUNT, BETWEEN, CHECK, CLAIM, DB, DESIGN, JUDGED, LABELS, LUFS, MATCHED, MIC, NO_SPREAD, NUMBER,
    SOURCE, SPAN, Wrong, amount, edges, interval, near, need, span,
)

# A stretch of frequency without groups, and several of them.
ONE_SPAN = re.sub(r"\((?!\?)", "(?:", SPAN)
SPANS = rf"{ONE_SPAN}(?:, {ONE_SPAN})*(?:, and {ONE_SPAN})?"
STARTS = ONE_SPAN.replace("near", "[Nn]ear").replace("from", "[Ff]rom", 1)
PLACE = r"pass (\d+) at placement (\d+)"


@says(rf"{MIC} against {MIC}\.")
def heading(self, m):
    self.pair(m[1], m[2])
    self.f["heard"].add("heading")


@says(r"The (?:first is called the other microphone here(?:, the second the reference microphone)?|second is called the "
      r"reference microphone here)\.")
def stand_ins(self, m):
    need("heading" in self.f["heard"], "stand-ins before the names")


@says(rf"The source: {SOURCE}\.")
def source(self, m):
    need(self.names.sources[m[1]] == self.c["source"], "the wrong source")
    self.f["heard"].add("source")


@says("|".join(map(re.escape, CLAIM.values())))
def claim(self, m):
    if self.about is not None:
        need(m[0] == CLAIM[self.c["claim"]], "the wrong claim")
    else:
        need(m[0] == CLAIM["these_takes"], "the wrong claim")
        need(all(c["claim"] == "these_takes" for c in self.findings["comparisons"]), "the wrong claim")
        self.heard.add("all placed")
    self.heard.add("claim")


@says(r"(Where nothing else is said, t|T)his holds for these units on these sources, not for their models\.")
def claim_of_all(self, m):
    placed = [c["claim"] == "these_takes" for c in self.findings["comparisons"]]
    need(self.about is None and any(placed) == (m[1] != "T") and not all(placed), "the wrong claim")
    self.heard.add("claim")


@says(r"This one holds as placed: microphone and placement cannot be told apart\.")
def placed(self, m):
    need(self.c["claim"] == "these_takes", "the wrong claim")
    self.f["heard"].add("placed")


@says(rf"The margin is {NUMBER} {DB}: less does not matter here\. *")
def margin(self, m):
    cs = self.findings["comparisons"]
    need(all(float(m[1]) == c["margin_db"] for c in cs), "the wrong margin")
    self.heard.add("margin")


@says(rf"Each “between” is a {NUMBER}(?: percent| %) interval\.")
def confidence(self, m):
    need(abs(float(m[1]) - 100 * self.findings["settings"]["confidence"]) < 0.05, "the wrong confidence")
    if "margin" in self.heard:
        self.heard.add("ranges")


@says("|".join(map(re.escape, DESIGN.values())))
def design(self, m):
    need(m[0] == DESIGN[self.c["design"]], "the wrong design")


SET_UP = r"set up (once|twice|\d+ times), with (\d+) (hits?|seconds? of sound) in all"


def counts(self, m, at, mic):
    c = self.c["counts"][mic]
    n = {"once": 1, "twice": 2}.get(m[at]) or int(m[at].split()[0])
    sustained = any(t["playing"] == "sustained" for t in self.takes())
    need((n, int(m[at + 1])) == (c["placements"], c["events"]), "wrong counts")
    need(m[at + 2].startswith("second") == sustained, "the wrong unit of events")


@says(rf"Each was {SET_UP}\.")
def each(self, m):
    counts(self, m, 1, "reference")
    counts(self, m, 1, "against")


@says(rf"{MIC} was {SET_UP}; {MIC} was {SET_UP}\.")
def both(self, m):
    self.pair(m[1], m[5])
    counts(self, m, 2, "against")
    counts(self, m, 6, "reference")


@says(rf"{MIC} was recorded at {LUFS} on average, {MIC} at {LUFS}\.")
def levels(self, m):
    self.pair(m[3], m[1])
    level = self.c["levels"]["loudness_lufs"]
    number = lambda t: float(t.replace("minus ", "-").replace("−", "-"))
    self.f["levels"] = number(m[2]), number(m[4])
    near(number(m[2]), level["reference"]["event_mean"], "level")
    true = level["against"]["event_mean"]
    need(true is not None and abs(number(m[4]) - true) <= 0.1 + 1e-6, "level of the other one")


def judged(e, said, what):
    verdict = {None: "different", "undecided": "undecided"}.get(said, "alike")
    true = e["verdict"] if e["verdict"] in ("different", "alike") else "undecided"
    need(verdict == true, f"{what}: {verdict} is said, {true} it is")


def estimate(self, m, at, e, more, less, what, sign=1):
    turn = lambda v: None if v is None else sign * v
    low, high = (turn(e["low"]), turn(e["high"])) if sign > 0 else (turn(e["high"]), turn(e["low"]))
    said = amount(m, at, turn(e["estimate"]), more, less, what)
    return said, (low, high)


@says(rf"{MIC} was recorded {AMOUNT} than {MIC}{BETWEEN}{JUDGED}\.")
def as_recorded(self, m):
    need(self.c["design"] != "in_turn_with_witness", "the witness is left away")
    loudness(self, m)


@says(rf"With the playing evened out by the witness, {MIC} is {AMOUNT} than {MIC}{BETWEEN}{JUDGED}\.")
def by_witness(self, m):
    need(self.c["design"] == "in_turn_with_witness", "there is no witness")
    loudness(self, m)


def loudness(self, m):
    self.pair(m[1], m[4])
    e = self.c["levels"]["loudness_lufs"]["difference_db"]
    said, bounds = estimate(self, m, 2, e, "louder", "quieter", "loudness")
    interval(m, 5, said, *bounds, "louder", "quieter", "loudness")
    judged(e, m[11], "loudness")
    if "levels" in self.f:
        a, b = self.f["levels"]
        need(abs(b - a - said) < 1e-6, "the difference is not that of the levels")
    self.f["heard"].add("loudness")


@says(rf"At equal gain, as logged, {MIC} is {AMOUNT}{BETWEEN}{JUDGED}\.")
def equal_gain(self, m):
    need(self.mic(m[1]) == self.c["against"], "the wrong one")
    e = self.c["levels"]["loudness_at_equal_gain_db"]
    said, bounds = estimate(self, m, 2, e, "louder", "quieter", "equal gain")
    interval(m, 4, said, *bounds, "louder", "quieter", "equal gain")
    judged(e, m[10], "equal gain")


@says(rf"(At matched level|As recorded), {MIC} has {AMOUNT}(?: noise)?, A-weighted{BETWEEN}{JUDGED}\.")
def noise(self, m):
    need((m[1] == "As recorded") == (self.c["match"]["by"] == "none"), "noise: matched or not")
    need(self.mic(m[2]) == self.c["against"], "the wrong one")
    e = self.c["noise"]["a_weighted_dbfs"]["difference_db"]
    said, bounds = estimate(self, m, 3, e, "more", "less", "noise")
    interval(m, 5, said, *bounds, "more", "less", "noise")
    judged(e, m[11], "noise")


@says(rf"Against the source, {MIC}(, as placed,)? hears {AMOUNT}(?: bleed)?{BETWEEN}{JUDGED}\.")
def bleed(self, m):
    need(self.mic(m[1]) == self.c["against"], "the wrong one")
    need(bool(m[2]) == (self.c["claim"] == "microphones"), "bleed: as placed")
    e = self.c["bleed"]["loudness_db"]["difference_db"]
    said, bounds = estimate(self, m, 3, e, "more", "less", "bleed", -1)
    interval(m, 5, said, *bounds, "more", "less", "bleed")
    judged(e, m[11], "bleed")


@says("|".join(map(re.escape, MATCHED.values())))
def matched(self, m):
    cs = [self.c] if self.at is not None else self.findings["comparisons"]
    need(all(m[0] == MATCHED[c["match"]["by"]] for c in cs), "matched by something else")
    for f in [self.f] if self.at is not None else self.facts:
        f["heard"].add("matched")


def how_many(text):
    if text.lower() == "no region is shown to differ":
        return 0
    return 1 if text.lower() == "they differ in one region" else int(text.split()[3])


MANY = r"([Tt]hey differ in one region|[Tt]hey differ in \d+ regions|[Nn]o region is shown to differ)"


@says(rf"{MANY}\.")
def how_many_differ(self, m):
    need(how_many(m[1]) == len(self.regions("different")), "the wrong number of differences")
    self.f["heard"] |= {"how many", "tally"}
    if self.about is None:
        need(len(self.c["regions"]) == how_many(m[1]), "regions of other verdicts are not counted")


@says(rf"{MANY}((?:, (?:and )?| and )\d+ (?:is|are) (?:alike|undecided|out of range))+\.")
def tally(self, m):
    need(how_many(m[1]) == len(self.regions("different")), "the wrong number of differences")
    told = {v.replace(" ", "_"): int(n) for n, v in re.findall(r"(\d+) (?:is|are) (alike|undecided|out of range)", m[0])}
    for verdict in ("alike", "undecided", "out_of_range"):
        need(told.get(verdict, 0) == len(self.regions(verdict)), f"the wrong number of regions: {verdict}")
    self.f["heard"].add("tally")


@says(rf"({STARTS}), (?:{MIC} has )?{AMOUNT}(?: than {MIC})?"
      rf"{BETWEEN}(, perhaps within the margin)?\.")
def difference(self, m):
    need(m[2] is None or self.mic(m[2]) == self.c["against"], "the wrong one has it")
    need(m[5] is None or self.mic(m[5]) == self.c["reference"], "than the wrong one")
    need(m[5] and m[2] or self.f["said"], "the first difference does not say of which")
    problem = Wrong(f"no such region: {m[1]}")
    for r in self.regions("different"):
        if edges(r) != span(m[1]) or any(r is s for s in self.f["said"]):
            continue
        try:
            said = amount(m, 3, r["difference_db"], "more", "less", m[1])
            interval(m, 6, said, r["low_db"], r["high_db"], "more", "less", m[1])
            nearer = None if r["low_db"] is None else min(abs(r["low_db"]), abs(r["high_db"]))
            within = nearer is None or nearer <= self.c["margin_db"] or r["low_db"] * r["high_db"] <= 0
            need(bool(m[12]) == within, f"{m[1]}: the margin")
            return self.f["said"].append(r)
        except Wrong as wrong:
            problem = wrong
    raise problem


@says(r"(One|\d+) smaller differences? (?:is|are) not said here\.")
def unsaid(self, m):
    self.f["unsaid"] = 1 if m[1] == "One" else int(m[1])


@says(rf"(Undecided|Alike within {NUMBER} {DB}|Too near the noise, or not resolved): (?:({SPANS})|(\d+) regions, the widest of "
      rf"them ({ONE_SPAN}))\.")
def listed(self, m):
    verdict = {"U": "undecided", "A": "alike", "T": "out_of_range"}[m[1][0]]
    need(m[2] is None or float(m[2]) == self.c["margin_db"], "the wrong margin")
    true = self.regions(verdict)
    if m[3]:
        said = [span(s) for s in re.findall(ONE_SPAN, m[3])]
        need(said == [edges(r) for r in true], f"{verdict}: not those regions")
    else:
        widest = max(r["to_hz"] / r["from_hz"] for r in true) if true else 0
        likely = [r for r in true if r["to_hz"] / r["from_hz"] > widest * (1 - 1e-9)]
        need(int(m[4]) == len(true), f"{verdict}: the wrong number of regions")
        need(any(span(m[5]) == edges(r) for r in likely), f"{verdict}: not the widest region")
    self.f["heard"].add(verdict)


@says(re.escape(ALL_HIDDEN))
def all_hidden(self, m):
    need(all(r["verdict"] == "out_of_range" for r in self.c["regions"]), "something was judged")
    self.f["heard"].add("hidden")


@says(re.escape(NO_SPREAD))
def no_spread(self, m):
    self.f["heard"].add("no spread")


UNITS = {"event": ("hit", "hits"), "block": ("second of sound", "seconds of sound"), "performance": ("pass", "passes"),
         "placement": ("placement", "placements")}


@says(rf"({STARTS}), (it takes|most of it should be settled by) "
      r"(\d+) ([a-z ]+?) per microphone( to know anything)?\.")
def settle(self, m):
    need((m[2] == "it takes") == bool(m[5]), "two ways of settling in one")
    for r in self.regions("undecided"):
        s = r["settle"]
        n = s and (s["placements"] or s["events"])
        unit = UNITS["placement"] if s and s["placements"] else UNITS[self.c["unit"]]
        fits = edges(r) == span(m[1]) and n == int(m[3]) and m[4] == unit[n != 1]
        if fits and bool(m[5]) == (r["low_db"] is None):
            return
    raise Wrong(f"nothing settles it so: {m[0]}")


@says(r"(One|\d+) undecided regions? (?:(?:is|are) (too near the margin) for more recording to settle"
      r"|(would take more than) (\d+) ([a-z ]+) per microphone at this spread"
      r"|(cannot be settled) by more ([a-z ]+): placing again, or the noise, may change as much)\.")
def stuck(self, m):
    reason = "near_margin" if m[2] else "out_of_reach" if m[3] else "allowance"
    true = [
        r for r in self.regions("undecided")
        if r["settle"] and r["settle"]["reason"] == reason and not (r["settle"]["events"] or r["settle"]["placements"])
    ]
    need((1 if m[1] == "One" else int(m[1])) == len(true), f"{reason}: the wrong number")
    unit = UNITS[self.c["unit"]][1]
    need(m[3] is None or (m[4], m[5]) == (("20" if unit == "placements" else "500"), unit), "the wrong limit")
    need(m[6] is None or m[7] == unit, "the wrong unit")


@says(r"This is about (\d+) microphones?, (\d+) sources? and (\d+) comparisons?\.")
def about_what(self, m):
    cs = self.findings["comparisons"]
    mics, sources = {x for c in cs for x in (c["reference"], c["against"])}, {c["source"] for c in cs}
    need((int(m[1]), int(m[2]), int(m[3])) == (len(mics), len(sources), len(cs)), "wrong counts")


@says(r"There is no comparison to speak of: nothing is known\.")
def no_comparison(self, m):
    need(not self.findings["comparisons"], "there is one")
    self.heard.add("nothing")


@says(rf"(Left out as unfair|Unfair, and kept on request), for ([a-z ,-]+): {MIC}(?: on “{SOURCE}”)?, ({PLACE}(?:(?:, | and ){PLACE})*)"
      r"(?:, and (\d+) more)?\.")
def left_out(self, m):
    why = () if m[2] == "a reason that is not stated" else tuple(LABELS[w] for w in re.split(r", | and ", m[2]) if w)
    places = [(int(a), int(b)) for a, b in re.findall(PLACE, m[5])]
    key = (m[1][0] == "L", why, self.mic(m[3]), self.names.sources[m[4]] if m[4] else None)
    need(key not in self.left_out, "said twice")
    self.left_out[key] = (places, int(m[m.re.groups] or 0))


@says(r"No caution stands\.")
def no_caution(self, m):
    self.heard.add("no caution")


@says(r"(One caution stands|Cautions stand): ([a-z0-9 ,-]+)\.")
def cautions(self, m):
    told = []
    for item in re.split(r", | and (?=[a-z])", m[2]):
        n = re.fullmatch(r"(.+?)(?: in (\d+) (takes?|comparisons))?", item)
        code = LABELS.get(n[1])
        need(code, f"unknown caution: {n[1]}")
        count = int(n[2] or 1)
        told.append((code, count, 0) if (n[3] or "").startswith("take") else (code, 0, count))
    need((m[1][0] == "O") == (sum(a + b for _, a, b in told) == 1), "one caution or several")
    self.cautions = sorted_counts(told)


@says(rf"([A-Z][a-z -]+?)(?:, {MIC}, {PLACE})?: {CHECK}\.")
def caution(self, m):
    label = m[1][0].lower() + m[1][1:]
    said, code = self.names.check_of[m[5]], LABELS.get(label)
    takes = {t["id"]: (t["mic"], t["performance"], t["placement"]) for t in self.takes()}
    place = (self.mic(m[2]), int(m[3]), int(m[4])) if m[2] else None
    fits = lambda c: c["code"] == code and takes.get(c["take"]) == place and said in self.names.said_of(c)
    need(any(fits(c) for c in self.standing()), f"no such caution: {m[0]}")


# What blind tests of the pair showed: test by test, in their order.

SITTINGS = r"Blind, in (\d+) sittings?"
PERCENT = r"(?:percent|%)"
VERDICTS_HEARD = {
    ("heard", None): "the difference was heard",
    ("heard", "placements"): "the difference was heard, more than that between two placements of one microphone",
    ("heard", "passes"): "the difference was heard, more than that between two passes of one microphone",
    ("told_apart", None): "the takes were told apart, by the microphones or by the playing",
    ("not_more_than_control", "placements"):
        "the difference is not shown to be heard more than that between two placements of one microphone",
    ("not_more_than_control", "passes"):
        "the difference is not shown to be heard more than that between two passes of one microphone",
    ("not_shown", None): "the difference is not shown to be heard",
    ("not_shown", "placements"): "the difference is not shown to be heard",
    ("not_shown", "passes"): "the difference is not shown to be heard",
}


IT = r"(it is heard|they are told apart)"


def it_of(outcome):
    """What happens in so many trials: where nothing tells microphones from playing, nothing is said to be heard."""
    return "they are told apart" if outcome == "told_apart" else "it is heard"


def whole(low, high):
    """Ends of an interval of shares in whole per cent, outwards."""
    return max(math.floor(100 * low + 1e-9), 0), min(math.ceil(100 * high - 1e-9), 100)


@says(rf"{SITTINGS}(?:, (\d+) of them ending as shown)?(, with spectra made equal)?, (\d+) of (\d+) answers were right: (.+)\.")
def blind_hits(self, m):
    score = self.next_test("hits", int(m[1]))
    shown = score["shown"]
    need((None if m[2] is None else int(m[2])) == shown["n_shown"], "sittings that ended as shown")
    need(bool(m[3]) == score["has_equal_spectra"], "equal spectra")
    need((int(m[4]), int(m[5])) == (shown["looked"]["hits"], shown["looked"]["trials"]), "right answers")
    need(VERDICTS_HEARD.get((shown["outcome"], shown["control_pairs"])) == m[6], "the wrong verdict of a blind test")
    self.f["due"].append("trials")


@says(rf"With (\d+) {PERCENT} confidence {IT} in (\d+) to (\d+) {PERCENT} of trials\.")
def blind_between(self, m):
    shown = self.of_test("trials")["shown"]
    low, high = whole(*shown["heard"][1:])
    need(shown["outcome"] in ("heard", "told_apart") and low > 0, "no lower end is shown")
    need(m[2] == it_of(shown["outcome"]), "heard and told apart")
    need((int(m[1]), int(m[3]), int(m[4])) == (95, low, high), "ends of what is heard")


@says(rf"The interval allows that {IT} in up to (\d+) {PERCENT} of trials\.")
def blind_up_to(self, m):
    shown = self.of_test("trials")["shown"]
    low, high = whole(*shown["heard"][1:])
    need(shown["outcome"] not in ("heard", "told_apart") or low == 0, "a lower end is shown")
    need(m[1] == it_of(shown["outcome"]), "heard and told apart")
    need(int(m[2]) == high, "end of what is heard")


@says(rf"A difference heard in (\d+) {PERCENT} of trials is found by four of five such tests\.")
def blind_finds(self, m):
    shown = self.f["test"]["score"]["shown"]
    found = shown["would_have_found"]
    need(found is not None and shown["is_power_known"], "what is found is not known")
    need(shown["outcome"] not in ("heard", "told_apart"), "it was found")
    need(int(m[1]) == math.ceil(100 * found - 1e-9), "what is found")


@says(rf"{SITTINGS}, {MIC} was preferred to {MIC} in (\d+) of (\d+) judgements: (a|no) preference is shown\.")
def blind_preferred(self, m):
    shown = self.next_test("preference", int(m[1]))["shown"]
    [p] = shown["pairs"]
    need((self.mic(m[2]), self.mic(m[3])) == (p["mic"], p["other"]), "the wrong one is preferred")
    need((int(m[4]), int(m[5])) == (p["preferred"]["hits"], p["preferred"]["trials"]), "judgements")
    need((m[6] == "a") == p["is_shown"], "a preference is shown, or none")
    self.f["due"].append("share")


@says(rf"The share lies between (\d+) and (\d+) {PERCENT}\.")
def blind_share(self, m):
    [p] = self.of_test("share")["shown"]["pairs"]
    need((int(m[1]), int(m[2])) == whole(p["low"], p["high"]), "ends of a share")


@says(rf"{SITTINGS}, (a hidden copy of )?{MIC} was rated (\d+) of 100 for (liking|likeness to {MIC}), "
      r"(?:between (\d+) and (\d+)|its interval unknown)\.")
def blind_rated(self, m):
    if not self.f["rated"]:
        score = self.next_test("rating", int(m[1]))
        self.f["rated"] = [r for r in score["shown"]["rated"] if r["median"] is not None]
    score = self.f["test"]["score"]
    need(int(m[1]) == score["sittings"]["done"] and self.f["rated"], "sittings")
    r = self.f["rated"].pop(0)
    need(self.mic(m[3]) == r["mic"] and bool(m[2]) == r["is_hidden_copy"], "the wrong one is rated")
    need(abs(int(m[4]) - r["median"]) <= 0.5 + 1e-9, "a median")
    need(m[5].startswith("likeness") == (score["kind"] == "likeness"), "liking or likeness")
    need(m[6] is None or self.mic(m[6]) == score["mics"][0], "like what")
    told = None if m[7] is None else [int(m[7]), int(m[8])]
    true = None if r["interval"] is None else [math.floor(r["interval"][0]), math.ceil(r["interval"][1])]
    need(told == true, "ends of a median")


@says(rf"{SITTINGS}, nobody's ratings count\.")
def blind_nobody(self, m):
    score = self.next_test("rating", int(m[1]))
    need(all(r["median"] is None for r in score["shown"]["rated"]), "some ratings count")


@says(r"(\d+) more sittings? (?:was|were) left before the end and (?:is|are) not counted\.")
def blind_left(self, m):
    need(int(m[1]) == self.of_test("left")["sittings"]["left"], "sittings that were left")
