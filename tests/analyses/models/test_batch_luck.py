"""Luck of whole batches against closed forms: Student's t, the beta's moments, a design effect."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtrit

from analyses.models.flush.batch_luck import batch_df, draw_luck, fit_luck, lucky_chances
from analyses.models.flush.flush_draws import simulate_flushes
from analyses.models.flush.flush_parts import FlushWatch, PartsModel, fit_parts

LEVELS = PartsModel(straight=False)


def watch_of(batches, bags, flushes, *, level=0.15, slope=0.0, lost=None, blocks=0, seed=5):
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), bags)
    shape = (batches * bags, flushes)
    logs = 5.6 - 0.6 * np.arange(flushes) + level * rng.normal(size=batches)[batch, None]
    logs = logs + slope * rng.normal(size=batches)[batch, None] * np.arange(flushes)
    gone = np.zeros(shape, bool) if lost is None else lost
    before = np.cumsum(gone, axis=1) - gone > 0
    logs = np.where(gone | before, np.nan, logs + 0.1 * rng.normal(size=shape))
    return FlushWatch(
        treatment=(batch % 2).astype(np.intp),
        block=(batch // 2) % blocks if blocks else None,
        at_risk=~before, lost=gone, looked=~(gone | before), log_grams=logs, batch=batch,
    )  # fmt: skip


@pytest.mark.parametrize("batches", [6, pytest.param(12, marks=pytest.mark.slow)])
def test_the_range_of_a_mean_logarithm_is_that_of_students_t(batches):
    """Balanced, nothing lost: batch means are a normal sample, so mean ± t s / root n holds
    (Student 1908, Biometrika 6, 1-25), with s pooled over both treatments."""
    seen = watch_of(batches, 6, 1)
    fit = fit_parts(seen, LEVELS)
    drawn = fit_parts(simulate_flushes(seen, fit, 20_000, np.random.default_rng(1)), LEVELS)
    low, high = np.quantile(drawn.log_mean[0, 0], [0.025, 0.975])
    means = seen.log_grams.reshape(batches, 6).mean(axis=1)
    df = batches - 2
    pooled = (means[::2].var(ddof=1) + means[1::2].var(ddof=1)) / 2
    reach = stdtrit(df, 0.975) * np.sqrt(pooled / (batches / 2))
    assert (high - low) / 2 == pytest.approx(reach, rel=0.05)
    assert batch_df(seen) == df


def test_slopes_that_differ_between_batches_are_seen():
    """The mean square of the batches' own slopes, each by ordinary least squares."""
    seen = watch_of(8, 4, 3, slope=0.2)
    luck = fit_luck(seen, fit_parts(seen))
    own = np.array([np.polyfit(np.arange(3), row, 1)[0] for row in seen.log_grams])
    means = own.reshape(8, 4).mean(axis=1)
    expected = 3 * (means[::2].var(ddof=1) + means[1::2].var(ddof=1)) / 6
    assert luck.slope[0] == pytest.approx(expected, rel=1e-9)
    assert draw_luck(luck, 500, np.random.default_rng(2)).slope.min() > 0


def test_losses_of_alike_bags_have_the_design_effect():
    """Of m bags with correlation r the count spreads 1 + (m - 1) r times as much as of m on their
    own (Williams 1982, Applied Statistics 31, 144-148); 4,000 batches, so to a few per cent."""
    rng = np.random.default_rng(3)
    share = rng.beta(0.2 * 9, 0.8 * 9, 4000)  # correlation 1 / (1 + 9)
    lost = rng.random((4000, 8)) < share[:, None]
    seen = watch_of(4000, 8, 1, lost=lost.reshape(-1, 1))
    luck = fit_luck(seen, fit_parts(seen, LEVELS))
    assert luck.lost == (pytest.approx(1 + 7 * 0.1, rel=0.04), 8.0)
    drawn = draw_luck(luck, 50, rng).lost
    assert drawn == pytest.approx(0.1, abs=0.03)


def test_chances_vary_as_a_beta_does_and_keep_their_mean():
    """Mean p, variance p (1 - p) r; one rank for all flushes of a batch."""
    chance = np.repeat([[0.9, 0.6], [0.3, 0.05]], 2, axis=0)[:, :, None]
    batch, alike = np.array([0, 0, 1, 1]), np.full(40_000, 0.2)
    rank = np.random.default_rng(4).random((2, 1, 40_000))
    told = lucky_chances(chance, batch, alike, rank)
    assert told.mean(axis=2) == pytest.approx(chance[:, :, 0], abs=0.01)
    expected = (chance * (1 - chance) * 0.2)[:, :, 0]
    assert told.var(axis=2) == pytest.approx(expected, rel=0.05)
    assert np.array_equal(told[0], told[1])
    rising = np.argsort(told[0, 0])
    assert (np.diff(told[0, 1][rising]) >= 0).all()
    none = lucky_chances(chance, batch, np.zeros(3), rank[..., :3])
    assert np.array_equal(none, np.repeat(chance, 3, axis=2))


def test_blocks_take_their_degrees_of_freedom():
    assert batch_df(watch_of(12, 3, 2, blocks=3)) == 12 - 2 - 2


def test_nothing_lost_draws_no_wild_luck():
    """No bag lost, every flush came: batches may still differ, the ranges stay within reason."""
    seen = watch_of(8, 6, 3)
    fit = fit_parts(seen)
    drawn = fit_parts(simulate_flushes(seen, fit, 400, np.random.default_rng(6)))
    low, high = np.quantile(drawn.standing[0, 0], [0.025, 0.975])
    assert 0.8 < low <= high <= 1.0


def test_one_bag_a_batch_has_no_luck_to_share():
    """Batches of one are bags: a chance of its own for each is the same chance for all."""
    seen = watch_of(10, 1, 1)
    drawn = draw_luck(fit_luck(seen, fit_parts(seen, LEVELS)), 500, np.random.default_rng(8))
    assert not drawn.lost.any()
    assert not drawn.came.any()


def test_level_and_slope_that_go_together_are_seen_and_drawn():
    """The correlation of batch means with the batches' least-squares slopes, within treatments."""
    seen = watch_of(8, 4, 3, slope=0.2)
    luck = fit_luck(seen, fit_parts(seen))
    rows = seen.log_grams.reshape(8, 4, 3).mean(axis=1)
    rows = rows - np.array([rows[::2].mean(axis=0), rows[1::2].mean(axis=0)])[np.arange(8) % 2]
    expected = np.corrcoef(rows.mean(axis=1), rows[:, 2] - rows[:, 0])[0, 1]
    assert luck.together[2, 3] == pytest.approx(expected, rel=1e-6)
    assert np.linalg.eigvalsh(luck.together).min() > 0
