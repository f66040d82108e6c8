"""One row of a table on its way to being read: its cells by heading, and where to complain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from trials.plan_reader import tidy_text
from trials.problems import Problem
from trials.reading.cells import Cell, Reading, is_blank
from trials.reading.headings import Place
from trials.reading.tables import RawTable

__all__ = ["RawRow"]

Value = TypeVar("Value")


# Not frozen: there may be a million of them, and a frozen one takes longer to make.
@dataclass(slots=True, kw_only=True)
class RawRow:
    """A row with the columns that were found.

    Parameters
    ----------
    table : RawTable
        Where it stands.
    number : int
        As the spreadsheet shows it.
    cells : tuple of Cell
    places : dict of str to Place
        Where the columns stand, by heading.
    problems : list of Problem
        Where everything wrong or doubtful is added.
    """

    table: RawTable
    number: int
    cells: tuple[Cell, ...]
    places: dict[str, Place]
    problems: list[Problem]

    def cell(self, heading: str) -> Cell:
        """Give a cell; None where the row or the table has none."""
        place = self.places.get(heading)
        if place is None or place.index >= len(self.cells):
            return None
        return self.cells[place.index]

    def text(self, heading: str, longest: int = 1000) -> str:
        """Give a cell as text of at most `longest` characters, empty when blank."""
        cell = self.cell(heading)
        return "" if is_blank(cell) else tidy_text(str(cell)[: 2 * longest])[:longest]

    def wrong(self, heading: str, what: str, mend: str, *, doubt: bool = False) -> None:
        """Add what is wrong, or doubtful, in a cell."""
        place = self.places.get(heading)
        self.problems.append(
            Problem(
                file=self.table.file,
                row=self.number,
                column=place.heading if place else heading,
                what=what,
                mend=mend,
                weight="doubt" if doubt else "mistake",
            )
        )

    def take(self, heading: str, reading: Reading[Value]) -> None:
        """Add what a reading found wrong."""
        if reading.what:
            self.wrong(heading, reading.what, reading.mend)
