"""One proportion against published and computed limits, and its coverage by exact calculation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from analyses.models.counts.one_share import (
    check_counts,
    clopper_pearson,
    clopper_pearson_limits,
    wilson,
    wilson_limits,
    within_limits,
)
from tests.reference.load import case

SINGLE = case("bank/o-bin-15-single-proportion")["results"]["cases"]


@pytest.mark.parametrize("row", SINGLE, ids=lambda row: f"{row['x']} of {row['n']}")
def test_limits_of_the_bank(row):
    for made, name in [(wilson, "wilson"), (clopper_pearson, "clopper_pearson")]:
        found = made(row["x"], row["n"])
        assert [found.low, found.high] == pytest.approx(row[name], abs=1e-11)


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_as_printed_by_newcombe(x, n, low, high):
    # Newcombe (1998), Statist. Med. 17, 857-872, table I
    found = wilson(x, n)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


@pytest.mark.parametrize(
    ("n", "rule_of_three", "one_sided", "two_sided"),
    [
        (10, 0.300, 0.2589, 0.3085),
        (20, 0.150, 0.1391, 0.1684),
        (30, 0.100, 0.0950, 0.1157),
        (60, 0.050, 0.0487, 0.0596),
        (100, 0.030, 0.0295, 0.0362),
    ],
)
def test_no_event_among_n(n, rule_of_three, one_sided, two_sided):
    # Hanley & Lippman-Hand (1983), JAMA 249, 1743-1745: the rule of three, 3 / n
    bound = clopper_pearson(0, n, bound="upper")
    assert bound.high == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-12)
    assert bound.high == pytest.approx(one_sided, abs=5e-5)
    assert clopper_pearson(0, n).high == pytest.approx(two_sided, abs=5e-5)
    assert bound.high < rule_of_three < 1.2 * bound.high
    assert bound.low == 0


def test_no_event_among_ten_by_wilson():
    # Newcombe (1998), the upper limit .2775 of 0 of 10
    assert wilson(0, 10).high == pytest.approx(0.2775, abs=5e-5)


def test_a_bound_is_one_end_of_a_wider_interval():
    for made in (wilson, clopper_pearson):
        both = made(3, 40, 0.90)
        assert made(3, 40, 0.95, bound="upper").high == pytest.approx(both.high, rel=1e-12)
        assert made(3, 40, 0.95, bound="lower").low == pytest.approx(both.low, rel=1e-12)
        assert made(3, 40, 0.95, bound="lower").high == 1


def test_share_between_two_limits():
    # SAS/STAT FREQ, equivalence of one proportion: 228 of 762 between .18 and .38
    found = within_limits(228, 762, 0.18, 0.38)
    assert found.statistic_low == pytest.approx(7.1865, abs=5e-5)
    assert found.statistic_high == pytest.approx(-4.8701, abs=5e-5)
    assert (found.low, found.high) == pytest.approx((0.2719, 0.3265), abs=5e-5)
    assert found.p == max(found.p_low, found.p_high) < 1e-6


def test_share_between_two_limits_needs_a_standard_error():
    with pytest.raises(ValueError, match="exact interval"):
        within_limits(0, 20, 0.0, 0.2)


@pytest.mark.parametrize(
    ("x", "n", "words"),
    [(5, 4, "between 0 and the total"), (0, 0, "at least one"), (0.5, 3, "whole"), (-1, 3, "0")],
)
def test_counts_that_cannot_be(x, n, words):
    with pytest.raises(ValueError, match=words):
        check_counts(x, n)


def test_confidence_that_cannot_be():
    with pytest.raises(ValueError, match="confidence"):
        wilson(1, 2, 95)


def _coverage(limits, n, shares):
    x = np.arange(n + 1)
    low, high = limits(x, np.full(n + 1, n))
    inside = (low[:, None] <= shares) & (shares <= high[:, None])
    return (binom.pmf(x[:, None], n, shares) * inside).sum(axis=0)


# Minimum and mean coverage in percent of nominal 95 % intervals, over 999 shares from .001 to .999,
# by summing over all outcomes (nothing simulated).
COVERAGE = {
    # n: (Wilson minimum, mean; Clopper-Pearson minimum, mean)
    5: (83.25, 95.51, 97.50, 99.04),
    10: (84.24, 95.42, 96.11, 98.38),
    20: (85.16, 95.32, 95.81, 97.70),
    40: (85.19, 95.21, 95.19, 97.10),
    80: (85.20, 95.13, 95.13, 96.59),
}


@pytest.mark.parametrize("n", COVERAGE)
def test_coverage_by_exact_calculation(n):
    shares = np.arange(1, 1000) / 1000
    score, exact = (_coverage(each, n, shares) for each in (wilson_limits, clopper_pearson_limits))
    found = 100 * np.array([score.min(), score.mean(), exact.min(), exact.mean()])
    assert exact.min() >= 0.95
    assert found.round(2) == pytest.approx(COVERAGE[n], abs=0.011)
