"""Tables as they stand in a grower's file: headings and rows of raw cells, nothing judged yet."""

from __future__ import annotations

import csv
import io
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems
from trials.reading.cells import Cell, is_blank

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["RawTable", "read_csv", "read_sheet"]

LONGEST_CSV = 300_000_000
LARGEST_BOOK = 400_000_000
MOST_INFLATED = 300
WIDEST = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """A table as it stands in a file.

    Parameters
    ----------
    file : str
        Name of the file, and of the sheet where there are several.
    headings : tuple of str
        In lower case and tidied; empty where the heading is blank.
    rows : tuple of (int, tuple of Cell)
        Row number as a spreadsheet shows it, and the cells; rows without content are left out.
    problems : tuple of Problem
        Cells that could not be read at all.
    """

    file: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    problems: tuple[Problem, ...] = ()


def read_csv(path: Path) -> RawTable:
    """Read a text table: UTF-8 or Windows-1252; comma, semicolon or tab.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    RawTable

    Raises
    ------
    Problems
        The file is too large, or is no text.
    """
    if path.stat().st_size > LONGEST_CSV:
        _refuse(path.name, "is larger than 300 MB", "Split it, or leave out what is not needed.")
    text = _decode(path)
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[tuple[int, tuple[Cell, ...]]] = []
    try:
        for cells in reader:
            rows.append((reader.line_num, tuple(cells)))
    except csv.Error as error:
        mend = "Look for a quotation mark that is opened and not closed."
        _refuse(path.name, f"cannot be read as a table after row {len(rows)} ({error})", mend)
    return _table(path.name, rows)


def _decode(path: Path) -> str:
    raw = path.read_bytes()
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in raw[:4000]:
        mend = "Save it as CSV in UTF-8."
        _refuse(path.name, "is not a text table in UTF-8 or Windows-1252", mend)
    if raw.startswith(b"PK"):
        mend = "Give it its own ending back (records.xlsx), or save it as CSV."
        _refuse(path.name, "is a workbook with the name of a text table", mend)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _separator(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    counts = Counter({mark: first.count(mark) for mark in (";", "\t", ",")})
    mark, count = counts.most_common(1)[0]
    return mark if count else ","


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
    written = _sheet(path, sheet, values=False)
    if written is None:
        return None
    formulas = [
        (row, place)
        for row, cells in written
        for place, cell in enumerate(cells)
        if isinstance(cell, str) and cell.startswith("=")
    ]
    if not formulas:
        return _table(path.name, written)
    worked_out = dict(_sheet(path, sheet, values=True) or [])
    problems, mended = [], {row: list(cells) for row, cells in written}
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
    return _table(path.name, rows, tuple(problems))


def _heading(rows: list[tuple[int, tuple[Cell, ...]]], place: int) -> str:
    headings = rows[0][1] if rows else ()
    return tidy_text(str(headings[place])) if place < len(headings) else f"column {place + 1}"


def _check_archive(path: Path) -> None:
    """Refuse what is no workbook, or would swell beyond reason when opened."""
    mend = "Open it in your spreadsheet and save it again as .xlsx, or save the sheet as bags.csv."
    try:
        with zipfile.ZipFile(path) as archive:
            inside = archive.infolist()
    except (zipfile.BadZipFile, OSError) as error:
        what = "cannot be opened as a workbook (it is damaged, locked or of another kind)"
        raise Problems([Problem(file=path.name, what=what, mend=mend)]) from error
    swollen = sum(one.file_size for one in inside)
    packed = max(sum(one.compress_size for one in inside), 1)
    if swollen > LARGEST_BOOK or (swollen > 20_000_000 and swollen / packed > MOST_INFLATED):
        _refuse(path.name, "would swell beyond reason when opened", mend)


def _sheet(path: Path, sheet: str, *, values: bool) -> list[tuple[int, tuple[Cell, ...]]] | None:
    import warnings

    import openpyxl

    mend = "Open it in your spreadsheet and save it again as .xlsx, or save the sheet as bags.csv."
    try:
        with warnings.catch_warnings():
            # The library warns of validation and styles that it does not keep; we only read.
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(path, read_only=True, data_only=values, keep_links=False)
            try:
                found = [name for name in book.sheetnames if name.strip().lower() == sheet]
                return list(_rows(book[found[0]])) if found else None
            finally:
                book.close()
    except Problems:
        raise
    except Exception as error:  # a damaged workbook fails in many ways inside
        what = f"cannot be read as a workbook ({type(error).__name__})"
        raise Problems([Problem(file=path.name, what=what, mend=mend)]) from error


def _rows(sheet: Worksheet) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    for number, cells in enumerate(sheet.iter_rows(values_only=True, max_col=WIDEST), start=1):
        if any(cell is not None for cell in cells):
            yield number, tuple(_plain(cell) for cell in cells)


def _plain(cell: object) -> Cell:
    """Keep what a cell can hold; a rich text or an array formula becomes its text."""
    if cell is None or isinstance(cell, str | int | float | bool):
        return cell
    import datetime as dt

    if isinstance(cell, dt.date | dt.time | dt.timedelta):
        return cell
    text = getattr(cell, "text", None)
    return str(text if text is not None else cell)


def _table(
    file: str, rows: list[tuple[int, tuple[Cell, ...]]], problems: tuple[Problem, ...] = ()
) -> RawTable:
    kept = [(row, cells) for row, cells in rows if not all(is_blank(cell) for cell in cells)]
    if not kept:
        return RawTable(file=file, headings=(), rows=(), problems=problems)
    _, first = kept[0]
    headings = tuple("" if is_blank(one) else tidy_text(str(one)).lower() for one in first)
    return RawTable(file=file, headings=headings, rows=tuple(kept[1:]), problems=problems)


def _refuse(file: str, what: str, mend: str) -> None:
    raise Problems([Problem(file=file, what=what, mend=mend)])
