"""Limits by a score test: on either side of an estimate, where the test begins to refuse."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.numerics.bracketing import find_root

__all__ = ["limits_around"]

Array: TypeAlias = npt.NDArray[np.float64]

# With empty or full cells the variance vanishes at the estimate itself, which would pass for a
# root; the search starts this far away from it, far less than any limit can be.
_NUDGE = 1e-9


def limits_around(
    excess: Callable[[Array], Array], value: Array, *, least: float, most: float
) -> tuple[Array, Array]:
    """Give the nearest roots below and above an estimate.

    Parameters
    ----------
    excess : callable
        How far the squared statistic, times its variance, exceeds what the level allows: below zero
        at the estimate.
    value : ndarray
        The estimates.
    least, most : float
        The ends of the scale.

    Returns
    -------
    low, high : ndarray
        The ends of the scale where an estimate lies there, or where nothing is refused.
    """
    down, up = np.full_like(value, least), np.full_like(value, most)
    low = np.where(value <= least, least, find_root(excess, down, value - _NUDGE))
    return low, np.where(value >= most, most, find_root(excess, value + _NUDGE, up))
