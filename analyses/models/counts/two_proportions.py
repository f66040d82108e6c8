"""Two independent proportions: their difference with score and hybrid intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analyses.models.counts.one_share import check_counts, normal_quantile, wilson_limits
from analyses.models.counts.score_search import limits_around

__all__ = [
    "Difference",
    "difference_by_score",
    "mee",
    "miettinen_nurminen",
    "newcombe",
    "newcombe_limits",
    "restricted_shares",
    "score_limits",
    "score_statistic",
]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A difference of two shares, first less second.

    Attributes
    ----------
    value, low, high : float
        The difference and its limits, between -1 and 1.
    level : float
        Two-sided confidence of the interval.
    statistic : float
        Standard normal statistic of no difference; nan where the method has none.
    p : float
        Two-sided p value of no difference; nan where the method has none.
    method : str
        The name of the interval.
    """

    value: float
    low: float
    high: float
    level: float
    statistic: float
    p: float
    method: str


def newcombe_limits(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    level: float = 0.95,
) -> tuple[Array, Array]:
    """Give the hybrid score limits of p1 - p2 for arrays of counts.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Notes
    -----
    Method 10 of Newcombe (1998), Statist. Med. 17, 873-890.
    """
    low1, high1 = wilson_limits(x1, n1, level)
    low2, high2 = wilson_limits(x2, n2, level)
    p1 = np.asarray(x1, float) / np.asarray(n1, float)
    p2 = np.asarray(x2, float) / np.asarray(n2, float)
    down = np.hypot(p1 - low1, high2 - p2)
    up = np.hypot(high1 - p1, p2 - low2)
    return p1 - p2 - down, p1 - p2 + up


def restricted_shares(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    difference: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Give the most likely shares among those with a given difference.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like
        Events and totals of the two groups.
    difference : array_like
        The difference p1 - p2 that the shares must have, between -1 and 1.

    Returns
    -------
    p1, p2 : ndarray
        The restricted maximum likelihood estimates.

    Notes
    -----
    The closed form of the cubic in Miettinen & Nurminen (1985), Statist. Med. 4, 213-226,
    appendix I.
    """
    x1, n1, x2, n2, d = (np.asarray(each, float) for each in (x1, n1, x2, n2, difference))
    n = n1 + n2
    a2 = ((n1 + 2 * n2) * d - n - x1 - x2) / n
    a1 = ((n2 * d - n - 2 * x2) * d + x1 + x2) / n
    a0 = x2 * d * (1 - d) / n
    q = (a2 / 3) ** 3 - a1 * a2 / 6 + a0 / 2
    size = np.sqrt(np.maximum((a2 / 3) ** 2 - a1 / 3, 0))
    r = np.where(q < 0, -size, size)
    cosine = np.divide(q, r**3, out=np.zeros_like(q * r), where=size > 1e-12)
    angle = (np.pi + np.arccos(np.clip(cosine, -1, 1))) / 3
    p2 = np.clip(2 * r * np.cos(angle) - a2 / 3, np.maximum(0, -d), np.minimum(1, 1 - d))
    return p2 + d, p2


def _null_variance(
    x1: Array, n1: Array, x2: Array, n2: Array, difference: Array, *, corrected: bool
) -> Array:
    p1, p2 = restricted_shares(x1, n1, x2, n2, difference)
    variance = p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2
    n = n1 + n2
    return np.asarray(np.maximum(variance, 0) * (n / (n - 1) if corrected else 1.0))


def score_statistic(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    difference: npt.ArrayLike = 0.0,
    *,
    corrected: bool = True,
) -> Array:
    """Give the score statistic of p1 - p2 = difference for arrays of counts.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like
        Events and totals of the two groups.
    difference : array_like
        The difference under the null hypothesis.
    corrected : bool
        With the factor n / (n - 1) of Miettinen & Nurminen (1985) in the variance, or without it as
        in Farrington & Manning (1990).

    Returns
    -------
    ndarray
        Standard normal under the null; 0 where the data say exactly the null, infinite where they
        could not have arisen under it.
    """
    x1, n1, x2, n2, d = (np.asarray(each, float) for each in (x1, n1, x2, n2, difference))
    away = x1 / n1 - x2 / n2 - d
    away = np.where(np.abs(away) < 1e-15, 0.0, away)
    error = np.sqrt(_null_variance(x1, n1, x2, n2, d, corrected=corrected))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(away == 0, 0.0, away / error))


def score_limits(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    level: float = 0.95,
    *,
    corrected: bool = True,
) -> tuple[Array, Array]:
    """Give the score limits of p1 - p2 for arrays of counts, empty and full cells included.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like
        Events and totals of the two groups.
    level : float
        Two-sided confidence.
    corrected : bool
        True for Miettinen & Nurminen (1985), false for Mee (1984), Biometrics 40, 1175-1176.

    Notes
    -----
    The root search is our own: the score interval of statsmodels 0.15 raises on empty and full
    cells and gives 0.344 where Newcombe (1998) prints 0.338. Solved is
    (p1 - p2 - d)^2 = z^2 V(d), which stays finite where V vanishes.
    """
    x1, n1 = check_counts(x1, n1)
    x2, n2 = check_counts(x2, n2)
    z2 = normal_quantile(level) ** 2
    value = x1 / n1 - x2 / n2

    def excess(d: Array) -> Array:
        variance = _null_variance(x1, n1, x2, n2, d, corrected=corrected)
        return np.asarray((value - d) ** 2 - z2 * variance)

    return limits_around(excess, value, least=-1.0, most=1.0)


def newcombe(x1: int, n1: int, x2: int, n2: int, level: float = 0.95) -> Difference:
    """Give p1 - p2 with Newcombe's hybrid score interval.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Examples
    --------
    >>> found = newcombe(56, 70, 48, 80)
    >>> round(found.low, 4), round(found.high, 4)
    (0.0524, 0.3339)
    """
    low, high = newcombe_limits(x1, n1, x2, n2, level)
    return Difference(
        value=x1 / n1 - x2 / n2,
        low=float(low),
        high=float(high),
        level=level,
        statistic=float("nan"),
        p=float("nan"),
        method="Newcombe hybrid score",
    )


def _by_score(
    x1: int, n1: int, x2: int, n2: int, level: float, corrected: bool, method: str
) -> Difference:
    low, high = score_limits(x1, n1, x2, n2, level, corrected=corrected)
    z = score_statistic(x1, n1, x2, n2, corrected=corrected)
    return difference_by_score(x1 / n1 - x2 / n2, (low, high), z, level, method)


def difference_by_score(
    value: float,
    limits: tuple[npt.ArrayLike, npt.ArrayLike],
    statistic: npt.ArrayLike,
    level: float,
    method: str,
) -> Difference:
    """Put a difference with its score limits and statistic together, and work out p.

    Parameters
    ----------
    value : float
        The difference.
    limits : pair of array_like, each of one element
        Its limits of confidence `level`.
    statistic : array_like of one element
        Standard normal statistic of no difference.
    level : float
        Two-sided confidence.
    method : str
        The name of the interval.
    """
    (low, high), z = limits, float(np.asarray(statistic))
    return Difference(
        value=value,
        low=float(np.asarray(low)),
        high=float(np.asarray(high)),
        level=level,
        statistic=z,
        p=float(2 * ndtr(-abs(z))),
        method=method,
    )


def miettinen_nurminen(x1: int, n1: int, x2: int, n2: int, level: float = 0.95) -> Difference:
    """Give p1 - p2 with the score interval and test of Miettinen and Nurminen.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Notes
    -----
    Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, equations 8 and 9.

    Examples
    --------
    >>> found = miettinen_nurminen(0, 10, 0, 20)
    >>> round(found.low, 4), round(found.high, 4)
    (-0.1658, 0.2844)
    """
    return _by_score(x1, n1, x2, n2, level, True, "Miettinen-Nurminen")


def mee(x1: int, n1: int, x2: int, n2: int, level: float = 0.95) -> Difference:
    """Give p1 - p2 with Mee's score interval, the one that belongs to Farrington and Manning.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Notes
    -----
    Mee (1984), Biometrics 40, 1175-1176.
    """
    return _by_score(x1, n1, x2, n2, level, False, "Mee")
