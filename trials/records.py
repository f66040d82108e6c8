"""The records of a trial, checked: one row a unit, one row a picking."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import pandas as pd

from trials.layout import Layout
from trials.problems import Problem
from trials.trial import Trial

__all__ = ["FATES", "Fate", "Records"]

Fate: TypeAlias = Literal[
    "finished", "contaminated", "lost otherwise", "still going", "not recorded"
]
FATES: tuple[Fate, ...] = (
    "finished",
    "contaminated",
    "lost otherwise",
    "still going",
    "not recorded",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """What became of each unit.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    bags : pandas.DataFrame
        One row a unit of the layout, in its order. Columns: code, treatment, block, batch
        (text), position (whole number), fate (one of `FATES`), seen, note (text), dry_weight_g
        (grams, NaN unknown), spawned, colonised, opened, first_pins, lost_on (dates, NaT unknown),
        total_g (grams over all flushes; NaN where a flush that should be there is missing),
        missing_flushes (how many are missing).
    flushes : pandas.DataFrame
        One row a unit and planned flush. Columns: code, treatment, block, batch (text), flush
        (from 1), grams (NaN unless weighed), state (``weighed``, ``missing``, ``after loss``,
        ``not yet``), date (of the last picking of the flush, NaT unknown), bodies (NaN).
    doubts : tuple of Problem
        What is doubtful but did not stop the reading.
    sources : tuple of str
        Names of the files read.
    """

    trial: Trial
    layout: Layout
    bags: pd.DataFrame
    flushes: pd.DataFrame
    doubts: tuple[Problem, ...]
    sources: tuple[str, ...]
