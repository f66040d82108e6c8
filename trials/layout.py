"""The drawn layout: which unit gets which treatment, and where it stands."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = ["LAYOUT_COLUMNS", "TABLE_COLUMNS", "Layout", "Randomisation", "Slot"]

LAYOUT_COLUMNS = ("code", "treatment", "block", "batch", "position")
TABLE_COLUMNS = ("row", "column")
"""Columns of ``layout.csv`` that stand there only where the layout has rows and columns."""

Randomisation: TypeAlias = Literal[
    "units over all places",
    "units within blocks",
    "batches over all places",
    "batches within blocks",
    "rows, columns and treatments of a square",
    "rows, columns and treatments of a table",
    "batches within blocks, units within batches",
    "treatments over blocks, units within blocks",
]
"""What the draw shuffles among what."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One unit of the trial.

    Parameters
    ----------
    code : str
        The code on its label, with check character.
    treatment : str
        Code of the treatment it was drawn for.
    block : str
        Name of its block, such as ``shelf 3``, or of its row; empty where there are none.
    batch : str
        Name of the batch it was mixed and heat-treated in; empty where not tracked.
    position : int
        Its place in the block, or in the whole trial where there are no blocks; from 1. In rows
        and columns the number of its column.
    row, column : str
        Names of its row and column, such as ``shelf 3`` and ``day 2``; empty where there are none.
    """

    code: str
    treatment: str
    block: str
    batch: str
    position: int
    row: str = ""
    column: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All units in the order in which they stand.

    Parameters
    ----------
    slots : tuple of Slot
        Unit codes are unique.
    seed : int
        The seed that drew it.
    randomisation : str
        What was shuffled among what; the re-randomisation test repeats just this.
    """

    slots: tuple[Slot, ...]
    seed: int
    randomisation: Randomisation

    @property
    def codes(self) -> tuple[str, ...]:
        """The unit codes, in order."""
        return tuple(slot.code for slot in self.slots)

    @property
    def blocks(self) -> tuple[str, ...]:
        """The names of the blocks, in order, each once."""
        return tuple(dict.fromkeys(slot.block for slot in self.slots))

    def to_csv(self) -> str:
        """Give the text of ``layout.csv``."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        tabled = any(slot.row for slot in self.slots)
        names = (*LAYOUT_COLUMNS, *TABLE_COLUMNS) if tabled else LAYOUT_COLUMNS
        writer.writerow(names)
        for slot in self.slots:
            writer.writerow([_guarded(getattr(slot, name)) for name in names])
        return out.getvalue()


def _guarded(value: object) -> object:
    """Keep a spreadsheet from taking a text for a formula; reading takes the mark off again."""
    return (
        f"'{value}" if isinstance(value, str) and value.startswith(("=", "+", "-", "@")) else value
    )
