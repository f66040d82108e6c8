"""The records of a trial, checked: one row a unit, one row a picking."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

import pandas as pd

from trials.layout import Layout
from trials.layout_file import LAYOUT_FILE, read_layout
from trials.lock import LOCK_FILE, Lock, read_lock
from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems
from trials.reading.bag_checks import check_bags
from trials.reading.bag_rows import BagRow, read_bag_rows
from trials.reading.flush_states import bag_frame, flush_frame, settle_fates
from trials.reading.harvest_rows import add_pickings
from trials.reading.tables import RawTable, read_csv
from trials.reading.workbook import read_sheet
from trials.trial import Trial
from trials.trial_file import TRIAL_FILE, read_trial

__all__ = ["BAGS_FILE", "BOOK_FILE", "FATES", "HARVESTS_FILE", "Fate", "Records", "read"]

BOOK_FILE = "records.xlsx"
BAGS_FILE = "bags.csv"
HARVESTS_FILE = "harvests.csv"
_SHEETS = {".xlsx", ".xlsm", ".xls", ".ods", ".csv", ".numbers"}

Fate: TypeAlias = Literal[
    "finished", "contaminated", "lost otherwise", "still going", "not recorded"
]
FATES: tuple[Fate, ...] = (
    "finished",
    "contaminated",
    "lost otherwise",
    "still going",
    "not recorded",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Records:
    """What became of each unit.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    bags : pandas.DataFrame
        One row a unit of the layout, in its order. Columns: code, treatment, block, batch, row,
        column (text), position (whole number), fate (one of `FATES`), seen, note (text),
        dry_weight_g (grams, NaN unknown), spawned, colonised, opened, first_pins, lost_on
        (dates, NaT unknown), total_g (grams over all flushes; NaN where a flush that should be
        there is missing),
        missing_flushes (how many are missing).
    flushes : pandas.DataFrame
        One row a unit and planned flush. Columns: code, treatment, block, batch (text), flush
        (from 1), grams (NaN unless weighed), state (``weighed``, ``missing``, ``after loss``,
        ``not yet``, ``not picked``), date (of the last picking of the flush, NaT unknown), bodies
        (fruit bodies or clusters) and minutes (of picking), NaN where not counted.
    doubts : tuple of Problem
        What is doubtful but did not stop the reading.
    sources : tuple of str
        Names of the files read.
    lock : Lock or None
        Plan and layout as they were at the draw; None where there is no ``plan.lock``.
    """

    trial: Trial
    layout: Layout
    bags: pd.DataFrame
    flushes: pd.DataFrame
    doubts: tuple[Problem, ...]
    sources: tuple[str, ...]
    lock: Lock | None = None


def read(folder: Path | str) -> Records:
    """Read plan, layout and records of a trial folder.

    Parameters
    ----------
    folder : pathlib.Path or str
        The trial folder. The records are ``records.xlsx``, or ``bags.csv``, or ``bags.csv`` with
        ``harvests.csv``.

    Returns
    -------
    Records

    Raises
    ------
    Problems
        Every mistake in the files, and every doubt, at once.

    Examples
    --------
    >>> records = read("data/demos/mixes")
    >>> len(records.bags)
    48
    """
    folder = Path(folder)
    trial = read_trial(folder)
    layout = read_layout(folder, trial)
    lock = read_lock(folder)
    problems = _draw_problems(trial, layout, lock)
    table, harvests = _sources(folder)
    bags = read_bag_rows(table, trial, layout, problems, weighed=harvests is None)
    if harvests is not None:
        _refuse_two_places(bags, table, harvests, problems)
        add_pickings(harvests, trial, bags, problems)
    settle_fates(bags, trial, table.file, problems)
    check_bags(bags, trial, table.file, problems)
    order = {code: place for place, code in enumerate(layout.codes)}
    bags.sort(key=lambda bag: order[bag.slot.code])
    # A blank is told as doubtful only when all else is well: a column left out makes many.
    Problems.unless_clean(problems)
    flushes = flush_frame(bags, trial, table.file, problems)
    doubts = tuple(problems)
    return Records(
        trial=trial,
        layout=layout,
        bags=bag_frame(bags, flushes),
        flushes=flushes,
        doubts=doubts,
        sources=(table.file,) if harvests is None else (table.file, harvests.file),
        lock=lock,
    )


def _draw_problems(trial: Trial, layout: Layout, lock: Lock | None) -> list[Problem]:
    """Hold plan and layout against what was locked at the draw."""
    if lock is None:
        what = "there is none, so nothing shows what was planned before the first bag"
        mend = "Everything will be told as explored, not as planned."
        return [Problem(file=LOCK_FILE, what=what, mend=mend, weight="doubt")]
    problems = []
    if not lock.fits_layout(layout):
        what = "the layout was changed after the draw"
        mend = "Put it back as it was drawn, or draw again with --redraw."
        problems.append(Problem(file=LAYOUT_FILE, what=what, mend=mend))
    if not lock.fits_design(trial):
        what = "design or treatment codes were changed after the draw"
        mend = "Put them back as they were (plan.lock shows them), or draw again with --redraw."
        problems.append(Problem(file=TRIAL_FILE, key="design", what=what, mend=mend))
    return problems


def _sources(folder: Path) -> tuple[RawTable, RawTable | None]:
    """Find the one place where the records stand."""
    book, text, pickings = (folder / name for name in (BOOK_FILE, BAGS_FILE, HARVESTS_FILE))
    harvests = read_csv(pickings) if pickings.is_file() else None
    if text.is_file():
        if book.is_file() and _is_begun(book):
            what = f"{BOOK_FILE} and {BAGS_FILE} both hold records"
            mend = "Keep one of the two here, and move the other out of the folder."
            raise Problems([Problem(file=BAGS_FILE, what=what, mend=mend)])
        return read_csv(text), harvests
    strays = [one.name for one in (book, text) if one.exists() and not one.is_file()]
    if strays:
        mend = "Move aside what has its name, and put the records in its place."
        raise Problems([Problem(file=strays[0], what="is no file", mend=mend)])
    if not book.is_file():
        what = f"there are no records: neither {BOOK_FILE} nor {BAGS_FILE}"
        mend = f"Draw the layout, which makes {BOOK_FILE}, and fill it in."
        others = _other_sheets(folder)
        if others:
            what += f", but {others[0]}"
            mend = f"If that holds them, save it as {BOOK_FILE} (a workbook, .xlsx) in the folder."
        raise Problems([Problem(file=BOOK_FILE, what=what, mend=mend)])
    table = read_sheet(book, "bags")
    if table is None:
        what = "has no sheet named “bags”"
        raise Problems([Problem(file=BOOK_FILE, what=what, mend="Give the sheet its name back.")])
    return table, harvests


def _other_sheets(folder: Path) -> list[str]:
    """Name what may be the record book under another name or in another format."""
    known = {LAYOUT_FILE, HARVESTS_FILE, BAGS_FILE, BOOK_FILE}
    found = (one for one in folder.iterdir() if one.suffix.lower() in _SHEETS and one.is_file())
    names = (one.name.encode("utf-8", "replace").decode() for one in found if one.name not in known)
    return sorted(tidy_text(name)[:60] for name in names)


def _is_begun(book: Path) -> bool:
    """Whether anything beyond what the program filled in stands in the record book."""
    table = read_sheet(book, "bags")
    if table is None:
        return False
    given = {"code", "treatment", "block", "place", "batch", "column"}
    entries = [place for place, name in enumerate(table.headings) if name not in given]
    return any(
        place < len(cells) and cells[place] not in (None, "")
        for _, cells in table.rows
        for place in entries
    )


def _refuse_two_places(
    bags: list[BagRow], table: RawTable, harvests: RawTable, problems: list[Problem]
) -> None:
    weighed = [bag for bag in bags if bag.weights]
    if weighed:
        what = f"weights stand here and in {harvests.file}"
        mend = "Keep each weight in one place: take the flush columns out, or the other file."
        problems.append(Problem(file=table.file, row=weighed[0].row, what=what, mend=mend))
        for bag in bags:
            bag.weights.clear()
            bag.picked.clear()
