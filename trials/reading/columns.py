"""The one vocabulary: every column of the record book, with its unit and meaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from trials.measures import WeightUnit
from trials.trial import Trial

__all__ = [
    "FATE_WORDS",
    "HARVEST_COLUMNS",
    "SEEN_WORDS",
    "Column",
    "ColumnKind",
    "bag_columns",
    "flush_date",
    "flush_weight",
    "readable_columns",
]

ColumnKind: TypeAlias = Literal["code", "text", "fate", "date", "weight", "count"]

FATE_WORDS = ("finished", "contaminated", "lost otherwise", "still going")
"""What a grower may write as the fate of a unit."""

SEEN_WORDS = (
    "green patch",
    "black patch",
    "orange or pink dust",
    "grey fluff",
    "wet and sour",
    "torn",
    "dried out",
)
"""Plain descriptions by colour and look, offered but not forced; none is a diagnosis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the record book.

    Parameters
    ----------
    heading : str
        As it stands in the book, without a unit.
    kind : str
        What a cell holds.
    meaning : str
        For the grower, one or two sentences.
    given : bool
        Whether the program fills it in and the grower leaves it as it is.
    also : tuple of str
        Other headings that are understood.
    """

    heading: str
    kind: ColumnKind
    meaning: str
    given: bool = False
    also: tuple[str, ...] = ()

    def titled(self, unit: WeightUnit) -> str:
        """Give the heading with its unit, as it is printed: ``flush 1 (g)``."""
        return f"{self.heading} ({unit})" if self.kind == "weight" else self.heading


def flush_weight(flush: int) -> str:
    """Give the heading of a flush's weight."""
    return f"flush {flush}"


def flush_date(flush: int) -> str:
    """Give the heading of a flush's date."""
    return f"flush {flush} date"


def bag_columns(trial: Trial) -> tuple[Column, ...]:
    """Give the columns of the record book of a trial, in order.

    Parameters
    ----------
    trial : Trial
        Its unit word, number of flushes and blinding decide what is there.

    Returns
    -------
    tuple of Column
    """
    given = [one for one in _drawn(trial.unit) if _is_used(one.heading, trial)]
    return (*given, *_stages(trial.unit), *_flushes(trial), *_last(trial.unit))


def readable_columns(trial: Trial) -> tuple[Column, ...]:
    """Give every column that is understood, whether or not the record book prints it.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    tuple of Column
    """
    unit = trial.unit
    return (*_drawn(unit), *_stages(unit), *_flushes(trial), *_last(unit))


def _drawn(unit: str) -> tuple[Column, ...]:
    return (
        Column(heading="code", kind="code", given=True, also=("label", f"{unit} code"),
               meaning=f"The code on the label of the {unit}. Do not change it."),
        Column(heading="treatment", kind="text", given=True,
               meaning="The treatment it was drawn for."),
        Column(heading="block", kind="text", given=True,
               meaning=f"Where the {unit} stands, as drawn."),
        Column(heading="place", kind="text", given=True, also=("position",),
               meaning="Its place there, counted from 1."),
        Column(heading="batch", kind="text", given=True,
               meaning="The batch it was mixed and heat-treated in, as drawn."),
        Column(heading="column", kind="text", given=True,
               meaning="Its column in the table of places, as drawn; the block is its row."),
    )  # fmt: skip


def _is_used(heading: str, trial: Trial) -> bool:
    if heading == "treatment":
        return not trial.blind
    if heading == "block":
        return trial.design.layout != "completely random"
    if heading == "column":
        return bool(trial.design.column)
    in_batches = trial.design.applied_to == "batch" or bool(trial.design.batch_factor)
    return heading != "batch" or in_batches


def _stages(unit: str) -> tuple[Column, ...]:
    return (
        Column(heading="fate", kind="fate",
               meaning="How it ended: finished (picked to the end, or picking stopped for all), "
               "contaminated, lost otherwise (dropped, torn, eaten), or still going. "
               f"A {unit} that was thrown out for mould or sourness is contaminated."),
        Column(heading="lost on", kind="date", also=("lost", "thrown out on"),
               meaning="The day it was thrown out, if it was."),
        Column(heading="seen", kind="text", also=("what was seen",),
               meaning="What you saw on it, by colour and look; any words will do."),
        Column(heading="spawned", kind="date", also=("spawned on",),
               meaning="The day the spawn went in."),
        Column(heading="colonised", kind="date", also=("colonised on", "colonized"),
               meaning=f"The first day you found the whole {unit} white."),
        Column(heading="opened", kind="date", also=("opened on",),
               meaning="The day it was opened to fruit."),
        Column(heading="first pins", kind="date", also=("pins", "first pins on"),
               meaning="The first day you saw pins."),
        Column(heading="dry weight", kind="weight", also=("dry substrate", "dry substrate weight"),
               meaning="Weight of the dry ingredients in it, before water. Needed only for "
               "biological efficiency."),
    )  # fmt: skip


def _flushes(trial: Trial) -> tuple[Column, ...]:
    columns = []
    for flush in range(1, trial.flushes + 1):
        columns += [
            Column(heading=flush_date(flush), kind="date", also=(f"date {flush}",),
                   meaning=f"The last day of picking flush {flush}."),
            Column(heading=flush_weight(flush), kind="weight",
                   also=(f"flush {flush} weight", f"weight {flush}"),
                   meaning=f"All that was picked in flush {flush}. Write 0 when you looked and "
                   "there was nothing; leave it blank when it was not weighed."),
        ]  # fmt: skip
    return tuple(columns)


def _last(unit: str) -> tuple[Column, ...]:
    return (
        Column(heading="note", kind="text", also=("notes", "remarks"),
               meaning=f"Anything else worth knowing about this {unit}."),
    )  # fmt: skip


HARVEST_COLUMNS: tuple[Column, ...] = (
    Column(heading="code", kind="code", also=("label",), meaning="The code on the label."),
    Column(heading="date", kind="date", also=("picked", "picked on"),
           meaning="The day of picking."),
    Column(heading="weight", kind="weight", also=("picked weight", "yield"),
           meaning="What was picked. 0 when you looked and there was nothing."),
    Column(heading="flush", kind="count",
           meaning="Which flush; leave it out to have it found from the dates."),
    Column(heading="bodies", kind="count", also=("clusters", "fruit bodies"),
           meaning="How many fruit bodies or clusters, if you counted."),
    Column(heading="minutes", kind="count", also=("picking minutes", "labour", "labor"),
           meaning="Minutes that the picking took, if you timed it."),
    Column(heading="note", kind="text", also=("notes",), meaning="Anything else."),
)  # fmt: skip
"""The columns of ``harvests.csv``, one row a picking."""
