"""Flushes in words: what one keeps of the one before, what did not come, what it adds up to."""

from __future__ import annotations

import math

from analyses.analysis import Analysis
from analyses.flush.story import FlushStory, Kept, Outlook
from reports.parts.blocks import Table
from reports.wording.grammar import be, capital, in_words, listed, plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, measure, number, round_span

__all__ = [
    "came_table", "expected_table", "flush_lines", "kept_lines", "lost_between", "no_end_lines",
    "steps_said",
]  # fmt: skip

_NOTHING = "–"


def _hundred(value: float, low: float, high: float) -> str:
    """Say a share with its range: about 47 in a hundred (between 45 and 48)."""
    span = round_span(100 * value, 100 * low, 100 * high, finest=1.0)
    said = f"about {number(span.value, span.step)} in a hundred"
    if not math.isfinite(low + high) or 100 * high > 1000:
        return said
    return f"{said} (between {number(span.low, span.step)} and {number(span.high, span.step)})"


def flush_lines(analysis: Analysis) -> tuple[str, ...]:
    """Say what a flush keeps of the one before, and whether the fall is even.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of str
        Empty where no two flushes came.
    """
    story = analysis.story
    if story is None:
        return ()
    unit = unit_word(analysis.records.trial)
    lines = [_picked(story)]
    whole = story.kept_by("")
    if whole is not None and not story.curved:
        several = sum(1 for one in story.kept if one.treatment) > 1
        lines.append(
            f"Where a {unit} gave another flush, it weighed "
            f"{_hundred(whole.value, whole.low, whole.high)} of the flush before"
            f"{', over all treatments together' if several else ''}."
        )
    lines.append(steps_said(story))
    return tuple(line for line in lines if line)


def _picked(story: FlushStory) -> str:
    if story.picked == story.planned:
        return ""
    planned = "One flush was" if story.planned == 1 else f"{in_words(story.planned)} flushes were"
    return (
        f"{capital(planned)} planned; picking stopped for all after flush {story.picked}. What "
        "later flushes would have brought was not seen."
    )


def steps_said(story: FlushStory) -> str:
    """Say the steps one by one where the fall is not even.

    Parameters
    ----------
    story : FlushStory
    """
    if math.isnan(story.curvature_p):
        return ""
    if not story.curved:
        return "Nothing in these records speaks against an even fall from flush to flush."
    steps = [one for one in story.steps if not one.treatment]
    said = listed(
        f"flush {one.flush} brought {_hundred(one.value, one.low, one.high)} of flush "
        f"{one.flush - 1}" for one in steps
    )  # fmt: skip
    return f"The fall is not even. Where they came, {said}."


def kept_lines(analysis: Analysis) -> tuple[str, ...]:
    """Say for each treatment what share of a flush the next one keeps.

    Parameters
    ----------
    analysis : Analysis
    """
    story = analysis.story
    if story is None:
        return ()
    names = treatment_names(analysis.records.trial)
    own: list[Kept] = [one for one in story.kept if one.treatment]
    if len(own) < 2:
        return ()
    return tuple(
        f"{names[one.treatment]}: {_hundred(one.value, one.low, one.high)} kept." for one in own
    )


def no_end_lines(analysis: Analysis) -> tuple[str, ...]:
    """Say what picking without end would reach, and how much of it was picked.

    Parameters
    ----------
    analysis : Analysis
    """
    story = analysis.story
    if story is None or story.curved or story.picked < 2:
        return ()
    names = treatment_names(analysis.records.trial)
    told = (_no_end(one, names[one.treatment], story, analysis) for one in story.outlooks)
    return tuple(line for line in told if line)


def _no_end(one: Outlook, name: str, story: FlushStory, analysis: Analysis) -> str:
    trial = analysis.records.trial
    unit, gram = unit_word(trial), measure("g", trial.weights)
    if math.isnan(one.no_end.value):
        return ""
    opening = (
        f"{name}: picked without end, and falling on as before, a {unit} that is never lost and "
        "always gives"
    )
    if not math.isfinite(one.no_end.value):
        return f"{opening} would have no end; these flushes do not fall."
    total = _weight(one.no_end.value, one.no_end.low, one.no_end.high, gram)
    return (
        f"{opening} would reach {total}; the first {in_words(story.picked)} flushes are about "
        f"{100 * one.picked_share:.0f} in a hundred of that."
    )


def _weight(value: float, low: float, high: float, gram: Measure) -> str:
    if not math.isfinite(low + high):
        at = 10.0 ** (math.floor(math.log10(abs(value / gram.per))) - 1) if value else 1.0
        tail = "" if math.isnan(low + high) else ", with no upper end that these records could set"
        return f"about {gram.say(value / gram.per, max(at, gram.finest))}{tail}"
    span = round_span(value / gram.per, low / gram.per, high / gram.per, finest=gram.finest)
    low_said, high_said = (number(one, span.step) for one in (span.low, span.high))
    return f"about {gram.say(span.value, span.step)} (between {low_said} and {high_said})"


_FATES = (
    ("came", "came"), ("nothing", "nothing there"), ("lost_before", "thrown out before"),
    ("still_picking", "not that far yet"), ("stopped", "picking had stopped"),
    ("unknown", "not written down"),
)  # fmt: skip


def came_table(analysis: Analysis) -> Table | None:
    """Show what became of the units at each flush, every unit in one place.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Table or None
        None where every flush of every unit came.
    """
    story = analysis.story
    if story is None or all(one.came == one.started for one in story.counts):
        return None
    trial = analysis.records.trial
    names, units = treatment_names(trial), plural(unit_word(trial))
    used = [
        (field, words) for field, words in _FATES
        if field == "came" or any(getattr(one, field) for one in story.counts)
    ]  # fmt: skip
    return Table(
        caption=f"What became of the {units} at each flush",
        columns=("Treatment", "Flush", "Started", *(capital(words) for _, words in used)),
        rows=tuple(
            (names[one.treatment], str(one.flush), str(one.started),
             *(str(getattr(one, field)) for field, _ in used))
            for one in story.counts
        ),
        numeric=(False, True, True, *(True for _ in used)),
    )  # fmt: skip


def expected_table(analysis: Analysis) -> Table | None:
    """Show what each flush brings per unit started, losses and flushes that fail counted in.

    Parameters
    ----------
    analysis : Analysis
    """
    story = analysis.story
    if story is None or not story.expected or story.picked < 2:
        return None
    trial = analysis.records.trial
    names, unit, gram = treatment_names(trial), unit_word(trial), measure("g", trial.weights)
    rows = []
    for outlook in story.outlooks:
        for one in story.expected:
            if one.treatment != outlook.treatment or one.foretold:
                continue
            share = number(100 * one.share.value, 1.0)
            rows.append(
                (names[one.treatment], str(one.flush), *_cells(one.grams, gram), f"{share} %")
            )
        total = _cells(outlook.total, gram)
        rows.append((names[outlook.treatment], "all", *total, "100 %"))
    return Table(
        caption=f"What to expect per {unit} started, {gram.word}: thrown out and not come counted "
        "as nothing",
        columns=("Treatment", "Flush", "Expected", "Range that fits", "Share of all"),
        rows=tuple(rows),
        numeric=(False, True, True, True, True),
    )


def _cells(span: object, gram: Measure) -> tuple[str, str]:
    value, low, high = (getattr(span, name) / gram.per for name in ("value", "low", "high"))
    if not math.isfinite(low + high):
        at = 10.0 ** (math.floor(math.log10(abs(value))) - 2) if value else 1.0
        return number(value, max(at, gram.finest)), _NOTHING
    rounded = round_span(value, low, high, finest=gram.finest)
    ends = (number(one, rounded.step) for one in (rounded.low, rounded.high))
    return number(rounded.value, rounded.step), " to ".join(ends)


def lost_between(analysis: Analysis) -> str:
    """Say how many units were thrown out after their first flush; empty where none was.

    Parameters
    ----------
    analysis : Analysis
    """
    story, unit = analysis.story, unit_word(analysis.records.trial)
    if story is None:
        return ""
    last = [one for one in story.counts if one.flush == story.picked]
    first = [one for one in story.counts if one.flush == 1]
    number_lost = sum(one.lost_before for one in last) - sum(one.lost_before for one in first)
    if number_lost < 1:
        return ""
    units = unit if number_lost == 1 else plural(unit)
    return f"{number_lost} {units} {be(number_lost)} thrown out between flushes."
