"""Yield: grams per bag started and per bag that fruited, and biological efficiency."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.comparison import Comparison, Sample, compare
from analyses.estimate import Estimate, Span
from analyses.finding import Mean
from analyses.layouts.growers import GROWER, by_grower, grower_terms, with_growers
from analyses.layouts.split_units import by_batch_where_batches_differ
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["FRUITED", "STARTED", "yield_answer", "yield_sample"]

STARTED = "per bag started"
FRUITED = "per bag that fruited"
EFFICIENCY_UNIT = "% biological efficiency"


def yield_sample(records: Records, unit: UnitStory, estimand: str) -> Sample:
    """Pick the rows that a question about yield is answered from.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    estimand : {"per bag started", "per bag that fruited"}
        Started: every unit whose total is known, lost ones with what they gave, mostly 0.
        Fruited: units that were not lost and gave something.

    Returns
    -------
    Sample
        Response in grams.
    """
    bags = records.bags
    known = bags["total_g"].notna() & (bags["fate"] != "not recorded")
    if estimand == FRUITED:
        known &= (bags["fate"] == "finished") & (bags["total_g"] > 0)
    named = ["treatment", "block", "batch", "dry_weight_g"]
    if records.trial.design.column:
        named.append("column")
    frame = bags.loc[known, named].copy()
    frame["response"] = bags.loc[known, "total_g"]
    frame = with_growers(frame, records.trial)
    return Sample(
        frame=frame,
        outcome="yield",
        estimand=estimand,
        unit="g",
        random=random_terms(frame, unit),
        counted=unit.counted,
    )


def random_terms(frame: pd.DataFrame, unit: UnitStory) -> tuple[str, ...]:
    """Give the random terms of the design that these rows can carry.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns block and batch, column where the layout has columns, and those of
        `with_growers` where several take part.
    unit : UnitStory

    Returns
    -------
    tuple of str
        ``block`` where there are blocks, which in a table of rows and columns are its rows;
        ``column`` where there are columns; ``batch`` where units were made in batches, several in
        each; ``grower`` and ``grower:treatment`` where several take part.

    Notes
    -----
    With treatments that differ from block to block, a random block term also takes up what the
    blocks' totals tell (Yates 1940, Annals of Eugenics 10, 317-325).
    """
    terms = list(grower_terms(frame, unit.counted))
    growers = frame[GROWER].nunique() if terms else 1
    if unit.blocks and frame["block"].nunique() > growers:
        terms.append("block")
    if "column" in frame and frame["column"].nunique() > 1:
        terms.append("column")
    batches = frame["batch"].nunique()
    if batches < len(frame) and (unit.counted == "batch" or batches > 1):
        terms.append("batch")
    return tuple(terms)


def yield_answer(records: Records, unit: UnitStory, estimand: str, *, level: float) -> Comparison:
    """Compare yields, in grams and, where every dry weight is known, in biological efficiency.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    estimand : {"per bag started", "per bag that fruited"}
    level : float
        Confidence.

    Returns
    -------
    Comparison
        The means hold grams first and then biological efficiency.
    """
    sample = yield_sample(records, unit, estimand)
    answer = by_batch_where_batches_differ(compare(sample, records.trial, level=level), records)
    answer = by_grower(answer)
    efficient = _efficiency(sample, records, level)
    if efficient is None:
        return answer
    points = {one.treatment: one for one in efficient.estimates}
    return replace(
        answer,
        estimates=tuple(
            replace(one, efficiency=_span(points[one.treatment])) for one in answer.estimates
        ),
        means=answer.means + efficient.means,
    )


def _efficiency(sample: Sample, records: Records, level: float) -> Comparison | None:
    """Fit fresh weight over dry substrate weight x 100, refused without a dry weight."""
    dry = sample.frame["dry_weight_g"].to_numpy(dtype=float)
    if not len(dry) or not np.all(dry > 0):
        return None
    frame = sample.frame.assign(response=100 * sample.frame["response"] / dry)
    return compare(replace(sample, frame=frame, unit=EFFICIENCY_UNIT), records.trial, level=level)


def _span(one: Estimate) -> Span | None:
    if one.withheld:
        return None
    return Span(value=one.value, low=one.low, high=one.high, unit="points")


def share_of_means(means: tuple[Mean, ...], code: str) -> float:
    """Give the adjusted mean of a treatment in grams, NaN where there is none."""
    for mean in means:
        if mean.treatment == code and mean.unit == "g":
            return mean.value
    return float("nan")
