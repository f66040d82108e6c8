"""Latin squares drawn by lot.

Up to order 5 every square is equally likely: one of all reduced squares (first row and column in
order) is taken with equal chances, then all columns and all rows but the first are shuffled, which
makes each square in exactly one way (Fisher & Yates 1934, Proc. Camb. Phil. Soc. 30, 492-507).
There are 1, 1, 4 and 56 reduced squares of order 2 to 5 and so 2, 12, 576 and 161,280 squares.
From order 6 on the random walk of Jacobson & Matthews (1996), J. Combin. Designs 4, 405-437, is
run for n^3 steps from the cyclic square, and rows, columns and letters are shuffled: every square
can come up, and their chances are close to equal; nobody has proved how close.
"""

from __future__ import annotations

import itertools
from functools import cache

from trials.designs.shuffle import Lot

__all__ = ["LARGEST_LISTED", "Square", "draw_square", "reduced_squares"]

Square = tuple[tuple[int, ...], ...]
"""Rows of letters, numbered from 0."""

LARGEST_LISTED = 5
"""Up to this order all reduced squares are listed, and every square is equally likely."""


def draw_square(order: int, lot: Lot) -> Square:
    """Draw a Latin square.

    Parameters
    ----------
    order : int
        Rows, columns and letters, 2 or more.
    lot : Lot
        The source of randomness.
    """
    if order > LARGEST_LISTED:
        return _shuffled(_walk(order, lot), lot)
    reduced = reduced_squares(order)
    square = reduced[lot.below(len(reduced))]
    columns = lot.shuffled(range(order))
    rows = [0, *lot.shuffled(range(1, order))]
    return tuple(tuple(square[row][column] for column in columns) for row in rows)


@cache
def reduced_squares(order: int) -> tuple[Square, ...]:
    """List the Latin squares whose first row and first column are in order.

    Parameters
    ----------
    order : int
        From 1 to 6 in reasonable time (9408 squares at 6).
    """
    first = tuple(range(order))
    found: list[tuple[tuple[int, ...], ...]] = [(first,)]
    for lead in range(1, order):
        rest = [letter for letter in first if letter != lead]
        rows = [(lead, *others) for others in itertools.permutations(rest)]
        found = [
            (*above, row)
            for above in found
            for row in rows
            if all(row[at] != upper[at] for upper in above for at in first)
        ]
    return tuple(found)


def _shuffled(square: list[list[int]], lot: Lot) -> Square:
    numbers = range(len(square))
    rows, columns, letters = (lot.shuffled(numbers) for _ in range(3))
    return tuple(tuple(letters[square[row][column]] for column in columns) for row in rows)


def _walk(order: int, lot: Lot) -> list[list[int]]:
    """Walk from the cyclic square through proper and improper squares; stop at a proper one."""
    numbers = range(order)
    cube = [[[int((a + b) % order == c) for c in numbers] for b in numbers] for a in numbers]
    below: tuple[int, int, int] | None = None
    steps = order**3
    while steps > 0 or below is not None:
        below = _step(cube, below, lot)
        steps -= 1
    return [[cube[a][b].index(1) for b in numbers] for a in numbers]


def _step(
    cube: list[list[list[int]]], below: tuple[int, int, int] | None, lot: Lot
) -> tuple[int, int, int] | None:
    """Make one move; `below` is the cell that holds -1, where there is one."""
    order, numbers = len(cube), range(len(cube))
    if below is None:
        a, b, c = (lot.below(order) for _ in range(3))
        while cube[a][b][c]:
            a, b, c = (lot.below(order) for _ in range(3))
    else:
        a, b, c = below
    ones_a = [x for x in numbers if cube[x][b][c] == 1]
    ones_b = [x for x in numbers if cube[a][x][c] == 1]
    ones_c = [x for x in numbers if cube[a][b][x] == 1]
    p, q, r = (ones[lot.below(len(ones))] for ones in (ones_a, ones_b, ones_c))
    for x, y, z in ((a, b, c), (a, q, r), (p, b, r), (p, q, c)):
        cube[x][y][z] += 1
    for x, y, z in ((p, b, c), (a, q, c), (a, b, r), (p, q, r)):
        cube[x][y][z] -= 1
    return (p, q, r) if cube[p][q][r] < 0 else None
