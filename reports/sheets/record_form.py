"""The record sheet for a wet room: big rows, one a unit, to be copied into the record book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports.parts.cautions import for_sheets
from reports.sheets.frame import framed, place_of
from reports.wording.grammar import listed
from reports.wording.names import printable, shorten, unit_word
from trials.layout import Layout, Slot
from trials.reading.columns import FATE_WORDS, Column, bag_columns
from trials.trial import Trial

__all__ = ["record_sheet"]

_FLUSHES_A_PART = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heading:
    """A column of the printed table."""

    heading: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A table that fits the width of the paper."""

    heading: str
    hint: str
    columns: tuple[_Heading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """What is printed at the left of a row."""

    code: str
    place: str


def record_sheet(trial: Trial, layout: Layout) -> str:
    """Give the record sheet, with the columns of the record book.

    Parameters
    ----------
    trial : Trial
        A blind one has no treatments on it.
    layout : Layout
        The drawn places.

    Returns
    -------
    str
        One HTML document, landscape, for A4 and Letter.
    """
    rows = tuple(_Row(code=slot.code, place=_where(slot, trial)) for slot in layout.slots)
    return framed(
        "record_sheet.html",
        trial,
        kind="Record sheet",
        page_style="@page { size: landscape; margin: 10mm; }",
        lines=(
            "Write with a pencil or a waterproof pen. Write 0 when you looked and there was "
            "nothing. Leave a blank only for what was not looked at.",
        ),
        cautions=for_sheets("record sheet"),
        parts=_parts(trial),
        rows=rows,
    )


def _where(slot: Slot, trial: Trial) -> str:
    if trial.blind:
        return place_of(slot)
    return f"{place_of(slot)}, {shorten(printable(slot.treatment), 14)}"


def _parts(trial: Trial) -> tuple[_Part, ...]:
    wanted = [column for column in bag_columns(trial) if not column.given]
    picking = [column for column in wanted if column.heading.startswith("flush ")]
    growing = [column for column in wanted if column not in picking]
    unit = unit_word(trial)
    parts = [
        _Part(
            heading="From spawn to the end",
            hint=f"Fate: {listed(FATE_WORDS, last='or')}. Dates as year-month-day. A {unit} thrown "
            "out for mould or sourness is contaminated; write the day and the colour you saw. Dry "
            "weight is that of the ingredients before water; leave it blank if you do not know it.",
            columns=_headings(growing, trial),
        )
    ]
    step = 2 * _FLUSHES_A_PART
    for start in range(0, len(picking), step):
        parts.append(
            _Part(
                heading="Picking",
                hint=f"One weight a flush: all that was picked from the {unit} in it, in "
                f"{trial.weights}. The date is the last day of picking.",
                columns=_headings(picking[start : start + step], trial),
            )
        )
    return tuple(parts)


def _headings(columns: Sequence[Column], trial: Trial) -> tuple[_Heading, ...]:
    shown = [_Heading(heading=one.titled(trial.weights), kind=one.kind) for one in columns]
    return (_Heading(heading="code and place", kind="first"), *shown)
