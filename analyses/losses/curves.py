"""Losses over time: the share of units lost by each day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.models.times.known_times import kaplan_meier, log_rank
from trials.records import Records

__all__ = ["LossCurve", "followed_days", "log_rank_p", "loss_curve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LossCurve:
    """The share of one treatment's units lost to contamination by each day.

    Parameters
    ----------
    treatment : str
        Its code.
    units : int
        Units followed from the start.
    days : tuple of float
        Days since the spawn went in, on which a unit was lost or left.
    lost : tuple of float
        Share lost by the end of each day, 0 to 1 (Kaplan & Meier 1958).
    low, high : tuple of float
        Limits at each day by itself; NaN where batches are what counts.
    left : tuple of float
        Days on which units left without being contaminated, one entry a unit.
    last : float
        The last day on which a unit was followed.
    """

    treatment: str
    units: int
    days: tuple[float, ...]
    lost: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    left: tuple[float, ...]
    last: float


def _last_days(records: Records) -> pd.Series:
    """Give the last day on which each unit was picked."""
    picked = records.flushes[records.flushes["grams"].notna()]
    last = picked.groupby("code")["date"].max()
    days = last.reindex(records.bags["code"]).astype("datetime64[ns]")
    return days.set_axis(records.bags.index)


def followed_days(records: Records, known: pd.DataFrame) -> pd.DataFrame:
    """Give the days for which each unit was followed.

    Parameters
    ----------
    records : Records
    known : pandas.DataFrame
        As `loss_table.known_fates` gives it.

    Returns
    -------
    pandas.DataFrame
        Columns treatment, block, lost, and days: from the day the spawn went in (the start of the
        trial where it is blank) to loss, to the last picking of a finished unit, or to the last
        day in the records; NaN unknown.
    """
    start = known["spawned"].astype("datetime64[ns]")
    if records.trial.start is not None:
        start = start.fillna(pd.Timestamp(records.trial.start))
    lost_on = known["lost_on"].astype("datetime64[ns]")
    last_picked = _last_days(records).loc[known.index]
    latest = pd.concat([lost_on, last_picked]).max()
    end = last_picked.fillna(latest).where(known["fate"] == "finished", latest)
    gone = known["fate"].isin(["contaminated", "lost otherwise"])
    end = lost_on.where(gone, end)
    days = (end - start).dt.days.astype(float)
    return known[["treatment", "block", "lost"]].assign(days=days.where(days >= 0))


def loss_curve(code: str, mine: pd.DataFrame, level: float, *, limits: bool) -> LossCurve:
    """Give the share lost by each day, units that left otherwise taken as followed until then.

    Parameters
    ----------
    code : str
        Of the treatment.
    mine : pandas.DataFrame
        Its units, as `followed_days` gives them, with known days.
    level : float
        Confidence at each day by itself.
    limits : bool
        Whether units are lost one by one, so that limits hold.

    Notes
    -----
    Kaplan & Meier (1958), JASA 53, 457-481.
    """
    curve = kaplan_meier(mine["days"], mine["lost"], level)
    low, high = 1 - curve.high, 1 - curve.low
    nothing = np.full_like(curve.times, np.nan)
    return LossCurve(
        treatment=code,
        units=len(mine),
        days=tuple(curve.times.tolist()),
        lost=tuple((1 - curve.survival).tolist()),
        low=tuple((low if limits else nothing).tolist()),
        high=tuple((high if limits else nothing).tolist()),
        left=tuple(sorted(mine.loc[~mine["lost"], "days"].tolist())),
        last=float(mine["days"].max()),
    )


def log_rank_p(records: Records, followed: pd.DataFrame) -> float:
    """Test whether treatments lose units at the same pace, within blocks.

    Parameters
    ----------
    records : Records
    followed : pandas.DataFrame
        As `followed_days` gives it, with known days.

    Notes
    -----
    Mantel (1966), Cancer Chemother. Rep. 50, 163-170.
    """
    blocked = records.layout.randomisation.endswith("within blocks")
    return log_rank(
        followed["days"], followed["lost"], followed["treatment"],
        followed["block"] if blocked else None,
    ).p  # fmt: skip
