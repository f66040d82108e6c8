"""The layouts that a design's own randomisation could have drawn, written out as label codes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.relabelling_sums import Codes, arrangements, count_layouts

__all__ = ["DrawnLayouts", "Layouts", "SquareLayouts", "WithinBlocks"]

Index = npt.NDArray[np.intp]
_CHUNK = 20_000  # layouts written out at once


class Layouts(Protocol):
    """A set of layouts; each is a row of label codes, one a unit."""

    @property
    def total(self) -> int | None:
        """Number of layouts, None where it is not known."""

    def every(self) -> Iterator[Codes]:
        """Give all layouts, some rows at a time."""

    def draw(self, generator: np.random.Generator, count: int) -> Codes:
        """Draw layouts, all equally likely, shape (count, units)."""


@dataclass(frozen=True, slots=True)
class WithinBlocks:
    """Labels shuffled among the units of each block.

    Parameters
    ----------
    codes
        Label codes of the layout used, shape (units,).
    blocks
        Block codes, shape (units,).
    """

    codes: Codes
    blocks: Index

    def _parts(self) -> list[tuple[Index, tuple[int, ...]]]:
        """Give the units of each block and how often each label is used there."""
        labels = int(self.codes.max()) + 1
        units = [np.flatnonzero(self.blocks == block) for block in np.unique(self.blocks)]
        return [
            (one, tuple(np.bincount(self.codes[one], minlength=labels).tolist())) for one in units
        ]

    @property
    def total(self) -> int:
        """Number of layouts."""
        return math.prod(count_layouts(counts) for _, counts in self._parts())

    def every(self) -> Iterator[Codes]:
        """Give all layouts, some rows at a time."""
        parts = [(units, arrangements(counts)) for units, counts in self._parts()]
        total = math.prod(len(table) for _, table in parts)
        for start in range(0, total, _CHUNK):
            number = np.arange(start, min(start + _CHUNK, total))
            layouts = np.empty((len(number), len(self.codes)), np.int8)
            for units, table in parts:
                number, place = np.divmod(number, len(table))
                layouts[:, units] = table[place]
            yield layouts

    def draw(self, generator: np.random.Generator, count: int) -> Codes:
        """Draw layouts, shape (count, units)."""
        layouts = np.empty((count, len(self.codes)), np.int8)
        for units, _ in self._parts():
            layouts[:, units] = generator.permuted(np.tile(self.codes[units], (count, 1)), axis=1)
        return layouts


@dataclass(frozen=True, slots=True)
class SquareLayouts:
    """Rows, columns and letters of a Latin square, each shuffled (Fisher & Yates 1963, p. 23).

    Parameters
    ----------
    square
        Label codes of the square used, shape (size, size).
    places
        Where each unit stands: rows and columns, shape (units, 2).
    """

    square: Codes
    places: Index

    @property
    def total(self) -> int:
        """Number of ways to shuffle rows, columns and letters; squares may come up repeatedly."""
        return math.factorial(len(self.square)) ** 3

    def _shuffled(self, rows: Index, columns: Index, letters: Index) -> Codes:
        """Write out squares with rows, columns and letters in these orders, (layouts, size)."""
        row, column = rows[:, self.places[:, 0]], columns[:, self.places[:, 1]]
        return np.take_along_axis(letters, self.square[row, column].astype(np.intp), 1).astype(
            np.int8
        )

    def every(self) -> Iterator[Codes]:
        """Give all layouts, some rows at a time."""
        size = len(self.square)
        orders = np.array(list(itertools.permutations(range(size))))
        ways = len(orders)
        for start in range(0, self.total, _CHUNK):
            number = np.arange(start, min(start + _CHUNK, self.total))
            rows, rest = np.divmod(number, ways * ways)
            columns, letters = np.divmod(rest, ways)
            yield self._shuffled(orders[rows], orders[columns], orders[letters])

    def draw(self, generator: np.random.Generator, count: int) -> Codes:
        """Draw layouts, shape (count, units)."""
        plain = np.tile(np.arange(len(self.square)), (count, 1))
        return self._shuffled(*(generator.permuted(plain, axis=1) for _ in range(3)))


@dataclass(frozen=True, slots=True)
class DrawnLayouts:
    """Layouts from the function that draws the design, where they cannot be listed.

    Parameters
    ----------
    function
        Takes a generator and a count, gives label codes of shape (count, units).
    """

    function: Callable[[np.random.Generator, int], Codes]

    @property
    def total(self) -> None:
        """Nobody has counted them."""
        return

    def every(self) -> Iterator[Codes]:
        """Refuse, since they cannot be listed."""
        msg = "these layouts can be drawn but not listed"
        raise TypeError(msg)

    def draw(self, generator: np.random.Generator, count: int) -> Codes:
        """Draw layouts, shape (count, units)."""
        return self.function(generator, count)
