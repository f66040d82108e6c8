"""Shares and means over rehearsed trials, each with its Monte-Carlo standard error."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.finding import BETTER_WHEN
from analyses.rehearsing.fit import Limits
from trials.trial import Trial

__all__ = ["coverage_of", "mean_width", "rate", "rate_of_errors"]

Array: TypeAlias = npt.NDArray[np.float64]


def rate(each: npt.NDArray[np.bool_] | Array) -> tuple[float, float]:
    """Give the mean over trials and its standard error; comparisons of a trial hang together.

    Parameters
    ----------
    each : array, shape (trials,) or (challengers, trials)
    """
    by_trial = np.asarray(each, float)
    by_trial = by_trial.mean(axis=0) if by_trial.ndim > 1 else by_trial
    return float(by_trial.mean()), float(by_trial.std(ddof=1) / math.sqrt(len(by_trial)))


def mean_width(limits: Limits) -> tuple[float, float]:
    """Give the mean width over the trials that have an interval.

    Parameters
    ----------
    limits : Limits
    """
    wide = limits.high - limits.low
    known = np.isfinite(wide).all(axis=0)
    return rate(wide[:, known]) if known.sum() > 1 else (math.nan, math.nan)


def coverage_of(limits: Limits, truth: float) -> tuple[float, float]:
    """Give the share of trials, among those with intervals, in which all hold the truth.

    Parameters
    ----------
    limits : Limits
    truth : float
        In the unit of the estimates.
    """
    known = np.isfinite(limits.low + limits.high).all(axis=0)
    # A truth on the border of what is possible is held by a limit that stands on it.
    edge = 1e-9 * max(1.0, abs(truth))
    held = (limits.low <= truth + edge) & (truth - edge <= limits.high)
    return rate(np.all(held, axis=0)[known]) if known.sum() > 1 else (math.nan, math.nan)


def rate_of_errors(
    limits: Limits, codes: npt.NDArray[np.int8], trial: Trial
) -> tuple[float, float]:
    """Give the share of trials that find what is not there, in the world where it is not.

    Parameters
    ----------
    limits : Limits
    codes : array of int, shape (challengers, trials)
        Verdicts, by place.
    trial : Trial
        For "better" any interval clear of nothing is an error, for the others the claim itself.
    """
    if trial.aim.claim != "better":
        return rate((codes == 0).any(axis=0))
    low, high = limits.low, limits.high
    if BETTER_WHEN[trial.aim.outcome] == "lower":
        low, high = -high, -low
    return rate(np.any((low > 0) | (high < 0), axis=0))
