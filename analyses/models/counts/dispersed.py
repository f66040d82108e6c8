"""Shares, and their difference, whose clusters spread more, or less, than single units would."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.counts.score_search import limits_around
from analyses.models.counts.two_proportions import restricted_shares

__all__ = ["dispersed_limits", "dispersed_share_limits", "dispersed_stretch"]

Array: TypeAlias = npt.NDArray[np.float64]


def dispersed_stretch(
    p1: npt.ArrayLike,
    n1: npt.ArrayLike,
    p2: npt.ArrayLike,
    n2: npt.ArrayLike,
    difference: npt.ArrayLike,
) -> Array:
    """Give how many times as large a standard error is under a difference as at the estimate.

    Parameters
    ----------
    p1, p2 : array_like
        Mean shares of the clusters of two groups, 0 to 1.
    n1, n2 : array_like
        Units that give a mean share the same variance if each stood alone: of k clusters of m,
        k m; of clusters of sizes m_j, k^2 / sum(1 / m_j).
    difference : array_like
        The difference p1 - p2 that is tried, between -1 and 1.

    Returns
    -------
    ndarray
        Infinite where both groups lost nothing or everything: nothing shows how clusters spread.

    Notes
    -----
    The variance of a share goes with p (1 - p), whatever the clusters share, if all are dispersed
    alike (McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., section 4.5). So the
    dispersion is what was seen over what single units would show at the estimate, and the variance
    under a difference is that dispersion times what they would show at the shares most likely under
    it: the test of Farrington & Manning (1990), Statist. Med. 9, 1447-1454, with counts divided by
    their dispersion as by Rao & Scott (1992), Biometrics 48, 577-585.

    Examples
    --------
    >>> round(float(dispersed_stretch(0.02, 72, 0.02, 72, 0.1)), 2)
    1.66
    """
    p1, n1, p2, n2, d = (np.asarray(each, float) for each in (p1, n1, p2, n2, difference))
    seen = p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2
    r1, r2 = restricted_shares(p1 * n1, n1, p2 * n2, n2, d)
    under = np.maximum(r1 * (1 - r1) / n1 + r2 * (1 - r2) / n2, 0)
    known = seen > 0
    ratio = np.divide(
        under, seen, out=np.full(np.broadcast(under, seen).shape, np.inf), where=known
    )
    return np.asarray(np.sqrt(ratio))


def dispersed_limits(
    value: npt.ArrayLike,
    reach: npt.ArrayLike,
    p1: npt.ArrayLike,
    n1: npt.ArrayLike,
    p2: npt.ArrayLike,
    n2: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Give the limits that a score test with the clusters' own dispersion does not refuse.

    Parameters
    ----------
    value : array_like
        The difference, first less second.
    reach : array_like
        Half the width of its interval by t, from clusters: quantile times standard error.
    p1, n1, p2, n2 : array_like
        As in `dispersed_stretch`; not both groups without a loss, nor both without a unit kept.

    Returns
    -------
    low, high : ndarray
        Solved is |value - d| = reach x stretch(d) on either side.

    Examples
    --------
    A t that says 2 in a hundred either way, where hardly anything was lost:

    >>> low, high = dispersed_limits(0.0, 0.02, 0.014, 72, 0.014, 72)
    >>> round(float(low), 3), round(float(high), 3)
    (-0.024, 0.024)
    """
    middle, half, q1, m1, q2, m2 = np.broadcast_arrays(
        *(np.asarray(each, float) for each in (value, reach, p1, n1, p2, n2))
    )

    def excess(d: Array) -> Array:
        stretch = dispersed_stretch(q1, m1, q2, m2, d)
        return np.asarray((middle - d) ** 2 - (half * stretch) ** 2)

    return limits_around(excess, middle, least=-1.0, most=1.0)


def dispersed_share_limits(share: npt.ArrayLike, reach: npt.ArrayLike) -> tuple[Array, Array]:
    """Give the shares whose distance from a mean share is within its t reach under each of them.

    Parameters
    ----------
    share : array_like
        Mean share of the clusters, above 0 and below 1.
    reach : array_like
        Half the width of its interval by t: quantile times standard error.

    Returns
    -------
    low, high : ndarray
        Between 0 and 1.

    Notes
    -----
    Wilson's quadratic (1927, JASA 22, 209-212) with the variance of the clusters in place of the
    binomial one: (share - p)^2 = reach^2 p (1 - p) / (share (1 - share)), the variance of a share
    going with p (1 - p) whatever the clusters share (McCullagh & Nelder 1989, section 4.5).

    Examples
    --------
    Two of 72 bags lost, from six batches:

    >>> low, high = dispersed_share_limits(2 / 72, 0.03)
    >>> round(float(low), 3), round(float(high), 3)
    (0.01, 0.076)
    """
    p, half = np.asarray(share, float), np.asarray(reach, float)
    stretch = half**2 / (p * (1 - p))
    root = np.sqrt(stretch * (stretch + 4 * p * (1 - p)))
    low, high = ((2 * p + stretch + sign * root) / (2 + 2 * stretch) for sign in (-1, 1))
    return np.asarray(np.maximum(low, 0.0)), np.asarray(np.minimum(high, 1.0))
