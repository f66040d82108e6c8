"""Tables as they stand in a grower's file: headings and rows of raw cells, nothing judged yet."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from trials.plan_reader import tidy_text
from trials.problems import Problem, Problems
from trials.reading.cells import Cell, is_blank

__all__ = ["WIDEST", "RawTable", "read_csv", "to_table"]

LONGEST_CSV = 300_000_000
MOST_CELLS = 20_000_000
WIDEST = 400
LONGEST_HEADING = 100
FORMULA_SIGNS = ("'=", "'+", "'-", "'@")
"""Beginnings of a cell that was guarded, so that no spreadsheet takes it for a formula."""

_CHUNK = 1 << 20

_Row: TypeAlias = tuple[int, tuple[Cell, ...]]


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
        The file is too large, cannot be opened, or is no text.
    """
    try:
        if path.stat().st_size > LONGEST_CSV:
            mend = "Split it, or leave out what is not needed."
            _refuse(path.name, "is larger than 300 MB", mend)
        encoding = _encoding(path)
        with path.open(encoding=encoding, newline="", errors="replace") as lines:
            separator = _separator(lines)
            lines.seek(0)
            rows = list(_csv_rows(path.name, lines, separator))
        doubts = _foreign(path.name) if encoding == "cp1252" else ()
        if rows and len(rows[-1][1]) < len(rows[0][1]) and not _ends_a_line(path):
            doubts += _breaks_off(path.name, rows[-1][0])
    except OSError as error:
        what = f"cannot be opened ({error.strerror or type(error).__name__})"
        mend = "Close other programs that hold it, and see that you may read it."
        raise Problems([Problem(file=path.name, what=what, mend=mend)]) from error
    return to_table(path.name, rows, doubts)


def _encoding(path: Path) -> str:
    """Tell UTF-8 from Windows-1252, a piece at a time; refuse what is neither."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        piece = file.read(_CHUNK)
        if piece.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\x00" in piece[:4000]:
            mend = "Save it as CSV in UTF-8."
            _refuse(path.name, "is not a text table in UTF-8 or Windows-1252", mend)
        if piece.startswith(b"PK"):
            mend = "Give it its own ending back (records.xlsx), or save it as CSV."
            _refuse(path.name, "is a workbook with the name of a text table", mend)
        try:
            while piece:
                decoder.decode(piece)
                piece = file.read(_CHUNK)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


def _foreign(file: str) -> tuple[Problem, ...]:
    what = "is not in UTF-8, and was read as Windows-1252 (Western European)"
    mend = "If letters in names and notes look wrong, save it as CSV in UTF-8."
    return (Problem(file=file, what=what, mend=mend, weight="doubt"),)


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, 2)
        return file.read(1) in (b"\n", b"\r")


def _breaks_off(file: str, row: int) -> tuple[Problem, ...]:
    what, mend = "the file ends in the middle of this row", "See that it was copied whole."
    return (Problem(file=file, row=row, what=what, mend=mend, weight="doubt"),)


def _separator(lines: Iterable[str]) -> str:
    first = next((line for line in lines if line.strip()), "")
    counts = Counter({mark: first.count(mark) for mark in (";", "\t", ",")})
    mark, count = counts.most_common(1)[0]
    return mark if count else ","


class _Seen(dict[str, str]):
    """Each cell once: most repeat, and one string serves them all."""

    def __missing__(self, cell: str) -> str:
        plain = cell[1:] if cell.startswith(FORMULA_SIGNS) else cell
        self[cell] = plain
        return plain


def _csv_rows(file: str, lines: Iterable[str], separator: str) -> Iterator[_Row]:
    """Give the rows that hold anything, numbered as a spreadsheet numbers them."""
    reader, plain = csv.reader(lines, delimiter=separator), _Seen()
    number, total, width, line = 0, 0, 0, 0
    mend = "Look for a quotation mark that is opened and not closed."
    try:
        for number, cells in enumerate(reader, start=1):
            over, line = reader.line_num - line, reader.line_num
            if not any(cells):
                continue
            width = width or len(cells)
            if over > 1 and _swallowed(cells, width):
                what = "a cell here holds whole rows"
                raise Problems([Problem(file=file, row=number, what=what, mend=mend)])
            total += len(cells)
            if len(cells) > WIDEST or total > MOST_CELLS:
                _refuse(file, f"row {number} goes beyond what a table of records can hold",
                        f"Leave out what is not needed: {WIDEST} columns are read.")  # fmt: skip
            yield number, tuple(map(plain.__getitem__, cells))
    except csv.Error as error:
        what = f"cannot be read as a table after row {number} ({error})"
        raise Problems([Problem(file=file, what=what, mend=mend)]) from error


def _swallowed(cells: list[str], width: int) -> bool:
    """Whether a quotation mark that was never closed made one cell of several rows.

    A note may run over lines; a line in it with as many separators as a row is no note.
    """
    for cell in cells:
        if "\n" in cell or "\r" in cell:
            later = cell.splitlines()[1:]
            if any(line.count(mark) >= max(width - 1, 1) for line in later for mark in ",;\t"):
                return True
            if len(later) > 20:
                return True
    return False


def to_table(
    file: str, rows: list[tuple[int, tuple[Cell, ...]]], problems: tuple[Problem, ...] = ()
) -> RawTable:
    """Part the headings from the rows, and leave out rows without content.

    Parameters
    ----------
    file : str
        Its name, for messages.
    rows : list of (int, tuple of Cell)
        Row number and cells; the first that holds anything holds the headings.
    problems : tuple of Problem, optional
        What could not be read.

    Returns
    -------
    RawTable
    """
    kept = [(row, cells) for row, cells in rows if not all(is_blank(cell) for cell in cells)]
    if not kept:
        return RawTable(file=file, headings=(), rows=(), problems=problems)
    _, first = kept[0]
    headings = tuple(
        "" if is_blank(one) else tidy_text(str(one)[:LONGEST_HEADING]).lower() for one in first
    )
    return RawTable(file=file, headings=headings, rows=tuple(kept[1:]), problems=problems)


def _refuse(file: str, what: str, mend: str) -> None:
    raise Problems([Problem(file=file, what=what, mend=mend)])
