"""Holm and the largest |t| against published and deterministic values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.families.largest import pairs_correlation
from analyses.models.families.multiplicity import holm, largest_t
from analyses.models.linear.student import t_two_sided
from tests.reference.load import case

CRITICAL = case("bank/o-pow-04-dunnett-tukey-critical")["results"]


def equal(k, r=0.5):
    correlation = np.full((k, k), r)
    np.fill_diagonal(correlation, 1.0)
    return correlation


def through_control(control, others):
    """Correlate comparisons of unequal groups with one control (Dunnett 1955)."""
    share = np.sqrt(np.asarray(others) / (np.asarray(others) + control))
    correlation = np.outer(share, share)
    np.fill_diagonal(correlation, 1.0)
    return correlation


@pytest.mark.parametrize("row", range(20))
def test_dunnett_limits(row):
    table = CRITICAL["dunnett_equal"]
    largest = largest_t(equal(table["k"][row]))
    df = [table["df"][row]]
    assert largest.critical(df, 0.95)[0] == pytest.approx(table["two_05"][row], rel=1e-8)
    assert largest.critical(df, 0.99)[0] == pytest.approx(table["two_01"][row], rel=1e-8)


def test_dunnett_limits_of_unequal_groups():
    table = CRITICAL["dunnett_unequal"]
    found = largest_t(through_control(8, [4, 4, 4])).critical([16.0], 0.95)[0]
    assert found == pytest.approx(table["n0_8_n_4_4_4_df16"], rel=1e-8)
    found = largest_t(through_control(5, [5, 8, 12])).critical([26.0], 0.95)[0]
    assert found == pytest.approx(table["n0_5_n_5_8_12_df26"], rel=1e-8)


@pytest.mark.parametrize("row", range(20))
def test_studentised_range(row):
    """The bank's own limits are off by up to 6e-5 at 4 df (`test_range_at_four_df`)."""
    table = CRITICAL["studentized_range"]
    largest = largest_t(pairs_correlation(table["k"][row]))
    df = [table["df"][row]]
    rel = 1e-7 if df[0] > 4 else 1e-4
    for chance, key in ((0.05, "q05"), (0.01, "q01")):
        found = largest.critical(df, 1 - chance)[0] * np.sqrt(2)
        assert found == pytest.approx(table[key][row], rel=rel)


@pytest.mark.parametrize(("q", "means"), [(5.757, 4), (10.583, 6), (12.263, 10)])
def test_range_at_four_df(q, means):
    """A second source where the bank's is doubtful: scipy's studentised range."""
    from scipy.stats import studentized_range

    p, _ = largest_t(pairs_correlation(means)).p([q / np.sqrt(2)], [4.0])
    assert p[0] == pytest.approx(studentized_range.sf(q, means, 4), rel=1e-7)


def test_studentised_range_tails():
    """Tails by the reference's own range distribution."""
    for key, value in CRITICAL["ptukey"].items():
        q, k, df = (float(part[1:].replace("f", "")) for part in key.split("_"))
        p, _ = largest_t(pairs_correlation(int(k))).p([q / np.sqrt(2)], [df])
        assert p[0] == pytest.approx(value, rel=1e-7)


def test_dunnett_1955_blood_counts():
    """STANDARDS C16: Dunnett (1955), table 1; values as scipy's tests quote them."""
    control = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
    drugs = [[9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55]]
    groups = [control, *drugs]
    df = sum(len(one) - 1 for one in groups)
    error = sum(((np.array(one) - np.mean(one)) ** 2).sum() for one in groups) / df
    mean = np.array([np.mean(one) - np.mean(control) for one in drugs])
    size = np.array([len(one) for one in drugs])
    t = mean / np.sqrt(error * (1 / size + 1 / len(control)))
    np.testing.assert_allclose(t, [0.85703, 3.69375], atol=5e-6)
    largest = largest_t(through_control(len(control), size))
    np.testing.assert_allclose(largest.p(t, df)[0], [0.6201, 0.00583], atol=5e-5)
    wide = largest.critical([df], 0.95)[0] * np.sqrt(error * (1 / size + 1 / len(control)))
    np.testing.assert_allclose(mean - wide, [-1.2564, 0.8396], atol=5e-4)
    np.testing.assert_allclose(mean + wide, [2.5564, 4.4164], atol=5e-4)


def test_directions_agree_with_quadrature():
    """A family off its neighbour: unequal pairs, against brute simulation of the maximum."""
    rng = np.random.default_rng(5)
    precision = np.array([1.0, 0.7, 1.4, 1.1])
    differences = np.array([[-1, 1, 0, 0], [-1, 0, 1, 0], [0, -1, 1, 0], [-1, 0, 0, 1]])
    differences = np.vstack([differences, [[0, -1, 0, 1], [0, 0, -1, 1]]])
    covariance = differences @ np.diag(precision) @ differences.T
    draws = rng.multivariate_normal(np.zeros(4), np.diag(precision), 400_000) @ differences.T
    error = np.sqrt(rng.chisquare(9.5, 400_000) / 9.5)
    largest = np.abs(draws / np.sqrt(np.diag(covariance))).max(1) / error
    found, bound = largest_t(covariance).p([1.5, 2.5, 3.5], [9.5] * 3)
    simulated = [(largest > limit).mean() for limit in (1.5, 2.5, 3.5)]
    np.testing.assert_allclose(found, simulated, atol=3e-3)
    assert bound.max() < 1e-4


@pytest.mark.parametrize("rank", [2, 3, 5, 9])
def test_error_bound_is_honest(rank):
    """Without its neighbour, a family of known answer is found within the stated error."""
    from analyses.models.families.multiplicity import _FINE_LATTICE, LargestT, _over_directions

    known = largest_t(equal(rank))
    blind = LargestT(size=rank, known=None, family=_over_directions(equal(rank), _FINE_LATTICE))
    t, df = np.array([1.0, 2.0, 3.0, 6.0]), np.array([7.3] * 4)
    p, error = blind.p(t, df)
    assert (np.abs(p - known.p(t, df)[0]) <= 2 * error + 1e-9).all()
    assert error.max() < 1e-3


def test_one_comparison_needs_no_adjustment():
    p, error = largest_t(np.array([[4.0]])).p([2.1], [6.4])
    assert p[0] == pytest.approx(t_two_sided(2.1, 6.4))
    assert error[0] == 0
    p, _ = largest_t(np.array([[1.0, 1.0], [1.0, 1.0]])).p([2.1, 2.1], [6.4, 6.4])
    np.testing.assert_allclose(p, t_two_sided(2.1, 6.4), rtol=1e-12)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.2, 6), min_size=2, max_size=6),
    st.floats(2.5, 200),
    st.sampled_from([0.8, 0.95, 0.99]),
)
def test_interval_and_p_agree(t, df, confidence):
    largest = largest_t(equal(len(t), 0.4))
    p, _ = largest.p(t, [df] * len(t))
    limit = largest.critical([df], confidence)[0]
    for one, chance in zip(t, p, strict=True):
        if abs(one - limit) > 1e-6:
            assert (one > limit) == (chance < 1 - confidence)
    assert (p >= t_two_sided(t, df) - 1e-12).all()
    assert (p <= np.minimum(1, len(t) * t_two_sided(t, df)) + 1e-9).all()


def test_holm_by_hand():
    """Holm (1979): the smallest times m, the next times m - 1, never falling."""
    np.testing.assert_allclose(holm([0.01, 0.04, 0.03]), [0.03, 0.06, 0.06])
    np.testing.assert_allclose(holm([0.9, 0.5, np.nan]), [1.0, 1.0, np.nan])
    assert holm([]).shape == (0,)
