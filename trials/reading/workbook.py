"""One sheet of a workbook as a raw table; what is no workbook, or made to do harm, is refused."""

from __future__ import annotations

import datetime as dt
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems
from trials.reading.cells import Cell, is_blank
from trials.reading.tables import MOST_CELLS, WIDEST, RawTable, to_table

__all__ = ["read_sheet"]

LARGEST_BOOK = 400_000_000
MOST_INFLATED = 100
MOST_FAR_CELLS = 100_000
LAST_ROW = 1_048_576
"""The last row that spreadsheets offer: common practice, no source."""

_OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"
_LEAVE_OUT = "Leave out what is not needed."
_MEND = "Open it in your spreadsheet and save it again as .xlsx, or save the sheet as bags.csv."

_Rows = list[tuple[int, tuple[Cell, ...]]]


def read_sheet(path: Path, sheet: str) -> RawTable | None:
    """Read one sheet of a workbook, or give None when it has no such sheet.

    A formula counts as the value that the spreadsheet last worked out for it; where there is
    none, the cell is a mistake.

    Parameters
    ----------
    path : pathlib.Path
    sheet : str
        Its name.

    Returns
    -------
    RawTable or None

    Raises
    ------
    Problems
        The file is no workbook, or one made to do harm.
    """
    _check_archive(path)
    far = _Far(path.name)
    written = _sheet(path, sheet, values=False, far=far)
    if written is None:
        return None
    beyond = far.problems(written[0][0] if written else 0)
    formulas = [
        (row, place)
        for row, cells in written
        for place, cell in enumerate(cells)
        if isinstance(cell, str) and cell.startswith("=")
    ]
    if not formulas:
        return to_table(path.name, written, beyond)
    worked_out = dict(_sheet(path, sheet, values=True) or [])
    problems, mended = [*beyond], {row: list(cells) for row, cells in written}
    for row, place in formulas:
        values = worked_out.get(row, ())
        value = values[place] if place < len(values) else None
        mended[row][place] = value
        if is_blank(value) or (isinstance(value, str) and value.startswith("#")):
            mended[row][place] = None
            problems.append(
                Problem(
                    file=path.name,
                    row=row,
                    column=_heading(written, place),
                    what="holds a formula without a result",
                    mend="Write the value itself.",
                )
            )
    rows = [(row, tuple(cells)) for row, cells in mended.items()]
    return to_table(path.name, rows, tuple(problems))


def _heading(rows: _Rows, place: int) -> str:
    headings = rows[0][1] if rows else ()
    name = tidy_text(str(headings[place])[:100]) if place < len(headings) else ""
    return name or f"column {place + 1}"


def _check_archive(path: Path) -> None:
    """Refuse what is no workbook, or would swell beyond reason when opened."""
    try:
        with path.open("rb") as file:
            locked = file.read(4) == _OLD_OR_LOCKED
            inside = [] if locked else zipfile.ZipFile(file).infolist()
    except Exception as error:  # a damaged archive fails in many ways inside
        what = "cannot be opened as a workbook (it is damaged, locked or of another kind)"
        raise Problems([Problem(file=path.name, what=what, mend=_MEND)]) from error
    if locked or any(one.flag_bits & 1 for one in inside):
        what = "is locked with a password, or a workbook of the old kind"
        mend = f"Take the password off. {_MEND}"
        raise Problems([Problem(file=path.name, what=what, mend=mend)])
    swollen = sum(one.file_size for one in inside)
    packed = max(sum(one.compress_size for one in inside), 1)
    if swollen > LARGEST_BOOK or (swollen > 20_000_000 and swollen / packed > MOST_INFLATED):
        what = "would swell beyond reason when opened"
        raise Problems([Problem(file=path.name, what=what, mend=_MEND)])


class _Far:
    """What stands in columns beyond those that are read: how many cells, and the first of them."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.cells = 0
        self.first: tuple[int, int] = (0, 0)

    def watch(self, sheet: Any) -> None:  # noqa: ANN401
        """Look at each row as the library parsed it, before it is cut to a width.

        Asked for all columns, the library makes a row as wide as its last cell, and loses cells
        that stand out of order; asked for as many as a sheet can have, it takes minutes.
        """
        cut = getattr(sheet, "_get_row", None)
        if cut is None:
            return

        def look_and_cut(row: list[dict[str, Any]], *args: object) -> object:
            for cell in reversed(row):
                if cell["column"] <= WIDEST:
                    break
                if not is_blank(cell["value"]):
                    self._note(cell["row"], cell["column"])
            return cut(row, *args)

        sheet._get_row = look_and_cut

    def _note(self, row: int, column: int) -> None:
        place = (row, column)
        self.first = min(self.first, place) if self.cells else place
        self.cells += 1
        if self.cells > MOST_FAR_CELLS:
            what = f"more than {MOST_FAR_CELLS:,} cells stand beyond column {WIDEST}"
            raise Problems([Problem(file=self.file, row=row, what=what, mend=_LEAVE_OUT)])

    def problems(self, heading_row: int) -> tuple[Problem, ...]:
        """Tell it once: a mistake where a heading is among it, otherwise a doubt."""
        from openpyxl.utils import get_column_letter

        if not self.cells:
            return ()
        row, column = self.first
        last, here = get_column_letter(WIDEST), f"{get_column_letter(column)}{row}"
        hold = f"cell {here} holds" if self.cells == 1 else f"{self.cells} cells, from {here}, hold"
        what = f"{WIDEST} columns are read, to {last}; beyond them {hold} something"
        if row <= heading_row:
            mend = f"Move that column to the left of {last}, or delete what stands there."
            return (Problem(file=self.file, row=row, what=what, mend=mend),)
        mend = "If it belongs to the records, move it to its column; otherwise delete it."
        return (Problem(file=self.file, row=row, what=what, mend=mend, weight="doubt"),)


def _sheet(path: Path, sheet: str, *, values: bool, far: _Far | None = None) -> _Rows | None:
    import warnings

    import openpyxl

    try:
        with warnings.catch_warnings(), path.open("rb") as file:
            # The library warns of validation and styles that it does not keep; we only read.
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(file, read_only=True, data_only=values, keep_links=False)
            found = [name for name in book.sheetnames if name.strip().lower() == sheet]
            if found and far is not None:
                far.watch(book[found[0]])
            return list(_rows(path.name, book[found[0]])) if found else None
    except Problems:
        raise
    except Exception as error:  # a damaged workbook fails in many ways inside
        what = f"cannot be read as a workbook ({type(error).__name__})"
        raise Problems([Problem(file=path.name, what=what, mend=_MEND)]) from error


def _rows(file: str, sheet: Any) -> Iterator[tuple[int, tuple[Cell, ...]]]:  # noqa: ANN401
    # What a sheet says of its own size may be wrong, and then rows would go unread.
    sheet.reset_dimensions()
    total = 0
    rows = sheet.iter_rows(values_only=True, max_col=WIDEST, max_row=LAST_ROW)
    for number, cells in enumerate(rows, start=1):
        width = len(cells)
        if cells.count(None) == width:
            continue
        while cells[width - 1] is None:
            width -= 1
        total += width
        if total > MOST_CELLS:
            what = f"row {number} goes beyond what a record book can hold"
            raise Problems([Problem(file=file, what=what, mend=_LEAVE_OUT)])
        yield number, tuple(_plain(cell) for cell in cells[:width])


def _plain(cell: object) -> Cell:
    """Keep what a cell can hold; a rich text or an array formula becomes its text."""
    if cell is None or isinstance(
        cell, str | int | float | bool | dt.date | dt.time | dt.timedelta
    ):
        return cell
    text = getattr(cell, "text", None)
    return str(text if text is not None else cell)
