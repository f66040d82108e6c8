"""Trials simulated from a fit of the flushes: losses, flushes that fail, weights."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analyses.models.flush.batch_luck import BatchLuck, draw_luck, fit_luck, lucky_chances
from analyses.models.flush.flush_parts import FlushParts, FlushWatch

__all__ = ["simulate_flushes"]

Array: TypeAlias = npt.NDArray[np.float64]


def simulate_flushes(
    watch: FlushWatch,
    parts: FlushParts,
    draws: int,
    rng: np.random.Generator,
    *,
    residual: Array | None = None,
) -> FlushWatch:
    """Simulate trials of the same bags from a fit.

    Parameters
    ----------
    watch : FlushWatch
        The trial that was fitted; where nobody looked at a standing bag, nobody looks again.
    parts : FlushParts
        Its fit, one trial.
    draws : int
        How many trials.
    rng : numpy.random.Generator
    residual : ndarray, optional, shape (flushes,)
        Residual variance by flush; the fit's own otherwise.

    Notes
    -----
    Where batches are what counts, bags of a batch share its luck, and how far batches differ is
    itself drawn: `batch_luck.draw_luck`.
    """
    bags, flushes = watch.at_risk.shape
    where = watch.treatment
    gone = np.cumsum(watch.lost, axis=1) > 0
    # Of a bag that was thrown out it would have been known what became of it, had it stood.
    watched, weighable = watch.at_risk | gone, watch.looked | gone
    shape = (bags, flushes, draws)
    hazard, chance = parts.hazard[where, :flushes, :1], parts.chance[where, :flushes, :1]
    shared: Array | None = None
    if watch.batch is not None:
        luck = fit_luck(watch, parts)
        hazard, chance, shared = _batch_luck(watch, parts, luck, (hazard, chance), draws, rng)
    thrown = rng.random(shape) < hazard
    thrown &= watched[:, :, None]
    before = np.cumsum(thrown, axis=1) - thrown > 0
    lost = thrown & ~before
    out = before | lost
    looked = weighable[:, :, None] & ~out
    came = looked & (rng.random(shape) < chance)
    spread = np.full(flushes, parts.residual[0]) if residual is None else residual
    logs = parts.log_mean[where, :flushes, :1] + np.sqrt(spread)[:, None] * rng.normal(size=shape)
    logs = logs + np.sqrt(parts.bag[0]) * rng.normal(size=(bags, 1, draws))
    logs = logs + (
        _block_luck(watch, np.sqrt(parts.block), draws, rng) if shared is None else shared
    )
    return FlushWatch(
        treatment=where,
        block=watch.block,
        at_risk=np.asarray(watched[:, :, None] & ~before, bool),
        lost=np.asarray(lost, bool),
        looked=np.asarray(looked, bool),
        log_grams=np.where(came, logs, np.nan),
        batch=watch.batch,
    )


def _block_luck(watch: FlushWatch, sd: Array, draws: int, rng: np.random.Generator) -> Array:
    """Give what bags of one block share, shape (bags, 1, draws)."""
    if watch.block is None:
        return np.zeros((1, 1, 1))
    _, place = np.unique(watch.block, return_inverse=True)
    return np.asarray((sd * rng.normal(size=(int(place.max()) + 1, 1, draws)))[place])


def _batch_luck(
    watch: FlushWatch,
    parts: FlushParts,
    luck: BatchLuck,
    chances: tuple[Array, Array],
    draws: int,
    rng: np.random.Generator,
) -> tuple[Array, Array, Array]:
    """Give chances to be thrown out and to give, and the shared part of the logarithms."""
    drawn, batches = draw_luck(luck, draws, rng), int(luck.batch.max()) + 1
    root = np.linalg.cholesky(luck.together)
    kinds = np.tensordot(root, rng.normal(size=(4, batches, 1, draws)), 1)
    hazard = lucky_chances(chances[0], luck.batch, drawn.lost, ndtr(kinds[0]))
    chance = lucky_chances(chances[1], luck.batch, drawn.came, ndtr(kinds[1]))
    off = (np.arange(watch.at_risk.shape[1]) - luck.middle)[:, None]
    level = np.sqrt(drawn.level) * kinds[2]
    slope = np.sqrt(drawn.slope) * kinds[3]
    shared = (level + slope * off)[luck.batch]
    shared = shared + _block_luck(watch, np.sqrt(drawn.block), draws, rng)
    # Mean grams stay those of the fit however far the drawn batches differ.
    both = 2 * luck.together[2, 3] * np.sqrt(drawn.level * drawn.slope) * off
    more = drawn.level + drawn.slope * off**2 + both + drawn.block
    more = more - parts.batch[0] - parts.block[0]
    return hazard, chance, np.asarray(shared - more / 2)
