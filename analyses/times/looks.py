"""Between which two looks a stage was reached, bag by bag, from the days written down.

A day in the book is the day on which something was first seen, so it happened after the look
before. How far back that look lies is told by the plan (`looks`, in days or as a list of days);
where it is not, the largest step that fits all the days written is taken, and said so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.records import Records

__all__ = ["STAGES", "LookGap", "Stage", "look_gap", "stage_looks"]

Stage: TypeAlias = Literal["colonised", "first pins", "first flush picked"]
STAGES: tuple[Stage, ...] = ("colonised", "first pins", "first flush picked")

_COLUMN = {"colonised": "colonised", "first pins": "first_pins", "first flush picked": "picked"}
_LOST = ("contaminated", "lost otherwise")

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookGap:
    """How often the units were looked at.

    Parameters
    ----------
    days : int
        Days between looks; 0 where the days themselves are listed.
    listed : tuple of pandas.Timestamp
        The days, in order, where they are listed.
    told : bool
        Whether the plan says so; otherwise it is read off the days written down.
    """

    days: int
    listed: tuple[pd.Timestamp, ...] = ()
    told: bool = True

    @property
    def daily(self) -> bool:
        """Whether every day was a look, so that days are exact to the day."""
        steps = [(b - a).days for a, b in pairwise(self.listed)]
        return self.days == 1 or bool(steps and max(steps) == 1)

    def before(self, day: pd.Timestamp) -> pd.Timestamp | None:
        """Give the look before a day; None where there was none."""
        if not self.listed:
            return day - pd.Timedelta(days=self.days)
        return max((one for one in self.listed if one < day), default=None)


def look_gap(records: Records) -> LookGap:
    """Say how often the units were looked at.

    Parameters
    ----------
    records : Records

    Returns
    -------
    LookGap
        Where the plan is silent, the greatest common divisor of the gaps between the days on which
        a stage was first seen, at least 1.
    """
    told = records.trial.looks
    if isinstance(told, int):
        return LookGap(days=told)
    if told is not None:
        return LookGap(days=0, listed=tuple(pd.Timestamp(day) for day in told))
    columns = records.bags[["colonised", "first_pins"]]
    days = sorted({pd.Timestamp(day) for name in columns for day in columns[name].dropna()})
    gaps = [(later - sooner).days for sooner, later in pairwise(days)]
    return LookGap(days=max(1, math.gcd(*gaps)), told=False)


def stage_looks(records: Records, stage: Stage, gap: LookGap) -> pd.DataFrame:
    """Give the two looks between which each unit reached a stage.

    Parameters
    ----------
    records : Records
    stage : {"colonised", "first pins", "first flush picked"}
        The last is known to the day.
    gap : LookGap

    Returns
    -------
    pandas.DataFrame
        One row a unit with a known start (the day of spawning, or the start of the trial where
        that was not written). Columns code, treatment, block, batch (text), left and right (days
        since the start; right infinite where the stage was not seen), seen (whether its day was
        written). A lost unit is known to have lacked the stage until its loss; one of which only a
        later stage was written, to have had it by then.
    """
    bags = records.bags.copy()
    first = records.flushes[(records.flushes["flush"] == 1) & (records.flushes["grams"] > 0)]
    # Looked up by index: pandas cannot map by dates of which there are none, where all were lost.
    bags["picked"] = first.set_index("code")["date"].reindex(bags["code"]).to_numpy()
    start = pd.to_datetime(bags["spawned"])
    if records.trial.start is not None:
        start = start.fillna(pd.Timestamp(records.trial.start))
    bags["start"] = start
    begun = bags[bags["start"].notna()].reset_index(drop=True)
    frame = begun[["code", "treatment", "block", "batch"]].copy()
    left, right, seen = _between(begun, stage, gap, _last_day(records))
    return frame.assign(left=left, right=right, seen=seen)


def _last_day(records: Records) -> pd.Timestamp | None:
    dated = [records.bags[name] for name in ("colonised", "opened", "first_pins", "lost_on")]
    days = pd.concat([*dated, records.flushes["date"]]).dropna()
    return None if days.empty else pd.Timestamp(days.max())


def _between(
    bags: pd.DataFrame, stage: Stage, gap: LookGap, last: pd.Timestamp | None
) -> tuple[Array, Array, Flags]:
    """Give left, right and whether the day was written, for each unit."""
    start = pd.to_datetime(bags["start"])

    def since(day: pd.Series | pd.Timestamp | None) -> Array:
        """Count days from the start, never below 0; NaN where the day is not known."""
        if day is None:
            return np.full(len(start), np.nan)
        days = (pd.to_datetime(day) - start).dt.days.to_numpy(float)
        return np.asarray(np.maximum(days, 0.0))

    day = pd.to_datetime(bags[_COLUMN[stage]])
    seen = day.notna().to_numpy()
    right = np.maximum(since(day), 1.0)
    left = right
    if stage != "first flush picked":
        looked = {one: gap.before(one) for one in day.dropna().unique()}
        left = np.minimum(np.nan_to_num(since(day.map(looked))), right - 1)
    later = [since(bags[_COLUMN[one]]) for one in STAGES[STAGES.index(stage) + 1 :]]
    # A stage that came later bounds this one; without any, a unit lacked it while it was seen.
    known = np.fmin.reduce([np.full(len(start), np.nan), *later])
    lost = bags["fate"].isin(_LOST).to_numpy()
    going = (bags["fate"] == "still going").to_numpy()
    until = np.where(lost, since(bags["lost_on"]), np.where(going, since(last), 0.0))
    by_then = np.isfinite(known)
    unseen = np.where(by_then, 0.0, np.nan_to_num(until))
    end = np.where(by_then, np.maximum(known, 1.0), np.inf)
    return np.where(seen, left, unseen), np.where(seen, right, end), seen


def middle_days(frame: pd.DataFrame) -> np.ndarray:
    """Give the day where it is known to the day, else the middle between the looks; NaN unseen."""
    left, right = (frame[name].to_numpy(float) for name in ("left", "right"))
    right = np.where(np.isinf(right), np.nan, right)
    day = np.where(right - left <= 1, right, (left + right) / 2)
    return np.asarray(np.where(frame["seen"], day, np.nan))
