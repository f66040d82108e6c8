"""Contamination: which units count, and the difference in losses between treatments."""

from __future__ import annotations

import math
from dataclasses import replace

from analyses.companion import Companion
from analyses.comparison import Comparison, Sample
from analyses.estimate import Estimate
from analyses.finding import Mean
from analyses.losses.batch_companions import batch_companions
from analyses.losses.by_bag import bag_companions, by_bag
from analyses.losses.by_batch import by_batch
from analyses.losses.by_stratum import by_stratum, stratum_companions
from analyses.losses.counts import LossCount, loss_counts
from analyses.losses.estimate import HUNDRED
from analyses.losses.table import known_fates, layers
from analyses.unit import UnitStory
from analyses.yields import STARTED
from trials.records import Records

__all__ = ["contamination_answer", "contamination_companions", "contamination_sample"]


def contamination_answer(records: Records, unit: UnitStory, *, level: float) -> Comparison:
    """Compare the share of contaminated units with the control's.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Where a treatment was given to whole batches, the shares of the batches are compared;
        where batches or blocks held several treatments, units are compared within them; else
        each unit counts for itself.
    level : float
        Confidence, for all comparisons together.

    Returns
    -------
    Comparison
        In contaminated units of a hundred; the sample holds one row a unit.
    """
    sample = contamination_sample(records)
    if unit.counted == "batch":
        answer = by_batch(records, level=level)
        held = {one.treatment: one for one in loss_counts(records, unit, level=level)}
        return replace(
            answer,
            means=tuple(_held(mean, held[mean.treatment]) for mean in answer.means),
            sample=replace(sample, counted="batch"),
        )
    layer = layers(records)
    if layer is None:
        estimates = by_bag(records, level=level)
    else:
        estimates = by_stratum(records, layer, level=level)
    return Comparison(
        estimates=estimates,
        means=_means(records, unit, level),
        model=None,
        fit=None,
        sample=sample,
    )


def contamination_companions(
    records: Records, unit: UnitStory, estimate: Estimate
) -> tuple[Companion, ...]:
    """Give the other measures of one comparison: ratios, odds, tests against the margin.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    estimate : Estimate
        As `contamination_answer` gave it.
    """
    if unit.counted == "batch":
        return batch_companions(records, estimate, level=estimate.level)
    layer = layers(records)
    if layer is None:
        return bag_companions(records, estimate.treatment, level=estimate.level)
    return stratum_companions(records, layer, estimate.treatment, level=estimate.level)


def contamination_sample(records: Records) -> Sample:
    """Give 100 for a contaminated unit and 0 for another, one row a unit of known fate.

    Parameters
    ----------
    records : Records

    Returns
    -------
    Sample
    """
    known = known_fates(records)
    frame = known[["treatment", "block", "batch"]].copy()
    frame["response"] = 100.0 * known["lost"]
    return Sample(
        frame=frame,
        outcome="contamination",
        estimand=STARTED,
        unit=HUNDRED,
        random=(),
        counted=records.trial.unit,
    )


def _held(mean: Mean, count: LossCount) -> Mean:
    """Give a share one range everywhere: that of the losses, as the page tells it."""
    return replace(mean, low=100 * count.low, high=100 * count.high)


def _means(records: Records, unit: UnitStory, level: float) -> tuple[Mean, ...]:
    return tuple(
        Mean(
            treatment=count.treatment,
            estimand=STARTED,
            value=100 * count.lost / count.made if count.made else math.nan,
            low=100 * count.low,
            high=100 * count.high,
            sd=math.nan,
            n=count.made,
            unit=HUNDRED,
        )
        for count in loss_counts(records, unit, level=level)
    )
