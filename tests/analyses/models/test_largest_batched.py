"""Joint limits of many families against the integral of each."""

from __future__ import annotations

import numpy as np
import pytest

from analyses.models.families.largest_batched import critical_limits
from analyses.models.families.multiplicity import largest_t


def _families(trials):
    rng = np.random.default_rng(4)
    loads = 0.7 + 0.05 * rng.uniform(-1, 1, (3, trials))
    covariance = loads[:, None] * loads[None]
    covariance[range(3), range(3)] = 1.0
    return covariance, rng.uniform(40, 60, (3, trials))


@pytest.mark.parametrize("trials", [20, 600])
def test_limits_of_many_families(trials):
    covariance, df = _families(trials)
    limits, error = critical_limits(covariance, df, 0.95)
    assert error < 2e-7
    for at in range(0, trials, max(1, trials // 10)):
        exact = largest_t(covariance[:, :, at]).critical(df[:, at], 0.95)
        assert limits[:, at] == pytest.approx(exact, rel=1e-6)


def test_the_tabled_point():
    # Dunnett (1955), table 2a: three treatments and a control, 20 df, 95 %: 2.54
    covariance = np.full((3, 3, 1), 0.5) + 0.5 * np.eye(3)[:, :, None]
    limits, error = critical_limits(covariance, np.full((3, 1), 20.0), 0.95)
    assert error == 0
    assert limits[0, 0] == pytest.approx(2.54, abs=0.005)
