"""Judge the intervals of many simulated trials by the rules of `finding.judge`."""

from __future__ import annotations

import math
from typing import TypeAlias, get_args

import numpy as np
import numpy.typing as npt

from analyses.finding import BETTER_WHEN, Verdict
from analyses.rehearsing.fit import Limits
from trials.measures import grams, weight_unit
from trials.trial import Aim, Margin

__all__ = ["LEAST_MARGIN", "VERDICTS", "are_wrong", "judge_many", "margins"]

Array: TypeAlias = npt.NDArray[np.float64]
Codes: TypeAlias = npt.NDArray[np.int8]
Flags: TypeAlias = npt.NDArray[np.bool_]

VERDICTS: tuple[Verdict, ...] = get_args(Verdict)
"""The verdict words, by code."""

LEAST_MARGIN = 1e-6
"""A margin in per cent of the control that comes to less means nothing, as in `questions`."""

_SHOWN, _OPEN, _OUT, _UNSETTLED, _WITHHELD = range(5)


def margins(margin: Margin | None, control: Array) -> Array:
    """Turn a margin into the unit of the estimates.

    Parameters
    ----------
    margin : Margin or None
    control : array, shape (trials,)
        Mean of the control; a margin in per cent is of it.

    Returns
    -------
    array, shape (trials,)
        NaN where there is none, as where the control gave nothing.
    """
    if margin is None:
        return np.full(control.shape, math.nan)
    if margin.unit == "%":
        worth = margin.value / 100 * control
        return np.where(np.isfinite(worth) & (worth > LEAST_MARGIN), worth, math.nan)
    unit = weight_unit(margin.unit)
    return np.full(control.shape, margin.value if unit is None else grams(margin.value, unit))


def judge_many(limits: Limits, aim: Aim) -> Codes:
    """Give the verdict of every comparison in every trial.

    Parameters
    ----------
    limits : Limits
    aim : Aim
        The claim and the smallest difference worth having.

    Returns
    -------
    array of int, shape (challengers, trials)
        Places in `VERDICTS`.
    """
    low, high = limits.low, limits.high
    if BETTER_WHEN[aim.outcome] == "lower":
        low, high = -high, -low
    margin = np.broadcast_to(margins(aim.worthwhile, limits.control), low.shape)
    withheld = ~np.isfinite(limits.value) | np.isnan(low) | np.isnan(high)
    if aim.claim == "better":
        w = np.where(np.isnan(margin), 0.0, margin)
        shown = (low > 0) & (low >= w)
        out = (high < w) | (high <= 0)
        size_open = low > 0
    else:
        withheld = withheld | np.isnan(margin)
        size_open = np.zeros(low.shape, bool)
        if aim.claim == "no worse":
            shown, out = low > -margin, high < -margin
        else:
            shown = (-margin < low) & (high < margin)
            out = (low > margin) | (high < -margin)
    chosen = [withheld, shown, out, size_open]
    return np.select(chosen, [_WITHHELD, _SHOWN, _OUT, _OPEN], _UNSETTLED).astype(np.int8)


def are_wrong(codes: Codes, aim: Aim, truth: float, margin: float) -> Flags:
    """Say which verdicts claim what is not true.

    Parameters
    ----------
    codes : array of int
        From `judge_many`.
    aim : Aim
    truth : float
        The true difference, in the unit of the estimate.
    margin : float
        The true smallest difference worth having; NaN where there is none.
    """
    good = -truth if BETTER_WHEN[aim.outcome] == "lower" else truth
    # A truth that was set to the margin must not fall off it by the last bit.
    edge = 1e-9 * max(abs(good), abs(margin) if math.isfinite(margin) else 0.0)
    if aim.claim == "better":
        worth = margin if math.isfinite(margin) else 0.0
        true = {_SHOWN: good > 0 and good >= worth - edge, _OPEN: good > 0}
        true[_OUT] = good < worth - edge or good <= 0
    elif aim.claim == "no worse":
        true = {_SHOWN: good > -margin + edge, _OUT: good < -margin - edge}
    else:
        true = {_SHOWN: abs(good) < margin - edge, _OUT: abs(good) > margin + edge}
    false = [code for code, holds in true.items() if not holds]
    return np.asarray(np.isin(codes, false))
