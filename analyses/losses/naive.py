"""What counting every unit would have claimed where whole batches are what counts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analyses.finding import Finding, judge
from analyses.losses.by_bag import bag_difference
from analyses.losses.table import BatchLoss, batch_losses
from analyses.models.counts.clusters import adjusted_test
from analyses.models.counts.exact_tables import conditional_odds
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["NaiveCount", "naive_counts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NaiveCount:
    """What counting every unit for itself would have claimed, where batches are what counts.

    Parameters
    ----------
    treatment, control : str
        Codes.
    units, batches : int
        Units that would have been counted, and batches that there are.
    value, low, high : float
        Difference and interval as if each unit stood alone, in units of a hundred.
    p : float
        Two-sided, for no difference, as if each unit stood alone.
    verdict : str
        As the plan would have judged it.
    right_low, right_high : float
        The interval of the batches; NaN where there is none.
    right_verdict : str
        The verdict of the batches.
    correlation : float
        Intracluster correlation by analysis of variance; NaN where it cannot be had.
    design_effect : float
        How many times as many units as batches of this size need; NaN likewise.
    """

    treatment: str
    control: str
    units: int
    batches: int
    value: float
    low: float
    high: float
    p: float
    verdict: str
    right_low: float
    right_high: float
    right_verdict: str
    correlation: float
    design_effect: float


def naive_counts(
    records: Records, unit: UnitStory, findings: Sequence[Finding]
) -> tuple[NaiveCount, ...]:
    """Repeat each comparison of losses with every unit counted for itself.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    findings : sequence of Finding
        Those about contamination are repeated, with their claim, margin and level.

    Returns
    -------
    tuple of NaiveCount
        Empty where units count for themselves.
    """
    if unit.counted != "batch" or unit.counted == records.trial.unit:
        return ()
    rows = batch_losses(records)
    told = []
    for finding in findings:
        if finding.estimate.outcome != "contamination":
            continue
        sides = [
            [row for row in rows if row.treatment == code]
            for code in (finding.estimate.treatment, finding.estimate.control)
        ]
        # With one unit a batch there is nothing to count wrongly.
        made = [row.made for side in sides for row in side]
        if all(sides) and sum(made) > len(made):
            told.append(_naive(records, finding, *sides))
    return tuple(told)


def _naive(
    records: Records, finding: Finding, mine: list[BatchLoss], control: list[BatchLoss]
) -> NaiveCount:
    right = finding.estimate
    table = (
        sum(row.lost for row in mine), sum(row.made for row in mine),
        sum(row.lost for row in control), sum(row.made for row in control),
    )  # fmt: skip
    family = len(records.trial.challengers)
    shared = 1 - (1 - right.level) / family
    wrong = bag_difference(*table, finding.claim, shared)
    as_if = replace(
        right, value=100 * wrong.value, low=100 * wrong.low, high=100 * wrong.high, withheld=""
    )
    judgement = judge(as_if, claim=finding.claim, worthwhile=finding.worthwhile)
    correlation, effect = _alike(mine, control)
    return NaiveCount(
        treatment=right.treatment,
        control=right.control,
        units=table[1] + table[3],
        batches=len(mine) + len(control),
        value=as_if.value,
        low=as_if.low,
        high=as_if.high,
        p=min(1.0, family * conditional_odds(*table).p),
        verdict=judgement.verdict,
        right_low=right.low,
        right_high=right.high,
        right_verdict=finding.verdict,
        correlation=correlation,
        design_effect=effect,
    )


def _alike(mine: list[BatchLoss], control: list[BatchLoss]) -> tuple[float, float]:
    rows = [*mine, *control]
    lost, made = [row.lost for row in rows], [row.made for row in rows]
    if len(rows) < 3 or not 0 < sum(lost) < sum(made):
        return math.nan, math.nan
    test = adjusted_test(lost, made, [False] * len(mine) + [True] * len(control))
    return test.correlation, max(test.inflation)
