"""Simulated trials vary as they were told to."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tests.trials.plans import plan
from trials.assumptions import Assumptions, expected_share
from trials.designs import draw
from trials.simulate import Truth, draw_trials, latent_correlation, places

UNITS = places(trial := plan(blocks=4, units=3), draw(trial))


def _drawn(crop, trials=4000, flushes=3):
    truth = Truth(means=(400.0, 400.0), lost=(crop.contaminated,) * 2)
    return draw_trials(
        UNITS, truth, crop, flushes=flushes, trials=trials, generator=np.random.default_rng(2)
    )


@pytest.mark.parametrize("spread", ["log-normal", "normal"])
def test_totals_vary_by_cv(spread):
    calm = Assumptions(
        cv_block=0, flush_fails=0, contaminated=0, missing=0, late_losses=0, spread=spread
    )
    totals = _drawn(calm).totals
    assert totals.mean() == pytest.approx(400, rel=0.005)
    assert totals.std() / totals.mean() == pytest.approx(0.20, abs=0.004)


def test_losses_come_together_as_told():
    crop = Assumptions(contaminated=0.2, batch_correlation=0.3)
    lost = _drawn(crop, trials=20_000).lost.astype(float)
    pair = np.flatnonzero(UNITS.block == 0)[:2]
    assert lost.mean() == pytest.approx(0.2, abs=0.005)
    assert np.corrcoef(lost[pair])[0, 1] == pytest.approx(0.3, abs=0.025)


def test_latent_correlation_by_the_bivariate_normal_of_scipy():
    r = latent_correlation(0.1, 0.2)
    both = multivariate_normal([0, 0], [[1, r], [r, 1]]).cdf([norm.ppf(0.1)] * 2)
    assert (both - 0.01) / 0.09 == pytest.approx(0.2, abs=1e-5)


def test_what_a_started_bag_brings():
    crop = Assumptions(contaminated=0.3, flush_fails=0.2, late_losses=0.5, missing=0, cv_block=0)
    expected = 400 * expected_share(crop, 3, 0.3)
    assert _drawn(crop).totals.mean() == pytest.approx(expected, rel=0.01)
