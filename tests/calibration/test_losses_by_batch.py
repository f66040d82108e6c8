"""How often the analysis of losses by batch is wrong, the whole path from records to verdict.

Run: python -m pytest -m slow tests/calibration/test_losses_by_batch.py
Ten thousand trials of each kind are judged by arrays; that these arrays say what the path says is
checked on some of them, records and all. What was found stands in RESULTS.md beside this file.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import betaincinv, stdtr, stdtrit

from analyses.losses.by_batch import FEW_BATCHES
from analyses.models.counts.two_proportions import score_limits
from tests.analyses.losses import BETTER, NO_WORSE, batches, the_losses_alone

TRIALS, WHOLE = 10_000, 40
BAGS, SHARE, MARGIN = 12, 0.2, 0.10


def draw(rng, share, correlation, half):
    """Draw bags lost in each batch of one side, beta-binomial."""
    if correlation == 0:
        return rng.binomial(BAGS, share, (TRIALS, half))
    spread = (1 - correlation) / correlation
    return rng.binomial(BAGS, rng.beta(share * spread, (1 - share) * spread, (TRIALS, half)))


def upper_limit(hits, total):
    """Clopper-Pearson's upper limit at 95 %, two-sided."""
    inner = betaincinv(np.minimum(hits, total - 1) + 1, np.maximum(total - hits, 1), 0.975)
    return np.where(hits == total, 1.0, inner)


def by_batch(mine, control):
    """Give difference, limits and p of the batches, as `loss_by_batch` has them."""
    half = mine.shape[1]
    a, b = mine / BAGS, control / BAGS
    value = a.mean(1) - b.mean(1)
    error = np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / half)
    reach = stdtrit(2 * half - 2, 0.975) * error
    with np.errstate(divide="ignore", invalid="ignore"):
        p = np.where(error > 0, 2 * stdtr(2 * half - 2, -np.abs(value / error)), 1.0)
    low, high = value - reach, value + reach
    for mirrored in (False, True):
        first, second = (
            ((BAGS - side if mirrored else side) > 0).sum(1) for side in (mine, control)
        )
        few = first + second < min(FEW_BATCHES, 2 * half)
        up, down = upper_limit(first, half), upper_limit(second, half)
        up, down = (down, up) if mirrored else (up, down)
        apart_low, apart_high = low > 0, high < 0
        low = np.where(few & ~apart_low, np.minimum(low, -down), low)
        high = np.where(few & ~apart_high, np.maximum(high, up), high)
    # All batches alike and neither spared nor lost whole: withheld, which claims nothing.
    alike = (error == 0) & ~few_or_extreme(mine, control)
    low, high = np.where(alike, -1.0, low), np.where(alike, 1.0, high)
    return value, np.maximum(low, -1), np.minimum(high, 1), p


def few_or_extreme(mine, control):
    every = np.concatenate([mine, control], axis=1)
    return (every == 0).all(1) | (every == BAGS).all(1)


def by_bag(mine, control):
    """Give the same as if every bag stood alone."""
    n = BAGS * mine.shape[1]
    return score_limits(mine.sum(1), n, control.sum(1), n)


def path_agrees(mine, control, aim):
    """Hold the arrays against the whole path on the first trials."""
    _, low, high, p = by_batch(mine, control)
    for trial in range(WHOLE):
        cells = batches("T", mine[trial].tolist(), BAGS)
        cells += batches("C", control[trial].tolist(), BAGS, first=50)
        found = the_losses_alone(cells, by="batch", aim=aim)
        if found.verdict == "withheld":
            continue
        limits = found.estimate.low / 100, found.estimate.high / 100
        assert limits == pytest.approx((low[trial], high[trial]), rel=1e-7, abs=1e-9)
        assert found.estimate.p == pytest.approx(p[trial], rel=1e-6)


# Percent of 10,000 trials in which nothing differs (standard error 0.22): batches, intracluster
# correlation; a difference claimed by batches, and by bags as if each stood alone.
NOTHING = {
    (8, 0.00): (4.88, 4.55), (8, 0.05): (4.79, 10.91), (8, 0.15): (4.28, 22.45),
    (12, 0.00): (5.43, 4.96), (12, 0.05): (5.18, 11.17), (12, 0.15): (4.76, 22.73),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("count", "correlation"), NOTHING)
def test_a_difference_claimed_where_there_is_none(count, correlation):
    rng = np.random.default_rng(60_000 + count + round(100 * correlation))
    mine, control = (draw(rng, SHARE, correlation, count // 2) for _ in range(2))
    path_agrees(mine, control, BETTER)
    _, low, high, _ = by_batch(mine, control)
    wrong_low, wrong_high = by_bag(mine, control)
    found = 100 * ((low > 0) | (high < 0)).mean(), 100 * ((wrong_low > 0) | (wrong_high < 0)).mean()
    assert 4 <= found[0] <= 6
    if correlation:
        assert found[1] > 8
    assert found == pytest.approx(NOTHING[count, correlation], abs=0.02)


# Percent of 10,000 trials whose treatment loses just the margin of 10 in 100 more, in which “no
# worse” is nevertheless shown (2.5 is what the interval promises): batches, correlation, the
# control's share; by batches, by the t alone, by bags as if each stood alone.
AT_MARGIN = {
    (8, 0.00, 0.02): (0.71, 4.04, 1.46), (8, 0.00, 0.20): (2.51, 2.51, 2.37),
    (8, 0.05, 0.02): (0.35, 5.85, 4.06), (8, 0.05, 0.20): (2.60, 2.60, 6.24),
    (8, 0.15, 0.02): (0.09, 9.31, 9.34), (8, 0.15, 0.20): (2.25, 2.33, 12.00),
    (12, 0.00, 0.02): (2.49, 3.93, 1.85), (12, 0.00, 0.20): (2.11, 2.11, 2.37),
    (12, 0.05, 0.02): (2.05, 5.95, 4.87), (12, 0.05, 0.20): (2.44, 2.44, 5.99),
    (12, 0.15, 0.02): (1.00, 8.47, 10.42), (12, 0.15, 0.20): (2.46, 2.46, 11.94),
}  # fmt: skip


def t_alone(mine, control):
    """Give the upper limit of the t of the shares, not widened; 1 where no batch varies."""
    half, (a, b) = mine.shape[1], (mine / BAGS, control / BAGS)
    error = np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / half)
    reach = stdtrit(2 * half - 2, 0.975) * error
    return np.where(error > 0, a.mean(1) - b.mean(1) + reach, 1.0)


@pytest.mark.slow
@pytest.mark.parametrize(("count", "correlation", "share"), AT_MARGIN)
def test_no_worse_shown_at_the_margin(count, correlation, share):
    rng = np.random.default_rng(70_000 + count + round(100 * (correlation + share)))
    half = count // 2
    mine, control = (
        draw(rng, share + MARGIN, correlation, half),
        draw(rng, share, correlation, half),
    )
    path_agrees(mine, control, NO_WORSE)
    _, _, high, _ = by_batch(mine, control)
    _, wrong = by_bag(mine, control)
    limits = (high, t_alone(mine, control), wrong)
    found = [100 * (limit < MARGIN).mean() for limit in limits]
    assert found[0] <= 3.0
    assert found == pytest.approx(AT_MARGIN[count, correlation, share], abs=0.02)


def test_arrays_and_path_agree_quickly():
    rng = np.random.default_rng(80_000)
    mine, control = draw(rng, 0.05, 0.15, 4), draw(rng, 0.02, 0.15, 4)
    path_agrees(mine[:WHOLE], control[:WHOLE], NO_WORSE)
