"""The report of a group of growers as plain values, in the order in which they ask."""

from __future__ import annotations

from collections.abc import Iterable

from analyses.pooling.answers import GroupAnswer, PooledAnalysis
from reports.parts.blocks import Block, Bullets, Details, KeyAnswer, Paragraph, Report, Section
from reports.parts.cautions import for_repeating, mould
from reports.parts.group_statistician import group_statistician
from reports.parts.group_tables import (
    checks_of,
    grower_table,
    reasons_told,
    records_table,
    stands_apart,
)
from reports.parts.plan_and_done import planned_remarks
from reports.wording.grammar import in_words, listed
from reports.wording.group_words import (
    OUTCOME_HEADINGS,
    alike_or_not,
    expected_ahead,
    group_basis,
    group_evidence,
    group_headline,
    group_next,
    these_trials,
)
from reports.wording.hedging import EXPLORED
from reports.wording.names import printable, shorten, treatment_names
from reports.wording.overview import overview

__all__ = ["write_group_report"]

_LONGEST_TITLE, _LONGEST_QUESTION = 120, 300
_MANY = 12
_INVENTED = "Invented data: these trials were made up to show what a report looks like."
_HOW_OFTEN = (
    "Ranges for one more grower were tried on thousands of made-up groups of five and of ten "
    "growers: meant to hold 95 times in 100, they held 93 to 98 times."
)
_PARTLY = (
    "A grower with few bags is helped by the others: the own answer is drawn towards the average, "
    "the more so the less sure it is."
)


def write_group_report(analysis: PooledAnalysis, *, figures: bool = True) -> Report:
    """Write the report of a group.

    Parameters
    ----------
    analysis : PooledAnalysis
        What the records of the group say.
    figures : bool
        Whether to draw.

    Returns
    -------
    Report
        Growers are called what they agreed to be called.
    """
    trial = analysis.together.reference
    first = _asked(analysis)
    sections = (
        Section(id="picture", heading="The picture", blocks=_pictures(first, analysis, figures)),
        Section(id="growers", heading="Each grower", blocks=_growers(first, analysis)),
        Section(id="reasons", heading="Why growers may differ", blocks=_reasons(first, analysis)),
        Section(id="also", heading="Also looked at", blocks=_also(first, analysis, figures)),
        Section(id="records", heading="What each grower brought", blocks=_records(analysis)),
        Section(id="trust", heading="How far to trust it", blocks=_trust(first, analysis)),
        Section(id="not-said", heading="What it cannot say", blocks=(_not_said(analysis),)),
        Section(
            id="planned", heading="What was planned and what was done", blocks=_planned(analysis)
        ),
        Section(
            id="statistician", heading="The numbers for a statistician",
            blocks=group_statistician(analysis),
        ),
        Section(id="cautions", heading="Cautions", blocks=(mould(), *for_repeating(trial))),
    )  # fmt: skip
    invented = any(one.records.trial.invented for one in analysis.together.growers)
    return Report(
        title=shorten(printable(analysis.together.title or trial.title), _LONGEST_TITLE)
        or "A grow trial of a group",
        question=shorten(printable(trial.question), _LONGEST_QUESTION),
        invented=_INVENTED if invented or trial.invented else "",
        key=_key(first, analysis),
        sections=tuple(section for section in sections if section.blocks),
    )


def _asked(analysis: PooledAnalysis) -> tuple[GroupAnswer, ...]:
    """Give the answers to what the plan asked; where it asked nothing of these, the first."""
    planned = tuple(one for one in analysis.answers if one.finding.planned)
    if planned or not analysis.answers:
        return planned
    outcome = analysis.answers[0].finding.estimate.outcome
    return tuple(one for one in analysis.answers if one.finding.estimate.outcome == outcome)


def _key(first: tuple[GroupAnswer, ...], analysis: PooledAnalysis) -> KeyAnswer:
    trial, basis = analysis.together.reference, group_basis(analysis)
    if not first:
        return KeyAnswer(
            headline="The records do not yet answer the question.", sentences=(), basis=basis,
            steps=("Next: fill in the record books and come back.",),
        )  # fmt: skip
    if len(first) == 1:
        only = first[0]
        said = (
            group_evidence(only.finding, trial, explain=True),
            alike_or_not(only),
            expected_ahead(only, trial),
        )
        return KeyAnswer(
            headline=group_headline(only.finding, trial),
            sentences=tuple(one for one in said if one), basis=basis,
            steps=(group_next(only, trial),),
        )  # fmt: skip
    names = treatment_names(trial)
    growers = max(one.finding.estimate.units for one in first)
    told = tuple(
        f"{group_evidence(one.finding, trial, explain=place == 0, among_others=True)} "
        f"{expected_ahead(one, trial)}"
        for place, one in enumerate(first)
    )
    steps: dict[str, list[str]] = {}
    for one in first:
        step = group_next(one, trial).removeprefix("Next: ")
        steps.setdefault(step, []).append(names[one.finding.estimate.treatment])
    return KeyAnswer(
        headline=f"On average over {in_words(growers)} growers: "
        + these_trials(overview([one.finding for one in first], trial)),
        sentences=told, basis=basis,
        steps=tuple(f"Next for {listed(who)}: {step}" for step, who in steps.items()),
    )  # fmt: skip


def _pictures(
    answers: Iterable[GroupAnswer], analysis: PooledAnalysis, figures: bool
) -> tuple[Block, ...]:
    if not figures:
        return ()
    from reports.figures.forest import figure_forest

    drawn = (figure_forest(one, analysis.together.reference) for one in answers)
    return tuple(figure for figure in drawn if figure is not None)


def _growers(first: tuple[GroupAnswer, ...], analysis: PooledAnalysis) -> tuple[Block, ...]:
    trial = analysis.together.reference
    blocks: list[Block] = []
    for answer in first:
        apart = stands_apart(answer, trial)
        if apart:
            blocks.append(Bullets(items=apart))
        table = grower_table(answer, trial)
        many = len(table.rows) > _MANY
        blocks.append(
            Details(summary=f"All {len(table.rows)} growers", blocks=(table,)) if many else table
        )
    return (Paragraph(text=_PARTLY), *blocks) if blocks else ()


def _reasons(first: tuple[GroupAnswer, ...], analysis: PooledAnalysis) -> tuple[Block, ...]:
    lines = [line for one in first for line in reasons_told(one, analysis.together.reference)]
    if not lines:
        return ()
    opening = (
        f"{EXPLORED} Growers differ in much that goes together, so none of this shows a cause."
    )
    return (Paragraph(text=opening), Bullets(items=tuple(dict.fromkeys(lines))))


def _also(
    first: tuple[GroupAnswer, ...], analysis: PooledAnalysis, figures: bool
) -> tuple[Block, ...]:
    trial = analysis.together.reference
    names = treatment_names(trial)
    others = [one for one in analysis.answers if one not in first]
    blocks: list[Block] = []
    for one in others:
        estimate = one.finding.estimate
        name = f"{OUTCOME_HEADINGS[estimate.outcome]}: {names[estimate.treatment]}."
        told = (group_evidence(one.finding, trial), alike_or_not(one), expected_ahead(one, trial))
        blocks.append(Paragraph(text=" ".join((name, *(part for part in told if part)))))
        table = grower_table(one, trial)
        inner = (*_pictures((one,), analysis, figures), table)
        blocks.append(Details(summary="By grower", blocks=inner))
    if not blocks:
        return ()
    return (Paragraph(text=group_headline(others[0].finding, trial)), *blocks)


def _records(analysis: PooledAnalysis) -> tuple[Block, ...]:
    table = records_table(analysis)
    many = len(table.rows) > _MANY
    blocks: list[Block] = [
        Details(summary=f"All {len(table.rows)} growers", blocks=(table,)) if many else table
    ]
    lines = [
        f"{printable(one.shown)}: {' '.join(map(printable, one.remarks))}"
        for one in analysis.notes
        if one.remarks
    ]
    together = analysis.together
    lines += [
        f"{printable(one.shown)} is not in the numbers: {printable(one.why)}."
        for one in together.left_out
    ]
    if lines:
        blocks.append(Bullets(items=tuple(lines)))
    doubts = [
        f"{printable(one.shown)}: {printable(problem)}"
        for one in analysis.notes
        for problem in one.problems
    ]
    if doubts:
        summary = f"In doubt in the records ({len(doubts)})"
        blocks.append(Details(summary=summary, blocks=(Bullets(items=tuple(doubts)),)))
    return tuple(blocks)


def _trust(first: tuple[GroupAnswer, ...], analysis: PooledAnalysis) -> tuple[Block, ...]:
    items = [printable(one) for one in analysis.cautions]
    if any(not check.agrees for one in first for check in one.finding.checks):
        items.append("Done another way the verdict is not always the same; the table shows how.")
    if any(one.prediction is not None for one in first):
        items.append(_HOW_OFTEN)
    blocks: list[Block] = [Bullets(items=tuple(items))] if items else []
    blocks += [table for one in first if (table := checks_of(one)) is not None]
    return tuple(blocks)


def _not_said(analysis: PooledAnalysis) -> Bullets:
    trial = analysis.together.reference
    species = printable(trial.species)
    what = f"other species than {species}" if species else "other species"
    return Bullets(
        items=(
            "The growers chose to take part. Whether others are like them, no number here can say.",
            f"Nothing is said of {what}, other seasons or other rooms than these.",
            "An average is not a promise for one room: look at the bar for one more grower.",
        )
    )


def _planned(analysis: PooledAnalysis) -> tuple[Block, ...]:
    together = analysis.together
    blocks: list[Block] = [Bullets(items=tuple(planned_remarks(together.reference)))]
    passed = [
        f"{printable(one.shown)}: {printable(one.what)} ({one.standing})."
        for one in together.differences
    ]
    if passed:
        blocks += [
            Paragraph(text="Where a grower's plan or records are not those of the group:"),
            Bullets(items=tuple(passed)),
        ]
    return tuple(blocks)
