"""How often the ranges of the share kept, and of what to expect, hold the truth.

Run: python -m pytest -m slow tests/calibration/test_flush_coverage.py
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtrit

from analyses.models.batches.batched import fit_batch
from analyses.models.flush.flush_draws import simulate_flushes
from analyses.models.flush.flush_parts import FlushWatch, PartsModel, fit_parts

TRIALS = 5_000
KEPT = np.log([0.5, 0.62])
RACK, BAG, FLUSH = 0.07, 0.15, 0.2
"""Standard deviations of the logarithm between blocks, bags and flushes of a bag."""

# Blocks, bags of each of two treatments in a block, flushes, chance that a later flush is missing.
# Found in percent, 5,000 trials each (standard error 0.31): coverage of the 95 % interval of one
# share kept, of the ratio of two shares, of their difference in hundredths.
FOUND = {
    (4, 1, 3, 0.0): (94.92, 95.52, 95.62),
    (6, 1, 2, 0.0): (94.76, 94.84, 95.22),
    (3, 2, 4, 0.1): (95.04, 94.26, 94.60),
    (1, 4, 3, 0.15): (95.26, 95.48, 95.58),
}


def _trials(rng, blocks, bags, flushes, gone):
    treatment, block, _, k = np.indices((2, blocks, bags, flushes)).reshape(4, -1)
    bag = np.repeat(np.arange(len(k) // flushes), flushes)
    logs = 5.6 + KEPT[treatment, None] * k[:, None] + FLUSH * rng.normal(size=(len(k), TRIALS))
    logs += BAG * rng.normal(size=(bag.max() + 1, TRIALS))[bag]
    logs += RACK * rng.normal(size=(blocks, TRIALS))[block]
    logs[(rng.random(logs.shape) < gone) & (k > 0)[:, None]] = np.nan
    own = (treatment[:, None] == np.arange(2)).astype(float)
    groups = {"block": block, "bag": bag} if blocks > 1 else {"bag": bag}
    return logs, np.column_stack([own, own * k[:, None]]), groups


def _covered(blocks, bags, flushes, gone):
    rng = np.random.default_rng(40_000 + 100 * blocks + 10 * bags + flushes)
    logs, design, groups = _trials(rng, blocks, bags, flushes, gone)
    rows = [[0, 0, 1, 0], [0, 0, 0, 1], [0, 0, -1, 1]]
    fit = fit_batch(logs, design, rows, groups)
    ok = np.isfinite(fit.low).all(axis=0)
    assert ok.mean() > 0.995
    share = ((fit.low[1] <= KEPT[1]) & (KEPT[1] <= fit.high[1]))[ok]
    gap = KEPT[1] - KEPT[0]
    ratio = ((fit.low[2] <= gap) & (gap <= fit.high[2]))[ok]
    first, second = np.exp(fit.estimates[:2])
    variance = fit.standard_errors**2
    shared = (variance[0] + variance[1] - variance[2]) / 2
    error = np.sqrt(second**2 * variance[1] + first**2 * variance[0] - 2 * first * second * shared)
    off = np.abs(second - first - (np.exp(KEPT[1]) - np.exp(KEPT[0])))
    difference = (off <= stdtrit(fit.df[2], 0.975) * error)[ok]
    return tuple(100 * one.mean() for one in (share, ratio, difference))


@pytest.mark.slow
@pytest.mark.parametrize("design", FOUND)
def test_coverage_of_the_share_kept(design):
    found = _covered(*design)
    assert 94 <= found[0] <= 97.5
    assert 94 <= found[1] <= 97.5
    assert found == pytest.approx(FOUND[design], abs=0.5)


def _watch(rng, per_treatment, flushes):
    bags = 2 * per_treatment
    return FlushWatch(
        treatment=np.repeat(np.arange(2), per_treatment), block=None,
        at_risk=np.ones((bags, flushes), bool), lost=np.zeros((bags, flushes), bool),
        looked=np.ones((bags, flushes), bool),
        log_grams=5.6 - 0.6 * np.arange(flushes) + 0.2 * rng.normal(size=(bags, flushes)),
    )  # fmt: skip


# Bags of each treatment; coverage in percent of the 95 % bootstrap range of the total per bag
# started over four flushes, 500 trials of 400 draws each (standard error 1.0).
EXPECTED = {8: 95.0, 24: 96.6}


def _total_covered(per_treatment, trials=500, draws=400):
    rng = np.random.default_rng(50_000 + per_treatment)
    flushes = 4
    shape = _watch(rng, per_treatment, flushes)
    truth = fit_parts(shape, PartsModel())
    k = np.arange(flushes)
    hazard = np.where(k == 0, 0.06, 0.03)[None, :, None] * np.ones((2, 1, 1))
    chance = (1 / (1 + np.exp(-(3.5 - 0.7 * k))))[None, :, None] * np.ones((2, 1, 1))
    log_mean = 5.6 + (KEPT[:, None] * k)[:, :, None]
    known = {name: getattr(truth, name) for name in type(truth).__slots__} | {
        "hazard": hazard, "chance": chance, "log_mean": log_mean, "block": np.zeros(1),
        "bag": np.full(1, BAG**2), "residual": np.full(1, FLUSH**2),
    }  # fmt: skip
    told = type(truth)(**known)
    mean = np.exp(log_mean + (BAG**2 + FLUSH**2) / 2)
    total = (np.cumprod(1 - hazard, axis=1) * chance * mean).sum(axis=1)[1, 0]
    many = simulate_flushes(shape, told, trials, rng)
    held = usable = 0
    for trial in range(trials):
        seen = FlushWatch(
            treatment=many.treatment, block=None, at_risk=many.at_risk[:, :, trial],
            lost=many.lost[:, :, trial], looked=many.looked[:, :, trial],
            log_grams=many.log_grams[:, :, trial],
        )  # fmt: skip
        fit = fit_parts(seen, PartsModel())
        if not np.isfinite(fit.expected).all():
            continue
        drawn = fit_parts(simulate_flushes(seen, fit, draws, rng), PartsModel())
        sums = drawn.expected[1].sum(axis=0)
        low, high = np.quantile(sums[np.isfinite(sums)], [0.025, 0.975])
        usable += 1
        held += low <= total <= high
    return 100 * held / usable


@pytest.mark.slow
@pytest.mark.parametrize("per_treatment", EXPECTED)
def test_coverage_of_what_to_expect(per_treatment):
    assert _total_covered(per_treatment) == pytest.approx(EXPECTED[per_treatment], abs=1.5)
