"""How many tries there really were, and what counting every unit would have claimed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analyses.analysis import Analysis
from analyses.finding import Finding
from analyses.losses.naive import NaiveCount
from reports.wording.grammar import counted, plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.ranges import bare_range
from reports.wording.speech import Scene, set_scene

__all__ = ["Counting", "counting_paragraph", "countings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """One comparison counted both ways, ready to be told.

    Parameters
    ----------
    naive : NaiveCount
        The numbers.
    wrong : Scene
        As if each unit stood alone.
    right : Scene or None
        By batches; None where they give no range.
    units_said, batches_said : str
        “144 bags”, “12 batches”.
    """

    naive: NaiveCount
    wrong: Scene
    right: Scene | None
    units_said: str
    batches_said: str


def countings(analysis: Analysis) -> list[Counting]:
    """Make each comparison ready to be told both ways.

    Parameters
    ----------
    analysis : Analysis
        With what counting units would have claimed; empty where units count for themselves.
    """
    trial = analysis.records.trial
    about = {
        one.estimate.treatment: one
        for one in analysis.findings
        if one.estimate.outcome == "contamination"
    }
    told = []
    for naive in analysis.naive:
        finding = about.get(naive.treatment)
        if finding is None:
            continue
        ranged = math.isfinite(naive.right_low + naive.right_high)
        told.append(
            Counting(
                naive=naive,
                wrong=set_scene(_as_if(finding, naive), trial),
                right=set_scene(finding, trial) if ranged else None,
                units_said=counted(naive.units, unit_word(trial)),
                batches_said=counted(naive.batches, "batch"),
            )
        )
    return told


def _as_if(finding: Finding, naive: NaiveCount) -> Finding:
    estimate = replace(
        finding.estimate, value=naive.value, low=naive.low, high=naive.high,
        low_alone=naive.low, high_alone=naive.high, withheld="",
    )  # fmt: skip
    return replace(finding, estimate=estimate)


def counting_paragraph(one: Counting, analysis: Analysis) -> str:
    """Say in a few plain sentences why batches count, and what counting units would have said.

    Parameters
    ----------
    one : Counting
    analysis : Analysis
        For the names.

    Returns
    -------
    str
    """
    trial = analysis.records.trial
    units = plural(unit_word(trial))
    it, control = (
        treatment_names(trial)[code] for code in (one.naive.treatment, one.naive.control)
    )
    parts = [
        f"There were {one.units_said} with {it} and {control}, but only {one.batches_said}. "
        f"The {units} of a batch were treated together and share its luck, so a batch is one try."
    ]
    wrong = (
        f"Counting the {units} as if each stood alone would have claimed: {bare_range(one.wrong)}"
    )
    if one.right is None:
        parts.append(f"{wrong}, in a hundred. With so few batches nothing backs that up.")
        return " ".join(parts)
    parts.append(f"{wrong}, in a hundred. The batches say: {bare_range(one.right)}.")
    parts.append(_worth(one, units))
    return " ".join(part for part in parts if part)


def _worth(one: Counting, units: str) -> str:
    """Say how many units that stand alone would tell as much as these."""
    effect = one.naive.design_effect
    if not math.isfinite(effect):
        return ""
    if effect < 1.05:
        return f"Here the {units} of a batch were hardly more alike than others, by the look of it."
    worth = max(1, round(one.naive.units / effect))
    return (
        f"These {units} were so alike within a batch that all of them tell about as much as "
        f"{worth} that stood alone."
    )
