"""Two proportions compared over strata, by a score interval that no empty cell breaks."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.counts.one_share import normal_quantile
from analyses.models.counts.score_search import limits_around
from analyses.models.counts.strata import Strata
from analyses.models.counts.two_proportions import (
    Difference,
    difference_by_score,
    restricted_shares,
)

__all__ = [
    "is_sparse",
    "stratified_limits",
    "stratified_score",
    "stratified_statistic",
]

Array: TypeAlias = npt.NDArray[np.float64]

_FEWEST_EXPECTED = 5.0


def _weights(n1: Array, n2: Array) -> Array:
    """Give the weights of Mantel and Haenszel, summing to 1 over the strata."""
    weight = n1 * n2 / (n1 + n2)
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))


def _moments(x1: Array, n1: Array, x2: Array, n2: Array, difference: Array) -> tuple[Array, Array]:
    """Give the weighted distance from a difference, and its variance there."""
    weight, n = _weights(n1, n2), n1 + n2
    p1, p2 = restricted_shares(x1, n1, x2, n2, difference[..., np.newaxis])
    variance = np.maximum(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2, 0) * n / (n - 1)
    away = (weight * (x1 / n1 - x2 / n2)).sum(axis=-1) - difference
    return away, np.asarray((weight**2 * variance).sum(axis=-1))


def stratified_statistic(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    difference: npt.ArrayLike = 0.0,
) -> Array:
    """Give the score statistic of one difference p1 - p2 common to strata.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like, shape (..., strata)
        Events and totals of the two groups, both present in each stratum.
    difference : array_like, shape (...)
        The difference under the null hypothesis.

    Returns
    -------
    ndarray, shape (...)
        Standard normal under the null; at no difference its square is the chi-squared of Cochran,
        Mantel and Haenszel.

    Notes
    -----
    Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, section 4, with the weights
    n1 n2 / (n1 + n2) of Mantel and Haenszel.
    """
    a, m1, c, m2, d = (np.asarray(each, float) for each in (x1, n1, x2, n2, difference))
    away, variance = _moments(a, m1, c, m2, d)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(np.abs(away) < 1e-15, 0.0, away / np.sqrt(variance)))


def stratified_limits(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    level: float = 0.95,
) -> tuple[Array, Array]:
    """Give the score limits of one difference common to strata.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like, shape (..., strata)
        Events and totals of the two groups, both present in each stratum.
    level : float
        Two-sided confidence.

    Returns
    -------
    low, high : ndarray, shape (...)
        Between -1 and 1; of positive length though no unit had the event.

    Notes
    -----
    Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, section 4.
    """
    each = np.broadcast_arrays(*(np.asarray(one, float) for one in (x1, n1, x2, n2)))
    a, m1, c, m2 = each
    value = (_weights(m1, m2) * (a / m1 - c / m2)).sum(axis=-1)
    z2 = normal_quantile(level) ** 2

    def excess(d: Array) -> Array:
        away, variance = _moments(a, m1, c, m2, d)
        return np.asarray(away**2 - z2 * variance)

    return limits_around(excess, value, least=-1.0, most=1.0)


def stratified_score(s: Strata, level: float = 0.95) -> Difference:
    """Give the Mantel-Haenszel risk difference with its stratified score interval and test.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    level : float
        Two-sided confidence.

    Notes
    -----
    Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, section 4; the variance of Sato (1989)
    is zero, and its interval no interval, where no unit had the event.
    """
    value = float((_weights(s.n1, s.n2) * (s.x1 / s.n1 - s.x2 / s.n2)).sum())
    limits = stratified_limits(s.x1, s.n1, s.x2, s.n2, level)
    statistic = stratified_statistic(s.x1, s.n1, s.x2, s.n2)
    return difference_by_score(value, limits, statistic, level, "stratified Miettinen-Nurminen")


def is_sparse(s: Strata) -> bool:
    """Say whether the normal approximation over strata is not to be trusted.

    Parameters
    ----------
    s : Strata
        Counts by stratum.

    Returns
    -------
    bool
        Whether the expected events of the first group lie less than 5 from the fewest or from the
        most that the margins allow.

    Notes
    -----
    Mantel & Fleiss (1980), Am. J. Epidemiol. 112, 129-134.
    """
    expected = (s.n1 * s.events / s.n).sum()
    fewest = np.maximum(0, s.events - s.n2).sum()
    most = np.minimum(s.n1, s.events).sum()
    return bool(min(expected - fewest, most - expected) < _FEWEST_EXPECTED)
