"""How often the ranges of a group hold: the average, one more grower, each grower's own effect.

Run: python -m pytest -m slow tests/calibration/test_prediction_coverage.py
or, to print the table of RESULTS.md: python -m tests.calibration.test_prediction_coverage
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtrit

from analyses.models.pooled import pool
from analyses.models.trials_together.prediction import draw_together, predict_one_more

TRIALS = 5_000
DRAWS = 4_000

# Found in percent, 5,000 each (standard error 0.3). Key: growers; variance between growers over the
# average variance within; degrees of freedom behind each grower's variance, None where it is known.
# Values: coverage of the average (Hartung-Knapp); of one more grower's effect by t on growers less
# one (Higgins et al. 2009, with the Hartung-Knapp error), by t on growers less two (Partlett &
# Riley 2017), by the confidence distribution (Nagashima et al. 2019); of the growers' own effects
# drawn towards the average.
FOUND = {}


def covered(growers, spread, free):
    """Give the coverages in percent."""
    rng = np.random.default_rng(30_000 + growers + round(10 * spread) + 100 * (free or 0))
    hits = np.zeros(5)
    for trial in range(TRIALS):
        within = rng.uniform(0.5, 1.5, growers)
        effects = rng.normal(0, np.sqrt(spread), growers + 1)
        y, ahead = rng.normal(effects[:-1], np.sqrt(within)), effects[-1]
        v = within if free is None else within * rng.chisquare(free, growers) / free
        found = pool(y, v)
        reach = stdtrit(growers - 2, 0.975) * np.sqrt(found.error**2 + found.tau2)
        told = predict_one_more(y, v, seed=trial, draws=DRAWS)
        drawn = draw_together(y, v, seed=trial, draws=DRAWS)
        own = (drawn.lows <= effects[:-1]) & (effects[:-1] <= drawn.highs)
        hits += [
            found.low <= 0 <= found.high,
            found.predict_low <= ahead <= found.predict_high,
            abs(ahead - found.value) <= reach,
            told.low <= ahead <= told.high,
            own.mean(),
        ]
    return tuple(np.round(100 * hits / TRIALS, 2).tolist())


@pytest.mark.slow
@pytest.mark.parametrize(("growers", "spread", "free"), FOUND)
def test_coverage_of_average_and_prediction(growers, spread, free):
    average, *_, ahead, own = found = covered(growers, spread, free)
    assert 94 <= average <= 96.5
    assert 92.5 <= ahead <= 98.7
    assert own >= 93
    assert found == pytest.approx(FOUND[growers, spread, free], abs=0.3)


if __name__ == "__main__":
    for key in [(k, s, None) for k in (5, 10) for s in (0.0, 0.5, 2.0)] + [
        (5, 0.5, 7),
        (10, 0.5, 14),
    ]:
        print(f"    {key}: {covered(*key)},", flush=True)
