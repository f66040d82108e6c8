"""The limits between batches: wider than a t where few are hit, never on the wrong side."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import stdtrit

from analyses.losses.batch_limits import BatchShares, held_limits, score_stretch

BATCHES = st.lists(st.integers(0, 12), min_size=2, max_size=8)


def by_t(mine, control):
    """Difference and limits by Student's t of the shares, in bags of a hundred."""
    a, b = (100 * np.array(side) / 12 for side in (mine, control))
    k1, k2 = len(a), len(b)
    squares = ((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()
    error = np.sqrt(squares / (k1 + k2 - 2) * (1 / k1 + 1 / k2))
    reach = stdtrit(k1 + k2 - 2, 0.975) * error
    value = a.mean() - b.mean()
    return value, value - reach, value + reach


def held(mine, control):
    value, low, high = (np.array([one]) for one in by_t(mine, control))
    shares = [100 * np.array(side, float)[:, None] / 12 for side in (mine, control)]
    made = [np.full(len(side), 12.0) for side in (mine, control)]
    found = held_limits(BatchShares(*shares, *made), value, low, high, 0.95)
    return float(found[0][0]), float(found[1][0])


@given(BATCHES, BATCHES)
def test_limits_hold_the_value_and_what_the_t_holds(mine, control):
    value, t_low, t_high = by_t(mine, control)
    if t_high - t_low < 1e-9:
        return
    low, high = held(mine, control)
    assert -100 <= low <= value + 1e-9
    assert value - 1e-9 <= high <= 100
    assert low <= max(t_low, -100) + 1e-9
    assert high >= min(t_high, 100) - 1e-9
    # Whether there is a difference is the t's to say.
    assert (low > 0, high < 0) == (t_low > 0, t_high < 0)


@given(BATCHES, BATCHES)
def test_sides_and_losses_may_be_swapped(mine, control):
    _, t_low, t_high = by_t(mine, control)
    if t_high - t_low < 1e-9:
        return
    low, high = held(mine, control)
    assert held(control, mine) == pytest.approx((-high, -low), abs=1e-6)
    kept = [[12 - one for one in side] for side in (mine, control)]
    assert held(*kept) == pytest.approx((-high, -low), abs=1e-6)


def test_many_trials_are_those_of_one():
    rng = np.random.default_rng(3)
    mine, control = rng.binomial(12, 0.06, (200, 6)), rng.binomial(12, 0.02, (200, 5))
    each = [by_t(a, b) for a, b in zip(mine, control, strict=True)]
    some = [place for place, (_, low, high) in enumerate(each) if high - low > 1e-9]
    shares = BatchShares(
        100 * mine[some].T / 12, 100 * control[some].T / 12, np.full(6, 12.0), np.full(5, 12.0)
    )
    value, low, high = np.array([each[place] for place in some]).T
    found = held_limits(shares, value, low, high, 0.95)
    for at, place in enumerate(some):
        assert (found[0][at], found[1][at]) == pytest.approx(held(mine[place], control[place]))


def test_the_stretch_is_at_least_one():
    shares = BatchShares(
        np.array([[50.0], [40.0]]), np.array([[50.0], [60.0]]), np.full(2, 10.0), np.full(2, 10.0)
    )
    assert score_stretch(shares, 60.0) == 1.0
