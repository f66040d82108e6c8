"""``layout.csv`` read back into a `Layout`, with every mistake at once."""

from __future__ import annotations

from pathlib import Path

from trials.bag_codes import is_sound
from trials.designs import randomisation
from trials.layout import LAYOUT_COLUMNS, TABLE_COLUMNS, Layout, Slot
from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems, nearest, one_of, too_many
from trials.reading.cells import Cell, read_count
from trials.reading.tables import RawTable, read_csv
from trials.trial import Trial
from trials.typed import typed

__all__ = ["LAYOUT_FILE", "read_layout"]

LAYOUT_FILE = "layout.csv"
_LONGEST_CELL = 300


def read_layout(folder: Path, trial: Trial) -> Layout:
    """Read the drawn layout of a trial folder.

    Parameters
    ----------
    folder : pathlib.Path
        The trial folder.
    trial : Trial
        The plan that it was drawn from.

    Returns
    -------
    Layout

    Raises
    ------
    Problems
        There is none, or it is not whole.
    """
    path = folder / LAYOUT_FILE
    if path.exists() and not path.is_file():
        mend = "Move aside what has its name, and put back the layout as it was drawn."
        raise Problems([Problem(file=LAYOUT_FILE, what="is no file", mend=mend)])
    if not path.is_file():
        mend = f"Draw it with: pinset layout {typed(folder)}"
        raise Problems([Problem(file=LAYOUT_FILE, what="there is no layout yet", mend=mend)])
    table = read_csv(path)
    missing = [name for name in _columns(trial) if name not in table.headings]
    if missing:
        what = f"has no column {one_of(missing)}"
        mend = "Put back the layout as it was drawn."
        raise Problems([Problem(file=LAYOUT_FILE, what=what, mend=mend)])
    problems: list[Problem] = []
    slots = _slots(table, trial, problems)
    if not slots and not problems:
        what = "holds no rows"
        problems.append(Problem(file=LAYOUT_FILE, what=what, mend="Put back the layout as drawn."))
    Problems.unless_clean(problems)
    return Layout(slots=tuple(slots), seed=trial.design.seed, randomisation=randomisation(trial))


def _columns(trial: Trial) -> tuple[str, ...]:
    return (*LAYOUT_COLUMNS, *TABLE_COLUMNS) if trial.design.column else LAYOUT_COLUMNS


def _slots(table: RawTable, trial: Trial, problems: list[Problem]) -> list[Slot]:
    places = {name: table.headings.index(name) for name in _columns(trial)}
    treatments = [one.code for one in trial.treatments]
    slots: list[Slot] = []
    first_row: dict[str, int] = {}
    for row, cells in table.rows:
        if too_many(problems, LAYOUT_FILE, row):
            break
        text = {name: _text(cells, place) for name, place in places.items()}
        position = read_count(text["position"])

        def wrong(column: str, what: str, mend: str, row: int = row) -> None:
            problems.append(Problem(file=LAYOUT_FILE, row=row, column=column, what=what, mend=mend))

        if not is_sound(text["code"]):
            what = f"“{text['code'][:20]}” is not a code as it was drawn"
            wrong("code", what, "Put back the code from the label.")
        elif text["code"] in first_row:
            what = f"“{text['code']}” stands in row {first_row[text['code']]} already"
            wrong("code", what, "Put back the layout as drawn.")
        first_row.setdefault(text["code"], row)
        if text["treatment"] not in treatments:
            meant = nearest(text["treatment"], treatments)
            hint = f"Did you mean “{meant}”? " if meant else ""
            what = f"“{text['treatment'][:20]}” is no treatment of the plan"
            wrong("treatment", what, f"{hint}Allowed: {one_of(treatments)}.")
        if position.value is None or position.value < 1:
            wrong("position", position.what or "is blank", "Write the place, from 1.")
            continue
        slots.append(
            Slot(
                code=text["code"],
                treatment=text["treatment"],
                block=text["block"],
                batch=text["batch"],
                position=position.value,
                row=text.get("row", ""),
                column=text.get("column", ""),
            )
        )
    return slots


def _text(cells: tuple[Cell, ...], place: int) -> str:
    found = cells[place] if place < len(cells) else None
    return "" if found is None else tidy_text(str(found)[:_LONGEST_CELL])
