"""Everything that the records of one trial say, as plain values for the page to tell."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.also_measured import AlsoMeasured
from analyses.finding import Finding, Mean
from analyses.flow import FlowStep
from analyses.flush.story import FlushStory
from analyses.flush.table import FlushRow
from analyses.flush.worth_story import Worth
from analyses.layouts.factorial import FactorEffect
from analyses.losses.counts import LossCount
from analyses.losses.naive import NaiveCount
from analyses.losses.pattern import LossPattern
from analyses.losses.table import BatchLoss
from analyses.model_numbers import ModelNumbers
from analyses.times.stage_times import StageTimes
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["Analysis"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """What the records say.

    Parameters
    ----------
    records : Records
        Trial, layout and records.
    unit : UnitStory
        What was counted as one unit.
    findings : tuple of Finding
        The planned ones first.
    means : tuple of Mean
        Every treatment, every estimand, in grams and, where known, biological efficiency.
    losses : tuple of LossCount
        Every treatment, in the order of the plan.
    flow : tuple of FlowStep
        Every treatment, in the order of the plan.
    flush_rows : tuple of FlushRow
        Every treatment and flush.
    models : tuple of ModelNumbers
        What was fitted.
    changes : tuple of str
        What differs between the plan as locked and the plan as it stands, in plain words.
    locked : str
        When the plan was locked, as an ISO date; empty when it never was.
    fingerprint : str
        Of plan and layout.
    cautions : tuple of str
        What a reader must know before believing any of it.
    batches : tuple of BatchLoss
        Every batch, where batches are known.
    naive : tuple of NaiveCount
        What counting units would have claimed, where batches are what counts.
    loss_pattern : LossPattern or None
        When units were lost and what was seen; None where none was contaminated.
    story : FlushStory or None
        How the flushes fall; None where nothing was weighed.
    worth : Worth or None
        What it is worth in money; None without a price.
    times : tuple of StageTimes
        Days to each stage that was written down.
    also : tuple of AlsoMeasured
        Fruit bodies and picking time, where they were written down.
    factor_effects : tuple of FactorEffect
        What each factor of combined treatments does by itself, in the yield per bag started.
    """

    records: Records
    unit: UnitStory
    findings: tuple[Finding, ...]
    means: tuple[Mean, ...]
    losses: tuple[LossCount, ...]
    flow: tuple[FlowStep, ...]
    flush_rows: tuple[FlushRow, ...]
    models: tuple[ModelNumbers, ...]
    changes: tuple[str, ...]
    locked: str
    fingerprint: str
    cautions: tuple[str, ...]
    batches: tuple[BatchLoss, ...] = ()
    naive: tuple[NaiveCount, ...] = ()
    loss_pattern: LossPattern | None = None
    story: FlushStory | None = None
    worth: Worth | None = None
    times: tuple[StageTimes, ...] = ()
    also: tuple[AlsoMeasured, ...] = ()
    factor_effects: tuple[FactorEffect, ...] = ()

    @property
    def bags(self) -> pd.DataFrame:
        """The table of units, for figures that show every one."""
        return self.records.bags
