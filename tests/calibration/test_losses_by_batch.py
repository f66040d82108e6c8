"""How often the analysis of losses by batch is wrong, the whole path from records to verdict.

Run: python -m pytest -m slow tests/calibration/test_losses_by_batch.py
Ten thousand trials of each kind are judged by arrays; that these arrays say what the path says is
checked on some of them, records and all. What was found stands in RESULTS.md beside this file.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtr, stdtrit

from analyses.losses.batch_limits import BatchShares, held_limits
from analyses.models.counts.two_proportions import score_limits
from tests.analyses.losses import BETTER, NO_WORSE, batches, the_losses_alone
from trials.sizing.batch_sizes import power_batches_no_worse

TRIALS, WHOLE = 10_000, 40
BAGS, SHARE, MARGIN = 12, 0.2, 0.10


def draw(rng, share, correlation, half):
    """Draw bags lost in each batch of one side, beta-binomial."""
    if correlation == 0:
        return rng.binomial(BAGS, share, (TRIALS, half))
    spread = (1 - correlation) / correlation
    return rng.binomial(BAGS, rng.beta(share * spread, (1 - share) * spread, (TRIALS, half)))


def by_batch(mine, control):
    """Give difference, limits and p of the batches, as the analysis has them."""
    half = mine.shape[1]
    a, b = mine / BAGS, control / BAGS
    value = a.mean(1) - b.mean(1)
    error = np.sqrt((a.var(1, ddof=1) + b.var(1, ddof=1)) / half)
    reach = stdtrit(2 * half - 2, 0.975) * error
    with np.errstate(divide="ignore", invalid="ignore"):
        p = np.where(error > 0, 2 * stdtr(2 * half - 2, -np.abs(value / error)), 1.0)
    # All batches alike and neither spared nor lost whole: withheld, which claims nothing.
    low, high = np.full_like(value, -1.0), np.full_like(value, 1.0)
    some = error > 0
    made = np.full(half, float(BAGS))
    pair = BatchShares(100 * a[some].T, 100 * b[some].T, made, made)
    held = held_limits(
        pair, *(100 * one[some] for one in (value, value - reach, value + reach)), 0.95
    )
    low[some], high[some] = held[0] / 100, held[1] / 100
    none = few_or_extreme(mine, control)
    low[none], high[none] = -(1 - 0.025 ** (1 / half)), 1 - 0.025 ** (1 / half)
    return value, low, high, p


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
# worse” is nevertheless shown, or “ruled out” (2.5 each is what the interval promises): batches,
# correlation, the control's share; by batches, ruled out by batches, by the t alone, by bags as
# if each stood alone.
AT_MARGIN = {
    (8, 0.00, 0.02): (0.58, 1.73, 4.04, 1.46), (8, 0.00, 0.05): (1.47, 2.18, 2.86, 2.17),
    (8, 0.00, 0.10): (2.16, 2.65, 2.60, 2.30), (8, 0.00, 0.20): (2.39, 2.20, 2.51, 2.37),
    (8, 0.05, 0.02): (0.57, 1.58, 5.85, 4.06), (8, 0.05, 0.05): (1.33, 2.06, 3.81, 5.26),
    (8, 0.05, 0.10): (1.89, 2.69, 2.61, 5.97), (8, 0.05, 0.20): (2.38, 2.25, 2.60, 6.24),
    (8, 0.15, 0.02): (0.32, 1.13, 9.31, 9.34), (8, 0.15, 0.05): (1.37, 1.33, 5.79, 10.75),
    (8, 0.15, 0.10): (1.69, 1.70, 3.05, 11.49), (8, 0.15, 0.20): (1.87, 2.19, 2.33, 12.00),
    (12, 0.00, 0.02): (1.55, 1.95, 3.93, 1.85), (12, 0.00, 0.05): (1.86, 2.33, 2.85, 2.19),
    (12, 0.00, 0.10): (2.30, 2.79, 2.75, 2.49), (12, 0.00, 0.20): (2.07, 2.40, 2.11, 2.37),
    (12, 0.05, 0.02): (2.07, 1.57, 5.95, 4.87), (12, 0.05, 0.05): (2.07, 2.17, 3.55, 5.45),
    (12, 0.05, 0.10): (2.38, 2.34, 2.97, 5.66), (12, 0.05, 0.20): (2.24, 2.54, 2.44, 5.99),
    (12, 0.15, 0.02): (2.95, 0.93, 8.47, 10.42), (12, 0.15, 0.05): (2.56, 1.44, 5.11, 11.86),
    (12, 0.15, 0.10): (2.08, 1.78, 3.18, 11.51), (12, 0.15, 0.20): (2.17, 2.12, 2.46, 11.94),
    (40, 0.00, 0.02): (2.28, 2.25, 3.55, 2.26), (40, 0.00, 0.05): (2.45, 2.42, 2.94, 2.54),
    (40, 0.00, 0.10): (2.50, 2.53, 2.69, 2.58), (40, 0.00, 0.20): (2.32, 2.68, 2.32, 2.35),
    (40, 0.05, 0.02): (2.33, 1.74, 4.00, 5.03), (40, 0.05, 0.05): (2.62, 2.10, 3.25, 5.54),
    (40, 0.05, 0.10): (2.43, 2.37, 2.74, 5.91), (40, 0.05, 0.20): (2.48, 2.51, 2.52, 5.78),
    (40, 0.15, 0.02): (3.19, 1.31, 5.62, 11.28), (40, 0.15, 0.05): (2.50, 1.62, 3.59, 11.51),
    (40, 0.15, 0.10): (2.40, 2.07, 2.82, 11.31), (40, 0.15, 0.20): (2.23, 2.31, 2.27, 11.39),
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
    _, low, high, _ = by_batch(mine, control)
    _, wrong = by_bag(mine, control)
    told = (high < MARGIN, low > MARGIN, t_alone(mine, control) < MARGIN, wrong < MARGIN)
    found = [100 * one.mean() for one in told]
    assert max(found[:2]) <= 3.5
    assert found == pytest.approx(AT_MARGIN[count, correlation, share], abs=0.02)


# Percent of 10,000 trials in which both sides lose the same, correlation 0.05, and “no worse by 10
# in 100” is shown: batches, share lost; found, and by the closed form that sizes are told by.
SHOWN = {
    (8, 0.02): (8.83, 23.96),
    (8, 0.05): (14.80, 21.01),
    (8, 0.1): (14.83, 16.94),
    (12, 0.02): (36.60, 45.01),
    (12, 0.05): (38.74, 35.40),
    (12, 0.1): (27.06, 26.60),
    (40, 0.02): (98.66, 99.69),
    (40, 0.05): (94.01, 93.59),
    (40, 0.1): (78.91, 77.88),
}


@pytest.mark.slow
@pytest.mark.parametrize(("count", "share"), SHOWN)
def test_no_worse_shown_where_nothing_differs(count, share):
    rng = np.random.default_rng(95_000 + count + round(100 * share))
    mine, control = (draw(rng, share, 0.05, count // 2) for _ in range(2))
    found = 100 * (by_batch(mine, control)[2] < MARGIN).mean()
    told = 100 * power_batches_no_worse(
        share, share, count / 2, BAGS, 0.05, margin=MARGIN, confidence=0.975
    )
    assert (found, told) == pytest.approx(SHOWN[count, share], abs=0.02)
    # Where five batches or more can be expected to be hit, the closed form is near.
    if count * (1 - (1 - share) ** BAGS) >= 5:
        assert told == pytest.approx(found, abs=8)


def test_arrays_and_path_agree_quickly():
    rng = np.random.default_rng(80_000)
    mine, control = draw(rng, 0.05, 0.15, 4), draw(rng, 0.02, 0.15, 4)
    path_agrees(mine[:WHOLE], control[:WHOLE], NO_WORSE)
