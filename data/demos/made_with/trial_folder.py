"""What every maker of a demo does alike: draw and lock the plan, fill in the records, write them.

Scripts beside this file import it first: it puts the top of the checkout where Python looks.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import openpyxl

TOP = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(TOP))

from trials.designs import draw  # noqa: E402
from trials.lock import Lock, make_lock  # noqa: E402
from trials.reading.record_book import make_record_book  # noqa: E402
from trials.trial_file import check_trial  # noqa: E402

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

    from trials.layout import Layout
    from trials.trial import Trial

__all__ = [
    "column_of",
    "demo_folder",
    "draw_and_lock",
    "filled_book",
    "finished_rows",
    "to_table",
    "write_plan",
]


def demo_folder(name: str) -> Path:
    """Give the folder of a demo, made if it is not there."""
    folder = TOP / "data" / "demos" / name
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def draw_and_lock(plan: str, drawn: dt.datetime) -> tuple[Trial, Layout, Lock]:
    """Give the trial of a plan, its layout, and the lock of a moment."""
    trial = check_trial(plan)
    layout = draw(trial)
    return trial, layout, make_lock(trial, layout, drawn=drawn, version="0.1.0")


def write_plan(folder: Path, plan: str, layout: Layout, lock: Lock) -> None:
    """Write the plan, the layout and the lock."""
    (folder / "trial.toml").write_text(plan, encoding="utf-8")
    (folder / "layout.csv").write_text(layout.to_csv(), encoding="utf-8")
    (folder / "plan.lock").write_text(lock.to_json(), encoding="utf-8")


def filled_book(trial: Trial, layout: Layout, bags: Iterable[Mapping[str, Any]]) -> Workbook:
    """Give the record book with what was written down of each bag, by heading."""
    book = openpyxl.load_workbook(io.BytesIO(make_record_book(trial, layout)))
    sheet = book["bags"]
    for row, entries in enumerate(bags, start=2):
        for heading, value in entries.items():
            sheet.cell(row=row, column=column_of(sheet, heading), value=value)
    return book


def column_of(sheet: Worksheet, heading: str) -> int:
    """Give the number of a column by its heading."""
    return [cell.value for cell in sheet[1]].index(heading) + 1


def finished_rows(sheet: Worksheet) -> list[int]:
    """Give the rows of the bags that were picked to the end."""
    fate = column_of(sheet, "fate")
    rows = range(2, sheet.max_row + 1)
    return [row for row in rows if sheet.cell(row=row, column=fate).value == "finished"]


def to_table(heads: list[str], rows: list[list[object]]) -> str:
    """Write rows as a table of text."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue()
