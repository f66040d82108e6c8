"""Rows and columns: complete in rows, and in columns as even as the number of rows allows.

Every row holds every treatment equally often. In a column the treatments differ by at most one in
how often they stand there; where the rows are a multiple of the treatments, columns are complete
as well. Made of Latin squares: for each set of columns as wide as the treatments are many, whole
squares are stacked and the rest of the rows are the first rows of one more (a Latin rectangle,
as in Youden 1937, Contrib. Boyce Thompson Inst. 9, 41-48, turned); then rows, columns and
treatments are shuffled over the whole table.
"""

from __future__ import annotations

from trials.designs.latin_square import tabled
from trials.designs.place import Place
from trials.designs.shuffle import Lot
from trials.designs.squares import draw_square
from trials.trial import Trial

__all__ = ["draw_rows_and_columns"]


def draw_rows_and_columns(trial: Trial, lot: Lot) -> list[Place]:
    """Draw a table of treatments.

    Parameters
    ----------
    trial : Trial
        Its design holds the number of rows (as blocks) and of units of each treatment in a row.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Row after row.
    """
    order, rows = len(trial.treatments), trial.design.blocks
    parts = [_stacked(order, rows, lot) for _ in range(trial.design.units_per_treatment)]
    wide = [[letter for part in parts for letter in part[row]] for row in range(rows)]
    row_order, column_order = lot.shuffled(range(rows)), lot.shuffled(range(len(wide[0])))
    letters = lot.shuffled(range(order))
    table = [[letters[wide[row][column]] for column in column_order] for row in row_order]
    return tabled(trial, table)


def _stacked(order: int, rows: int, lot: Lot) -> list[tuple[int, ...]]:
    """Stack Latin squares until there are rows enough."""
    stack: list[tuple[int, ...]] = []
    while len(stack) < rows:
        stack.extend(draw_square(order, lot))
    return stack[:rows]
