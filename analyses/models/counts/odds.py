"""What a logistic fit with clusters says: odds with small-sample t, correlations, shares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, expit, stdtr, stdtrit

from analyses.models.counts.one_share import check_level
from analyses.models.counts.random_intercept import RandomInterceptFit

__all__ = [
    "NestedTest",
    "OddsContrast",
    "compare_nested",
    "latent_correlation",
    "marginal_share",
    "odds_contrast",
    "share_correlation",
]

Array: TypeAlias = npt.NDArray[np.float64]

_NODES = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class OddsContrast:
    """A contrast of log odds with its t interval.

    Attributes
    ----------
    value, error, low, high : float
        On the log odds scale; nan when no degrees of freedom are left.
    df : float
        Between-within degrees of freedom.
    t, p : float
        Statistic and two-sided p value of no difference.
    level : float
        Two-sided confidence.
    method : str
        How the inference was made.
    """

    value: float
    error: float
    df: float
    t: float
    p: float
    low: float
    high: float
    level: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NestedTest:
    """A likelihood ratio test of a fit against a smaller one.

    Attributes
    ----------
    statistic : float
        Chi-squared statistic.
    df : int
        Coefficients that the smaller fit lacks.
    p : float
        p value, from many clusters; with few, the t of `odds_contrast` is the safer one.
    method : str
        The name of the test.
    """

    statistic: float
    df: int
    p: float
    method: str


def odds_contrast(
    fit: RandomInterceptFit, weights: npt.ArrayLike, level: float = 0.95
) -> OddsContrast:
    """Give a contrast of coefficients with a t interval on between-within degrees of freedom.

    Parameters
    ----------
    fit : RandomInterceptFit
    weights : array_like, shape (p,)
        The contrast. Where it mixes columns with different degrees of freedom it takes the fewest.
    level : float
        Two-sided confidence.

    Notes
    -----
    Li & Redden (2015), BMC Med. Res. Methodol. 15:38: with few clusters the t on between-within
    degrees of freedom keeps the error rate where the normal does not.
    """
    row = np.asarray(weights, float)
    value = float(row @ fit.coefficients)
    error = float(np.sqrt(row @ fit.covariance @ row))
    df = float(fit.df[row != 0].min())
    if df > 0:
        t = value / error
        half = float(stdtrit(df, 1 - (1 - check_level(level)) / 2)) * error
        p = float(2 * stdtr(df, -abs(t)))
    else:
        t = half = p = float("nan")
    return OddsContrast(
        value=value,
        error=error,
        df=df,
        t=t,
        p=p,
        low=value - half,
        high=value + half,
        level=level,
        method="random intercept logistic, t on between-within degrees of freedom",
    )


def compare_nested(full: RandomInterceptFit, reduced: RandomInterceptFit) -> NestedTest:
    """Test by likelihood ratio whether a smaller fit of the same data does as well.

    Parameters
    ----------
    full, reduced : RandomInterceptFit
        Fits with a random intercept of the same rows; the columns of the second lie in those of
        the first.
    """
    df = len(full.coefficients) - len(reduced.coefficients)
    if df < 1 or full.units != reduced.units:
        raise ValueError("the second fit must have fewer columns and the same units")
    statistic = max(0.0, 2 * (full.loglik - reduced.loglik))
    p = float(chdtrc(df, statistic))
    return NestedTest(statistic=statistic, df=df, p=p, method="likelihood ratio")


def latent_correlation(fit: RandomInterceptFit) -> float:
    """Give the intracluster correlation on the log odds scale, between 0 and 1.

    Parameters
    ----------
    fit : RandomInterceptFit

    Notes
    -----
    The logistic error has variance pi^2 / 3; Snijders & Bosker (2012), Multilevel Analysis, 2nd
    ed., section 17.3.2.
    """
    return fit.sigma**2 / (fit.sigma**2 + np.pi**2 / 3)


def _shares(fit: RandomInterceptFit, row: npt.ArrayLike) -> tuple[Array, Array]:
    points, weights = np.polynomial.hermite.hermgauss(_NODES)
    eta = float(np.asarray(row, float) @ fit.coefficients)
    return expit(eta + fit.sigma * np.sqrt(2) * points), weights / np.sqrt(np.pi)


def marginal_share(fit: RandomInterceptFit, row: npt.ArrayLike) -> float:
    """Give the share of units with the event, averaged over clusters.

    Parameters
    ----------
    fit : RandomInterceptFit
    row : array_like, shape (p,)
        A row of the design.
    """
    share, weight = _shares(fit, row)
    return float(weight @ share)


def share_correlation(fit: RandomInterceptFit, row: npt.ArrayLike) -> float:
    """Give the intracluster correlation on the scale of the shares, between 0 and 1.

    Parameters
    ----------
    fit : RandomInterceptFit
    row : array_like, shape (p,)
        A row of the design: the correlation depends on how common the event is.

    Notes
    -----
    Variance of the clusters' shares over that of a unit; Goldstein, Browne & Rasbash (2002),
    Understanding Statistics 1, 223-231, by quadrature.
    """
    share, weight = _shares(fit, row)
    mean = float(weight @ share)
    return float(weight @ (share - mean) ** 2) / (mean * (1 - mean))
