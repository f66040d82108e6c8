"""What was planned told from what was explored."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from trials.lock import changes
from trials.records import Records
from trials.trial import Outcome

__all__ = ["ASKED", "first_result", "why_explored"]

ASKED = {"flush drop": "how fast the flushes fall"}
"""What a plan asks about, in words, where the name of the outcome does not say it."""


def why_explored(records: Records, outcome: Outcome, *, main: bool) -> str:
    """Say why an analysis counts as explored; empty when it was planned.

    Parameters
    ----------
    records : Records
    outcome : str
        What is analysed.
    main : bool
        Whether over the units that the plan's answer is about (all that were started).

    Returns
    -------
    str
        A clause such as ``the plan asked about contamination``.
    """
    aim = records.trial.aim.outcome
    if outcome != aim:
        return f"the plan asked about {ASKED.get(aim, aim)}"
    if records.lock is None:
        return "no locked plan shows what was decided before the first bag"
    if any(part == "aim" for part, _ in changes(records.lock, records.trial)):
        return "the aim was changed after the draw"
    first = first_result(records)
    drawn = records.lock.drawn.date()
    if first is not None and drawn > first:
        return f"the plan was locked on {drawn}, after the first result on {first}"
    if not main:
        return "the plan's answer is per bag started, and this one leaves losses out"
    return ""


def first_result(records: Records) -> dt.date | None:
    """Give the first day on which something was picked or lost, or None.

    Parameters
    ----------
    records : Records

    Returns
    -------
    datetime.date or None
    """
    weighed = records.flushes["grams"].notna()
    days = pd.concat([records.flushes.loc[weighed, "date"], records.bags["lost_on"]]).dropna()
    return None if days.empty else pd.Timestamp(days.min()).date()
