"""What an accelerated fit says: ratios of times, days by which a share is done, tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtr

from analyses.models.counts.one_share import normal_quantile
from analyses.models.numerics.growth import grown
from analyses.models.times.accelerated import AcceleratedFit
from analyses.models.times.time_shapes import SHAPES

__all__ = [
    "LikelihoodRatio",
    "TimeQuantile",
    "TimeRatio",
    "likelihood_ratio",
    "time_quantile",
    "time_ratio",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeRatio:
    """How many times as long, with its interval.

    Attributes
    ----------
    value, low, high : float
        Ratio of times.
    level : float
        Two-sided confidence.
    error : float
        Standard error of the log ratio.
    statistic, p : float
        Standard normal statistic of a ratio of one, and two-sided p value.
    method : str
        How the inference was made.
    """

    value: float
    low: float
    high: float
    level: float
    error: float
    statistic: float
    p: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeQuantile:
    """The day by which a share of units had the event.

    Attributes
    ----------
    share : float
        The share, e.g. 0.5 for the median.
    value, low, high : float
        The day and its limits.
    level : float
        Two-sided confidence.
    error : float
        Standard error of the log day.
    """

    share: float
    value: float
    low: float
    high: float
    level: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodRatio:
    """A likelihood ratio test.

    Attributes
    ----------
    statistic : float
        Chi-squared statistic.
    df : int
        Coefficients that the smaller fit lacks.
    p : float
        p value.
    """

    statistic: float
    df: int
    p: float


def time_ratio(fit: AcceleratedFit, weights: npt.ArrayLike, level: float = 0.95) -> TimeRatio:
    """Give a contrast of log times as a ratio of times.

    Parameters
    ----------
    fit : AcceleratedFit
    weights : array_like, shape (p,)
        The contrast.
    level : float
        Two-sided confidence.

    Notes
    -----
    Wald's interval on the log scale; `likelihood_ratio` is the safer test in small trials.
    """
    row = np.asarray(weights, float)
    p = len(fit.coefficients)
    value = float(row @ fit.coefficients)
    error = float(np.sqrt(row @ fit.covariance[:p, :p] @ row))
    half = normal_quantile(level) * error
    return TimeRatio(
        value=grown(value),
        low=grown(value - half),
        high=grown(value + half),
        level=level,
        error=error,
        statistic=value / error,
        p=float(2 * ndtr(-abs(value / error))),
        method=f"{fit.shape} accelerated failure time",
    )


def time_quantile(
    fit: AcceleratedFit, row: npt.ArrayLike, share: float = 0.5, level: float = 0.95
) -> TimeQuantile:
    """Give the day by which a share of units had the event.

    Parameters
    ----------
    fit : AcceleratedFit
    row : array_like, shape (p,)
        A row of the design.
    share : float
        Between 0 and 1.
    level : float
        Two-sided confidence.
    """
    if not 0 < share < 1:
        raise ValueError(f"a share lies between 0 and 1, got {share}")
    z = SHAPES[fit.shape].quantile(share)
    wide = np.append(np.asarray(row, float), z * fit.scale)
    value = float(wide[:-1] @ fit.coefficients) + z * fit.scale
    error = float(np.sqrt(wide @ fit.covariance @ wide))
    half = normal_quantile(level) * error
    return TimeQuantile(
        share=share,
        value=grown(value),
        low=grown(value - half),
        high=grown(value + half),
        level=level,
        error=error,
    )


def likelihood_ratio(full: AcceleratedFit, reduced: AcceleratedFit) -> LikelihoodRatio:
    """Test by likelihood ratio whether a smaller fit of the same looks does as well.

    Parameters
    ----------
    full, reduced : AcceleratedFit
        Fits of one shape to the same looks.
    """
    df = len(full.coefficients) - len(reduced.coefficients)
    if df < 1 or full.shape != reduced.shape or full.units != reduced.units:
        raise ValueError("the second fit must have fewer columns, the same shape and units")
    statistic = max(0.0, 2 * (full.loglik - reduced.loglik))
    return LikelihoodRatio(statistic=statistic, df=df, p=float(chdtrc(df, statistic)))
