"""Pool estimates of several trials: fixed and random effects, and what one more trial may show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtr, ndtri, stdtr, stdtrit

from analyses.models.counts.one_share import check_level
from analyses.models.trials_together.heterogeneity import (
    Spread,
    between_variance,
    q_profile,
    q_statistic,
    weighed,
)

__all__ = ["Inference", "PartlyPooled", "PooledEffect", "chance_above", "partly_pooled", "pool"]

Array: TypeAlias = npt.NDArray[np.float64]
Inference: TypeAlias = Literal["hartung-knapp", "normal"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledEffect:
    """The effect common to, or on average over, several trials.

    Attributes
    ----------
    value, error, low, high : float
        The pooled effect, its standard error and limits, in the unit of the estimates.
    level : float
        Two-sided confidence, also of the other intervals here.
    df : float
        Degrees of freedom of the t distribution; infinite for the normal.
    statistic, p : float
        Statistic of no effect and its two-sided p value.
    tau2, tau2_low, tau2_high : float
        Variance of the effect between trials with its Q-profile limits, unit squared.
    q, q_p : float
        Cochran's Q and its p value.
    i2, h2 : float
        Share of the spread that is not chance, in percent; and total over within spread.
    predict_low, predict_high : float
        What the effect in one more trial should be expected to lie between.
    trials : int
        How many were pooled.
    spread : {"FE", "DL", "PM", "ML", "REML"}
        How the variance between trials was estimated; FE holds it at zero.
    inference : {"hartung-knapp", "normal"}
        How the standard error and the limits were made.
    """

    value: float
    error: float
    low: float
    high: float
    level: float
    df: float
    statistic: float
    p: float
    tau2: float
    tau2_low: float
    tau2_high: float
    q: float
    q_p: float
    i2: float
    h2: float
    predict_low: float
    predict_high: float
    trials: int
    spread: Spread
    inference: Inference


@dataclass(frozen=True, slots=True, kw_only=True)
class PartlyPooled:
    """Each trial's effect drawn towards the average of all.

    Attributes
    ----------
    values, errors, lows, highs : ndarray, shape (trials,)
        Best predictions, their standard errors and normal limits, in the unit of the estimates.
    own_share : ndarray, shape (trials,)
        How much of each prediction is the trial's own estimate, between 0 and 1.
    """

    values: Array
    errors: Array
    lows: Array
    highs: Array
    own_share: Array


def _check(estimates: npt.ArrayLike, variances: npt.ArrayLike) -> tuple[Array, Array]:
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    if y.ndim != 1 or y.shape != v.shape:
        raise ValueError(f"estimates {y.shape} and variances {v.shape} must be two equal rows")
    if len(y) < 2:
        raise ValueError("pooling needs at least two trials")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise ValueError("each trial needs a finite estimate and a variance above zero")
    return y, v


def _quantile(level: float, df: float) -> float:
    tail = (1 - check_level(level)) / 2
    return float(-ndtri(tail)) if np.isinf(df) else float(-stdtrit(df, tail))


def _standard_error(
    y: Array, v: Array, tau2: float, inference: Inference, at_least_fixed: bool
) -> float:
    weight, mean = weighed(y, v, np.asarray(tau2))
    error = float(1 / np.sqrt(weight.sum()))
    if inference == "normal":
        return error
    scale = float((weight * (y - mean) ** 2).sum() / (len(y) - 1))
    return error * float(np.sqrt(max(scale, 1.0) if at_least_fixed else scale))


def pool(
    estimates: npt.ArrayLike,
    variances: npt.ArrayLike,
    *,
    spread: Spread = "REML",
    inference: Inference = "hartung-knapp",
    level: float = 0.95,
    at_least_fixed: bool = False,
) -> PooledEffect:
    """Pool the estimates of several trials.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error.
    spread : {"FE", "DL", "PM", "ML", "REML"}
        How the variance between trials is estimated (`between_variance`).
    inference : {"hartung-knapp", "normal"}
        Hartung & Knapp (2001), Statist. Med. 20, 3875-3889: the standard error from the weighted
        spread of the estimates and t on trials less one; or the normal approximation.
    level : float
        Two-sided confidence.
    at_least_fixed : bool
        Never let the spread of the estimates make the Hartung-Knapp error smaller than chance
        alone would (Knapp & Hartung 2003, Statist. Med. 22, 2693-2710).

    Notes
    -----
    Prediction interval of Higgins, Thompson & Spiegelhalter (2009), JRSS A 172, 137-159, with t on
    trials less one (normal with the normal inference). I2 and H2 by Higgins & Thompson (2002),
    Statist. Med. 21, 1539-1558, at the estimated variance. statsmodels 0.15 combine_effects has
    FE, DL, PM and Hartung-Knapp and agrees; it lacks REML, the Q-profile and the prediction
    interval, and takes 0.4 s to import.

    Examples
    --------
    >>> found = pool([0.2, 0.5, 0.1, 0.4], [0.01, 0.02, 0.015, 0.012])
    >>> round(found.value, 2), found.trials
    (0.29, 4)
    """
    y, v = _check(estimates, variances)
    k = len(y)
    tau2 = float(between_variance(y, v, spread))
    value = float(weighed(y, v, np.asarray(tau2))[1])
    error = _standard_error(y, v, tau2, inference, at_least_fixed)
    df = float("inf") if inference == "normal" else k - 1.0
    reach = _quantile(level, df)
    ahead = reach * float(np.sqrt(error**2 + tau2))
    statistic = value / error if error > 0 else float("nan")
    tail = ndtr(-abs(statistic)) if np.isinf(df) else stdtr(df, -abs(statistic))
    q = float(q_statistic(y, v, np.asarray(0.0)))
    low, high = q_profile(y, v, level)
    i2, h2 = _relative(v, tau2, q, spread)
    return PooledEffect(
        value=value,
        error=error,
        low=value - reach * error,
        high=value + reach * error,
        level=level,
        df=df,
        statistic=statistic,
        p=float(2 * tail),
        tau2=tau2,
        tau2_low=float(low),
        tau2_high=float(high),
        q=q,
        q_p=float(chdtrc(k - 1, q)),
        i2=i2,
        h2=h2,
        predict_low=value - ahead,
        predict_high=value + ahead,
        trials=k,
        spread=spread,
        inference=inference,
    )


def _relative(v: Array, tau2: float, q: float, spread: Spread) -> tuple[float, float]:
    """Give I2 in percent and H2, against the typical variance within trials."""
    k, w = len(v), 1 / v
    if spread == "FE":
        h2 = q / (k - 1)
        return max(0.0, 100 * (1 - 1 / h2)) if h2 > 0 else 0.0, h2
    typical = float((k - 1) * w.sum() / (w.sum() ** 2 - (w**2).sum()))
    return 100 * tau2 / (tau2 + typical), 1 + tau2 / typical


def partly_pooled(
    estimates: npt.ArrayLike, variances: npt.ArrayLike, pooled: PooledEffect
) -> PartlyPooled:
    """Give each trial's effect drawn towards the pooled one, the less so the surer its own is.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        The data that were pooled.
    pooled : PooledEffect

    Notes
    -----
    Empirical Bayes prediction with the error of the pooled effect carried along: Raudenbush & Bryk
    (1985), J. Educ. Statist. 10, 75-98.
    """
    y, v = _check(estimates, variances)
    own = pooled.tau2 / (pooled.tau2 + v)
    values = own * y + (1 - own) * pooled.value
    weight, _ = weighed(y, v, np.asarray(pooled.tau2))
    errors = np.sqrt(own * v + (1 - own) ** 2 / weight.sum())
    reach = _quantile(pooled.level, float("inf"))
    return PartlyPooled(
        values=values,
        errors=errors,
        lows=values - reach * errors,
        highs=values + reach * errors,
        own_share=own,
    )


def chance_above(pooled: PooledEffect, threshold: float) -> float:
    """Give the chance that the effect in one more trial exceeds a threshold.

    Parameters
    ----------
    pooled : PooledEffect
    threshold : float
        In the unit of the estimates, e.g. the smallest difference worth having.

    Notes
    -----
    The predictive distribution behind the prediction interval (Higgins, Thompson & Spiegelhalter
    2009).
    """
    width = float(np.sqrt(pooled.error**2 + pooled.tau2))
    if width == 0:
        return float(pooled.value > threshold)
    away = (pooled.value - threshold) / width
    return float(ndtr(away) if np.isinf(pooled.df) else stdtr(pooled.df, away))
