"""How much of a complete block's precision a layout in incomplete blocks keeps.

John & Williams (1995), Cyclic and Computer Generated Designs, chapters 1 and 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from trials.layout import Layout
from trials.trial import Trial

__all__ = ["Efficiency", "efficiency", "incidence", "mean_variance"]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiency:
    """What incomplete blocks keep, were blocks and bags as alike as in complete ones.

    Parameters
    ----------
    factor : float
        Variance of a difference in complete blocks over that in these, averaged over all pairs
        of treatments; 1 is all of it.
    bound : float
        No layout with these places can exceed it.
    balanced : bool
        Whether every difference is known equally well.
    """

    factor: float
    bound: float
    balanced: bool


def incidence(trial: Trial, layout: Layout) -> Array:
    """Count how often each treatment stands in each block.

    Parameters
    ----------
    trial : Trial
    layout : Layout

    Returns
    -------
    array, shape (treatments, blocks)
    """
    codes = {one.code: number for number, one in enumerate(trial.treatments)}
    blocks = {name: number for number, name in enumerate(layout.blocks)}
    counts = np.zeros((len(codes), len(blocks)))
    for slot in layout.slots:
        counts[codes[slot.treatment], blocks[slot.block]] += 1
    return counts


def mean_variance(counts: Array) -> Array:
    """Give the variance of a difference, averaged over all pairs of treatments.

    Parameters
    ----------
    counts : array, shape (..., treatments, blocks)
        How often each treatment stands in each block.

    Returns
    -------
    array, shape (...)
        In units of the variance of a bag within its block; infinite where blocks leave some
        treatments without a comparison.

    Notes
    -----
    C = R - N K^-1 N', and the average is 2 trace(C^+) / (t - 1).
    """
    treatments = counts.shape[-2]
    weighted = counts / counts.sum(axis=-2, keepdims=True)
    replicates = counts.sum(axis=-1)
    information = np.eye(treatments) * replicates[..., None] - weighted @ np.swapaxes(
        counts, -1, -2
    )
    values = np.linalg.eigvalsh(information)[..., 1:]
    safe = np.maximum(values, 1e-300)
    spread = 2 * (1 / safe).sum(axis=-1) / (treatments - 1)
    return np.asarray(np.where(values[..., 0] > 1e-9, spread, np.inf))


def efficiency(counts: Array) -> Efficiency:
    """Give the efficiency factor of a layout in blocks and its upper bound.

    Parameters
    ----------
    counts : array, shape (treatments, blocks)
        As `incidence` gives it.

    Returns
    -------
    Efficiency
        With r units of each treatment in blocks of k the bound is t (k - 1) / (k (t - 1)), which
        a balanced layout reaches; with unequal blocks it follows from the trace of C, and with
        unequal replication both are relative to complete blocks of the same replication.
    """
    treatments = counts.shape[0]
    replicates = counts.sum(axis=1)
    # Complete blocks of the same replication: the variance of a pair is 1/r + 1/s.
    alone = 2 * (1 / replicates).sum() / treatments
    factor = float(alone / mean_variance(counts))
    # Each block adds at most k - sum n^2 / k, with counts as even as they can be.
    trace = sum(_most_information(int(size), treatments) for size in counts.sum(axis=0))
    mean_root = alone / 2 * trace / (treatments - 1)
    return Efficiency(
        factor=factor, bound=float(min(1.0, mean_root)), balanced=_is_balanced(counts)
    )


def _most_information(size: int, treatments: int) -> float:
    each, left = divmod(size, treatments)
    squares = left * (each + 1) ** 2 + (treatments - left) * each**2
    return size - squares / size


def _is_balanced(counts: Array) -> bool:
    information = np.diag(counts.sum(axis=1)) - counts / counts.sum(axis=0) @ counts.T
    apart = information[~np.eye(len(counts), dtype=bool)]
    return bool(np.ptp(apart) < 1e-9 and apart[0] < 0)
