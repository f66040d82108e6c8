"""The rows of ``harvests.csv``: one picking each, gathered into flushes."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from trials.problems import Problem, too_many
from trials.reading.bag_rows import BagRow, find_code
from trials.reading.cells import Reading, read_count, read_date, read_weight
from trials.reading.columns import HARVEST_COLUMNS
from trials.reading.flush_states import last_flush
from trials.reading.headings import match_headings
from trials.reading.raw_row import RawRow
from trials.reading.tables import RawTable
from trials.trial import Trial

__all__ = ["Picking", "add_pickings", "flush_numbers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picking:
    """One picking.

    Parameters
    ----------
    row : int
        As the spreadsheet shows it.
    code : str
        The unit it came from.
    day : datetime.date or None
        When.
    grams : float
        How much.
    flush, bodies, minutes : int or None
        As given.
    """

    row: int
    code: str
    day: dt.date | None
    grams: float
    flush: int | None
    bodies: int | None = None
    minutes: int | None = None


def add_pickings(
    table: RawTable, trial: Trial, bags: list[BagRow], problems: list[Problem]
) -> None:
    """Read the pickings and add their weights and days to the units.

    A flush that a finished unit has no picking of counts as 0 g, if it was picked on any unit:
    someone who keeps a list of pickings writes down none where there was none.

    Parameters
    ----------
    table : RawTable
    trial : Trial
        Its number of flushes and `flush_gap_days`.
    bags : list of BagRow
        Weights and days are added to these.
    problems : list of Problem
        Where everything wrong or doubtful is added.
    """
    by_code: dict[str, list[Picking]] = defaultdict(list)
    for picking in _pickings(table, trial, bags, problems):
        by_code[picking.code].append(picking)
    for bag in bags:
        _gather(bag, by_code.get(bag.slot.code, []), table.file, trial, problems)
        if bag.fate == "finished" and bag.slot.code not in by_code:
            what = f"{bag.slot.code} is finished and no picking of it is listed, so it counts as 0"
            mend = "Look whether rows were lost; write a picking of 0 if there was nothing."
            problems.append(Problem(file=table.file, what=what, mend=mend, weight="doubt"))
    last = last_flush(bags, trial)
    for bag in bags:
        if bag.fate == "finished":
            for flush in range(1, last + 1):
                bag.weights.setdefault(flush, 0.0)


def flush_numbers(days: list[dt.date], gap: int) -> list[int]:
    """Give the flush of each of some days in order: a gap of `gap` days or more begins a new one.

    Examples
    --------
    >>> flush_numbers([dt.date(2026, 5, day) for day in (1, 3, 12, 13)], gap=5)
    [1, 1, 2, 2]
    """
    numbers: list[int] = []
    for index, day in enumerate(days):
        new = index > 0 and (day - days[index - 1]).days >= gap
        numbers.append((numbers[-1] if numbers else 1) + int(new))
    return numbers


def _pickings(
    table: RawTable, trial: Trial, bags: list[BagRow], problems: list[Problem]
) -> list[Picking]:
    problems.extend(table.problems)
    places = match_headings(table, HARVEST_COLUMNS, problems)
    missing = [name for name in ("code", "weight") if name not in places]
    if "date" not in places and "flush" not in places:
        missing.append("date")
    for name in missing:
        what = f"there is no column “{name}”"
        problems.append(Problem(file=table.file, what=what, mend="Add it to the first row."))
    if missing:
        return []
    slots = {bag.slot.code: bag.slot for bag in bags}
    read: list[Picking] = []
    seen: dict[tuple[object, ...], int] = {}
    for number, cells in table.rows:
        if too_many(problems, table.file, number):
            break
        found = RawRow(table=table, number=number, cells=cells, places=places, problems=problems)
        slot, what, mend = find_code(found.cell("code"), slots)
        if slot is None:
            found.wrong("code", what, mend)
            continue
        picking = _picking(found, slot.code, trial)
        if picking is None:
            continue
        same = (picking.code, picking.day, picking.grams, picking.flush)
        if same in seen:
            what = f"says the same as row {seen[same]}"
            found.wrong("code", what, "If it was one picking, delete one row.", doubt=True)
        seen.setdefault(same, number)
        read.append(picking)
    return read


def _picking(row: RawRow, code: str, trial: Trial) -> Picking | None:
    unit = row.places["weight"].unit or trial.weights
    weight = read_weight(row.cell("weight"), unit)
    day, flush = read_date(row.cell("date")), read_count(row.cell("flush"))
    bodies, minutes = read_count(row.cell("bodies")), read_count(row.cell("minutes"))
    readings: dict[str, Reading[float] | Reading[int] | Reading[dt.date]] = {
        "weight": weight, "date": day, "flush": flush, "bodies": bodies, "minutes": minutes
    }  # fmt: skip
    wrong = False
    for heading, reading in readings.items():
        if reading.what:
            row.wrong(heading, reading.what, reading.mend)
            wrong = True
    if flush.value is not None and not 1 <= flush.value <= trial.flushes:
        mend = "Mend the number, or set flushes in trial.toml to how many you picked."
        row.wrong("flush", f"flush {flush.value}, and the plan has {trial.flushes}", mend)
        wrong = True
    if weight.value is None and not weight.what:
        row.wrong("weight", "is blank", "Write the weight; 0 when there was nothing.")
        wrong = True
    if day.value is None and flush.value is None and not wrong:
        row.wrong("date", "has neither a day nor a flush number", "Write one of them.")
        wrong = True
    if wrong or weight.value is None:
        return None
    return Picking(
        row=row.number, code=code, day=day.value, grams=weight.value, flush=flush.value,
        bodies=bodies.value, minutes=minutes.value,
    )  # fmt: skip


def _gather(
    bag: BagRow, pickings: list[Picking], file: str, trial: Trial, problems: list[Problem]
) -> None:
    """Sum the pickings of one unit by flush."""

    def wrong(picking: Picking, what: str, mend: str) -> None:
        problems.append(Problem(file=file, row=picking.row, column="flush", what=what, mend=mend))

    given = [one for one in pickings if one.flush is not None]
    if given and len(given) < len(pickings):
        bare = next(one for one in pickings if one.flush is None)
        what = f"no flush number, and other pickings of {bag.slot.code} have one"
        wrong(bare, what, "Give every picking of this unit its flush, or none.")
        return
    if given:
        numbered = [(one, one.flush or 0) for one in pickings]
    else:
        ordered = sorted(pickings, key=lambda one: one.day or dt.date.min)
        days = [one.day for one in ordered if one.day is not None]
        numbered = list(zip(ordered, flush_numbers(days, trial.flush_gap_days), strict=True))
    for picking, flush in numbered:
        if flush > trial.flushes:
            what = f"this picking begins flush {flush} of {bag.slot.code} by the gap between days"
            mend = (
                f"The plan has {trial.flushes}. A gap of {trial.flush_gap_days} days begins a new "
                "flush: set flush_gap_days or flushes in trial.toml, or give flush numbers."
            )
            wrong(picking, what, mend)
            return
        bag.weights[flush] = bag.weights.get(flush, 0.0) + picking.grams
        if picking.day is not None:
            bag.picked[flush] = max(bag.picked.get(flush, picking.day), picking.day)
        if picking.bodies is not None:
            bag.bodies[flush] = bag.bodies.get(flush, 0.0) + picking.bodies
        if picking.minutes is not None:
            bag.minutes[flush] = bag.minutes.get(flush, 0.0) + picking.minutes
