"""Score interval over strata: the special cases that are published, and what no cell may break."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.counts.strata import check_strata, cochran_mantel_haenszel, pooled_difference
from analyses.models.counts.stratified_score import (
    is_sparse,
    stratified_limits,
    stratified_score,
    stratified_statistic,
)
from tests.reference.load import frame

# Newcombe (1998), Statist. Med. 17, 873-890, table II: limits of Miettinen & Nurminen.
ONE_STRATUM = [
    ((56, 70, 48, 80), (0.0528, 0.3382)),
    ((9, 10, 3, 10), (0.1700, 0.8406)),
    ((6, 7, 2, 7), (0.0342, 0.8534)),
    ((5, 56, 0, 29), (-0.0326, 0.1933)),
    ((0, 10, 0, 20), (-0.1658, 0.2844)),
    ((10, 10, 0, 20), (0.7156, 1.0)),
]


@pytest.mark.parametrize(("table", "limits"), ONE_STRATUM)
def test_one_stratum_is_the_published_interval(table, limits):
    found = stratified_score(check_strata(*([count] for count in table)))
    assert (found.low, found.high) == pytest.approx(limits, abs=6e-5)


def test_rothman_example():
    """Rothman et al. (2008), Modern Epidemiology, table 15-1: MH risk difference .0349."""
    s = check_strata([8, 22], [106, 98], [5, 16], [120, 85])
    found = stratified_score(s, 0.90)
    assert found.value == pytest.approx(0.0349, abs=5e-5)
    assert found.value == pytest.approx(pooled_difference(s).value, rel=1e-12)
    # Sato's interval is printed as -.0176 to .0874; with so many units the two nearly agree.
    assert (found.low, found.high) == pytest.approx((-0.0176, 0.0874), abs=0.003)
    assert found.statistic**2 == pytest.approx(1.1914, abs=5e-5)


def test_admissions_test_is_cochran_mantel_haenszel():
    data = frame("strata_admissions")
    admitted = data[data["Admit"] == "Admitted"].set_index(["Dept", "Gender"])["Freq"]
    total = data.groupby(["Dept", "Gender"])["Freq"].sum()
    counts = []
    for gender in ("Male", "Female"):
        counts += [admitted.xs(gender, level=1).sort_index(), total.xs(gender, level=1)]
    s = check_strata(*counts)
    expected = cochran_mantel_haenszel(s).statistic
    assert stratified_score(s).statistic ** 2 == pytest.approx(expected, rel=1e-10)
    assert not is_sparse(s)


def test_pairs_are_mcnemar():
    """One unit a side in each stratum: (b - c)^2 / (b + c), McNemar (1947), Psychometrika 12."""
    x1 = np.array([1] * 9 + [0] * 3 + [1] * 4 + [0] * 10)
    x2 = np.array([0] * 9 + [1] * 3 + [1] * 4 + [0] * 10)
    ones = np.ones(26)
    z = stratified_statistic(x1, ones, x2, ones)
    assert z**2 == pytest.approx((9 - 3) ** 2 / 12, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 6), st.integers(1, 6), st.integers(0, 6), st.integers(0, 6)),
        min_size=1,
        max_size=6,
    )
)
def test_limits_are_where_the_statistic_says(strata):
    n1, n2, x1, x2 = (np.array(column, float) for column in zip(*strata, strict=True))
    x1, x2 = np.minimum(x1, n1), np.minimum(x2, n2)
    low, high = (float(one) for one in stratified_limits(x1, n1, x2, n2))
    value = pooled_difference(check_strata(x1, n1, x2, n2)).value
    assert -1 <= low <= value + 1e-9
    assert value - 1e-9 <= high <= 1
    assert high - low > 0.05
    for limit in (low, high):
        if abs(limit) < 0.999:
            z = float(stratified_statistic(x1, n1, x2, n2, limit))
            assert abs(z) == pytest.approx(1.959964, abs=1e-4)


def test_sparse_by_mantel_and_fleiss():
    """Mantel & Fleiss (1980): the expected count must lie 5 or more from both ends."""
    assert is_sparse(check_strata([1] * 4, [3] * 4, [0] * 4, [3] * 4))
    assert not is_sparse(check_strata([10, 12], [20, 20], [9, 11], [20, 20]))
    # Just at the edge: 10 events in 10 against 10 expect 5, from 0 to 10.
    assert not is_sparse(check_strata([5], [10], [5], [10]))
    assert is_sparse(check_strata([5], [10], [4], [10]))


@pytest.mark.slow
@pytest.mark.parametrize("shares", [(0.1, 0.1), (0.2, 0.05), (0.3, 0.1), (0.5, 0.3)])
@pytest.mark.parametrize(("blocks", "units"), [(8, 3), (12, 2), (20, 2), (6, 10)])
def test_coverage_in_small_blocks(shares, blocks, units):
    rng = np.random.default_rng(50_000 + blocks + round(100 * shares[0]))
    x1, x2 = (rng.binomial(units, share, (10_000, blocks)) for share in shares)
    n = np.full((10_000, blocks), float(units))
    low, high = stratified_limits(x1, n, x2, n)
    truth = shares[0] - shares[1]
    assert ((low <= truth) & (truth <= high)).mean() > 0.938
