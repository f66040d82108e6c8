"""The ratio of two means of a fit, with Fieller's interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.fit import Fit
from analyses.models.linear.student import t_quantile

__all__ = ["Ratio", "fieller"]

_ROUNDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """A ratio of two means.

    Attributes
    ----------
    value, low, high : float
        The limits are infinite or NaN where the lower mean is not told from zero.
    bounded : bool
        Whether the interval is an ordinary one.
    """

    value: float
    low: float
    high: float
    bounded: bool


def fieller(fit: Fit, top: Array, bottom: Array, *, df: str, level: float = 0.95) -> Ratio:
    """Give the ratio of two linear functions of the coefficients with Fieller's interval.

    Parameters
    ----------
    fit : Fit
        Any model.
    top, bottom : array, shape (columns,)
        Rows of weights of the two means.
    df : str
        A df method that the model knows.
    level : float
        Confidence.

    Returns
    -------
    Ratio
        All ratios r for which top - r bottom is not told from zero. The degrees of freedom are
        those of top - r bottom at the limit itself, found by iteration from those of the
        difference.

    References
    ----------
    Fieller (1954), Some problems in interval estimation, J. R. Statist. Soc. B 16, 175-185.

    Notes
    -----
    With one common df this is Fieller's quadratic. In a mixed model the df of top - r bottom
    change with r, because between-block variation enters as r leaves 1.
    """
    rows = np.stack([top, bottom])
    upper, lower = (float(one) for one in rows @ fit.coefficients)
    covariance = rows @ fit.covariance_under(df) @ rows.T
    value = upper / lower if lower else math.nan
    limits = []
    for side in (0, 1):
        at = 1.0
        for _ in range(_ROUNDS):
            freedom = float(fit.df((top - at * bottom)[np.newaxis], df)[0])
            if not math.isfinite(freedom):
                return Ratio(value=value, low=math.nan, high=math.nan, bounded=False)
            t = float(t_quantile(0.5 + level / 2, freedom))
            found = _quadratic(upper, lower, covariance, t)
            if found is None:
                return Ratio(value=value, low=-math.inf, high=math.inf, bounded=False)
            before, at = at, found[side]
            if abs(at - before) <= 1e-12 * max(1.0, abs(at)):
                break
        limits.append(at)
    return Ratio(value=value, low=limits[0], high=limits[1], bounded=True)


def _quadratic(
    upper: float, lower: float, covariance: Array, t: float
) -> tuple[float, float] | None:
    """Solve (upper - r lower)^2 = t^2 var(upper - r lower) for r, or None when unbounded."""
    a = lower**2 - t**2 * covariance[1, 1]
    b = -2 * (upper * lower - t**2 * covariance[0, 1])
    c = upper**2 - t**2 * covariance[0, 0]
    inside = b * b - 4 * a * c
    if a <= 0 or inside < 0:
        return None
    root = math.sqrt(inside)
    return float((-b - root) / (2 * a)), float((-b + root) / (2 * a))
