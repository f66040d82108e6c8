"""Other measures of each comparison, and the count not to be trusted, for a statistician."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analyses.analysis import Analysis
from analyses.companion import Companion
from analyses.finding import Finding
from analyses.losses.naive import NaiveCount
from reports.parts.blocks import Block, Details, Paragraph, Table
from reports.parts.digits import NOTHING, digits, interval, p_value
from reports.wording.grammar import plural
from reports.wording.names import printable, treatment_names, unit_word
from trials.trial import Trial

__all__ = ["companion_details"]


def companion_details(analysis: Analysis) -> tuple[Details, ...]:
    """Give ratios, odds, correlations and tests against the margin, folded away.

    Parameters
    ----------
    analysis : Analysis
        With the companions of its findings.

    Returns
    -------
    tuple of Details
        Empty where no finding has companions.
    """
    trial = analysis.records.trial
    told = [_finding(one, trial) for one in analysis.findings if one.companions]
    blocks: list[Block] = []
    if analysis.naive:
        blocks.append(_naive(analysis.naive, trial))
    pattern = analysis.loss_pattern
    if pattern is not None and pattern.log_rank_p is not None:
        p = p_value(pattern.log_rank_p)
        blocks.append(Paragraph(text=f"Log-rank test of the losses over time: p {p}."))
    if blocks:
        told.append(Details(summary="Losses counted otherwise", blocks=tuple(blocks)))
    return tuple(told)


def _finding(finding: Finding, trial: Trial) -> Details:
    name = treatment_names(trial)[finding.estimate.treatment]
    table = Table(
        caption="Other measures of the same comparison; none of them decided",
        columns=("Measure", "Estimate", "Interval", "Level", "df", "p", "Method"),
        rows=tuple(_row(one) for one in finding.companions),
        numeric=(False, True, True, True, True, True, False),
    )
    return Details(summary=f"Losses with {name}: ratio, odds and the like", blocks=(table,))


def _row(one: Companion) -> tuple[str, ...]:
    method = f"{one.method} ({one.note})" if one.note else one.method
    level = f"{100 * one.level:g} %" if math.isfinite(one.level) else NOTHING
    ranged = not (math.isnan(one.low) or math.isnan(one.high))
    return (
        printable(one.measure), digits(one.value),
        interval(one.low, one.high) if ranged else NOTHING,
        level if ranged else NOTHING, digits(one.df), p_value(one.p), printable(method),
    )  # fmt: skip


def _naive(naive: Sequence[NaiveCount], trial: Trial) -> Table:
    names, unit = treatment_names(trial), unit_word(trial)
    rows = [
        (
            names[one.treatment], str(one.units), str(one.batches),
            interval(one.low, one.high), p_value(one.p), one.verdict,
            one.right_verdict, digits(one.correlation), digits(one.design_effect),
        )
        for one in naive
    ]  # fmt: skip
    return Table(
        caption=f"What counting each {unit} for itself would have claimed, {plural(unit)} in 100; "
        "wrong wherever the batches differ by more than chance",
        columns=("Treatment", plural(unit).capitalize(), "Batches", "Interval then", "p then",
                 "Verdict then", "Verdict by batches", "Intracluster correlation",
                 "Design effect"),
        rows=tuple(rows),
        numeric=(False, True, True, True, True, False, False, True, True),
    )  # fmt: skip
