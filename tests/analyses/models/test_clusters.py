"""Cluster-level comparisons against the bank and hand calculation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import ttest_ind

from analyses.models.counts.clusters import (
    adjusted_test,
    anova_correlation,
    cluster_difference,
    design_effect,
)
from tests.reference.load import case, frame

MICE = frame("bank/mice")
TREATED = (MICE.group == "TREAT").to_numpy()
KNOWN = case("bank/o-bin-12-mice-litters")["results"]
ARMS = case("bank/o-bin-19-cluster-trial")["results"]
SECOND = np.array(ARMS["data"]["arm"]) == "B"


def test_litters_of_the_bank():
    # Kupper & Haseman (1978), Biometrics 34, 69-76
    found = cluster_difference(MICE.y, MICE.n, TREATED)
    known = KNOWN["t_pooled"]
    assert (found.t, found.df, found.p) == pytest.approx(
        (known["t"], known["df"], known["p"]), rel=1e-9
    )
    assert [found.low, found.high] == pytest.approx(known["ci"], rel=1e-9)
    welch, known = (
        cluster_difference(MICE.y, MICE.n, TREATED, equal_variances=False),
        KNOWN["t_welch"],
    )
    assert (welch.t, welch.df, welch.p) == pytest.approx(
        (known["t"], known["df"], known["p"]), rel=1e-9
    )
    expected = KNOWN["icc_anova_within_groups"]["icc"]
    assert anova_correlation(MICE.y, MICE.n, TREATED) == pytest.approx(expected, rel=1e-9)


def test_arms_of_the_bank():
    # formulas of Donner & Klar (2000)
    y, n = ARMS["data"]["y"], ARMS["data"]["n"]
    found = adjusted_test(y, n, SECOND)
    assert found.correlation == pytest.approx(ARMS["icc"]["icc"], rel=1e-9)
    assert found.inflation == pytest.approx(tuple(ARMS["clumping"].values()), rel=1e-9)
    assert found.naive == pytest.approx(ARMS["chisq_naive"], rel=1e-9)
    assert found.adjusted == pytest.approx(ARMS["chisq_adjusted"], rel=1e-9)
    assert found.p == pytest.approx(ARMS["p_adjusted"], rel=1e-9)
    assert found.p_naive < 0.001 < 0.04 < found.p
    t, known = cluster_difference(y, n, SECOND), ARMS["cluster_t"]
    assert (t.t, t.df, t.p) == pytest.approx((known["t"], known["df"], known["p"]), rel=1e-9)
    assert [t.low, t.high] == pytest.approx(known["ci"], rel=1e-9)


def test_a_margin_moves_the_test_and_not_the_interval():
    y, n = ARMS["data"]["y"], ARMS["data"]["n"]
    plain, margin = cluster_difference(y, n, SECOND), cluster_difference(y, n, SECOND, null=0.1)
    assert (plain.low, plain.high) == (margin.low, margin.high)
    shares = np.array(y) / np.array(n)
    other = ttest_ind(shares[~SECOND] - 0.1, shares[SECOND], alternative="less")
    assert margin.p_less == pytest.approx(other.pvalue, rel=1e-9)
    assert margin.p_less + margin.p_greater == pytest.approx(1)


def test_design_effects():
    known = case("bank/o-pow-03-proportions")["results"]["design_effect"]
    assert design_effect([6], 0.1) == pytest.approx(known["m6_icc0.1"])
    assert design_effect([12, 12], 0.05) == pytest.approx(known["m12_icc0.05"])
    sizes = known["unequal_cv"]["sizes"]
    assert design_effect(sizes, 0.1) == pytest.approx(known["unequal_cv"]["deff_exact_sum_m2"])
    # Davies & Goldsmith's dyestuff: correlation .4185 in batches of 5 gives 2.674
    assert design_effect([5] * 6, 0.4185) == pytest.approx(2.674, abs=5e-4)


def test_one_cluster_a_group_gives_no_test():
    with pytest.raises(ValueError, match="no way to see how clusters vary"):
        cluster_difference([2, 5], [20, 20], [False, True])
    with pytest.raises(ValueError, match="both groups"):
        cluster_difference([2, 5], [20, 20], [True, True])
    assert math.isnan(anova_correlation([2, 5], [20, 20], [False, True]))


def test_clusters_that_do_not_vary():
    for y in ([1, 1, 1, 1], [1, 1, 3, 3]):
        found = cluster_difference(y, [10] * 4, [0, 0, 1, 1])
        assert found.value == pytest.approx((y[0] - y[2]) / 10)
        assert found.error == 0
        assert all(math.isnan(one) for one in (found.t, found.p, found.low, found.high))
    none = adjusted_test([0, 0, 0, 0], [10] * 4, [0, 0, 1, 1])
    assert none.naive == 0
