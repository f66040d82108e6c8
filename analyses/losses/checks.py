"""Whether a verdict about losses survives when the counting is done another reasonable way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.contamination import contamination_answer
from analyses.estimate import Estimate
from analyses.finding import Check, Finding
from analyses.judged_again import dealt_again, judged_again, numbers
from analyses.losses.batch_sample import batch_sample, shares_of
from analyses.losses.by_batch import held_by_batches
from analyses.losses.table import arm_counts, batch_losses, layers
from analyses.models.counts.clusters import cluster_difference
from analyses.models.counts.two_proportions import newcombe
from analyses.unit import UnitStory
from trials.plurals import plural
from trials.records import Records

__all__ = ["loss_checks"]


def loss_checks(finding: Finding, records: Records, unit: UnitStory) -> tuple[Check, ...]:
    """Try a finding about contamination in other ways.

    Parameters
    ----------
    finding : Finding
    records : Records
    unit : UnitStory

    Returns
    -------
    tuple of Check
        Without any one batch or block, with the units lost otherwise counted as contaminated,
        by another interval, by dealing the labels out again; those that do not apply are left out.
    """
    if finding.estimate.withheld:
        return ()
    tried = (
        _without_any(finding, records, unit),
        _with_other_losses(finding, records, unit),
        _welch(finding, records, unit),
        _newcombe(finding, records, unit),
        dealt_again(finding),
    )
    return tuple(check for check in tried if check is not None)


def _answer(finding: Finding, records: Records, unit: UnitStory, bags: pd.DataFrame) -> Estimate:
    answer = contamination_answer(replace(records, bags=bags), unit, level=finding.estimate.level)
    return next(one for one in answer.estimates if one.treatment == finding.estimate.treatment)


def _without_any(finding: Finding, records: Records, unit: UnitStory) -> Check | None:
    """Leave out each batch, or each block, and tell the one that changes most."""
    bags, pair = records.bags, [finding.estimate.treatment, finding.estimate.control]
    kind, word = "batch", "batch"
    if unit.counted != "batch":
        layer = layers(records)
        if layer is None:
            return None
        kind = "batch" if layer.kind == "batch" else "block"
        word = "batch" if kind == "batch" else records.trial.design.block or "block"
    mine = bags[bags["treatment"].isin(pair) & (bags[kind] != "")]
    names = list(dict.fromkeys(mine[kind]))
    if len(names) < 3:
        return None
    tries = [(name, _answer(finding, records, unit, bags[bags[kind] != name])) for name in names]
    usable = [(name, one) for name, one in tries if not one.withheld]
    turned = [(name, one) for name, one in usable if not judged_again(finding, "", one).agrees]
    if not usable:
        return None
    value = finding.estimate.value
    name, one = max(turned or usable, key=lambda pair: abs(pair[1].value - value))
    return judged_again(
        finding, f"without any one {word}", one, f"most changed without {name}: {numbers(one)}"
    )


def _with_other_losses(finding: Finding, records: Records, unit: UnitStory) -> Check | None:
    """Count what was lost otherwise as contaminated: the worst that it could hide."""
    otherwise = records.bags["fate"] == "lost otherwise"
    if not otherwise.any():
        return None
    bags = records.bags.assign(fate=records.bags["fate"].mask(otherwise, "contaminated"))
    name = f"with the {plural(records.trial.unit)} lost in another way counted too"
    return judged_again(finding, name, _answer(finding, records, unit, bags))


def _welch(finding: Finding, records: Records, unit: UnitStory) -> Check | None:
    """Let the batches of the two sides vary differently (Welch 1947, Biometrika 34, 28-35)."""
    blocked = records.layout.randomisation.endswith("within blocks")
    one = finding.estimate
    if unit.counted != "batch" or blocked or len(records.trial.challengers) > 1:
        return None
    if one.df is None:  # no t decided, so no other t can gainsay it
        return None
    rows = [
        row
        for code in (one.treatment, one.control)
        for row in batch_losses(records)
        if row.treatment == code
    ]
    second = np.array([row.treatment == one.control for row in rows])
    shares = np.array([row.lost / row.made for row in rows])
    if min(second.sum(), (~second).sum()) < 2 or np.ptp(shares) == 0:
        return None
    found = cluster_difference(
        [row.lost for row in rows], [row.made for row in rows], second, one.level,
        equal_variances=False,
    )  # fmt: skip
    if not math.isfinite(found.low):
        return None
    again = replace(
        one, low=100 * found.low, high=100 * found.high, low_alone=100 * found.low,
        high_alone=100 * found.high, df=found.df,
    )  # fmt: skip
    both = shares_of(batch_sample(records), one)
    if both is not None:
        again = held_by_batches(again, both, one.level, one.level)
    detail = f"Welch, df {found.df:.3g}: {numbers(again)}"
    return judged_again(finding, "with unequal spread allowed", again, detail)


def _newcombe(finding: Finding, records: Records, unit: UnitStory) -> Check | None:
    if unit.counted == "batch" or layers(records) is not None:
        return None
    counts, one = arm_counts(records), finding.estimate
    mine, control = counts[one.treatment], counts[one.control]
    shared = 1 - (1 - one.level) / len(records.trial.challengers)
    found = newcombe(mine.lost, mine.made, control.lost, control.made, shared)
    again = replace(one, low=100 * found.low, high=100 * found.high)
    return judged_again(finding, "by another interval", again, f"Newcombe: {numbers(again)}")
