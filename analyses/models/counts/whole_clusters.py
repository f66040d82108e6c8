"""Groups of clusters of which few, or none, lost a unit: what fits, whatever clusters share."""

from __future__ import annotations

from analyses.models.counts.one_share import check_level, clopper_pearson

__all__ = ["hit_cluster_limits", "whole_cluster_limits"]


def whole_cluster_limits(
    k1: int, k2: int, level: float = 0.95, *, all1: bool = False, all2: bool = False
) -> tuple[float, float]:
    """Give limits of a difference of mean shares when every cluster lost nothing, or everything.

    Parameters
    ----------
    k1, k2 : int
        Clusters in the two groups.
    level : float
        Two-sided confidence.
    all1, all2 : bool
        Whether the clusters of a group lost all their units; otherwise they lost none.

    Returns
    -------
    low, high : float
        Of the first mean share less the second, between -1 and 1.

    Notes
    -----
    That a cluster loses no unit has at most the chance that one of its units, picked by lot, is
    not lost, however its units hang together; that it loses all has at most the chance that this
    one is lost. So what was seen has at most the chance of k clusters of one unit each, and the
    differences at which that chance can reach half of 1 - level fit, by the argument of Clopper &
    Pearson (1934), Biometrika 26, 404-413.

    Examples
    --------
    None lost in six batches and none in another six: at most 46 in a hundred more, or fewer.

    >>> low, high = whole_cluster_limits(6, 6)
    >>> round(low, 2), round(high, 2)
    (-0.46, 0.46)
    """
    tail = (1 - check_level(level)) / 2
    if k1 < 1 or k2 < 1:
        raise ValueError("both groups need at least one cluster")
    if all1 == all2:
        first, second = tail ** (1 / k1), tail ** (1 / k2)
        return (first - 1, 1 - second) if all1 else (second - 1, 1 - first)
    # One group lost all and the other none: the chance is u^a v^b with u + v = 1 + difference.
    reach = _least_sum(k1, k2, tail) - 1
    return (reach, 1.0) if all1 else (-1.0, -reach)


def _least_sum(a: int, b: int, tail: float) -> float:
    """Give the least u + v, both at most 1, with u^a v^b at least `tail`."""
    # Without the bounds u : v = a : b; else the larger one stops at 1.
    root = (tail * (a / b) ** b) ** (1 / (a + b))
    u, v = root, root * b / a
    if u > 1:
        u, v = 1.0, tail ** (1 / b)
    elif v > 1:
        u, v = tail ** (1 / a), 1.0
    return float(u + v)


def hit_cluster_limits(
    hits: tuple[int, int], clusters: tuple[int, int], level: float = 0.95
) -> tuple[float, float]:
    """Give limits of a difference of mean shares from how many clusters lost any unit at all.

    Parameters
    ----------
    hits : tuple of int
        Clusters of the two groups that lost one unit or more.
    clusters : tuple of int
        Clusters of the two groups.
    level : float
        Two-sided confidence.

    Returns
    -------
    low, high : float
        Of the first mean share less the second, between -1 and 1.

    Notes
    -----
    A unit is lost only where its cluster lost one, so that a mean share is at most the chance of a
    cluster to be hit, whose upper limit is Clopper & Pearson's (1934, Biometrika 26, 404-413); and
    no mean share is below zero. Wide, but it holds where a t of the few shares that are not zero
    does not: with no hit at all it is `whole_cluster_limits`.

    Examples
    --------
    >>> low, high = hit_cluster_limits((0, 1), (6, 6))
    >>> round(low, 2), round(high, 2)
    (-0.64, 0.46)
    """
    first, second = (
        clopper_pearson(hit, total, level).high for hit, total in zip(hits, clusters, strict=True)
    )
    return -second, first
