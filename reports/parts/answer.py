"""The first screen: the answer, what it rests on, and what now."""

from __future__ import annotations

from analyses.analysis import Analysis
from analyses.finding import Finding
from reports.parts.blocks import KeyAnswer
from reports.wording.grammar import counted, full_stop, listed, on_or_in
from reports.wording.losses import losses_total
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.next_step import next_step
from reports.wording.overview import overview, planned_findings
from reports.words import evidence, margin

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
        parts.append(f"{made} {on_or_in(block)} {counted(story.blocks, block)}")
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
    parts = [how_made(analysis), losses_total(analysis)]
    if len(findings) > 1:
        # The same margin holds for all; what it comes to is said for the first.
        parts.insert(0, margin(findings[0], analysis.records.trial))
    for finding in findings[:1]:
        estimate = finding.estimate
        if not finding.planned and finding.explored_because:
            parts.append(f"Looked at afterwards, because {printable(finding.explored_because)}.")
        if estimate.units != len(analysis.records.layout.slots):
            parts.append(
                f"The comparison rests on {counted(estimate.units, estimate.unit_counted)}."
            )
    return " ".join(part for part in parts if part)


def _steps(analysis: Analysis, findings: tuple[Finding, ...]) -> list[str]:
    """Give what to do next, like steps said once for all their treatments."""
    trial = analysis.records.trial
    steps = [next_step(finding, trial) for finding in findings]
    if len(findings) == 1:
        return steps
    names = treatment_names(trial)
    together: dict[str, list[str]] = {}
    for finding, step in zip(findings, steps, strict=True):
        together.setdefault(step.removeprefix("Next: "), []).append(
            names[finding.estimate.treatment]
        )
    return [f"Next for {listed(who)}: {step}" for step, who in together.items()]
