"""One proportion: how large the share may be when x of n units showed the event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtr, ndtri

__all__ = [
    "Bound",
    "OneShareTest",
    "Proportion",
    "check_counts",
    "check_level",
    "clopper_pearson",
    "clopper_pearson_limits",
    "normal_quantile",
    "wilson",
    "wilson_limits",
    "within_limits",
]

Array: TypeAlias = npt.NDArray[np.float64]
Bound: TypeAlias = Literal["both", "lower", "upper"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proportion:
    """A share with its interval.

    Attributes
    ----------
    events, total : int
        Units with the event, and units in all.
    value, low, high : float
        The share and its limits, between 0 and 1. A one-sided bound leaves the other limit at the
        edge of what is possible.
    level : float
        The confidence of the statement, e.g. 0.95.
    bound : {"both", "lower", "upper"}
        Which limits carry the error.
    method : str
        The name of the interval.
    """

    events: int
    total: int
    value: float
    low: float
    high: float
    level: float
    bound: Bound
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OneShareTest:
    """Two one-sided tests that a share lies between two limits.

    Attributes
    ----------
    value, low, high : float
        The share and the interval that belongs to the tests, of confidence `level`.
    level : float
        One less twice the size of each test.
    statistic_low, statistic_high : float
        Standard normal statistics against the lower and the upper limit.
    p_low, p_high, p : float
        The one-sided p values and the larger of them.
    method : str
        The name of the test.
    """

    value: float
    low: float
    high: float
    level: float
    statistic_low: float
    statistic_high: float
    p_low: float
    p_high: float
    p: float
    method: str


def check_counts(events: npt.ArrayLike, total: npt.ArrayLike) -> tuple[Array, Array]:
    """Give counts as arrays of floats, or raise ValueError when they cannot be counts.

    Parameters
    ----------
    events, total : array_like
        Units with the event and units in all; whole, 0 <= events <= total, total at least 1.
    """
    x, n = np.asarray(events, float), np.asarray(total, float)
    if np.any(x != np.floor(x)) or np.any(n != np.floor(n)):
        raise ValueError(f"counts must be whole numbers, got {events!r} of {total!r}")
    if np.any(n < 1):
        raise ValueError(f"a share needs at least one unit, got {total!r}")
    if np.any((x < 0) | (x > n)):
        raise ValueError(f"events must lie between 0 and the total, got {events!r} of {total!r}")
    return x, n


def check_level(level: float) -> float:
    """Give a level of confidence back, or raise ValueError when it is not between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {level!r}")
    return level


def normal_quantile(level: float, bound: Bound = "both") -> float:
    """Give the standard normal deviate of a two-sided (or one-sided) statement of a level."""
    tail = (1 - check_level(level)) / (2 if bound == "both" else 1)
    return float(-ndtri(tail))


def wilson_limits(
    events: npt.ArrayLike, total: npt.ArrayLike, level: float = 0.95
) -> tuple[Array, Array]:
    """Give Wilson's limits of a share for arrays of counts.

    Parameters
    ----------
    events, total : array_like
        Units with the event and units in all.
    level : float
        Two-sided confidence.

    Returns
    -------
    low, high : ndarray
        Limits between 0 and 1, exactly 0 or 1 when no or all units had the event.

    Notes
    -----
    Wilson (1927), JASA 22, 209-212; method 3 of Newcombe (1998), Statist. Med. 17, 857-872.
    """
    x, n = check_counts(events, total)
    return _wilson(x, n, normal_quantile(level))


def _wilson(x: Array, n: Array, z: float) -> tuple[Array, Array]:
    middle = (x + z**2 / 2) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(x * (n - x) / n + z**2 / 4)
    low = np.where(x == 0, 0.0, middle - half)
    return low, np.where(x == n, 1.0, middle + half)


def clopper_pearson_limits(
    events: npt.ArrayLike, total: npt.ArrayLike, level: float = 0.95
) -> tuple[Array, Array]:
    """Give the exact limits of a share for arrays of counts.

    Parameters
    ----------
    events, total : array_like
        Units with the event and units in all.
    level : float
        Two-sided confidence.

    Returns
    -------
    low, high : ndarray
        Limits between 0 and 1.

    Notes
    -----
    Clopper & Pearson (1934), Biometrika 26, 404-413, by quantiles of the beta distribution.
    """
    x, n = check_counts(events, total)
    return _clopper_pearson(x, n, (1 - check_level(level)) / 2)


def _clopper_pearson(x: Array, n: Array, tail: float) -> tuple[Array, Array]:
    # betaincinv needs positive shapes; the edges are set by hand afterwards.
    low = betaincinv(np.maximum(x, 1), n - x + 1, tail)
    high = betaincinv(x + 1, np.maximum(n - x, 1), 1 - tail)
    return np.where(x == 0, 0.0, low), np.where(x == n, 1.0, high)


def wilson(events: int, total: int, level: float = 0.95, *, bound: Bound = "both") -> Proportion:
    """Give a share with Wilson's score interval.

    Parameters
    ----------
    events, total : int
        Units with the event and units in all.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        One-sided bounds put all the error on one side.

    Examples
    --------
    >>> share = wilson(0, 10)
    >>> round(share.high, 4)
    0.2775
    """
    x, n = check_counts(events, total)
    limits = _wilson(x, n, normal_quantile(level, bound))
    return _proportion(events, total, limits, level, bound, "Wilson")


def clopper_pearson(
    events: int, total: int, level: float = 0.95, *, bound: Bound = "both"
) -> Proportion:
    """Give a share with the exact interval of Clopper and Pearson.

    Parameters
    ----------
    events, total : int
        Units with the event and units in all.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        One-sided bounds put all the error on one side: with no event among n, the upper bound is
        then 1 - (1 - level)**(1 / n).

    Examples
    --------
    >>> round(clopper_pearson(0, 40, bound="upper").high, 3)
    0.072
    """
    x, n = check_counts(events, total)
    tail = (1 - check_level(level)) / (2 if bound == "both" else 1)
    limits = _clopper_pearson(x, n, tail)
    return _proportion(events, total, limits, level, bound, "Clopper-Pearson")


def _proportion(
    events: int,
    total: int,
    limits: tuple[Array, Array],
    level: float,
    bound: Bound,
    method: str,
) -> Proportion:
    return Proportion(
        events=int(events),
        total=int(total),
        value=events / total,
        low=0.0 if bound == "upper" else float(limits[0]),
        high=1.0 if bound == "lower" else float(limits[1]),
        level=level,
        bound=bound,
        method=method,
    )


def within_limits(
    events: int, total: int, low: float, high: float, *, size: float = 0.05
) -> OneShareTest:
    """Test by two one-sided tests that a share lies between two limits.

    Parameters
    ----------
    events, total : int
        Units with the event (neither none nor all of them) and units in all.
    low, high : float
        The limits, between 0 and 1.
    size : float
        Size of each one-sided test.

    Raises
    ------
    ValueError
        When no or all units had the event: the standard error of this test is then zero. Judge by
        `clopper_pearson` instead.

    Notes
    -----
    Schuirmann (1987), J. Pharmacokin. Biopharm. 15, 657-680, with the sample's own variance.
    """
    check_counts(events, total)
    if events in (0, total):
        raise ValueError(f"{events} of {total} has no standard error; use the exact interval")
    share = events / total
    error = (share * (1 - share) / total) ** 0.5
    z_low, z_high = (share - low) / error, (share - high) / error
    p_low, p_high = float(ndtr(-z_low)), float(ndtr(z_high))
    half = normal_quantile(1 - 2 * size) * error
    return OneShareTest(
        value=share,
        low=share - half,
        high=share + half,
        level=1 - 2 * size,
        statistic_low=z_low,
        statistic_high=z_high,
        p_low=p_low,
        p_high=p_high,
        p=max(p_low, p_high),
        method="two one-sided tests",
    )
