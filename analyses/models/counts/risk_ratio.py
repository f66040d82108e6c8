"""Two independent proportions: their ratio with score intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from analyses.models.counts.one_share import check_counts, normal_quantile
from analyses.models.counts.score_search import limits_around
from analyses.models.counts.two_proportions import score_statistic

__all__ = ["Ratio", "dispersed_ratio_limits", "koopman", "miettinen_nurminen_ratio", "ratio_limits"]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """A ratio of two shares or of two odds, first over second.

    Attributes
    ----------
    value, low, high : float
        The ratio and its limits, from 0 to infinity; the value is nan when neither group had an
        event.
    level : float
        Two-sided confidence of the interval.
    statistic : float
        Standard normal statistic of a ratio of one; nan where the method has none.
    p : float
        Two-sided p value of a ratio of one; nan where the method has none.
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


def _null_excess(
    t: Array, x1: Array, n1: Array, x2: Array, n2: Array, z2: Array, factor: Array | float
) -> Array:
    """Give how far the squared statistic exceeds z^2 at the ratio t / (1 - t), kept finite."""
    events = x1 + x2
    u, v = (n1 + x2) * t, (x1 + n2) * (1 - t)
    # The discriminant (u + v)^2 - 4 n x t (1 - t), written so that nothing cancels.
    root = np.sqrt((u - v) ** 2 + 4 * t * (1 - t) * (n1 - x1) * (n2 - x2))
    b = u + v
    p1, p2 = 2 * events * t / (b + root), 2 * events * (1 - t) / (b + root)
    variance = (1 - t) ** 2 * p1 * (1 - p1) / n1 + t**2 * p2 * (1 - p2) / n2
    away = x1 / n1 * (1 - t) - x2 / n2 * t
    return np.asarray(away**2 - z2 * factor * np.maximum(variance, 0))


def ratio_limits(
    x1: npt.ArrayLike,
    n1: npt.ArrayLike,
    x2: npt.ArrayLike,
    n2: npt.ArrayLike,
    level: float = 0.95,
    *,
    corrected: bool = True,
) -> tuple[Array, Array]:
    """Give the score limits of p1 / p2 for arrays of counts.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like
        Events and totals of the two groups.
    level : float
        Two-sided confidence.
    corrected : bool
        True for Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, equation 10; false for
        Koopman (1984), Biometrics 40, 513-517.

    Returns
    -------
    low, high : ndarray
        From 0 (no event in the first group) to infinity (none in the second).
    """
    x1, n1 = check_counts(x1, n1)
    x2, n2 = check_counts(x2, n2)
    z2, n = np.asarray(normal_quantile(level) ** 2), n1 + n2
    factor = n / (n - 1) if corrected else np.ones_like(n)
    return _solved(x1, n1, x2, n2, z2, factor)


def dispersed_ratio_limits(
    reach: npt.ArrayLike,
    p1: npt.ArrayLike,
    n1: npt.ArrayLike,
    p2: npt.ArrayLike,
    n2: npt.ArrayLike,
) -> tuple[Array, Array]:
    """Give the score limits of a ratio of mean shares of clusters, with their own dispersion.

    Parameters
    ----------
    reach : array_like
        Half the width of the interval of their difference by t: quantile times standard error.
    p1, n1, p2, n2 : array_like
        Mean shares, and the single units that would give them the same variance, as in
        `dispersed.dispersed_stretch`; not both groups without a loss, nor both without a unit kept.

    Returns
    -------
    low, high : ndarray
        From 0 (nothing lost in the first group) to infinity (nothing in the second).

    Notes
    -----
    Koopman's equation (1984), Biometrics 40, 513-517, with the normal quantile times the root of
    the dispersion in place of the quantile (Rao & Scott 1992, Biometrics 48, 577-585), by t.
    """
    half, p1, n1, p2, n2 = (np.asarray(each, float) for each in (reach, p1, n1, p2, n2))
    z2 = half**2 / (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    return _solved(p1 * n1, n1, p2 * n2, n2, z2, np.ones_like(z2))


def _solved(
    x1: Array, n1: Array, x2: Array, n2: Array, z2: Array, factor: Array
) -> tuple[Array, Array]:
    p1, p2 = x1 / n1, x2 / n2
    none = (x1 + x2) == 0
    middle = np.where(none, 0.5, p1 / np.where(none, 1.0, p1 + p2))

    def excess(t: Array) -> Array:
        return _null_excess(t, x1, n1, x2, n2, z2, factor)

    low, high = limits_around(excess, middle, least=0.0, most=1.0)
    low, high = np.where(none, 0.0, low), np.where(none, 1.0, high)
    with np.errstate(divide="ignore"):
        return low / (1 - low), np.where(high < 1, high / (1 - high), np.inf)


def _ratio(x1: int, n1: int, x2: int, n2: int, level: float, corrected: bool, method: str) -> Ratio:
    low, high = ratio_limits(x1, n1, x2, n2, level, corrected=corrected)
    z = float(score_statistic(x1, n1, x2, n2, corrected=corrected))
    without = float("inf") if x1 else float("nan")
    value = (x1 / n1) / (x2 / n2) if x2 else without
    return Ratio(
        value=value,
        low=float(low),
        high=float(high),
        level=level,
        statistic=z,
        p=float(2 * ndtr(-abs(z))),
        method=method,
    )


def koopman(x1: int, n1: int, x2: int, n2: int, level: float = 0.95) -> Ratio:
    """Give p1 / p2 with Koopman's score interval.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Notes
    -----
    Koopman (1984), Biometrics 40, 513-517.

    Examples
    --------
    >>> round(koopman(7, 34, 1, 34).low, 2)
    1.22
    """
    return _ratio(x1, n1, x2, n2, level, False, "Koopman")


def miettinen_nurminen_ratio(x1: int, n1: int, x2: int, n2: int, level: float = 0.95) -> Ratio:
    """Give p1 / p2 with the score interval of Miettinen and Nurminen.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Two-sided confidence.

    Notes
    -----
    Miettinen & Nurminen (1985), Statist. Med. 4, 213-226, equation 10.
    """
    return _ratio(x1, n1, x2, n2, level, True, "Miettinen-Nurminen ratio")
