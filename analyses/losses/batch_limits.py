"""Limits of a difference between batches, for one trial or for thousands at once."""

from __future__ import annotations

from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.counts.dispersed import dispersed_limits, dispersed_stretch
from analyses.models.counts.whole_clusters import hit_cluster_limits, whole_cluster_limits

__all__ = [
    "FEWEST_HIT",
    "BatchShares",
    "held_limits",
    "score_stretch",
    "spared",
    "spreadless_limits",
]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]

FEWEST_HIT = 2
"""Fewer batches with a loss than this cannot show how batches spread; one has nothing beside it."""


class BatchShares:
    """The batches of two treatments: what they lost in a hundred, and how many units they held.

    Parameters
    ----------
    mine, control : ndarray, shape (batches, trials)
        Units lost in a hundred, 0 to 100.
    mine_made, control_made : ndarray, shape (batches,)
        Units of known fate of each batch.

    Attributes
    ----------
    table : tuple of ndarray
        Mean shares and the single units that would give them the same variance, as
        `dispersed_stretch` takes them.
    sides : tuple of ndarray
        The shares as given.
    """

    __slots__ = ("sides", "table")

    def __init__(self, mine: Array, control: Array, mine_made: Array, control_made: Array) -> None:
        self.sides = (mine, control)
        p1, p2 = mine.mean(axis=0) / 100, control.mean(axis=0) / 100
        n1, n2 = (len(made) ** 2 / np.sum(1 / made) for made in (mine_made, control_made))
        self.table = (p1, np.full_like(p1, n1), p2, np.full_like(p2, n2))

    @property
    def sizes(self) -> tuple[int, int]:
        """How many batches each side has."""
        return len(self.sides[0]), len(self.sides[1])

    def hits(self, *, kept: bool) -> tuple[Array, Array]:
        """Count the batches of each side that lost any unit, or that kept any."""
        bound = 100.0 if kept else 0.0
        first, second = ((side != bound).sum(axis=0) for side in self.sides)
        return first, second


def score_stretch(shares: BatchShares, difference: float) -> Array:
    """Give how many times as large the standard error is under a difference, at least 1.

    Parameters
    ----------
    shares : BatchShares
    difference : float
        Units of a hundred.
    """
    return np.maximum(dispersed_stretch(*shares.table, difference / 100), 1.0)


def held_limits(
    shares: BatchShares, value: Array, low: Array, high: Array, level: float
) -> tuple[Array, Array]:
    """Give limits that hold where shares near none or all make a t too sure.

    Parameters
    ----------
    shares : BatchShares
        With some spread.
    value, low, high : ndarray, shape (trials,)
        Difference and limits by t, in units of a hundred.
    level : float
        Confidence of each comparison, for the limits with one batch hit.

    Returns
    -------
    low, high : ndarray
        The wider of the t's and the score test's with the batches' dispersion; where fewer
        than two batches were hit, or kept anything, the wider of these and
        `hit_cluster_limits`. A limit that is clear of no difference by the t stays so.

    Notes
    -----
    Mean and spread of rare losses are low together, so that a t shows "no worse" up to four times
    too often. Of nine ways tried this one keeps nearest to its level with 8, 12 and 40 batches,
    intracluster correlations of 0, 0.05 and 0.15 and 2, 5 or 10 % lost: at most 3.2 % for
    2.5 %, and with far more power than limits by the number of batches hit; see
    tests/calibration/RESULTS.md.
    """
    down, up = dispersed_limits(value / 100, (high - low) / 200, *shares.table)
    down, up = 100 * down, 100 * up
    for kept in (False, True):
        first, second = shares.hits(kept=kept)
        for at in np.flatnonzero(first + second < FEWEST_HIT):
            pair = _hit_limits((int(first[at]), int(second[at])), shares.sizes, level)
            least, most = (-pair[1], -pair[0]) if kept else pair
            down[at], up[at] = min(down[at], 100 * least), max(up[at], 100 * most)
    # What keeps clear of no difference by the t stays so.
    low = np.where((low > 0) & (down <= 0), low, np.minimum(low, down))
    high = np.where((high < 0) & (up >= 0), high, np.maximum(high, up))
    return np.maximum(low, -100.0), np.minimum(high, 100.0)


def spared(side: Array) -> Flags:
    """Tell the trials in which the batches of a side lost nothing, or everything."""
    return np.asarray((side == 0).all(axis=0) | (side == 100).all(axis=0))


def spreadless_limits(
    every: tuple[bool, bool], sizes: tuple[int, int], level: float
) -> tuple[float, float]:
    """Give limits in units of a hundred where the batches of each side lost nothing or everything.

    Parameters
    ----------
    every : tuple of bool
        Whether those of the treatment, and of the control, lost everything.
    sizes : tuple of int
        Batches of the two.
    level : float
        Confidence of the comparison.
    """
    low, high = _whole_limits(sizes, level, every)
    return 100 * low, 100 * high


@cache
def _hit_limits(hits: tuple[int, int], sizes: tuple[int, int], level: float) -> tuple[float, float]:
    return hit_cluster_limits(hits, sizes, level)


@cache
def _whole_limits(
    sizes: tuple[int, int], level: float, every: tuple[bool, bool]
) -> tuple[float, float]:
    return whole_cluster_limits(*sizes, level, all1=every[0], all2=every[1])
