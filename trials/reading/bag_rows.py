"""The rows of the record book or of ``bags.csv``: one unit each, cell by cell."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TypeVar

from trials.bag_codes import likely_codes, tidy_code
from trials.layout import Layout, Slot
from trials.plan_reader import tidy_text
from trials.problems import Problem, one_of, too_many
from trials.reading.cells import (
    Cell,
    Reading,
    is_blank,
    read_count,
    read_date,
    read_fate,
    read_weight,
)
from trials.reading.columns import flush_date, flush_weight, readable_columns
from trials.reading.headings import Place, match_headings
from trials.reading.raw_row import RawRow
from trials.reading.tables import RawTable
from trials.trial import Trial

__all__ = ["DATE_FIELDS", "BagRow", "find_code", "read_bag_rows"]

Value = TypeVar("Value")

DATE_FIELDS = {
    "spawned": "spawned",
    "colonised": "colonised",
    "opened": "opened",
    "first pins": "first_pins",
    "lost on": "lost_on",
}
"""Headings of the days of a unit, and the columns that they become."""


@dataclass(slots=True, kw_only=True)
class BagRow:
    """What stands in one row.

    Parameters
    ----------
    row : int
        As the spreadsheet shows it.
    slot : Slot
        The unit that it belongs to.
    fate, seen, note : str
        Empty when blank.
    dry_weight_g : float or None
        Grams.
    days : dict of str to datetime.date
        By heading, those that are given.
    weights, picked, bodies, minutes : dict
        Grams, day, fruit bodies and minutes of picking by flush, those that are given.
    unread : set of str
        Headings under which something stands that could not be read, and is told as a mistake.
    """

    row: int
    slot: Slot
    fate: str = ""
    seen: str = ""
    note: str = ""
    dry_weight_g: float | None = None
    days: dict[str, dt.date] = field(default_factory=dict)
    weights: dict[int, float] = field(default_factory=dict)
    picked: dict[int, dt.date] = field(default_factory=dict)
    bodies: dict[int, float] = field(default_factory=dict)
    minutes: dict[int, float] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)


def read_bag_rows(
    table: RawTable, trial: Trial, layout: Layout, problems: list[Problem], *, weighed: bool
) -> list[BagRow]:
    """Read the rows of the record book.

    Parameters
    ----------
    table : RawTable
    trial : Trial
    layout : Layout
    problems : list of Problem
        Where everything wrong or doubtful is added.
    weighed : bool
        Whether the weights of the flushes should stand in this table.

    Returns
    -------
    list of BagRow
        One a unit that was found, in the order of the file.
    """
    problems.extend(table.problems)
    places = match_headings(table, readable_columns(trial), problems)
    if not _has_needed(table, places, trial, problems, weighed=weighed):
        return []
    slots = {slot.code: slot for slot in layout.slots}
    first_row: dict[str, int] = {}
    misnamed: set[str] = set()
    read = []
    for number, cells in table.rows:
        if too_many(problems, table.file, number):
            break
        row = RawRow(table=table, number=number, cells=cells, places=places, problems=problems)
        slot, what, mend = find_code(row.cell("code"), slots)
        if slot is None:
            stood = _drawn_there(row, layout)
            if stood is not None:
                misnamed.add(stood.code)
                drawn = f"“{stood.code}”, which was drawn for the place in this row"
                mend = f"Most likely {drawn}. Look at the label."
            row.wrong("code", what, mend)
            continue
        if slot.code in first_row:
            what = f"“{slot.code}” stands in row {first_row[slot.code]} already"
            row.wrong("code", what, "Look at both labels; each has its own code.")
            continue
        first_row[slot.code] = number
        _compare_with_draw(row, slot, trial)
        read.append(_bag(row, slot, trial))
    _missing(table, layout, {*first_row, *misnamed}, trial, problems)
    return read


def find_code(cell: Cell, slots: dict[str, Slot]) -> tuple[Slot | None, str, str]:
    """Find the unit that a written code belongs to.

    Parameters
    ----------
    cell : Cell
        As written.
    slots : dict of str to Slot
        By code.

    Returns
    -------
    slot : Slot or None
    what, mend : str
        What is wrong and how to mend it; empty when it was found.
    """
    if type(cell) is str and cell in slots:
        return slots[cell], "", ""
    if is_blank(cell):
        return None, "is blank, and the row holds entries", "Write the code from the label."
    written = tidy_text(str(cell)[:100])
    slot = slots.get(tidy_code(written))
    if slot is not None:
        return slot, "", ""
    likely = likely_codes(written, slots)
    hint = f"Most likely {one_of(likely)}. " if likely else ""
    return None, f"“{written[:20]}” is no code of this trial", f"{hint}Look at the label."


def _drawn_there(row: RawRow, layout: Layout) -> Slot | None:
    """Give the unit whose block and place the row still names, as the record book came."""
    block, place = row.text("block"), read_count(row.cell("place")).value
    if not block or place is None:
        return None
    there = [one for one in layout.slots if one.block == block and one.position == place]
    return there[0] if len(there) == 1 else None


def _has_needed(
    table: RawTable,
    places: dict[str, Place],
    trial: Trial,
    problems: list[Problem],
    *,
    weighed: bool,
) -> bool:
    needed = ["code", "fate"]
    if weighed and trial.aim.outcome in ("yield", "flush drop"):
        needed += [flush_weight(flush) for flush in range(1, trial.flushes + 1)]
    missing = [name for name in needed if name not in places]
    for name in missing:
        mend = f"Add it. The first row holds the headings; here they are: {_listed(table)}."
        what = f"there is no column “{name}”"
        problems.append(Problem(file=table.file, what=what, mend=mend))
    return "code" not in missing


def _listed(table: RawTable) -> str:
    names = [f"“{one[:40]}”" for one in table.headings if one]
    return ", ".join(names[:20]) or "none"


def _compare_with_draw(row: RawRow, slot: Slot, trial: Trial) -> None:
    written = row.text("treatment").casefold()
    drawn = trial.treatment(slot.treatment)
    if written and written not in (drawn.code.casefold(), drawn.name.casefold()):
        here = row.text("treatment", 40)
        what = f"{slot.code} was drawn for “{drawn.code}”, and here it is “{here}”"
        mend = (
            "Look at the label and the mixing notes. A unit that truly got another treatment "
            "cannot count as drawn: give it the fate “lost otherwise” and say so in the note."
        )
        row.wrong("treatment", what, mend)
    for heading, value in (
        ("block", slot.block), ("batch", slot.batch), ("column", slot.column)
    ):  # fmt: skip
        given = row.text(heading)
        if given and value and given.casefold() != value.casefold():
            what = f"{slot.code} was drawn for {value}, and here it is {given[:40]}"
            row.wrong(heading, what, "It counts where it was drawn.", doubt=True)


def _bag(row: RawRow, slot: Slot, trial: Trial) -> BagRow:
    bag = BagRow(row=row.number, slot=slot, seen=row.text("seen"), note=row.text("note"))
    fate = read_fate(row.cell("fate"))
    _take(row, bag, "fate", fate)
    bag.fate = fate.value or ""
    bag.dry_weight_g = _weight(row, bag, "dry weight", trial)
    for heading in DATE_FIELDS:
        day = _date(row, bag, heading)
        if day is not None:
            bag.days[heading] = day
    for flush in range(1, trial.flushes + 1):
        grams = _weight(row, bag, flush_weight(flush), trial)
        day = _date(row, bag, flush_date(flush))
        if grams is not None:
            bag.weights[flush] = grams
        if day is not None:
            bag.picked[flush] = day
    return bag


def _weight(row: RawRow, bag: BagRow, heading: str, trial: Trial) -> float | None:
    place = row.places.get(heading)
    reading = read_weight(row.cell(heading), (place and place.unit) or trial.weights)
    _take(row, bag, heading, reading)
    return reading.value


def _date(row: RawRow, bag: BagRow, heading: str) -> dt.date | None:
    reading = read_date(row.cell(heading))
    _take(row, bag, heading, reading)
    return reading.value


def _take(row: RawRow, bag: BagRow, heading: str, reading: Reading[Value]) -> None:
    """Add what a reading found wrong, and remember that something stands there."""
    if reading.what:
        row.take(heading, reading)
        bag.unread.add(heading)


def _missing(
    table: RawTable,
    layout: Layout,
    found: set[str],
    trial: Trial,
    problems: list[Problem],
) -> None:
    absent = [code for code in layout.codes if code not in found]
    if not absent:
        return
    named = ", ".join(absent[:12]) + (f" and {len(absent) - 12} more" if len(absent) > 12 else "")
    stand = f"{trial.unit} {named} stands" if len(absent) == 1 else f"{named} stand"
    problems.append(
        Problem(
            file=table.file,
            column="code",
            what=f"{stand} in the layout and not here",
            mend=f"Every {trial.unit} needs a row, lost ones too: add it with its fate.",
        )
    )
