"""How often the ranges of a group hold: the average, one more grower, each grower's own effect.

Run: python -m pytest -m slow tests/calibration/test_prediction_coverage.py
or, to print the table of RESULTS.md: python -m tests.calibration.test_prediction_coverage
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtrit

from analyses.models.trials_together.heterogeneity import between_variance, weighed
from analyses.models.trials_together.prediction import draw_one_more, draw_together

TRIALS = 5_000
DRAWS = 4_000

# Found in percent, 5,000 each (standard error 0.3). Key: growers; variance between growers over the
# average variance within; degrees of freedom behind each grower's variance, None where it is known.
# Values: coverage of the average (Hartung-Knapp); of one more grower's effect by t on growers less
# one (Higgins et al. 2009, with the Hartung-Knapp error), by t on growers less two (Partlett &
# Riley 2017), by the confidence distribution (Nagashima et al. 2019); of the growers' own effects
# drawn carefully towards the average.
FOUND = {
    (5, 0.0, None): (95.18, 95.22, 96.9, 97.64, 99.27),
    (5, 0.5, None): (94.9, 86.18, 89.02, 94.08, 97.02),
    (5, 2.0, None): (95.16, 87.9, 90.0, 94.12, 95.19),
    (10, 0.0, None): (95.38, 95.78, 95.94, 98.2, 99.25),
    (10, 0.5, None): (94.98, 84.2, 84.6, 93.46, 93.89),
    (10, 2.0, None): (95.16, 90.36, 90.68, 94.08, 93.66),
    (5, 0.5, 7): (93.14, 85.8, 88.22, 94.56, 93.08),
    (10, 0.5, 14): (93.74, 85.34, 85.8, 93.94, 92.55),
}


def covered(growers, spread, free):
    """Give the coverages in percent."""
    rng = np.random.default_rng(30_000 + growers + round(10 * spread) + 100 * (free or 0))
    y, v, effects = (np.empty((TRIALS, growers + (part == 2))) for part in range(3))
    for trial in range(TRIALS):
        within = rng.uniform(0.5, 1.5, growers)
        effects[trial] = rng.normal(0, np.sqrt(spread), growers + 1)
        y[trial] = rng.normal(effects[trial, :-1], np.sqrt(within))
        v[trial] = within if free is None else within * rng.chisquare(free, growers) / free
    tau2 = between_variance(y, v, "REML")
    weight, mean = weighed(y, v, tau2)
    off = (weight * (y - mean[:, None]) ** 2).sum(axis=1) / (growers - 1)
    error2, ahead = off / weight.sum(axis=1), effects[:, -1]
    wide = np.sqrt(error2 + tau2)
    hits = [
        np.abs(mean) <= _quantile(growers - 1) * np.sqrt(error2),
        np.abs(ahead - mean) <= _quantile(growers - 1) * wide,
        np.abs(ahead - mean) <= _quantile(growers - 2) * wide,
        *_by_draws(y, v, effects),
    ]
    return tuple(round(100 * float(one.mean()), 2) for one in hits)


def _quantile(df):
    return stdtrit(df, 0.975)


def _by_draws(y, v, effects):
    one_more, own = np.empty(len(y), bool), np.empty((len(y), y.shape[1]), bool)
    for trial in range(len(y)):
        drawn = draw_one_more(y[trial], v[trial], DRAWS, np.random.default_rng(trial))
        low, high = np.quantile(drawn, [0.025, 0.975])
        one_more[trial] = low <= effects[trial, -1] <= high
        told = draw_together(y[trial], v[trial], seed=trial, draws=DRAWS)
        own[trial] = (told.lows <= effects[trial, :-1]) & (effects[trial, :-1] <= told.highs)
    return one_more, own


@pytest.mark.slow
@pytest.mark.parametrize(("growers", "spread", "free"), FOUND)
def test_coverage_of_average_and_prediction(growers, spread, free):
    average, *_, ahead, own = found = covered(growers, spread, free)
    assert (94 if free is None else 92.5) <= average <= 96.5
    assert 93 <= ahead <= 98.7
    assert own >= 92
    assert found == pytest.approx(FOUND[growers, spread, free], abs=0.3)


if __name__ == "__main__":
    for key in [(k, s, None) for k in (5, 10) for s in (0.0, 0.5, 2.0)] + [
        (5, 0.5, 7),
        (10, 0.5, 14),
    ]:
        print(f"    {key}: {covered(*key)},", flush=True)
