"""Times known to the day: Kaplan-Meier curves and the stratified log-rank test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from analyses.models.counts.one_share import normal_quantile

__all__ = ["LogRank", "Scale", "SurvivalCurve", "check_times", "kaplan_meier", "log_rank"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Scale: TypeAlias = Literal["log-log", "log"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalCurve:
    """The share of units still without the event, day by day.

    Attributes
    ----------
    times : ndarray, shape (steps,)
        Days on which an event happened or a unit left, in order.
    at_risk, events : ndarray, shape (steps,)
        Units under watch just before, and events on, each day.
    survival, error, low, high : ndarray, shape (steps,)
        Share without the event after each day, Greenwood's standard error, and limits (nan where
        the curve has reached zero).
    level : float
        Two-sided confidence at each day by itself.
    median, median_low, median_high : float
        Day by which half had the event, and its limits; infinite where the curve does not get
        there.
    method : str
        The name of the curve and of its limits.
    """

    times: Array
    at_risk: Array
    events: Array
    survival: Array
    error: Array
    low: Array
    high: Array
    level: float
    median: float
    median_low: float
    median_high: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRank:
    """A log-rank test of groups, within strata if there are any.

    Attributes
    ----------
    groups : tuple
        Labels, in order.
    observed, expected : ndarray, shape (groups,)
        Events, and events expected if the groups did not differ.
    statistic, p : float
        Chi-squared statistic and p value; nan and 1 when nothing could differ.
    df : int
        Groups less one.
    strata : int
        How many strata.
    """

    groups: tuple[object, ...]
    observed: Array
    expected: Array
    statistic: float
    p: float
    df: int
    strata: int


def check_times(times: npt.ArrayLike, happened: npt.ArrayLike) -> tuple[Array, Flags]:
    """Give times and flags as arrays, or raise ValueError when they do not fit.

    Parameters
    ----------
    times : array_like, shape (n,)
        Day of the event, or the last day under watch.
    happened : array_like of bool, shape (n,)
        Whether the event happened on that day.
    """
    t, d = np.asarray(times, float), np.asarray(happened, bool)
    if t.ndim != 1 or t.shape != d.shape or len(t) == 0:
        raise ValueError(f"times {t.shape} and flags {d.shape} must be two equal rows")
    if not np.isfinite(t).all() or (t < 0).any():
        raise ValueError("times must be finite and not below zero")
    return t, d


def _counts(t: Array, d: Flags, steps: Array) -> tuple[Array, Array]:
    """Give units at risk and events at each of the steps."""
    at_risk = len(t) - np.searchsorted(np.sort(t), steps, side="left")
    ordered = np.sort(t[d])
    right = np.searchsorted(ordered, steps, side="right")
    events = right - np.searchsorted(ordered, steps, side="left")
    return at_risk.astype(float), events.astype(float)


def kaplan_meier(
    times: npt.ArrayLike,
    happened: npt.ArrayLike,
    level: float = 0.95,
    *,
    scale: Scale = "log-log",
) -> SurvivalCurve:
    """Give the Kaplan-Meier curve of one group.

    Parameters
    ----------
    times : array_like, shape (n,)
        Day of the event, or the last day under watch.
    happened : array_like of bool, shape (n,)
        Whether the event happened on that day.
    level : float
        Two-sided confidence at each day by itself.
    scale : {"log-log", "log"}
        Scale on which the limits are symmetric; log-log keeps them between 0 and 1 and holds its
        level better in small groups.

    Notes
    -----
    Kaplan & Meier (1958), JASA 53, 457-481; Greenwood's variance; log-log limits of Kalbfleisch &
    Prentice (1980); limits of the median by Brookmeyer & Crowley (1982), Biometrics 38, 29-41.
    statsmodels SurvfuncRight has the same curve but neither these limits nor the median's.

    Examples
    --------
    >>> curve = kaplan_meier([9, 13, 13, 18, 23], [True, True, False, True, False])
    >>> curve.survival.round(2).tolist(), curve.median
    ([0.8, 0.6, 0.3, 0.3], 18.0)
    """
    t, d = check_times(times, happened)
    steps = np.unique(t)
    at_risk, events = _counts(t, d, steps)
    survival: Array = np.cumprod(1 - events / at_risk, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.sqrt(np.cumsum(events / (at_risk * (at_risk - events)), dtype=float))
        error: Array = np.asarray(survival * relative, float)
        low, high = _limits(survival, relative, normal_quantile(level), scale)
    return SurvivalCurve(
        times=steps,
        at_risk=at_risk,
        events=events,
        survival=survival,
        error=error,
        low=low,
        high=high,
        level=level,
        median=_crossing(steps, survival),
        median_low=_crossing(steps, low),
        median_high=_crossing(steps, high),
        method=f"Kaplan-Meier, {scale} limits",
    )


def _limits(survival: Array, relative: Array, z: float, scale: Scale) -> tuple[Array, Array]:
    left = np.where(survival > 0, survival, np.nan)
    if scale == "log":
        return left * np.exp(-z * relative), np.minimum(1, left * np.exp(z * relative))
    factor = np.exp(z * relative / np.abs(np.log(left)))
    whole = survival == 1
    return np.where(whole, 1.0, left**factor), np.where(whole, 1.0, left ** (1 / factor))


def _crossing(steps: Array, curve: Array) -> float:
    """Give the day on which a curve falls to a half; halfway along a stretch at just a half."""
    down = np.flatnonzero(curve <= 0.5 + 1e-12)
    if down.size == 0:
        return float("inf")
    first = int(down[0])
    below = np.flatnonzero(curve < 0.5 - 1e-12)
    if abs(curve[first] - 0.5) <= 1e-12 and below.size:
        return float((steps[first] + steps[int(below[0])]) / 2)
    return float(steps[first])


def log_rank(
    times: npt.ArrayLike,
    happened: npt.ArrayLike,
    group: npt.ArrayLike,
    stratum: npt.ArrayLike | None = None,
) -> LogRank:
    """Test whether groups differ in the time to an event, within strata.

    Parameters
    ----------
    times : array_like, shape (n,)
        Day of the event, or the last day under watch.
    happened : array_like of bool, shape (n,)
        Whether the event happened on that day.
    group : array_like, shape (n,)
        Labels of the groups.
    stratum : array_like, shape (n,), optional
        Labels of the strata, e.g. blocks.

    Notes
    -----
    Mantel (1966), Cancer Chemother. Rep. 50, 163-170; stratified as in Kalbfleisch & Prentice
    (2002), section 1.5. statsmodels survdiff agrees.
    """
    t, d = check_times(times, happened)
    labels, place = np.unique(np.asarray(group), return_inverse=True)
    layer = np.zeros(len(t)) if stratum is None else np.asarray(stratum)
    k = len(labels)
    if k < 2:
        raise ValueError("a log-rank test needs at least two groups")
    layers = np.unique(layer)
    observed, expected, variance = np.zeros(k), np.zeros(k), np.zeros((k, k))
    for one in layers:
        inside = layer == one
        o, e, v = _one_stratum(t[inside], d[inside], place[inside], k)
        observed, expected, variance = observed + o, expected + e, variance + v
    off = (observed - expected)[:-1]
    held = variance[:-1, :-1]
    some = variance.any()
    # A group that is never at risk beside another has no variance and no say.
    statistic = float(off @ np.linalg.pinv(held, hermitian=True) @ off) if some else float("nan")
    return LogRank(
        groups=tuple(labels.tolist()),
        observed=observed,
        expected=expected,
        statistic=statistic,
        p=float(chdtrc(k - 1, statistic)) if some else 1.0,
        df=k - 1,
        strata=len(layers),
    )


def _one_stratum(
    t: Array, d: Flags, place: npt.NDArray[np.intp], k: int
) -> tuple[Array, Array, Array]:
    """Give observed and expected events and the hypergeometric variance of one stratum."""
    steps = np.unique(t[d])
    each = [_counts(t[place == g], d[place == g], steps) for g in range(k)]
    risk, events = (np.stack([one[part] for one in each], axis=1) for part in (0, 1))
    n, x = risk.sum(axis=1), events.sum(axis=1)
    share = risk / n[:, None]
    spread = x * (n - x) / np.maximum(n - 1, 1)
    variance = np.diag(spread @ share) - (share * spread[:, None]).T @ share
    return events.sum(axis=0), x @ share, variance
