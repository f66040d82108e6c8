"""Back from logarithms: what lies beyond the largest number is endless, not an error."""

from __future__ import annotations

import math

__all__ = ["grown", "rise"]


def grown(log: float) -> float:
    """Give exp(log).

    Parameters
    ----------
    log : float

    Returns
    -------
    float
        Infinite where it is beyond double precision.

    Examples
    --------
    >>> grown(0.0), grown(1000.0), grown(-1000.0)
    (1.0, inf, 0.0)
    """
    try:
        return math.exp(log)
    except OverflowError:
        return math.inf


def rise(log: float) -> float:
    """Give the rise that a logarithm of a ratio stands for, in per cent: 100 (exp(log) - 1).

    Parameters
    ----------
    log : float

    Examples
    --------
    >>> rise(0.0), rise(1000.0)
    (0.0, inf)
    """
    try:
        return 100 * math.expm1(log)
    except OverflowError:
        return math.inf
