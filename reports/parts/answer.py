"""The first screen: the answer, what it rests on, and what now."""

from __future__ import annotations

from analyses.analysis import Analysis
from analyses.finding import Finding
from reports.parts.blocks import KeyAnswer
from reports.wording.grammar import counted, full_stop, listed, on_or_in, plural
from reports.wording.losses import gone_otherwise, losses_total
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.next_step import how_rough, next_step, plan_step
from reports.wording.overview import overview, planned_findings
from reports.words import evidence, margin
from trials.trial import Trial

__all__ = ["how_made", "key_answer"]


def key_answer(analysis: Analysis) -> KeyAnswer:
    """Answer the question of the plan.

    Parameters
    ----------
    analysis : Analysis
        What the records say.

    Returns
    -------
    KeyAnswer
        With several treatments against one control each has its own sentences.
    """
    trial = analysis.records.trial
    findings = planned_findings(analysis.findings)
    if not findings:
        return KeyAnswer(
            headline="The records do not yet answer the question.", sentences=(),
            basis=_basis(analysis, ()), steps=("Next: fill in the record book and come back.",),
        )  # fmt: skip
    return KeyAnswer(
        headline=overview(findings, trial),
        sentences=tuple(_told(analysis, findings)),
        basis=_basis(analysis, findings),
        steps=tuple(_steps(analysis, findings)),
    )


def how_made(analysis: Analysis) -> str:
    """Say how many units were made, where, and how they were drawn.

    Parameters
    ----------
    analysis : Analysis
        What the records say.

    Returns
    -------
    str
        “48 bags on 8 shelves, drawn by lot, labels blind.”
    """
    trial, story = analysis.records.trial, analysis.unit
    made = counted(len(analysis.records.layout.slots), unit_word(trial))
    parts = []
    if story.blocks:
        block = printable(story.block) or "block"
        growers = len(trial.design.growers)
        where = f" of {growers} growers" if growers > 1 else ""
        parts.append(f"{made} {on_or_in(block)} {counted(story.blocks, block)}{where}")
    else:
        parts.append(made)
    if story.counted == "batch" and unit_word(trial) != "batch":
        parts[0] += f" from {counted(story.total, 'batch')}"
    parts.append("drawn by lot")
    parts.append("labels blind" if trial.blind else "labels not blind")
    return full_stop(", ".join(parts))


def _told(analysis: Analysis, findings: tuple[Finding, ...]) -> list[str]:
    trial, many = analysis.records.trial, len(findings) > 1
    said = []
    # What a range is, is said once: where the first one stands.
    explain = True
    for finding in findings:
        told = evidence(finding, trial, explain=explain, among_others=many)
        explain = explain and finding.verdict == "withheld"
        said.append(told)
    return said


def _basis(analysis: Analysis, findings: tuple[Finding, ...]) -> str:
    parts = [how_made(analysis), losses_total(analysis), gone_otherwise(analysis)]
    if len(findings) > 1:
        # The same margin holds for all; what it comes to is said for the first.
        parts.insert(0, margin(findings[0], analysis.records.trial))
    for finding in findings[:1]:
        if not finding.planned and finding.explored_because:
            parts.append(f"Looked at afterwards, because {printable(finding.explored_because)}.")
    parts.append(_rests_on(analysis, findings))
    return " ".join(part for part in parts if part)


def _rests_on(analysis: Analysis, findings: tuple[Finding, ...]) -> str:
    """Say how many units the answer rests on, where it is not just all that were made."""
    names = treatment_names(analysis.records.trial)
    made = (len(analysis.records.layout.slots), unit_word(analysis.records.trial))
    alike: dict[tuple[int, str], list[str]] = {}
    for finding in findings:
        estimate = finding.estimate
        if estimate.units:
            units = (estimate.units, printable(estimate.unit_counted))
            alike.setdefault(units, []).append(names[estimate.treatment])
    if not alike or list(alike) == [made]:
        return ""
    if len(alike) == 1:
        return f"The comparison rests on {counted(*next(iter(alike)))}."
    told = listed(f"on {counted(*units)} for {listed(who)}" for units, who in alike.items())
    return f"The comparison rests {told}."


def _steps(analysis: Analysis, findings: tuple[Finding, ...]) -> list[str]:
    """Give what to do next, like steps said once for all their treatments."""
    trial = analysis.records.trial
    if len(findings) == 1:
        return [next_step(findings[0], trial)]
    names = treatment_names(trial)
    repeats: dict[str, list[tuple[str, int, Finding]]] = {}
    together: dict[str, list[Finding]] = {}
    for finding in findings:
        step, name = plan_step(finding, trial), names[finding.estimate.treatment]
        if step.action == "repeat" and step.units is not None:
            counted_in = finding.estimate.unit_counted
            repeats.setdefault(counted_in, []).append((name, step.units, finding))
        else:
            together.setdefault(next_step(finding, trial, it="it"), []).append(finding)
    said = [_shared(alike, trial, names) for alike in together.values()]
    return said + [_repeats(unit, wanted) for unit, wanted in repeats.items()]


def _shared(alike: list[Finding], trial: Trial, names: dict[str, str]) -> str:
    """Say what is advised alike of several treatments."""
    it = "it"
    if len(alike) > 1:
        it = "one of them" if plan_step(alike[0], trial).action == "adopt" else "them"
    who = listed(names[finding.estimate.treatment] for finding in alike)
    return f"Next for {who}: {next_step(alike[0], trial, it=it).removeprefix('Next: ')}"


def _repeats(unit: str, wanted: list[tuple[str, int, Finding]]) -> str:
    """Say how large a repeat would have to be for each of several treatments."""
    units, now = plural(unit), max(finding.estimate.units for _, _, finding in wanted)
    who = listed(name for name, _, _ in wanted)
    if len({number for _, number, _ in wanted}) == 1:
        told = f"repeat with about {wanted[0][1]} {units} (this trial had {now})"
    else:
        sizes = listed(f"about {number} for {name}" for name, number, _ in wanted)
        told = f"repeat with more {units} (this trial had {now}): {sizes}"
    return f"Next for {who}: {told}. {how_rough(units)}"
