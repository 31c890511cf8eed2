"""What each sentence of a text claims, and what a text must hold."""

import re

from said import Wrong, need

RULES = []


def says(pattern):
    """The rule for sentences of this form."""

    def keep(rule):
        RULES.append((re.compile(pattern), rule))
        return rule

    return keep


class Reading:
    """One text about one comparison (`about` is its place) or about all of them (`None`)."""

    def __init__(self, findings, names, about, kind, tests=()):
        # A run of one comparison is told as that one.
        about = 0 if about is None and len(findings["comparisons"]) == 1 else about
        self.findings, self.names, self.about, self.tests = findings, names, about, tests
        self.brief, self.whole = kind == "minute", kind in ("description", "reel")
        self.at = about
        self.facts = [self.no_facts() for _ in findings["comparisons"]]
        self.heard = set()
        self.cautions, self.left_out = {}, {}

    @staticmethod
    def no_facts():
        return {"said": [], "unsaid": 0, "heard": set(), "stuck": 0, "settled": [],
                "n_tests": 0, "test": None, "due": [], "rated": []}

    @property
    def c(self):
        need(self.at is not None, "nothing says which comparison this is about")
        return self.findings["comparisons"][self.at]

    @property
    def f(self):
        return self.facts[self.at]

    def regions(self, verdict):
        return [r for r in self.c["regions"] if r["verdict"] == verdict]

    def mic(self, mark):
        if mark == "the other microphone":
            return self.c["against"]
        return self.c["reference"] if mark == "the reference microphone" else self.names.mics[mark]

    def pair(self, against, reference):
        need(self.mic(against) == self.c["against"] and self.mic(reference) == self.c["reference"], "the wrong pair")

    # Blind tests of the pair, and what is still to be said of the one that is being told.

    def tests_of(self, c):
        pair = sorted((c["reference"], c["against"]))
        mine = lambda t: t["source"] == c["source"] and sorted(t["score"]["mics"]) == pair
        return [t for t in self.tests if mine(t) and t["score"]["shown"]]

    def next_test(self, by, n_done):
        f, tests = self.f, self.tests_of(self.c)
        need(not f["due"] and not f["rated"], f"not said of a blind test: {f['due'] or f['rated']}")
        need(f["n_tests"] < len(tests), "there is no such blind test")
        f["test"] = tests[f["n_tests"]]
        f["n_tests"] += 1
        score = f["test"]["score"]
        need(score["shown"]["by"] == by and score["sittings"]["done"] == n_done, "another blind test")
        f["due"] = ["left"] if score["sittings"]["left"] else []
        return score

    def of_test(self, part):
        need(part in self.f["due"], f"said of no blind test: {part}")
        self.f["due"].remove(part)
        return self.f["test"]["score"]

    def read(self, text):
        paragraphs = [p.strip() for p in text.strip().split("\n\n")]
        if self.about is None and self.findings["comparisons"]:
            n = len(self.findings["comparisons"])
            need(len(paragraphs) == n + 2, f"{len(paragraphs)} paragraphs for {n} comparisons")
        for k, paragraph in enumerate(paragraphs):
            if self.about is None:
                self.at = k - 1 if 1 <= k <= len(self.findings["comparisons"]) else None
            for sentence in re.split(r"(?<=\.) ", paragraph):
                self.sentence(sentence)
        self.complete()

    def sentence(self, text):
        for pattern, rule in RULES:
            if m := pattern.fullmatch(text):
                return rule(self, m)
        raise Wrong(f"not understood: {text}")

    def complete(self):
        """What must be there is there."""
        for k, c in enumerate(self.findings["comparisons"]):
            if self.about in (None, k):
                self.at = k
                self.complete_pair(c)
        if self.findings["comparisons"]:
            need("ranges" in self.heard, "margin and confidence are not said")
        else:
            need("nothing" in self.heard, "it is not said that there is nothing")
        need("claim" in self.heard or not self.findings["comparisons"], "the claim is not limited")
        need(self.cautions == self.expected_cautions(), f"cautions: {self.cautions}, not {self.expected_cautions()}")
        need(self.left_out == self.expected_left_out(), "takes that are left out are not those that are said to be")

    def complete_pair(self, c):
        f, different = self.f, self.regions("different")
        hidden = all(r["verdict"] == "out_of_range" for r in c["regions"])
        large = [r for r in different if abs(r["difference_db"]) >= 2 * c["margin_db"]]
        need(all(any(r is s for s in f["said"]) for r in large), "a difference of twice the margin is not said")
        if not hidden:
            need(len(f["said"]) + f["unsaid"] == len(different), "some differences are neither said nor counted")
        sizes = [abs(r["difference_db"]) for r in f["said"]]
        need(sizes == sorted(sizes, reverse=True), "not the largest first")
        rest = [abs(r["difference_db"]) for r in different if not any(r is s for s in f["said"])]
        need(not rest or not sizes or max(rest) <= min(sizes), "a smaller difference is said in place of a larger one")
        need(f["n_tests"] == len(self.tests_of(c)), "a blind test is not said")
        need(not f["due"] and not f["rated"], f"not said of a blind test: {f['due'] or f['rated']}")
        must = {"heading"} if self.about is not None or self.first_of_pair() else set()
        if self.findings["title"] is not None or len(self.findings["sources"]) > 1:
            must.add("source")
        if c["degrees_of_freedom"] is None:
            must.add("no spread")
        if hidden:
            must.add("hidden")
        elif self.about is None:
            must.add("tally")
            must |= {v for v in ("undecided", "alike", "out_of_range") if self.whole and self.regions(v)}
        else:
            must |= {"how many", "matched"} | ({"undecided"} if self.regions("undecided") else set())
            must |= {"out_of_range"} if self.regions("out_of_range") else set()
            must |= {"alike"} if not self.brief and self.regions("alike") else set()
        must |= {"loudness"} if not (self.about is None and self.brief) else set()
        if self.about is None and c["claim"] == "these_takes" and "all placed" not in self.heard:
            must.add("placed")
        need(must <= f["heard"], f"not said: {sorted(must - f['heard'])}")
        need(("no spread" in f["heard"]) == (c["degrees_of_freedom"] is None), "spread is known, or it is not")

    def first_of_pair(self):
        key = lambda c: (c["reference"], c["against"])
        return self.at == 0 or key(self.findings["comparisons"][self.at - 1]) != key(self.c)

    # Takes and checks that the text is about.

    def takes(self):
        if self.about is None:
            return self.findings["takes"]
        c = self.findings["comparisons"][self.about]
        mine = lambda t: t["mic"] in (c["reference"], c["against"]) or t["role"] == "witness"
        return [t for t in self.findings["takes"] if t["source"] == c["source"] and mine(t)]

    def standing(self):
        ids = {t["id"] for t in self.takes()}
        return [
            c for c in self.names.checks
            if self.about is None or (c["take"] in ids if c["take"] else c["comparison"] in (self.about, None))
        ]

    def expected_left_out(self):
        out = {}
        several = self.about is None and len(self.findings["sources"]) > 1
        for t in self.takes():
            why = tuple(c["code"] for c in self.standing() if c["take"] == t["id"] and c["outcome"] == "unfair")
            if t["left_out"] or why:
                key = (t["left_out"], why, t["mic"], t["source"] if several else None)
                out.setdefault(key, []).append((t["performance"], t["placement"]))
        return {k: (v[:6], max(len(v) - 6, 0)) for k, v in out.items()}

    def expected_cautions(self):
        out = {}
        for c in self.standing():
            if not (c["outcome"] == "unfair" and c["take"]):
                out.setdefault((c["code"], c["outcome"]), []).append(c["take"] is not None)
        # Said by name, so that two outcomes of one code stand side by side.
        return sorted_counts([(code, sum(v), len(v) - sum(v)) for (code, _), v in out.items()])


def sorted_counts(counts):
    return {k: sorted(x[1:] for x in counts if x[0] == k) for k in {x[0] for x in counts}}
