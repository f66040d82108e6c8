"""Latin square: every treatment once in every row and once in every column.

Fisher (1935), The Design of Experiments, sections 34-36.
"""

from __future__ import annotations

from collections.abc import Sequence

from trials.designs.place import Place
from trials.designs.shuffle import Lot
from trials.designs.squares import draw_square
from trials.trial import Trial

__all__ = ["draw_latin_square", "tabled"]


def draw_latin_square(trial: Trial, lot: Lot) -> list[Place]:
    """Draw a square; which squares can come up is told in `trials.designs.squares`.

    Parameters
    ----------
    trial : Trial
        Its treatments are the letters; its design names rows and columns.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Row after row.
    """
    return tabled(trial, draw_square(len(trial.treatments), lot))


def tabled(trial: Trial, table: Sequence[Sequence[int]]) -> list[Place]:
    """Give the places of a table of treatment numbers, row after row.

    Parameters
    ----------
    trial : Trial
        Its design names rows and columns.
    table : sequence of sequence of int
        Numbers of treatments from 0, in rows.
    """
    design = trial.design
    return [
        Place(
            treatment=trial.treatments[letter].code,
            block=f"{design.block} {row}",
            position=column,
            row=f"{design.block} {row}",
            column=f"{design.column} {column}",
        )
        for row, letters in enumerate(table, start=1)
        for column, letter in enumerate(letters, start=1)
    ]
