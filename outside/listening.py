#!/usr/bin/env python3
"""Cross-checks of the statistics of listening by scipy and statsmodels.

usage: listening.py EXAMPLE      EXAMPLE is the example `listening_values` of fairtake-stats

The example prints its inputs with its values; every value is computed here a second time. No expected number is typed in.
"""

import itertools
import json
import subprocess
import sys

import numpy as np
from scipy import integrate, stats
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.genmod.families import Binomial
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from report import Report

SAME = 1e-9  # the same formula in double precision
QUANTILE = 1e-7  # inverse beta functions of two makers
FITTED = 1e-6  # a fit that ends by another rule


def proportion(report, row):
    hits, n = row["hits"], row["n"]
    here = f"{hits} of {n}"
    report.near(f"{here}: tail", row["tail"], stats.binom.sf(hits - 1, n, 0.5), SAME)
    exact = proportion_confint(hits, n, 0.05, "beta")
    # Where there is nothing below or above, statsmodels gives no number in some versions.
    exact = [0.0 if hits == 0 else exact[0], 1.0 if hits == n else exact[1]]
    report.near(f"{here}: exact interval", row["exact"], exact, QUANTILE)
    report.near(f"{here}: score interval", row["score"], proportion_confint(hits, n, 0.05, "wilson"), QUANTILE)


def power(report, row):
    n, guess = row["n"], row["guess"]
    fewest = next((k for k in range(n + 1) if stats.binom.sf(k - 1, n, guess) <= 0.05), -1)
    report.near(f"{n} trials at {guess:.3f}: fewest hits", row["fewest"], fewest, 0)
    expected = stats.binom.sf(fewest - 1, n, 0.8) if fewest >= 0 else 0.0
    report.near(f"{n} trials at {guess:.3f}: power", row["power"], expected, SAME)


def dprime(report, row):
    d, cdf = row["d"], stats.norm.cdf
    both = lambda a, b: cdf(d / a) * cdf(d / b) + cdf(-d / a) * cdf(-d / b)
    shift = d * np.sqrt(2 / 3)
    inner = lambda x: 2 * (cdf(-x * np.sqrt(3) + shift) + cdf(-x * np.sqrt(3) - shift)) * stats.norm.pdf(x)
    share = {
        "two_alternatives": lambda: cdf(d / np.sqrt(2)),
        "match_differencing": lambda: both(np.sqrt(2), np.sqrt(6)),
        "match_independent": lambda: both(np.sqrt(2), 2),
        "triangle": lambda: integrate.quad(inner, 0, np.inf)[0],
    }[row["task"]]()
    report.near(f"{row['task']}, d' = {d}", row["share"], share, 1e-8)


def control(report, row):
    hits, n, control_hits, control_n = row["table"]
    table = [[hits, n - hits], [control_hits, control_n - control_hits]]
    p = stats.fisher_exact(table, alternative="greater").pvalue
    report.near(f"control {row['table']}: p", row["p"], p, SAME)
    interval = confint_proportions_2indep(hits, n, control_hits, control_n, compare="diff", method="newcomb")
    difference = [hits / n - control_hits / control_n, *interval]
    report.near(f"control {row['table']}: difference", row["difference"], difference, QUANTILE)


def control_of_several(report, row):
    """The exact tail of a sum of hypergeometric counts, by adding up every combination."""
    each = []
    for hits, n, control_hits, control_n in row["tables"]:
        of = stats.hypergeom(n + control_n, n, hits + control_hits)
        each.append([(k, of.pmf(k)) for k in range(*map(int, (of.support()[0], of.support()[1] + 1)))])
    observed = sum(table[0] for table in row["tables"])
    p = sum(np.prod([c for _, c in one]) for one in itertools.product(*each) if sum(k for k, _ in one) >= observed)
    report.near("control of several listeners: p", row["p"], p, SAME)


def concordance(report, row):
    ratings = np.array(row["ratings"])
    m, n = ratings.shape
    report.near("concordance", row["w"], stats.friedmanchisquare(*ratings.T).statistic / (m * (n - 1)), SAME)


def worths(report, row):
    """Bradley and Terry's model as a logistic regression, and its variance between listeners."""
    games = np.array(row["games"])
    x = np.zeros((len(games), 4))
    x[np.arange(len(games)), games[:, 1]] = 1
    x[np.arange(len(games)), games[:, 2]] = -1
    # The last item is the origin.
    model = GLM(games[:, 3:], x[:, :3], family=Binomial())
    fit = model.fit(tol=1e-14)
    contrasts = np.array([[1, 0, 0], [0, 1, -1]])
    covariance = fit.cov_params()
    estimate = contrasts @ fit.params
    error = np.sqrt(np.diag(contrasts @ covariance @ contrasts.T))
    report.near("worths: log odds", [one[0] for one in row["plain"]], estimate, FITTED)
    report.near("worths: standard errors", [one[1] for one in row["plain"]], error, FITTED)
    report.near("worths of listeners: log odds", [one[0] for one in row["of_listeners"]], estimate, FITTED)
    # Between listeners, by statsmodels' clustered covariance (its correction k/(k - 1) · (n - 1)/(n - 3) taken out again).
    clustered = model.fit(tol=1e-14, cov_type="cluster", cov_kwds={"groups": games[:, 0], "use_correction": False})
    k = len(np.unique(games[:, 0]))
    robust = clustered.cov_params() * k / (k - 1)
    # All four items about their mean; raised until no item's variance is below the model's.
    centre = np.vstack([np.eye(3), np.zeros(3)]) - np.full((4, 3), 0.25)
    ratio = np.diag(centre @ covariance @ centre.T) / np.diag(centre @ robust @ centre.T)
    error = np.sqrt(np.diag(contrasts @ robust @ contrasts.T) * max(1.0, ratio.max()))
    report.near("worths of listeners: standard errors", [one[1] for one in row["of_listeners"]], error, 1e-5)


def stopping(report, row):
    """Bounds and chances once more, by paths of hits counted one by one in whole numbers."""
    looks, bounds = row["looks"], row["bounds"]

    def passes(hit, bounds):
        chance, passed, spent = np.array([1.0]), 0.0, []
        for n, bound in zip(looks, bounds):
            while len(chance) < n + 1:
                chance = np.convolve(chance, [1 - hit, hit])
            if bound >= 0:
                passed += chance[bound:].sum()
                chance[bound:] = 0
            spent.append(passed)
        return passed, spent

    report.near(f"looks {looks}: guessing passes", row["guessing"], passes(0.5, bounds)[0], SAME)
    report.near(f"looks {looks}: power at 0.8", row["at_80"], passes(0.8, bounds)[0], SAME)
    _, spent = passes(0.5, bounds)
    allowed = [0.05 * (n / looks[-1]) ** 2 for n in looks]
    report.true(f"looks {looks}: no more is spent than allowed", all(s <= a for s, a in zip(spent, allowed)), str(spent))
    for i, bound in enumerate(bounds):
        lower = [*bounds[:i], bound - 1 if bound >= 0 else looks[i], *bounds[i + 1 :]]
        more = passes(0.5, lower)[1][i]
        report.true(f"look {looks[i]}: one hit fewer would spend too much", more > allowed[i], f"{more} of {allowed[i]}")


def main():
    rows = json.loads(subprocess.run([sys.argv[1]], capture_output=True, text=True, check=True).stdout)
    report = Report()
    checks = {f.__name__: f for f in (proportion, power, dprime, control, control_of_several, concordance, worths, stopping)}
    for row in rows:
        checks[row["kind"]](report, row)
    report.true("every kind was there", {row["kind"] for row in rows} == set(checks), str(checks.keys()))
    sys.exit(report.close())


main()
