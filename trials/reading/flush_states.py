"""What a blank means: not weighed, after loss, not yet or not picked; and the totals that follow.

0 g means looked and nothing there. A blank before a unit was lost is missing; a blank after it is
not applicable; a blank of a unit that still stands, with nothing later, is not yet. A planned
flush that was weighed on no unit at all is not picked: picking had stopped for all.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal, TypeAlias

import numpy as np
import pandas as pd

from trials.problems import Problem
from trials.reading.bag_rows import DATE_FIELDS, BagRow
from trials.trial import Trial

__all__ = ["FlushState", "bag_frame", "flush_frame", "last_flush", "settle_fates"]

FlushState: TypeAlias = Literal["weighed", "missing", "after loss", "not yet", "not picked"]
_MOST_SINGLY = 5
_WRITE_FATE = "Write finished, contaminated, lost otherwise or still going."
_LOST = ("contaminated", "lost otherwise")


def last_flush(bags: list[BagRow], trial: Trial) -> int:
    """Give the last flush that was weighed on any unit; where nothing was, the last one planned.

    Parameters
    ----------
    bags : list of BagRow
    trial : Trial
    """
    return max((flush for bag in bags for flush in bag.weights), default=trial.flushes)


def settle_fates(bags: list[BagRow], trial: Trial, file: str, problems: list[Problem]) -> None:
    """Give every unit a fate; what had to be inferred is told as a doubt.

    Parameters
    ----------
    bags : list of BagRow
        A blank fate becomes ``finished`` when every flush was weighed, else ``not recorded``.
    trial : Trial
    file : str
        For messages.
    problems : list of Problem
        Where doubts are added.
    """
    last, silent = last_flush(bags, trial), []
    for bag in bags:
        if bag.fate:
            continue
        whole = len(bag.weights) == last
        bag.fate = "finished" if whole else "not recorded"
        if "fate" in bag.unread:  # told already, as a mistake
            continue
        if whole:
            what = "the fate is blank; every flush is weighed, so it counts as finished"
            problems.append(_doubt(bag, what, "", file))
        elif bag.weights:
            problems.append(_doubt(bag, "the fate is blank", _WRITE_FATE, file))
        else:
            silent.append(bag)
    problems.extend(_silence(silent, file))


def _doubt(bag: BagRow, what: str, mend: str, file: str) -> Problem:
    return Problem(
        file=file, row=bag.row, column="fate", what=f"{bag.slot.code}: {what}", mend=mend,
        weight="doubt",
    )  # fmt: skip


def _silence(bags: list[BagRow], file: str) -> list[Problem]:
    """Tell of units without a word about their end: one by one if few, else in one line."""
    if len(bags) <= _MOST_SINGLY:
        return [_doubt(bag, "nothing is written about its end", _WRITE_FATE, file) for bag in bags]
    shown = ", ".join(bag.slot.code for bag in bags[:_MOST_SINGLY])
    what = f"{shown} and {len(bags) - _MOST_SINGLY} more: nothing is written about their end"
    return [Problem(file=file, column="fate", what=what, mend=_WRITE_FATE, weight="doubt")]


def flush_frame(
    bags: list[BagRow], trial: Trial, file: str, problems: list[Problem]
) -> pd.DataFrame:
    """Give one row a unit and planned flush, with what a blank means.

    Parameters
    ----------
    bags : list of BagRow
        With settled fates, in the order of the layout.
    trial : Trial
    file : str
        For messages.
    problems : list of Problem
        Where a doubt is added for each missing weight.

    Returns
    -------
    pandas.DataFrame
        As `Records.flushes`.
    """
    latest, last = _latest_days(bags), last_flush(bags, trial)
    if last < trial.flushes:
        problems.append(_stopped(last, trial, file))
    rows = []
    for bag in bags:
        for flush in range(1, trial.flushes + 1):
            state = _state(bag, flush, latest, last)
            if state == "missing" and bag.fate != "not recorded":
                _tell_missing(bag, flush, file, problems)
            rows.append(
                (
                    bag.slot.code,
                    bag.slot.treatment,
                    bag.slot.block,
                    bag.slot.batch,
                    flush,
                    bag.weights.get(flush, np.nan),
                    state,
                    bag.picked.get(flush),
                    bag.bodies.get(flush, np.nan),
                    bag.minutes.get(flush, np.nan),
                )
            )
    names = ["code", "treatment", "block", "batch", "flush", "grams", "state", "date"]
    frame = pd.DataFrame(rows, columns=[*names, "bodies", "minutes"])
    kinds = {"flush": "int64", "grams": "float64", "date": "datetime64[ns]",
             "bodies": "float64", "minutes": "float64"}  # fmt: skip
    return frame.astype(kinds)


def _latest_days(bags: list[BagRow]) -> dict[int, dt.date]:
    """Give the last day on which anyone picked each flush."""
    latest: dict[int, dt.date] = {}
    for bag in bags:
        for flush, day in bag.picked.items():
            if flush in bag.weights:
                latest[flush] = max(latest.get(flush, day), day)
    return latest


def _stopped(last: int, trial: Trial, file: str) -> Problem:
    what = f"{trial.flushes} flushes were planned and none after flush {last} was weighed"
    mend = "It counts as picking stopped for all; if you looked and nothing came, write 0."
    return Problem(file=file, column=f"flush {last + 1}", what=what, mend=mend, weight="doubt")


def _state(bag: BagRow, flush: int, latest: dict[int, dt.date], last: int) -> FlushState:
    if flush in bag.weights:
        return "weighed"
    if any(later > flush for later in bag.weights):
        return "missing"
    if bag.fate in _LOST:
        lost_on = bag.days.get("lost on")
        passed = lost_on is not None and flush in latest and lost_on > latest[flush]
        return "missing" if passed else "after loss"
    if flush > last and bag.fate == "finished":
        return "not picked"
    return "not yet" if bag.fate == "still going" else "missing"


def _tell_missing(bag: BagRow, flush: int, file: str, problems: list[Problem]) -> None:
    what = f"{bag.slot.code}: flush {flush} is blank, so its total is not known"
    mend = "Write the weight if you have it, or 0 if you looked and there was nothing."
    problems.append(
        Problem(
            file=file, row=bag.row, column=f"flush {flush}", what=what, mend=mend, weight="doubt"
        )
    )


def bag_frame(bags: list[BagRow], flushes: pd.DataFrame) -> pd.DataFrame:
    """Give one row a unit of the layout, in its order.

    Parameters
    ----------
    bags : list of BagRow
        In the order of the layout, with settled fates.
    flushes : pandas.DataFrame
        As `flush_frame` gives it.

    Returns
    -------
    pandas.DataFrame
        As `Records.bags`.
    """
    frame = pd.DataFrame(
        {
            "code": [bag.slot.code for bag in bags],
            "treatment": [bag.slot.treatment for bag in bags],
            "block": [bag.slot.block for bag in bags],
            "batch": [bag.slot.batch for bag in bags],
            "row": [bag.slot.row for bag in bags],
            "column": [bag.slot.column for bag in bags],
            "position": [bag.slot.position for bag in bags],
            "fate": [bag.fate for bag in bags],
            "seen": [bag.seen for bag in bags],
            "note": [bag.note for bag in bags],
            "dry_weight_g": [
                np.nan if bag.dry_weight_g is None else bag.dry_weight_g for bag in bags
            ],
        }
    )
    for heading, name in DATE_FIELDS.items():
        frame[name] = pd.Series([bag.days.get(heading) for bag in bags], dtype="datetime64[ns]")
    per_bag = len(flushes) // max(len(bags), 1)
    grams = flushes["grams"].to_numpy().reshape(len(bags), per_bag)
    state = flushes["state"].to_numpy().reshape(len(bags), per_bag)
    missing = (state == "missing").sum(axis=1)
    open_end = (state == "not yet").any(axis=1)
    frame["total_g"] = np.where((missing > 0) | open_end, np.nan, np.nansum(grams, axis=1))
    frame["missing_flushes"] = missing
    return frame
