"""Simulate the days on which a stage is first seen, at the looks of the plan."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from trials.assumptions import Assumptions
from trials.trial import Trial

__all__ = ["STAGES", "SimulatedDays", "draw_days", "first_day", "look_days"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Index: TypeAlias = npt.NDArray[np.intp]

STAGES = {"days to colonise": "colonised", "days to pins": "first pins"}
"""The heading in the record book that each outcome is read from."""

_NO_DATE = dt.date(2001, 1, 1)
_LONGEST = 730


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedDays:
    """Days since spawning, as written in the book, each of shape (units, trials).

    Parameters
    ----------
    seen : array
        The look at which the stage was first seen; NaN where it was not seen or not written.
    lost_on : array
        The look at which the unit was found lost; NaN where it was not.
    """

    seen: Array
    lost_on: Array


def first_day(trial: Trial) -> dt.date:
    """Give the day of spawning: the plan's, or any where it names none.

    Parameters
    ----------
    trial : Trial
    """
    return trial.start or _NO_DATE


def look_days(trial: Trial, assumptions: Assumptions) -> Array:
    """Give the days after spawning on which every unit is looked at.

    Parameters
    ----------
    trial : Trial
        Its looks; where it says none, as often as the assumptions say.
    assumptions : Assumptions
    """
    if isinstance(trial.looks, tuple):
        days = [(one - first_day(trial)).days for one in trial.looks]
        return np.array(sorted(one for one in days if one > 0), float)
    step = trial.looks or assumptions.look_every
    return np.arange(step, _LONGEST, step, dtype=float)


def draw_days(
    treatment: Index,
    block: Index,
    medians: tuple[float, ...],
    assumptions: Assumptions,
    looks: Array,
    lost: Flags,
    late: Flags,
    generator: np.random.Generator,
) -> SimulatedDays:
    """Draw the days of many trials.

    Parameters
    ----------
    treatment, block : array of int, shape (units,)
    medians : tuple of float
        Median days of each treatment, in an average block.
    assumptions : Assumptions
    looks : array, shape (looks,)
        Days on which every unit is looked at.
    lost, late : array of bool, shape (units, trials)
        Lost units, and those of them that were lost after the stage.
    generator : numpy.random.Generator

    Returns
    -------
    SimulatedDays
        Times are log-normal. A unit that is not lost late may be found lost at any look until
        half as long again as half of them take, each equally likely; if it had reached the stage
        by then, that was seen.
    """
    count, trials = lost.shape
    middle = np.asarray(medians)[treatment][:, None]
    logs = assumptions.cv_days * generator.standard_normal((count, trials))
    groups = int(block.max(initial=0)) + 1
    if groups > 1:
        logs += assumptions.cv_days_block * generator.standard_normal((groups, trials))[block]
    reached = _at_look(middle * np.exp(logs), looks)
    end = 1.5 * middle
    found = _at_look(np.where(late, 2 * end, end * generator.random((count, trials))), looks)
    lost_on = np.where(lost, found, np.nan)
    unwritten = generator.random((count, trials)) < assumptions.missing
    gone = lost & (found <= reached)
    return SimulatedDays(seen=np.where(gone | unwritten, np.nan, reached), lost_on=lost_on)


def _at_look(days: Array, looks: Array) -> Array:
    """Give the first look at or after each day; NaN where there is none."""
    place = np.searchsorted(looks, days)
    return np.where(place < len(looks), looks[np.minimum(place, len(looks) - 1)], np.nan)
