"""Whether the place of a unit tells what it gave: a trend from block to block, or along them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analyses.models.linear.arrays import FitError
from analyses.unit import UnitStory
from analyses.yields import FRUITED, yield_sample
from trials.records import Records

__all__ = ["PlaceStory", "PlaceTrend", "place_story"]

FEWEST_STEPS = 3
"""Blocks, or places along a block, that a trend needs: two points always lie on a line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceTrend:
    """How the weight changes in one direction, treatments taken out.

    Parameters
    ----------
    along : {"blocks", "places"}
        From block to block in the order of the layout, or along the places of a block.
    steps : int
        Blocks, or places.
    slope_g, low_g, high_g : float
        Grams a step, with the interval of this slope by itself (Kenward & Roger 1997).
    df : float
        Its degrees of freedom; of the blocks' own where it runs from block to block.
    p : float
        Two-sided, for no trend.
    p_holm : float
        The same, adjusted for the directions looked at (Holm 1979).
    clear : bool
        Whether the adjusted p is below one less the plan's confidence.
    """

    along: str
    steps: int
    slope_g: float
    low_g: float
    high_g: float
    df: float
    p: float
    p_holm: float
    clear: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceStory:
    """What the places tell.

    Parameters
    ----------
    trends : tuple of PlaceTrend
        Those that could be looked at.
    left_g : dict of str to float
        By unit code: grams more than the other units of its treatment gave on average; units
        that were lost, or whose total is unknown, are left out.
    """

    trends: tuple[PlaceTrend, ...]
    left_g: dict[str, float]

    @property
    def clear(self) -> tuple[PlaceTrend, ...]:
        """The trends that stand out."""
        return tuple(one for one in self.trends if one.clear)


def place_story(records: Records, unit: UnitStory) -> PlaceStory:
    """Look for a trend over the places, in the units that fruited.

    Parameters
    ----------
    records : Records
    unit : UnitStory

    Returns
    -------
    PlaceStory
        The model is treatment + block number + place number with the random terms of the design,
        so that a trend from block to block is held against the differences between blocks and not
        against those between units.
    """
    sample = yield_sample(records, unit, FRUITED)
    frame = sample.frame.assign(
        code=records.bags["code"],
        blocks=_numbered(records.bags["block"], records.layout.blocks),
        places=records.bags["position"].astype(float),
    )
    middle = frame.groupby("treatment")["response"].transform("mean")
    left = dict(zip(frame["code"], (frame["response"] - middle).astype(float), strict=True))
    level = records.trial.aim.confidence
    return PlaceStory(trends=_trends(frame, sample.random, level), left_g=left)


def _numbered(names: pd.Series, order: tuple[str, ...]) -> pd.Series:
    return names.map({name: float(place) for place, name in enumerate(order, start=1)})


def _trends(frame: pd.DataFrame, random: tuple[str, ...], level: float) -> tuple[PlaceTrend, ...]:
    """Fit both directions at once; none where the rows cannot carry them."""
    from analyses.models.mixed import fit_mixed

    along = [one for one in ("blocks", "places") if frame[one].nunique() >= FEWEST_STEPS]
    several = frame["treatment"].nunique() > 1
    if not along or len(frame) < FEWEST_STEPS + len(along) + frame["treatment"].nunique():
        return ()
    fixed = " + ".join([*(["treatment"] if several else []), *along])
    try:
        fit = fit_mixed(frame, "response", fixed, list(random))
        found = [_trend(fit.slopes(one, confidence=level).iloc[0], frame, one) for one in along]
    except FitError:
        return ()
    usable = [one for one in found if np.isfinite(one.p)]
    return _with_holm(usable, 1 - level)


def _trend(row: pd.Series, frame: pd.DataFrame, along: str) -> PlaceTrend:
    from scipy.special import stdtr

    p = 2 * float(stdtr(row["df"], -abs(row["slope"] / row["se"])))
    return PlaceTrend(
        along=along, steps=int(frame[along].nunique()), slope_g=float(row["slope"]),
        low_g=float(row["low"]), high_g=float(row["high"]), df=float(row["df"]), p=p, p_holm=p,
        clear=False,
    )  # fmt: skip


def _with_holm(trends: list[PlaceTrend], alpha: float) -> tuple[PlaceTrend, ...]:
    """Adjust for having looked in several directions (Holm 1979, Scand J Statist 6, 65-70)."""
    order = sorted(trends, key=lambda one: one.p)
    adjusted: dict[str, float] = {}
    worst = 0.0
    for place, one in enumerate(order):
        worst = max(worst, min(1.0, (len(order) - place) * one.p))
        adjusted[one.along] = worst
    return tuple(
        replace(one, p_holm=adjusted[one.along], clear=adjusted[one.along] < alpha)
        for one in trends
    )
