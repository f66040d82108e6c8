"""What bags of one batch share: how far batches differ, and simulated batches that differ so.

Three kinds of luck, each one a batch: grams at all flushes alike, a faster or slower fall of the
logarithm, and the chances to be thrown out or to give a flush.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

if TYPE_CHECKING:
    from analyses.models.flush.flush_parts import FlushParts, FlushWatch

__all__ = ["BatchLuck", "LuckDraws", "batch_df", "draw_luck", "fit_luck", "lucky_chances"]

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.intp]

# Beyond this a beta distribution is two spikes, and says no more than that batches go whole.
_MOST_ALIKE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLuck:
    """How far the batches of a trial differ.

    Attributes
    ----------
    batch : ndarray of int, shape (bags,)
        Places of the batches, from 0.
    df, block_df : int
        Batches less treatments, less blocks but one where there are blocks; blocks but one.
    level, slope : tuple of float
        Variance of the mean logarithm of a batch, and of its slope on the number of the flush; and
        the part of it that bags and flushes would give with batches all alike.
    block : tuple of float
        Variance of the mean logarithm of a block, and batches a block; zero without blocks.
    lost, came : tuple of float
        Spread of the batches' counts over that of bags on their own, at least 1; and the bags and
        stages, or flushes, behind one batch's count.
    middle : float
        Flush, from 0, at which the level is taken.
    together : ndarray, shape (4, 4)
        Correlation of losses, flushes that came, level and slope between batches.
    """

    batch: Codes
    df: int
    block_df: int
    level: tuple[float, float]
    slope: tuple[float, float]
    block: tuple[float, float]
    lost: tuple[float, float]
    came: tuple[float, float]
    middle: float
    together: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class LuckDraws:
    """Variances of simulated trials, each drawn from what the trial leaves open.

    Attributes
    ----------
    level, slope, block : ndarray, shape (draws,)
        Variances between batches and between blocks, of the logarithm.
    lost, came : ndarray, shape (draws,)
        Correlation of the bags of a batch.
    """

    level: Array
    slope: Array
    block: Array
    lost: Array
    came: Array


def batch_df(watch: FlushWatch) -> int:
    """Give the batches less the treatments, less the blocks but one where there are blocks.

    Parameters
    ----------
    watch : FlushWatch
        With batches.
    """
    blocks = 1 if watch.block is None else len(np.unique(watch.block))
    return len(np.unique(np.asarray(watch.batch))) - int(watch.treatment.max()) - blocks


def fit_luck(watch: FlushWatch, parts: FlushParts) -> BatchLuck:
    """Say how far the batches of one trial differ.

    Parameters
    ----------
    watch : FlushWatch
        With batches, one trial.
    parts : FlushParts
        Its fit.

    Notes
    -----
    Levels have the variances of the mixed model. Slopes are compared by the mean square of the
    batches' own least-squares slopes. Counts have the moment estimate of Williams (1982), Applied
    Statistics 31, 144-148, of one spread for all batches; it is there even where nothing or
    everything was lost, where a likelihood has no maximum.
    """
    labels, batch = np.unique(np.asarray(watch.batch), return_inverse=True)
    flushes = watch.at_risk.shape[1]
    blocks = 1 if watch.block is None else len(np.unique(watch.block))
    df = max(batch_df(watch), 1)
    there = np.isfinite(watch.log_grams)
    bags = np.bincount(batch, there.any(axis=1))
    rows = np.bincount(batch, there.sum(axis=1))
    some = bags > 0
    within = float((parts.bag[0] / bags[some] + parts.residual[0] / rows[some]).mean())
    level = float(parts.batch[0]) + within
    a_block = len(labels) / blocks
    block = (float(parts.block[0]) + level / a_block, a_block) if blocks > 1 else (0.0, 1.0)
    where = watch.treatment
    slope, slopes = _slopes(watch, parts, batch, df)
    lost, losses = _spread(watch.lost, watch.at_risk, parts.hazard[where, :flushes, 0], batch, df)
    came, gave = _spread(there, watch.looked, parts.chance[where, :flushes, 0], batch, df)
    return BatchLuck(
        batch=batch.astype(np.intp), df=df, block_df=max(blocks - 1, 1), level=(level, within),
        slope=slope, block=block, lost=lost, came=came,
        middle=(flushes - 1) / 2,
        together=_together(losses, gave, _levels(watch, parts, batch), slopes),
    )  # fmt: skip


def _together(*scores: Array) -> Array:
    """Give the correlation of several scores of the batches; none with one that does not vary."""
    every = np.array(scores)
    size = np.sqrt((every**2).sum(axis=1))
    every = every / np.where(size > 0, size, 1.0)[:, None]
    alike = every @ every.T
    np.fill_diagonal(alike, 1.0)
    # A hair on the diagonal, so that a perfect correlation has a square root too.
    return np.asarray((alike + 1e-9 * np.eye(len(alike))) / (1 + 1e-9))


def _levels(watch: FlushWatch, parts: FlushParts, batch: Codes) -> Array:
    """Give the batches' mean logarithms less those of their treatments and flushes."""
    off = watch.log_grams - parts.log_mean[watch.treatment, : watch.at_risk.shape[1], 0]
    count = np.bincount(batch, np.isfinite(off).sum(axis=1))
    return np.asarray(np.bincount(batch, np.nansum(off, axis=1)) / np.maximum(count, 1))


def _slopes(
    watch: FlushWatch, parts: FlushParts, batch: Codes, df: int
) -> tuple[tuple[float, float], Array]:
    """Give the mean square of the batches' slopes, what bags alone would make of it, and them."""
    flushes = watch.at_risk.shape[1]
    off = watch.log_grams - parts.log_mean[watch.treatment, :flushes, 0]
    there = np.isfinite(off)
    count = np.maximum(there.sum(axis=1, keepdims=True), 1)
    k = np.where(there, np.arange(flushes), 0.0)
    k = np.where(there, k - k.sum(axis=1, keepdims=True) / count, 0.0)
    squares = np.bincount(batch, (k**2).sum(axis=1))
    products = np.bincount(batch, (k * np.where(there, off, 0.0)).sum(axis=1))
    some = squares > 0
    if not some.any():
        return (0.0, 0.0), np.zeros(len(squares))
    slope = products[some] / squares[some]
    _, first = np.unique(batch, return_index=True)
    side = watch.treatment[first][some]
    counts = np.maximum(np.bincount(side), 1)
    slope = slope - (np.bincount(side, slope) / counts)[side]
    every = np.zeros(len(squares))
    every[some] = slope
    alone = float((parts.residual[0] / squares[some]).mean())
    return (float((slope**2).sum() / df), alone), every


def _spread(
    happened: npt.NDArray[np.bool_], among: npt.NDArray[np.bool_], chance: Array, batch: Codes,
    df: int,
) -> tuple[tuple[float, float], Array]:  # fmt: skip
    """Give how much more the counts of batches spread than bags on their own; each one's excess."""
    tries = np.bincount(batch, among.sum(axis=1))
    expected = np.bincount(batch, (among * chance).sum(axis=1))
    alone = np.bincount(batch, (among * chance * (1 - chance)).sum(axis=1))
    seen = np.bincount(batch, (happened & among).sum(axis=1))
    some = alone > 0
    excess = (seen - expected) / np.sqrt(np.where(some, alone, 1.0)) * some
    size = float(max(tries[some].mean(), 1.0)) if some.any() else 1.0
    return (max(float((excess**2).sum() / df), 1.0), size), excess


def draw_luck(luck: BatchLuck, draws: int, rng: np.random.Generator) -> LuckDraws:
    """Draw the variances of simulated trials.

    Parameters
    ----------
    luck : BatchLuck
    draws : int
    rng : numpy.random.Generator

    Notes
    -----
    A mean square over its expectation is chi-squared over its degrees of freedom, so each draw has
    a mean square of its own and the variance that goes with it (generalized pivotal quantities,
    Weerahandi 1993, JASA 88, 899-905). Without that the range of a mean of few batches would be
    that of the normal distribution where that of Student's t is due.
    """

    def open_to(df: int) -> Array:
        return np.asarray(df / rng.chisquare(df, draws))

    # One factor for both, so that every sum of level and slope has a range of Student's t.
    open_both = open_to(luck.df)
    level = luck.level[0] * open_both
    block = luck.block[0] * open_to(luck.block_df) - level / luck.block[1]
    slope = luck.slope[0] * open_both - luck.slope[1]
    # A batch seen but once shows nothing of how alike its bags are, and bears nothing of it.
    alike = [
        np.clip((over * open_to(luck.df) - 1) / max(tries - 1, 1.0), 0.0, _MOST_ALIKE) * (tries > 1)
        for over, tries in (luck.lost, luck.came)
    ]
    return LuckDraws(
        level=np.maximum(level - luck.level[1], 0.0),
        slope=np.maximum(slope, 0.0),
        block=np.maximum(block, 0.0) if luck.block[0] else np.zeros(draws),
        lost=alike[0],
        came=alike[1],
    )


def lucky_chances(chance: Array, batch: Codes, alike: Array, rank: Array) -> Array:
    """Give chances that vary from batch to batch about those given.

    Parameters
    ----------
    chance : ndarray, shape (bags, flushes, 1)
        Strictly between 0 and 1, the same for all bags of a treatment.
    batch : ndarray of int, shape (bags,)
    alike : ndarray, shape (draws,)
        Correlation of the bags of a batch.
    rank : ndarray, shape (batches, 1, draws)
        Luck of the batches, uniform between 0 and 1.

    Returns
    -------
    ndarray, shape (bags, flushes, draws)
        Beta distributed; a batch has the same rank at every flush.
    """
    # Bags of a batch share its rank; those of another treatment in it have their own chances.
    cells, first, back = np.unique(
        np.column_stack([batch, chance[:, 0, 0]]), axis=0, return_index=True, return_inverse=True
    )
    mean, own = chance[first], cells[:, 0].astype(np.intp)
    rank = rank[own]
    told = np.repeat(mean, len(alike), axis=2)
    vary = np.flatnonzero(alike > 0)
    if vary.size:
        spread = 1 / alike[vary] - 1
        drawn = betaincinv(mean * spread, (1 - mean) * spread, rank[..., vary])
        told[..., vary] = np.nan_to_num(drawn)
    return np.asarray(told[back.ravel()])
