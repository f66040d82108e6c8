"""Score limits with the clusters' own dispersion, against Mee's and against a search."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import ndtri

from analyses.models.counts.dispersed import (
    dispersed_limits,
    dispersed_share_limits,
    dispersed_stretch,
)
from analyses.models.counts.two_proportions import mee

# Mee's limits as printed by Newcombe (1998), Statist. Med. 17, 873-890, table II, method 4.
PUBLISHED = {
    (56, 70, 48, 80): (0.0533, 0.3377),
    (9, 10, 3, 10): (0.1821, 0.8370),
    (6, 7, 2, 7): (0.0544, 0.8478),
    (5, 56, 0, 29): (-0.0313, 0.1926),
}


def by_search(p1, n1, p2, n2, d):
    """Most likely shares with difference d, by a search instead of the cubic."""

    def unlikely(q):
        r = np.clip([q + d, q], 1e-12, 1 - 1e-12)
        seen, units = np.array([p1, p2]), np.array([n1, n2])
        return -(units * (seen * np.log(r) + (1 - seen) * np.log(1 - r))).sum()

    ends = max(0, -d), min(1, 1 - d)
    q = minimize_scalar(unlikely, bounds=ends, method="bounded", options={"xatol": 1e-12}).x
    return (q + d) * (1 - q - d) / n1 + q * (1 - q) / n2


@pytest.mark.parametrize("table", PUBLISHED)
def test_without_dispersion_it_is_mee(table):
    """Where clusters spread just as single units would, the limits are those in print."""
    x1, n1, x2, n2 = table
    p1, p2 = x1 / n1, x2 / n2
    reach = ndtri(0.975) * np.sqrt(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    found = dispersed_limits(p1 - p2, reach, p1, n1, p2, n2)
    assert [float(one) for one in found] == pytest.approx(PUBLISHED[table], abs=5e-5)
    one = mee(*table)
    assert [float(each) for each in found] == pytest.approx((one.low, one.high), rel=1e-9)


@pytest.mark.parametrize("d", [-0.3, -0.02, 0.0, 0.05, 0.1, 0.6])
def test_stretch_against_a_search(d):
    p1, n1, p2, n2 = 0.08, 66.0, 0.03, 72.0
    seen = p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2
    expected = np.sqrt(by_search(p1, n1, p2, n2, d) / seen)
    assert float(dispersed_stretch(p1, n1, p2, n2, d)) == pytest.approx(expected, rel=1e-5)


def test_limits_solve_what_they_say_and_mirror():
    table = (0.08, 66.0, 0.03, 72.0)
    low, high = dispersed_limits(0.05, 0.06, *table)
    for limit in (low, high):
        reach = 0.06 * dispersed_stretch(*table, limit)
        assert abs(0.05 - limit) == pytest.approx(float(reach), rel=1e-9)
    mirrored = dispersed_limits(-0.05, 0.06, 0.92, 66.0, 0.97, 72.0)
    assert [float(one) for one in mirrored] == pytest.approx((-float(high), -float(low)))


def test_nothing_lost_shows_no_dispersion():
    assert np.isinf(dispersed_stretch(0.0, 72, 0.0, 72, 0.1))


@pytest.mark.parametrize(
    ("x", "n", "limits"),
    [(81, 263, (0.2553, 0.3662)), (15, 148, (0.0624, 0.1605)), (1, 29, (0.0061, 0.1718))],
)
def test_one_share_without_dispersion_is_wilson(x, n, limits):
    """Newcombe (1998), Statist. Med. 17, 857-872, table I, method 3."""
    p = x / n
    found = dispersed_share_limits(p, ndtri(0.975) * np.sqrt(p * (1 - p) / n))
    assert [float(one) for one in found] == pytest.approx(limits, abs=5e-5)


def test_one_share_mirrors():
    low, high = dispersed_share_limits(0.1, 0.08)
    mirrored = dispersed_share_limits(0.9, 0.08)
    assert [float(one) for one in mirrored] == pytest.approx((1 - float(high), 1 - float(low)))
