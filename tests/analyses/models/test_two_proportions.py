"""Differences and ratios of two proportions against published intervals, and their coverage."""

from __future__ import annotations

import functools
import itertools

import numpy as np
import pytest
from scipy.stats import binom

from analyses.models.counts.margins import exact_margin_p, farrington_manning, two_one_sided
from analyses.models.counts.risk_ratio import koopman, miettinen_nurminen_ratio, ratio_limits
from analyses.models.counts.two_proportions import (
    mee,
    miettinen_nurminen,
    newcombe,
    newcombe_limits,
    restricted_shares,
    score_limits,
    score_statistic,
)
from tests.reference.load import case

ROWS = case("two_proportions")["rows"]
BANK = case("bank/o-bin-13-risk-difference")["results"]
MARGINS = case("bank/o-bin-14-noninferiority")["results"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row["counts"]))
def test_differences_of_the_reference(row):
    counts = row["counts"]
    for made in (newcombe, miettinen_nurminen):
        found = made(*counts)
        assert found.value == pytest.approx(row["difference"], rel=1e-12)
        expected = row[made.__name__]
        assert [found.low, found.high] == pytest.approx(expected, abs=1e-10)
    margin = farrington_manning(*counts, margin=0.10)
    assert margin.statistic == pytest.approx(row["fm_z_margin_10pct"], rel=1e-9)
    assert margin.p == pytest.approx(row["fm_p_noninferior_10pct"], rel=1e-9)


@pytest.mark.parametrize("name", [*BANK["examples"], "99 %"])
def test_differences_of_the_bank(name):
    row = BANK["ci99_a"] if name == "99 %" else BANK["examples"][name]
    counts = [int(row[key]) for key in ("x1", "n1", "x2", "n2")]
    level = 0.99 if name == "99 %" else 0.95
    for made, key in [
        (newcombe, "newcombe_wilson"),
        (miettinen_nurminen, "miettinen_nurminen"),
        (mee, "mee_score"),
    ]:
        found = made(*counts, level)
        assert [found.low, found.high] == pytest.approx(row[key], abs=1e-10)


PRINTED = [
    # Newcombe (1998), Statist. Med. 17, 873-890, table II, method 10; Mee and Miettinen-Nurminen
    # (methods 5 and 6) as quoted there, None where this suite has no printed value.
    ((56, 70, 48, 80), (0.0524, 0.3339), (0.0533, 0.3377), (0.0528, 0.3382)),
    ((9, 10, 3, 10), (0.1705, 0.8090), (0.1821, 0.8370), (0.1700, 0.8406)),
    ((6, 7, 2, 7), (0.0582, 0.8062), (0.0544, 0.8478), (0.0342, 0.8534)),
    ((5, 56, 0, 29), (-0.0381, 0.1926), (-0.0313, 0.1926), (-0.0326, 0.1933)),
    ((0, 10, 0, 20), (-0.1611, 0.2775), (-0.1611, 0.2775), (-0.1658, 0.2844)),
    ((0, 10, 0, 10), (-0.2775, 0.2775), None, None),
    ((10, 10, 0, 20), (0.6791, 1.0000), None, (0.7156, 1.0000)),
    ((10, 10, 0, 10), (0.6075, 1.0000), None, None),
]


@pytest.mark.parametrize(("counts", "hybrid", "score", "corrected"), PRINTED)
def test_differences_as_printed(counts, hybrid, score, corrected):
    for made, printed in [(newcombe, hybrid), (mee, score), (miettinen_nurminen, corrected)]:
        if printed is not None:
            found = made(*counts)
            assert (found.low, found.high) == pytest.approx(printed, abs=6e-5)


def test_ratio_and_difference_of_miettinen_and_nurminen():
    # Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, examples 4 and 6
    four = miettinen_nurminen(0, 10, 0, 20)
    assert (four.low, four.high) == pytest.approx((-0.1658, 0.28436), abs=5e-5)
    six = miettinen_nurminen_ratio(10, 10, 20, 20)
    assert (six.low, six.high) == pytest.approx((0.7156, 1.1987), abs=5e-5)


def test_seven_against_one_of_34():
    # Fagerland, Lydersen & Laake (2015), Stat. Methods Med. Res. 24, 224-254, tables 5 and 7
    counts = 7, 34, 1, 34
    hybrid, score = newcombe(*counts), mee(*counts)
    assert (hybrid.low, hybrid.high) == pytest.approx((0.0189, 0.3404), abs=5e-5)
    # The table's score row (.028, .34) is the one without the factor n / (n - 1).
    assert (round(score.low, 3), round(score.high, 2)) == (0.028, 0.34)
    ratio = koopman(*counts)
    assert (ratio.low, ratio.high) == pytest.approx((1.221, 42.58), rel=5e-4)


def test_pooled_test_of_two_shares():
    # statpsych test.prop2, example: 39 of 50 against 24 of 50, z 2.8997 after taking half a unit
    # off each side
    found = mee(39, 50, 24, 50)
    error = found.value / found.statistic
    corrected = (found.value - (1 / 50 + 1 / 50) / 2) / error
    assert corrected == pytest.approx(2.8997, abs=5e-5)


def test_no_worse_by_ten_in_a_hundred():
    # Chan (1998), Statist. Med. 17, 1403-1413: 69 of 76 against 83 of 88, exact p .0017
    found = farrington_manning(69, 76, 83, 88, margin=0.10)
    assert found.statistic == pytest.approx(-2.957, abs=5e-4)
    assert found.p == pytest.approx(0.00155, abs=5e-6)
    assert round(exact_margin_p(69, 76, 83, 88, margin=0.10), 4) == 0.0017
    mirrored = exact_margin_p(83, 88, 69, 76, margin=-0.10, alternative="greater")
    assert mirrored == pytest.approx(exact_margin_p(69, 76, 83, 88, margin=0.10), rel=1e-9)


@pytest.mark.parametrize("name", MARGINS)
def test_margins_of_the_bank(name):
    row = MARGINS[name]
    counts = [int(row[key]) for key in ("x1", "n1", "x2", "n2")]
    plain = farrington_manning(*counts, margin=-row["margin"], alternative="greater")
    assert plain.statistic == pytest.approx(row["farrington_manning"]["z"], rel=1e-9)
    assert plain.p == pytest.approx(row["farrington_manning"]["p"], rel=1e-9)
    corrected = score_statistic(*counts, -row["margin"])
    assert float(corrected) == pytest.approx(row["miettinen_nurminen"]["z"], rel=1e-9)
    shares = restricted_shares(*counts, -row["margin"])
    expected = row["restricted_mle"]["p1"], row["restricted_mle"]["p2"]
    assert [float(share) for share in shares] == pytest.approx(expected, rel=1e-9)
    for level, key in [(0.90, "ci90_mn"), (0.95, "ci95_mn")]:
        found = miettinen_nurminen(*counts, level)
        assert [found.low, found.high] == pytest.approx(row[key], abs=1e-10)
    found = newcombe(*counts, 0.90)
    assert [found.low, found.high] == pytest.approx(row["ci90_newcombe"], abs=1e-10)


def test_test_and_interval_agree():
    for counts in [(3, 40, 2, 40), (0, 20, 0, 25), (12, 12, 11, 12), (1, 1, 0, 1)]:
        found = farrington_manning(*counts, margin=0.0)
        at = farrington_manning(*counts, margin=min(found.high, 1 - 1e-9))
        assert found.high == 1 or at.p == pytest.approx(0.05, abs=1e-8)


def test_just_as_good_is_two_margin_tests():
    found = two_one_sided(8, 80, 9, 80, margin=0.15)
    above = farrington_manning(8, 80, 9, 80, margin=-0.15, alternative="greater")
    below = farrington_manning(8, 80, 9, 80, margin=0.15)
    assert (found.p_lower, found.p_upper) == (above.p, below.p)
    assert found.p == max(above.p, below.p)
    assert (found.p < 0.05) == (found.low > -0.15 and found.high < 0.15)
    shifted = two_one_sided(8, 80, 9, 80, margin=(-0.15, 0.05))
    assert shifted.p_upper > found.p_upper
    with pytest.raises(ValueError, match="below"):
        two_one_sided(8, 80, 9, 80, margin=(0.2, 0.1))


def test_groups_of_one():
    for x1, x2 in itertools.product((0, 1), repeat=2):
        for made in (newcombe, miettinen_nurminen):
            found = made(x1, 1, x2, 1)
            assert -1 <= found.low <= found.value <= found.high <= 1


def test_swapping_groups_turns_the_sign_and_inverts_the_ratio():
    for x1, x2 in itertools.product(range(6), range(9)):
        one, other = miettinen_nurminen(x1, 5, x2, 8), miettinen_nurminen(x2, 8, x1, 5)
        assert (one.low, one.high) == pytest.approx((-other.high, -other.low), abs=1e-12)
    low, high = ratio_limits([3, 5], 5, [2, 8], 8)
    down, up = ratio_limits([2, 8], 8, [3, 5], 5)
    assert low == pytest.approx(1 / up, rel=1e-9)
    assert high == pytest.approx(1 / down, rel=1e-9)


def test_ratio_when_a_group_has_no_event():
    first, second, both = koopman(0, 10, 3, 10), koopman(3, 10, 0, 10), koopman(0, 10, 0, 10)
    assert (first.value, first.low) == (0, 0)
    assert 1 < first.high < 1.2
    assert (second.value, second.high) == (np.inf, np.inf)
    assert second.low == pytest.approx(1 / first.high, rel=1e-9)
    assert np.isnan(both.value)
    assert (both.low, both.high) == (0, np.inf)


def test_ratio_limits_solve_the_score_equation():
    # At each limit the restricted likelihood equation must give the normal quantile.
    for x1, n1, x2, n2 in [(7, 34, 1, 34), (10, 10, 20, 20), (3, 9, 12, 14)]:
        for ratio in np.ravel(ratio_limits(x1, n1, x2, n2, corrected=False)):
            p = np.linspace(1e-9, min(1, 1 / ratio) - 1e-12, 400_001)
            logs = x1 * np.log(ratio * p) + (n1 - x1) * np.log1p(-ratio * p)
            logs += x2 * np.log(p) + (n2 - x2) * np.log1p(-p)
            best = p[np.argmax(logs)]
            v = ratio * best * (1 - ratio * best) / n1 + ratio**2 * best * (1 - best) / n2
            z = (x1 / n1 - ratio * x2 / n2) / np.sqrt(v)
            assert abs(z) == pytest.approx(1.959964, abs=2e-4)


def _coverage(limits, n1, n2, shares, compare=np.subtract):
    x1, x2 = (each.ravel() for each in np.meshgrid(range(n1 + 1), range(n2 + 1), indexing="ij"))
    low, high = limits(x1, n1, x2, n2)
    found = []
    for p1, p2 in itertools.product(shares, repeat=2):
        chance = binom.pmf(x1, n1, p1) * binom.pmf(x2, n2, p2)
        d = round(compare(p1, p2), 10)
        found.append(chance[(low <= d + 1e-9) & (d - 1e-9 <= high)].sum())
    return np.array(found)


# Minimum and mean coverage in percent of nominal 95 % intervals of a difference, over all pairs of
# shares .02, .06 ... .98, by summing over all outcomes (nothing simulated).
COVERAGE = {
    # (n1, n2): (Newcombe minimum, mean; Miettinen-Nurminen minimum, mean)
    (10, 10): (89.97, 95.22, 93.75, 96.12),
    (20, 10): (90.80, 95.37, 92.26, 95.81),
    (20, 20): (88.01, 95.35, 93.38, 95.10),
    (40, 40): (92.94, 95.21, 93.74, 95.12),
}


@pytest.mark.parametrize("sizes", COVERAGE)
def test_coverage_by_exact_calculation(sizes):
    shares = np.arange(0.02, 0.99, 0.04)
    found = []
    for limits in (newcombe_limits, score_limits):
        covered = 100 * _coverage(limits, *sizes, shares)
        found += [covered.min(), covered.mean()]
    assert np.round(found, 2) == pytest.approx(COVERAGE[sizes], abs=0.011)


# The same of a ratio, over the same pairs of shares: Miettinen & Nurminen (1985), and Koopman
# (1984) without their correction. With no loss on either side the limits are 0 and infinity.
RATIO_COVERAGE = {
    # (n1, n2): (Miettinen-Nurminen minimum, mean; Koopman minimum, mean)
    (10, 10): (92.00, 95.78, 91.09, 95.20),
    (20, 10): (91.92, 95.58, 91.92, 95.25),
    (20, 20): (93.16, 95.37, 93.16, 95.13),
    (40, 40): (94.00, 95.26, 94.00, 95.14),
}


@pytest.mark.parametrize("sizes", RATIO_COVERAGE)
def test_coverage_of_the_ratio_by_exact_calculation(sizes):
    shares = np.arange(0.02, 0.99, 0.04)
    found = []
    for limits in (ratio_limits, functools.partial(ratio_limits, corrected=False)):
        covered = 100 * _coverage(limits, *sizes, shares, compare=np.divide)
        found += [covered.min(), covered.mean()]
    assert np.round(found, 2) == pytest.approx(RATIO_COVERAGE[sizes], abs=0.011)
