"""What was also written down: fruit bodies, picking time, biological efficiency; all hints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import pandas as pd

from analyses.comparison import Sample, compare
from analyses.unit import UnitStory
from analyses.yields import random_terms
from trials.records import Records

__all__ = ["AlsoMeasured", "SideMeasure", "also_measured"]

SideMeasure: TypeAlias = Literal[
    "fruit bodies", "weight of a body", "picking time", "biological efficiency"
]
UNITS: dict[SideMeasure, str] = {
    "fruit bodies": "bodies per unit", "weight of a body": "g", "picking time": "minutes per kg",
    "biological efficiency": "points",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class AlsoMeasured:
    """A difference in something that was written down beside the weights.

    Parameters
    ----------
    measure : {"fruit bodies", "weight of a body", "picking time", "biological efficiency"}
    unit : str
        Bodies per unit, grams, minutes per kilogram, points (grams per 100 g of dry substrate).
    treatment, control : str
        Codes.
    mean, control_mean : float
        Adjusted means.
    value, low, high : float
        Treatment less control with its range; NaN limits without inference.
    p : float or None
        Two-sided, before Holm.
    p_holm : float or None
        The same, adjusted for all that was explored (Holm 1979).
    units : int
        Independent units behind it.
    withheld : str
        Why there is no inference; empty where there is.
    """

    measure: SideMeasure
    unit: str
    treatment: str
    control: str
    mean: float
    control_mean: float
    value: float
    low: float
    high: float
    p: float | None
    p_holm: float | None = None
    units: int
    withheld: str


def also_measured(records: Records, unit: UnitStory, *, level: float) -> tuple[AlsoMeasured, ...]:
    """Compare fruit bodies, the weight of one, picking time and efficiency, where written down.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    level : float
        Confidence.

    Returns
    -------
    tuple of AlsoMeasured
        Bodies and minutes over units of which they were written down at every flush that came.
        Biological efficiency (fresh weight per 100 g of dry substrate) over units started whose
        dry weight is known; where the plan asks about yield it is told with the yield instead.
    """
    totals = _totals(records)
    told: list[AlsoMeasured] = []
    measures = _measures(totals)
    if records.trial.aim.outcome != "yield":
        measures["biological efficiency"] = _efficiency(records)
    for measure, response in measures.items():
        known = response.notna()
        if totals.loc[known, "treatment"].nunique() < 2:
            continue
        frame = totals.loc[known, ["treatment", "block", "batch"]].assign(response=response[known])
        # The comparison is that of any amount per unit; only its numbers are kept.
        sample = Sample(
            frame=frame, outcome="yield", estimand=measure, unit=UNITS[measure],
            random=random_terms(frame, unit), counted=unit.counted,
        )  # fmt: skip
        answer = compare(sample, records.trial, level=level)
        means = {one.treatment: one.value for one in answer.means}
        told += [
            AlsoMeasured(
                measure=measure, unit=UNITS[measure], treatment=one.treatment, control=one.control,
                mean=means[one.treatment], control_mean=means[one.control], value=one.value,
                low=one.low, high=one.high, p=one.p, units=one.units, withheld=one.withheld,
            )
            for one in answer.estimates
        ]  # fmt: skip
    return tuple(told)


def _totals(records: Records) -> pd.DataFrame:
    """Sum bodies, minutes and grams over the flushes of each unit; NaN where one is missing."""
    came = records.flushes[records.flushes["grams"] > 0]
    columns = ["bodies", "minutes", "grams"]
    groups = came.reindex(columns=["code", *columns]).groupby("code")[columns]
    whole = groups.count().eq(groups.size(), axis=0)
    sums = groups.sum().where(whole)
    places = ["code", "treatment", "block", "batch"]
    return records.bags[places].join(sums, on="code")


def _efficiency(records: Records) -> pd.Series[float]:
    bags = records.bags
    dry = bags["dry_weight_g"].where(bags["dry_weight_g"] > 0)
    return (100 * bags["total_g"] / dry).astype(float)


def _measures(totals: pd.DataFrame) -> dict[SideMeasure, pd.Series[float]]:
    some = totals["bodies"].where(totals["bodies"] > 0)
    found: dict[SideMeasure, pd.Series[float]] = {
        "fruit bodies": totals["bodies"],
        "weight of a body": totals["grams"] / some,
        "picking time": 1000 * totals["minutes"] / totals["grams"],
    }
    return {name: values.replace([np.inf], np.nan) for name, values in found.items()}
