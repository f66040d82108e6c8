"""When units were lost, what was seen, what it cost, and what batches have to do with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from analyses.analysis import Analysis
from analyses.losses.batch_notes import batch_notes
from analyses.losses.stages import STAGES, SeenCount
from reports.parts.blocks import Block, Bullets, Figure, Paragraph
from reports.wording.counting import counting_paragraph, countings
from reports.wording.grammar import be, counted, listed
from reports.wording.names import printable, shorten, treatment_names, unit_word

__all__ = ["Draw", "batches_told", "loss_story"]

Draw: TypeAlias = Callable[[Callable[[Analysis], Figure | None], Analysis], list[Figure]]
"""Draws a figure, or nothing on a terminal."""

_MOST_WORDS = 5


def batches_told(analysis: Analysis, draw: Draw) -> tuple[Block, ...]:
    """Say how many tries there were where whole batches were treated.

    Parameters
    ----------
    analysis : Analysis
    draw : callable
        Draws a figure.

    Returns
    -------
    tuple of Block
        A paragraph for each comparison, what to mind about the batches, and one figure; empty
        where units count for themselves.
    """
    from reports.figures.counting import figure_counting

    told = countings(analysis)
    if not told:
        return ()
    notes = " ".join(printable(note) for note in batch_notes(analysis.records))
    texts = [*(counting_paragraph(one, analysis) for one in told), notes]
    paragraphs = (Paragraph(text=text) for text in texts if text)
    return (*paragraphs, *draw(figure_counting, analysis))


def loss_story(analysis: Analysis, draw: Draw) -> tuple[Block, ...]:
    """Tell when units were lost, what was seen on them, and what that did to the yield.

    Parameters
    ----------
    analysis : Analysis
    draw : callable
        Draws a figure.

    Returns
    -------
    tuple of Block
        Empty where nothing was contaminated.
    """
    from reports.figures.loss_time import figure_loss_time
    from reports.figures.two_ways import figure_two_ways

    if analysis.loss_pattern is None:
        return ()
    return (
        Paragraph(text=_when(analysis)),
        *draw(figure_loss_time, analysis),
        *_seen_told(analysis),
        *draw(figure_two_ways, analysis),
    )


def _seen_told(analysis: Analysis) -> tuple[Block, ...]:
    pattern = analysis.loss_pattern
    if pattern is None or not any(one.seen for one in pattern.seen):
        return ()
    text = "What was seen, in the grower's words. It tells how it looked, not what it was."
    return (Paragraph(text=text), Bullets(items=_seen(analysis)))


def _when(analysis: Analysis) -> str:
    pattern, unit = analysis.loss_pattern, unit_word(analysis.records.trial)
    assert pattern is not None
    names = treatment_names(analysis.records.trial)
    said = []
    for stage in STAGES:
        counts = [(one.treatment, one.lost) for one in pattern.stages if one.stage == stage]
        total = sum(lost for _, lost in counts)
        if not total:
            continue
        sides = [(names[code], lost) for code, lost in counts if lost]
        split = listed(f"{lost} with {name}" for name, lost in sides)
        if len(sides) == 1:
            split = f"{'all ' if total > 1 else ''}with {sides[0][0]}"
        what = f"{counted(total, unit)} {be(total)} lost"
        if stage == "not known":
            said.append(f"Nothing shows at which stage {what} ({split}).")
        else:
            said.append(f"{what} {stage} ({split}).")
    return " ".join(said)


def _seen(analysis: Analysis) -> tuple[str, ...]:
    pattern, names = analysis.loss_pattern, treatment_names(analysis.records.trial)
    assert pattern is not None
    lines = []
    for one in analysis.records.trial.treatments:
        mine = [count for count in pattern.seen if count.treatment == one.code]
        if mine:
            lines.append(f"{names[one.code]}: {listed(_words(mine))}.")
    return tuple(lines)


def _words(mine: list[SeenCount]) -> list[str]:
    said = [f"“{shorten(printable(one.seen))}” ({one.lost})" for one in mine if one.seen]
    shown, rest = said[:_MOST_WORDS], sum(one.lost for one in mine if one.seen)
    rest -= sum(one.lost for one in [one for one in mine if one.seen][:_MOST_WORDS])
    silent = sum(one.lost for one in mine if not one.seen)
    if rest:
        shown.append(f"other words ({rest})")
    if silent:
        shown.append(f"nothing written ({silent})")
    return shown
