"""Layouts dealt out again as a table of rows and columns or a split plot could have been."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["Redeal", "indicators", "split_plot_redeal", "table_redeal"]

Labels: TypeAlias = npt.NDArray[Any]
Redeal: TypeAlias = Callable[[np.random.Generator, int], Labels]
"""From a generator and a count to label rows, shape (count, units)."""

_Index = npt.NDArray[np.intp]


def indicators(*groupings: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Give one column for each level of each grouping, shape (units, columns).

    Parameters
    ----------
    *groupings : array-like
        Labels of rows, columns or blocks, one entry a unit.
    """
    codes = [np.unique(np.asarray(one), return_inverse=True)[1] for one in groupings]
    return np.concatenate([np.eye(code.max() + 1)[code] for code in codes], axis=1)


def table_redeal(labels: npt.ArrayLike, rows: npt.ArrayLike, columns: npt.ArrayLike) -> Redeal:
    """Shuffle the rows, columns and treatments of the table that was used.

    Parameters
    ----------
    labels, rows, columns : array-like
        One entry a unit; one unit in every cell.

    Raises
    ------
    ValueError
        If a cell is empty or holds two units.
    """
    names, letter = np.unique(np.asarray(labels), return_inverse=True)
    row, column = (np.unique(np.asarray(one), return_inverse=True)[1] for one in (rows, columns))
    table = np.full((row.max() + 1, column.max() + 1), -1)
    table[row, column] = letter
    if table.size != len(letter) or (table < 0).any():
        raise ValueError("rows and columns need one unit in every cell")

    def redeal(generator: np.random.Generator, count: int) -> Labels:
        orders = [_orders(generator, size, count) for size in (*table.shape, len(names))]
        drawn = table[orders[0][:, row], orders[1][:, column]]
        return np.asarray(names[np.take_along_axis(orders[2], drawn, axis=1)])

    return redeal


def split_plot_redeal(
    levels: npt.ArrayLike,
    others: npt.ArrayLike,
    labels: npt.ArrayLike,
    batches: npt.ArrayLike,
    blocks: npt.ArrayLike,
) -> Redeal:
    """Shuffle levels among the batches of a block, and the rest among the bags of a batch.

    Parameters
    ----------
    levels, others : array-like
        Level of the batch factor, and the combination of the others, one entry a unit.
    labels : array-like
        The treatment that the two make up.
    batches, blocks : array-like
        Batch and block of each unit.
    """
    names = np.asarray(labels)
    _, level = np.unique(np.asarray(levels), return_inverse=True)
    _, other = np.unique(np.asarray(others), return_inverse=True)
    made = np.empty((level.max() + 1, other.max() + 1), dtype=names.dtype)
    made[level, other] = names
    _, first, batch = np.unique(np.asarray(batches), return_index=True, return_inverse=True)
    in_block = _groups(np.asarray(blocks)[first])
    in_batch = _groups(batch)

    def redeal(generator: np.random.Generator, count: int) -> Labels:
        of_batch = _shuffled_within(level[first], in_block, generator, count)
        of_bag = _shuffled_within(other, in_batch, generator, count)
        return np.asarray(made[of_batch[:, batch], of_bag])

    return redeal


def _groups(labels: npt.ArrayLike) -> list[_Index]:
    values = np.asarray(labels)
    return [np.flatnonzero(values == one) for one in np.unique(values)]


def _orders(generator: np.random.Generator, size: int, count: int) -> _Index:
    return generator.permuted(np.tile(np.arange(size), (count, 1)), axis=1)


def _shuffled_within(
    values: _Index, groups: list[_Index], generator: np.random.Generator, count: int
) -> _Index:
    drawn = np.tile(values, (count, 1))
    for group in groups:
        drawn[:, group] = generator.permuted(drawn[:, group], axis=1)
    return drawn
