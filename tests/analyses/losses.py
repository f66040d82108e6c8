"""Records of lost units made from counts, so that the main path can be run on tables."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from analyses.contamination import contamination_answer, contamination_companions
from analyses.finding import Finding, judge
from analyses.losses.estimate import asked
from analyses.questions import analyse
from analyses.unit import unit_story
from tests.analyses.made import records_of

NO_WORSE = 'outcome = "contamination"\nclaim = "no worse"\nworthwhile = "10 in 100"'
BETTER = 'outcome = "contamination"'
SAME = 'outcome = "contamination"\nclaim = "same"\nworthwhile = "10 in 100"'


def lost_records(cells, *, aim=BETTER, control="C", by="bag", blocked=False):
    """Make records from (treatment, lost, made[, batch[, block]]) rows; `by` is the plan's."""
    treatment, fate, batch, block = [], [], [], []
    for code, lost, made, *where in cells:
        treatment += [code] * made
        fate += ["contaminated"] * lost + ["finished"] * (made - lost)
        batch += [where[0] if where else ""] * made
        block += [where[1] if len(where) > 1 else ""] * made
    grams = [0.0 if one == "contaminated" else 400.0 + n % 7 for n, one in enumerate(fate)]
    records = records_of(
        treatment, grams, fate=fate, control=control, aim=aim,
        batch=batch if by == "batch" else None, block=block if blocked else None,
    )  # fmt: skip
    bags, flushes = records.bags, records.flushes.assign(bodies=np.nan, minutes=np.nan)
    if by == "bag" and any(batch):
        bags, flushes = bags.assign(batch=batch), flushes.assign(batch=batch)
    return dataclasses.replace(records, bags=bags, flushes=flushes)


def loss_findings(records):
    """Give the findings about contamination, by treatment."""
    found = analyse(records).findings
    return {one.estimate.treatment: one for one in found if one.estimate.outcome == "contamination"}


def the_finding(cells, **kind):
    """Give the one finding about contamination of a table of two treatments."""
    (found,) = loss_findings(lost_records(cells, **kind)).values()
    return found


def the_losses_alone(cells, **kind):
    """Give the same finding without the rest of the report: quick, and without re-randomisation."""
    records = lost_records(cells, **kind)
    unit, aim = unit_story(records), records.trial.aim
    (estimate,) = contamination_answer(records, unit, level=aim.confidence).estimates
    claim, margin = asked(records)
    judged = judge(estimate, claim=claim, worthwhile=margin)
    return Finding(
        id="contamination", estimate=estimate, claim=claim, planned=True, explored_because="",
        verdict=judged.verdict, reasons=judged.reasons, worthwhile=margin, p_rerandomised=None,
        means=(), companions=contamination_companions(records, unit, estimate),
    )  # fmt: skip


def companion(finding, measure, words=""):
    """Give the companion of a finding by its measure and words of its method."""
    (found,) = [one for one in finding.companions if one.measure == measure and words in one.method]
    return found


def dated(records, **columns):
    """Put days on the units: a column is a list of ISO dates, None where blank."""
    bags = records.bags.copy()
    for name, days in columns.items():
        values = [np.datetime64("NaT", "D") if day is None else np.datetime64(day) for day in days]
        bags[name] = pd.Series(values, index=bags.index, dtype="datetime64[ns]")
    return dataclasses.replace(records, bags=bags)


def batches(code, losses, made=10, *, first=1):
    """Give cells of one treatment, a batch for each count of lost units."""
    sizes = made if isinstance(made, list) else [made] * len(losses)
    return [
        (code, lost, size, f"batch {first + n}")
        for n, (lost, size) in enumerate(zip(losses, sizes, strict=True))
    ]
