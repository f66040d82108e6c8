"""Exact inference on two-by-two tables against published values, scipy and full enumeration."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import fisher_exact
from scipy.stats.contingency import odds_ratio

from analyses.models.counts.exact_tables import conditional_odds, margins_of, odds_from_margins
from tests.reference.load import case

BANK = case("bank/o-bin-05-fisher-2x2")["results"]["tables"]
INFORMATIVE = [name for name, row in BANK.items() if "ci" in row]


def _counts(table):
    (a, b), (c, d) = table
    return a, a + b, c, c + d


@pytest.mark.parametrize("name", INFORMATIVE)
def test_tables_of_the_bank(name):
    row = BANK[name]
    found = conditional_odds(*_counts(row["table"]))
    short = conditional_odds(*_counts(row["table"]), mid=True)
    assert found.value == pytest.approx(row["conditional_mle_or"], rel=1e-9)
    assert [found.low, found.high] == pytest.approx(row["ci"], rel=1e-9)
    assert [short.low, short.high] == pytest.approx(row["ci_midp"], rel=1e-9)
    assert found.p == pytest.approx(row["p_two_sided"], rel=1e-10)
    assert found.p_less == pytest.approx(row["p_less"], rel=1e-10)
    assert found.p_greater == pytest.approx(row["p_greater"], rel=1e-10)
    assert found.p_mid == pytest.approx(row["mid_p_two_sided"], rel=1e-10)


@pytest.mark.parametrize("row", case("two_proportions")["rows"], ids=lambda r: str(r["counts"]))
def test_tables_of_the_reference(row):
    found = conditional_odds(*row["counts"])
    assert found.p == pytest.approx(row["fisher_p"], rel=1e-10)
    # The reference stops its root search early (its own bank says about 1e-5 to 1e-2); the tables
    # of the bank above are solved to full precision.
    assert found.value == pytest.approx(row["fisher_or"], rel=5e-4)
    assert found.low == pytest.approx(row["fisher_ci"][0], rel=1e-3)
    assert found.high == pytest.approx(row["fisher_ci"][1], rel=2e-2)


def test_lady_tasting_tea():
    # Fisher (1935), The Design of Experiments, chapter II
    found = conditional_odds(3, 4, 1, 4, bound="lower")
    assert found.p_greater == pytest.approx(17 / 70, rel=1e-12)
    assert found.p == pytest.approx(34 / 70, rel=1e-12)
    assert found.value == pytest.approx(6.408, abs=5e-4)
    assert found.low == pytest.approx(0.3136, abs=5e-5)
    assert found.high == math.inf


def test_seven_against_one_of_34():
    # Fagerland, Lydersen & Laake (2015): Cornfield exact .97 to 397, mid-p 1.19 to 200
    exact, mid = conditional_odds(7, 34, 1, 34), conditional_odds(7, 34, 1, 34, mid=True)
    assert (round(exact.low, 2), round(exact.high)) == (0.97, 397)
    assert (round(mid.low, 2), round(mid.high)) == (1.19, 200)


def test_a_table_without_events_says_nothing():
    for counts in [(0, 8, 0, 9), (8, 8, 9, 9)]:
        found = conditional_odds(*counts)
        assert math.isnan(found.value)
        assert (found.low, found.high, found.p) == (0, math.inf, 1)


@pytest.mark.parametrize(("n1", "n2"), [(1, 1), (1, 6), (4, 4), (5, 7), (8, 6)])
def test_every_small_table_by_enumeration(n1, n2):
    # Chances counted as exact fractions over all tables with the same margins.
    for x1, x2 in itertools.product(range(n1 + 1), range(n2 + 1)):
        total = x1 + x2
        ways = {
            k: Fraction(math.comb(n1, k) * math.comb(n2, total - k), math.comb(n1 + n2, total))
            for k in range(max(0, total - n2), min(n1, total) + 1)
        }
        found = conditional_odds(x1, n1, x2, n2)
        assert found.p == pytest.approx(float(sum(w for w in ways.values() if w <= ways[x1])))
        assert found.p_less == pytest.approx(float(sum(w for k, w in ways.items() if k <= x1)))
        assert found.p_greater == pytest.approx(float(sum(w for k, w in ways.items() if k >= x1)))


@pytest.mark.parametrize(("n1", "n2"), [(5, 7), (12, 9)])
def test_every_small_table_against_scipy(n1, n2):
    for x1, x2 in itertools.product(range(n1 + 1), range(n2 + 1)):
        if 0 < x1 + x2 < n1 + n2:
            table = [[x1, n1 - x1], [x2, n2 - x2]]
            found, other = conditional_odds(x1, n1, x2, n2), odds_ratio(table)
            interval = other.confidence_interval(0.95)
            assert found.p == pytest.approx(fisher_exact(table).pvalue, rel=1e-9)
            assert found.value == pytest.approx(other.statistic, rel=1e-5)
            assert (found.low, found.high) == pytest.approx(tuple(interval), rel=1e-5)


def test_limits_leave_the_tails_they_promise():
    for x1, n1, x2, n2 in [(2, 40, 11, 40), (1, 3, 2, 3), (0, 12, 7, 12), (160, 400, 90, 500)]:
        found, table = conditional_odds(x1, n1, x2, n2, 0.9), margins_of(x1, n1, x2, n2)
        if found.low > 0:
            upper = table.chances(np.log(found.low))[table.events >= x1].sum()
            assert upper == pytest.approx(0.05, rel=1e-9)
        lower = table.chances(np.log(found.high))[table.events <= x1].sum()
        assert lower == pytest.approx(0.05, rel=1e-9)


def test_exact_limits_cover_at_least_as_promised():
    # Exact coverage, given the margins, over a grid of odds ratios.
    for n1, n2, total in [(10, 10, 6), (8, 15, 9)]:
        rows = range(max(0, total - n2), min(n1, total) + 1)
        limits = [conditional_odds(x, n1, total - x, n2) for x in rows]
        table = margins_of(rows[0], n1, total - rows[0], n2)
        thetas = np.linspace(-4, 4, 161)
        chance = table.chances(thetas)
        inside = [[one.low <= np.exp(t) <= one.high for one in limits] for t in thetas]
        assert (chance * np.array(inside)).sum(axis=1).min() >= 0.95


def test_events_outside_the_margins_are_refused():
    with pytest.raises(ValueError, match="cannot occur"):
        odds_from_margins([margins_of(2, 4, 2, 4)], 5)
