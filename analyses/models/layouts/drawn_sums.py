"""Sums that a statistic needs, over layouts drawn at random, each block shuffled on its own.

No layout is gone through unit by unit. What a few units add is tabulated for every way to label
them; a drawn layout is a place in each table. Layouts are given a chunk at a time, so that all that
is worked out from a chunk stays near the processor.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.relabelling_sums import BlockSteps, arrangements
from analyses.models.numerics.jets import Array

__all__ = ["draw_sums"]

Places = npt.NDArray[np.uint16] | npt.NDArray[np.int64]
Counts = tuple[tuple[int, ...], ...]

_TABLE = 20_736  # entries of a table of whole blocks
_PIECE = 4096  # entries of a table of some units of a block
_MOST_KEPT = 50_000_000  # labels dealt out whose places are kept
_CHUNK = 8192  # layouts worked on at once


@dataclass(frozen=True, slots=True)
class _Part:
    """Tables whose entries add up, the places that were drawn in each, and what is then done."""

    tables: Sequence[Array]
    places: Sequence[Places]
    finish: Callable[[Array], Array] | None = None

    def sums(self, chunk: slice) -> Array:
        """Give the sums of some of the layouts, shape (layouts, sums)."""
        total = self.tables[0].take(self.places[0][chunk], axis=0)
        for table, places in zip(self.tables[1:], self.places[1:], strict=True):
            total += table.take(places[chunk], axis=0)
        return self.finish(total) if self.finish else total


def draw_sums(
    blocks: Sequence[BlockSteps], draws: int, generator: np.random.Generator
) -> Iterator[Array]:
    """Draw layouts, each block shuffled on its own, and give their sums over all blocks.

    Parameters
    ----------
    blocks
        The blocks.
    draws
        Layouts to draw.
    generator
        Source of randomness.

    Yields
    ------
    Array
        Of some of the layouts, shape (layouts, sums).
    """
    parts = [
        _Part([table], [generator.integers(0, len(table), draws)])
        for table in _whole_tables([block for block in blocks if block.layouts <= _TABLE])
    ]
    large = [block for block in blocks if block.layouts > _TABLE]
    dealt = _dealt(tuple(block.counts for block in large), draws, generator)
    parts += [
        _Part(_piece_tables(block), places, block.finish)
        for block, places in zip(large, dealt, strict=True)
    ]
    for start in range(0, draws, _CHUNK):
        chunk = slice(start, start + _CHUNK)
        total = parts[0].sums(chunk)
        for part in parts[1:]:
            total += part.sums(chunk)
        yield total


def _whole_tables(blocks: Sequence[BlockSteps]) -> list[Array]:
    """Tabulate the sums of blocks, several blocks in one table while it stays small."""
    tables: list[Array] = []
    for block in blocks:
        sums = block.of(arrangements(block.counts))
        if tables and len(tables[-1]) * len(sums) <= _TABLE:
            last = tables.pop()
            sums = (last[:, None] + sums[None]).reshape(len(last) * len(sums), -1)
        tables.append(sums)
    return tables


def _pieces(counts: tuple[int, ...]) -> list[slice]:
    """Cut the units of a block into pieces with few enough ways to label one."""
    size, units = 1, sum(counts)
    while len(counts) ** (size + 1) <= _PIECE:
        size += 1
    return [slice(start, min(start + size, units)) for start in range(0, units, size)]


def _piece_tables(block: BlockSteps) -> list[Array]:
    """Tabulate what each piece adds, over all ways to label it, the first unit's label slowest."""
    tables = []
    for piece in _pieces(block.counts):
        table = np.zeros((1, block.steps.shape[2]))
        for unit in block.steps[piece]:
            table = (table[:, None] + unit[None]).reshape(len(table) * len(unit), -1)
        tables.append(table)
    return tables


def _dealt(
    counts: Counts, draws: int, generator: np.random.Generator
) -> Iterable[tuple[Places, ...]]:
    """Deal the labels of blocks out; give the places in the tables of each block's pieces."""
    seed = int(generator.integers(2**63))
    few = draws * sum(sum(block) for block in counts) <= _MOST_KEPT
    return _kept(counts, draws, seed) if few else _dealing(counts, draws, seed)


def _dealing(counts: Counts, draws: int, seed: int) -> Iterator[tuple[Places, ...]]:
    rng = np.random.default_rng(seed)
    for block in counts:
        codes = np.repeat(np.arange(len(block), dtype=np.int8), block)
        layouts = rng.permuted(np.tile(codes, (draws, 1)), axis=1)
        yield tuple(_places(layouts[:, piece], len(block)) for piece in _pieces(block))


def _places(codes: npt.NDArray[np.int8], labels: int) -> Places:
    """Read the labels of a piece as the digits of a number."""
    places = np.zeros(len(codes), np.uint16)
    for unit in codes.T:
        places *= labels
        places += unit.astype(np.uint16)
    return places


@lru_cache(maxsize=4)
def _kept(counts: Counts, draws: int, seed: int) -> tuple[tuple[Places, ...], ...]:
    """Keep the last deals: other comparisons of the same trial ask for them again."""
    return tuple(_dealing(counts, draws, seed))
