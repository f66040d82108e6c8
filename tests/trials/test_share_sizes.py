"""Sizes for shares of bags lost against published tables and computed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import binom
from scipy.stats import t as student

from analyses.models.counts.clusters import design_effect as effect_of_sizes
from analyses.models.counts.dispersed import dispersed_limits
from analyses.models.counts.two_proportions import newcombe
from analyses.models.counts.two_proportions import restricted_shares as restricted_of_counts
from tests.reference.load import case
from trials.sizes import batch_sd, exact_size, units_needed
from trials.sizing.batch_sizes import (
    expected_batch_width,
    power_batches_differ,
    power_batches_no_worse,
)
from trials.sizing.share_sizes import (
    design_effect,
    expected_share_width,
    power_ratio_margin,
    power_share_margin,
    power_shares_differ,
    power_shares_same,
    restricted_shares,
)

SHARES = case("bank/o-pow-03-proportions")["results"]


def test_shares_of_the_bank():
    known_sizes = SHARES["normal"]
    assert power_shares_differ(0.1, 50, 0.3) == pytest.approx(known_sizes["p10_30_n50"], rel=1e-8)
    assert power_shares_differ(0.05, 60, 0.2) == pytest.approx(known_sizes["p05_20_n60"], rel=1e-8)
    # The bank's sizes leave out the far tail: one sided at half the size.
    for p1, p2, power, key in [(0.1, 0.3, 0.8, "n_p10_30_80"), (0.02, 0.15, 0.9, "n_p02_15_90")]:
        found = exact_size(
            lambda n, a=p1, b=p2: power_shares_differ(a, n, b, size=0.025, sides=1), power
        )
        assert found == pytest.approx(known_sizes[key], rel=1e-8)
    bags = exact_size(lambda n: power_shares_differ(0.1, n, 0.3, size=0.025, sides=1), 0.8)
    inflated = bags * design_effect(6, 0.1)
    assert inflated == pytest.approx(
        SHARES["design_effect"]["bags_per_arm_p10_30_m6_icc0.1"], rel=1e-8
    )


@pytest.mark.parametrize(("p1", "p2", "published"), [(0.6, 0.4, 106)])
def test_two_shares_with_a_continuity_term(p1, p2, published):
    """STANDARDS C28, a sample-size script for two proportions: its two quantiles stand in each
    other's place, so ours are asked with size and power exchanged, and its 2 / |d| is added."""
    bags = exact_size(lambda n: power_shares_differ(p1, n, p2, size=1 - 0.8, sides=1), 0.975)
    assert math.ceil(bags) + 2 / abs(p1 - p2) == pytest.approx(published)
    usual = exact_size(lambda n: power_shares_differ(p1, n, p2, size=0.025, sides=1), 0.8)
    z_size, z_power = (float(ndtri(one)) for one in (0.975, 0.8))
    middle = (p1 + p2) / 2
    by_hand = z_size * math.sqrt(2 * middle * (1 - middle))
    by_hand += z_power * math.sqrt(p1 * (1 - p1) + p2 * (1 - p2))
    assert usual == pytest.approx((by_hand / (p1 - p2)) ** 2, rel=1e-8)


def test_shares_as_published():
    # power.prop.test in R's manual: .50 against .75
    assert power_shares_differ(0.5, 50, 0.75) == pytest.approx(0.7401659, abs=1e-5)
    assert units_needed(lambda n: power_shares_differ(0.5, n, 0.75), 0.9) == 77
    # Chow, Shao & Wang (2008), example 4.2.4
    found = exact_size(lambda n: power_shares_differ(0.65, n, 0.85, variance="separate"), 0.8)
    assert found == pytest.approx(69.66, abs=5e-3)


def test_margins_of_farrington_and_manning():
    # Farrington & Manning (1990), Statist. Med. 9, 1447-1454, table 1 and p. 1451
    found = exact_size(lambda n: power_share_margin(0.1, n, 0.1, n * 2 / 3, margin=-0.2), 0.9)
    assert (found, found * 2 / 3) == pytest.approx((62.88, 41.92), abs=6e-3)
    assert restricted_shares(0.1, 0.1, 2 / 3, -0.2) == pytest.approx((0.0654, 0.2654), abs=5e-5)
    found = exact_size(lambda n: power_share_margin(0.25, n, 0.05, n * 1.5, margin=0.1), 0.9)
    assert (found, found * 1.5) == pytest.approx((173.22, 259.83), abs=6e-3)
    needed = units_needed(lambda n: power_ratio_margin(0.25, n, 0.05, n * 1.5, ratio=2), 0.9)
    assert (needed, needed * 1.5) == (134, 201)
    found = exact_size(lambda n: power_share_margin(0.4, n, 0.05, margin=0.2), 0.8)
    assert 2 * found == pytest.approx(159.69, abs=6e-3)


def test_margins_of_statpsych():
    # size.supinf.prop2 and size.equiv.prop2
    found = units_needed(
        lambda n: power_share_margin(0.35, n, 0.2, margin=0.05, size=0.025, variance="separate"),
        0.9,
    )
    assert found == 408
    found = units_needed(
        lambda n: power_shares_same(0.8, n, 0.8, margin=0.075, size=0.1, variance="separate"), 0.9
    )
    assert found == 488


def test_restricted_shares_are_those_of_the_analysis():
    # The cubic is written twice, on purpose: the analysis solves it for arrays of counts, planning
    # for two shares without NumPy; trials may import nothing of analyses, and analyses/models
    # nothing of trials. This holds the two to the same answer.
    for x1, n1, x2, n2, margin in [
        (6, 63, 4, 42, -0.2),
        (20, 80, 4, 80, 0.1),
        (0, 30, 3, 45, -0.1),
    ]:
        mine = restricted_shares(x1 / n1, x2 / n2, n2 / n1, margin)
        other = [float(one) for one in restricted_of_counts(x1, n1, x2, n2, margin)]
        assert mine == pytest.approx(other, abs=1e-9)


def test_normal_power_is_near_the_exact_power_of_the_score_test():
    # the bank's exact power of the pooled z test, by enumeration
    assert power_shares_differ(0.1, 50, 0.3) == pytest.approx(
        SHARES["exact_score_z"]["p10_30_n50"], abs=0.03
    )


def test_design_effects():
    block = SHARES["design_effect"]
    assert design_effect(6, 0.1) == pytest.approx(block["m6_icc0.1"])
    assert design_effect(12, 0.05) == pytest.approx(block["m12_icc0.05"])
    unequal = block["unequal_cv"]
    found = design_effect(unequal["mean"], 0.1, unequal["cv"])
    assert found == pytest.approx(unequal["deff"])
    assert found == pytest.approx(effect_of_sizes(unequal["sizes"], 0.1))
    assert batch_sd(3, 4, 4) == pytest.approx(math.sqrt(13))


def test_batches_matter_more_than_bags():
    more_bags = power_batches_differ(0.1, 0.3, 6, 24, 0.15)
    more_batches = power_batches_differ(0.1, 0.3, 12, 12, 0.15)
    assert power_batches_differ(0.1, 0.3, 6, 12, 0.15) < more_bags < more_batches
    alone = power_batches_differ(0.1, 0.3, 40, 1, 0.0)
    assert alone == pytest.approx(power_shares_differ(0.1, 40, 0.3, variance="separate"), abs=0.02)
    worse = power_batches_no_worse(0.1, 0.1, 8, 12, 0.05, margin=0.15)
    assert worse > power_batches_no_worse(0.15, 0.1, 8, 12, 0.05, margin=0.15)
    assert power_batches_differ(0.0, 0.0, 4, 10, 0.1) == 0


def test_share_width_is_the_width_of_the_analysis():
    for x1, x2, n in [(4, 10, 40), (0, 0, 20), (0, 6, 30)]:
        found = newcombe(x1, n, x2, n)
        expected = expected_share_width(x1 / n, n, x2 / n)
        assert expected == pytest.approx(found.high - found.low, rel=1e-9)
    x = np.arange(41)
    width = [[(f := newcombe(int(a), 40, int(b), 40)).high - f.low for b in x] for a in x]
    chance = np.outer(binom.pmf(x, 40, 0.1), binom.pmf(x, 40, 0.3))
    mean = float((chance * np.array(width)).sum())
    assert expected_share_width(0.1, 40, 0.3) == pytest.approx(mean, rel=0.02)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: power_shares_same(0.1, 20, 0.1, margin=0), "margin"),
        (lambda: power_ratio_margin(0.1, 20, 0.1, ratio=0), "ratio"),
        (lambda: power_shares_differ(10, 20, 0.1), "share"),
    ],
)
def test_questions_without_an_answer(made, words):
    with pytest.raises(ValueError, match=words):
        made()


@pytest.mark.parametrize(("share", "batches", "bags"), [(0.05, 6, 12), (0.1, 10, 12), (0.3, 8, 20)])
def test_width_of_batches_is_that_of_the_analysis(share, batches, bags):
    """The limits that the analysis would give at just these shares and this spread: the wider."""
    units = batches * bags
    error = math.sqrt(2 * share * (1 - share) * (1 + (bags - 1) * 0.05) / units)
    df = 2 * batches - 2
    # The mean of a standard deviation from df: its square root of chi-squared (c4).
    shrink = math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))
    reach = student.ppf(0.975, df) * error * shrink
    low, high = dispersed_limits(0.0, reach, share, units, share, units)
    found = expected_batch_width(share, batches, bags, 0.05)
    assert found == pytest.approx(max(float(high - low), 2 * reach), rel=1e-6)
