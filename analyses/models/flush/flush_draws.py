"""Trials simulated from a fit of the flushes: losses, flushes that fail, weights."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

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
    """
    bags, flushes = watch.at_risk.shape
    where = watch.treatment
    gone = np.cumsum(watch.lost, axis=1) > 0
    # Of a bag that was thrown out it would have been known what became of it, had it stood.
    watched, weighable = watch.at_risk | gone, watch.looked | gone
    shape = (bags, flushes, draws)
    thrown = rng.random(shape) < parts.hazard[where, :flushes, :1]
    thrown &= watched[:, :, None]
    before = np.cumsum(thrown, axis=1) - thrown > 0
    lost = thrown & ~before
    out = before | lost
    looked = weighable[:, :, None] & ~out
    came = looked & (rng.random(shape) < parts.chance[where, :flushes, :1])
    spread = np.full(flushes, parts.residual[0]) if residual is None else residual
    logs = parts.log_mean[where, :flushes, :1] + np.sqrt(spread)[:, None] * rng.normal(size=shape)
    logs = logs + np.sqrt(parts.bag[0]) * rng.normal(size=(bags, 1, draws))
    if watch.block is not None:
        _, place = np.unique(watch.block, return_inverse=True)
        blocks = np.sqrt(parts.block[0]) * rng.normal(size=(int(place.max()) + 1, 1, draws))
        logs = logs + blocks[place]
    return FlushWatch(
        treatment=where,
        block=watch.block,
        at_risk=np.asarray(watched[:, :, None] & ~before, bool),
        lost=np.asarray(lost, bool),
        looked=np.asarray(looked, bool),
        log_grams=np.where(came, logs, np.nan),
    )
