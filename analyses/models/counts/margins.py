"""Two proportions against a margin: no worse, and just as good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, ndtr

from analyses.models.counts.one_share import check_counts
from analyses.models.counts.two_proportions import score_limits, score_statistic

__all__ = [
    "MarginTest",
    "TwoOneSided",
    "exact_margin_p",
    "farrington_manning",
    "two_one_sided",
]

Array: TypeAlias = npt.NDArray[np.float64]
Side: TypeAlias = Literal["less", "greater"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginTest:
    """A one-sided test of a difference of shares against a margin.

    Attributes
    ----------
    value, low, high : float
        The difference p1 - p2 and the limits of the interval that belongs to the test: the test
        rejects exactly when the margin lies outside them.
    level : float
        One less twice the size of the test.
    margin : float
        The difference under the null hypothesis.
    alternative : {"less", "greater"}
        On which side of the margin the claim lies.
    statistic, p : float
        Standard normal statistic and one-sided p value.
    method : str
        The name of the test.
    """

    value: float
    low: float
    high: float
    level: float
    margin: float
    alternative: Side
    statistic: float
    p: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoOneSided:
    """Two one-sided tests that a difference of shares lies between two margins.

    Attributes
    ----------
    value, low, high : float
        The difference p1 - p2 and the limits of the interval that belongs to the tests.
    level : float
        One less twice the size of each test.
    lower, upper : float
        The margins.
    statistic_lower, statistic_upper : float
        Standard normal statistics against the margins.
    p_lower, p_upper, p : float
        One-sided p values and the larger of them, which judges the claim.
    method : str
        The name of the test.
    """

    value: float
    low: float
    high: float
    level: float
    lower: float
    upper: float
    statistic_lower: float
    statistic_upper: float
    p_lower: float
    p_upper: float
    p: float
    method: str


def _check_margin(margin: float) -> float:
    if not -1 < margin < 1:
        raise ValueError(f"a margin of a difference of shares lies between -1 and 1, got {margin}")
    return margin


def farrington_manning(
    x1: int,
    n1: int,
    x2: int,
    n2: int,
    *,
    margin: float,
    alternative: Side = "less",
    size: float = 0.05,
) -> MarginTest:
    """Test p1 - p2 against a margin with the variance at the margin.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    margin : float
        The difference under the null hypothesis, with its sign: 0.10 with "less" asks whether the
        first group loses less than ten in a hundred more than the second.
    alternative : {"less", "greater"}
        The claim: the difference is less, or greater, than the margin.
    size : float
        Size of the one-sided test; the interval has confidence 1 - 2 * size.

    Notes
    -----
    Farrington & Manning (1990), Statist. Med. 9, 1447-1454, method 3; interval of Mee (1984).

    Examples
    --------
    >>> found = farrington_manning(69, 76, 83, 88, margin=0.10)
    >>> round(found.statistic, 3), round(found.p, 5)
    (-2.957, 0.00155)
    """
    check_counts(x1, n1), check_counts(x2, n2)
    z = float(score_statistic(x1, n1, x2, n2, _check_margin(margin), corrected=False))
    low, high = score_limits(x1, n1, x2, n2, 1 - 2 * size, corrected=False)
    return MarginTest(
        value=x1 / n1 - x2 / n2,
        low=float(low),
        high=float(high),
        level=1 - 2 * size,
        margin=margin,
        alternative=alternative,
        statistic=z,
        p=float(ndtr(z if alternative == "less" else -z)),
        method="Farrington-Manning",
    )


def two_one_sided(
    x1: int,
    n1: int,
    x2: int,
    n2: int,
    *,
    margin: float | tuple[float, float],
    size: float = 0.05,
) -> TwoOneSided:
    """Test that p1 - p2 lies between two margins.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    margin : float or pair of float
        Half the width of a region around zero, or its lower and upper end.
    size : float
        Size of each one-sided test; the interval has confidence 1 - 2 * size.

    Notes
    -----
    Schuirmann (1987), J. Pharmacokin. Biopharm. 15, 657-680, each test that of Farrington &
    Manning (1990).
    """
    lower, upper = margin if isinstance(margin, tuple) else (-margin, margin)
    if lower >= upper:
        raise ValueError(f"the lower margin must lie below the upper, got {lower} and {upper}")
    above = farrington_manning(x1, n1, x2, n2, margin=lower, alternative="greater", size=size)
    below = farrington_manning(x1, n1, x2, n2, margin=upper, alternative="less", size=size)
    return TwoOneSided(
        value=above.value,
        low=above.low,
        high=above.high,
        level=above.level,
        lower=lower,
        upper=upper,
        statistic_lower=above.statistic,
        statistic_upper=below.statistic,
        p_lower=above.p,
        p_upper=below.p,
        p=max(above.p, below.p),
        method="two one-sided tests (Farrington-Manning)",
    )


def _binomial_chances(n: int, p: Array) -> Array:
    """Give the chance of each count 0..n (rows) for each share (columns)."""
    x = np.arange(n + 1.0)[:, None]
    log_ways = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(x > 0, x * np.log(p), 0) + np.where(x < n, (n - x) * np.log1p(-p), 0)
    return np.asarray(np.exp(log_ways + logs))


def exact_margin_p(
    x1: int,
    n1: int,
    x2: int,
    n2: int,
    *,
    margin: float,
    alternative: Side = "less",
    points: int = 2001,
) -> float:
    """Give the exact p value of the margin test: the largest chance over all shares at the margin.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    margin : float
        The difference under the null hypothesis, with its sign.
    alternative : {"less", "greater"}
        The claim.
    points : int
        How many values of the unknown share are tried.

    Notes
    -----
    Chan (1998), Statist. Med. 17, 1403-1413: outcomes are ordered by the statistic of Farrington
    & Manning (1990) and all of them are enumerated, so the cost grows with n1 times n2.
    """
    check_counts(x1, n1), check_counts(x2, n2)
    if alternative == "greater":
        return exact_margin_p(x2, n2, x1, n1, margin=-margin, points=points)
    first, second = np.arange(n1 + 1.0)[:, None], np.arange(n2 + 1.0)[None, :]
    z = score_statistic(first, n1, second, n2, _check_margin(margin), corrected=False)
    as_extreme = (z <= z[x1, x2] + 1e-9).astype(float)
    p2 = np.linspace(max(0.0, -margin), min(1.0, 1 - margin), points)
    chance1 = _binomial_chances(n1, np.clip(p2 + margin, 0, 1))
    tail = np.sum(chance1 * (as_extreme @ _binomial_chances(n2, p2)), axis=0)
    return float(min(tail.max(), 1.0))
